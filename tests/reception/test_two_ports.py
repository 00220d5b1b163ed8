"""Measured two-ports, matching sections and networks in a tree, against scikit-rf; what is no passive two-port is refused."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest
import skrf
from click.testing import CliRunner
from reception_world import KNOWN_ANTENNA

from chain.cli.main import chain
from chain.reception.installation_file import load_installation
from chain.rf.matrix import two_port
from library.load import load_library
from library.records import Limit

FREQ = skrf.Frequency(470, 700, 47, "MHz")
END = """
[[outlet]]
id = "set"
after = "{after}"
receiver = {{ noise_figure = "7 dB", reflection = "80 dB" }}
"""


def item(name, after, **keys):
    rows = "".join(f"{key} = {value if value in ('true',) else json.dumps(value)}\n" for key, value in keys.items())
    return f'\n[[item]]\nid = "{name}"\nafter = "{after}"\n{rows}'


def box(rng):
    """A random ladder with loss, and reflections of its own."""
    media = skrf.media.DefinedGammaZ0(FREQ, z0=75)
    line = skrf.media.DefinedGammaZ0(FREQ, z0_port=75, z0=rng.uniform(50, 110), gamma=0.3 + 2j * np.pi * FREQ.f / 2e8)
    return (
        media.capacitor(rng.uniform(2, 6) * 1e-12)
        ** line.line(rng.uniform(0.05, 0.2), "m")
        ** media.shunt_capacitor(rng.uniform(0.3, 1.5) * 1e-12)
    )


def asked(text, tmp_path, status=0):
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(chain, ["outlets", str(path), "--json", "--draws", "400"])
    assert done.exit_code == status, done.output
    return json.loads(done.stdout) if status == 0 else done.output


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("turned", [False, True])
def test_a_measured_two_port_and_a_section_agree_with_scikit_rf(seed, turned, tmp_path):
    """Level and noise figure behind antenna, section, box and splitter with its other end open, from scikit-rf's matrices."""
    rng = np.random.default_rng(seed)
    measured = box(rng)
    measured.write_touchstone("box", dir=tmp_path, form="ri")
    reflection = 0.5 * np.exp(2j * np.pi * rng.random())
    antenna = skrf.Network(frequency=FREQ, s=np.full((len(FREQ), 1, 1), reflection), z0=75)
    antenna.write_touchstone("antenna", dir=tmp_path, form="ri")
    keys = {"touchstone": "box.s2p"} | ({"reversed": "true"} if turned else {})
    text = KNOWN_ANTENNA + item("sec", "antenna", part="twelfth-wave", ideal="true") + item("box", "sec", **keys)
    text += item("split", "box", part="splitter-2-ideal", ideal="true") + END.format(after="split.out1")
    found = asked(text + '[[outlet]]\nid = "o"\nafter = "split.out2"\nend = "open"\n', tmp_path)

    sections = skrf.media.DefinedGammaZ0(FREQ, z0=75).thru()
    part = load_library().part("twelfth-wave")
    for ohm, share in part.pieces:
        beta = 2j * np.pi * share * FREQ.f / part.design_hz
        sections = sections ** skrf.media.DefinedGammaZ0(FREQ, z0_port=75, z0=ohm, gamma=beta).line(1, "m")
    # A lossless hybrid with one output open: 1/sqrt 2 to either output, none between them; half comes back as half a wave.
    half = np.array([[0.5, np.sqrt(0.5)], [np.sqrt(0.5), 0]])
    split = skrf.Network(frequency=FREQ, s=np.broadcast_to(half, (len(FREQ), 2, 2)).copy(), z0=75)
    s = (sections ** (measured.flipped() if turned else measured) ** split).s[np.argmin(np.abs(FREQ.f - 600e6))]
    gain = (1 - abs(reflection) ** 2) * abs(s[1, 0]) ** 2 / abs(1 - s[0, 0] * reflection) ** 2
    row = found["outlets"][0]["channels"][0]
    assert row["level_dbuv"] - found["antenna"][0]["level_dbuv"] == pytest.approx(10 * np.log10(gain), abs=0.02)
    # All of it at 290 K: noise of the antenna's terminals is that of the receiver alone, F/(1 - |Gs|^2), over the gain.
    behind = s[1, 1] + s[0, 1] * s[1, 0] * reflection / (1 - s[0, 0] * reflection)
    rest = 1 - abs(behind) ** 2
    assert found["noise_figure_db"][0][0] == pytest.approx(
        7 - 10 * np.log10(rest) - 10 * np.log10(gain / rest), abs=0.02
    )
    assert row["level_low"] == pytest.approx(row["level_dbuv"], abs=0.03)


def test_the_tolerance_of_a_section_is_drawn():
    """A quarter wave's reflection moves within the radius reported, for lengths and impedances between its corners."""
    part = replace(load_library().part("quarter-wave"), length_tolerance_m=0.004, impedance_tolerance_ohm=2.0)
    freq = np.linspace(0.8, 1.2, 21) * part.design_hz
    found = two_port(part, freq, 75.0)
    assert found.near_radius.max() > 0.01
    moved = replace(part, pieces=tuple((ohm + 1.5, share) for ohm, share in part.pieces), limit=None)
    other = two_port(moved, freq, 75.0, ideal=True)
    assert np.all(np.abs(other.s[:, 0, 0] - found.s[:, 0, 0]) <= found.near_radius)


def test_what_the_making_of_a_section_reflects_shows_at_both_ends():
    part = replace(load_library().part("quarter-wave"), limit=Limit((0.0,), (26.0,)))
    found = two_port(part, np.array([part.design_hz]), 75.0)
    assert min(found.near_radius[0], found.far_radius[0]) >= 10 ** (-26 / 20)


@pytest.mark.parametrize(
    ("scale", "keys", "message"),
    [
        (3.0, {}, "amplifies"),
        (1.0, {"gain": "3 dB"}, "gain does not apply"),
        (1.0, {"part": "rg6"}, "either a part or a measured"),
    ],
)
def test_what_is_no_passive_two_port_is_refused(scale, keys, message, tmp_path):
    measured = box(np.random.default_rng(1))
    measured.s[:, 0, 1] *= scale
    measured.s[:, 1, 0] *= scale
    measured.write_touchstone("box", dir=tmp_path, form="ri")
    skrf.Network(frequency=FREQ, s=np.zeros((len(FREQ), 1, 1)), z0=75).write_touchstone("antenna", dir=tmp_path)
    text = KNOWN_ANTENNA + item("box", "antenna", touchstone="box.s2p", **keys) + END.format(after="box")
    assert message in asked(text, tmp_path, status=2)


def test_a_channel_outside_a_measured_two_port_is_refused(tmp_path):
    box(np.random.default_rng(1)).write_touchstone("box", dir=tmp_path, form="ri")
    skrf.Network(frequency=FREQ, s=np.zeros((len(FREQ), 1, 1)), z0=75).write_touchstone("antenna", dir=tmp_path)
    text = (
        KNOWN_ANTENNA.replace("600 MHz", "800 MHz")
        + item("box", "antenna", touchstone="box.s2p")
        + END.format(after="box")
    )
    assert "is described from 470 to 700 MHz" in asked(text, tmp_path, status=2)
    strong = '[[interferer]]\nfrequency = "806 MHz"\nlevel = "66 dBuV"\n'
    load_installation(tmp_path / "house.toml")
    asked(KNOWN_ANTENNA + strong + item("box", "antenna", touchstone="box.s2p") + END.format(after="box"), tmp_path)


def test_a_tolerance_of_length_alone_reaches_to_its_worse_end():
    """A line a tenth off either way ended in 75 ohm: Z (75 + j Z tan a)/(Z + j 75 tan a), as a reflection in 75 ohm."""
    bare = load_library().part("quarter-wave")
    length_m = bare.pieces[0][1] * 299_792_458.0 / bare.design_hz
    part = replace(bare, pieces=bare.pieces[:1], length_tolerance_m=0.1 * length_m, impedance_tolerance_ohm=0.0)
    freq = np.linspace(0.5, 1.2, 8) * part.design_hz
    ohm, share = part.pieces[0]

    def seen(factor):
        tangent = np.tan(2 * np.pi * share * factor * freq / part.design_hz)
        into = ohm * (75 + 1j * ohm * tangent) / (ohm + 75j * tangent)
        return (into - 75) / (into + 75)

    off = np.maximum(*(np.abs(seen(factor) - seen(1.0)) for factor in (0.9, 1.1)))
    np.testing.assert_allclose(two_port(part, freq, 75.0).near_radius, off, rtol=1e-9)
