"""Quantities as written: what is read, what is refused and with which hint, and the way back."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chain.errors import RangeError, UnitError
from chain.sweeps.reading_words import parse_reading
from chain.sweeps.readings import typed_readings
from chain.units import KINDS, Tolerance, format_quantity, parse_quantity, parse_tolerance


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("0.6 m", "length", 0.6),
        ("60cm", "length", 0.6),
        ("38 mm", "length", 0.038),
        # NIST SP 811 (2008), appendix B.8: 1 ft = 3.048 E-01 m and 1 in = 2.54 E-02 m, both exact.
        ("10 ft", "length", 3.048),
        ("100 in", "length", 2.54),
        ("174 MHz", "frequency", 174e6),
        ("1.5e3 kHz", "frequency", 1.5e6),
        ("0.862 GHz", "frequency", 862e6),
        ("1.2 dB", "loss", 1.2),
        ("75 ohm", "impedance", 75.0),
        ("75 \u2126", "impedance", 75.0),
        ("75\u00a0\u03a9", "impedance", 75.0),
        ("1.5 k\u03a9", "impedance", 1500.0),
        ("5 \u00b5H", "inductance", 5e-6),
        ("5 \u03bcH", "inductance", 5e-6),
        ("2 nH", "inductance", 2e-9),
        ("0.1 pF", "capacitance", 1e-13),
        ("\u22125 °C", "temperature", -5.0),
        ("20 C", "temperature", 20.0),
        # BIPM, SI brochure (2019), 2.3.1: t/°C = T/K - 273.15.
        ("293.15 K", "temperature", 20.0),
        ("20 dBm", "power", 20.0),
        # 0 dBm is 1 mW (ITU-R V.574), hence 100 mW is 20 dBm and 1 W is 30 dBm.
        ("100 mW", "power", 20.0),
        ("1 W", "power", 30.0),
        ("-12 V", "voltage", -12.0),
        ("3 deg", "angle", 3.0),
        ("12 %", "percent", 0.12),
        ("26 dB", "return_loss", 26.0),
        ("RL 26 dB", "return_loss", 26.0),
        ("VSWR 2", "vswr", 2.0),
        ("SWR 2", "vswr", 2.0),
        ("2:1", "vswr", 2.0),
        ("RL 26", "return_loss", 26.0),
        ("S11 -26 dB", "return_loss", 26.0),
        ("174 mhz", "frequency", 174e6),
        ("2 feet", "length", 0.6096),
        ("0.6 meters", "length", 0.6),
        ("12 volts", "voltage", 12.0),
        ("20 dbm", "power", 20.0),
        ("vswr 2.0:1", "vswr", 2.0),
    ],
)
def test_reads(text, kind, value):
    assert parse_quantity(text, kind) == pytest.approx(value, rel=1e-15, abs=1e-13)


@pytest.mark.parametrize(
    ("return_loss_db", "vswr"),
    # Practice: VSWR to return loss table as handbooks print it, three decimals.
    [(1, 17.391), (6, 3.010), (10, 1.925), (15, 1.433), (20, 1.222), (25, 1.119), (30, 1.065)],
)
def test_a_return_loss_stands_for_a_vswr(return_loss_db, vswr):
    assert parse_quantity(f"{return_loss_db} dB", "vswr") == pytest.approx(vswr, abs=0.0006)


@pytest.mark.parametrize(
    ("vswr", "return_loss_db"),
    # Published: amateur-radio table of SWR, reflection coefficient, return loss and transmission loss, two decimals.
    [(1.3, 17.69), (2.0, 9.54), (3.0, 6.02)],
)
def test_a_vswr_stands_for_a_return_loss(vswr, return_loss_db):
    assert parse_quantity(f"VSWR {vswr}", "return_loss") == pytest.approx(return_loss_db, abs=0.006)


@pytest.mark.parametrize(
    ("text", "kind", "message", "help_line"),
    [
        ("3 M", "length", "'M' is no unit of length", "did you mean '3 m'?"),
        ("5 MH", "inductance", "'MH' is no unit of inductance", "did you mean '5 mH'?"),
        ("3", "length", "'3' has no unit", "write '3 m' if that is meant (m, cm, mm, um, in or ft)"),
        ("2.0", "vswr", "'2.0' has no unit", "write 'VSWR 2.0', or a return loss in dB"),
        ("26", "return_loss", "'26' has no unit", "write '26 dB' or 'VSWR 26'"),
        ("470,5 MHz", "frequency", "decimal comma in '470,5 MHz'", "write '470.5 MHz'"),
        (
            "1,000 MHz",
            "frequency",
            "decimal comma in '1,000 MHz'",
            "write '1.000 MHz' (or '1000 MHz' for thousands)",
        ),
        ("0.6 m", "frequency", "'0.6 m' is a length; a frequency is needed", "write it as in '174 MHz'"),
        ("VSWR 2", "loss", "'VSWR 2' is not a loss", "write it as in '0.2 dB'"),
        ("-26 dB", "return_loss", "'-26 dB' is below zero: a return loss is given positive", "write '26 dB'"),
        ("-1 m", "length", "'-1 m' is below zero: a length is not negative", "write '1 m'"),
        ("VSWR 0.9", "vswr", "'VSWR 0.9': a VSWR is never below 1", "write it as in 'VSWR 1.5'"),
        ("VSWR 1.2 dB", "vswr", "'VSWR 1.2 dB': a VSWR has no unit", "write 'VSWR 1.2'"),
        ("VSWR 1", "return_loss", "'VSWR 1' means no reflection at all", "say ideal = true on the item instead"),
        ("nan ohm", "impedance", "'nan ohm' is not a finite number", "write it as in '75 ohm'"),
        ("-inf dB", "loss", "'-inf dB' is not a finite number", "write it as in '0.2 dB'"),
        ("1e999 m", "length", "'1e999 m' is not finite", "write it as in '0.6 m'"),
        ("0 Hz", "frequency", "'0 Hz' is out of range for a frequency", "it must lie within 0 to 1e+12 Hz"),
        ("100 %", "percent", "'100 %' is out of range for a percentage", "it must lie within 0 to 99.9 %"),
        ("0 W", "power", "'0 W' is no power", "a power in W or mW is above zero"),
        ("3 furlong", "length", "'furlong' is no unit of length", "use m, cm, mm, um, in or ft"),
        ("", "length", "'' is not a length", "write it as in '0.6 m'"),
        ("six m", "length", "'six m' is not a length", "write it as in '0.6 m'"),
    ],
)
def test_refuses_with_a_hint(text, kind, message, help_line):
    with pytest.raises(UnitError) as caught:
        parse_quantity(text, kind)
    assert (caught.value.message, caught.value.help) == (message, help_line)
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("kind", [kind for kind in KINDS if kind != "power"])
def test_every_unit_of_a_kind_is_read_as_its_factor(kind):
    rule = KINDS[kind]
    for unit, factor in rule.units.items():
        if unit == "K" or kind == "vswr":
            continue
        amount = min(20.0, rule.high / factor / 2)
        assert parse_quantity(f"{amount!r} {unit}", kind) == pytest.approx(amount * factor)


@pytest.mark.parametrize(
    ("text", "value", "relative"),
    [("3 ohm", 3.0, False), ("4 %", 0.04, True), ("0 ohm", 0.0, False), ("0 \u2126", 0.0, False)],
)
def test_tolerance_is_absolute_or_relative(text, value, relative):
    assert parse_tolerance(text, "impedance") == Tolerance(pytest.approx(value), relative)


def spans(kind):
    """Values over the whole span of a kind, some of them small."""
    rule = KINDS[kind]
    low = max(rule.low, 1e-15) if rule.above_zero or kind == "vswr" else rule.low
    return st.one_of(
        st.floats(low, rule.high, allow_subnormal=False),
        st.floats(low, min(rule.high, low + 10), allow_subnormal=False),
    ).filter(lambda value: value == 0 or abs(value) > 1e-18)


@pytest.mark.parametrize("kind", list(KINDS))
@given(data=st.data())
def test_round_trip(kind, data):
    value = data.draw(spans(kind))
    assert parse_quantity(format_quantity(value, kind), kind) == pytest.approx(value, rel=1e-11, abs=1e-30)


@pytest.mark.parametrize(
    ("value", "kind", "text"),
    [
        (174e6, "frequency", "174 MHz"),
        (0.6, "length", "0.6 m"),
        (0.05, "length", "50 mm"),
        (0.0, "length", "0 m"),
        (2e-9, "inductance", "2 nH"),
        (1500.0, "impedance", "1.5 kohm"),
        (0.12, "percent", "12 %"),
        (2.0, "vswr", "VSWR 2"),
        (20.0, "temperature", "20 °C"),
    ],
)
def test_reads_well(value, kind, text):
    assert format_quantity(value, kind) == text


@given(st.text())
def test_any_text_is_a_quantity_or_a_unit_error(text):
    for kind in KINDS:
        try:
            value = parse_quantity(text, kind)
        except UnitError:
            continue
        assert math.isfinite(value)


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("VSWR 1.30 at 210 MHz", "vswr", 1.3),
        ("vswr 1.30  at  210 MHz", "vswr", 1.3),
        ("VSWR inf at 210 MHz", "vswr", math.inf),
        ("vswr Infinity at 210 MHz", "vswr", math.inf),
        ("RL 17.7 dB at 210 MHz", "return_loss", 17.7),
        ("RL -17.7 dB at 210 MHz", "return_loss", 17.7),
        ("RL \u221217.7 dB at 210 MHz", "return_loss", 17.7),
        ("0.1-0.2j at 210 MHz", "complex", 0.1 - 0.2j),
        ("-1e-1 + 2e-1j at 210 MHz", "complex", -0.1 + 0.2j),
        ("0.2j at 210 MHz", "complex", 0.2j),
    ],
)
def test_reading(text, kind, value):
    reading = parse_reading(text)
    assert (reading.kind, reading.value, reading.freq_hz) == (kind, value, 210e6)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("VSWR 1.3", "names no frequency"),
        ("VSWR 1.3 at 210", "'210' has no unit"),
        ("VSWR 1.3 at 1 MHz at 2 MHz", "names more than one frequency"),
        ("VSWR 0.9 at 1 GHz", "never below 1"),
        ("VSWR -inf at 1 GHz", "not a finite number"),
        ("VSWR nan at 1 GHz", "not a finite number"),
        ("RL inf dB at 1 GHz", "not a finite number"),
        ("VSWR 1.3 at inf MHz", "not a finite number"),
        ("1+1j at 1 GHz", "has magnitude 1.414"),
        ("0.3 at 1 GHz", "RL 10.5 dB"),
        ("nan+1j at 1 MHz", "is no reading"),
        ("j at 1 MHz", "is no reading"),
        ("RL 3 m at 210 MHz", "'3 m' is a length"),
        ("", "names no frequency"),
    ],
)
def test_reading_refused(text, message):
    with pytest.raises(UnitError, match=re.escape(message)):
        parse_reading(text)


@given(st.text())
def test_any_text_is_a_reading_or_a_unit_error(text):
    for each in (text, f"{text} at 1 MHz", f"VSWR {text} at 1 MHz"):
        try:
            reading = parse_reading(each)
        except UnitError:
            continue
        assert math.isfinite(reading.freq_hz)


@pytest.mark.parametrize(
    ("text", "kind", "value", "half_step"),
    [
        ("1.3 at 210 mhz", "vswr", 1.3, 0.05),
        ("SWR 1.30 at 210 MHz", "vswr", 1.3, 0.005),
        ("1.3:1 @ 210MHz", "vswr", 1.3, 0.05),
        ("RL 15 at 210 MHz", "return_loss", 15, 0.5),
        ("S11 -17.2 db at 210 MHz", "return_loss", 17.2, 0.05),
        ("68-12j ohm at 210 MHz", "ohm", 68 - 12j, 0.5),
        ("68-j12 ohm at 210 MHz", "ohm", 68 - 12j, 0.5),
        ("R 68 X -12.5 at 210 MHz", "ohm", 68 - 12.5j, 0.5),
        ("75 ohm at 210 MHz", "ohm", 75, 0.5),
        ("0.10-0.20j at 210 MHz", "complex", 0.1 - 0.2j, 0.005),
        ("VSWR 1.30 at channel 9", "vswr", 1.3, 0.005),
        ("RL 15 on ch 9", "return_loss", 15, 0.5),
        ("1,30 at 210 MHz", "vswr", 1.3, 0.005),
        ("VSWR 1.3 210 MHz", "vswr", 1.3, 0.05),
        ("210 MHz: SWR of 1.3", "vswr", 1.3, 0.05),
        ("|S11| -17.2 dB at 210 MHz", "return_loss", 17.2, 0.05),
        ("Z = 68 - j12 \u03a9 at 210 MHz", "ohm", 68 - 12j, 0.5),
        ("R 68 ohm, X -12 ohm at 210 MHz", "ohm", 68 - 12j, 0.5),
        # A right angle turns 70 ohm into pure reactance; half a degree is 70 * pi/360 = 0.611 ohm.
        ("|Z| 70 angle -90 deg at 210 MHz", "ohm", -70j, 0.6109),
        ("0.50 \u2220 90\u00b0 at 210 MHz", "complex", 0.5j, 0.005),
    ],
)
def test_readings_as_people_type_them(text, kind, value, half_step):
    """The trade's short forms, in any letters; each figure carries half a step of its last digit."""
    found = parse_reading(text, {"9": (206e6, 214e6)})
    assert (found.kind, found.freq_hz) == (kind, 210e6)
    assert found.value == pytest.approx(value)
    assert found.half_step == pytest.approx(half_step, rel=1e-3)


@pytest.mark.parametrize(
    ("text", "hint"),
    [
        ("-17 dB at 210 MHz", "RL 17 dB"),
        ("|Z| 70 at 210 MHz", "R 68 X -12"),
        ("68-12j at 210 MHz", "68-12j ohm"),
        ("1.3 at channel 9", "210 MHz"),
    ],
)
def test_what_stays_open_is_asked_back(text, hint):
    """Nothing is guessed: the remedy is a text that is taken."""
    with pytest.raises(UnitError) as reported:
        parse_reading(text)
    assert hint in " ".join(map(str, reported.value.args))


def test_an_impedance_is_a_reflection_in_the_plane_s_reference():
    """(Z - R)/(Z + R); half an ohm of R or X moves it by R/|Z + R|^2."""
    found = typed_readings("R 68 X -12 at 210 MHz", reference_ohm=75.0)
    assert found.reflection[0] == pytest.approx((68 - 12j - 75) / (68 - 12j + 75))
    assert found.rounding[0] == pytest.approx(0.5 * 2 * 75 / abs(143 - 12j) ** 2)
    with pytest.raises(RangeError, match="reference"):
        typed_readings("R 68 X -12 at 210 MHz")
