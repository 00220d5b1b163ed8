"""`chain recover`."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.completing import setup_or_sweep_files, sweep_files
from chain.cli.loading import follow_unit, load_heeded, read_repeats, refuse_twice
from chain.cli.options import Common, common, digits_option, draws_option, enforce, sweep_options
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, plot_option, progress, write_plot
from chain.cli.writing import refuse_overwriting
from library.files.store import files_like

if TYPE_CHECKING:
    from rich.console import Console

    from chain.comparisons.antennas import AntennaComparison
    from chain.plots.figure import Plot
    from chain.setups import Setup
    from chain.sweeps.options import SweepOptions
    from chain.sweeps.readings import Readings

NAMED = re.compile(r"\.[A-Za-z]\w*$")
"""The ending of a file's name."""


@click.command("recover", cls=PlotCommand)
@click.argument("files", metavar="[SETUP] [SWEEP]...", nargs=-1, shell_complete=setup_or_sweep_files)
@click.option(
    "--reading",
    multiple=True,
    metavar="TEXT",
    help="'1.30 at 210 MHz' (VSWR), 'RL 17.7 dB at ...', '0.1-0.2j at ...', 'R 68 X -12 at channel 40'.",
)
@click.option(
    "--before",
    metavar="FILE",
    shell_complete=sweep_files,
    help="An earlier sweep of this antenna through the same set-up: is it better or worse now? ('chain compare': of two antennas.)",
)
@click.option("--all", "every_point", is_flag=True, help="Show every point of a long sweep.")
@draws_option
@sweep_options
@digits_option
@plot_option
@enforce
@common
def command(
    shared: Common,
    files: tuple[str, ...],
    reading: tuple[str, ...],
    before: str | None,
    every_point: bool,
    draws: int | None,
    sweep: SweepOptions,
    digits: int,
    plot: str | None,
    enforce: bool,
) -> None:
    """From what the screen shows to what the antenna truly is: match, interval and verdict.

    SETUP is a .toml file; without one, a bare typical pad on a handheld is taken. SWEEP is a Touchstone file, or a table of text with a
    header, by frequency or by the set-up's channels: VSWR, return loss, dB and degrees, real and imaginary part, R and X, |Z| and
    angle. --method prints how the file was understood; the options from --column on settle what it leaves open. Several sweeps of
    one state, at the same frequencies, are averaged as complex values: that makes the noise smaller, and nothing else.

    \b
    Examples:
      chain recover demo/boathouse.toml --reading "VSWR 1.10 at 210 MHz"
      chain recover demo/boathouse.toml demo/boathouse.s1p
      chain recover demo/boathouse.toml demo/boathouse.s1p --plot sweep.png
      chain recover demo/plane-after-pad.toml demo/plane-after-pad.s1p \\
        --before demo/plane-after-pad-before.s1p
      chain recover --reading "RL 17.7 dB at 210 MHz"
    """
    inputs = (*files, *([before] if before else []))
    refuse_overwriting(shared.output, shared.force, inputs)
    check_plot(shared, plot, inputs)
    setup_path, sweep_paths = _sorted(files, reading)
    if before is not None and not sweep_paths:
        raise click.UsageError("--before compares two sweeps: give the later one as SWEEP.")
    if before is not None and any(_same(before, path) for path in sweep_paths):
        raise click.UsageError("--before names the sweep itself: give an earlier sweep through the same set-up.")
    setup, readings = _inputs(shared, setup_path, sweep_paths, reading, sweep)
    from chain.analyses.recover import recover
    from chain.results import SEED

    seed = SEED if shared.seed is None else shared.seed
    change = None if before is None else _compared(setup, before, readings, sweep, seed)
    with progress(shared) as report:
        found = recover(setup, readings, draws, seed, report, digits)
        if sweep_paths:
            from chain.echoes.analyse import notice

            found = replace(found, ripple=notice(readings, setup))

    def plots() -> tuple[Plot, ...]:
        from chain.plots import recover as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.setup_report import recover as page

        page.render(found, console, every_point)
        if change is not None:
            from chain.antenna_report import differences

            # Quiet after the first lines of the one answer, the console still has those of the other to print.
            console.quiet = False
            console.print()
            differences.render(change, console, every_point)
        draw_after(plot, plots, console)

    def document() -> dict[str, object]:
        return found.to_dict() | ({} if change is None else {"before": change.to_dict()})

    deliver(shared, render, document, inputs, found)
    write_plot(shared, plot, plots, found.title, inputs)
    if enforce and found.verdict not in ("pass", "no limit"):
        raise click.exceptions.Exit(1)


def _sorted(files: tuple[str, ...], readings: tuple[str, ...]) -> tuple[str | None, tuple[str, ...]]:
    """Path of the set-up and of the sweeps, distinguished by their suffix; `-` is whichever of them is missing."""
    has_reading = bool(readings)
    setups = [path for path in files if path.lower().endswith(".toml")]
    sweeps = [path for path in files if path not in setups and path != "-"]
    for _ in range(files.count("-")):
        (sweeps if setups or not (has_reading or sweeps) else setups).append("-")
    if len(setups) > 1:
        raise click.UsageError("Give one set-up (.toml) at most.")
    refuse_twice(sweeps)
    if sweeps and has_reading:
        if sweeps[0] in ("at", "on"):
            raise click.UsageError(
                f'A reading of several words: write it in quotes, --reading "{readings[-1]} {" ".join(sweeps)}".'
            )
        if not _there(sweeps[0]):
            near = files_like(sweeps[0], (".toml",))
            remedy = f": write {near[0]}" if near else ""
            raise click.UsageError(f"There is no file {sweeps[0]}{remedy}.")
        raise click.UsageError(
            f"Give a sweep or --reading, not both: {sweeps[0]} counts as a sweep, a set-up ends in .toml."
        )
    bare = next((path for path in sweeps if path != "-" and not NAMED.search(path) and not _there(path)), None)
    if bare is not None:
        raise click.UsageError(
            f'There is no file {bare}: what the screen shows goes behind --reading, as in --reading "VSWR 1.30 at 210 MHz".'
        )
    if not sweeps and not has_reading:
        raise click.UsageError('Nothing to recover: give a sweep file, or --reading "VSWR 1.30 at 210 MHz".')
    return (setups[0] if setups else None), tuple(sweeps)


def _there(path: str) -> bool:
    try:
        return Path(path).exists()
    except (OSError, ValueError):
        return False


def _same(one: str, other: str) -> bool:
    """Whether two names lead to one file."""
    try:
        return one == other or Path(one).samefile(other)
    except (OSError, ValueError):
        return False


def _inputs(
    shared: Common,
    setup_path: str | None,
    sweep_paths: tuple[str, ...],
    texts: tuple[str, ...],
    sweep: SweepOptions,
) -> tuple[Setup, Readings]:
    loaded = None if setup_path is None else load_heeded(shared, setup_path)
    if not sweep_paths:
        readings = _typed(texts, loaded)
        follow_unit(loaded, readings)
    elif loaded is not None:
        readings = read_repeats(loaded, sweep_paths, sweep)
    else:
        from chain.sweeps.read import read_sweep
        from chain.sweeps.readings import averaged_sweeps

        # A bare pad is calibrated in front of it, at the analyzer's own 50 ohm.
        readings = averaged_sweeps([read_sweep(path, sweep, 50.0) for path in sweep_paths])
        follow_unit(None, readings)
    if loaded is not None:
        return loaded, readings
    from chain.assembly.bare_pad import bare_pad

    return bare_pad(float(readings.freq_hz[0]), float(readings.freq_hz[-1])), readings


def _typed(texts: tuple[str, ...], setup: Setup | None) -> Readings:
    """Typed readings, impedances in the plane's reference (a bare pad: 50 ohm), channels as the set-up names them."""
    from chain.sweeps.readings import typed_readings

    if setup is None:
        return typed_readings(*texts, reference_ohm=50.0)
    from chain.assembly.cascade import plane_reference_ohm

    channels = {name: (low_hz, high_hz) for name, low_hz, high_hz in setup.sweep.channels}
    return typed_readings(*texts, reference_ohm=plane_reference_ohm(setup), channels=channels, shows_db=setup.shows_db)


def _compared(setup: Setup, before: str, after: Readings, sweep: SweepOptions, seed: int) -> AntennaComparison:
    """The same antenna before and after, by the computation of 'chain compare'; without a phase both are at one phase."""
    from chain.assembly.cascade import read_sweep_for
    from chain.comparisons.antennas import compare_antennas

    earlier = read_sweep_for(setup, before, sweep)
    return compare_antennas(setup, earlier, after, ("before", "now"), seed, exchanged=False)
