"""Pages of comparisons and of the log: three lines, charts and tables, one file that needs nothing else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from chain.antenna_report import differences
from chain.antenna_report.differences import Grid
from chain.comparisons.antennas import AntennaComparison
from chain.comparisons.levels import LevelComparison
from chain.html.circle_chart import circle_svg
from chain.html.inline_charts import curve_svg
from chain.html.page import filled
from chain.plots import differences as drawing
from chain.plots.figure import CurveChart, ReflectionChart

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
                drawing.describe(by_match),
                (f"{by_match.points} points, {by_match.draws} draws, seed {by_match.seed}.",),
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
