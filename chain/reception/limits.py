"""What limits a channel at an outlet: the room to each of its limits, and the one word for each."""

from __future__ import annotations

from typing import Any

import numpy as np

from chain.arrays import Real
from chain.reception.formulas import DBUV_OF_DBM
from chain.reception.records import Installation

WORDS = ("noise", "level", "overload", "overload")
"""What each room is measured to: the carrier-to-noise ratio asked for, the least level, the highest level, the highest total."""


def rooms_db(installation: Installation, cni: Real, lowest: Real, highest: Real, total: Real) -> Real:
    """Room to every limit of each outlet and channel, below zero beyond it, shape (4, outlets, channels) [dB].

    `cni` is the carrier-to-disturbance ratio [dB], `lowest` and `highest` the level [dBuV] held against the least and the
    highest one, `total` that of each outlet [dBuV].
    """
    channels = installation.channels
    asked = np.array([each.need_db + each.margin_db for each in channels])
    low = np.array([-np.inf if each.window_low_dbuv is None else each.window_low_dbuv for each in channels])
    high = np.array([np.inf if each.window_high_dbuv is None else each.window_high_dbuv for each in channels])
    over = most_in_all_dbuv(installation)
    return np.stack(
        np.broadcast_arrays(cni - asked, lowest - low, high - highest, over[:, None] - np.asarray(total)[:, None])
    )


def most_in_all_dbuv(installation: Installation) -> Real:
    """Highest total that each outlet's receiver takes [dBuV]."""
    receivers = [each.receiver for each in installation.outlets]
    return np.array([each.overload_dbm + DBUV_OF_DBM if each else np.inf for each in receivers])


def words_of(first: Any, cim_db: Real, cn_db: Real) -> Any:
    """Word of the limit that comes first; noise that is mostly products of an amplifier is overload."""
    words = np.array(WORDS, dtype=object)[first]
    return np.where((np.asarray(first) == 0) & (cim_db < cn_db), "overload", words)
