"""Readings of single channels: only what was read is named, the worst comes first, and what is judged together says so."""

import json

import pytest
from click.testing import CliRunner
from screens import says

from chain.cli.main import chain

SETUP = """[sweep]
region = "europe"
channels = "21-48"
[near]
connector = "N-50 jack"
shows = "vswr"
[[chain]]
id = "pad"
part = "min-loss-pad-n-f"
[[chain]]
id = "lead"
part = "rg6"
length = "1 m"
near = "F-75 plug"
far = "IEC-75 plug"
[far]
connector = "IEC-75 jack"
limit = "VSWR 2.0"
"""
GOOD = {21: 1.02, 22: 1.02, 25: 1.01, 30: 1.01, 34: 1.02, 48: 1.02}
MANY = {n: 1.05 for n in range(21, 39)} | {32: 1.40, 33: 1.52, 34: 1.62, 40: 1.35, 48: 1.66}


def ran(tmp_path, readings, *words, command="recover"):
    """What a command prints of readings by channel."""
    setup, sweep = tmp_path / "mine.toml", tmp_path / "read.csv"
    setup.write_text(SETUP)
    sweep.write_text("channel,vswr\n" + "".join(f"{n},{v}\n" for n, v in readings.items()))
    done = CliRunner().invoke(chain, [command, str(setup), str(sweep), *words])
    assert done.exit_code == 0, done.output
    return done.stdout


def test_only_channels_that_were_read_are_called_good(tmp_path):
    first, second, third = ran(tmp_path, GOOD).splitlines()[:3]
    assert says(first, "good", "all 6 channels read", "of 28")
    assert "everywhere" not in first
    assert second == "Good: 21, 22, 25, 30, 34, 48."
    assert third == "Next: read channels 23, 24, 26-29, 31-33, 35-47 as well."


def test_everywhere_is_said_where_each_channel_was_read(tmp_path):
    first, second, third = ran(tmp_path, {n: 1.01 for n in range(21, 49)}, "-q").splitlines()[:3]
    assert "everywhere" in first
    assert second == "Good: 21-48."
    assert says(third, "nothing more")


def test_a_few_places_of_a_sweep_are_not_everywhere():
    words = [each for freq in (180, 210, 240) for each in ("--reading", f"VSWR 1.02 at {freq} MHz")]
    done = CliRunner().invoke(chain, ["recover", "demo/boathouse.toml", *words, "-q"])
    first, _, third = done.stdout.splitlines()[:3]
    assert says(first, "good", "all 3 points read")
    assert says(third, "read the rest")


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    folder = tmp_path_factory.mktemp("many")
    return json.loads(ran(folder, MANY, "--json")), ran(folder, MANY)


def test_headline_second_line_and_table_name_the_same_worst_channel(many):
    document, text = many
    bad = [name for name, word in zip(document["middle_of"], document["verdicts"], strict=True) if word == "fail"]
    worst = document["middle_of"][document["true_vswr"].index(max(document["true_vswr"]))]
    assert worst == "48"
    lines = text.splitlines()
    assert says(lines[0], f"Bad on {len(bad)} of 20 channels read", "channel 48")
    rows = [line.split() for line in lines if line.startswith("ch ")]
    assert len(rows) == 12
    assert rows[0][1].rstrip(",") == "48"
    assert {row[1].rstrip(",") for row in rows[: len(bad)]} == set(bad)
    by_name = dict(zip(document["middle_of"], document["true_vswr"], strict=True))
    shown = [by_name[row[1].rstrip(",")] for row in rows[: len(bad)]]
    assert shown == sorted(shown, reverse=True)


def test_a_channel_that_leans_though_its_interval_is_beyond_the_limit_says_why(many):
    document, _ = many
    alone = [
        name
        for name, word, low in zip(document["middle_of"], document["verdicts"], document["low"], strict=True)
        if word == "not proven" and low > 2
    ]
    assert alone
    (why,) = [each for each in document["warnings"] if "alone" in each]
    assert all(name in why for name in alone)
    assert says(why, "20 channels", "together", "leans bad")


def test_the_card_carries_every_channel_that_was_read(tmp_path):
    found = json.loads(ran(tmp_path, MANY, "--json", command="card"))
    assert [each["place"].split(",")[0] for each in found["measured"]] == [f"ch {name}" for name in MANY]
