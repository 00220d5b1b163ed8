"""Isolation between outlets: what one receiver sends back, or one open end reflects, on its way to another outlet."""

from __future__ import annotations

import numpy as np

from chain.arrays import Real
from chain.reception.elements import Compiled, compile_tree
from chain.reception.levels import end_reflections, nominal_source
from chain.reception.network import solve
from chain.reception.records import Installation
from library.reception import Amplifier, default

__all__ = ["isolation_limit_db", "worst_isolation_db"]

MOST_FREQUENCIES = 12


def isolation_limit_db(freq_hz: float) -> float:
    """Isolation that outlets of different users should have [dB].

    Source: RD 346/2011 (Spain), annex I, 4.4.4.
    """
    band = "47_300" if freq_hz < 300e6 else "300_862" if freq_hz < 900e6 else "950_2150"
    return default(f"isolation_{band}_db")


def worst_isolation_db(installation: Installation) -> tuple[Real, Real]:
    """Least isolation of each outlet from any other, and how far it lies above what is asked for [dB].

    The way up from one outlet, across the splitter where both meet, and down to the other, every other port in its stated
    end; nothing else comes into play on a tree. Infinite where an outlet is alone.

    Source: `Y = (I - S G)^-1 S` across the splitter; nominal losses of the two ways.
    """
    centres = np.array(sorted({channel.centre_hz for channel in installation.channels}))
    step = -(-centres.size // MOST_FREQUENCIES)
    freq = centres[::step]
    compiled = compile_tree(installation, freq)
    source = nominal_source(installation.antenna.match, freq)
    found = solve(compiled.plan, compiled.nominal(), source, np.full(freq.shape, 290.0), end_reflections(installation))
    down = 10 * np.log10(np.maximum(found.gain, 1e-30))
    across = _across(compiled, found.coupling)
    worst = _meetings(compiled, down, _backward(compiled, down), across)
    isolation = -worst
    limits = np.array([isolation_limit_db(each) for each in freq])
    room = isolation - limits
    at = np.argmin(room, axis=1)
    rows = np.arange(len(installation.outlets))
    return isolation[rows, at], room[rows, at]


def _across(compiled: Compiled, coupling: object) -> dict[tuple[int, int], Real]:
    """Power from output to output of every splitter, by their ports [dB]; pairs without any are left out."""
    assert isinstance(coupling, dict)
    found: dict[tuple[int, int], Real] = {}
    for number, rows in coupling.items():
        outputs = compiled.plan.groups[number].outputs
        for i, row in enumerate(rows):
            for j, wave in enumerate(row):
                if i != j and wave is not None:
                    power = 10 * np.log10(np.maximum(np.abs(wave) ** 2, 1e-30))
                    for member in range(outputs.shape[0]):
                        found[int(outputs[member, i]), int(outputs[member, j])] = power[member]
    return found


def _backward(compiled: Compiled, down: Real) -> Real:
    """Gain from each port back to the antenna [dB]: that of the way down, but for amplifiers."""
    items, plan = compiled.installation.items, compiled.plan
    up = down.copy()
    lost = np.zeros(down.shape[0])
    for port in range(1, len(plan.ports)):
        part = items[plan.owner[port]].part
        own = part.gain_db + part.isolation_db if isinstance(part, Amplifier) else 0.0
        lost[port] = lost[plan.parent[port]] + own
    return np.asarray(up - lost[:, None])


def _meetings(compiled: Compiled, down: Real, up: Real, across: dict[tuple[int, int], Real]) -> Real:
    """Strongest way from any other listening outlet to each outlet [dB]."""
    plan, outlets = compiled.plan, compiled.installation.outlets
    best = np.full(down.shape, -np.inf)
    ways: list[list[int]] = []
    for outlet, end in zip(outlets, plan.outlets, strict=True):
        port, way = int(end), []
        while port >= 0:
            way.append(port)
            if not outlet.end:
                best[port] = np.maximum(best[port], up[end] - up[port])
            port = int(plan.parent[port])
        ways.append(way)
    meeting: dict[int, list[int]] = {}
    for into, out_of in across:
        meeting.setdefault(into, []).append(out_of)
    worst = np.full((len(outlets), down.shape[1]), -np.inf)
    for row, way in enumerate(ways):
        for port in way:
            for other in meeting.get(port, ()):
                through = best[other] + across[port, other] + down[way[0]] - down[port]
                worst[row] = np.maximum(worst[row], through)
    return worst
