"""Tables as they are exported, in five languages; known answers from scikit-rf's own VSWR, dB, degrees and ohms."""

import itertools

import numpy as np
import pytest
import skrf
from hypothesis import given
from hypothesis import strategies as st
from skrf.media import DefinedGammaZ0

from chain.errors import InputError
from chain.sweeps.columns import role
from chain.sweeps.options import QUANTITIES, SweepOptions
from chain.sweeps.read import read_sweep
from chain.sweeps.text import AMBIGUOUS, figure
from library.files.store import csv_rows
from library.words import concepts


def network(points=21):
    """A known answer: end of 60 + 35j ohm behind 0.6 m of a lossy line of 75 ohm, in 50 ohm."""
    freq = skrf.Frequency(470, 862, points, unit="MHz")
    media = DefinedGammaZ0(freq, z0_port=50, z0=75, gamma=0.05 + 2j * np.pi * freq.f / 2e8)
    end = DefinedGammaZ0(freq, z0=50).load((60 + 35j - 50) / (60 + 35j + 50))
    return media.line(0.6, "m") ** end


KNOWN = network()
S11 = KNOWN.s[:, 0, 0]
COLUMNS = {
    "vswr": [KNOWN.s_vswr[:, 0, 0]],
    "return-loss": [-KNOWN.s_db[:, 0, 0]],
    "reflection-db": [KNOWN.s_db[:, 0, 0]],
    "magnitude": [KNOWN.s_mag[:, 0, 0]],
    "real-and-imaginary": [KNOWN.s_re[:, 0, 0], KNOWN.s_im[:, 0, 0]],
    "db-and-degrees": [KNOWN.s_db[:, 0, 0], KNOWN.s_deg[:, 0, 0]],
    "magnitude-and-degrees": [KNOWN.s_mag[:, 0, 0], KNOWN.s_deg[:, 0, 0]],
    "r-and-x": [KNOWN.z_re[:, 0, 0], KNOWN.z_im[:, 0, 0]],
    "z-and-degrees": [KNOWN.z_mag[:, 0, 0], KNOWN.z_deg[:, 0, 0]],
}
# The words are of the trade in each language, from memory.
HEADERS = {
    "en": {
        "frequency": "Frequency (MHz)",
        "vswr": ["VSWR"],
        "return-loss": ["Return Loss (dB)"],
        "reflection-db": ["S11 [dB]"],
        "magnitude": ["|S11|"],
        "real-and-imaginary": ["S11 real", "S11 imag"],
        "db-and-degrees": ["S11 dB", "S11 phase deg"],
        "magnitude-and-degrees": ["Magnitude", "Angle (deg)"],
        "r-and-x": ["R (ohm)", "X (ohm)"],
        "z-and-degrees": ["|Z| (ohm)", "Phase (deg)"],
    },
    "de": {
        "frequency": "Frequenz [MHz]",
        "vswr": ["Stehwellenverhältnis"],
        "return-loss": ["Rückflussdämpfung [dB]"],
        "reflection-db": ["Reflexionsfaktor [dB]"],
        "magnitude": ["Reflexionsfaktor (Betrag)"],
        "real-and-imaginary": ["Realteil", "Imaginärteil"],
        "db-and-degrees": ["Reflexion dB", "Phase in Grad"],
        "magnitude-and-degrees": ["Betrag", "Winkel [°]"],
        "r-and-x": ["Wirkwiderstand [Ohm]", "Blindwiderstand [Ohm]"],
        "z-and-degrees": ["Scheinwiderstand [Ohm]", "Phasenwinkel [°]"],
    },
    "fr": {
        "frequency": "Fréquence MHz",
        "vswr": ["Rapport d'ondes stationnaires"],
        "return-loss": ["Affaiblissement d'adaptation (dB)"],
        "reflection-db": ["Coefficient de réflexion dB"],
        "magnitude": ["Module"],
        "real-and-imaginary": ["Partie réelle", "Partie imaginaire"],
        "db-and-degrees": ["Réflexion (dB)", "Phase (degrés)"],
        "magnitude-and-degrees": ["Module", "Argument (deg)"],
        "r-and-x": ["Résistance", "Réactance"],
        "z-and-degrees": ["Impédance", "Angle (°)"],
    },
    "es": {
        "frequency": "Frecuencia (MHz)",
        "vswr": ["ROE"],
        "return-loss": ["Pérdida de retorno [dB]"],
        "reflection-db": ["Coeficiente de reflexión [dB]"],
        "magnitude": ["Módulo"],
        "real-and-imaginary": ["Parte real", "Parte imaginaria"],
        "db-and-degrees": ["Reflexión dB", "Fase (grados)"],
        "magnitude-and-degrees": ["Magnitud", "Ángulo (°)"],
        "r-and-x": ["Resistencia", "Reactancia"],
        "z-and-degrees": ["Impedancia", "Fase (°)"],
    },
    "it": {
        "frequency": "Frequenza MHz",
        "vswr": ["ROS"],
        "return-loss": ["Perdita di ritorno [dB]"],
        "reflection-db": ["Coefficiente di riflessione [dB]"],
        "magnitude": ["Modulo"],
        "real-and-imaginary": ["Parte reale", "Parte immaginaria"],
        "db-and-degrees": ["Riflessione dB", "Fase (gradi)"],
        "magnitude-and-degrees": ["Modulo", "Angolo (°)"],
        "r-and-x": ["Resistenza", "Reattanza"],
        "z-and-degrees": ["Impedenza", "Fase (°)"],
    },
}


def written(folder, text, name="sweep.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return str(path)


def table(language, quantity, mark=";", decimal=",", digits=10, preamble=(), order=1):
    """Text of an export."""
    heads = [HEADERS[language]["frequency"], *HEADERS[language][quantity]]
    rows = []
    for index in range(S11.size):
        figures = [KNOWN.f[index] / 1e6, *(column[index] for column in COLUMNS[quantity])]
        cells = [f"{value:.{digits}f}".replace(".", decimal) for value in figures]
        rows.append(mark.join(cells))
    return "\n".join([*preamble, mark.join(heads), *rows]) + "\n"


def check(found, quantity):
    np.testing.assert_allclose(found.freq_hz, KNOWN.f, rtol=1e-12)
    np.testing.assert_allclose(found.magnitude, np.abs(S11), atol=1e-8)
    if QUANTITIES[quantity][1] == 1:
        assert found.reflection is None, "a phase is never made up"
        assert "no phase" in found.interpretation
    else:
        np.testing.assert_allclose(found.reflection, S11, atol=1e-8)
    assert f"read as {QUANTITIES[quantity][0]}: " in found.interpretation


@pytest.mark.parametrize(("language", "quantity"), list(itertools.product(HEADERS, QUANTITIES)))
def test_every_quantity_in_every_language(tmp_path, language, quantity):
    """Header words alone tell what a column holds; the answer is scikit-rf's."""
    path = written(tmp_path, table(language, quantity))
    check(read_sweep(path, plane_ohm=50.0), quantity)


@given(
    quantity=st.sampled_from(sorted(QUANTITIES)),
    language=st.sampled_from(sorted(HEADERS)),
    writing=st.sampled_from([(";", ","), (";", "."), ("\t", ","), ("\t", "."), (",", ".")]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
    ending=st.sampled_from(["\n", "\r\n", "\r"]),
    preamble=st.sampled_from(
        [
            (),
            ("Export", ""),
            ("# a remark", "! another"),
            ("Points;21", "Date;2026;11;26"),
            ("470,862,21",),
            ("BEGIN DATA",),
        ]
    ),
    trailer=st.sampled_from(["", "END", "\n\n", "; end of data"]),
)
def test_any_dialect_gives_the_same_sweep(
    tmp_path_factory, quantity, language, writing, encoding, ending, preamble, trailer
):
    """Separator, decimal sign, preamble, trailer, line ends and encoding change nothing."""
    text = table(language, quantity, *writing, preamble=preamble) + trailer
    path = written(tmp_path_factory.mktemp("dialect"), text.replace("\n", ending), encoding=encoding)
    check(read_sweep(path, plane_ohm=50.0), quantity)


def test_figures_parted_by_blanks_under_a_remark(tmp_path):
    """A header may stand in a remark, and blanks may part the columns."""
    text = "! made up\n# f_MHz   Re   Im\n" + "".join(
        f"  {f / 1e6:.6f}  {s.real:+.9f} {s.imag:+.9f}\n" for f, s in zip(KNOWN.f, S11, strict=True)
    )
    check(read_sweep(written(tmp_path, text)), "real-and-imaginary")


def test_columns_parted_by_bars(tmp_path):
    """A bar parts columns where it encloses nothing."""
    check(read_sweep(written(tmp_path, table("en", "db-and-degrees", "|", "."))), "db-and-degrees")


def test_units_in_a_line_of_their_own(tmp_path):
    """Names in one line, units in the next."""
    text = table("en", "db-and-degrees").split("\n", 1)[1]
    text = f"Frequency;S11;S11\nMHz;dB;deg\n{text}"
    check(read_sweep(written(tmp_path, text)), "db-and-degrees")


def test_angles_in_radians(tmp_path):
    """A header that says radians is believed."""
    rows = [f"{f:.0f},{abs(s):.10f},{np.angle(s):.10f}" for f, s in zip(KNOWN.f, S11, strict=True)]
    text = "\n".join(["f (Hz),|S11|,angle (rad)", *rows])
    check(read_sweep(written(tmp_path, text)), "magnitude-and-degrees")


def test_a_share_in_percent(tmp_path):
    """A reflection of 20 % is 0.2."""
    found = read_sweep(written(tmp_path, "f/MHz;Reflexionsfaktor [%]\n470;20\n471;25\n"))
    assert found.magnitude.tolist() == [0.2, 0.25]


def test_several_columns_of_one_trace(tmp_path):
    """What has a phase is read, what describes the same trace agrees, what is no reflection is named."""
    rows = [
        f"{f / 1e6:.3f},{v:.3f},{d:.3f},{p:.2f},-3.0"
        for f, v, d, p in zip(KNOWN.f, *COLUMNS["vswr"], *COLUMNS["db-and-degrees"], strict=True)
    ]
    found = read_sweep(written(tmp_path, "\n".join(["MHz,VSWR,S11 dB,S11 deg,S21 dB", *rows])))
    np.testing.assert_allclose(found.reflection, S11, atol=2e-4)
    assert "not read: 'S21 dB'" in found.interpretation


def test_a_column_of_words_may_have_empty_cells(tmp_path):
    """Remarks in a last column that is not read may be missing, in some rows or in all; figures that are read may not."""
    head = 'sep=;\r\n"Frequenz, MHz";"VSWR";"Bemerkung"\r\n'
    for notes in (('"gut"', '""'), ('""', '"gut"'), ("", "")):
        rows = [f'"47{index},5";"1,5";{note}\r\n' for index, note in enumerate(notes)]
        found = read_sweep(written(tmp_path, head + "".join(rows)))
        np.testing.assert_allclose(found.magnitude, [0.2, 0.2])
        assert found.freq_hz.tolist() == [470.5e6, 471.5e6]
    with pytest.raises(InputError, match="1 column where 3 are needed"):
        read_sweep(written(tmp_path, head + '"470,5";"1,5";"gut"\r\n"471,5";;\r\n'))


def test_losses_of_either_sign(tmp_path):
    """All figures of one sign are losses, and which sign was unusual is reported."""
    plus, minus = (written(tmp_path, f"f/MHz,RL\n470,{sign}12\n471,{sign}13\n", f"{sign}.csv") for sign in ("", "-"))
    assert read_sweep(plus).magnitude.tolist() == read_sweep(minus).magnitude.tolist()
    assert "negative figures taken as loss" in read_sweep(minus).interpretation
    usual = read_sweep(written(tmp_path, "f/MHz,S11 dB\n470,-12\n", "usual.csv"))
    assert "taken as loss" not in usual.interpretation
    unusual = read_sweep(written(tmp_path, "f/MHz,S11 dB\n470,12\n", "unusual.csv"))
    assert "positive figures taken as loss" in unusual.interpretation


# What is open, the option that the error names, and what then comes of it as a magnitude. VSWR 1.5 is 0.2 (definition).
OPEN = [
    ("f/MHz,dB\n470,-13.98\n471,13.98\n", "--quantity", {"quantity": "reflection-db"}, None),
    ("f/MHz,RL\n470,0.02\n471,-0.02\n", "--quantity", {"quantity": "return-loss"}, 0.9977),
    ("f/MHz,S11\n470,0.2\n471,0.2\n", "--quantity", {"quantity": "magnitude"}, 0.2),
    ("f/MHz,VSWR,VSWR\n470,3,1.5\n471,3,1.5\n", "--column", {"columns": ("3",)}, 0.2),
    ("f/MHz,RL one,RL two\n470,3,13.98\n471,3,13.98\n", "--column", {"columns": ("RL two",)}, 0.2),
    ("f/MHz,VSWR,RL\n470,1.5,3\n471,1.5,3\n", "--column", {"columns": ("VSWR",)}, 0.2),
    ("Frequency,VSWR\n470,1.5\n471,1.5\n", "--frequency-unit", {"frequency_unit": "MHz"}, 0.2),
    ("Sweep,VSWR\n470,1.5\n471,1.5\n", "--frequency-unit", {"frequency_unit": "MHz"}, 0.2),
    ("470,1.5\n471,1.5\n", "--quantity", {"quantity": "vswr", "frequency_unit": "MHz"}, 0.2),
    ("f/MHz,R,X\n470,75,0\n471,75,0\n", "--impedance", {"impedance_ohm": 50.0}, 0.2),
    ("f/MHz,loudness\n470,1.5\n471,1.5\n", "--quantity", {"quantity": "vswr"}, 0.2),
    ("f/MHz;VSWR\n470.000;1,5\n471.000;1,5\n", "--decimal", {"decimal": "comma", "frequency_unit": "kHz"}, 0.2),
    ("f/MHz;VSWR\n470;9\n471;9\n\nmore\nf/MHz;VSWR\n470;1.5\n471;1.5\n", "--block", {"block": 2}, 0.2),
    ("f/MHz,|S11|,phase\n470,0.2,1\n471,0.2,2\n", "--quantity", {"quantity": "magnitude-and-degrees"}, 0.2),
]


@pytest.mark.parametrize(("text", "option", "settled", "magnitude"), OPEN)
def test_what_is_open_is_an_error_that_names_the_option(tmp_path, text, option, settled, magnitude):
    """Never a guess in silence: the error names the option, and the option settles it."""
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_sweep(path)
    assert any(option in each.help for each in caught.value.defects), str(caught.value)
    options = SweepOptions(**settled)
    if magnitude is None:
        with pytest.raises(InputError, match="would be a reflection of magnitude"):
            read_sweep(path, options)
    else:
        assert read_sweep(path, options).magnitude[0] == pytest.approx(magnitude, abs=1e-4)


def test_the_plane_gives_the_reference_of_impedances_and_says_so(tmp_path):
    """75 ohm is no reflection behind standards of 75 ohm, and the option overrides the plane."""
    path = written(tmp_path, "f/MHz,R,X\n470,75,0\n471,75,0\n")
    found = read_sweep(path, plane_ohm=75.0)
    assert found.magnitude[0] == 0
    assert "in 75 ohm, that of the plane" in found.interpretation
    assert read_sweep(path, SweepOptions(impedance_ohm=50.0), 75.0).magnitude[0] == pytest.approx(0.2)


def test_a_vswr_in_another_reference_than_the_ohms_is_found_out(tmp_path):
    """VSWR in 50 ohm beside R and X taken in 75 ohm cannot both be right."""
    path = written(tmp_path, "f/MHz,R,X,VSWR\n470,100,0,2\n471,100,0,2\n")
    assert read_sweep(path, plane_ohm=50.0).magnitude[0] == pytest.approx(1 / 3)
    with pytest.raises(InputError) as caught:
        read_sweep(path, plane_ohm=75.0)
    assert "--impedance" in caught.value.defects[0].help


@pytest.mark.parametrize(
    ("text", "settled", "place", "message"),
    [
        ("f/MHz,VSWR\n470,1.5\n", {"columns": ("7",)}, (1, 1), "names no column"),
        ("f/MHz,VSWR\n470,1.5\n", {"columns": ("VSRW",)}, (1, 1), "names no column"),
        ("f/MHz,RL a,RL b\n470,12,13\n", {"columns": ("RL",)}, (1, 1), "names several columns"),
        ("f/MHz,R\n470,50\n", {}, (1, 7), "R alone: its partner is missing"),
        ("f/MHz,R,X\n470,-50,3\n", {"impedance_ohm": 50.0}, (2, 5), "'-50' is below zero"),
        ("f/MHz,VSWR\n470,1.5\n471,\n", {}, (3, 1), "1 column where 2 are needed"),
        ("f/MHz,VSWR\n470,1.5\n---,---\n472,1.5\n", {}, (3, 1), "'---' is not a number"),
        ("f/MHz,VSWR\n470,5,1,5\n471,5,1,6\n", {}, (1, 1), "the lines below hold 4"),
        ("f/MHz,VSWR\n471,1.5\n470,1.5\n472,1.5\n", {}, (3, 1), "do not rise"),
        ("f/MHz,VSWR\n470,1.5\n470,1.5\n", {}, (3, 1), "repeated"),
        ("f/MHz;VSWR\n470;1.5\n", {"block": 3}, (0, 0), "none with the number 3"),
        ("f/MHz,RL\n470,0.1\n", {"quantity": "reflection-db", "columns": ("1",)}, (2, 5), ""),
        ("# MHz S RI R 50\n470 0 0\n", {"quantity": "vswr"}, (0, 0), "--quantity is of no use"),
        ("# MHz S RI R 50\n470 0 0\n", {"columns": ("S22",)}, (0, 0), "names no reflection"),
        ("# MHz S RI R 50\n470 .1 0 .1 0 .1 0 .1 0\n", {}, (0, 0), "a reflection at each end"),
    ],
)
def test_a_fault_and_its_place(tmp_path, text, settled, place, message):
    """Options and figures that do not fit are reported at their place."""
    path = written(tmp_path, text)
    if not message:
        assert read_sweep(path, SweepOptions(**settled)).magnitude[0] == pytest.approx(10**0.005)
        return
    with pytest.raises(InputError) as caught:
        read_sweep(path, SweepOptions(**settled))
    assert next((each.line, each.column) for each in caught.value.defects) == place
    assert message in caught.value.defects[0].message


@pytest.mark.parametrize(
    ("name", "text"), [("a.csv", "f/MHz,VSWR\n470,1.5\n"), ("a.s1p", "# MHz S RI R 50\n470 .2 0\n")]
)
def test_a_reference_that_nothing_depends_on(tmp_path, name, text):
    """Only ohms depend on a reference: stated for a reflection it changes nothing, and that is reported."""
    found = read_sweep(written(tmp_path, text, name), SweepOptions(impedance_ohm=75.0), 50.0)
    assert found.magnitude[0] == pytest.approx(0.2)
    assert "--impedance changes nothing here" in found.warnings[0]


def test_ports_of_a_two_port(tmp_path):
    """The one reflection that was measured is read; of two the user names one."""
    one = written(tmp_path, "# MHz S RI R 50\n470 .1 0 .5 0 0 0 0 0\n", "one.s2p")
    assert "S11 of a two-port" in read_sweep(one).interpretation
    both = written(tmp_path, "# MHz S RI R 50 75\n470 .1 0 .5 0 .5 0 .3 0\n", "both.s2p")
    assert read_sweep(both, SweepOptions(columns=("s22",))).magnitude == pytest.approx([0.3])


# Forms of one number. Source: ISO 80000-1 on decimal signs and groups of three.
@pytest.mark.parametrize(
    ("text", "sign", "value"),
    [
        ("1234.5", ".", 1234.5),
        ("1,234.5", ".", 1234.5),
        ("1,234,567", ".", 1234567.0),
        ("1 234 567.25", ".", 1234567.25),
        ("1'234.5", ".", 1234.5),
        ("1234,5", ",", 1234.5),
        ("1.234,5", ",", 1234.5),
        ("1.234.567", ",", 1234567.0),
        ("1\u202f234,5", ",", 1234.5),
        ("\u22125,5", ",", -5.5),
        ("-1.5e-3", ".", -0.0015),
        ("1.234", ",", AMBIGUOUS),
        ("1,234", ".", AMBIGUOUS),
        ("0,234", ".", None),
        ("1,5", ".", None),
        ("1.5", ",", None),
        ("12.34.567", ",", None),
        ("1e999", ".", None),
        ("nan", ".", None),
        ("", ".", None),
        ("1_000", ".", None),
        ("٣", ".", None),
    ],
)
def test_a_figure(text, sign, value):
    """One reading of a figure or none, and what may be two is called ambiguous."""
    assert figure(text, sign) == value


def test_a_single_group_is_settled_by_the_user():
    """The same text is two numbers, by the sign that the user names."""
    assert (figure("174.000", ",", True), figure("174.000", ".", True)) == (174000.0, 174.0)


@pytest.mark.parametrize(
    ("header", "what"),
    [
        ("S21 [dB]", "foreign"),
        ("Insertion loss", "foreign"),
        ("Level dBm", "foreign"),
        ("Group delay", "foreign"),
        ("Einfügedämpfung [dB]", "foreign"),
        ("S22 dB", "foreign"),
        ("Time", "foreign"),
        ("anything", ""),
        ("Re(Z)", "r"),
        ("Im(Z)", "x"),
        ("re:S11", "real"),
        ("Ang(S11)", "phase"),
        ("S11dB", "db"),
        ("SWR", "vswr"),
        ("TOS [%]", "magnitude"),
    ],
)
def test_a_header(header, what):
    """What is no reflection of this port is never taken for one."""
    assert role(header) == what


def test_words_say_where_they_come_from_and_mean_one_thing():
    """Each row names its standing; a phrase stands for two concepts only where the trade uses it so."""
    assert {row["language"] for row in csv_rows("sweep_words.csv")} == {"en", "de", "fr", "es", "it"}
    for row in csv_rows("sweep_words.csv"):
        assert row["evidence"] in ("published", "practice", "memory")
        assert row["source"]
        for phrase in row["phrases"].split("|"):
            assert row["concept"] in concepts(phrase.replace("*", "")), phrase


@pytest.mark.parametrize(("mark", "pointed_out"), [(",", True), (";", False)])
def test_a_line_of_too_many_columns_may_hold_decimal_commas_where_commas_part_them(tmp_path, mark, pointed_out):
    path = tmp_path / "long.csv"
    path.write_text("f/MHz,VSWR\n470,1.5\n480,1,6,2\n490,1.4\n".replace(",", mark))
    with pytest.raises(InputError) as caught:
        read_sweep(str(path))
    (found,) = caught.value.defects
    assert (found.line, "decimal points" in found.help) == (3, pointed_out)
