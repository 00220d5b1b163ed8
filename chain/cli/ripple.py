"""`chain ripple`."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from chain.cli.completing import any_file, setup_or_sweep_files
from chain.cli.loading import follow_unit, load_stated
from chain.cli.options import Common, common, sweep_options
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, note, plot_option, write_plot
from chain.cli.writing import Refusal, refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.echoes.records import Ripple
    from chain.plots.figure import Plot
    from chain.setups import Setup
    from chain.sweeps.options import SweepOptions
    from chain.sweeps.readings import Readings


@click.command("ripple", cls=PlotCommand)
@click.argument("files", metavar="SWEEP [SETUP]", nargs=-1, shell_complete=setup_or_sweep_files)
@click.option(
    "--gate",
    metavar="FILE",
    shell_complete=any_file,
    help="Write the complex sweep without its ripple to FILE (.s1p or .csv).",
)
@sweep_options
@plot_option
@common
def command(shared: Common, files: tuple[str, ...], gate: str | None, sweep: SweepOptions, plot: str | None) -> None:
    """Find what makes periodic ripple (even dips): its spacing, the length of line or air behind it, and the item that is so long.

    SWEEP is complex (.s1p and the like) or VSWR or return loss alone. SETUP, a .toml file, gives the lengths and velocity
    factors to compare with. A complex sweep is shown without its ripple too, by a time gate.

    \b
    Examples:
      chain ripple demo/ripple.s1p demo/ripple.toml
      chain ripple demo/ripple.csv --plot
      chain ripple demo/ripple.s1p demo/ripple.toml --gate steady.s1p
    """
    refuse_overwriting(shared.output, shared.force, files)
    refuse_overwriting(gate, shared.force, files)
    check_plot(shared, plot, files)
    if gate is not None and not gate.lower().endswith((".s1p", ".csv")):
        raise click.UsageError("--gate writes .s1p or .csv: name a file of either kind.")
    setup, readings = _inputs(files, sweep)
    if gate is not None and gate.lower().endswith(".s1p") and setup is None:
        raise Refusal(f"{gate} needs a reference impedance: name the set-up, or write .csv instead")
    from chain.echoes.analyse import ripple

    found = ripple(readings, setup)
    text = None if gate is None else _gated_text(found, gate, setup)

    def plots() -> tuple[Plot, ...]:
        from chain.plots import ripple as drawing

        return drawing.describe(found)

    def render(console: Console) -> None:
        from chain.setup_report import ripple as page

        page.render(found, console)
        draw_after(plot, plots, console)

    deliver(shared, render, found.to_dict, files, found)
    write_plot(shared, plot, plots, found.title, files)
    if gate is not None and text is not None:
        write_whole(gate, text, shared.force, files)
        note(shared, f"written: {gate}")


def _inputs(files: tuple[str, ...], sweep: SweepOptions) -> tuple[Setup | None, Readings]:
    from chain.assembly.cascade import read_sweep_for
    from chain.sweeps.read import read_sweep

    setups = [path for path in files if path.lower().endswith(".toml")]
    sweeps = [path for path in files if path not in setups]
    if len(sweeps) != 1 or len(setups) > 1:
        raise click.UsageError("Give one sweep (.s1p or .csv), and one set-up (.toml) if you have it.")
    setup = load_stated(setups[0]) if setups else None
    readings = read_sweep(sweeps[0], sweep) if setup is None else read_sweep_for(setup, sweeps[0], sweep)
    follow_unit(setup, readings)
    return setup, readings


def _gated_text(found: Ripple, path: str, setup: Setup | None) -> str:
    """Gated sweep as the text of a file; the reference of a Touchstone file is that of the set-up's plane."""
    if found.gated is None:
        raise Refusal(f"nothing to write to {path}: {found.gated_reason}")
    from chain.echoes.records import csv_text, touchstone_text

    if path.lower().endswith(".csv"):
        return csv_text(found)
    assert setup is not None
    from chain.assembly.cascade import plane_reference_ohm

    return touchstone_text(found, plane_reference_ohm(setup))
