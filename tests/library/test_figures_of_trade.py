"""Library figures that a source outside settles: networks computed from their resistors, families of tables, ranges of connectors."""

import numpy as np
import pytest

from chain.files.setup_file import parse_setup
from library.formulas import attenuation_db_per_100m
from library.load import load_library
from library.mating import parse_connector

LIBRARY = load_library()


@pytest.mark.parametrize("ways", [2, 3, 4])
def test_resistive_splitters_are_their_resistors(ways):
    """A star of n + 1 resistors Z (n - 1)/(n + 1), solved as a network of conductances: matched, 20 log n between any two."""
    ohm = 75.0
    resistor = ohm * (ways - 1) / (ways + 1)
    # Every port sees its own resistor, then the others, each with its end, in parallel.
    assert resistor + (resistor + ohm) / ways == pytest.approx(ohm)
    ports = ways + 1
    conductance = np.full((ports, ports), -1 / (resistor * ports)) + np.eye(ports) / resistor
    s = np.linalg.solve(np.eye(ports) + ohm * conductance, np.eye(ports) - ohm * conductance)
    expected = -20 * np.log10(abs(s[0, 1]))
    assert expected == pytest.approx(20 * np.log10(ways), abs=1e-9)
    part = LIBRARY.part(f"splitter-{ways}-resistive")
    losses = {frozenset((one, other)): loss for one, other, loss in part.loss_db}
    assert len(losses) == ports * ways / 2
    assert list(losses.values()) == pytest.approx([expected] * len(losses), abs=6e-4)


# Published: the two families of printed RG-58 figures, dB per 100 m; library/data/coax_points.csv names each source.
@pytest.mark.parametrize(("mhz", "loss_db"), [(900, 65.6), (900, 68.9), (1000, 78.7), (450, 34.8), (144, 20.3)])
def test_both_families_of_rg58_lie_within_its_tolerance(mhz, loss_db):
    coax = LIBRARY.part("rg58")
    model = attenuation_db_per_100m(coax, mhz * 1e6)
    assert abs(loss_db / model - 1) <= coax.loss_tolerance


def test_the_75_ohm_barrel_is_one_figure():
    """19.0 mm, computed from public measurement data of 2012: in the part, in the message of the joint, in its note."""
    barrel = LIBRARY.part("bnc75-jack-bnc75-jack")
    assert barrel.electrical_length_m == pytest.approx(0.0190)
    assert "19.0 mm" in barrel.evidence.note
    reason = next(rule.reason for rule in LIBRARY.rules if (rule.a, rule.b) == ("BNC-50 plug", "BNC-75 jack"))
    assert "19.0 mm" in reason


@pytest.mark.parametrize(
    ("name", "usual_mhz"),
    [
        ("BNC-75 plug", 1000),
        ("BNC-75 jack (selected)", 2000),
        ("F-75 jack", 1000),
        ("F-75 jack (split-barrel)", 3000),
        ("F-75 plug", 3000),
    ],
)
def test_usual_range_of_a_connector(name, usual_mhz):
    connector = parse_connector(name)
    assert LIBRARY.family(connector.family).usual_hz(connector) == usual_mhz * 1e6


def test_an_ordinary_jack_is_warned_of_where_a_split_barrel_is_not():
    text = (
        '[sweep]\nstart = "900 MHz"\nstop = "1.5 GHz"\npoints = 3\n[near]\nconnector = "F-75 jack (split-barrel)"\n'
        'impedance = "75 ohm"\n[[chain]]\nid = "a"\npart = "rg6"\nlength = "2 m"\nnear = "F-75 plug"\nfar = "F-75 plug"\n'
        '[far]\nconnector = "F-75 jack{}"\n'
    )
    ordinary = parse_setup(text.format("").encode()).warnings
    assert any("F-75 connectors: the sweep goes above their usual 1 GHz" in each for each in ordinary)
    assert parse_setup(text.format(" (split-barrel)").encode()).warnings == ()


@pytest.mark.parametrize("name", ["dc-block-f", "dc-block-bnc75", "dc-block-n"])
def test_a_dc_block_blocks(name):
    assert LIBRARY.part(name).dc == "block"


def test_points_left_out_say_why():
    """RG-59 at 1000 and 2150 MHz of a building-cabling text: in the table, in no fit, with the reason."""
    import csv

    from library.files.store import text_of

    lines = [line for line in text_of("coax_points.csv").splitlines() if not line.startswith("#")]
    rows = [row for row in csv.DictReader(lines) if row["cable"] == "rg59" and row["loss_db_per_100m"] in ("29", "43")]
    assert [(row["freq_mhz"], row["fit"]) for row in rows] == [("1000", ""), ("2150", "")]
    assert all("left out" in row["source"] for row in rows)
