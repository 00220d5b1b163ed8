"""Which joints a ripple lies between: two leads, a poor joint between them, and odd sweeps."""

import json
from pathlib import Path

import numpy as np
import pytest
from ripple_cases import LIGHT_M_PER_S, of

from chain.echoes.analyse import ripple
from chain.files.setup_file import load_setup

DEMO = Path(__file__).parent.parent.parent / "demo"
SETUP = str(DEMO / "ripple.toml")
TWO_LEADS = """
title = "Two leads on a 75-ohm analyzer"
[sweep]
start = "100 MHz"
stop = "900 MHz"
points = 401
[near]
connector = "F-75 jack"
impedance = "75 ohm"
[[chain]]
id = "patch"
part = "rg59"
length = "3 m"
near = "F-75 plug"
far = "F-75 plug"
[[chain]]
id = "barrel"
part = "f-jack-f-jack"
[[chain]]
id = "downlead"
part = "rg6"
length = "8 m"
near = "F-75 plug"
far = "F-75 plug"
[far]
connector = "F-75 jack"
impedance = "75 ohm"
"""


def two_leads(folder):
    """Set-up of two leads joined by a barrel."""
    path = folder / "two.toml"
    path.write_text(TWO_LEADS, encoding="utf-8")
    return load_setup(str(path))


def delays(setup):
    """One-way delays of the three items by hand: length over velocity; the barrel's is that of its record."""
    _, barrel, downlead = setup.items
    return (
        3 / (0.66 * LIGHT_M_PER_S),
        barrel.part.electrical_length_m / LIGHT_M_PER_S,
        8 / (downlead.part.velocity_factor * LIGHT_M_PER_S),
    )


@pytest.mark.parametrize("has_phase", [True, False], ids=["complex", "magnitude"])
@pytest.mark.parametrize(
    ("place", "items"),
    [("near", ("patch", "barrel", "downlead")), ("joint", ("downlead",)), ("beyond", ())],
    ids=["both leads", "second lead", "surface"],
)
def test_the_pair_of_joints_is_named(tmp_path, place, items, has_phase):
    """The antenna and a poor joint at the analyzer, between the leads, or a surface 5 m beyond: each by its own name."""
    setup = two_leads(tmp_path)
    patch, barrel, downlead = delays(setup)
    whole = patch + barrel + downlead
    at = {"near": 0.0, "joint": patch + barrel, "beyond": whole + 5 / LIGHT_M_PER_S}[place]
    freq = np.linspace(100e6, 900e6, 401)
    rng = np.random.default_rng(5)
    seen = 0.25 * np.exp(-4j * np.pi * freq * whole) + 0.06 * np.exp(-4j * np.pi * freq * at)
    seen = seen + 0.001 * (rng.normal(size=401) + 1j * rng.normal(size=401))
    found = ripple(of(freq, seen, has_phase), setup, gate=False)
    first = found.components[0]
    assert first.delay_s == pytest.approx(2 * abs(whole - at), rel=1e-3)
    assert first.matches == items
    if place == "beyond":
        assert "5.00 m of air in front of the antenna" in first.explanation
        assert first.length_m == pytest.approx(5.0, abs=0.01)
    elif place == "joint":
        assert first.length_m == pytest.approx(8.0, abs=0.02)
        assert first.explanation.endswith("to the antenna")


def test_a_joint_that_rivals_the_antenna_is_reported_from_it(tmp_path):
    """A joint between the leads that reflects more than the antenna: the ripple is that of the downlead all the same."""
    setup = two_leads(tmp_path)
    patch, barrel, downlead = delays(setup)
    freq = np.linspace(100e6, 900e6, 401)
    seen = 0.3 * np.exp(-4j * np.pi * freq * (patch + barrel))
    seen = seen + 0.1 * np.exp(-4j * np.pi * freq * (patch + barrel + downlead))
    first = ripple(of(freq, seen), setup, gate=False).components[0]
    assert first.matches == ("downlead",)
    assert first.order == "behind"
    assert first.reflection == pytest.approx(0.1, rel=0.01)


def test_odd_sweeps_never_fail():
    """60 sweeps no antenna makes, with phase and without, even and uneven: an answer that JSON can hold, and no warning."""
    rng = np.random.default_rng(11)
    made = (
        lambda f: 0.3 * (rng.normal(size=f.size) + 1j * rng.normal(size=f.size)),
        lambda f: np.exp(2j * np.pi * rng.random(f.size)),
        lambda f: (rng.random(f.size) < 0.5) + 0j,
        lambda f: np.exp(-2j * np.pi * f * rng.uniform(0, 3 / (f[1] - f[0]))),
        lambda f: (np.arange(f.size) % 2) * 0.5 + 0j,
        lambda f: 1e-9 * rng.normal(size=f.size) + 0j,
    )
    for number in range(60):
        points = int(rng.choice([16, 17, 20, 33]))
        freq = np.linspace(470e6, 694e6, points)
        if number % 5 == 4:
            freq = np.sort(rng.uniform(470e6, 694e6, points))
        seen = made[number % len(made)](freq)
        found = ripple(of(freq, seen, number % 2 == 0), load_setup(SETUP) if number % 3 == 0 else None)
        assert found.verdict in ("none", "too narrow", "ripple", "too coarse")
        assert found.noise > 0
        json.dumps(found.to_dict(), allow_nan=False)


def beating(whole_s, near=0.06, antenna=0.25):
    """A sweep without phase of an antenna behind a way there and back, and a joint at the plane."""
    freq = np.linspace(100e6, 900e6, 401)
    rng = np.random.default_rng(6)
    seen = antenna * np.exp(-2j * np.pi * freq * whole_s) + near
    return of(freq, seen + 0.001 * (rng.normal(size=401) + 1j * rng.normal(size=401)), False)


def test_what_is_longer_than_the_list_is_its_items_and_so_much_more(tmp_path):
    """Both leads and 2.9 m: the items in a row are added up, and the rest is stated in air and in lead."""
    setup = two_leads(tmp_path)
    whole = sum(delays(setup)) + 2.9 / LIGHT_M_PER_S
    first = ripple(beating(2 * whole), setup, gate=False).components[0]
    assert first.matches == ()
    assert "patch, barrel and downlead + 2.90 m more in air" in first.explanation
    assert "m of patch)" in first.explanation


def test_the_outside_of_a_lead_makes_its_braid_suspect(tmp_path):
    """The time that light takes along the leads' outside is that of no way inside: braid current, and how to see it."""
    setup = two_leads(tmp_path)
    outside = (3 + 8) * 2 / (0.97 * LIGHT_M_PER_S)
    found = ripple(beating(outside), setup, gate=False).components[0]
    assert found.suspect == "patch, barrel and downlead"
    assert "current on its braid? Hold the lead in a hand" in found.explanation
    inside = ripple(beating(2 * sum(delays(setup))), setup, gate=False).components[0]
    assert inside.suspect == ""
    assert inside.matches == ("patch", "barrel", "downlead")


def test_a_trace_of_three_dips_is_not_said_to_swing_less():
    """Three resonances, unevenly spaced: no length can be determined, and the dips are counted."""
    freq = np.linspace(174e6, 240e6, 133)
    x = np.linspace(-1, 1, 133)
    seen = 0.6 - sum(depth / (1 + 1j * (x - at) / 0.08) for depth, at in ((0.45, -0.75), (0.4, -0.2), (0.5, 0.7)))
    found = ripple(of(freq, seen, False), gate=False)
    assert found.verdict == "too narrow"
    assert "dips 3 times" in found.sentence
    assert "fewer than" not in found.sentence
