"""A match is shown in the user's unit on every screen of results: as VSWR or as return loss, nowhere as a bare magnitude."""

import csv
import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from pages import thinned

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("few_trials", "answered_once")

COMPARE = ["compare", "demo/loops.toml", "demo/loops.s1p", "demo/loops-wet.s1p"]
RIPPLE = ["ripple", "demo/ripple.s1p", "demo/ripple.toml"]


def shown(words):
    done = CliRunner().invoke(chain, words, env={"COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.mark.parametrize("words", [COMPARE, RIPPLE])
@pytest.mark.parametrize(("unit", "other"), [("vswr", "RL, dB"), ("rl", "VSWR")])
def test_no_column_holds_a_bare_magnitude(words, unit, other):
    text = shown([*words, "--units", unit])
    assert "|reflec" not in text
    assert other not in text


def test_what_an_antenna_turns_into_is_its_reflection_and_the_change():
    rows = re.findall(r"^(\d\d) .*?(\d\.\d\d) to (\d\.\d\d)", shown([*COMPARE, "--units", "vswr"]), re.M)
    channels = json.loads(shown([*COMPARE, "--json"]))["channels"]
    assert len(rows) == len(channels) == 7
    for (name, low, high), each in zip(rows, channels, strict=True):
        size = (each["first_vswr"] - 1) / (each["first_vswr"] + 1)
        ends = [min(max(size + each[by], 0.0), 1.0) for by in ("reflection_low", "reflection_high")]
        assert name == each["channel"]
        least, most = ((1 + end) / (1 - end) for end in ends)
        # What its own reading says of the second may be closer, and never further.
        assert float(low) >= least - 0.011
        assert float(high) <= most + 0.011
        assert [float(low), float(high)] == pytest.approx(
            [each["second_low_vswr"], each["second_high_vswr"]], abs=0.011
        )


@pytest.fixture
def in_db(tmp_path):
    """The set-up of the boathouse, and its need, judged by a return loss."""
    for name in ("boathouse.toml", "plane-after-pad.toml", "need.toml"):
        text = Path("demo", name).read_text(encoding="utf-8")
        text = re.sub(r"(?m)^points = \d+", "points = 34", text)
        text, count = re.subn(r'^limit = "[^"]*"', 'limit = "RL 9.5 dB"', text, flags=re.M)
        assert count == 1
        (tmp_path / name).write_text(text, encoding="utf-8")
    for path in Path("demo").glob("shop*.csv"):
        (tmp_path / path.name).write_bytes(path.read_bytes())
    return tmp_path


@pytest.mark.parametrize(
    ("words", "names"),
    [
        (["expect", "boathouse.toml"], {"reading_return_loss_low_db", "bound_return_loss_high_db"}),
        (["planes", "plane-after-pad.toml"], {"return_loss_low_db", "limit_return_loss_high_db"}),
        (["card", "boathouse.toml"], {"reading_return_loss_low_db", "reading_return_loss_high_db"}),
        (["choose", "need.toml"], {"return_loss_low_db", "return_loss_high_db"}),
    ],
)
def test_tables_in_db_give_intervals_in_db_too(words, names, in_db):
    command, file = words
    shown([command, str(in_db / file), "-o", str(in_db / "out.csv")])
    with (in_db / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert names <= {*rows[0]}
    for low in (name for name in names if "_low_" in name):
        assert all(float(row[low]) <= float(row[low.replace("_low_", "_high_")]) for row in rows)


def test_a_card_with_a_sweep_has_the_antenna_in_its_table(tmp_path):
    """Below the known ends, channel by channel; the same places and verdicts as in the document."""
    words = ["card", *map(str, thinned("boathouse", tmp_path))]
    shown([*words, "-o", str(tmp_path / "out.csv")])
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["end"] == "antenna"]
    known = json.loads(shown([*words, "--json"]))["measured"]
    assert [(row["place"], row["verdict"]) for row in rows] == [(each["place"], each["verdict"]) for each in known]
    assert [float(row["vswr"]) for row in rows] == pytest.approx([each["vswr"] for each in known])
    assert [float(row["true_ohm_real"]) for row in rows] == pytest.approx([each["true_ohm"][0] for each in known])


LOSSES = "frequency_mhz,return_loss_db\n" + "".join(
    f"{470 + 8 * step},{16 + 5 * math.cos(step):.2f}\n" for step in range(29)
)


@pytest.mark.parametrize("command", ["recover", "ripple"])
def test_a_file_of_return_losses_is_answered_in_db_where_no_limit_says_otherwise(command, tmp_path):
    """Without a set-up, as typed readings are; a file of VSWR in VSWR."""
    path = tmp_path / "losses.csv"
    path.write_text(LOSSES, encoding="utf-8")
    assert "return loss" in shown([command, str(path)])
    assert "VSWR" not in shown([command, str(path)])
    assert "VSWR" in shown([command, str(path), "--units", "vswr"])


def test_what_cannot_be_is_said_in_the_unit_of_the_limit(in_db):
    done = CliRunner().invoke(chain, ["recover", str(in_db / "boathouse.toml"), "--reading", "RL 2 dB at 200 MHz"])
    assert done.exit_code == 2
    assert "2.0 dB return loss at 200 MHz cannot come from" in done.output
    assert "VSWR" not in done.output


def test_parts_of_a_chain_are_limited_in_the_unit_of_the_need(in_db):
    """18.9 dB and not a magnitude of 0.113."""
    text = shown(["choose", str(in_db / "need.toml"), "--items"])
    assert re.search(r"dB loss, return loss [\d.]+ dB or more", text)
    assert re.search(r"dB loss, VSWR up to [\d.]+", shown(["choose", "demo/need.toml", "--items", "--units", "vswr"]))


@pytest.mark.parametrize(
    ("words", "columns"),
    [
        (COMPARE, {"channel", "first_vswr", "second_vswr", "second_low_vswr", "verdict"}),
        (["outlets", "demo/outlets.toml"], {"outlet", "channel", "level_dbuv", "margin_low_db", "verdict"}),
    ],
)
def test_what_is_a_table_on_the_screen_is_one_in_a_file(words, columns, tmp_path):
    shown([*words, "-o", str(tmp_path / "out.csv")])
    with (tmp_path / "out.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert columns <= {*rows[0]}
    assert len(rows) > 1
