"""Touchstone files: the specification's own examples, real files, and every fault in its place."""

import itertools
import pickle
from pathlib import Path

import numpy as np
import pytest
import skrf
from further import wide
from hypothesis import given
from hypothesis import strategies as st
from skrf.media import DefinedGammaZ0

from chain.errors import InputError
from chain.sweeps import touchstone
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep
from chain.sweeps.text import lines_of

SHIPPED = Path(skrf.__file__).parent / "data"


def written(tmp_path, text, name="a.s1p"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return str(path)


def parsed(text, name="a.s1p"):
    return touchstone.parse(text.split("\n"), name)


def faults(text, name="a.s1p"):
    with pytest.raises(InputError) as caught:
        parsed(text, name)
    return [(each.line, each.column, each.message) for each in caught.value.defects]


def polar(size, degrees):
    return np.asarray(size) * np.exp(1j * np.deg2rad(degrees))


# Source of the next figures: Touchstone file format specification, versions 1.1 and 2.0, examples 7, 9 and 10, with the
# values that scikit-rf's own test of these examples holds (io/tests/test_ts_spec.py).
OHMS = polar([74.25, 60.0, 53.025, 30.0, 0.75], [-4, -22, -45, -62, -89])
EXAMPLE_9 = """!1-port Z-parameter file, multiple frequency points
# MHz Z MA R 75
!freq magZ11 angZ11
100 0.99 -4
200 0.80 -22
300 0.707 -45
400 0.40 -62
500 0.01 -89
"""
EXAMPLE_10 = """!1-port Z-parameter file, multiple frequency points
[Version] 2.0
# MHz Z MA
[Number of Ports] 1
[Number of Frequencies] 5
[Reference] 20.0
[Network Data]
!freq magZ11 angZ11
100 74.25 -4
200 60 -22
300 53.025 -45
400 30 -62
500 0.75 -89
[End]
"""


@pytest.mark.parametrize(("text", "name", "ohm"), [(EXAMPLE_9, "nine.s1p", 75.0), (EXAMPLE_10, "ten.ts", 20.0)])
def test_impedances_of_the_specification(text, name, ohm):
    """Version 1 states impedances in units of the reference, version 2 in ohm: both examples are the same part."""
    found = parsed(text, name)
    assert found.reference_ohm == (ohm,)
    reflection = found.s[:, 0, 0]
    np.testing.assert_allclose(ohm * (1 + reflection) / (1 - reflection), OHMS, rtol=1e-12)
    np.testing.assert_array_equal(found.freq_hz, np.arange(1, 6) * 1e8)


# Source: the same specification, example 8 and examples 17 and 18 (two ports with noise), values as above.
def test_one_port_of_the_specification():
    """Example 8: one point, magnitude and angle, in 50 ohm by default."""
    found = parsed(
        "!1-port S-parameter file, single frequency point\n# MHz S MA R 50\n!freq magS11 angS11\n2.000 0.894 -12.136"
    )
    assert found.freq_hz == [2e6]
    np.testing.assert_allclose(found.s[0, 0, 0], polar(0.894, -12.136), rtol=1e-12)


NOISY = """!2-port network, S-parameter and noise data
!Default MA format, GHz frequencies, 50 ohm reference, S-parameters
#
! NETWORK PARAMETERS
2 .95 -26 3.57 157 .04 76 .66 -14
22 .60 -144 1.30 40 .14 40 .56 -85
! NOISE PARAMETERS
4 .7 .64 69 .38
18 2.7 .46 -33 .40
"""
NOISY_SECOND = """[Version] 2.0
#
[Number of Ports] 2
[Two-Port Data Order] 21_12
[Number of Frequencies] 2
[Number of Noise Frequencies] 2
[Reference] 50 25.0
[Network Data]
2 .95 -26 3.57 157 .04 76 .66 -14
22 .60 -144 1.30 40 .14 40 .56 -85
[Noise Data]
4 .7 .64 69 19
18 2.7 .46 -33 20
[End]
"""


@pytest.mark.parametrize(
    ("text", "name", "ohms"), [(NOISY, "a.s2p", (50.0, 50.0)), (NOISY_SECOND, "a.ts", (50.0, 25.0))]
)
def test_two_ports_with_noise_of_the_specification(text, name, ohms):
    """Figures of noise are left aside, S21 comes before S12, and an option line alone means GHz, S, MA, 50 ohm."""
    found = parsed(text, name)
    np.testing.assert_array_equal(found.freq_hz, [2e9, 22e9])
    assert found.reference_ohm == ohms
    wanted = polar(
        [[[0.95, 0.04], [3.57, 0.66]], [[0.6, 0.14], [1.3, 0.56]]], [[[-26, 76], [157, -14]], [[-144, 40], [40, -85]]]
    )
    np.testing.assert_allclose(found.s, wanted, rtol=1e-12)
    assert found.assumed == ("GHz", "magnitude and degrees")


def test_order_of_a_two_port_and_half_a_matrix():
    """Version 2 says in which order S12 and S21 stand, and may leave out one triangle."""
    head = "[Version] 2.0\n# GHz S RI\n[Number of Ports] 2\n[Two-Port Data Order] {}\n[Network Data]\n1 11 0 12 0 21 0 22 0\n"
    assert parsed(head.format("12_21"), "a.ts").s[0].real.tolist() == [[11, 12], [21, 22]]
    assert parsed(head.format("21_12"), "a.ts").s[0].real.tolist() == [[11, 21], [12, 22]]
    half = head.format("12_21").replace("[Network", "[Matrix Format] Upper\n[Network").replace("21 0 22", "22")
    assert parsed(half, "a.ts").s[0].real.tolist() == [[11, 12], [12, 22]]


UNITS = {"Hz": 1.0, "kHz": 1e3, "MHz": 1e6, "GHz": 1e9}
FORMS = {
    "RI": lambda value: (value.real, value.imag),
    "MA": lambda value: (abs(value), np.angle(value, deg=True)),
    "DB": lambda value: (20 * np.log10(abs(value)), np.angle(value, deg=True)),
}
VERSIONS, ORDERS, MATRICES = ("1.0", "2.0", "2.1"), ("12_21", "21_12"), ("Full", "Lower", "Upper")
COMBINED = [
    each
    for each in itertools.product(VERSIONS, ORDERS, MATRICES, FORMS, UNITS, "SZY", (1, 2))
    if each[0] != "1.0" or each[1:3] == ("21_12", "Full")
]


def written_by_hand(rng, version, order, matrix, form, unit, parameter, references):
    """A two-port, and its text in one of the ways that the specification allows."""
    ohms = [20.0, 75.0] if references == 2 else [33.0]
    both = np.broadcast_to(np.array(ohms), 2)
    half = rng.uniform(-0.4, 0.4, (3, 2, 2)) + 1j * rng.uniform(-0.4, 0.4, (3, 2, 2))
    s = half + half.swapaxes(1, 2) if matrix != "Full" else half
    figures = s if parameter == "S" else {"Z": skrf.network.s2z, "Y": skrf.network.s2y}[parameter](s, z0=both)
    if version == "1.0" and parameter != "S":
        root = np.sqrt(np.outer(both, both))
        figures = figures / root if parameter == "Z" else figures * root
    places = [(0, 0), (0, 1), (1, 0), (1, 1)]
    if order == "21_12":
        places[1:3] = places[2], places[1]
    if matrix != "Full":
        places.remove((0, 1) if matrix == "Lower" else (1, 0))
    rows = [
        " ".join(repr(float(each)) for each in (number, *(each for place in places for each in FORMS[form](at[place]))))
        for number, at in zip((1.5, 2.25, 3.0), figures, strict=True)
    ]
    option, reference = f"# {unit} {parameter} {form}", " ".join(map(str, ohms))
    if version == "1.0":
        return s, "\n".join([f"{option} R {reference}", *rows]), both
    head = [f"[Version] {version}", option, "[Number of Ports] 2", f"[Two-Port Data Order] {order}"]
    head += ["[Number of Frequencies] 3", f"[Reference] {reference}", f"[Matrix Format] {matrix}", "[Network Data]"]
    return s, "\n".join([*head, *rows, "[End]"]), both


@pytest.mark.parametrize("step", [5, *wide(1)])
def test_every_way_to_write_a_two_port(step):
    """Versions, orders, matrices, forms, units, parameters and references, each with each, against scikit-rf's definitions."""
    rng = np.random.default_rng(21)
    assert len(COMBINED) == 2 * 2 * 3 * 72 + 72
    # A fifth of them holds every pair: no axis has five ways or ten.
    for each in COMBINED[::step]:
        s, text, ohms = written_by_hand(rng, *each)
        found = parsed(text, "a.s2p")
        np.testing.assert_allclose(found.s, s, atol=1e-9, err_msg=str(each))
        np.testing.assert_allclose(found.freq_hz, np.array([1.5, 2.25, 3.0]) * UNITS[each[4]], rtol=1e-12)
        assert found.reference_ohm == tuple(ohms), each


@pytest.mark.parametrize("matrix", MATRICES)
def test_several_ports_by_rows_and_a_pair_of_them(tmp_path, matrix):
    """Five ports, a triangle or all of it, over several lines; the two-port between two ports is that corner of the matrix."""
    rng = np.random.default_rng(5)
    half = rng.uniform(-0.2, 0.2, (5, 5)) + 1j * rng.uniform(-0.2, 0.2, (5, 5))
    s = half + half.T
    first, last = {"Full": (0, 5), "Lower": (0, 0), "Upper": (1, 5)}[matrix]
    rows = [s[row, row * (first == 1) : row + 1 if last == 0 else 5] for row in range(5)]
    lines = [" ".join(f"{float(each.real)!r} {float(each.imag)!r}" for each in row) for row in rows]
    head = "[Version] 2.0\n# GHz S RI\n[Number of Ports] 5\n[Number of Frequencies] 1\n[Reference] 10 20 30\n40 50\n"
    text = f"{head}[Matrix Format] {matrix}\n[Network Data]\n1 " + "\n".join(lines) + "\n[End]\n"
    np.testing.assert_allclose(parsed(text, "a.s5p").s[0], s, atol=1e-15)
    path = written(tmp_path, text, "a.s5p")
    found = touchstone.read_two_port(path, ("4", "2"))
    np.testing.assert_allclose(found.s[0], s[np.ix_([3, 1], [3, 1])], atol=1e-15)
    assert found.reference_ohm == (40.0, 20.0)
    assert read_sweep(path, SweepOptions(columns=("S33",))).reflection == pytest.approx(s[2, 2])
    for pair, said in ((None, "holds 5 ports where 2"), (("4", "4"), "'4' to '4'"), (("1", "6"), "is no pair")):
        with pytest.raises(InputError, match=said) as caught:
            touchstone.read_two_port(path, pair)
        assert caught.value.defects[0].help == 'name two of them: path = ["1", "5"]'


def test_reference_for_each_port():
    """Version 1.1 may state one impedance for each port. Source: as `test_version_1_1_per_port_reference` of scikit-rf."""
    assert parsed("# GHz S RI R 50 200\n1 0 0 1 0 1 0 0 0\n", "a.s2p").reference_ohm == (50.0, 200.0)


@pytest.mark.parametrize("version", [1, 2])
@pytest.mark.parametrize("parameter", ["Z", "Y"])
def test_impedances_and_admittances_of_a_two_port(parameter, version):
    """A minimum-loss pad by its resistors, 43.3 ohm in series and 86.6 ohm across: S from Z and from Y agree with the closed form."""
    # Closed form: Z of an L-network, 86.6 across port 1 and 43.3 in series to port 2.
    z = np.array([[86.6025404, 86.6025404], [86.6025404, 86.6025404 + 43.3012702]])
    figures = z if parameter == "Z" else np.linalg.inv(z)
    if version == 1:
        figures = figures / 50 if parameter == "Z" else figures * 50
    row = " ".join(f"{value!r} 0" for value in (figures[0, 0], figures[1, 0], figures[0, 1], figures[1, 1]))
    row = row.replace("np.float64(", "").replace(")", "")
    if version == 1:
        text, name = f"# MHz {parameter} RI R 50\n100 {row}\n", "a.s2p"
    else:
        head = f"[Version] 2.0\n# MHz {parameter} RI\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Reference] 50 75\n"
        text, name = f"{head}[Network Data]\n100 {row}\n", "a.ts"
    found = parsed(text, name)
    ohms = np.array([50.0, 50.0 if version == 1 else 75.0])
    expected = skrf.network.z2s(z[None].astype(complex), z0=ohms)
    np.testing.assert_allclose(found.s, expected, atol=1e-9)
    if version == 2:
        # Closed form: 10 log10(2 + sqrt 3) = 5.7195 dB, matched at both ends.
        np.testing.assert_allclose(np.abs(found.s[0]), [[0, 0.51764], [0.51764, 0]], atol=1e-5)


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("*.s[12]p")), ids=lambda path: path.name)
def test_files_that_come_with_scikit_rf(path):
    """Real and made files of the library, some with spaces in their names, some with remarks on port impedances."""
    found = touchstone.parse(lines_of(str(path)), str(path)).above_zero(str(path))
    own = skrf.Network()
    own.read_touchstone(str(path))
    above = own.f > 0
    np.testing.assert_array_equal(found.freq_hz, own.f[above])
    np.testing.assert_allclose(found.s, own.s[above], atol=1e-15)
    assert found.reference_ohm == tuple(own.z0[0].real)


def test_a_measured_one_port_of_the_open_world():
    """A slot in a waveguide, measured from 75 to 110 GHz at 101 points; the largest magnitude 0.917 was read off the file."""
    found = read_sweep(str(SHIPPED / "ring slot measured.s1p"))
    assert found.freq_hz.size == 101
    assert found.freq_hz[[0, -1]] / 1e9 == pytest.approx([75, 110])
    assert found.magnitude.max() == pytest.approx(0.917, abs=5e-4)


@pytest.mark.parametrize("name", ["sweep.txt", "sweep", "sweep.csv", "sweep.S1P", "../sweep.s1p"])
def test_the_name_does_not_matter(tmp_path, name):
    """What a file holds decides, not what it is called."""
    (tmp_path / "in").mkdir()
    path = tmp_path / "in" / name
    path.write_text("! invented\n# MHz S RI R 50\n174 0.1 0.2\n")
    assert read_sweep(str(path)).reflection == [0.1 + 0.2j]


@pytest.mark.parametrize(
    "line", ["# MHz S RI R 75", "# R 75 RI S MHz", "#mhz s ri r 75", "  # MHZ RI R 75.0 ! said so", "# S R 75 MHz RI"]
)
def test_entries_of_the_option_line_in_any_order(line):
    """The specification leaves the order open and does not mind case."""
    found = parsed(f"{line}\n174 0.1 0.2\n")
    assert (found.freq_hz[0], found.reference_ohm, complex(found.s[0, 0, 0])) == (174e6, (75.0,), 0.1 + 0.2j)


@pytest.mark.parametrize(
    ("text", "name", "place", "message"),
    [
        ("174 0.1 0\n", "a.s1p", (0, 0), "has no option line"),
        ("# MHz S RI R 50\n", "a.s1p", (0, 0), "holds no figures"),
        ("# MHz S RI R 50\n174 0.1\n", "a.s1p", (2, 1), "2 columns where 3 are needed"),
        ("# MHz S RI R 50\n174 0.1 0 1 2\n", "a.s1p", (2, 1), "5 columns where 3"),
        ("# MHz S RI R 50\n174 0.1 0\n", "a.s2p", (2, 1), "3 columns where 9"),
        ("# MHz S RI R 50\n174 0.1 0\n 173 0.1 0\n175 0 0\n", "a.s1p", (3, 2), "do not rise"),
        ("# MHz S RI R 50\n174 0.1 0\n174 0.2 0\n", "a.s1p", (3, 1), "is repeated"),
        ("# MHz S RI R 50\n2 1 0 1 0 1 0 1 0\n1 1 0 1 0 1 0 1 0\n3 1 0 1 0 1 0 1 0\n", "a.s2p", (3, 1), "do not rise"),
        ("# MHz S RI R 50\n3 1 0\n2 1 0\n2 1 0\n", "a.s1p", (4, 1), "is repeated"),
        ("# MHz S RI R 50\n2\u00a00.1\u00a00\n3 0.1 0\n1\u20030.1\u20030\n", "a.s1p", (4, 1), "do not rise"),
        ("# MHz S RI R 50\n174 0,1 0\n", "a.s1p", (2, 5), "'0,1' is not a number"),
        ("# MHz S RI R 50\n174 nan 0\n", "a.s1p", (2, 5), "'nan' is not a number"),
        ("# MHz S RI R 50\n174 1e999 0\n", "a.s1p", (2, 1), "not finite"),
        ("# MHz S DB R 50\n174 1e9 0\n", "a.s1p", (2, 1), "not finite"),
        ("# MHz S RI R 50\n-1 0 0\n", "a.s1p", (2, 1), "below zero"),
        ("# MHz S RI R -50\n174 0 0\n", "a.s1p", (1, 14), "no reference impedance"),
        ("# MHz S RI R\n174 0 0\n", "a.s1p", (1, 12), "no impedance follows R"),
        ("# MHz S RI R 50 R 75\n174 0 0\n", "a.s1p", (1, 17), "twice"),
        ("# MHz S RI R 50 75\n174 0 0\n", "a.s1p", (0, 0), "2 reference impedances for 1 port"),
        ("# MHZZ S RI R 50\n174 0 0\n", "a.s1p", (1, 3), "'MHZZ' is no entry"),
        ("# MHz H RI R 50\n1 1 0 1 0 1 0 1 0\n", "a.s2p", (1, 1), "H-parameters"),
        ("# MHz S RI R 50\n174 0 0\n# GHz S RI R 50\n", "a.s1p", (3, 1), "second option line"),
        ("! Port Impedance 75 0\n# MHz S RI R 50\n174 0 0\n", "a.s1p", (1, 1), "other port impedances"),
        ("[Version] 3.0\n# MHz S RI\n[Number of Ports] 1\n[Network Data]\n1 0 0\n", "a.ts", (1, 1), "'3.0'"),
        ("[Version] 2.0\n# MHz S RI\n[Network Data]\n1 0 0\n", "a.ts", (1, 1), "[Number of Ports]"),
        (
            "[Version] 2.0\n# MHz S RI\n[Number of Ports] 100\n[Network Data]\n1 0 0\n",
            "a.ts",
            (3, 1),
            "'100' is no number that can stand",
        ),
        (
            "[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n[Number of Frequencies] 1000000000\n[Network Data]\n1 0 0\n",
            "a.ts",
            (4, 1),
            "'1000000000' is no number that can stand",
        ),
        ("[Version] 2.0\n# MHz S RI\n[Number of Prots] 1\n[Network Data]\n1 0 0\n", "a.ts", (3, 1), "no keyword"),
        ("[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n1 0 0\n", "a.ts", (4, 1), "before '[Network Data]'"),
        ("[Number of Ports] 1\n# MHz S RI\n[Network Data]\n1 0 0\n", "a.ts", (1, 1), "need '[Version] 2.0'"),
        (
            "[Version] 2.0\n# MHz S RI\n[Number of Ports] 1\n[Number of Frequencies] 3\n[Network Data]\n1 0 0\n",
            "a.ts",
            (4, 1),
            "1 lines of figures where 3 are stated",
        ),
        (
            "[Version] 2.0\n# MHz S RI\n[Number of Ports] 2\n[Network Data]\n1 0 0 1 0 1 0 0 0\n",
            "a.ts",
            (3, 1),
            "[Two-Port Data Order]",
        ),
        ("# MHz S RI R 50\n1 0 0\n", "a.s4p", (2, 1), "this frequency has 3 figures where 33 are needed for 4 ports"),
        ("# MHz S RI R 50\n1 0 0 0 0 0 0\n 1 1 2 2 3 3\n 1 1 2 2 3\n", "a.s3p", (2, 1), "13 figures where 19"),
    ],
)
def test_a_fault_and_its_place(text, name, place, message):
    """Every fault at its line and column, none guessed away."""
    found = faults(text, name)
    assert any(each[:2] == place and message in each[2] for each in found), found


def test_all_faults_at_once_and_no_more_than_can_be_read():
    """Twenty are shown, the rest counted."""
    text = "# MHz S RI R 50\n" + "".join(f"{number} x 0\n" for number in range(1, 100))
    found = faults(text)
    assert [each[0] for each in found[:20]] == list(range(2, 22))
    assert found[20][2] == "79 more from here on"


def test_a_reflection_above_one_in_its_place(tmp_path):
    """A little above 1 is noise and a warning, more is another quantity."""
    path = written(tmp_path, "# MHz S MA R 50\n174 0.5 0\n175 1.01 0\n")
    assert "1 of 2 readings reflect more than 1, up to 1.010 at 175 MHz" in read_sweep(path).warnings[0]
    path = written(tmp_path, "# MHz S MA R 50\n174 0.5 0\n175 4 0\n")
    with pytest.raises(InputError) as caught:
        read_sweep(path)
    (defect,) = caught.value.defects
    assert (defect.line, defect.message) == (3, "a reflection of magnitude 4 at 175 MHz")


def test_a_header_that_contradicts_the_plane_is_reported_and_not_applied(tmp_path):
    """A reading is in the impedance of its standards; nothing is converted twice."""
    path = written(tmp_path, "# MHz S RI R 50\n174 0.1 0.2\n")
    found = read_sweep(path, plane_ohm=75.0)
    assert found.reflection == [0.1 + 0.2j]
    assert "header says 50 ohm, the set-up's plane is in 75 ohm" in found.warnings[0]
    assert not read_sweep(path, plane_ohm=50.0).warnings


def test_impedances_are_ohms_whatever_the_plane(tmp_path):
    """75 ohm in a file of impedances are no reflection in 75 ohm and 0.2 in 50 ohm."""
    path = written(tmp_path, "# MHz Z RI R 50\n174 1.5 0\n")
    assert read_sweep(path, plane_ohm=75.0).magnitude == pytest.approx([0], abs=1e-15)
    assert read_sweep(path, plane_ohm=50.0).magnitude == pytest.approx([0.2])


@given(
    st.lists(st.tuples(st.floats(0, 1), st.floats(-180, 180)), min_size=1, max_size=20),
    st.sampled_from(["ri", "ma", "db"]),
)
def test_what_scikit_rf_writes_is_read_back(points, form):
    """Any sweep in any form of figures, written by the library, comes back as it was."""
    s = np.array([size * np.exp(1j * np.deg2rad(angle)) for size, angle in points])
    freq = skrf.Frequency.from_f(np.arange(1, s.size + 1) * 1e6, unit="hz")
    made = skrf.Network(frequency=freq, s=np.where(s == 0, 1e-9, s).reshape(-1, 1, 1), z0=75, name="a")
    text = made.write_touchstone("a", return_string=True, form=form)
    found = parsed(text)
    np.testing.assert_allclose(found.s, made.s, atol=1e-12)
    assert found.reference_ohm == (75.0,)


def test_a_known_answer_of_scikit_rf_media(tmp_path):
    """A shorted line of 75 ohm seen in 50 ohm, from the library's own line to our reading of its file."""
    freq = skrf.Frequency(174, 240, 67, unit="MHz")
    media = DefinedGammaZ0(freq, z0_port=50, z0=75, gamma=0.02 + 2j * np.pi * freq.f / 2e8)
    made = media.line(0.6, "m") ** DefinedGammaZ0(freq, z0=50).short()
    found = read_sweep(written(tmp_path, made.write_touchstone("a", return_string=True, form="ri")))
    # Closed form: Z = 75 tanh(gamma l).
    ohm = 75 * np.tanh((0.02 + 2j * np.pi * freq.f / 2e8) * 0.6)
    np.testing.assert_allclose(found.reflection, (ohm - 50) / (ohm + 50), atol=1e-9)


class Trap:
    """An object that runs a command when it is unpickled."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        return Path.touch, (self.path,)


@pytest.mark.parametrize("name", ["pad.s1p", "pad.s2p", "pad.ts", "pad.ntwk", "pad.csv"])
@pytest.mark.parametrize("protocol", [0, 4])
def test_a_pickle_does_nothing(tmp_path, name, protocol):
    """A file that would run a command if it were unpickled is refused and runs none."""
    witness = tmp_path / "ran"
    path = written(tmp_path, pickle.dumps(Trap(witness), protocol=protocol), name)
    for read in (lambda: read_sweep(path), lambda: touchstone.read_two_port(path)):
        with pytest.raises(InputError):
            read()
    assert not witness.exists()
    pickle.loads(Path(path).read_bytes())
    assert witness.exists(), "the trap would not have worked"
