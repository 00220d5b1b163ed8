"""`chain prove` as a user calls it: figures and sweeps, JSON, exit status, what is wrong said with its option."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from further import wide

from chain.cli.main import chain

pytestmark = pytest.mark.usefixtures("answered_once")

BOATHOUSE = "demo/boathouse.toml"
REVERSED = ("--open", "2.20", "--short", "2.25", "--load", "1.67")


def run(*words, status=0, **env):
    done = CliRunner(env=env).invoke(chain, ["prove", BOATHOUSE, *words])
    assert done.exit_code == status, done.output
    return done


@pytest.mark.usefixtures("few_trials")
def test_verdict_comes_first_and_screen_beside_what_it_should_be():
    """Verdict, table of readings, table of kinds, at 80 columns and never wider."""
    lines = run(*REVERSED, COLUMNS="80").stdout.splitlines()
    assert lines[0].startswith("Pad reversed (")
    assert max(map(len, lines)) <= 80
    (row,) = [line for line in lines if line.startswith("75-ohm load")]
    assert row.split()[2] == "1.67"
    assert "1.39 to 2.0" in row


@pytest.mark.usefixtures("few_trials")
def test_json_holds_the_contracted_keys():
    """`hypotheses` with `what`, `item` and `share`, most likely first, and `verdict`."""

    def refuse(text):
        raise AssertionError(text)

    got = json.loads(run(*REVERSED, "--ohms", "129.9", "--json").stdout, parse_constant=refuse)
    assert got["verdict"] == got["hypotheses"][0]["what"] == "pad reversed"
    assert got["hypotheses"][0]["item"] == "pad"
    found = [each["share"] for each in got["hypotheses"]]
    assert found == sorted(found, reverse=True)
    assert sum(found) == pytest.approx(1)
    assert got["ohms_open"] is False
    # Two of the readings exclude one another: a pad turned round passes DC.
    got = json.loads(run(*REVERSED, "--ohms", "open", "--json").stdout, parse_constant=refuse)
    assert got["verdict"] == "none of these"
    assert got["ohms_open"] is True


@pytest.mark.usefixtures("few_trials")
def test_enforce_ends_with_1_unless_the_chain_shows_no_fault():
    """0 without it, 1 with it; a verdict is no error, and a chain that shows no fault meets what is enforced."""
    assert run(*REVERSED).stderr == ""
    run(*REVERSED, "--enforce", status=1)
    run("--open", "1.73", "--load", "1.05", "--enforce")


@pytest.mark.usefixtures("few_trials")
def test_an_ohmmeter_alone_is_enough_to_start():
    """86.6 ohm speaks for the chain and says what it cannot see; 129.9 is the pad's other end; the next reading is named."""
    sound = run("--ohms", "86.6", COLUMNS="200").stdout
    assert "No fault found: the reading lies where a sound chain puts it." in sound
    assert "It could hide" in sound
    assert "Next: read a 75-ohm load too" in sound
    assert "Pad reversed (" in run("--ohms", "129.9").stdout
    assert json.loads(run("--ohms", "open", "--json").stdout)["telling"]["end"] in ("open", "short", "load", "load50")


@pytest.mark.usefixtures("few_trials")
def test_what_a_sound_chain_could_hide_and_the_next_reading_are_said():
    """Verdict, what could be hidden with its largest size, what to read next, in the first lines."""
    got = json.loads(run("--open", "1.73", "--load", "1.05", "--json").stdout)
    assert got["verdict"] == "no fault shown"
    assert got["inside"] is True
    assert got["telling"]
    sizes = {each["what"]: each["size"] for each in got["could_hide"]}
    assert 0 < sizes["far connector poor"] < 1
    shown = run("--open", "1.73", "--load", "1.05", COLUMNS="300").stdout.splitlines()[:3]
    assert [line.split()[0] for line in shown] == ["No", "They", "Next:"]


@pytest.mark.usefixtures("few_trials")
def test_sweeps_are_read_and_their_figures_reported(tmp_path):
    """A table for the open, a Touchstone file for the short; the mean over the span they share."""
    freq = np.linspace(174, 240, 12)
    table, file = tmp_path / "open.csv", tmp_path / "short.s1p"
    table.write_text("frequency_mhz,vswr\n" + "".join(f"{f:.3f},2.598\n" for f in freq))
    file.write_text("# MHz S RI R 50\n" + "".join(f"{f:.3f} 0.0718 0.0\n" for f in freq))
    out = run("--open", str(table), "--short", str(file), "--method").stdout
    assert "174 MHz to 240 MHz, means of 5 frequencies" in out
    at_one = run("--open", str(table), "--short", str(file), "--at", "200 MHz", "--json").stdout
    assert json.loads(at_one)["freq_hz"] == [200e6]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("words", "part"),
    [
        ((), "nothing was read"),
        (("--open", "1,7,3"), "--open: "),
        (("--load", "none.csv"), "none.csv: error: there is no such file"),
        (("--load", "1.05", "--at", "210"), "'210' has no unit"),
        (("--load", "1.05", "--ohms", "many"), "--ohms: 'many'"),
        (("--load", "1.05", "--load-limit", "good"), "'good'"),
        (("--load", "1.05", "--at", "9 GHz"), "its loss is known"),
        (("--open", "1.6", "--at", "500 MHz", "--at", "600 MHz"), "--at: given 2 times\nhelp: give it once"),
        (("--load", "1.05", "--ohms", "86.6", "--ohms", "open"), "--ohms: given 2 times"),
        (("--load", "1.05", "--load-limit", "32 dB", "--load-limit", "30 dB"), "--load-limit: given 2 times"),
        (("--load", "1.05", "--load50-limit", "32 dB", "--load50-limit", "30 dB"), "--load50-limit: given 2 times"),
        (("--load", "\x1b[31m1.05"), "'?[31m1.05'"),
    ],
)
def test_input_at_fault_ends_with_2_and_says_what(words, part):
    """Option and remedy; nothing of the user's steers the terminal."""
    done = run(*words, status=2)
    assert part in done.output
    assert "\x1b" not in done.output
    assert "Traceback" not in done.output


@pytest.mark.usefixtures("few_trials")
def test_what_to_read_next_is_said_where_nothing_can_be_reported():
    """One reading of a load proves little: an end that would tell is named with what it would show."""
    out = run("--load", "1.45", COLUMNS="120").stdout
    assert "Cannot tell yet: " in out
    assert " too: " in out


@pytest.mark.usefixtures("trials")
def test_readings_judged_together_are_reported_in_words():
    """Which reading speaks against which, and a size of two humps as two spans, never wider than the screen."""
    ends = ("--open", "1.59", "--short", "1.60", "--load", "1.05", "--load50", "1.11")
    out = run(*ends, "--method", COLUMNS="80").stdout
    assert max(map(len, out.splitlines())) <= 80
    words = " ".join(out.split())
    assert "A right chain that shows the" in words
    assert "All readings count together" in words
    small = run("--open", "1.50", "--short", "1.72", "--load", "1.05", "--load50", "1.12", COLUMNS="120").stdout
    (row,) = [line for line in small.splitlines() if line.startswith("open end not open ")]
    assert "%) or " in row


@pytest.mark.usefixtures("few_trials")
def test_an_output_file_is_written_whole_and_not_over_an_input(tmp_path):
    """`-o` takes text or JSON; an existing file needs --force."""
    target = tmp_path / "out.json"
    run(*REVERSED, "--json", "-o", str(target))
    assert json.loads(target.read_text())["verdict"] == "pad reversed"
    assert "--force" in run(*REVERSED, "-o", str(target), status=2).output
    setup = Path(BOATHOUSE).read_bytes()
    assert "writes .txt, .csv or .json" in run(*REVERSED, "-o", BOATHOUSE, "--force", status=2).output
    assert Path(BOATHOUSE).read_bytes() == setup
    table = tmp_path / "open.csv"
    table.write_text("frequency_mhz,vswr\n" + "".join(f"{mhz},2.598\n" for mhz in range(174, 241, 6)))
    swept = table.read_bytes()
    assert "is read by this command" in run("--open", str(table), "-o", str(table), "--force", status=2).output
    assert table.read_bytes() == swept


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("typed", "words", "has", "has_not"),
    [
        (("RL 11 dB", "RL 15 dB", "RL 25 dB"), (), "dB return loss", "VSWR"),
        (("1.78", "1.43", "1.12"), (), "VSWR", "return loss"),
        (("RL 11 dB", "RL 15 dB", "RL 25 dB"), ("--units", "vswr"), "VSWR", "return loss"),
        *wide((("11 dB", "15 dB", "25 dB"), (), "dB return loss", "VSWR")),
    ],
)
def test_sizes_of_faults_are_in_the_unit_that_was_typed(typed, words, has, has_not):
    """Verdict, table and what could be hidden; no bare reflection."""
    opened, one, other = typed
    text = run("--open", opened, "--load", one, "--load", other, *words).stdout
    kept = run("--open", opened, *words).stdout
    row = next(line for line in text.splitlines() if line.startswith("far connector poor"))
    assert has in text
    assert has.split()[0] in row
    assert has_not not in text + kept
    assert "of any match" in kept or has in kept


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    "text",
    [
        "RL 11.7 dB at 210 MHz",
        "11.7 dB at 210 MHz",
        "S11 -11.7 dB @ 210 MHz",
        "210 MHz: RL 11.7 dB",
        "return loss 11.7 dB",
    ],
)
def test_an_end_is_read_in_the_words_of_any_reading(text):
    done = CliRunner().invoke(chain, ["prove", "demo/boathouse.toml", "--open", text, "--at", "210 MHz"])
    plain = CliRunner().invoke(chain, ["prove", "demo/boathouse.toml", "--open", "RL 11.7 dB", "--at", "210 MHz"])
    assert done.exit_code == 0, done.output
    assert done.stdout == plain.stdout
    assert "dB return loss" in done.stdout


@pytest.mark.usefixtures("few_trials")
def test_where_it_was_read_is_named_as_in_a_reading():
    """A channel of the set-up, a decimal comma; outside the sweep the answer says so."""
    words = ["prove", "tests/data/loft.toml", "--load", "1.05"]
    channel, figure, comma = (
        CliRunner().invoke(chain, [*words, "--at", at]) for at in ("ch 30", "546 MHz", "546,0 MHz")
    )
    assert channel.exit_code == 0, channel.output
    assert channel.stdout == figure.stdout == comma.stdout
    assert "outside" not in figure.stdout
    beyond = CliRunner().invoke(chain, [*words, "--at", "800 MHz"], env={"COLUMNS": "200"})
    assert "what was read lies outside the set-up's sweep of" in beyond.stdout


@pytest.mark.usefixtures("few_trials")
def test_ends_that_name_several_frequencies_are_refused():
    words = ["prove", "demo/boathouse.toml", "--open", "1.73 at 210 MHz"]
    done = CliRunner().invoke(chain, [*words, "--short", "1.7 at 600 MHz"])
    assert done.exit_code == 2
    assert "another frequency than 210 MHz" in done.output
    assert CliRunner().invoke(chain, [*words, "--short", "1.7 at 210 MHz"]).exit_code == 0
