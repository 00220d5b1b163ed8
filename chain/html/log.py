"""The log on one page: what has changed, the series drawn, and their table."""

from __future__ import annotations

from chain.antenna_report import log
from chain.errors import plain
from chain.html.answers import Answer, PageTable, answer_html
from chain.plots import log as drawing
from chain.records.trends import LogTrends


def log_html(result: LogTrends) -> str:
    """One self-contained page of the log.

    Parameters
    ----------
    result : the trends of a folder of records.

    Returns
    -------
    str, a whole HTML document that loads nothing and needs no script.

    Examples
    --------
    >>> from chain.records.trends import log_trends
    >>> text = log_html(log_trends("demo/log"))
    >>> text.startswith("<!doctype html>"), "<script" in text, "://" in text
    (True, False, False)

    Source
    ------
    HTML Living Standard.
    """
    kind = "fail" if any(each.steps for each in result.series) else "no-limit"
    skipped = [f"{plain(each.path)} {plain(each.what)}: skipped" for each in result.damaged]
    note = (
        f"A step is shown in at most {100 * result.false_alarms:g} % of series without one. Losses of leads are as at 20 degrees C, "
        "by 0.198 % a kelvin."
    )
    answer = Answer(
        kind,
        log.trend_lines(result),
        (PageTable.of("Series", log.trend_grid(result)),),
        drawing.describe(result),
        (note,),
        (*result.warnings, *skipped),
    )
    return answer_html(f"Log: {result.title}", f"{result.records} records", [answer])
