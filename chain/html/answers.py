"""Pages of comparisons, of tuning and matching, and of the log: three lines, charts and tables, one file that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chain.antenna_report import differences, log, match, tune
from chain.antenna_report.differences import Grid
from chain.comparisons.antennas import AntennaComparison
from chain.comparisons.levels import LevelComparison
from chain.errors import plain
from chain.html.circle_chart import circle_svg
from chain.html.inline_charts import curve_svg
from chain.html.page import filled
from chain.plots import differences as differences_plot
from chain.plots import log as log_plot
from chain.plots import match as match_plot
from chain.plots import tune as tune_plot
from chain.plots.figure import CurveChart, ReflectionChart
from chain.records.trends import LogTrends
from chain.setup_report.numbers import units
from chain.tuning.matching import Matching
from chain.tuning.records import Tuning

KINDS = {"better": "pass", "worse": "fail"}


@dataclass(frozen=True)
class PageTable:
    """A table of a page: caption, heads, rows of texts."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    @classmethod
    def of(cls, caption: str, grid: Grid) -> PageTable:
        """The table that a report prints."""
        columns, rows = grid
        heads = tuple(" ".join(column.header.split()) for column in columns)
        return cls(caption, heads, tuple(tuple(str(cell) for cell in row) for row in rows))


@dataclass(frozen=True)
class Answer:
    """One answer of a page: its lines, and what stands below; `kind` is the look of the first line."""

    kind: str
    lines: tuple[str, ...]
    tables: tuple[PageTable, ...] = ()
    charts: tuple[CurveChart | ReflectionChart, ...] = ()
    notes: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()


def answer_html(title: str, sub: str, answers: Sequence[Answer]) -> str:
    """Page of a few answers, one under another."""
    from markupsafe import Markup

    shown = [
        {
            "kind": each.kind,
            "lines": each.lines,
            "tables": each.tables,
            "charts": [{"title": chart.title, "svg": Markup(_svg(chart))} for chart in each.charts],
            "notes": each.notes,
            "warnings": each.warnings,
            "assumed": each.assumed,
        }
        for each in answers
    ]
    return filled("answer.html", title, {"sub": sub, "answers": shown})


def _svg(chart: CurveChart | ReflectionChart) -> str:
    return circle_svg(chart) if isinstance(chart, ReflectionChart) else curve_svg(chart)


def comparison_html(by_match: AntennaComparison | None, by_level: LevelComparison | None) -> str:
    """Page of a comparison of two antennas, by match, by received levels, or both."""
    answers = []
    if by_match is not None:
        answers.append(
            Answer(
                KINDS.get(by_match.verdict, "not-proven"),
                differences.match_lines(by_match),
                (PageTable.of("By match", differences.match_grid(by_match)),),
                differences_plot.describe(by_match),
                (
                    differences.judged_line(by_match),
                    f"{by_match.points} points, {by_match.draws} draws, seed {by_match.seed}.",
                ),
                by_match.warnings,
            )
        )
    if by_level is not None:
        tables = [PageTable.of("By received level", each) for each in differences.level_grid(by_level)]
        answers.append(
            Answer(
                KINDS.get(by_level.verdict, "not-proven"),
                differences.level_lines(by_level),
                tuple(tables),
                (),
                (),
                by_level.warnings,
                by_level.assumed,
            )
        )
    found = by_match or by_level
    assert found is not None
    return answer_html(found.title, f"{found.second_name} against {found.first_name}".strip(" a"), answers)


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
    >>> from chain import log_html, log_trends
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
        log_plot.describe(result),
        (note,),
        (*result.warnings, *skipped),
    )
    return answer_html(f"Log: {result.title}", f"{result.records} records", [answer])


TUNING_KINDS = {"in tune": "pass", "cannot tell": "not-proven", "no gain": "not-proven"}


def tuning_html(found: Tuning) -> str:
    """Page of which way to bend an antenna."""
    kind = "return loss" if units().in_db else "VSWR"
    sub = f"Wanted: {found.wanted.low_hz / 1e6:g} to {found.wanted.high_hz / 1e6:g} MHz. True {kind} in {found.far_ohm:g} ohm."
    answer = Answer(
        TUNING_KINDS.get(found.verdict, "aim"),
        tune.three_lines(found),
        (PageTable.of("Over the wanted span", tune.grid(found)),),
        tune_plot.describe(found),
        (*tune.facts(found), tune.CAUTION, tune.conditions(found)),
        found.warnings,
        found.assumed,
    )
    return answer_html(found.title, sub, [answer])


def matching_html(found: Matching) -> str:
    """Page of what a matching network could do."""
    sub = f"Wanted: {found.wanted.low_hz / 1e6:g} to {found.wanted.high_hz / 1e6:g} MHz. On the side of the lead, {found.far_ohm:g} ohm."
    cautions = (match.DC[found.networks[0].dc], *match.CAUTIONS) if found.networks else ()
    answer = Answer(
        "pass" if found.networks else "not-proven",
        match.three_lines(found),
        (PageTable.of("The best of each family, from lead to antenna", match.grid(found)),),
        match_plot.describe(found),
        (*cautions, match.conditions(found)),
        found.warnings,
        found.assumed,
    )
    return answer_html(found.title, sub, [answer])
