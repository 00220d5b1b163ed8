"""What the screen will show for true matches from perfect to open, and the reading to aim for."""

from __future__ import annotations

import math

from rich.console import Console

from chain.analyses.bench_card import Card
from chain.analyses.expect import Expectation
from chain.setup_report.numbers import (
    at_most,
    figure,
    figure_of,
    frequency,
    head,
    limit,
    match,
    outside,
    percent,
    short_limit,
    span,
    units,
)
from chain.setup_report.phrases import (
    PORT_ONLY_LINE,
    draws_words,
    fitted,
    plane_words,
    short,
    takes_port_only,
    turn_step,
)
from chain.setup_report.steps import helping_step
from chain.setup_report.tables import Column, answer, notes, say, show_table

NO_CEILING_VSWR = 1000.0
"""A ceiling above this hides nothing."""


def render(result: Expectation, console: Console) -> None:
    """Print what to expect."""
    answer(console, verdict_lines(result), result.warnings)
    share = percent(result.coverage).replace(".0", "")
    unproven = result.aim_reading.vswr is None and result.aim_bound.vswr is None
    columns = [
        Column(f"antenna\ntrue {head()}"),
        Column("screen\nreads"),
        Column(f"screen, interval\nof {share}"),
        Column("screen,\nguaranteed bound"),
    ]
    rows = [
        [
            "open, short" if math.isinf(row.true_vswr) else figure(row.true_vswr),
            figure(row.reading_vswr),
            span(row.reading_low, row.reading_high),
            span(row.bound_low, result.ceiling_bound_vswr if math.isinf(row.true_vswr) else row.bound_high),
        ]
        for row in result.rows
    ]
    show_table(console, columns, rows)
    if unproven and takes_port_only(result.assumed):
        say(console, PORT_ONLY_LINE)
    method = (
        f"Figures for {frequency(result.worst_hz)}, where the uncertainty at {'the limit' if result.limit_vswr else match(2.0)} "
        f"is largest. Antenna in {result.far_ohm:g} ohm at its own connector, screen in {result.reading_ohm:g} ohm, calibrated "
        f"{plane_words(result.plane)}; open, short: everything comes back. {draws_words(result)}."
    )
    notes(console, result.assumed, [method])


def verdict_lines(result: Expectation) -> list[str]:
    """The reading to aim for, what nothing connected shows, and the next step."""
    return [aim_words(result), _ceiling(result), _next(result)]


def aim_words(result: Expectation | Card) -> str:
    """The reading that shows the limit to be met, or that none does."""
    if result.limit_vswr is None:
        return 'No limit is stated to aim for: write limit = "VSWR 2.0" under [far].'
    reading, bound = result.aim_reading, result.aim_bound
    share = percent(result.coverage).replace(".0", "")
    wanted = limit(result.limit_vswr)
    for aim, how in ((reading, share), (bound, "guaranteed")):
        if aim.vswr is not None:
            shows = f"The screen must show {at_most(aim.vswr)} everywhere to prove"
            return fitted(
                *(
                    f"{shows} {each} ({how})."
                    for each in (f"{wanted} or better", wanted, short_limit(result.limit_vswr))
                )
            )
    blame = _blamed(result)
    text = f"No reading can prove {wanted} or better here"
    if not blame:
        return f"{text}."
    # The next step may name another item that hides nearly as much: then both are to blame.
    step = getattr(result, "improvement", None)
    both = [f"'{short(each, 28)}'" for each in dict.fromkeys([blame, *(step.items if step is not None else ())])]
    names = " and ".join(both)
    hide = "hide" if len(both) > 1 else "hides"
    return fitted(f"{text}, mainly because of {names}.", f"{text}: {names} {hide} it.", f"{text}.")


def _blamed(result: Expectation | Card) -> str:
    """What moves the aim that is reported: that of the interval, unless the bound alone has one."""
    first, other = result.aim_reading, result.aim_bound
    if first.vswr is None and other.vswr is not None:
        first, other = other, first
    return first.blame or other.blame


def _ceiling(result: Expectation) -> str:
    """What nothing connected shows, as the table has it, and what is too much anywhere in the sweep."""
    if result.ceiling_vswr > NO_CEILING_VSWR:
        return "With nothing connected it shows a full reflection, off the scale."
    nothing = result.nothing_connected_vswr
    usual = next((row.reading_high for row in result.rows if math.isinf(row.true_vswr)), math.inf)
    shows = (match(nothing), figure_of(nothing))
    texts = [f"With nothing connected it shows about {each}" for each in shows]
    if not result.ceiling_vswr < result.ceiling_bound_vswr <= NO_CEILING_VSWR:
        return fitted(*(f"{each}." for each in texts))
    beyond = "below" if units().in_db else "above"
    surely = f"{beyond} {outside(result.ceiling_bound_vswr)} surely"
    if not result.ceiling_vswr <= usual < result.ceiling_bound_vswr:
        return fitted(*(f"{each}; {surely} a fault." for each in texts))
    likely, most = outside(usual), outside(result.ceiling_bound_vswr)
    return fitted(
        f"With nothing connected about {shows[1]}; {beyond} {likely} likely a fault, {surely}.",
        f"Nothing connected: about {shows[1]}; {beyond} {likely} likely a fault, {surely}.",
        f"Nothing connected: {shows[1]}; likely a fault {beyond} {likely}, surely {beyond} {most}.",
    )


def _next(result: Expectation) -> str:
    if result.turned:
        return turn_step(result.turned)
    if result.limit_vswr is None:
        return "Next: read the antenna, then 'chain recover' says what it truly is."
    blame = _blamed(result)
    if result.improvement is not None:
        found = result.improvement
        true = short_limit(result.limit_vswr)
        gives = (f"a true {true} then comes out as", f"a true {true} then shows as", f"{true} then shows as", "then")
        return helping_step(found.what, found.low, found.high, gives)
    if result.aim_reading.vswr is None and result.aim_bound.vswr is None and not result.could_move_plane:
        return "Next: read the antenna all the same: 'chain recover' can still show a bad one."
    if result.plane == "near" and result.could_move_plane:
        cause = f"; '{short(blame, 28)}' hides most here" if blame else ""
        return f"Next: 'chain planes' shows where to calibrate{cause}."
    cause = f" ('{short(blame, 20)}' hides most)" if blame else ""
    text = "Next: read the antenna; 'chain recover' says what it truly is"
    return fitted(f"{text}{cause}.", f"{text}.")
