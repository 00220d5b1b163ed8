"""The same set-up calibrated at each possible plane, side by side, and the plane that is recommended."""

from __future__ import annotations

from rich.console import Console

from chain.analyses.planes import Plane, Planes
from chain.setup_report.numbers import between, db, frequency, limit, percent, short_limit, span
from chain.setup_report.phrases import draws_words, fitted, plane_words, short
from chain.setup_report.tables import Column, answer, notes, say, show_table


def render(result: Planes, console: Console) -> None:
    """Print a comparison of planes."""
    answer(console, opening(result), result.warnings)
    first = result.planes[0]
    columns = [
        Column("calibrated", numeric=False, wraps=True),
        Column(f"a true {short_limit(first.true_vswr)}\ncomes out as"),
        Column(f"a true {short_limit(first.limit_vswr)}\ncomes out as"),
        Column("noise\ngain, dB"),
    ]
    rows = [
        [
            _what(plane, plane.plane == result.recommended),
            span(plane.low, plane.high),
            span(plane.limit_low, plane.limit_high),
            db(plane.noise_gain_db, signed=True),
        ]
        for plane in result.planes
    ]
    if result.if_it_can is not None:
        more = result.if_it_can
        ends = span(more.low, more.high), span(more.limit_low, more.limit_high)
        rows.append([f"if it can: {_what(more, False)}", *ends, db(more.noise_gain_db, signed=True)])
    show_table(console, columns, rows)
    share = percent(result.coverage).replace(".0", "")
    method = (
        f"Intervals of {share}. Noise: what the trace "
        f"noise of one raw reading grows by at the antenna. {draws_words(result)}."
    )
    reason = f"{result.reason[:1].upper()}{result.reason[1:].rstrip('.')}."
    for each in result.missing:
        console.print(f"\nNot compared: {each}.")
    console.print()
    say(
        console,
        f"At {frequency(result.freq_hz)}, the top of the sweep; 'chain choose --improve' takes the worst.",
        style="dim",
    )
    notes(console, result.assumed, [reason, method])


def opening(result: Planes) -> list[str]:
    """Where to calibrate and what a true limit then comes out as; what it comes out as at the analyzer; the next step."""
    best = next(row for row in result.planes if row.plane == result.recommended)
    true = (limit(best.limit_vswr), short_limit(best.limit_vswr))
    where = plane_words(best.plane if best.plane == "near" else f"'{short(best.plane)}'")
    first = fitted(
        *(f"Calibrate {place}: a true {each} {_comes(best)}." for place in (best.what, where) for each in true)
    )
    if best.plane == "near":
        return [first, *_at_port(result)]
    near = next((row for row in result.planes if row.plane == "near"), None)
    second = "" if near is None else f"At the analyzer's port it {_comes(near)}."
    plug = str(best.connector).partition(" (")[0]
    return [
        first,
        second,
        fitted(f"Next: connect {best.standards} to the {plug} there.", f"Next: connect {best.standards} there."),
    ]


def _at_port(result: Planes) -> tuple[str, str]:
    """What stands behind a recommendation of the port, and what to do: no other place was asked of an analyzer that has none."""
    own = "Next: use the analyzer's own open, short and load."
    more = result.if_it_can
    if more is None:
        compared = len(result.planes) > 1
        return "No other place makes that range narrower." if compared else "It calibrates nowhere else.", own
    ends = between(more.limit_low, more.limit_high)
    return (
        fitted(
            f"Taken to calibrate at its port only; after '{short(more.plane)}' it would be {ends}.",
            f"Taken to calibrate at its port only; at the antenna {ends}.",
        ),
        fitted(
            f'Next: if it can there, add calibrates_at = ["near", "{more.plane}"] under [near].',
            'Next: if it can, say so by calibrates_at = ["near", "far"] under [near].',
        ),
    )


def _comes(plane: Plane) -> str:
    ends = between(plane.limit_low, plane.limit_high)
    return f"{'may come' if ends == 'anything' else 'comes'} out as {ends}"


def _what(plane: Plane, best: bool) -> str:
    return f"{'best: ' if best else ''}{plane.what}; {plane.standards}{', assumed' if plane.assumed else ''}"
