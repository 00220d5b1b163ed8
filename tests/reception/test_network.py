"""The tree against noise waves, thermodynamics, scikit-rf and conservation of power."""

from __future__ import annotations

import numpy as np
import pytest
from reception_world import RandomTree, circuit_of, heat_of, random_disc

from chain.reception.drawn_network import solve_trials
from chain.reception.network import DepthGroup, Plan, PortValues, ThroughValues, solve

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


def assert_draws_agree(plan, values, source, hot, ends):
    """The solution for draws, given the other branches' noise, against the exact one, at the outlets."""
    exact = solve(plan, values, np.array([source]), np.array([hot]), ends)
    quick = solve_trials(plan, values, np.array([source]), np.array([hot]), ends, exact.other_k)
    assert quick.gain == pytest.approx(exact.gain[plan.outlets], rel=1e-12)
    assert quick.rest == pytest.approx(1 - np.abs(exact.source[plan.outlets]) ** 2, rel=1e-12)
    assert quick.kelvin == pytest.approx(exact.kelvin[plan.outlets], rel=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("amplifiers", [False, True])
def test_the_solution_for_draws_is_that_of_noise_waves(seed, amplifiers):
    """Random trees of any splitters and two-ports: the same gain, source reflection and noise."""
    rng = np.random.default_rng(seed)
    tree = RandomTree(rng, 6, amplifiers=amplifiers)
    assert_draws_agree(tree.plan, tree.values, 0.2 + 0.1j, 400.0, ends_of(tree, rng)[:, None])


def equal_splitters(rng, ways, items):
    """Values of splitters with equal outputs, junctions at every port."""

    def drawn(size):
        return size * np.exp(2j * np.pi * rng.random((items, 1)))

    through, across = drawn(0.4), drawn(0.1)
    matrix = [
        [None if i == j else through if 0 in (i, j) else across for j in range(ways + 1)] for i in range(ways + 1)
    ]
    junctions = tuple(random_disc(rng, (items, 1), 0.3) for _ in range(ways + 1))
    return PortValues(tuple(tuple(row) for row in matrix), junctions, np.full((items, 1), 290.0))


@pytest.mark.parametrize("ways", [2, 3, 4, 8])
def test_splitters_of_equal_outputs_in_closed_form(ways):
    """The closed form for equal outputs against the general elimination: splitters behind splitters, leads between."""
    rng = np.random.default_rng(ways)
    first, last = 1 + ways, 1 + 2 * ways
    seconds = last + np.arange(ways * ways).reshape(ways, ways)
    groups = (
        DepthGroup(np.array([0]), np.array([0]), np.arange(1, first)[None], True),
        DepthGroup(1 + np.arange(ways), np.arange(1, first), np.arange(first, last)[:, None], False),
        DepthGroup(1 + ways + np.arange(ways), np.arange(first, last), seconds, True),
    )
    parent = np.r_[-1, np.zeros(ways, int), np.arange(1, first), np.repeat(np.arange(first, last), ways)]
    outlets = rng.permutation(seconds.ravel())
    plan = Plan(tuple(map(str, range(parent.size))), groups, outlets, parent, parent)
    gain = rng.uniform(0.3, 0.9, (ways, 1))
    lead = ThroughValues(
        gain,
        gain * np.exp(2j * np.pi * rng.random((ways, 1))),
        random_disc(rng, (ways, 1), 0.3),
        random_disc(rng, (ways, 1), 0.3),
        np.full((ways, 1), 310.0),
    )
    values = [equal_splitters(rng, ways, 1), lead, equal_splitters(rng, ways, ways)]
    assert_draws_agree(plan, values, 0.3 - 0.2j, 250.0, random_disc(rng, (outlets.size, 1), 0.9))
