"""Write the invented sweeps of the demo: an aerial that never was, seen through lines and a pad by a noisy analyzer.

`python demo/make_sweeps.py [DIRECTORY]` writes boathouse.s1p and the same as tables (.csv, -german.csv, -r-x.csv), and two
sweeps taken after the pad, before and after a wet connector was dried. Aerial, parts, their little faults and the noise are
all made up; the chain is built with scikit-rf alone, so that it shares no code with `chain`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from skrf import Frequency, Network
from skrf.media import DefinedGammaZ0

SEED = 4711
LIGHT_M_PER_S = 299_792_458.0


def line(freq: Frequency, ohm: float, length_m: float, velocity: float, loss_db: float = 0.0) -> Network:
    """Line of an impedance, with a loss at 200 MHz that grows with the square root of frequency; in 50 ohm."""
    nepers = loss_db / length_m / 8.685889638 * np.sqrt(freq.f / 200e6)
    gamma = nepers + 2j * np.pi * freq.f / (LIGHT_M_PER_S * velocity)
    return DefinedGammaZ0(freq, z0_port=50, z0=ohm, gamma=gamma).line(length_m, "m")


def pad(freq: Frequency) -> Network:
    """Two resistors, each a little off their value: 86.6 ohm across the near side, then 43.3 ohm in series; in 50 ohm."""
    media = DefinedGammaZ0(freq, z0=50)
    return media.shunt(media.resistor(87.1) ** media.short()) ** media.resistor(43.1)


def fault(freq: Frequency, picofarad: float) -> Network:
    """A connector that is not quite right: a small capacitance across the line; in 50 ohm."""
    return DefinedGammaZ0(freq, z0=50).shunt_capacitor(picofarad * 1e-12)


def aerial(freq: Frequency) -> Network:
    """Folded dipole behind its loop of half a wave, made up as a resonance at 203 MHz with a detuned director; in 50 ohm."""
    detuning = freq.f / 203e6 - 203e6 / freq.f
    ohm = 66 + 40 * detuning**2 + 75j * 2.4 * detuning + 12 / (1 + 30j * (freq.f / 229e6 - 229e6 / freq.f))
    return Network(frequency=freq, s=((ohm - 50) / (ohm + 50)).reshape(-1, 1, 1), z0=50)


def text(freq: Frequency, reflection: np.ndarray, ohm: float) -> str:
    """Touchstone text of a one-port."""
    head = [
        "! Invented: no such aerial exists. Made by demo/make_sweeps.py from lines, two resistors and noise.",
        f"# MHz S RI R {ohm:g}",
    ]
    rows = [f"{f / 1e6:.4f} {r.real:.6f} {r.imag:.6f}" for f, r in zip(freq.f, reflection, strict=True)]
    return "\n".join([*head, *rows]) + "\n"


def noisy(reflection: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """Reading with the trace noise of a small analyzer, 0.02 dB of a full reflection."""
    sigma = 0.0023
    return reflection + sigma / np.sqrt(2) * (rng.normal(size=reflection.size) + 1j * rng.normal(size=reflection.size))


def tables(folder: Path, freq: Frequency, reflection: np.ndarray) -> None:
    """Write the boathouse's sweep as programs of two other habits would export it."""
    loss_db = -20 * np.log10(np.abs(reflection))
    ratio = (1 + np.abs(reflection)) / (1 - np.abs(reflection))
    rows = [
        f"{f / 1e6:.3f};{loss:.2f};{s:.3f}".replace(".", ",") for f, loss, s in zip(freq.f, loss_db, ratio, strict=True)
    ]
    head = [
        "Messung Bootshaus (erfunden, invented: made by demo/make_sweeps.py)",
        "Punkte;133",
        "",
        "Frequenz [MHz];Rückflussdämpfung [dB];Stehwellenverhältnis",
    ]
    Path(folder, "boathouse-german.csv").write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    ohm = 50 * (1 + reflection) / (1 - reflection)
    rows = [f"{f:.0f},{z.real:.2f},{z.imag:.2f}" for f, z in zip(freq.f, ohm, strict=True)]
    head = ["# Invented: no such aerial exists. Made by demo/make_sweeps.py.", "Frequency (Hz),R (ohm),X (ohm)"]
    Path(folder, "boathouse-r-x.csv").write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")


def main(folder: Path) -> None:
    """Write all sweeps into a directory."""
    rng = np.random.default_rng(SEED)
    near = Frequency(174, 240, 133, unit="MHz")
    lead = line(near, 74.0, 0.6, 0.66, 0.10)
    adapter = fault(near, 0.25) ** line(near, 50.0, 0.05, 1.0, 0.02)
    shown = adapter ** pad(near) ** fault(near, 0.2) ** lead ** fault(near, 0.3) ** aerial(near)
    read = noisy(shown.s[:, 0, 0], rng)
    Path(folder, "boathouse.s1p").write_text(text(near, read, 50), encoding="utf-8")
    loss_db = -20 * np.log10(np.abs(noisy(shown.s[:, 0, 0], rng)))
    rows = [f"{f / 1e6:.2f},{loss:.2f}" for f, loss in zip(near.f, loss_db, strict=True)]
    head = ["# Invented: no such aerial exists. Made by demo/make_sweeps.py.", "frequency_mhz,return_loss_db"]
    Path(folder, "boathouse.csv").write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")

    # Behind the pad the reading is in the 75 ohm of the load that was used there.
    far = Frequency(174, 230, 225, unit="MHz")
    after = line(far, 74.0, 0.6, 0.66, 0.10) ** fault(far, 0.3) ** aerial(far)
    after.renormalize(75)
    Path(folder, "plane-after-pad.s1p").write_text(text(far, noisy(after.s[:, 0, 0], rng), 75), encoding="utf-8")

    tables(folder, near, read)
    rng = np.random.default_rng(SEED + 1)
    wet = DefinedGammaZ0(far, z0=50).shunt(
        DefinedGammaZ0(far, z0=50).resistor(160) ** DefinedGammaZ0(far, z0=50).short()
    )
    earlier = line(far, 74.0, 0.6, 0.66, 0.10) ** fault(far, 1.0) ** wet ** aerial(far)
    earlier.renormalize(75)
    words = text(far, noisy(earlier.s[:, 0, 0], rng), 75)
    Path(folder, "plane-after-pad-before.s1p").write_text(words, encoding="utf-8")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent)
