"""`chain tune`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import click

from chain.cli.completing import any_file, setup_files, sweep_files
from chain.cli.loading import load_heeded, read_repeats
from chain.cli.options import Common, common, sweep_options
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, note, plot_option, progress, write_plot
from chain.cli.writing import Refusal, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot
    from chain.setups import Setup
    from chain.sweeps.options import SweepOptions
    from chain.sweeps.readings import Readings
    from chain.tuning.matching import Matching


@click.command("tune", cls=PlotCommand)
@click.argument("setup", metavar="SETUP", shell_complete=setup_files)
@click.argument("sweep_path", metavar="SWEEP", shell_complete=sweep_files)
@click.option(
    "--wanted",
    metavar="SPAN",
    help="What the antenna is for: '602 to 650 MHz' or '626 MHz'; the set-up's channels or sweep if left out.",
)
@click.option("--match", is_flag=True, help="Which matching network at the antenna would serve the worst channel best?")
@click.option(
    "--values",
    type=click.Choice(["E12", "E24"]),
    default="E24",
    help="Match: preferred values of coils and capacitors (E24).",
)
@click.option(
    "--coil-q",
    metavar="NUMBER",
    type=click.FloatRange(1, 1000),
    default=80.0,
    help="Match: quality factor of coils (80).",
)
@click.option(
    "--write",
    metavar="STEM",
    shell_complete=any_file,
    help="Match: write the best network as STEM.toml (a set-up) and STEM-parts.toml.",
)
@click.option(
    "--faults", is_flag=True, help="Which faults of the antenna's side does the sweep give reason to suspect?"
)
@click.option(
    "--before", metavar="FILE", shell_complete=sweep_files, help="Faults: a sweep from when the antenna was well."
)
@click.option(
    "--handled", metavar="FILE", shell_complete=sweep_files, help="Faults: a sweep while a hand holds the lead."
)
@click.option("--page", metavar="FILE", shell_complete=any_file, help="Also write one self-contained HTML page.")
@click.option("--all", "every_point", is_flag=True, help="Show every point of the sweep.")
@sweep_options
@plot_option
@common
def command(
    shared: Common,
    setup: str,
    sweep_path: str,
    wanted: str | None,
    match: bool,
    values: str,
    coil_q: float,
    write: str | None,
    faults: bool,
    before: str | None,
    handled: str | None,
    page: str | None,
    every_point: bool,
    sweep: SweepOptions,
    plot: str | None,
) -> None:
    """Say whether the antenna is too long or too short for its channels, by how much, and what it would read afterwards.

    SWEEP should reach past the wanted channels on either side. With a phase the reading is taken back to the antenna's element:
    resonances, bandwidth, quality factor, the change of length. Without one: on which side the dip lies, and what to try. The
    table [antenna] of SETUP says what the antenna is made of. With --match: which network of real parts between lead and antenna
    would serve the worst wanted channel best. With --faults: water, joints, a broken element, current on the braid or a wall.

    \b
    Examples:
      chain tune demo/loops.toml demo/loops.s1p
      chain tune demo/loops.toml demo/loops.csv
      chain tune demo/loops.toml demo/loops.s1p --wanted "602 to 650 MHz" \\
        --plot tune.png
      chain tune demo/loops.toml demo/loops.s1p --match --write matched
      chain tune demo/loops.toml demo/loops-wet.s1p --faults \\
        --before demo/loops.s1p
    """
    if sweep_path.lower().endswith(".toml") and not setup.lower().endswith(".toml"):
        setup, sweep_path = sweep_path, setup
    inputs = (setup, sweep_path, *(each for each in (before, handled) if each is not None))
    refuse_overwriting(shared.output, shared.force, inputs)
    refuse_overwriting(page, shared.force, inputs)
    check_plot(shared, plot, inputs)
    if write is not None and not match:
        raise click.UsageError("--write goes with --match: it writes the network.")
    if (before is not None or handled is not None) and not faults:
        raise click.UsageError("--before and --handled go with --faults; 'chain recover --before' compares two sweeps.")
    if faults and (match or plot is not None or page is not None):
        raise click.UsageError("--faults stands alone: no --match, --plot or --page with it.")
    for path in () if write is None else _written(write):
        refuse_overwriting(path, shared.force, inputs)
    from chain.results import SEED

    low_hz, high_hz = (None, None) if wanted is None else _span(wanted)
    loaded = load_heeded(shared, setup)
    readings = read_repeats(loaded, [sweep_path], sweep)
    asked = _TuneAsked(loaded, readings, low_hz, high_hz, SEED if shared.seed is None else shared.seed)
    if faults:
        others = [None if each is None else read_repeats(loaded, [each], sweep) for each in (before, handled)]
        _faults(shared, asked, others, inputs)
    elif match:
        _match(shared, asked, _Making(values, coil_q, write, setup), (plot, page), inputs)
    else:
        _tune(shared, asked, every_point, (plot, page), inputs)


Out = tuple[str | None, str | None]
"""Files for the picture and the page."""


@dataclass(frozen=True)
class _TuneAsked:
    """What both forms of the command start from."""

    setup: Setup
    readings: Readings
    low_hz: float | None
    high_hz: float | None
    seed: int


@dataclass(frozen=True)
class _Making:
    """What a network is made of, and where it is written."""

    values: str
    coil_q: float
    stem: str | None
    setup_path: str


def _tune(shared: Common, asked: _TuneAsked, every_point: bool, out: Out, inputs: tuple[str, ...]) -> None:
    from chain.tuning.tune import tune

    plot, page = out

    with progress(shared) as report:
        found = tune(asked.setup, asked.readings, asked.low_hz, asked.high_hz, asked.seed, report)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import tune as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.antenna_report import tune as text

        text.render(found, console, every_point)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, inputs, found)
    write_plot(shared, plot, plots, found.title, inputs)
    if page is not None:
        from chain.html.answers import tuning_html

        write_whole(page, tuning_html(found), shared.force, inputs)
        note(shared, f"written: {page}")


def _faults(shared: Common, asked: _TuneAsked, others: list[Readings | None], inputs: tuple[str, ...]) -> None:
    from chain.tuning.faults import antenna_faults

    found = antenna_faults(asked.setup, asked.readings, others[0], others[1], asked.seed)

    def render(console: Console) -> None:
        from chain.antenna_report import faults as text

        text.render(found, console)

    deliver(shared, render, found.to_dict, inputs, found)


def _match(shared: Common, asked: _TuneAsked, making: _Making, out: Out, inputs: tuple[str, ...]) -> None:
    from chain.tuning.matching import match_network
    from chain.tuning.networks import E12, E24, Stock

    plot, page = out

    stock = Stock(E12 if making.values == "E12" else E24, coil_q=making.coil_q)
    with progress(shared) as report:
        found = match_network(asked.setup, asked.readings, asked.low_hz, asked.high_hz, stock, asked.seed, report)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import match as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.antenna_report import match as text

        text.render(found, console)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, inputs, found)
    write_plot(shared, plot, plots, found.title, inputs)
    if page is not None:
        from chain.html.answers import matching_html

        write_whole(page, matching_html(found), shared.force, inputs)
        note(shared, f"written: {page}")
    if making.stem is not None:
        _write(shared, asked.setup, found, making, inputs)


def _written(stem: str) -> tuple[str, str]:
    """Files that --write makes: the set-up and its part."""
    stem = stem.removesuffix(".toml")
    return f"{stem}.toml", f"{stem}-parts.toml"


def _write(shared: Common, setup: Setup, found: Matching, making: _Making, inputs: tuple[str, ...]) -> None:
    from pathlib import Path

    from chain.files.toml import decode, read_file
    from chain.tuning.matching import part_file, setup_text

    if not found.networks:
        raise Refusal("no network gains anything here, so none is written")
    if making.setup_path == "-":
        raise Refusal("--write adds to the set-up's own file: give its name instead of '-'")
    setup_path, part_path = _written(str(making.stem))
    write_whole(part_path, part_file(setup, found.networks[0]), shared.force, inputs)
    try:
        text = decode(read_file(making.setup_path), making.setup_path)
        whole = setup_text(setup, text, Path(part_path), Path(setup_path).parent)
        write_whole(setup_path, whole, shared.force, inputs)
    except Exception:
        # Both files or neither.
        Path(part_path).unlink(missing_ok=True)
        raise
    note(shared, f"written: {setup_path} and {part_path}")


def _span(text: str) -> tuple[float, float]:
    """Lowest and highest frequency of a span as typed: one frequency, or two with `to` between them."""
    from chain.units import parse_quantity

    first, _, last = text.partition(" to ")
    if not last:
        one = parse_quantity(text, "frequency")
        return one, one
    high = parse_quantity(last, "frequency")
    unit = last.strip().split()[-1] if " " in last.strip() else ""
    low = parse_quantity(first if any(letter.isalpha() for letter in first) else f"{first} {unit}", "frequency")
    if low >= high:
        raise click.UsageError(f"--wanted {text!r}: the second frequency does not lie above the first.")
    return low, high
