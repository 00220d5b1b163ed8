"""Resistors and losses of the library's pads against printed and computed tables."""

from __future__ import annotations

import math

import pytest

from library.files.rows import ladder_loss_db
from library.load import load_library
from library.records import Pad, SectionLine, Transformer


def pad(name: str) -> Pad:
    part = load_library().part(name)
    assert isinstance(part, Pad)
    return part


def input_ohm(arms: tuple[tuple[str, float], ...], end_ohm: float) -> float:
    """Resistance into the near end of a ladder with `end_ohm` at its far end; infinite and zero ends are allowed."""
    seen = end_ohm
    for place, ohm in reversed(arms):
        if place == "series":
            seen += ohm
        else:
            seen = 0.0 if seen == 0 else 1 / (1 / ohm + (0 if math.isinf(seen) else 1 / seen))
    return seen


def return_loss_db(ohm: complex, reference_ohm: float) -> float:
    return -20 * math.log10(abs((ohm - reference_ohm) / (ohm + reference_ohm)))


def test_minimum_loss_pad():
    """Application note on 75-ohm parts and 50-ohm equipment: 43.3 and 86.6 ohm, 5.7 dB; exactly 10 lg(2 + sqrt 3)."""
    resistors = dict(pad("min-loss-pad-resistors").arms)
    assert resistors == pytest.approx({"shunt": 86.6025, "series": 43.3013}, abs=1e-4)
    assert pad("min-loss-pad-resistors").loss_db == pytest.approx(5.7195, abs=5e-5)
    assert pad("min-loss-pad").loss_db == pytest.approx(10 * math.log10(2 + math.sqrt(3)), abs=1e-7)


@pytest.mark.parametrize(
    ("far_end", "shown_ohm"), [(math.inf, 86.6), (0.0, 28.87), (75.0, 50.0)], ids=["open", "short", "matched"]
)
def test_what_the_near_port_shows(far_end, shown_ohm):
    """Computed: open 86.6 ohm, short 28.87 ohm, both of return loss 11.44 dB."""
    assert input_ohm(pad("min-loss-pad-resistors").arms, far_end) == pytest.approx(shown_ohm, abs=0.01)


# Computed: loss, return loss at 75 and at 50 ohm of stock resistors.
STOCK = {
    "min-loss-pad-43r2-86r6": (5.714, 63, 74),
    "min-loss-pad-43-86": (5.720, 52, 52),
    "min-loss-pad-43-91": (5.580, 55, 37),
    "min-loss-pad-43-82": (5.842, 44, 36),
    "min-loss-pad-47-82": (6.072, 34, 40),
    "min-loss-pad-39-82": (5.605, 29, 33),
    "min-loss-pad-39-100": (5.127, 35, 30),
    "min-loss-pad-47-100": (5.586, 29, 26.5),
}


@pytest.mark.parametrize("name", STOCK)
def test_stock_values(name):
    loss, at_75, at_50 = STOCK[name]
    part = pad(name)
    assert part.loss_db == pytest.approx(loss, abs=6e-4)
    assert return_loss_db(input_ohm(part.arms, 75), 50) == pytest.approx(at_50, abs=0.6)
    assert return_loss_db(input_ohm(part.arms[::-1], 50), 75) == pytest.approx(at_75, abs=0.6)


# Textbook and reprint note print 8.5/142 (T) and 292/17.6 (pi) for 3 dB at 50 ohm, 39.0/52.7 for 10 dB T at 75; the rest computed.
# T: series / shunt; pi: shunt / series.
SYMMETRIC = {
    "tee-1db-50": (2.875, 433.34),
    "tee-3db-50": (8.550, 141.93),
    "tee-6db-50": (16.614, 66.931),
    "tee-10db-50": (25.975, 35.136),
    "tee-20db-50": (40.909, 10.101),
    "pi-1db-50": (869.55, 5.769),
    "pi-3db-50": (292.40, 17.615),
    "pi-6db-50": (150.48, 37.352),
    "pi-10db-50": (96.248, 71.151),
    "pi-20db-50": (61.111, 247.50),
    "tee-1db-75": (4.313, 650.01),
    "tee-3db-75": (12.825, 212.89),
    "tee-6db-75": (24.921, 100.40),
    "tee-10db-75": (38.962, 52.705),
    "tee-20db-75": (61.364, 15.152),
    "pi-1db-75": (1304.3, 8.654),
    "pi-3db-75": (438.60, 26.422),
    "pi-6db-75": (225.71, 56.028),
    "pi-10db-75": (144.37, 106.73),
    "pi-20db-75": (91.667, 371.25),
}


@pytest.mark.parametrize("name", SYMMETRIC)
def test_symmetric_attenuators(name):
    part = pad(name)
    (_, outer), (_, middle), (_, last) = part.arms
    assert (outer, middle) == pytest.approx(SYMMETRIC[name], rel=1.5e-4)
    assert last == outer
    assert part.loss_db == pytest.approx(float(name.split("-")[1].removesuffix("db")), abs=1e-3)
    assert input_ohm(part.arms, part.far_ohm) == pytest.approx(part.near_ohm, rel=1e-4)


# Computed: T: arm at 75 / at 50 / shunt; pi: shunt at 75 / series / shunt at 50.
MATCHED = {
    6: ((43.34, 1.57, 81.97), (2386, 45.75, 86.52)),
    8: ((45.31, 10.89, 57.94), (344.3, 64.72, 82.76)),
    10: ((48.63, 18.08, 43.03), (207.4, 87.14, 77.11)),
    15: ((57.41, 30.77, 22.49), (121.9, 166.7, 65.32)),
    20: ((64.14, 38.64, 12.37), (97.05, 303.1, 58.46)),
}


@pytest.mark.parametrize("loss_db", MATCHED)
def test_matched_pads(loss_db):
    tee, pi = pad(f"matched-tee-{loss_db}db"), pad(f"matched-pi-{loss_db}db")
    (_, at_50), (_, shunt), (_, at_75) = tee.arms
    assert (at_75, at_50, shunt) == pytest.approx(MATCHED[loss_db][0], abs=0.006)
    assert [ohm for _, ohm in pi.arms[::-1]] == pytest.approx(MATCHED[loss_db][1], rel=5e-4)
    for part in (tee, pi):
        assert part.loss_db == pytest.approx(loss_db, abs=1e-3)
        assert input_ohm(part.arms, 75) == pytest.approx(50, rel=1e-4)
        assert input_ohm(part.arms[::-1], 50) == pytest.approx(75, rel=1e-4)


def test_one_way_matches():
    """25 ohm in series matches 75 ohm, shows 100 ohm (9.54 dB) to 50; 150 ohm across mirrors it; 1.761 dB (computed)."""
    series, shunt = pad("series-25-ohm"), pad("shunt-150-ohm")
    assert input_ohm(series.arms[::-1], 50) == pytest.approx(75)
    assert return_loss_db(input_ohm(series.arms, 75), 50) == pytest.approx(9.54, abs=5e-3)
    assert input_ohm(shunt.arms, 75) == pytest.approx(50)
    assert series.loss_db == pytest.approx(1.761, abs=5e-4)
    assert shunt.loss_db == pytest.approx(1.761, abs=5e-4)


def test_ladder_loss_of_a_reversed_pad():
    """A 75/50 pad the wrong way round loses 6.167 dB (computed)."""
    arms = [list(arm) for arm in pad("min-loss-pad-resistors").arms[::-1]]
    assert ladder_loss_db(arms, 50, 75) == pytest.approx(6.167, abs=5e-4)


def test_sections():
    """Quarter wave of 61.24 ohm; twelfth-wave pieces of 0.0815 wavelength, Electronic Engineering 33, 1961."""
    quarter, twelfth = load_library().part("quarter-wave"), load_library().part("twelfth-wave")
    assert isinstance(quarter, SectionLine)
    assert isinstance(twelfth, SectionLine)
    assert quarter.pieces == ((pytest.approx(61.24, abs=5e-3), 0.25),)
    assert [ohm for ohm, _ in twelfth.pieces] == [75, 50]
    assert [length for _, length in twelfth.pieces] == pytest.approx([0.0815, 0.0815], abs=5e-5)


def test_transformer_turns():
    """11:9 turns make 74.7 ohm of 50, return loss 53.7 dB (computed)."""
    wound = load_library().part("transformer-11-9")
    assert isinstance(wound, Transformer)
    assert 50 * wound.turns_ratio**2 == pytest.approx(74.7, abs=0.01)
    assert return_loss_db(50 * wound.turns_ratio**2, 75) == pytest.approx(53.7, abs=0.1)


# Lumped model (computed): return loss at the 75- and the 50-ohm end, inductance in each arm, capacitance across the series arm.
PARASITIC_MHZ = (200, 500, 862, 2000)
PARASITIC = {
    "min-loss-pad-chip": ((44.6, 36.7, 31.9, 24.6), (47.3, 39.4, 34.7, 27.3)),
    "min-loss-pad-box": ((35.6, 27.6, 22.9, 15.6), (38.2, 30.3, 25.6, 18.2)),
    "min-loss-pad-leaded": ((23.0, 15.1, 10.6, 4.3), (26.0, 18.1, 13.4, 6.4)),
}


def seen_ohm(part: Pad, arms: tuple[tuple[str, float], ...], end_ohm: float, freq_hz: float) -> complex:
    seen = complex(end_ohm)
    omega = 2 * math.pi * freq_hz
    for place, ohm in reversed(arms):
        arm = ohm + 1j * omega * part.arm_inductance_h
        if place == "series":
            seen += 1 / (1 / arm + 1j * omega * part.arm_capacitance_f)
        else:
            seen = 1 / (1 / arm + 1 / seen)
    return seen


@pytest.mark.parametrize("name", PARASITIC)
def test_parasitics_make_the_tabulated_return_loss(name):
    part = pad(name)
    for place, mhz in enumerate(PARASITIC_MHZ):
        at_75 = seen_ohm(part, part.arms[::-1], 50, mhz * 1e6)
        at_50 = seen_ohm(part, part.arms, 75, mhz * 1e6)
        assert return_loss_db(at_75, 75) == pytest.approx(PARASITIC[name][0][place], abs=0.06), mhz
        assert return_loss_db(at_50, 50) == pytest.approx(PARASITIC[name][1][place], abs=0.06), mhz


def test_ordinary_pad_has_the_limits_of_its_box():
    """The pad specified over frequency carries what the box model reflects."""
    part = pad("min-loss-pad-ordinary")
    assert part.near_limit is not None
    assert part.far_limit is not None
    assert part.far_limit.return_loss_db[1:] == PARASITIC["min-loss-pad-box"][0]
    assert part.near_limit.return_loss_db[1:] == PARASITIC["min-loss-pad-box"][1]
