"""Passive trees made up at random, written as installation files and asked through the command.

Every two-port is a Touchstone file of a random passive matrix, a lead of any impedance, or a splitter of known matrix.
"""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner
from reception_world import KNOWN_ANTENNA, circuit_of, heat_of, random_disc

from chain.cli.main import chain

MHZ = 600.0
HALF, QUARTER, NINTH = (10 ** (-decibels / 20) for decibels in (3.0103, 6.0206, 9.5424))
"""Waves of a half, a quarter and a ninth of the power, as rounded in the library."""
SPLITTERS = {
    "splitter-2-ideal": HALF * np.array([[0, 1, 1], [1, 0, 0], [1, 0, 0]]),
    "splitter-2-resistive": QUARTER * (1 - np.eye(3)),
    "splitter-3-resistive": NINTH * (1 - np.eye(4)),
}
FIGURES = 7.0


class RandomHouse:
    """An installation's file, and the same as plain matrices: ports by number, the antenna's first."""

    def __init__(self, rng, folder):
        self.rng, self.folder = rng, folder
        self.matrices, self.count = [], 1
        self.source = complex(random_disc(rng, None, 0.7))
        self.touchstone("antenna.s1p", [self.source])
        text, frontier = [KNOWN_ANTENNA], [(0, "antenna")]
        for _ in range(4):
            after = []
            for place in frontier:
                # Splitters have jacks all round: what stands between two of them is a lead or a box.
                if ".out" not in place[1] and rng.random() < 0.5 and len(frontier) + len(after) < 6:
                    after += self.splitter(text, *place)
                else:
                    after += (self.box if rng.random() < 0.5 else self.lead)(text, *place)
            frontier = after
        self.outlets = [port for port, _ in frontier]
        for port, name in frontier:
            receiver = f'{{ noise_figure = "{FIGURES} dB", reflection = "80 dB" }}'
            text.append(f'[[outlet]]\nid = "o{port}"\nafter = "{name}"\nreceiver = {receiver}\n')
        (folder / "house.toml").write_text("\n".join(text), encoding="utf-8")

    def touchstone(self, name, values):
        row = " ".join(f"{float(each.real)!r} {float(each.imag)!r}" for each in values)
        rows = "".join(f"{mhz} {row}\n" for mhz in range(590, 612, 2))
        (self.folder / name).write_text(f"# MHz S RI R 75\n{rows}", encoding="utf-8")

    def put(self, s, port, ways):
        ports = [self.count + way for way in range(ways)]
        self.count += ways
        self.matrices.append((np.asarray(s, dtype=complex), [port], ports))
        return ports

    def item(self, text, after, **keys):
        name = f"i{len(self.matrices)}"
        rows = "".join(f"{key} = {value if value == 'true' else json.dumps(value)}\n" for key, value in keys.items())
        text.append(f'[[item]]\nid = "{name}"\nafter = "{after}"\n{rows}')
        return name

    def box(self, text, port, after):
        """A reciprocal matrix of singular values up to one."""
        unitary, _ = np.linalg.qr(self.rng.normal(size=(2, 2)) + 1j * self.rng.normal(size=(2, 2)))
        s = unitary @ np.diag(self.rng.uniform(0.3, 1, 2)) @ unitary.T
        file = f"b{len(self.matrices)}.s2p"
        self.touchstone(file, [s[0, 0], s[1, 0], s[0, 1], s[1, 1]])
        name = self.item(text, after, touchstone=file)
        return [(self.put(s, port, 1)[0], name)]

    def lead(self, text, port, after):
        """RG-6 of the library: 0.665 dB at 1 MHz for 100 m, velocity 0.82, its conductor's resistance with temperature."""
        ohm, length = float(self.rng.uniform(50, 110)), float(self.rng.uniform(0.5, 30))
        keys = {"length": f"{length!r} m", "impedance": f"{ohm!r} ohm", "temperature": "290 K", "ideal": "true"}
        name = self.item(text, after, part="rg6", **keys)
        warm = np.sqrt(1 + 0.00393 * (290 - 273.15 - 20))
        loss_db = 0.665 * np.sqrt(MHZ) * length / 100 * warm
        wave = 10 ** (-loss_db / 20) * np.exp(-2j * np.pi * MHZ * 1e6 * length / (299_792_458.0 * 0.82))
        step = (ohm - 75) / (ohm + 75)
        under = 1 - (step * wave) ** 2
        own, through = step * (1 - wave**2) / under, (1 - step**2) * wave / under
        return [(self.put([[own, through], [through, own]], port, 1)[0], name)]

    def splitter(self, text, port, after):
        kind = str(self.rng.choice(list(SPLITTERS)))
        name = self.item(text, after, part=kind, ideal="true")
        ports = self.put(SPLITTERS[kind], port, len(SPLITTERS[kind]) - 1)
        return [(each, f"{name}.out{way}") for way, each in enumerate(ports, 1)]

    def asked(self):
        """The command's JSON."""
        done = CliRunner().invoke(chain, ["outlets", str(self.folder / "house.toml"), "--json", "--draws", "200"])
        assert done.exit_code == 0, done.output
        return json.loads(done.stdout)


@pytest.mark.parametrize("seed", range(6))
def test_a_random_house_through_the_command(seed, tmp_path):
    """R17, R19 and scikit-rf: noise of kTB, power conserved, levels and noise figures of the circuit, to 1e-9."""
    house = RandomHouse(np.random.default_rng(400 + seed), tmp_path)
    found = house.asked()
    rows = [each["channels"][0] for each in found["outlets"]]
    passed_db = np.array([row["level_dbuv"] for row in rows]) - found["antenna"][0]["level_dbuv"]
    figures = np.array(found["noise_figure_db"])[:, 0]
    # All at 290 K: the noise available at an outlet is kTB, so what the receiver adds is all that the level's loss explains.
    assert figures + passed_db == pytest.approx(FIGURES, abs=1e-9)
    s, at = circuit_of(house.matrices, house.count, house.outlets)
    near = at["antenna"]
    taken = (1 - abs(house.source) ** 2) / abs(1 - s[near, near] * house.source) ** 2
    into = np.array([abs(s[at[f"out{number}"], near]) ** 2 for number in range(len(rows))]) * taken
    assert passed_db == pytest.approx(10 * np.log10(into), abs=1e-9)
    reflected = 1 - taken * (1 - abs(s[near, near]) ** 2)
    heat = heat_of(house.matrices, house.count, house.outlets, house.source, np.zeros(len(rows)))
    assert np.sum(10 ** (passed_db / 10)) + heat + reflected == pytest.approx(1, abs=1e-9)
