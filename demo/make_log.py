"""Write the invented log of the demo: a downlead measured twice a year, in which water arrives one autumn, and its aerial.

`python demo/make_log.py [DIRECTORY]` writes the records into DIRECTORY/log, and the two sweeps of the visit that is not kept yet
beside it. Lead, aerial, weather and noise are made up; the
sweeps are built with scikit-rf alone and then kept by `chain`, each as if it had been taken on its day.
"""

from __future__ import annotations

import sys
import tempfile
from datetime import datetime, timezone
from pathlib import Path

import numpy as np
from skrf import Frequency

from chain import log_measurement
from chain.records.adding import Facts

HERE = Path(__file__).parent
SEED = 4713
PER_K = 0.00198
DB = 8.685889638
LIGHT_M_PER_S = 299_792_458.0
VISITS = (
    ("2022-04-16T10:20", 11),
    ("2022-10-08T15:05", 14),
    ("2023-04-15T11:40", 9),
    ("2023-07-22T14:30", 31),
    ("2023-10-14T10:10", 12),
    ("2024-02-03T12:00", -4),
    ("2024-04-20T09:45", 13),
    ("2024-10-12T16:20", 10),
    ("2025-04-12T10:35", 12),
    ("2025-08-09T13:15", 29),
    ("2025-10-18T11:25", 8),
    ("2026-04-18T10:50", 12),
)
WATER_FROM, WATER_DB = "2024-06", 0.7


def downlead(freq: Frequency, end: float, celsius: float, water_db: float) -> np.ndarray:
    """What 20 m of lead shows with a reflection at its far end: in 75 ohm, loss growing with the root of frequency."""
    loss_db = 1.9 * np.sqrt(freq.f / 200e6) * (1 + PER_K * (celsius - 20)) + water_db
    gamma = loss_db / DB + 2j * np.pi * freq.f * 20 / (LIGHT_M_PER_S * 0.83)
    joint = 0.01 * np.exp(0.4j)
    seen = end * np.exp(-2 * gamma)
    return joint + (1 - abs(joint) ** 2) * seen / (1 + np.conj(joint) * seen)


def aerial(freq: Frequency, rng: np.random.Generator) -> np.ndarray:
    """The boathouse aerial at the end of a short lead; it stays as it is."""
    detuning = freq.f / 203e6 - 203e6 / freq.f
    ohm = 70 + 40 * detuning**2 + 75j * 2.4 * detuning
    return (ohm - 75) / (ohm + 75) * np.exp(-4j * np.pi * freq.f * 0.6 / (LIGHT_M_PER_S * 0.66)) + 0.002 * rng.normal()


def save(path: Path, freq: Frequency, reflection: np.ndarray, rng: np.random.Generator) -> str:
    """Write a sweep with the noise, the joints and the drift of the demo's analyzer."""
    disc = 10**-2.5 * np.sqrt(rng.random(2)) * np.exp(2j * np.pi * rng.random(2))
    noise = 0.0023 / 0.268 / np.sqrt(2) * (rng.normal(size=freq.npoints) + 1j * rng.normal(size=freq.npoints))
    seen = reflection + disc.sum() / 0.5 + noise
    rows = [f"{f / 1e6:.4f} {r.real:.5f} {r.imag:.5f}" for f, r in zip(freq.f, seen, strict=True)]
    head = ["! Invented: no such lead and no such aerial exist. Made by demo/make_log.py.", "# MHz S RI R 75"]
    path.write_text("\n".join([*head, *rows]) + "\n", encoding="utf-8")
    return str(path)


def main(folder: Path) -> None:
    """Keep all visits in a directory's log."""
    rng = np.random.default_rng(SEED)
    freq = Frequency(174, 230, 33, unit="MHz")
    log = str(folder / "log")
    next_visit = np.random.default_rng(SEED + 1)
    for end, far in {"open": 1.0, "short": -1.0}.items():
        save(folder / f"downlead-{end}.s1p", freq, downlead(freq, far, 12.0, WATER_DB), next_visit)
    with tempfile.TemporaryDirectory() as name:
        for number, (when, celsius) in enumerate(VISITS):
            time = datetime.fromisoformat(when).replace(tzinfo=timezone.utc)
            water = WATER_DB if when > WATER_FROM else 0.0
            ends = {"open": 1.0, "short": -1.0}
            paths = [
                save(Path(name, f"{end}.s1p"), freq, downlead(freq, far, celsius, water), rng)
                for end, far in ends.items()
            ]
            facts = Facts("downlead", float(celsius), "an invented member", "", time)
            log_measurement(log, str(HERE / "downlead.toml"), *paths, kind="lead", facts=facts)
            if number % 3 == 0:
                path = save(Path(name, "aerial.s1p"), freq, aerial(freq, rng), rng)
                facts = Facts("aerial", float(celsius), "an invented member", "", time)
                log_measurement(log, str(HERE / "plane-after-pad.toml"), path, facts=facts)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else HERE)
