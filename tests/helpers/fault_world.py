"""Faults of the antenna's side made in a world that shares no code with the engine: networks of scikit-rf before the element.

An antenna is its element behind a short feeder of its own. Well or faulty, it is read through one drawn chain, later and with
a hand on the lead too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import skrf
from tuning_world import FAR_OHM, Element

LIGHT_M_PER_S = 299_792_458.0
FAULTS = ("water", "joint", "broken", "braid", "surroundings")


@dataclass(frozen=True)
class Mast:
    """What hangs on the connector: an element, its feeder of some metres, and a fault of some size."""

    element: Element
    feeder_m: float
    fault: str
    size: float
    place: float
    hand: float

    def reflection(self, freq_hz, faulty=True, held=False):
        """Reflection at the connector; `held` while a hand is on the lead."""
        fault = self.fault if faulty else ""
        element = self.element
        if fault == "broken":
            # A piece has come off; from a third on the rest is no antenna at these frequencies.
            element = replace(element, resonance_hz=element.resonance_hz * (1 + 0.04 + 0.5 * self.size))
        if fault == "braid" and held:
            element = replace(element, resonance_hz=element.resonance_hz * (1 + self.hand))
        ohm = element.ohm(freq_hz)
        if fault == "joint":
            ohm = ohm + (10 + 300 * self.size**2) * (1 + (self.hand * 20 if held else 0))
        end = (ohm - FAR_OHM) / (ohm + FAR_OHM)
        if fault in ("braid", "surroundings"):
            # What is sent out and comes back: round the braid, or off a surface in air.
            way_m = 1.5 + 4 * self.place
            factor = 0.93 if fault == "braid" else 1.0
            echo = (0.02 + 0.13 * self.size) * np.exp(-4j * np.pi * freq_hz * way_m / (LIGHT_M_PER_S * factor))
            end = end + (1 - np.abs(end) ** 2) * echo
        return self._seen(freq_hz, fault, end)

    def _seen(self, freq_hz, fault, end):
        """The end through the feeder: dry, or with a wet part of more loss, slower and of less impedance."""
        axis = skrf.Frequency.from_f(freq_hz, unit="hz")
        wet_m = self.feeder_m * (0.2 + 0.8 * self.place) if fault == "water" else 0.0
        parts = [self._line(axis, self.feeder_m - wet_m, 0.1, 0.66, 1.0)]
        if wet_m:
            more_db = 0.3 + 3 * self.size
            parts.append(self._line(axis, wet_m, 0.1 + more_db / wet_m, 0.62, 0.95))
        load = skrf.Network(frequency=axis, s=end.reshape(-1, 1, 1), z0=FAR_OHM)
        return skrf.network.cascade_list([*parts, load]).s[:, 0, 0]

    @staticmethod
    def _line(axis, length_m, loss_db_per_m, velocity, lower):
        """A line of the loss stated at 600 MHz, growing as the root of frequency."""
        gamma = loss_db_per_m * np.log(10) / 20 * np.sqrt(axis.f / 600e6) + 2j * np.pi * axis.f / (
            LIGHT_M_PER_S * velocity
        )
        medium = skrf.media.DefinedGammaZ0(axis, gamma=gamma, z0=FAR_OHM * lower, z0_port=FAR_OHM)
        return medium.line(max(length_m, 1e-4), "m")


def mast(rng, middle_hz, fault):
    """A mast at random, with a fault anywhere from small to large."""
    element = Element(middle_hz * (1 + rng.uniform(-0.04, 0.04)), rng.uniform(50, 110), rng.uniform(4, 12), 0.0, 1.0)
    hand = rng.uniform(0.01, 0.04) * rng.choice([-1, 1])
    return Mast(element, rng.uniform(0.5, 2.0), fault, rng.random(), rng.random(), hand)
