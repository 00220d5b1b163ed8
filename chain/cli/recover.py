"""`chain recover`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import setup_or_sweep_files
from chain.cli.options import Common, common, enforce
from chain.cli.output import deliver, refuse_overwriting
from chain.cli.plotoption import PlotCommand, check_plot, draw_after, plot_option, write_plot
from chain.cli.progress import progress

if TYPE_CHECKING:
    from rich.console import Console

    from chain.plots.figure import Plot
    from chain.readings import Readings
    from chain.records import Setup

__all__ = ["command"]


@click.command("recover", cls=PlotCommand, short_help="What is the antenna's true match, and how sure is that?")
@click.argument("files", metavar="[SETUP] [SWEEP]", nargs=-1, shell_complete=setup_or_sweep_files)
@click.option(
    "--reading", multiple=True, metavar="TEXT", help="'VSWR 1.30 at 210 MHz', 'RL 17.7 dB at ...', '0.1-0.2j at ...'."
)
@click.option("--all", "every_point", is_flag=True, help="Show every point of a long sweep.")
@plot_option
@enforce
@common
def command(
    shared: Common,
    files: tuple[str, ...],
    reading: tuple[str, ...],
    every_point: bool,
    plot: str | None,
    enforce: bool,
) -> None:
    """Turn what the screen shows into what the antenna is: true match, interval, bound and verdict.

    SETUP is a .toml file; without one, a bare ideal pad is taken. SWEEP is a one-port Touchstone file (.s1p) or a text
    file of two columns under a header such as frequency_mhz,vswr.

    \b
    Examples:
      chain recover demo/boathouse.toml --reading "VSWR 1.10 at 210 MHz"
      chain recover demo/boathouse.toml demo/boathouse.s1p
      chain recover demo/boathouse.toml demo/boathouse.s1p --plot sweep.png
      chain recover --reading "RL 17.7 dB at 210 MHz"
    """
    refuse_overwriting(shared.output, shared.force, files)
    check_plot(shared, plot, files)
    setup_path, sweep_path = _sorted(files, bool(reading))
    setup, readings = _inputs(setup_path, sweep_path, reading)
    from chain.intervals import SEED
    from chain.recover import recover

    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        found = recover(setup, readings, seed=seed, progress=report)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import recover as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.report import recover as page

        page.render(found, console, every_point)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, files)
    write_plot(shared, plot, plots, found.title, files)
    if enforce and found.verdict not in ("pass", "no limit"):
        raise click.exceptions.Exit(1)


def _sorted(files: tuple[str, ...], has_reading: bool) -> tuple[str | None, str | None]:
    """Path of the set-up and of the sweep, told apart by their suffix."""
    setups = [path for path in files if path.lower().endswith(".toml") or path == "-"]
    sweeps = [path for path in files if path not in setups]
    if len(setups) > 1 or len(sweeps) > 1:
        raise click.UsageError("Give one set-up (.toml) and one sweep (.s1p or .csv) at most.")
    if sweeps and has_reading:
        raise click.UsageError("Give a sweep or --reading, not both.")
    if not sweeps and not has_reading:
        raise click.UsageError('Nothing to recover: give a sweep file, or --reading "VSWR 1.30 at 210 MHz".')
    return (setups[0] if setups else None), (sweeps[0] if sweeps else None)


def _inputs(setup_path: str | None, sweep_path: str | None, texts: tuple[str, ...]) -> tuple[Setup, Readings]:
    from chain.barepad import bare_pad
    from chain.readings import from_texts
    from chain.setupfile import load_setup
    from chain.sweepfile import read_sweep
    from chain.units import parse_reading

    loaded = None if setup_path is None else load_setup(setup_path)
    typed = [parse_reading(text) for text in texts]
    readings = from_texts(typed) if sweep_path is None else read_sweep(sweep_path)
    if loaded is None:
        loaded = bare_pad(float(readings.freq_hz[0]), float(readings.freq_hz[-1]))
    return loaded, readings
