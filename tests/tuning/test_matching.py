"""Matching networks: worked examples of handbooks, the floor of Bode and Fano, and the network as a file that other commands read."""

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import skrf
from click.testing import CliRunner
from further import wide
from tuning_world import FREQ, Element, as_readings, bench, swept

from chain.antenna_report.match import three_lines
from chain.cli.main import chain
from chain.errors import RangeError
from chain.files.setup_file import load_setup, parse_setup
from chain.rf.network import network_s
from chain.rf.parts import elements_of
from chain.rf.twoport import input_reflection
from chain.setups import Item
from chain.tuning.matching import floor_of_quality, match_network
from chain.tuning.networks import E12, E24, Stock, arm_row, preferred
from library.files.rows import record
from library.records import Network, NetworkArm

pytestmark = pytest.mark.usefixtures("answered_once")

C_M_PER_S = 299_792_458.0


def line(ohm, waves, freq_hz, end=""):
    """A lossless piece of so many wavelengths at a frequency."""
    way = "shunt" if end else "series"
    return NetworkArm(way, "line", ohm, 0.0, 0.0, waves * C_M_PER_S / freq_hz, 1.0, 0.0, 0.0, end)


def seen(arms, load_ohm, ohm, freq_hz):
    """Reflection in front of a network that ends in an impedance."""
    freq = np.atleast_1d(np.asarray(freq_hz, dtype=float))
    far = (np.asarray(load_ohm) - ohm) / (np.asarray(load_ohm) + ohm)
    return input_reflection(network_s(arms, freq, ohm, ohm), far)


def test_the_floor_of_bode_and_fano():
    """300 and 75 ohm across 4 pF from 470 to 690 MHz, as a resonance of Q = 2 pi f0 R C (computed from the published integral)."""
    middle = np.sqrt(470e6 * 690e6)
    for ohm, floor in ((300, 0.150), (75, 5.1e-4)):
        quality = 2 * np.pi * middle * ohm * 4e-12
        assert floor_of_quality(quality, 470e6, 690e6) == pytest.approx(floor, rel=0.01)


@pytest.mark.parametrize(
    ("shunt", "series"),
    [
        (("capacitor", 0.92e-12), ("inductor", 38.8e-9)),
        (("inductor", 46.1e-9), ("capacitor", 2.61e-12)),
    ],
)
def test_the_two_l_sections_of_a_handbook(shunt, series):
    """200-j100 ohm to a 100-ohm line at 500 MHz: 0.92 pF and 38.8 nH, or 46.1 nH and 2.61 pF (a textbook on microwaves; memory)."""
    arms = (NetworkArm("series", *series), NetworkArm("shunt", *shunt))
    assert abs(seen(arms, 200 - 100j, 100.0, 500e6)[0]) < 0.02


def test_the_quarter_wave_section_of_a_handbook():
    """10 to 50 ohm by 22.36 ohm: VSWR 1.5 or better over 29 % of the frequency (a textbook on microwaves; memory)."""
    freq = np.linspace(2e9, 4e9, 2001)
    size = np.abs(seen((line(22.36, 0.25, 3e9),), 10.0, 50.0, freq))
    inside = freq[size <= 0.2]
    assert (inside[-1] - inside[0]) / 3e9 == pytest.approx(0.29, abs=0.005)


@pytest.mark.parametrize(("away", "stub"), [(0.110, 0.095), (0.260, 0.405)])
def test_the_shorted_stubs_of_a_handbook(away, stub):
    """60-j80 ohm to 50 ohm: 0.110 and 0.095, or 0.260 and 0.405 wavelengths (a textbook on microwaves; memory)."""
    arms = (line(50.0, stub, 2e9, "short"), line(50.0, away, 2e9))
    assert abs(seen(arms, 60 - 80j, 50.0, 2e9)[0]) < 0.02


@pytest.mark.parametrize(
    ("waves", "ohms"),
    [
        ((0.0815, 0.0815), (75, 50)),
        ((0.0814, 0.0814), (75, 50)),
        ((0.0392, 0.10385, 0.10385, 0.0392), (75, 50, 75, 50)),
    ],
)
def test_twelfth_wave_sections_between_50_and_75_ohm(waves, ohms):
    """Two pieces of 0.0815 (published on a radio observatory's page) or 0.0814 wavelength (a packet bulletin of 1988), four pieces in
    two steps (a mailing list); matched at their frequency. With VSWR 2 on one side there is 2 on the other."""
    arms = tuple(line(ohm, wave, 100e6) for ohm, wave in zip(ohms, waves, strict=True))
    assert abs(seen(arms, 75.0, 50.0, 100e6)[0]) < 10 ** (-60 / 20)
    for turn in np.exp(2j * np.pi * np.arange(8) / 8):
        load = 75 * (1 + turn / 3) / (1 - turn / 3)
        size = abs(seen(arms, load, 50.0, 100e6)[0])
        assert (1 + size) / (1 - size) == pytest.approx(2.0, abs=0.005)


def test_networks_with_loss_agree_with_scikit_rf():
    """Coil, capacitor, line and stubs with loss: the same matrix as by scikit-rf's media."""
    freq = np.linspace(470e6, 690e6, 12)
    media = skrf.media.DefinedGammaZ0(skrf.Frequency.from_f(freq, unit="hz"), z0=75)
    omega = 2 * np.pi * freq
    coil = media.resistor(omega * 22e-9 / 80) ** media.inductor(22e-9)
    own = network_s((NetworkArm("series", "inductor", 22e-9, 0, 80.0),), freq, 75, 75)
    assert own == pytest.approx(coil.s, abs=1e-12)
    across = media.shunt(media.capacitor(3e-12) ** media.short())
    own = network_s((NetworkArm("shunt", "capacitor", 3e-12),), freq, 75, 75)
    assert own == pytest.approx(across.s, abs=1e-9)
    nepers = (1.4 * np.sqrt(freq / 1e6) + 0.012 * freq / 1e6) / 100 / (20 / np.log(10))
    cable = skrf.media.DefinedGammaZ0(media.frequency, gamma=nepers + 1j * omega / (C_M_PER_S * 0.66), z0=50)
    cable.z0_port = 75
    arm = NetworkArm("series", "line", 50.0, 0, 0, 0.1, 0.66, 1.4, 0.012)
    assert network_s((arm,), freq, 75, 75) == pytest.approx(cable.line(0.1, "m").s, abs=1e-9)
    for end in ("open", "short"):
        ends = network_s((replace(arm, way="shunt", end=end),), freq, 75, 75)
        stub_ohm = 50 * (np.tanh(cable.gamma * 0.1) if end == "short" else 1 / np.tanh(cable.gamma * 0.1))
        assert ends[:, 0, 0] == pytest.approx(-75 / (75 + 2 * stub_ohm), abs=1e-9)


def test_preferred_values_are_those_of_the_standard():
    """Twelve and twenty-four to the decade, each within half a per cent over its rounding of the geometric row (IEC 60063; memory)."""
    assert (len(E12), len(E24)) == (12, 24)
    assert set(E12) <= set(E24)
    assert preferred(E12, 0.9, 11).tolist() == pytest.approx(
        [1, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2, 10]
    )
    for number, value in enumerate(E24):
        assert value == pytest.approx(10 ** (number / 24), rel=0.05)


def test_an_arm_survives_the_file():
    """What is written of an arm is read back as the same arm."""
    arms = (
        NetworkArm("series", "inductor", 22e-9, 0.05, 80.0),
        NetworkArm("shunt", "capacitor", 3.3e-12, 0.05, 300.0),
        NetworkArm("shunt", "line", 50.0, 0.01, 0.0, 0.089, 0.66, 1.446, 0.01292, "short"),
    )
    row = {"id": "x", "near": "F-75 jack", "far": "F-75 plug", "near_ohm": 75, "far_ohm": 75}
    back = record("network", row | {"arms": [arm_row(arm) for arm in arms]}).arms
    for one, two in zip(arms, back, strict=True):
        assert vars(two) == pytest.approx({**vars(one)})


def test_drawn_networks_stay_inside_what_their_box_allows():
    """Every corner of the tolerances, and values between, lie in the discs that the engine draws and bounds with."""
    arms = (NetworkArm("series", "inductor", 22e-9, 0.05, 80.0), NetworkArm("shunt", "capacitor", 3.3e-12, 0.05, 300.0))
    end = load_setup("demo/loops.toml").far.connector
    part = Network("net", "net", end, end, 75, 75, arms, None)
    freq = np.linspace(470e6, 690e6, 9)
    (box,) = elements_of(Item("net", part, end, end), freq)
    rng = np.random.default_rng(1)
    for _ in range(200):
        s = network_s(arms, freq, 75, 75, [1 + 0.05 * rng.uniform(-1, 1, (1, 1)) for _ in arms])[0]
        assert (np.abs(s[:, 0, 0] - box.s[:, 0, 0]) <= box.near_radius + 1e-12).all()
        assert (np.abs(s[:, 1, 1] - box.s[:, 1, 1]) <= box.far_radius + 1e-12).all()


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize(("number", "count"), [(2, 300), *wide((0, 1000), (1, 1000), (2, 1000))])
def test_no_network_beats_the_floor_and_the_best_is_not_beaten_by_chance(number, count):
    """Lossless parts through a single resonance: above Bode and Fano, and no worse than hundreds of L sections at random."""
    rng = np.random.default_rng(number)
    element = Element(rng.uniform(570e6, 630e6), rng.uniform(25, 220), rng.uniform(3, 9), 0.0, 1.0)
    stock = Stock(E24, 0.0, 1e6)
    found = match_network(bench(41), swept(element, freq=FREQ[::2]), 570e6, 630e6, stock)
    best = found.networks[0]
    assert best.worst_vswr.value >= found.floor_vswr - 0.02
    freq, far = found.freq_hz, element.reflection(found.freq_hz)
    for _ in range(count):
        ways = ("series", "shunt") if rng.random() < 0.5 else ("shunt", "series")
        arms = tuple(
            NetworkArm(way, "inductor", 10 ** rng.uniform(-9.0, -7))
            if rng.random() < 0.5
            else NetworkArm(way, "capacitor", 10 ** rng.uniform(-12.5, -10.5))
            for way in ways
        )
        size = np.abs(input_reflection(network_s(arms, freq, 75, 75), far)).max()
        assert (1 + size) / (1 - size) >= best.worst_vswr.value - 0.15


@pytest.mark.usefixtures("trials")
def test_a_network_that_loses_more_than_it_saves_is_not_offered():
    """Coils of poor quality for an antenna that is nearly good: nothing, and that is said."""
    found = match_network(bench(), swept(Element(600e6, 70, 1.2, 0, 1)), 590e6, 610e6, Stock(E12, 0.05, 15.0))
    for each in found.networks:
        assert each.delivered_db > found.now_delivered_db
    assert all(len(text) <= 80 for text in three_lines(found))


@pytest.mark.usefixtures("few_trials")
def test_what_feeds_an_amplifier_is_not_cut():
    """With direct current on the lead only networks that let it pass are offered."""
    setup = bench(41)
    setup = replace(setup, far=replace(setup.far, dc_feed_v=12.0))
    found = match_network(setup, swept(Element(585e6, 150, 5, 0, 1), freq=FREQ[::2]), 570e6, 630e6)
    assert found.networks
    assert {each.dc for each in found.networks} == {"pass"}


def test_without_a_phase_there_is_no_network():
    """R and X are needed."""
    readings = replace(as_readings(np.linspace(5e8, 7e8, 41), np.full(41, 0.3 + 0j)), reflection=None)
    with pytest.raises(RangeError, match="no phase"):
        match_network(bench(), readings, 570e6, 630e6)


@pytest.mark.usefixtures("few_trials")
def test_the_network_is_a_set_up_that_expect_and_choose_read(tmp_path):
    """Written, loaded, expected; as a part that is owned, choose builds chains with it; both files or neither, none overwritten."""
    run = CliRunner().invoke
    words = ["tune", "demo/loops.toml", "demo/loops.s1p", "--match", "--write", str(tmp_path / "matched")]
    done = run(chain, words, standalone_mode=False)
    assert done.exception is None, done.output
    lines = done.stdout.splitlines()[:3]
    assert all(len(line) <= 80 for line in lines)
    assert lines[2].startswith("Next: ")
    setup = load_setup(tmp_path / "matched.toml")
    assert setup.items[-1].part.kind == "network"
    found = json.loads(run(chain, ["expect", str(tmp_path / "matched.toml"), "--json"], standalone_mode=False).output)
    assert found["rows"]
    # With another connector at its far end there is no way round the network.
    part = (tmp_path / "matched-parts.toml").read_text(encoding="utf-8")
    (tmp_path / "other.toml").write_text(part.replace('far = "F-75 plug"', 'far = "BNC-75 plug"'), encoding="utf-8")
    need = tmp_path / "need.toml"
    need.write_text(
        'title = "x"\nlibrary = ["other.toml"]\n[need]\nnear = "F-75 plug"\nnear_impedance = "75 ohm"\nfar = "BNC-75 jack"\n'
        'far_impedance = "75 ohm"\nstart = "574 MHz"\nstop = "630 MHz"\nlimit = "VSWR 2"\nmost_items = 2\n[[have]]\n'
        'part = "matching-network"\n',
        encoding="utf-8",
    )
    chosen = run(chain, ["choose", str(need), "--json"], standalone_mode=False)
    assert chosen.exception is None, chosen.output
    assert any("matching-network" in json.dumps(each) for each in json.loads(chosen.output)["chains"])
    again = run(chain, words)
    assert again.exit_code == 2
    assert "exists" in again.output


@pytest.mark.usefixtures("few_trials")
def test_a_library_key_that_is_there_already_is_kept(tmp_path):
    """The network's file joins those that the set-up names, and its id leaves the others alone."""
    from chain.tuning.matching import part_file, setup_text

    setup = load_setup("demo/loops.toml")
    found = match_network(setup, swept(Element(585e6, 150, 5, 0, 1)), 574e6, 630e6).networks[0]
    (tmp_path / "net.toml").write_text(part_file(setup, found), encoding="utf-8")
    (tmp_path / "own.toml").write_text("", encoding="utf-8")
    text = Path("demo/loops.toml").read_text(encoding="utf-8").replace("title =", 'library = ["own.toml"]\ntitle =')
    whole = setup_text(setup, text, tmp_path / "net.toml", tmp_path)
    made = parse_setup(whole.encode(), "x", tmp_path)
    assert [item.id for item in made.items][-2:] == ["lead", "match"]
