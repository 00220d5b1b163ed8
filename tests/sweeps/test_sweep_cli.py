"""Sweeps on the command line: options settle what a file leaves open, what was read is printed, hostile names do nothing."""

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from chain.cli.main import chain
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep

BOATHOUSE = "demo/boathouse.toml"
AFTER_PAD = "demo/plane-after-pad.toml"


def run(*words, stdin=None):
    return CliRunner().invoke(chain, ["recover", *words, "--color", "never"], input=stdin, prog_name="chain")


def document(*words, stdin=None):
    found = run(*words, "--json", stdin=stdin)
    assert found.exit_code == 0, found.output
    return json.loads(found.output)


@pytest.fixture
def sweep(tmp_path):
    def written(text, name="sweep.csv"):
        path = tmp_path / name
        path.write_text(text, encoding="utf-8")
        return str(path)

    return written


def test_the_options_reach_the_reader(sweep):
    """Every option at once: a table without header, decimal commas, two values, ohms in a reference of their own."""
    path = sweep("x;200,5;75,0;0,0;9\nx;201,5;75,0;0,0;9\n\nmore\nx;200,5;60,0;5,0;9\nx;201,5;61,0;5,0;9\n")
    options = ["--quantity", "r-and-x", "--column", "3", "--column", "4", "--decimal", "comma"]
    found = run(BOATHOUSE, path, *options, "--frequency-unit", "mhz", "--impedance", "50", "--block", "2")
    assert found.exit_code == 2
    assert "'x' is not a number" in found.output, "column 1 is the frequency where there is no header"
    path = sweep("200,5;75,0;0,0;9\n201,5;75,0;0,0;9\n\nmore\n200,5;60,0;5,0;9\n201,5;61,0;5,0;9\n")
    options = ["--quantity", "r-and-x", "--column", "2", "--column", "3", "--decimal", "comma"]
    found = document(BOATHOUSE, path, *options, "--frequency-unit", "mhz", "--impedance", "50", "--block", "2")
    assert found["freq_hz"] == [200.5e6, 201.5e6]
    # Closed form: |60 + 5j - 50| / |60 + 5j + 50| = 0.1015, a VSWR of 1.226.
    assert found["reading_vswr"][0] == pytest.approx(1.226, abs=1e-3)
    assert "columns 2 and 3 read as R and X: 60 and 5 ohm at 200.5 MHz" in found["interpretation"]


def test_what_was_read_is_printed(sweep):
    """The page says which column was taken for what, with an example a person can check on the screen."""
    found = run(BOATHOUSE, sweep("Frequenz [MHz];Rückflussdämpfung [dB]\n200;12,1\n201;12,2\n"), "--method")
    text = " ".join(found.output.split())
    # 12.1 dB is VSWR 1.66 (conversion tables of makers' handbooks).
    assert "read as return loss: 12.1 dB at 200 MHz is VSWR 1.66" in text
    assert "decimal commas" in text


@pytest.mark.usefixtures("few_trials")
def test_warnings_of_a_sweep_are_shown(sweep):
    """A header that contradicts the plane, on the page and in JSON."""
    path = sweep("# MHz S RI R 50\n200 0.1 0.2\n201 0.1 0.2\n", "near.s1p")
    assert any("nothing converted" in each for each in document(AFTER_PAD, path)["warnings"])
    assert not any("nothing converted" in each for each in document(BOATHOUSE, path)["warnings"])


@pytest.mark.usefixtures("few_trials")
def test_ohms_are_in_the_reference_of_the_plane(sweep):
    """R and X of 75 ohm are a perfect antenna's behind standards of 75 ohm."""
    path = sweep("f/MHz,R,X\n200,75,0\n201,75,0\n")
    assert document(AFTER_PAD, path)["reading_vswr"] == [1.0, 1.0]
    assert document(AFTER_PAD, path, "--impedance", "50 ohm")["reading_vswr"][0] == pytest.approx(1.5)


def test_a_sweep_from_standard_input():
    """`-` is the sweep where a set-up is named."""
    found = document(BOATHOUSE, "-", stdin="f/MHz,VSWR\n200,1.2\n201,1.2\n")
    assert found["reading_vswr"] == pytest.approx([1.2, 1.2])


@pytest.mark.parametrize("name", ["boathouse-german.csv", "boathouse-r-x.csv"])
def test_exports_of_the_demo_are_the_demo_s_sweep(name):
    """The same sweep in three habits of writing, to the last digit that each keeps."""
    known, found = read_sweep("demo/boathouse.s1p"), read_sweep(f"demo/{name}", SweepOptions(impedance_ohm=50.0))
    assert found.freq_hz.tolist() == known.freq_hz.tolist()
    assert abs(found.magnitude - known.magnitude).max() < 1e-3
    assert (found.reflection is None) == name.startswith("boathouse-german")


@pytest.mark.parametrize(
    ("words", "reported"),
    [
        (["--impedance", "fifty"], "impedance"),
        (["--impedance", "50 MHz"], "impedance"),
        (["--quantity", "vwsr"], "vwsr"),
        (["--block", "0"], "block"),
        (["--frequency-unit", "THz"], "THz"),
    ],
)
def test_an_option_that_makes_no_sense(sweep, words, reported):
    """Exit status 2 and a word on the option; no traceback."""
    found = run(BOATHOUSE, sweep("f/MHz,VSWR\n200,1.2\n"), *words)
    assert found.exit_code == 2
    assert reported in found.output
    assert "Traceback" not in found.output


@pytest.mark.parametrize(
    "name", ["a\x1b[31m.csv", "a\u202egpj.csv", "[red]a[red].csv", "<b>.csv", "a\nb.csv", "$(touch ran).csv"]
)
@pytest.mark.parametrize("text", ["f/MHz,VS\x1b[31mWR\n200,\x1b]0;x\x07\n", "<html><script>1</script></html>\n"])
def test_hostile_names_and_texts_do_nothing(tmp_path, monkeypatch, name, text):
    """Neither a name nor what a file holds steers the terminal, becomes markup or runs."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / name).write_text(text)
    found = run(name)
    assert found.exit_code == 2
    assert "\x1b" not in found.output
    assert "\u202e" not in found.output
    assert sorted(each.name for each in Path().iterdir()) == [name]


@pytest.mark.parametrize("path", ["../../../../etc/passwd", "/dev/zero", "/proc/self/mem", ".", "a\0b", "x" * 5000, ""])
def test_paths_that_are_no_sweeps(path):
    """Reported in one line, whatever the path leads to."""
    found = run(BOATHOUSE, path)
    assert found.exit_code == 2
    assert "Traceback" not in found.output
