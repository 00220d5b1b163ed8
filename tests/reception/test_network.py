"""The tree against noise waves, thermodynamics, scikit-rf and conservation of power."""

from __future__ import annotations

import numpy as np
import pytest
from reception_world import RandomTree, circuit_of, heat_of, random_disc

from chain.reception.network import Group, Plan, PortValues, solve

SEEDS = range(12)


def ends_of(tree, rng, most=0.6):
    return random_disc(rng, len(tree.plan.outlets), most)


def solved(tree, source, source_k, ends, ends_k=290.0):
    return solve(
        tree.plan, tree.values, np.array([source]), np.array([source_k]), np.asarray(ends)[:, None], ends_k=ends_k
    )


@pytest.mark.parametrize("seed", SEEDS)
def test_a_passive_tree_at_one_temperature_delivers_ktb(seed):
    """Thermodynamics: everything at T and ended at T, any mismatch: the noise available at any outlet is kTB."""
    rng = np.random.default_rng(seed)
    kelvin = float(rng.uniform(30, 900))
    tree = RandomTree(rng, 8, kelvin=lambda: kelvin)
    found = solved(tree, complex(random_disc(rng, None, 0.9)), kelvin, ends_of(tree, rng, 0.95), kelvin)
    assert np.abs(found.kelvin / kelvin - 1).max() < 1e-12


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("amplifiers", [False, True])
def test_the_cascade_formula_agrees_with_noise_waves(seed, amplifiers):
    """Available gain, source reflection and noise temperature: one linear system of all waves (Bosma, k T (I - S S^H))."""
    rng = np.random.default_rng(100 + seed)
    tree = RandomTree(rng, 6, amplifiers=amplifiers)
    source, hot = complex(random_disc(rng, None, 0.7)), float(rng.uniform(50, 3000))
    ends = ends_of(tree, rng)
    found = solved(tree, source, hot, ends)
    for outlet, port in enumerate(tree.plan.outlets):
        gain, reflection, kelvin = tree.solved_by_waves(source, hot, ends, 290.0, outlet)
        assert found.gain[port, 0] == pytest.approx(gain, rel=1e-9)
        assert found.source[port, 0] == pytest.approx(reflection, abs=1e-9)
        assert found.kelvin[port, 0] == pytest.approx(kelvin, rel=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_the_tree_agrees_with_scikit_rf(seed):
    """scikit-rf `Circuit`: the S-matrix between antenna and outlets, other outlets in their ends."""
    rng = np.random.default_rng(200 + seed)
    tree = RandomTree(rng, 5)
    ends, source = ends_of(tree, rng), complex(random_disc(rng, None, 0.7))
    s, at = circuit_of(tree.matrices, len(tree.plan.ports), tree.plan.outlets)
    reflections = np.zeros(len(at), dtype=complex)
    reflections[at["antenna"]] = source
    for number, end in enumerate(ends):
        reflections[at[f"out{number}"]] = end
    found = solved(tree, source, 290.0, ends)
    for number, port in enumerate(tree.plan.outlets):
        here = at[f"out{number}"]
        ended = np.diag(np.where(np.arange(len(at)) == here, 0, reflections))
        whole = np.linalg.inv(np.eye(len(at)) - s @ ended) @ s
        reflection = whole[here, here]
        gain = abs(whole[here, at["antenna"]]) ** 2 * (1 - abs(source) ** 2) / (1 - abs(reflection) ** 2)
        assert found.source[port, 0] == pytest.approx(reflection, abs=1e-9)
        assert found.gain[port, 0] == pytest.approx(gain, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_power_is_conserved(seed):
    """Delivered at the outlets, turned into heat in each part, and reflected add up to what the antenna had available."""
    rng = np.random.default_rng(300 + seed)
    tree = RandomTree(rng, 6)
    ends, source = ends_of(tree, rng), complex(random_disc(rng, None, 0.7))
    found = solved(tree, source, 290.0, ends)
    delivered = 0.0
    for port, end in zip(tree.plan.outlets, ends, strict=True):
        behind = found.source[port, 0]
        into = (1 - abs(behind) ** 2) * (1 - abs(end) ** 2) / abs(1 - behind * end) ** 2
        delivered += found.gain[port, 0] * into
    behind = found.load[0, 0]
    taken = (1 - abs(source) ** 2) * (1 - abs(behind) ** 2) / abs(1 - source * behind) ** 2
    heat = heat_of(tree.matrices, len(tree.plan.ports), tree.plan.outlets, source, ends)
    assert taken == pytest.approx(delivered + heat, rel=1e-9)
    assert taken <= 1 + 1e-12


def test_other_branches_known_beforehand_change_nothing():
    """The fast solution that takes the other branches' noise from an exact one gives the same where nothing else differs."""
    rng = np.random.default_rng(9)
    tree = RandomTree(rng, 6)
    ends, source = ends_of(tree, rng), 0.2 + 0.1j
    exact = solved(tree, source, 400.0, ends)
    again = solve(tree.plan, tree.values, np.array([source]), np.array([400.0]), ends[:, None], other_k=exact.other_k)
    assert again.kelvin == pytest.approx(exact.kelvin, rel=1e-12)
    assert again.gain == pytest.approx(exact.gain, rel=1e-12)


@pytest.mark.parametrize("ways", [2, 3, 4, 8])
def test_splitters_of_equal_outputs_in_closed_form(ways):
    """The closed form for equal outputs against the general elimination, one output after another."""
    rng = np.random.default_rng(ways)
    through, across = np.array([[0.4 * np.exp(1j)]]), np.array([[0.1 * np.exp(2j)]])
    size = ways + 1
    matrix = [[None if i == j else through if 0 in (i, j) else across for j in range(size)] for i in range(size)]
    junctions = tuple(np.array([[random_disc(rng, None, 0.3)]]) for _ in range(size))
    value = PortValues(tuple(tuple(row) for row in matrix), junctions, np.array([[290.0]]))
    ports = np.arange(1, size)
    group = Group(np.array([0]), np.array([0]), ports[None], True)
    plan = Plan(
        tuple(map(str, range(size))), (group,), ports, np.r_[-1, np.zeros(ways, int)], np.r_[-1, np.zeros(ways, int)]
    )
    ends, source = random_disc(rng, (ways, 1), 0.9), np.array([0.3 - 0.2j])
    exact = solve(plan, [value], source, np.array([290.0]), ends)
    quick = solve(plan, [value], source, np.array([290.0]), ends, other_k=exact.other_k)
    for name in ("gain", "source", "kelvin", "load"):
        assert getattr(quick, name) == pytest.approx(getattr(exact, name), rel=1e-12)
