"""Remedies that work when they are taken at their word: of a missing option line, a lone magnitude, a header marked otherwise."""

from itertools import product
from pathlib import Path

import pytest
from click.testing import CliRunner
from further import wide

from chain.cli.main import chain

SETUP = "demo/plane-after-pad.toml"


def answered(tmp_path, name, text):
    path = tmp_path / name
    path.write_text(text, "utf-8")
    return CliRunner().invoke(chain, ["recover", SETUP, str(path)])


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("rows", "option"),
    [
        ("174 -20.1 -120\n175 -20.2 -121\n176 -20 -122\n", "# MHz S DB R 50"),
        ("174 0.1 -120\n175 0.11 -121\n176 0.1 -122\n", "# MHz S MA R 50"),
        ("174000000 0.1 -0.2\n175000000 0.1 -0.21\n176000000 0.1 -0.2\n", "# Hz S RI R 50"),
    ],
)
def test_a_missing_option_line_is_proposed_as_the_figures_look(tmp_path, rows, option):
    assert f"'{option}'" in answered(tmp_path, "a.s1p", rows).stderr
    assert answered(tmp_path, "b.s1p", f"{option}\n{rows}").exit_code == 0


def test_a_touchstone_file_of_magnitudes_has_a_way_in(tmp_path):
    rows = "174 20.1\n175 20.2\n176 20.0\n"
    assert "'frequency_mhz,return_loss_db'" in answered(tmp_path, "a.s1p", f"# MHz S DB R 50\n{rows}").stderr
    table = "frequency_mhz,return_loss_db\n" + rows.replace(" ", ",")
    assert answered(tmp_path, "b.csv", table).exit_code == 0


def test_a_header_with_other_separators_than_the_figures_is_named(tmp_path):
    found = answered(tmp_path, "a.csv", "frequency_mhz,vswr\n174 1.2\n175 1.3\n")
    assert "the header has commas between its columns, the figures have none" in found.stderr
    assert "no header" not in found.stderr


@pytest.mark.usefixtures("few_trials")
def test_a_set_up_and_a_sweep_in_either_order_are_logged(tmp_path):
    found = CliRunner().invoke(
        chain, ["log", "add", str(tmp_path / "log"), "demo/plane-after-pad.s1p", SETUP, "--name", "aerial"]
    )
    assert found.exit_code == 0, found.output


def test_a_pad_asked_for_by_its_impedances_is_one_that_matches_them(tmp_path):
    text = Path("demo/boathouse.toml").read_text("utf-8").replace('"min-loss-pad"', '"pad 50-75"')
    path = tmp_path / "a.toml"
    path.write_text(text, "utf-8")
    found = CliRunner().invoke(chain, ["check", str(path)])
    assert "did you mean 'min-loss-pad'" in found.stderr
    assert "pi-" not in found.stderr


@pytest.mark.usefixtures("few_trials")
def test_a_table_in_db_has_return_losses(tmp_path):
    out = tmp_path / "r.csv"
    setup = tmp_path / "a.toml"
    for limit, wanted in (("return loss 10 dB", True), ("VSWR 2", False)):
        text = Path("demo/boathouse.toml").read_text("utf-8").replace('limit = "VSWR 2.0"', f'limit = "{limit}"')
        setup.write_text(text, "utf-8")
        found = CliRunner().invoke(
            chain, ["recover", str(setup), "--reading", "RL 21 dB at 210 MHz", "-o", str(out), "--force"]
        )
        assert found.exit_code == 0, found.output
        head, row = out.read_text("utf-8").splitlines()
        cells = dict(zip(head.split(","), row.split(","), strict=True))
        assert ("true_return_loss_db" in cells) == wanted
        assert not wanted or abs(float(cells["reading_return_loss_db"]) - 21) < 1e-9


NOTES = "frequency_mhz,vswr,notes\n174,1.30,\n175,1.22,windy\n176,1.21,\n"
NOTED = NOTES, NOTES.replace("windy", ""), NOTES.replace("1.30,", "1.30,new plug")
MARKS = ",", ";", "\t"
PAIRED = [*zip(NOTED, MARKS, strict=True)]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("text", "mark"),
    [*PAIRED, *wide(*(each for each in product(NOTED, MARKS) if each not in PAIRED))],
)
def test_notes_may_be_missing_in_any_row(tmp_path, mark, text):
    done = answered(tmp_path, "a.csv", text.replace(",", mark))
    assert done.exit_code == 0, done.stderr


@pytest.mark.usefixtures("few_trials")
def test_channels_with_notes_and_tabs(tmp_path):
    setup = tmp_path / "mine.toml"
    assert CliRunner().invoke(chain, ["new", "--for", "uhf-tv", "--region", "europe", "-o", str(setup)]).exit_code == 0
    path = tmp_path / "a.tsv"
    path.write_text("channel\tvswr\tnotes\n21\t1.30\t\n25\t1.22\tok\n", "utf-8")
    done = CliRunner().invoke(chain, ["recover", str(setup), str(path)])
    assert done.exit_code == 0, done.stderr


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("frequency_mhz,vswr\n174,1.3\n175,\n", "leave the line out"),
        ("chanel,vswr\n174,1.3\n175,1.3\n", "did you mean 'channel'?"),
        ("frequency_mhz,VSRW\n174,1.3\n175,1.3\n", "did you mean 'vswr'?"),
        ("freq_mhz,vswr\n174000000,1.3\n175000000,1.3\n", "that looks like Hz"),
        ("channel,vswr,notes\n5,1.3\n6,1.2\n", "the header names 3 columns"),
    ],
)
def test_slips_in_a_table_are_asked_back(tmp_path, text, said):
    done = answered(tmp_path, "a.csv", text)
    assert done.exit_code == 2
    assert said in done.stderr
    assert "decimal point" not in done.stderr or "3 columns" in said
