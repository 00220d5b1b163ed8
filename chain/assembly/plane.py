"""A sweep read as one that was taken with a set-up: in the reference of its calibration plane."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from chain.assembly.cascade import build, in_view
from chain.setups import Setup
from chain.sweeps.options import DEFAULTS, SweepOptions

if TYPE_CHECKING:
    from chain.sweeps.readings import Readings


def plane_reference_ohm(setup: Setup) -> float:
    """Reference impedance of readings taken with a set-up [ohm].

    Source: A reading is in the impedance of the standards that it was calibrated with.
    """
    if setup.calibration.plane == "near":
        return setup.near.impedance_ohm
    return in_view(setup, build(setup, np.array([setup.sweep.start_hz])))[1]


def read_sweep_for(setup: Setup, path: str, options: SweepOptions = DEFAULTS) -> Readings:
    """Read a sweep that was taken with a set-up.

    Parameters
    ----------
    setup : the set-up.
    path : the file, as for `chain.sweeps.read.read_sweep`.
    options : what the user settles about it.

    Returns
    -------
    Readings, in the reference of the calibration plane; what contradicts it is among the warnings.

    Raises
    ------
    InputError : the file is at fault.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain.files.setup_file import load_setup
    >>> found = read_sweep_for(load_setup("demo/plane-after-pad.toml"), "demo/boathouse.s1p")
    >>> found.warnings[0][:43]
    "the sweep's header says 50 ohm, the set-up'"

    Source
    ------
    Own convention.
    """
    from chain.sweeps.read import read_sweep

    channels = {name: (low_hz, high_hz) for name, low_hz, high_hz in setup.sweep.channels}
    found = read_sweep(path, options, plane_reference_ohm(setup), channels)
    if found.reflection is not None and not setup.near.has_phase:
        text = f"the set-up says that the analyzer shows {setup.near.shows} only; this sweep has a phase, which is used"
        found = replace(found, warnings=(*found.warnings, text))
    return found
