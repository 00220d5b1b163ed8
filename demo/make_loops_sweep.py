"""Write the invented sweeps for tuning: a double loop of copper wire that never was, a little too large for its channels.

`python demo/make_loops_sweep.py [DIRECTORY]` writes loops.s1p and loops.csv, and loops-wet.s1p: the same a year later, with water in
the transformer's box. Two loops fed in their middle stand before a
screen on the gable of a sailing club's boathouse; a home-wound transformer takes their 300 ohm to the 75 of the lead. Club,
loops, transformer and noise are made up; everything is put together with scikit-rf alone, so that it shares no code with `chain`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from skrf import Frequency, Network
from skrf.media import DefinedGammaZ0

SEED = 1907
RESONANCE_HZ = 577e6
LOAD_DB = 32.0
NOISE = 0.002


def loops(freq: Frequency) -> Network:
    """A series resonance of 255 ohm and a quality factor of 9, with a slow rise of the resistance, in 300 ohm."""
    ratio = freq.f / RESONANCE_HZ
    ohm = 255 * ratio**2 + 1j * 255 * 9 * (ratio - 1 / ratio) / 1.9
    return Network(frequency=freq, s=((ohm - 300) / (ohm + 300)).reshape(-1, 1, 1), z0=300)


def transformer(freq: Frequency) -> Network:
    """Turns 2 to 1, half a decibel lost, and a few nanohenries of stray inductance on the side of the lead."""
    through = 10 ** (-0.5 / 20)
    s = np.zeros((freq.npoints, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = through
    wound = Network(frequency=freq, s=s, z0=[75, 300])
    return DefinedGammaZ0(freq, z0=75).inductor(0.8e-9) ** wound


def water(freq: Frequency) -> Network:
    """Two decibels lost on the way in and again on the way out, and a few picofarads across the way."""
    dry = DefinedGammaZ0(freq, z0=75)
    return dry.attenuator(-2.0) ** dry.shunt_capacitor(0.5e-12)


def main(folder: Path) -> None:
    """Write the sweeps into a directory."""
    rng = np.random.default_rng(SEED)
    freq = Frequency(500, 690, 191, unit="MHz")
    true = (transformer(freq) ** loops(freq)).s[:, 0, 0]
    wet = (water(freq) ** transformer(freq) ** loops(freq)).s[:, 0, 0]
    for name, seen in (("loops.s1p", true), ("loops-wet.s1p", wet)):
        write(Path(folder, name), freq, measured(seen, rng))
    size = np.abs(measured(true, np.random.default_rng(SEED)))
    head = (
        "Invented: no such aerial exists. Made by demo/make_loops_sweep.py from a resonance, a transformer and noise."
    )
    rows = [f"{f / 1e6:.2f},{(1 + m) / (1 - m):.2f}" for f, m in zip(freq.f, size, strict=True)]
    Path(folder, "loops.csv").write_text("\n".join([f"# {head}", "frequency_mhz,vswr", *rows]) + "\n", encoding="utf-8")


def measured(true: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What the analyzer shows of it, calibrated with a load that is not quite right."""
    # Calibrated at the end of the lead with a load that is not quite 75 ohm: what it reflects is missing everywhere.
    left = 0.7 * 10 ** (-LOAD_DB / 20) * np.exp(1.1j)
    noise = NOISE / np.sqrt(2) * (rng.normal(size=true.size) + 1j * rng.normal(size=true.size))
    return (true - left) / (1 - left * true) + noise


def write(path: Path, freq: Frequency, read: np.ndarray) -> None:
    """Write one complex sweep."""
    head = (
        "Invented: no such aerial exists. Made by demo/make_loops_sweep.py from a resonance, a transformer and noise."
    )
    rows = [f"{f / 1e6:.4f} {r.real:.6f} {r.imag:.6f}" for f, r in zip(freq.f, read, strict=True)]
    path.write_text("\n".join([f"! {head}", "# MHz S RI R 75", *rows]) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
