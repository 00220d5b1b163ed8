"""Readings of single channels: only what was read is named, the worst comes first, and what is judged together says so."""

import json

import pytest
from click.testing import CliRunner
from screens import says
from uhf_bench import UHF_VSWR_ALONE

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("answered_once")

GOOD = {21: 1.02, 22: 1.02, 25: 1.01, 30: 1.01, 34: 1.02, 48: 1.02}
MANY = {n: 1.05 for n in range(21, 39)} | {32: 1.40, 33: 1.52, 34: 1.62, 40: 1.35, 48: 1.66}


def ran(tmp_path, readings, *words, command="recover"):
    """What a command prints of readings by channel."""
    setup, sweep = tmp_path / "mine.toml", tmp_path / "read.csv"
    setup.write_text(UHF_VSWR_ALONE)
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


@pytest.mark.usefixtures("few_trials")
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


@pytest.mark.usefixtures("few_trials")
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


@pytest.mark.usefixtures("few_trials")
def test_the_card_carries_every_channel_that_was_read(tmp_path):
    found = json.loads(ran(tmp_path, MANY, "--json", command="card"))
    assert [each["place"].split(",")[0] for each in found["measured"]] == [f"ch {name}" for name in MANY]


def written(tmp_path, text, *, setup=UHF_VSWR_ALONE):
    """What `chain recover` makes of a table that was typed by hand."""
    (tmp_path / "mine.toml").write_text(setup)
    (tmp_path / "typed.csv").write_text(text)
    given = [str(tmp_path / "mine.toml")] if setup else []
    return CliRunner().invoke(chain, ["recover", *given, str(tmp_path / "typed.csv"), "--json"])


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    "text",
    [
        "ch 21: 1.30\nch 22: 1.20\n",
        "21 - 1.30\n22 - 1.20\n",
        "21: 1.30\n22: 1.20\n",
        "CH21 SWR 1.30\nCH22 SWR 1.20\n",
        "21=1.30\n22=1.20\n",
        "474 MHz 1.30\n482 MHz 1.20\n",
        "21;1,30\n22;1,20\n",
        "ch 21: 1.30:1\nch 22: 1.20:1\n",
    ],
)
def test_readings_as_people_jot_them_down(text, tmp_path):
    done = written(tmp_path, text)
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert found["middle_of"] == ["21", "22"]
    assert found["reading_vswr"] == pytest.approx([1.30, 1.20])


@pytest.mark.parametrize("text", ["5C 1.2\n5D 1.3\n", "5C;1,2\n5D;1,3\n"])
def test_blocks_of_digital_radio_need_no_header(text, tmp_path):
    done = written(tmp_path, text, setup=UHF_VSWR_ALONE.replace("21-48", "5A-12D"))
    assert done.exit_code == 0, done.output
    assert json.loads(done.stdout)["middle_of"] == ["5C", "5D"]


@pytest.mark.parametrize(
    ("text", "torn", "mended"),
    [
        ("21,1,30\n22,1,25\n", "21,1.30", "21,1.30\n22,1.25\n"),
        ("21,1,30\n22,1,25\n", "21;1,30", "21;1,30\n22;1,25\n"),
        ("channel,vswr\n21,1,30\n", "21;1,30", "channel;vswr\n21;1,30\n"),
    ],
)
def test_decimal_commas_between_commas_are_refused_and_either_remedy_leads_on(text, torn, mended, tmp_path):
    done = written(tmp_path, text)
    assert done.exit_code == 2
    assert torn in done.stderr
    assert written(tmp_path, mended).exit_code == 0


def test_a_wrong_channel_without_a_header_is_reported_as_that(tmp_path):
    done = written(tmp_path, "21,1.30\n50,1.25\n22,1.30\n")
    assert done.exit_code == 2
    assert says(done.stderr, ":2:1:", "'50' is none of the set-up's channels", "21 to 48")


def test_channels_without_header_and_set_up_name_both_at_once(tmp_path):
    done = written(tmp_path, "21,1.30\n22,1.25\n", setup="")
    assert done.exit_code == 2
    assert says(done.stderr, "no header", "frequency_mhz,vswr", "channel,vswr", "region")
    assert done.stderr.count("error:") == 1
    assert written(tmp_path, "channel,vswr\n21,1.30\n22,1.25\n").exit_code == 0
    assert written(tmp_path, "frequency_mhz,vswr\n210,1.30\n", setup="").exit_code == 0


BEFORE = dict.fromkeys(range(21, 41), 1.10) | {34: 1.05, 38: 1.05}
AFTER = BEFORE | {30: 1.45, 34: 1.45, 38: 1.40}


@pytest.mark.usefixtures("few_trials")
def test_what_would_differ_alone_is_named_and_the_sharper_question_too(tmp_path):
    paths = []
    for name, readings in (("A", BEFORE), ("B", AFTER)):
        paths.append(tmp_path / f"{name}.csv")
        paths[-1].write_text("channel,vswr\n" + "".join(f"{n},{v}\n" for n, v in readings.items()))
    (tmp_path / "mine.toml").write_text(UHF_VSWR_ALONE)
    setup, first, second = (str(each) for each in (tmp_path / "mine.toml", *paths))
    two = CliRunner().invoke(chain, ["compare", setup, first, second])
    assert says(two.stdout, "cannot tell", "none of 20", "--before")
    assert says(two.output, "channels 30, 34, 38", "alone", "20 judged together")
    one = CliRunner().invoke(chain, ["recover", setup, second, "--before", first])
    assert says(one.stdout, "now is worse than before in 3 of 20")
