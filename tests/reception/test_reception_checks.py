"""Worked cases of reception through the command: levels, noise figures, margins, overload; sources beside each.

R-numbers are those of the project's own list; `computed` is textbook arithmetic redone by hand or with numpy.
"""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from click.testing import CliRunner

from chain.cli.main import chain
from chain.reception.formulas import (
    antenna_noise_k,
    combined_db,
    field_dbuv_per_m,
    level_dbuv,
    mismatch_limits_db,
    noise_dbuv,
    pad_correction_db,
    products_dbuv,
)

pytestmark = pytest.mark.usefixtures("answered_once")

HEAD = """
[antenna]
gain = "{gain}"
gain_tolerance = "0 dB"
match = "{match}"
match_kind = "ring"
noise = "{noise}"
[[signal]]
frequency = "{frequency}"
bandwidth = "{bandwidth}"
need = "22.1 dB"
field = "60 dBuV/m"
field_spread = "0 dB"
"""
OUTLET = """
[[outlet]]
id = "set"
after = "{after}"
receiver = {{ noise_figure = "{noise_figure}", reflection = "80 dB" }}
"""
USUAL = {"gain": "12 dBi", "match": "VSWR 1.0", "noise": "290 K", "frequency": "650 MHz", "bandwidth": "7.61 MHz"}


def item(name, part, after, **keys):
    rows = "".join(f'{key} = "{value}"\n' for key, value in keys.items())
    return f'\n[[item]]\nid = "{name}"\npart = "{part}"\nafter = "{after}"\nideal = true\n{rows}'


def loss(name, after, decibels, near="F-75 jack"):
    """A matched loss at 290 K."""
    return item(name, "outlet-end", after, loss=f"{decibels} dB", near=near, far="F-75 plug")


def amplifier(after, gain, noise="2 dB", **keys):
    """An amplifier with mains of its own: the worked cases are about levels and take its feed for granted."""
    values = {"gain": f"{gain} dB", "noise_figure": noise, "power": "0 V", "near": "F-75 jack", "far": "F-75 plug"}
    return item("amp", "masthead-amplifier", after, **values, **keys)


def asked(text, tmp_path, *options):
    """JSON of the command for an installation."""
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(chain, ["outlets", str(path), "--json", "--draws", "400", *options])
    assert done.exit_code == 0, done.output
    return json.loads(done.output)


def boathouse(place="", gain=15):
    """Antenna, 3.391 dB of lead, a two-way of 3.61 dB, 0.3 dB of fly lead; an amplifier at one place."""
    text, last = HEAD.format(**USUAL), "antenna"
    if place == "mast":
        text, last = text + amplifier(last, gain), "amp"
    text, last = text + loss("lead", last, 3.391), "lead"
    if place == "before":
        text, last = text + amplifier(last, gain), "amp"
    text += item("split", "splitter-2-ideal", last)
    text, last = text + loss("excess", "split.out1", 3.61 - 10 * math.log10(2), "F-75 plug"), "excess"
    text, last = text + loss("fly", last, 0.3), "fly"
    if place == "set":
        text, last = text + amplifier(last, gain), "amp"
    text += '[[outlet]]\nid = "other"\nafter = "split.out2"\nend = "75 ohm"\n'
    return text + OUTLET.format(after=last, noise_figure="7 dB")


@pytest.mark.parametrize(
    ("place", "gain", "level", "noise_figure", "ratio"),
    [
        ("", 0, 39.98, 14.30, 29.39),
        ("mast", 15, 54.98, 3.81, 39.88),
        ("before", 15, 54.98, 6.28, 37.41),
        ("set", 15, 54.98, 9.64, 34.05),
        ("mast", 25, 64.98, 2.22, 41.47),
    ],
)
def test_r1_to_r4_where_an_amplifier_stands(place, gain, level, noise_figure, ratio, tmp_path):
    """Friis with available gains; field to level `U = E + G - 20 log f + 31.535` (computed)."""
    found = asked(boathouse(place, gain), tmp_path)
    row = found["outlets"][1]["channels"][0]
    assert found["antenna"][0]["level_dbuv"] == pytest.approx(47.277, abs=2e-3)
    assert row["level_dbuv"] == pytest.approx(level, abs=6e-3)
    assert row["cn_db"] == pytest.approx(ratio, abs=6e-3)
    assert found["noise_figure_db"][1][0] == pytest.approx(noise_figure, abs=6e-3)
    assert row["need_db"] == 22.1
    if not place:
        assert row["margin_db"] == pytest.approx(7.29, abs=6e-3)
        assert [row["margin_low_db"], row["margin_high_db"]] == pytest.approx([row["margin_db"]] * 2, abs=2e-3)
        assert row["verdict"] == "works"


def cascade(*stages, receiver, tmp_path, **keys):
    """System noise figure of stages (gain with noise figure, or loss), antenna at 290 K."""
    text, last = HEAD.format(**(USUAL | keys)), "antenna"
    for number, stage in enumerate(stages):
        name = f"s{number}"
        if isinstance(stage, tuple):
            text += amplifier(last, *stage).replace('id = "amp"', f'id = "{name}"')
        else:
            text += loss(name, last, stage)
        last = name
    found = asked(text + OUTLET.format(after=last, noise_figure=receiver), tmp_path)
    return found["noise_figure_db"][0][0]


@pytest.mark.parametrize(
    ("stages", "receiver", "expected"),
    [
        # Worked examination: 7000 K behind 4 dB of cable; then 25 dB with 2 dB before the cable.
        ((4,), f"{10 * math.log10(1 + 7000 / 290)} dB", 18.003),
        (((25, "2 dB"), 4), f"{10 * math.log10(1 + 7000 / 290)} dB", 2.508),
        # A 220 MHz set: amplifier 18 dB/2.5 dB, mixer 16 dB/12 dB, IF 2 dB; 15 m of lead ahead; at the mast (forum question).
        (((18, "2.5 dB"), (16, "12 dB")), "2 dB", 3.040),
        ((1.8, (18, "2.5 dB"), (16, "12 dB")), "2 dB", 4.840),
        ((0.6, (18, "2.5 dB"), (16, "12 dB")), "2 dB", 3.640),
        (((20, "2 dB"), 1.8, (18, "2.5 dB"), (16, "12 dB")), "2 dB", 2.056),
        # Amplifier at the mast or at the set, lead of 3.4 and 7.2 dB (computed).
        (((15, "2 dB"), 3.4), "7 dB", 2.788),
        (((15, "2 dB"), 7.2), "7 dB", 3.775),
        ((3.4, (15, "2 dB")), "7 dB", 5.734),
        ((7.2, (15, "2 dB")), "7 dB", 9.534),
        ((3.4,), "7 dB", 10.4),
        ((7.2,), "7 dB", 14.2),
    ],
)
def test_r5_cascades(stages, receiver, expected, tmp_path):
    assert cascade(*stages, receiver=receiver, tmp_path=tmp_path) == pytest.approx(expected, abs=1.5e-3)


def test_r5_noise_temperatures(tmp_path):
    """1 dB of coax at 290 K before 28 K: 110.34 K in all; 16 times, 28 K, then 200 K: 40.5 K (amateur noise page)."""
    preamplifier = f"{10 * math.log10(1 + 28 / 290)} dB"
    last = f"{10 * math.log10(1 + 200 / 290)} dB"
    for stages, receiver, kelvin in (
        ((1,), preamplifier, 110.34),
        (((10 * math.log10(16), preamplifier),), last, 40.5),
    ):
        found = cascade(*stages, receiver=receiver, tmp_path=tmp_path)
        assert 290 * (10 ** (found / 10) - 1) == pytest.approx(kelvin, abs=0.01)


@pytest.mark.parametrize(
    ("mhz", "gain_dbd", "lead", "noise_figure", "expected", "contour"),
    [(69, 4, 1, 10, 27.6, 28), (194, 6, 2, 10, 35.6, 36), (615, 10, 4, 7, 40.6, 41)],
)
def test_r6_planning_contours(mhz, gain_dbd, lead, noise_figure, expected, contour, tmp_path):
    """Canada, ISED BPR-10, appendix 8, table 1, and its consultation on 600 MHz, annex C: contours 28, 36 and 41 dBuV/m.

    The field at which the command finds C/N 15 dB in 6 MHz with the table's gain, downlead and noise figure.
    """
    keys = {"gain": f"{gain_dbd} dBd", "frequency": f"{mhz} MHz", "bandwidth": "6 MHz"}
    text = HEAD.format(**(USUAL | keys)) + loss("lead", "antenna", lead)
    row = asked(text + OUTLET.format(after="lead", noise_figure=f"{noise_figure} dB"), tmp_path)
    field = 60 - (row["outlets"][0]["channels"][0]["cn_db"] - 15)
    assert field == pytest.approx(expected, abs=0.06)
    assert math.ceil(field - 0.05) == contour


def test_r7_both_forms_of_planning_agree(tmp_path):
    """GE06 form in powers: F 7, C/N 22.1, 7.77 MHz, 11 dBd, 4 dB, 650 MHz: 48.35 dBuV/m by either."""
    power = 22.1 + 7 + 10 * math.log10(1.380649e-23 * 290 * 7.77e6)
    wavelength = 299.792458 / 650
    aperture = 11 + 10 * math.log10(1.64 * wavelength**2 / (4 * math.pi))
    assert power - aperture + 4 + 145.8 == pytest.approx(48.35, abs=0.05)
    keys = {"gain": "11 dBd", "bandwidth": "7.77 MHz"}
    text = HEAD.format(**(USUAL | keys)) + loss("lead", "antenna", 4) + OUTLET.format(after="lead", noise_figure="7 dB")
    row = asked(text, tmp_path)["outlets"][0]["channels"][0]
    assert 60 - (row["cn_db"] - 22.1) == pytest.approx(48.35, abs=0.02)


def test_r8_mismatch_at_both_ends():
    """VSWR 2.5 and 3 through 3.39 dB: 1.233 to 2.944 dB beyond the attenuation; power-meter examples of a maker's manual."""
    assert mismatch_limits_db(1.5 / 3.5, 0.5, 3.39) == pytest.approx((1.233, 2.944), abs=6e-4)
    assert mismatch_limits_db(0.2, 0.2 / 2.2, 0) == pytest.approx((0.0540, 0.3698), abs=6e-4)
    assert mismatch_limits_db(0.2, 0.03 / 2.03, 0) == pytest.approx((0.1520 + 0.0258, 0.1783 + 0.0258), abs=0.06)


@pytest.mark.parametrize("turn", [0.0, 0.25, 0.5, 0.8])
def test_r8_between_two_mismatches_through_the_command(turn, tmp_path):
    """VSWR 2.5 and 3 with 3.39 dB between: beyond those 1.233 dB in phase, 2.944 dB in opposition, else between (computed).

    The set is 75 ohm behind a junction without loss that reflects 0.5; the antenna's phase is turned.
    """
    near = 1.5 / 3.5 * np.exp(2j * np.pi * turn)
    through = math.sqrt(0.75)
    for name, values in (("antenna.s1p", [near]), ("set.s2p", [0.5, through, through, -0.5])):
        row = " ".join(f"{complex(each).real!r} {complex(each).imag!r}" for each in values)
        rows = "".join(f"{mhz} {row}\n" for mhz in range(640, 661))
        (tmp_path / name).write_text(f"# MHz S RI R 75\n{rows}", encoding="utf-8")
    text = HEAD.format(**(USUAL | {"match": "antenna.s1p"})).replace('match_kind = "ring"\n', "")
    text += loss("lead", "antenna", 3.39) + '\n[[item]]\nid = "junction"\ntouchstone = "set.s2p"\nafter = "lead"\n'
    found = asked(text + OUTLET.format(after="junction", noise_figure="7 dB"), tmp_path)
    beyond = found["antenna"][0]["level_dbuv"] - found["outlets"][0]["channels"][0]["level_dbuv"] - 3.39
    echo = 1.5 / 3.5 * 0.5 * 10**-0.339 * np.exp(2j * np.pi * turn)
    alone = -10 * math.log10(1 - (1.5 / 3.5) ** 2) - 10 * math.log10(0.75)
    assert beyond == pytest.approx(alone + 20 * math.log10(abs(1 - echo)), abs=1e-6)
    if turn in (0.0, 0.5):
        assert beyond == pytest.approx(2.944 if turn else 1.233, abs=1e-3)


def test_r8_the_ripple_of_one_echo(tmp_path):
    """Antenna 2.5, receiver 3, 3.39 dB between them: 1.711 dB from dip to peak (computed)."""
    text = HEAD.format(**(USUAL | {"match": "VSWR 2.5"})) + loss("lead", "antenna", 3.39)
    text += OUTLET.format(after="lead", noise_figure="7 dB").replace("80 dB", "VSWR 3.0")
    row = asked(text, tmp_path)["outlets"][0]["channels"][0]
    assert row["echo_ripple_db"] == pytest.approx(1.711, abs=2e-3)


@pytest.mark.parametrize(
    ("temperature", "kelvin", "expected"), [("290 K", 290, 4.416), ("40 °C", 313.15, 4.631), ("-20 °C", 253.15, 4.047)]
)
def test_r9_a_lossy_line_behind_a_mismatch(temperature, kelvin, expected, tmp_path):
    """3.4 dB behind |G| = 1/2: part of the mismatch comes back at the far end; loss plus mismatch loss (4.649) is wrong."""
    text = HEAD.format(**(USUAL | {"match": "VSWR 3.0"}))
    per_100m = 0.665 * math.sqrt(650) * math.sqrt(1 + 0.00393 * (kelvin - 273.15 - 20))
    lead = item("lead", "rg6", "antenna", length=f"{340 / per_100m!r} m", temperature=temperature, impedance="75 ohm")
    found = asked(text + lead + OUTLET.format(after="lead", noise_figure="0 dB"), tmp_path)
    gain = (1 - 0.25) * 10**-0.34 / (1 - 0.25 * 10**-0.68)
    # A receiver of 0 dB adds its own mismatch, F/(1 - |Gs|^2) - 1: taken off again.
    seen = 0.5 * 10**-0.34
    total = 10 ** (found["noise_figure_db"][0][0] / 10)
    figure = 10 * math.log10(total - (1 / (1 - seen**2) - 1) / gain)
    assert figure == pytest.approx(10 * math.log10(1 + kelvin / 290 * (1 / gain - 1)), abs=1e-6)
    assert figure == pytest.approx(expected, abs=3e-3)


def test_r10_ten_multiplexes_into_one_amplifier(tmp_path):
    """Ten of 80 dBuV into 25 dB, 103 dBuV at 60 dB: 115 dBuV out, C/IM 34.2 dB at the centre of the block (computed)."""
    assert 2 * (133 - 115) - 10 * math.log10(1.5) == pytest.approx(34.24, abs=5e-3)
    text = HEAD.format(**USUAL)
    text = text.replace(
        'frequency = "650 MHz"\nbandwidth = "7.61 MHz"', 'region = "europe"\nchannels = "21-30"\nbandwidth = "8 MHz"'
    )
    text = text.replace('field = "60 dBuV/m"', 'level = "80 dBuV at antenna"')
    text += amplifier("antenna", 25, max_output="103 dBuV at 60 dB") + OUTLET.format(after="amp", noise_figure="7 dB")
    found = asked(text, tmp_path)
    assert found["amplifiers"][0]["total_dbuv"] == pytest.approx(115.0, abs=0.02)
    assert found["amplifiers"][0]["least_distance_db"] == pytest.approx(34.24, abs=0.05)
    worst = min(found["outlets"][0]["channels"], key=lambda row: row["cim_db"])
    assert worst["cim_db"] == pytest.approx(34.24, abs=0.05)
    assert worst["channel"] in ("25", "26")


@pytest.mark.parametrize(("backoff", "expected"), [(10, 18.6), (15, 28.5), (20, 38.2)])
def test_products_agree_with_a_simulated_block(backoff, expected):
    """Gaussian block of 2^20 points through a cubic: 18.6, 28.5, 38.2 dB in the middle, at P - OIP3 of -10, -15, -20 dB."""
    low = 470e6 + 8e6 * np.arange(40)
    power = 130.0 - backoff
    products, total = products_dbuv(np.full(40, power - 10 * np.log10(40)), low, low + 8e6, 130.0)
    assert total == pytest.approx(power)
    assert (power - 10 * np.log10(40) - products)[20] == pytest.approx(expected, abs=0.45)


def test_products_agree_with_a_cubic_drawn_here():
    """The same from a simulation in this test, two blocks of unequal level with a gap."""
    rng = np.random.default_rng(3)
    size, rounds = 1 << 14, 60
    filled = np.zeros(size)
    filled[2000:3000] = 1.0
    filled[3600:4400] = 0.05
    power = filled.sum()
    spectrum = np.zeros(size)
    for _ in range(rounds):
        tones = np.sqrt(filled / 2) * (rng.normal(size=size) + 1j * rng.normal(size=size))
        wave = np.fft.ifft(tones) * size
        cubic = np.abs(wave) ** 2 * wave
        # What goes along with the signal is gain, not disturbance.
        along = np.vdot(wave, cubic) / np.vdot(wave, wave)
        spectrum += np.abs(np.fft.fft(cubic - along * wave) / size) ** 2 / rounds
    # y = a + c |a|^2 a; two tones of P each: products c^2 P^3, so OIP3^2 = 1/c^2 with c = 1 here.
    expected = [10 * np.log10(spectrum[a:b].sum()) for a, b in ((2000, 3000), (3600, 4400))]
    levels = 10 * np.log10([1000.0, 40.0])
    assert power == pytest.approx(1040)
    edges = np.array([[2000.0, 3000.0], [3600.0, 4400.0]]) * 1e5
    found, _ = products_dbuv(levels, edges[:, 0], edges[:, 1], 0.0)
    assert found == pytest.approx(expected, abs=0.15)


def test_r11_cross_modulation_of_a_line_of_amplifiers(tmp_path):
    """Six amplifiers of 118 dBuV at 60 dB, 28 channels of 96 dBuV out of each: 62.12 dB (answer of an examination)."""
    text = HEAD.format(**USUAL)
    text = text.replace('frequency = "650 MHz"', 'region = "europe"\nchannels = "21-48"')
    text, last = text.replace('field = "60 dBuV/m"', 'level = "76 dBuV at antenna"'), "antenna"
    for number in range(6):
        text += amplifier(last, 20, max_output="118 dBuV at 60 dB").replace('id = "amp"', f'id = "a{number}"')
        text, last = text + loss(f"l{number}", f"a{number}", 20), f"l{number}"
    found = asked(text + OUTLET.format(after=last, noise_figure="7 dB"), tmp_path)
    assert found["outlets"][0]["cross_modulation_db"] == pytest.approx(62.12, abs=6e-3)
    assert [row["total_dbuv"] for row in found["amplifiers"]] == pytest.approx([96 + 10 * math.log10(28)] * 6, abs=1e-6)


def test_r12_disturbances_add_as_powers():
    """29 and 35 dB: 28.03; 30 and 30: 26.99 (computed)."""
    assert float(combined_db(29, 35)) == pytest.approx(28.03, abs=5e-3)
    assert float(combined_db(30, 30)) == pytest.approx(26.99, abs=5e-3)


def test_r12_noise_of_29_db_and_products_of_35_through_the_command(tmp_path):
    """Level and amplifier set until C/N is 29 and C/IM 35 dB: 28.03 dB together, and the margin from that (computed)."""
    level, most, found = 50.0, 90.0, {}
    for _ in range(2):
        text = HEAD.format(**USUAL).replace('field = "60 dBuV/m"', f'level = "{level!r} dBuV at antenna"')
        text += amplifier("antenna", 20, max_output=f"{most!r} dBuV at 60 dB")
        found = asked(text + OUTLET.format(after="amp", noise_figure="7 dB"), tmp_path)["outlets"][0]["channels"][0]
        # A decibel of level is one of C/N and takes two of C/IM; a decibel of output brings two.
        rise = 29 - found["cn_db"]
        level, most = level + rise, most + rise + (35 - found["cim_db"]) / 2
    assert (found["cn_db"], found["cim_db"]) == pytest.approx((29, 35), abs=1e-6)
    assert found["cni_db"] == pytest.approx(28.03, abs=5e-3)
    assert found["margin_db"] == pytest.approx(28.03 - 22.1, abs=5e-3)


@pytest.mark.parametrize(
    ("part", "end", "expected"),
    [
        ("splitter-2-resistive", "open", 2.499),
        ("splitter-2-resistive", "75 ohm", 6.021),
        ("splitter-2-ideal", "open", 3.010),
        ("splitter-3-resistive", "75 ohm", 9.542),
    ],
)
def test_r13_and_r14_open_outputs(part, end, expected, tmp_path):
    """Star of resistors and lossless hybrid with the other output open or ended (circuit theory)."""
    text = HEAD.format(**USUAL) + item("split", part, "antenna")
    ways = 3 if "3" in part else 2
    for way in range(2, ways + 1):
        text += f'[[outlet]]\nid = "o{way}"\nafter = "split.out{way}"\nend = "{end}"\n'
    found = asked(text + OUTLET.format(after="split.out1", noise_figure="7 dB"), tmp_path)
    rows = {row["id"]: row["channels"][0]["level_dbuv"] for row in found["outlets"]}
    # A matched antenna takes no part; what the input reflects is not in the level.
    assert 47.277 - rows["set"] == pytest.approx(expected, abs=3e-3)


@pytest.mark.parametrize(("chain_db", "expected"), [(10.4, 18.04), (2.0, 17.35)])
def test_r15_the_air_is_louder_than_an_fm_receiver(chain_db, expected, tmp_path):
    """98 MHz, residential (P.372 form, memory): 17.3 dB of the air's own; an amplifier is worth 0.7 dB."""
    keys = {"noise": "residential", "frequency": "98 MHz", "bandwidth": "0.2 MHz"}
    text = HEAD.format(**(USUAL | keys)) + OUTLET.format(after="antenna", noise_figure=f"{chain_db} dB")
    assert asked(text, tmp_path)["noise_figure_db"][0][0] == pytest.approx(expected, abs=0.05)
    assert 10 * np.log10(antenna_noise_k("city", 290.0, np.array([98e6]))[0] / 290) == pytest.approx(21.6, abs=0.06)
    assert 10 * np.log10(antenna_noise_k("rural", 290.0, np.array([200e6]))[0] / 290) == pytest.approx(3.5, abs=0.06)


def test_r16_from_the_field_to_the_margin(tmp_path):
    """60 dBuV/m, 12 dBi, VSWR 2, lead 3.4, splitter 3.8: 39.6 dBuV, C/N 29.0, 5.9 dB over 33.7 dBuV (computed)."""
    text = HEAD.format(**(USUAL | {"match": "VSWR 2.0"})) + loss("lead", "antenna", 3.4) + loss("split", "lead", 3.8)
    found = asked(text + OUTLET.format(after="split", noise_figure="7 dB"), tmp_path)
    row = found["outlets"][0]["channels"][0]
    assert found["antenna"][0]["level_dbuv"] == pytest.approx(47.3, abs=0.05)
    assert row["level_dbuv"] == pytest.approx(39.6, abs=0.05)
    assert row["cn_db"] == pytest.approx(29.0, abs=0.06)
    assert row["level_dbuv"] - 33.7 == pytest.approx(5.9, abs=0.05)
    assert found["worth"]["match_db"] == pytest.approx(0.51, abs=0.01)


def test_r18_an_amplifier_of_nothing(tmp_path):
    """Gain 0 dB, noise figure 0 dB, all matched: the passive tree."""
    plain = asked(boathouse(), tmp_path)["outlets"][1]["channels"][0]
    text = boathouse("before", 0).replace('noise_figure = "2 dB"', 'noise_figure = "0 dB"')
    found = asked(text, tmp_path)["outlets"][1]["channels"][0]
    for key in ("level_dbuv", "cn_db", "margin_db"):
        assert found[key] == pytest.approx(plain[key], abs=1e-6)


def test_noise_and_fields_of_the_books():
    """kTB at 290 K; free space (Rec. ITU-R P.525-2): 1 kW at 1 km 106.92 dBuV/m, 100 kW at 30 km 97.38."""
    for mhz, dbuv in (
        (7.77, 3.68),
        (7.61, 3.59),
        (6.66, 3.01),
        (6.0, 2.56),
        (1.536, -3.36),
        (27.5, 9.17),
        (0.2, -12.21),
    ):
        assert float(noise_dbuv(mhz * 1e6)) == pytest.approx(dbuv, abs=6e-3)
    for watts, km, field in ((1e3, 1, 106.92), (100e3, 30, 97.38), (10e3, 10, 96.92), (50e3, 50, 89.93)):
        assert field_dbuv_per_m(watts, km * 1e3) == pytest.approx(field, abs=6e-3)
    # Half-wave dipole (2.15 dBi) at 100 MHz in 70 dBuV/m: -44 to -45 dBm (mailing list of 2007).
    assert float(level_dbuv(70, 2.15, 100e6)) - 108.751 == pytest.approx(-44.5, abs=0.6)
    assert pad_correction_db("50-pad") == pytest.approx(7.48, abs=5e-3)
    assert pad_correction_db("50") == pytest.approx(1.94, abs=5e-3)
    # Factor of a half-wave dipole to a published table: -111.8, -120.8, -130.8 dB at 69, 194 and 615 MHz.
    for mhz, factor in ((69, -111.8), (194, -120.8), (615, -130.8)):
        dbm = float(level_dbuv(0, 10 * math.log10(1.64), mhz * 1e6)) - 108.751
        assert dbm == pytest.approx(factor, abs=0.06)


def test_signal_page_of_an_instrument_maker():
    """144.68 MHz, 6 dB, 50 ohm: antenna factor 7.4 dB/m, 34.98 dBuV is 42.38 dBuV/m."""
    at_75 = float(level_dbuv(42.38, 6, 144.68e6))
    assert at_75 - 10 * math.log10(1.5) == pytest.approx(34.98, abs=0.05)
