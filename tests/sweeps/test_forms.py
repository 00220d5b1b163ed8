"""Every legal way to write the same network down reads as that network; many ports, falling order, 0 Hz, one-ports of two."""

import itertools

import numpy as np
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from chain.cli.main import chain
from chain.errors import InputError
from chain.sweeps import touchstone
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep

FREQ_HZ = np.array([100e6, 200e6, 350e6])
UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}
REFERENCES = {"50": (50.0, 50.0), "75": (75.0, 75.0), "50 75": (50.0, 75.0)}


def network(ports, symmetric, seed=7):
    """A matrix at each frequency, different in each entry; small enough that impedances exist."""
    rng = np.random.default_rng(seed)
    s = 0.3 * (rng.uniform(0.2, 1, (3, ports, ports)) * np.exp(2j * np.pi * rng.uniform(size=(3, ports, ports))))
    return (s + s.swapaxes(1, 2)) / 2 if symmetric else s


def impedances(s, ohms):
    """Z of S in real references. Source: Z = R^(1/2) (1 - S)^-1 (1 + S) R^(1/2) (Kurokawa 1965, for real references)."""
    root, one = np.diag(np.sqrt(ohms)), np.eye(s.shape[1])
    return root @ np.linalg.inv(one - s) @ (one + s) @ root


def pair(value, form):
    if form == "RI":
        return f"{value.real!r} {value.imag!r}"
    size, turn = abs(value), np.degrees(np.angle(value))
    return f"{size if form == 'MA' else 20 * np.log10(size)!r} {turn!r}".replace("np.float64(", "").replace(")", "")


def rows(values, unit, form, entries):
    """A line for each frequency, its entries in the order given."""
    return [
        " ".join([repr(float(freq / UNITS[unit])), *(pair(complex(matrix[entry]), form) for entry in entries)])
        for freq, matrix in zip(FREQ_HZ, values, strict=True)
    ]


ENTRIES = {
    ("Full", "12_21"): [(0, 0), (0, 1), (1, 0), (1, 1)],
    ("Full", "21_12"): [(0, 0), (1, 0), (0, 1), (1, 1)],
    ("Lower", "12_21"): [(0, 0), (1, 0), (1, 1)],
    ("Lower", "21_12"): [(0, 0), (1, 0), (1, 1)],
    ("Upper", "12_21"): [(0, 0), (0, 1), (1, 1)],
    ("Upper", "21_12"): [(0, 0), (0, 1), (1, 1)],
}
EVERY = list(itertools.product(ENTRIES, ("RI", "MA", "DB"), UNITS, REFERENCES, ("S", "Z", "Y")))


@pytest.mark.parametrize("layout", ENTRIES, ids=" ".join)
def test_every_form_of_a_two_port_of_version_2(layout):
    """Order, matrix format, number format, unit, reference and parameter: 648 files of one network, all read as it.

    Source: Touchstone file format specification, version 2.0, keywords [Two-Port Data Order], [Matrix Format], [Reference].
    """
    for _, form, unit, reference, parameter in (each for each in EVERY if each[0] == layout):
        s, ohms = network(2, symmetric=layout[0] != "Full"), np.array(REFERENCES[reference])
        values = {"S": s, "Z": impedances(s, ohms), "Y": np.linalg.inv(impedances(s, ohms))}[parameter]
        head = f"[Version] 2.0\n# {unit} {parameter} {form}\n[Number of Ports] 2\n[Two-Port Data Order] {layout[1]}\n"
        keys = f"[Number of Frequencies] 3\n[Reference] {reference}\n[Matrix Format] {layout[0]}\n[Network Data]\n"
        text = head + keys + "\n".join([*rows(values, unit, form, ENTRIES[layout]), "[End]", ""])
        found = touchstone.parse(text.split("\n"), "a.ts")
        np.testing.assert_allclose(found.freq_hz, FREQ_HZ, rtol=1e-12)
        np.testing.assert_allclose(found.s, s, atol=1e-12, err_msg=text)
        assert found.reference_ohm == tuple(ohms)


@pytest.mark.parametrize(
    ("form", "unit", "parameter"), list(itertools.product(("RI", "MA", "DB"), UNITS, ("S", "Z", "Y")))
)
def test_every_form_of_a_two_port_of_version_1(form, unit, parameter):
    """S21 stands before S12, impedances are in units of the reference: 36 files of one network.

    Source: Touchstone file format specification, version 1.1.
    """
    s = network(2, symmetric=False)
    z = impedances(s, np.array([1.0, 1.0]))
    values = {"S": s, "Z": z, "Y": np.linalg.inv(z)}[parameter]
    text = "\n".join([f"# {unit} {parameter} {form} R 75", *rows(values, unit, form, ENTRIES["Full", "21_12"]), ""])
    found = touchstone.parse(text.split("\n"), "a.s2p")
    np.testing.assert_allclose(found.s, s, atol=1e-12)
    assert found.reference_ohm == (75.0, 75.0)


def many(ports, ending, wrapped=4, form="RI"):
    """A file of several ports, rows of the matrix on lines of their own and no more than four pairs on each."""
    s = network(ports, symmetric=False)
    lines = [f"# MHz S {form} R 50"]
    for freq, matrix in zip(FREQ_HZ, s, strict=True):
        begun = f"{freq / 1e6} "
        for row in matrix:
            for at in range(0, ports, wrapped):
                lines.append(begun + " ".join(pair(complex(value), form) for value in row[at : at + wrapped]))
                begun = "  "
    return s, "\n".join(lines) + "\n", f"a.{ending}"


@pytest.mark.parametrize("ports", [3, 4, 5, 9])
@pytest.mark.parametrize("named", [True, False])
def test_many_ports(tmp_path, ports, named):
    """Any one reflection by its name; the number of ports by the file's name, or by its figures."""
    s, text, name = many(ports, f"s{ports}p" if named else "txt")
    path = tmp_path / name
    path.write_text(text)
    np.testing.assert_allclose(touchstone.parse(text.split("\n"), name).s, s, atol=1e-15)
    found = read_sweep(str(path), SweepOptions(columns=("S33",)))
    np.testing.assert_allclose(found.reflection, s[:, 2, 2], atol=1e-15)
    assert f"S33 of {ports} ports" in found.interpretation
    for options, message in (
        (SweepOptions(), f"is of {ports} ports with a reflection at {ports} of them"),
        (SweepOptions(columns=("S21",)), "'S21' names no reflection of this file"),
        (SweepOptions(columns=(f"S{ports + 1}{ports + 1}",)), "names no reflection"),
    ):
        with pytest.raises(InputError, match=message):
            read_sweep(str(path), options)
    with pytest.raises(InputError, match=f"holds {ports} ports where 2 ports are needed"):
        touchstone.read_two_port(str(path))


def test_many_ports_of_version_2():
    """Triangles of three ports, a reference for each, figures going on to the next line.

    Source: Touchstone file format specification, version 2.0: rows of the triangle one after the other.
    """
    s = network(3, symmetric=True)
    for matrix, entries in (
        ("Lower", [(0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2)]),
        ("Upper", [(0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2)]),
    ):
        head = "[Version] 2.1\n# Hz S DB\n[Number of Ports] 3\n[Reference] 50 75\n60\n"
        lines = [line.replace(" ", "\n", 3).replace("\n", " ", 2) for line in rows(s, "Hz", "DB", entries)]
        text = f"{head}[Matrix Format] {matrix}\n[Network Data]\n" + "\n".join(lines)
        found = touchstone.parse(text.split("\n"), "a.ts")
        np.testing.assert_allclose(found.s, s, atol=1e-12)
        assert found.reference_ohm == (50.0, 75.0, 60.0)


SWEEPS = {
    "sweep.s1p": ("# MHz S RI R 50\n", "{:g} 0.1 {:g}\n"),
    "sweep.csv": ("frequency_mhz,real,imaginary\n", "{:g},0.1,{:g}\n"),
    "loss.csv": ("frequency_mhz,return_loss_db\n", "{:g},{:g}\n"),
}


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", SWEEPS)
@given(points=st.lists(st.integers(1, 40), min_size=2, max_size=8, unique=True), zero=st.booleans())
def test_a_falling_sweep_is_turned_round_and_a_point_at_zero_left_out(tmp_path_factory, name, points, zero):
    """What comes of it is bit for bit that of the plain file, and both are reported."""
    head, row = SWEEPS[name]
    points = sorted(points)
    path = tmp_path_factory.mktemp("order") / name
    path.write_text(head + "".join(row.format(each, 12.5 if name == "loss.csv" else each / 50) for each in points))
    plain = read_sweep(str(path))
    falling = [*reversed(points), *([0] if zero else [])]
    path.write_text(head + "".join(row.format(each, 12.5 if name == "loss.csv" else each / 50) for each in falling))
    turned = read_sweep(str(path))
    for one, other in ((plain.freq_hz, turned.freq_hz), (plain.magnitude, turned.magnitude)):
        np.testing.assert_array_equal(one, other)
    assert "turned round" in turned.interpretation
    assert ("0 Hz left out" in turned.interpretation) is zero
    assert "turned round" not in plain.interpretation


def test_a_sweep_from_1_hz_keeps_its_first_point():
    """However low: only at 0 Hz is nothing reflected."""
    found = touchstone.parse(["# Hz S RI R 50", "1 .1 0", "1e6 .2 0"], "a.s1p").above_zero("a.s1p")
    assert found.freq_hz.tolist() == [1, 1e6]


def test_noise_behind_a_two_port_that_falls():
    """Five figures where nine belong, and the frequency going back up: noise, as behind a rising one."""
    text = "# MHz S RI R 50\n200 .1 0 .5 0 .5 0 .2 0\n100 .1 0 .5 0 .5 0 .3 0\n100 1 .5 20 .3\n150 1 .5 20 .3"
    found = touchstone.parse(text.split("\n"), "a.s2p")
    assert found.freq_hz.tolist() == [1e8, 2e8]
    assert found.s[:, 1, 1].real.tolist() == [0.3, 0.2]


ONE_OF_TWO = "# MHz S RI R 50\n" + "".join(f"{freq} 0.1 0.02 0 0 0 0 0 0\n" for freq in range(170, 245, 5))


def test_a_one_port_written_as_a_two_port_is_known_as_such_everywhere(tmp_path):
    """As a sweep it is its S11; as a two-port of the chain, or to learn a pad from, it is refused with the reason."""
    path = tmp_path / "one.s2p"
    path.write_text(ONE_OF_TWO)
    assert "S11 of a one-port in the form of a two-port" in read_sweep(str(path)).interpretation
    setup = tmp_path / "setup.toml"
    setup.write_text('[near]\nconnector = "BNC-50 jack"\n[[chain]]\nid = "pad"\ntouchstone = "one.s2p"\n')
    for words in (
        ["check", str(setup)],
        ["expect", str(setup)],
        ["learn", "two-port", str(path), "--near", "N-50 jack", "--far", "N-75 jack"],
        ["learn", "back-to-back", str(path), "--near", "N-50 jack", "--far", "N-75 jack"],
    ):
        done = CliRunner().invoke(chain, words)
        assert done.exit_code == 2
        assert "is a one-port in the form of a two-port" in done.stderr, words
    path.write_text(ONE_OF_TWO.replace(" 0 0 0 0 0 0", " 0.5 0 0 0 0.1 0"))
    with pytest.raises(InputError, match="one direction only: S12 is zero"):
        touchstone.read_two_port(str(path))
