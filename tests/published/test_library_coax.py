"""Attenuation and impedance of the library's cables against the tables they come from and against physics."""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import nnls

import library
from library.formulas import attenuation_db_per_100m
from library.load import load_library
from library.records import Coax

POINTS = Path(library.__file__).parent / "data" / "coax_points.csv"


def points() -> list[dict[str, str]]:
    with POINTS.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def coax(name: str) -> Coax:
    part = load_library().part(name)
    assert isinstance(part, Coax)
    return part


def model_db(cable: Coax, mhz: float) -> float:
    """Model without its span, for points beyond it."""
    return cable.flat_db_per_100m + cable.per_sqrt_mhz_db_per_100m * math.sqrt(mhz) + cable.per_mhz_db_per_100m * mhz


FITTED = sorted({row["fit"] for row in points() if row["fit"]})


STANDINGS = ("published", "practice", "memory")
DOCUMENT = re.compile(
    r"(specification sheet for 75-ohm foamed-PE drop cable to )?(ITU-T G\.62[123]|JCS 5423|Anatel Resolution 467/2007, Table 10|"
    r"Royal Decree 346/2011 \(Spain\), annex II|UKW-Berichte 1976, p\. 170|ARRL General Class License Manual, Table 6-1)"
)


@pytest.mark.parametrize("name", FITTED)
def test_refit_reproduces_coefficients(name):
    """Least squares on relative residuals, no coefficient negative, through the marked points of coax_points.csv."""
    cable = coax(name)
    rows = [row for row in points() if row["fit"] == name]
    mhz = np.array([float(row["freq_mhz"]) for row in rows])
    loss = np.array([float(row["loss_db_per_100m"]) for row in rows])
    columns = [np.sqrt(mhz), mhz] + ([np.ones_like(mhz)] if cable.flat_db_per_100m else [])
    matrix = np.stack(columns, axis=1) / loss[:, None]
    found, _ = nnls(matrix, np.ones_like(loss))
    stored = [cable.per_sqrt_mhz_db_per_100m, cable.per_mhz_db_per_100m, cable.flat_db_per_100m][: len(columns)]
    # Half a unit of the last digit stored.
    assert found == pytest.approx(stored, abs=6e-5)
    assert found[1] == pytest.approx(stored[1], abs=6e-6)
    assert float(np.abs(matrix @ found - 1).max()) == pytest.approx(cable.fit_max, abs=1.1e-3)


def test_every_fitted_point_has_the_standing_its_cable_claims():
    """A cable has the standing of the least of its points; the drop cables alone go on with recalled ones above."""
    for name in FITTED:
        standings = {row["evidence"] for row in points() if row["fit"] == name}
        least = max(standings - ({"memory"} if name.startswith("series") else set()), key=STANDINGS.index)
        assert coax(name).evidence.kind == least, name


def test_a_published_point_names_a_document_that_can_be_asked_for():
    """A standard, a decree, a recommendation or a book, with its number or title; a page without one is practice."""
    for row in points():
        if row["evidence"] == "published":
            assert DOCUMENT.match(row["source"]), row


def test_cables_without_a_fit_say_so():
    """RG-188 borrows RG-316, G.622 is printed as a formula; every other cable is fitted."""
    assert set(load_library().ids("coax")) - set(FITTED) == {"rg188", "g622"}
    one, other = coax("rg188"), coax("rg316")
    assert one.per_sqrt_mhz_db_per_100m == other.per_sqrt_mhz_db_per_100m
    assert one.per_mhz_db_per_100m == other.per_mhz_db_per_100m


def test_g623_velocity():
    """ITU-T G.623: phase constant 21.78 rad/km per MHz."""
    rad_per_km_mhz = 2 * math.pi * 1e6 / (299_792_458 * coax("g623").velocity_factor) * 1e3
    assert rad_per_km_mhz == pytest.approx(21.78, rel=1e-3)


@pytest.mark.parametrize("name", ["series59", "series6", "series11"])
def test_drop_cable_maxima(name):
    """Anatel Resolution 467/2007, Table 10 (published, in coax_points.csv): a maximum, met at every printed point."""
    cable = coax(name)
    assert cable.attenuation_kind == "max"
    printed = [row for row in points() if row["cable"] == name and "Table 10" in row["source"]]
    assert len(printed) >= 5
    for row in printed:
        found_db = attenuation_db_per_100m(cable, float(row["freq_mhz"]) * 1e6)
        assert found_db == pytest.approx(float(row["loss_db_per_100m"]), rel=cable.fit_max + 1e-3), row


def test_temperature_of_the_figures():
    """ITU pairs are stated at 10 degrees C, all other tables at 20."""
    cold = {name for name in load_library().ids("coax") if coax(name).temperature_c == 10}
    assert cold == {"g621", "g622", "g623"}


def floor_db(cable: Coax, mhz: float) -> float:
    """Least loss of smooth solid copper and a clean dielectric, dB/100 m.

    Skin effect of copper, rho 1.7241e-8 ohm m: Rs = 2.609e-4 sqrt(f) ohm; the dielectric's part is 9.102 tan(delta)/vf per MHz.
    """
    inner, outer = cable.inner_mm / 1e3, cable.dielectric_mm / 1e3
    conductor = 0.036066 * (1 / inner + 1 / outer) / cable.impedance_ohm
    return conductor * math.sqrt(mhz) + 9.102 * cable.tan_delta / cable.velocity_factor * mhz


def described() -> list[str]:
    return [name for name in load_library().ids("coax") if coax(name).inner_mm and coax(name).tan_delta]


@pytest.mark.parametrize("name", described())
def test_no_cable_beats_smooth_copper(name):
    """From 50 MHz: a nominal figure is 0.95 to 2.3 times the physical floor, a maximum at most 2.7 times."""
    cable = coax(name)
    most = 2.7 if cable.attenuation_kind == "max" else 2.3
    low, high = max(50.0, cable.valid_from_hz / 1e6), cable.valid_to_hz / 1e6
    for mhz in np.geomspace(low, high, 25):
        assert 0.95 <= model_db(cable, mhz) / floor_db(cable, mhz) <= most, mhz


def test_no_printed_point_beats_smooth_copper():
    checked = 0
    for row in points():
        if row["cable"] not in described() or float(row["freq_mhz"]) < 50 or "left out" in row["source"]:
            continue
        ratio = float(row["loss_db_per_100m"]) / floor_db(coax(row["cable"]), float(row["freq_mhz"]))
        assert 0.945 <= ratio <= (2.7 if row["kind"] == "max" else 2.3), row
        checked += 1
    assert checked > 300


@pytest.mark.parametrize(
    ("larger", "smaller"),
    [
        ("series6", "rg6"),
        ("series59", "series6"),
        ("series6", "series11"),
        ("s-4c-fb", "s-5c-fb"),
        ("s-5c-fb", "s-7c-fb"),
    ],
)
def test_maximum_lies_above_nominal(larger, smaller):
    """A specification limit is above the nominal figure of the same size, a thinner cable above a thicker one."""
    for mhz in (90, 200, 470, 862, 1000):
        assert model_db(coax(larger), mhz) > model_db(coax(smaller), mhz)


@pytest.mark.parametrize("name", load_library().ids("coax"))
def test_capacitance_agrees_with_impedance(name):
    """C [pF/m] = 3335.64/(vf Z0), within what printed tables round (5 %)."""
    cable = coax(name)
    assert cable.capacitance_pf_per_m == pytest.approx(3335.64 / cable.velocity_factor / cable.impedance_ohm, rel=0.05)


def test_worked_lengths():
    """10 m of RG-58 at 100 MHz: 1.5752 dB (computed); RG-213 in a handbook example (memory): 150 ft at 14.2 MHz, 1.19 dB."""
    assert attenuation_db_per_100m(coax("rg58"), 100e6) / 10 == pytest.approx(1.5752, abs=1e-4)
    assert attenuation_db_per_100m(coax("rg213"), 14.2e6) * 0.4572 == pytest.approx(1.193, rel=0.15)
