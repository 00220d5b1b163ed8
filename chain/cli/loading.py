"""A set-up as the commands load it: what may not be connected is reported before anything else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.options import Common
from chain.cli.output import note

if TYPE_CHECKING:
    from chain.reception.records import Installation
    from chain.setups import Setup
    from chain.sweeps.options import SweepOptions
    from chain.sweeps.readings import Readings


def load_stated(path: str) -> Setup:
    """Load a set-up; the unit of its limit becomes that of the answer."""
    from chain.files.setup_file import load_setup

    setup = load_setup(path)
    follow_unit(setup)
    return setup


def follow_unit(setup: Setup | None, readings: Readings | None = None) -> None:
    """Answer in the unit of the limit; where none is stated in that of the screen, or of what was read."""
    from chain.setup_report.numbers import follow_limit

    if setup is not None and setup.far.limit_vswr is not None:
        follow_limit(setup.far.limit_in_db)
    else:
        shown = setup is not None and setup.near.shows == "return loss"
        follow_limit(shown or (readings is not None and readings.in_db))


def load_heeded(shared: Common, path: str) -> Setup:
    """Load a set-up; where direct current on its lead would do harm, say so on stderr and among its warnings."""
    setup = load_stated(path)
    if not setup.far.dc_feed_v:
        return setup
    from chain.analyses.checks import check

    stops = [each for each in check(setup).findings if each.level == "stop"]
    if not stops:
        return setup
    note(shared, "stop: do not connect this set-up as it stands; see the warnings, and 'chain check'")
    texts = (f"stop, {each.where}: {each.text}; {each.remedy}" for each in stops)
    return replace(setup, warnings=(*texts, *setup.warnings))


def refuse_twice(paths: Sequence[str]) -> None:
    """Refuse a sweep that is named twice."""
    twice = next((path for path in paths if paths.count(path) > 1), None)
    if twice is not None:
        raise click.UsageError(f"{twice} is given twice: a sweep averaged with itself tells nothing new.")


def read_repeats(setup: Setup, paths: Sequence[str], sweep: SweepOptions) -> Readings:
    """Read repeated sweeps of one state at a set-up's plane, averaged as complex values; a single one as it is."""
    from chain.assembly.cascade import read_sweep_for
    from chain.sweeps.readings import averaged_sweeps

    found = averaged_sweeps([read_sweep_for(setup, path, sweep) for path in paths])
    follow_unit(setup, found)
    return found


def either_in(path: str) -> tuple[Setup | Installation, str]:
    """The set-up or installation that a file holds, and its text; standard input can be read only once.

    The unit of its limit becomes that of the answer.
    """
    from chain.files.toml import decode, read_file
    from chain.reception.installation_file import is_installation, parse_installation

    raw = read_file(path)
    name, folder = ("<stdin>", Path()) if path == "-" else (path, Path(path).parent)
    if is_installation(raw):
        return parse_installation(raw, name, folder), decode(raw, name)
    from chain.files.setup_file import parse_setup

    found = parse_setup(raw, name, folder)
    follow_unit(found)
    return found, decode(raw, name)
