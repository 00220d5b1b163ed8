"""The set-up that is taken where none is given: an ideal minimum-loss pad and nothing else."""

from __future__ import annotations

from chain.setups import Calibration, Far, Item, Near, Setup, Sweep
from library.load import load_library
from library.records import Connector

__all__ = ["bare_pad"]


def bare_pad(start_hz: float, stop_hz: float) -> Setup:
    """Give an ideal 50/75 minimum-loss pad between a perfect analyzer and a 75-ohm antenna, calibrated in front of the pad.

    Parameters
    ----------
    start_hz, stop_hz : span of the readings [Hz].

    Returns
    -------
    Setup.

    Examples
    --------
    >>> from chain.analyses.expect import expect
    >>> round(expect(bare_pad(2e8, 2e8), true_vswr=[2.0]).ceiling_vswr, 3)
    1.732

    Source
    ------
    Minimum-loss pad of the library, `ideal`.
    """
    part = load_library().part("min-loss-pad")
    near, far = part.near_connector, part.far_connector  # type: ignore[union-attr]
    item = Item("pad", part, near, far, ideal=True)
    return Setup(
        "Bare ideal pad",
        Sweep(start_hz, stop_hz, 1 if start_hz == stop_hz else 2),
        Near(Connector(near.family, "plug"), 50.0),
        (item,),
        Far(Connector(far.family, "plug"), 75.0),
        Calibration(),
        assumed=(
            "no set-up was given: an ideal 50/75 minimum-loss pad alone, calibrated in front of it, nothing unknown; "
            "name a set-up file for the doubt of your own chain",
        ),
    )
