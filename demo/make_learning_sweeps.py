"""Write the invented sweeps that the demo learns parts from: a lead and a matching pad of a sailing club that never was.

`python demo/make_learning_sweeps.py [DIRECTORY]` writes lead-open.s1p, lead-short.s1p and two more of each, pad.s2p,
pad-open.s1p, pad-short.s1p, pad-load.s1p and pads-back-to-back.s2p. Parts, their little faults and the noise are made up; the
chains are built with scikit-rf alone, so that they share no code with `chain`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from skrf import Frequency, Network
from skrf.media import DefinedGammaZ0

SEED = 8713
LIGHT_M_PER_S = 299_792_458.0
NOISE = 0.0016
"""Standard deviation of the real and of the imaginary part of a reading."""


def lead(freq: Frequency) -> Network:
    """Lead of 0.6 m and 75.8 ohm with a small fault in either plug; in 50 ohm."""
    mhz = freq.f / 1e6
    nepers = (1.09 * np.sqrt(mhz) + 0.0068 * mhz) / 100 / 8.685889638
    gamma = nepers + 2j * np.pi * freq.f / (LIGHT_M_PER_S * 0.662)
    line = DefinedGammaZ0(freq, z0_port=50, z0=75.8, gamma=gamma).line(0.6, "m")
    return fault(freq, 0.03) ** line ** fault(freq, 0.04)


def pad(freq: Frequency, shunt_ohm: float, series_ohm: float) -> Network:
    """Two resistors in a box with a plug of 50 ohm and a jack of 75 ohm; in 50 ohm."""
    media = DefinedGammaZ0(freq, z0=50)
    air = 2j * np.pi * freq.f / LIGHT_M_PER_S
    plug = DefinedGammaZ0(freq, z0_port=50, z0=50, gamma=air).line(0.02, "m")
    jack = DefinedGammaZ0(freq, z0_port=50, z0=75, gamma=air).line(0.018, "m")
    resistors = media.shunt(media.resistor(shunt_ohm) ** media.short()) ** media.resistor(series_ohm)
    return plug ** fault(freq, 0.15) ** resistors ** fault(freq, 0.2) ** jack


def fault(freq: Frequency, picofarad: float) -> Network:
    """A connector that is not quite right: a small capacitance across the line; in 50 ohm."""
    return DefinedGammaZ0(freq, z0=50).shunt_capacitor(picofarad * 1e-12)


def ended(part: Network, ohm: float) -> np.ndarray:
    """Reflection of a part with an end of some resistance."""
    reflection = 1.0 if np.isinf(ohm) else (ohm - 50) / (ohm + 50)
    end = Network(frequency=part.frequency, s=np.full((part.f.size, 1, 1), reflection, dtype=complex), z0=50)
    return (part**end).s[:, 0, 0]


def noisy(values: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Reading with the trace noise of a small analyzer."""
    return values + NOISE * (rng.normal(size=values.shape) + 1j * rng.normal(size=values.shape))


def text(freq: Frequency, columns: np.ndarray) -> str:
    """Touchstone text in 50 ohm; columns in the order of the format."""
    head = ["! Invented: no such part exists. Made by demo/make_learning_sweeps.py.", "# MHz S RI R 50"]
    rows = []
    for f, values in zip(freq.f, columns.reshape(freq.f.size, -1), strict=True):
        rows.append(
            " ".join([f"{f / 1e6:.4f}", *(f"{part:.6f}" for each in values for part in (each.real, each.imag))])
        )
    return "\n".join([*head, *rows]) + "\n"


def main(folder: Path) -> None:
    """Write all sweeps into a directory."""
    rng = np.random.default_rng(SEED)

    def keep(name: str, freq: Frequency, values: np.ndarray) -> None:
        Path(folder, name).write_text(text(freq, noisy(values, rng)), encoding="utf-8")

    wide = Frequency(50, 850, 81, unit="MHz")
    for number in ("", "-2", "-3"):
        keep(f"lead-open{number}.s1p", wide, ended(lead(wide), np.inf))
        keep(f"lead-short{number}.s1p", wide, ended(lead(wide), 0.0))
    band = Frequency(174, 240, 67, unit="MHz")
    one, other = pad(band, 85.9, 43.9), pad(band, 87.0, 43.0)
    for end, ohm in (("open", np.inf), ("short", 0.0), ("load", 75.0)):
        keep(f"pad-{end}.s1p", band, ended(one, ohm))
    # Columns of a two-port: S11, S21, S12, S22.
    keep("pad.s2p", band, one.s.transpose(0, 2, 1))
    keep("pads-back-to-back.s2p", band, (one ** other.flipped()).s.transpose(0, 2, 1))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
