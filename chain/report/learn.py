"""A learnt part: verdict, figures with their intervals, what it changes in a set-up, how to use it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rich.console import Console

from chain.characterize.records import BeforeAfter, Figure, Learnt, Side
from chain.report.numbers import frequency, lower, percent, span, vswr
from chain.report.tables import Column, notes, say, show_table
from chain.units import format_quantity

__all__ = ["render"]

KINDS = {"pad": "pad", "adapter": "adapter", "coax": "lead"}
POINTS_SHOWN = 3


def render(result: Learnt, console: Console, path: str = "", two_port: str = "") -> None:
    """Print what was learnt."""
    share = percent(result.coverage).replace(".0", "")
    mean = result.mean_loss
    times = "once" if result.sweeps == 1 else f"{result.sweeps} times"
    sweep = f"{result.sweep_hz[0] / 1e6:g} to {result.sweep_hz[-1] / 1e6:g} MHz"
    say(
        console,
        f"{result.id}: this {KINDS[result.kind]} loses {mean.value:.3f} dB, {_between(mean)} dB with {share} coverage, "
        f"mean over {sweep}; measured {times}.",
    )
    if result.comparison is not None:
        say(console, _gain(result.comparison))
    console.print()
    columns = [Column(KINDS[result.kind], figures=False), Column("learnt"), Column(f"interval\nof {share}")]
    show_table(console, columns, [*_losses(result), *_figures(result)])
    console.print()
    if result.comparison is not None:
        _before_and_after(result.comparison, console, share)
    say(console, _tolerance(result))
    say(console, _use(result, path))
    if two_port and result.reflection_error is not None:
        say(console, _as_item(result, two_port))
    say(console, f"Impedances: {result.near_ohm:g} ohm near, {result.far_ohm:g} ohm far. {_drawn(result)}")
    notes(console, result.warnings, result.assumed)


def _between(figure: Figure) -> str:
    return f"{figure.low:.3f} to {figure.high:.3f}"


def _drawn(result: Learnt) -> str:
    spread = "from the errors stated of the analyzer" if result.sweeps == 1 else "from the repeats and the analyzer"
    return f"Intervals {spread}; {result.draws} draws, seed {result.seed}."


def _losses(result: Learnt) -> Iterator[list[str]]:
    last = result.freq_hz.size - 1
    for index in dict.fromkeys(round(last * step / (POINTS_SHOWN - 1)) for step in range(POINTS_SHOWN)):
        low, high = result.loss_low_db[index], result.loss_high_db[index]
        name = f"loss at {frequency(float(result.freq_hz[index]))}, dB"
        yield [name, f"{result.loss_db[index]:.3f}", f"{low:.3f} to {high:.3f}"]


def _figures(result: Learnt) -> Iterator[list[str]]:
    for each in result.figures:
        unit = ", ohm" if each.name.endswith("_ohm") else ", dB" if "_db" in each.name else ""
        unit = ", m" if each.name == "length_m" else unit
        yield [f"{each.words}{unit}", f"{each.value:.4g}", f"{each.low:.4g} to {each.high:.4g}"]


def _tolerance(result: Learnt) -> str:
    row = result.row
    if result.kind == "pad":
        return f"As a part: {row['loss_db']} dB +/- {row['loss_tolerance_db']} dB at every frequency of that span."
    return f"As a part, its loss is told to +/- {row['loss_tolerance_percent']} % at every frequency of that span."


def _use(result: Learnt, path: str) -> str:
    length = f', length = "{format_quantity(result.length_m, "length")}"' if result.length_m else ""
    return f'In a set-up: library = ["{path or "FILE"}"] at its top, part = "{result.id}"{length} in the item.'


def _as_item(result: Learnt, path: str) -> str:
    """The two-port as an item of its own, phases and all, with what the sweeps leave open."""
    error = max(0.1 * math.floor(-200 * math.log10(min(max(result.reflection_error or 0.0, 1e-3), 1.0))), 0.0)
    loss = math.ceil(1000 * result.loss_error_db) / 1000
    return (
        f'Or the two-port itself, which keeps its phases: touchstone = "{path}", loss_tolerance = "{loss:g} dB", '
        f'reflection_error = "{error:.3g} dB" in the item.'
    )


def _width(side: Side) -> float:
    """Width of the reading's interval as reflection magnitudes."""
    return (side.reading_high - 1) / (side.reading_high + 1) - (side.reading_low - 1) / (side.reading_low + 1)


def _gain(found: BeforeAfter) -> str:
    before, after = _width(found.before), _width(found.after)
    if after < before:
        return f"In '{found.title}' it narrows the reading at the limit by {percent(1 - after / before)}."
    return (
        f"In '{found.title}' it narrows nothing: the figures of {found.before.part} claim more than these sweeps can prove. "
        "Repeat them, or measure with better standards."
    )


def _before_and_after(found: BeforeAfter, console: Console, share: str) -> None:
    columns = [
        Column(f"item {found.item}", figures=False),
        Column(f"true VSWR {found.limit_vswr:g}\nreads"),
        Column(f"reading,\n{share}"),
        Column(f"true VSWR of such\na reading, {share}"),
        Column("aim\nfor"),
    ]
    rows = [
        [
            f"{word}: {side.part}",
            vswr(side.reading_vswr),
            span(side.reading_low, side.reading_high),
            span(side.true_low, side.true_high),
            "none" if side.aim_vswr is None else lower(side.aim_vswr),
        ]
        for word, side in (("before", found.before), ("after", found.after))
    ]
    show_table(console, columns, rows)
    say(console, f"At {frequency(found.freq_hz)}, where the limit is told least well; aim for: over the whole sweep.")
    console.print()
