"""The set-up that is taken where none is given: a minimum-loss pad on a handheld analyzer, and nothing else."""

from __future__ import annotations

from chain.setups import (
    Calibration,
    Far,
    Item,
    Near,
    Setup,
    Sweep,
    with_typical_residuals,
    with_typical_standards,
)
from library.load import load_library
from library.records import Connector

TYPICAL = (
    "no set-up was given: a typical 50/75 minimum-loss pad straight on a handheld analyzer, calibrated in front of the pad; "
    "name a set-up file for your own chain"
)
IDEAL = "an ideal 50/75 minimum-loss pad alone on a perfect analyzer, calibrated in front of the pad"


def bare_pad(start_hz: float, stop_hz: float, ideal: bool = False) -> Setup:
    """Give a typical 50/75 minimum-loss pad between a handheld analyzer and a 75-ohm antenna, calibrated in front of the pad.

    Parameters
    ----------
    start_hz, stop_hz : span of the readings [Hz].
    ideal : a perfect pad and a perfect analyzer instead, for formulas.

    Returns
    -------
    Setup.

    Examples
    --------
    >>> from chain import bare_pad, expect
    >>> round(expect(bare_pad(2e8, 2e8, ideal=True), true_vswr=[2.0]).ceiling_vswr, 3)
    1.732

    Source
    ------
    `min-loss-pad` and `handheld` of the library.
    """
    library = load_library()
    part = library.part("min-loss-pad")
    near, far = part.near_connector, part.far_connector  # type: ignore[union-attr]
    port = Near(Connector(near.family, "plug"), 50.0, ideal=ideal)
    port = with_typical_residuals(port, library)
    return Setup(
        "Bare ideal pad" if ideal else "Bare pad",
        Sweep(start_hz, stop_hz, 1 if start_hz == stop_hz else 2),
        port,
        (Item("pad", part, near, far, ideal=ideal),),
        Far(Connector(far.family, "plug"), 75.0),
        with_typical_standards(Calibration(ideal=ideal), port, library),
        assumed=(IDEAL if ideal else TYPICAL,),
    )
