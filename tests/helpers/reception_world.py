"""Installations made up at random, and their trees solved by scattering matrices alone, without the project's own solution."""

from __future__ import annotations

import numpy as np
import skrf
from skrf.circuit import Circuit

from chain.reception.network import DepthGroup, Plan, PortValues, ThroughValues

T0 = 290.0
KNOWN_ANTENNA = """
[antenna]
gain = "8 dBi"
gain_tolerance = "0 dB"
match = "antenna.s1p"
noise = "290 K"
[[signal]]
frequency = "600 MHz"
bandwidth = "1 MHz"
need = "20 dB"
field = "60 dBuV/m"
field_spread = "0 dB"
"""
"""Antenna and signal of a file whose figures are all known; the antenna's match lies in `antenna.s1p`."""


def random_disc(rng, size, most):
    return most * np.sqrt(rng.random(size)) * np.exp(2j * np.pi * rng.random(size))


def junction(r):
    """Lossless junction: S11 = r, S22 = -conj r."""
    through = np.sqrt(1 - abs(r) ** 2)
    return np.array([[r, through], [through, -np.conj(r)]])


class RandomTree:
    """A tree of two-ports and splitters at one frequency: the project's records, and the same as plain matrices."""

    def __init__(self, rng, outlets, amplifiers=False, kelvin=None, hottest=700.0):
        self.rng, self.kelvin_of = rng, kelvin or (lambda: rng.uniform(20, hottest))
        self.matrices, self.heat = [], []
        names, owner, parent = ["antenna"], [-1], [-1]
        groups, values = [], []
        frontier, depth = [0], 0
        while len(frontier) < outlets or depth < 3:
            after = []
            for port in frontier:
                kind = rng.integers(3)
                number = len(self.matrices)
                if kind == 0 and len(frontier) + len(after) < outlets + 3:
                    ways = int(rng.integers(2, 5))
                    ports = [len(names) + way for way in range(ways)]
                    group, value = self.splitter(number, port, ports)
                else:
                    ports = [len(names)]
                    group, value = self.through(number, port, ports, amplifiers and kind == 1)
                names += [f"p{each}" for each in ports]
                owner += [number] * len(ports)
                parent += [port] * len(ports)
                groups.append(group)
                values.append(value)
                after += ports
            frontier, depth = after, depth + 1
        self.plan = Plan(tuple(names), tuple(groups), np.array(frontier), np.array(parent), np.array(owner))
        self.values = values

    def _junctions(self, count):
        return [random_disc(self.rng, None, 0.4) for _ in range(count)]

    def _dressed(self, core, junctions):
        """A matched core with a lossless junction at each port."""
        size = len(junctions)
        r = np.diag(junctions)
        t = np.diag([np.sqrt(1 - abs(each) ** 2) for each in junctions])
        inner = np.diag([-np.conj(each) for each in junctions])
        return r + t @ np.linalg.inv(np.eye(size) - core @ inner) @ core @ t

    def through(self, number, port, ports, amplifier):
        gain = 10 ** (self.rng.uniform(5, 20) / 10) if amplifier else 10 ** (-self.rng.uniform(0.1, 10) / 10)
        wave = np.sqrt(gain) * np.exp(2j * np.pi * self.rng.random())
        kelvin = T0 if amplifier else self.kelvin_of()
        near, far = (0j, 0j) if amplifier else self._junctions(2)
        factor = 10 ** (self.rng.uniform(0.5, 6) / 10) if amplifier else 0.0
        core = np.array([[0, 0 if amplifier else wave], [wave, 0]])
        s = self._dressed(core, [near, far])
        self.matrices.append((s, [port], ports))
        heat = kelvin * (np.eye(2) - s @ s.conj().T)
        if amplifier:
            heat = np.diag([T0, T0 * (factor - 1) * gain]).astype(complex)
        self.heat.append(heat)
        group = DepthGroup(np.array([number]), np.array([port]), np.array([ports]), False)
        one = np.array([[1.0]])
        value = ThroughValues(
            one * gain,
            np.array([[0j if amplifier else wave**2]]),
            np.array([[near]]),
            np.array([[far]]),
            one * kelvin,
            one * factor if amplifier else None,
        )
        return group, value

    def splitter(self, number, port, ports):
        size = len(ports) + 1
        raw = self.rng.normal(size=(size, size)) + 1j * self.rng.normal(size=(size, size))
        core = raw + raw.T
        core *= self.rng.uniform(0.5, 0.98) / np.linalg.norm(core, 2)
        junctions = self._junctions(size)
        s = self._dressed(core, junctions)
        kelvin = self.kelvin_of()
        self.matrices.append((s, [port], ports))
        self.heat.append(kelvin * (np.eye(size) - s @ s.conj().T))
        matrix = tuple(tuple(np.array([[core[i, j]]]) for j in range(size)) for i in range(size))
        group = DepthGroup(np.array([number]), np.array([port]), np.array([ports]), True)
        value = PortValues(matrix, tuple(np.array([[each]]) for each in junctions), np.array([[kelvin]]))
        return group, value

    def solved_by_waves(self, source, source_k, ends, ends_k, outlet):
        """Available power gain, source reflection and noise temperature at one outlet, from one linear system.

        Every port is a pair of waves; `outlet` is left matched and without noise of its own, the antenna a noisy one-port.
        """
        count = len(self.plan.ports)
        # Unknowns: for each port the wave going down and the wave going up.
        size = 2 * count
        system = np.eye(size, dtype=complex)
        sources = []

        def down(port):
            return port

        def up(port):
            return count + port

        for (s, into, out), heat in zip(self.matrices, self.heat, strict=True):
            ports = into + out
            incident = [down(into[0]), *(up(each) for each in out)]
            leaving = [up(into[0]), *(down(each) for each in out)]
            for i, row in enumerate(leaving):
                for j, column in enumerate(incident):
                    system[row, column] -= s[i, j]
            sources.append((leaving, heat))
            assert len(ports) == s.shape[0]
        system[down(0), up(0)] -= source
        sources.append(([down(0)], np.array([[source_k * (1 - abs(source) ** 2)]])))
        for number, (port, end) in enumerate(zip(self.plan.outlets, ends, strict=True)):
            if number != outlet:
                system[up(port), down(port)] -= end
                sources.append(([up(port)], np.array([[ends_k * (1 - abs(end) ** 2)]])))
        inverse = np.linalg.inv(system)
        here = int(self.plan.outlets[outlet])
        row = inverse[down(here)]
        noise = sum((row[places] @ heat @ row[places].conj()).real for places, heat in sources)
        reflection = inverse[down(here), up(here)]
        rest = 1 - abs(reflection) ** 2
        gain = abs(row[down(0)]) ** 2 * (1 - abs(source) ** 2) / rest
        return gain, reflection, noise / rest


def circuit_of(matrices, count, outlets):
    """Scattering matrix between antenna and outlets by scikit-rf's `Circuit`, and the place of each in it."""
    frequency = skrf.Frequency(500, 500, 1, "MHz")
    joints = {port: [] for port in range(count)}
    for number, (s, into, out) in enumerate(matrices):
        network = skrf.Network(frequency=frequency, s=s[None], z0=75, name=f"n{number}")
        for place, port in enumerate(into + out):
            joints[port].append((network, place))
    for number, port in enumerate(outlets):
        joints[int(port)].append((Circuit.Port(frequency, f"out{number}", z0=75), 0))
    joints[0].append((Circuit.Port(frequency, "antenna", z0=75), 0))
    circuit = Circuit(list(joints.values()))
    names = [net.name for joint in circuit.connections for net, _ in joint if net.name.startswith(("out", "ant"))]
    return circuit.s_external[0], {name: number for number, name in enumerate(names)}


def heat_of(matrices, count, outlets, source, ends):
    """Power lost in all parts, over what the antenna has available, from the waves."""
    system = np.eye(2 * count, dtype=complex)
    for s, into, out in matrices:
        incident = [into[0], *(count + each for each in out)]
        leaving = [count + into[0], *out]
        for i, row in enumerate(leaving):
            for j, column in enumerate(incident):
                system[row, column] -= s[i, j]
    system[0, count] -= source
    for port, end in zip(outlets, ends, strict=True):
        system[count + port, port] -= end
    drive = np.zeros(2 * count, dtype=complex)
    drive[0] = np.sqrt(1 - abs(source) ** 2)
    waves = np.linalg.solve(system, drive)
    total = 0.0
    for s, into, out in matrices:
        a = waves[[into[0], *(count + each for each in out)]]
        total += np.vdot(a, a).real - np.vdot(s @ a, s @ a).real
    return total
