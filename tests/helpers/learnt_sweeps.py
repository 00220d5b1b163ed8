"""Sweeps with a known answer to learn from, made by scikit-rf."""

import numpy as np
from learning_world import Lead
from skrf import Network
from skrf.media import DefinedGammaZ0

from chain.characterize.error_model import Analyzer
from chain.characterize.part_making import About, PartEnds
from chain.characterize.sweeps import Sweeps

PERFECT = Analyzer()
ABOUT = About("own", "2026-05-01")
ENDS = PartEnds("BNC-50 jack", "BNC-75 jack", 50.0, 75.0)
LIGHT_M_PER_S = 299_792_458.0
FEW = 200
"""Draws where the interval is not what is tested."""


def ended(network, end_ohm):
    """Reading of a scikit-rf two-port with a resistance at its far end, in the near port's reference."""
    far = network.z0[0, 1].real
    value = 1.0 if np.isinf(end_ohm) else (end_ohm - far) / (end_ohm + far)
    end = Network(frequency=network.frequency, s=np.full((network.f.size, 1, 1), value, complex), z0=far)
    return (network**end).s[:, 0, 0]


def sweeps_of(freq_hz, traces, reference_ohm=50.0, has_phase=True):
    """Single sweeps as `Sweeps`."""
    rows = {name: np.asarray(trace, complex)[None] for name, trace in traces.items()}
    return Sweeps(np.asarray(freq_hz, float), rows, (reference_ohm,), has_phase)


def medium(frequency, ohm, velocity, root_db, linear_db=0.0, port_ohm=50.0):
    """Line of scikit-rf with so many dB per 100 m and sqrt(MHz), and MHz."""
    mhz = frequency.f / 1e6
    nepers = (root_db * np.sqrt(mhz) + linear_db * mhz) / 100 / (20 / np.log(10))
    gamma = nepers + 2j * np.pi * frequency.f / (LIGHT_M_PER_S * velocity)
    return DefinedGammaZ0(frequency, z0_port=port_ohm, z0=ohm, gamma=gamma)


FREQ = np.linspace(50e6, 850e6, 81)


def lead_sweeps(freq_hz=FREQ, swap=False, lead=None):
    """Perfect open and short of a lead, or the two exchanged."""
    s = (lead or Lead(0.6, 0.66, 75.0, 1.0, 0.007)).s(freq_hz, 50.0, 75.0)
    ends = {"open": -1.0 if swap else 1.0, "short": 1.0 if swap else -1.0}
    return {name: s[:, 0, 0] + s[:, 0, 1] * s[:, 1, 0] * end / (1 - s[:, 1, 1] * end) for name, end in ends.items()}
