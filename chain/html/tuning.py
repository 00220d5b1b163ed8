"""Pages of tuning and matching: three lines, charts with the circle chart, the table, facts and cautions."""

from __future__ import annotations

from chain.antenna_report import match, tune
from chain.html.answers import Answer, PageTable, answer_html
from chain.plots import match as match_drawing
from chain.plots import tune as tune_drawing
from chain.report.numbers import units
from chain.tuning.matching import Matching
from chain.tuning.records import Tuning

KINDS = {"in tune": "pass", "cannot tell": "not-proven", "no gain": "not-proven"}


def tuning_html(found: Tuning) -> str:
    """Page of which way to bend an antenna."""
    kind = "return loss" if units().in_db else "VSWR"
    sub = f"Wanted: {found.wanted.low_hz / 1e6:g} to {found.wanted.high_hz / 1e6:g} MHz. True {kind} in {found.far_ohm:g} ohm."
    answer = Answer(
        KINDS.get(found.verdict, "aim"),
        tune.three_lines(found),
        (PageTable.of("Over the wanted span", tune.grid(found)),),
        tune_drawing.describe(found),
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
        match_drawing.describe(found),
        (*cautions, match.conditions(found)),
        found.warnings,
        found.assumed,
    )
    return answer_html(found.title, sub, [answer])
