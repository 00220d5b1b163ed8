"""A learnt part: verdict, figures with their intervals, what it changes in a set-up, how to use it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from rich.console import Console

from chain.characterize.records import BeforeAfter, Figure, Learnt, Side
from chain.reflection import vswr
from chain.setup_report.numbers import aim, figure, frequency, head, percent, span
from chain.setup_report.phrases import fitted, line_of, short
from chain.setup_report.tables import Column, answer, notes, say, show_table
from chain.units import format_quantity

KINDS = {"pad": "pad", "adapter": "adapter", "coax": "lead"}
POINTS_SHOWN = 3


def render(result: Learnt, console: Console, path: str = "", two_port: str = "") -> None:
    """Print what was learnt."""
    share = percent(result.coverage).replace(".0", "")
    answer(console, verdict_lines(result, path), result.warnings)
    columns = [Column(KINDS[result.kind], numeric=False), Column("learnt"), Column(f"interval\nof {share}")]
    show_table(console, columns, [*_losses(result), *_figures(result)])
    if result.comparison is not None:
        console.print()
        _before_and_after(result.comparison, console, share)
    method = [
        _tolerance(result),
        f"Impedances: {result.near_ohm:g} ohm near, {result.far_ohm:g} ohm far. {_drawn(result)}",
    ]
    if result.comparison is not None:
        at = frequency(result.comparison.freq_hz)
        method.append(
            f"Readings at {at}, where the uncertainty at the limit is largest; aim for: over the whole sweep."
        )
    if two_port and result.reflection_error is not None:
        console.print()
        say(console, _as_item(result, two_port))
    notes(console, result.assumed, method)


def verdict_lines(result: Learnt, path: str = "") -> list[str]:
    """The loss with its interval; what that changes, or what it rests on; how to use it."""
    mean = result.mean_loss
    share = percent(result.coverage).replace(".0", "")
    low, high = (f"{each / 1e6:g}" for each in (result.sweep_hz[0], result.sweep_hz[-1]))
    text = f"This {KINDS[result.kind]} loses {mean.value:.3f} dB ({_between(mean)}, {share})"
    first = fitted(f"{text}, mean over {low} to {high} MHz.", f"{text}, mean of the sweep.")
    times = "once" if result.sweeps == 1 else f"{result.sweeps} times"
    rests = f"Measured {times}; the interval comes {_source(result)}."
    return [first, _gain(result.comparison) if result.comparison is not None else rests, _use(result, path)]


def _source(result: Learnt) -> str:
    return "from the analyzer's stated errors" if result.sweeps == 1 else "from the repeats and the analyzer"


def _between(figure: Figure) -> str:
    return f"{figure.low:.3f} to {figure.high:.3f}"


def _drawn(result: Learnt) -> str:
    return f"Intervals {_source(result)}; {result.draws} draws, seed {result.seed}."


def _losses(result: Learnt) -> Iterator[list[str]]:
    last = result.freq_hz.size - 1
    for index in dict.fromkeys(round(last * step / (POINTS_SHOWN - 1)) for step in range(POINTS_SHOWN)):
        low, high = result.loss_low_db[index], result.loss_high_db[index]
        name = f"loss at {frequency(float(result.freq_hz[index]))}, dB"
        yield [name, f"{result.loss_db[index]:.3f}", f"{low:.3f} to {high:.3f}"]


def _figures(result: Learnt) -> Iterator[list[str]]:
    for each in result.figures:
        if each.name == "reflection":
            ends = (float(vswr(min(size, 1.0))) for size in (each.low, each.high))
            yield [
                f"{each.words}, {head().replace(chr(10), ' / ')}",
                figure(float(vswr(min(each.value, 1.0)))),
                span(*ends),
            ]
            continue
        unit = ", ohm" if each.name.endswith("_ohm") else ", dB" if "_db" in each.name else ""
        unit = ", m" if each.name == "length_m" else unit
        yield [f"{each.words}{unit}", f"{each.value:.4g}", f"{each.low:.4g} to {each.high:.4g}"]


def _tolerance(result: Learnt) -> str:
    row = result.row
    if result.kind == "pad":
        return f"As a part: {row['loss_db']} dB +/- {row['loss_tolerance_db']} dB at every frequency of that span."
    return f"As a part: its loss is known to +/- {row['loss_tolerance_percent']} % at every frequency of that span."


def _use(result: Learnt, path: str) -> str:
    length = f', length = "{format_quantity(result.length_m, "length")}"' if result.length_m else ""
    use = f'library = ["{path or "FILE"}"], part = "{result.id}"'
    return fitted(
        f"Next: in a set-up, {use}{length}.", f"Next: in a set-up, {use}.", f'Next: in a set-up, part = "{result.id}".'
    )


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
    name = short(found.title, 24)
    if after < before:
        return f"In '{name}' it narrows the reading at the limit by {percent(1 - after / before)}."
    return line_of("", f"It narrows nothing in '{name}': {short(found.before.part)} claims more; repeat the sweeps")


def _before_and_after(found: BeforeAfter, console: Console, share: str) -> None:
    columns = [
        Column(f"item {found.item}", numeric=False),
        Column("the limit\nreads"),
        Column(f"reading,\n{share}"),
        Column(f"true {head()} of\nsuch, {share}"),
        Column("aim\nfor"),
    ]
    rows = [
        [
            f"{word}: {side.part}",
            figure(side.reading_vswr),
            span(side.reading_low, side.reading_high),
            span(side.true_low, side.true_high),
            "none" if side.aim_vswr is None else aim(side.aim_vswr),
        ]
        for word, side in (("before", found.before), ("after", found.after))
    ]
    show_table(console, columns, rows)
