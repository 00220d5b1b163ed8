"""`chain compare`."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.completing import any_file, setup_or_sweep_files
from chain.cli.loading import load_heeded, read_repeats
from chain.cli.options import Common, common, enforce, sweep_options
from chain.cli.output import PlotCommand, check_plot, deliver, draw_after, note, plot_option, progress, write_plot
from chain.cli.writing import refuse_overwriting, write_whole

if TYPE_CHECKING:
    from rich.console import Console

    from chain.comparisons.antennas import AntennaComparison
    from chain.comparisons.levels import LevelComparison
    from chain.plots.figure import Plot
    from chain.sweeps.options import SweepOptions

LONGEST_NAME = 9
"""Longest name of a file that a column head has room for; longer ones are called A and B."""


@click.command("compare", cls=PlotCommand)
@click.argument("files", metavar="[SETUP A B]", nargs=-1, shell_complete=setup_or_sweep_files)
@click.option(
    "--levels", metavar="FILE", shell_complete=any_file, help="Table of received levels, read in turn: A-B-A-B."
)
@click.option("--site", metavar="DB", help="With --levels: reflections of the site below the direct wave ('20 dB').")
@click.option("--meter", metavar="DB", help="With --levels: return loss of the level meter's input ('10 dB').")
@click.option(
    "--repeat", metavar="DB", help="With --levels: how well a level repeats, one standard deviation ('0.2 dB')."
)
@click.option("--reference", type=float, metavar="DBI", help="With --levels: realised gain of A, if known, in dBi.")
@click.option(
    "--path", type=float, default=0.0, metavar="DB", help="With pairs: level that isotropic antennas would give."
)
@click.option("--page", metavar="FILE", shell_complete=any_file, help="Also write one self-contained HTML page.")
@click.option("--all", "every", is_flag=True, help="Show every channel.")
@sweep_options
@plot_option
@enforce
@common
def command(
    shared: Common,
    files: tuple[str, ...],
    levels: str | None,
    site: str | None,
    meter: str | None,
    repeat: str | None,
    reference: float | None,
    path: float,
    page: str | None,
    every: bool,
    sweep: SweepOptions,
    plot: str | None,
    enforce: bool,
) -> None:
    """Compare antennas A and B: sweeps through one SETUP and one calibration, received levels, or both.

    Errors that both readings share cancel, so a difference is far surer than either value. A table of levels has the columns
    antenna, channel, order and level_dbuv (or level_dbm, level_dbmv, level_db); direction front or back gives the
    front-to-back ratio; pairs named A+B, A+C and B+C give three gains.

    \b
    Examples:
      chain compare demo/plane-after-pad.toml demo/plane-after-pad-before.s1p \\
        demo/plane-after-pad.s1p
      chain compare --levels demo/levels.csv
      chain compare --levels demo/front-back.csv --site "20 dB"
    """
    inputs = (*files, *([levels] if levels else []))
    _check(shared, files, levels, (plot, page))
    by_match = _matched(shared, files, sweep) if files else None
    by_level = None if levels is None else _received(shared, levels, by_match, (site, meter, repeat), (reference, path))

    def plots() -> Sequence[Plot]:
        from chain.plots import differences

        return () if by_match is None else differences.describe(by_match)

    def render(console: Console) -> None:
        from chain.antenna_report import differences

        if by_match is not None:
            differences.render(by_match, console, every, (files[1], files[2]))
        if by_level is not None:
            if by_match is not None:
                console.print()
            differences.render_levels(by_level, console)
        draw_after(plot, plots, console)

    def document() -> dict[str, object]:
        by_levels = None if by_level is None else by_level.to_dict()
        if by_match is None:
            assert by_levels is not None
            return {"schema_version": by_levels["schema_version"], "levels": by_levels}
        return by_match.to_dict() | ({} if by_levels is None else {"levels": by_levels})

    # Two answers at once are no one table.
    answer = None if by_match is not None and by_level is not None else by_match or by_level
    deliver(shared, render, document, inputs, answer)
    write_plot(shared, plot, plots, "" if by_match is None else by_match.title, inputs)
    if page is not None:
        from chain.html.answers import comparison_html

        write_whole(page, comparison_html(by_match, by_level), shared.force, inputs)
        note(shared, f"written: {page}")
    if enforce and any(each is not None and each.verdict != "better" for each in (by_match, by_level)):
        raise click.exceptions.Exit(1)


def _check(shared: Common, files: tuple[str, ...], levels: str | None, out: tuple[str | None, str | None]) -> None:
    """Refuse at once what cannot be done."""
    plot, page = out
    inputs = (*files, *([levels] if levels else []))
    refuse_overwriting(shared.output, shared.force, inputs)
    refuse_overwriting(page, shared.force, inputs)
    check_plot(shared, plot, inputs)
    if len(files) != 3 and not (levels and not files):
        raise click.UsageError("Give a set-up and the sweeps of A and B, or --levels FILE, or all of them.")
    if plot is not None and not files:
        raise click.UsageError("--plot draws the sweeps of A and B; there are none.")


def _matched(shared: Common, files: tuple[str, ...], sweep: SweepOptions) -> AntennaComparison:
    from chain.comparisons.antennas import compare_antennas
    from chain.results import SEED

    setup = load_heeded(shared, files[0])
    first, second = (read_repeats(setup, [each], sweep) for each in files[1:])
    seed = SEED if shared.seed is None else shared.seed
    with progress(shared) as report:
        return compare_antennas(setup, first, second, _names(files[1], files[2]), seed, report)


def _names(first: str, second: str) -> tuple[str, str]:
    """Names of files without folder and suffix; A and B where these are long or do not differ."""
    one, other = Path(first).stem, Path(second).stem
    fit = one != other and 0 < len(one) <= LONGEST_NAME and 0 < len(other) <= LONGEST_NAME
    return (one, other) if fit else ("A", "B")


def _reflected(loss_db: float) -> float:
    """Magnitude of a reflection that loses as much: the share of a channel's power that is reflected, as one figure."""
    return float((1 - 10 ** (-loss_db / 10)) ** 0.5)


def _received(
    shared: Common,
    path: str,
    by_match: AntennaComparison | None,
    texts: tuple[str | None, str | None, str | None],
    gains: tuple[float | None, float],
) -> LevelComparison:
    from chain.comparisons.level_table import read_levels
    from chain.comparisons.levels import compare_levels
    from chain.results import SEED
    from chain.units import parse_quantity

    site, meter, repeat = (None if text is None else parse_quantity(text, "loss") for text in texts)
    matches = None
    if by_match is not None:
        rows = by_match.channels
        matches = (
            {each.channel: _reflected(each.first_loss_db) for each in rows},
            {each.channel: _reflected(each.second_loss_db) for each in rows},
        )
    reference, path_db = gains
    return compare_levels(
        read_levels(path),
        matches,
        site,
        meter,
        repeat,
        float("nan") if reference is None else reference,
        path_db,
        SEED if shared.seed is None else shared.seed,
    )
