"""Write the invented sweeps that ripple: a UHF aerial that never was, on ten metres of lead, facing a boathouse door.

`python demo/make_ripple_sweep.py [DIRECTORY]` writes ripple.s1p and ripple.csv. Two things ripple: the connector at the lead's
near end is poor, and a sheet-steel door stands 3.2 m in front of the aerial. Aerial, door, connector and noise are made up;
the chain is built with scikit-rf alone, so that it shares no code with `chain`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from skrf import Frequency, Network
from skrf.media import DefinedGammaZ0

SEED = 1871
LIGHT_M_PER_S = 299_792_458.0
DOOR_M = 3.2
LEAD_M = 10.0
NOISE = 0.0015


def lead(freq: Frequency) -> Network:
    """Ten metres of a 75-ohm line with foamed insulation: 16.5 dB per 100 m at 600 MHz, growing with the square root."""
    nepers = 16.5 / 100 / 8.685889638 * np.sqrt(freq.f / 600e6)
    gamma = nepers + 2j * np.pi * freq.f / (LIGHT_M_PER_S * 0.82)
    return DefinedGammaZ0(freq, z0=75, gamma=gamma).line(LEAD_M, "m")


def poor_connector(freq: Frequency) -> Network:
    """A braid that was twisted together: a few nanohenries in series, in 75 ohm."""
    return DefinedGammaZ0(freq, z0=75).inductor(3.0e-9)


def aerial(freq: Frequency) -> Network:
    """A broad resonance with a director's notch, and what comes back from the door, in 75 ohm."""
    detuning = freq.f / 585e6 - 585e6 / freq.f
    ohm = 88 + 60 * detuning**2 + 75j * 0.9 * detuning + 25 / (1 + 9j * (freq.f / 660e6 - 660e6 / freq.f))
    own = (ohm - 75) / (ohm + 75)
    door = 0.06 * np.exp(-2j * np.pi * freq.f * 2 * DOOR_M / LIGHT_M_PER_S)
    seen = own + (1 - np.abs(own) ** 2) * door
    return Network(frequency=freq, s=seen.reshape(-1, 1, 1), z0=75)


def main(folder: Path) -> None:
    """Write both sweeps into a directory."""
    rng = np.random.default_rng(SEED)
    freq = Frequency(470, 694, 225, unit="MHz")
    true = (poor_connector(freq) ** lead(freq) ** aerial(freq)).s[:, 0, 0]
    read = true + NOISE / np.sqrt(2) * (rng.normal(size=true.size) + 1j * rng.normal(size=true.size))
    head = "Invented: no such aerial exists. Made by demo/make_ripple_sweep.py from a line, an inductance, a door and noise."
    rows = [f"{f / 1e6:.4f} {r.real:.6f} {r.imag:.6f}" for f, r in zip(freq.f, read, strict=True)]
    Path(folder, "ripple.s1p").write_text("\n".join([f"! {head}", "# MHz S RI R 75", *rows]) + "\n", encoding="utf-8")
    read = np.abs(true + NOISE / np.sqrt(2) * (rng.normal(size=true.size) + 1j * rng.normal(size=true.size)))
    rows = [f"{f / 1e6:.2f},{(1 + m) / (1 - m):.3f}" for f, m in zip(freq.f, read, strict=True)]
    Path(folder, "ripple.csv").write_text(
        "\n".join([f"# {head}", "frequency_mhz,vswr", *rows]) + "\n", encoding="utf-8"
    )


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
