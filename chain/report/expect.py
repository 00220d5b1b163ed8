"""What the screen will show for true matches from perfect to open, and the reading to aim for."""

from __future__ import annotations

from rich.console import Console

from chain.analyses.expect import Expectation
from chain.report.numbers import frequency, lower, percent, span, vswr
from chain.report.phrases import draws_words, plane_words
from chain.report.tables import Column, answer, notes, show_table

__all__ = ["render", "verdict_lines"]

NO_CEILING_VSWR = 1000.0
"""A ceiling above this hides nothing."""


def render(result: Expectation, console: Console) -> None:
    """Print what to expect."""
    answer(console, verdict_lines(result), result.warnings)
    share = percent(result.coverage).replace(".0", "")
    columns = [
        Column("antenna\ntrue VSWR"),
        Column("screen\nreads"),
        Column(f"screen, interval\nof {share}"),
        Column("screen,\nguaranteed bound"),
    ]
    rows = [
        [
            vswr(row.true_vswr),
            vswr(row.reading_vswr),
            span(row.reading_low, row.reading_high),
            span(row.bound_low, row.bound_high),
        ]
        for row in result.rows
    ]
    show_table(console, columns, rows)
    method = (
        f"Figures for {frequency(result.worst_hz)}, where the uncertainty at {'the limit' if result.limit_vswr else 'VSWR 2'} "
        f"is largest. Antenna in {result.far_ohm:g} ohm at its own connector, screen in {result.reading_ohm:g} ohm, calibrated "
        f"{plane_words(result.plane)}; inf: everything comes back, as from an open. {draws_words(result)}."
    )
    notes(console, (), result.assumed, [method])


def verdict_lines(result: Expectation) -> list[str]:
    """The reading to aim for, what nothing connected shows, and the next step."""
    return [_aim(result), _ceiling(result), _next(result)]


def _aim(result: Expectation) -> str:
    if result.limit_vswr is None:
        return 'No limit is stated to aim for: write limit = "VSWR 2.0" under [far].'
    reading, bound = result.aim_reading, result.aim_bound
    share = percent(result.coverage).replace(".0", "")
    meets = f"the antenna is {result.limit_vswr:g} or better"
    if reading.vswr is not None:
        return f"Read {lower(reading.vswr)} or less everywhere, and {meets} ({share})."
    if bound.vswr is not None:
        return f"Read {lower(bound.vswr)} or less everywhere, and {meets} (guaranteed)."
    blame = bound.blame or reading.blame
    reason = f"; the main reason: {blame}" if blame else ""
    return f"No reading shows that the antenna meets {result.limit_vswr:g}{reason}."


def _ceiling(result: Expectation) -> str:
    if result.ceiling_vswr > NO_CEILING_VSWR:
        return "Nothing connected may show anything up to an open."
    text = f"Nothing connected shows about {vswr(result.ceiling_vswr)}"
    if result.ceiling_bound_vswr > result.ceiling_vswr:
        text += f"; more than {vswr(result.ceiling_bound_vswr)} means a fault"
    return f"{text}."


def _next(result: Expectation) -> str:
    if result.limit_vswr is None:
        return "Next: read the antenna, then 'chain recover' tells what it truly is."
    blame = result.aim_bound.blame or result.aim_reading.blame
    if result.plane == "near":
        cause = f"; here {blame} hides most" if blame else ""
        return f"Next: 'chain planes' shows where to calibrate{cause}."
    return "Next: read the antenna, then 'chain recover' tells what it truly is."
