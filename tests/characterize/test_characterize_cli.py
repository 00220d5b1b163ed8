"""`chain learn` as it is run: the part file, what is said beside it, a set-up before and after, and misuse."""

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from screens import says

from chain.cli.main import chain
from chain.files.setup_file import load_setup
from library.files.store import tomllib
from library.load import load_library

pytestmark = pytest.mark.usefixtures("trials")

LEAD = ("learn", "lead", "--open", "demo/lead-open.s1p", "--short", "demo/lead-short.s1p", "--date", "2026-05-01")
PAD = ("learn", "two-port", "demo/pad.s2p", "--date", "2026-05-01")
PAD_ENDS = ("--near", "BNC-50 jack", "--far", "BNC-75 jack")
KNOWN_ENDS = (
    "learn", "ends", "--open", "demo/pad-open.s1p", "--short", "demo/pad-short.s1p", "--load", "demo/pad-load.s1p",
)  # fmt: skip


def run(*words, status=0, **env):
    """Run the program; its exit status must be the one expected."""
    done = CliRunner().invoke(chain, words, env=env)
    assert done.exit_code == status, done.output
    return done


def flat(text):
    """Text without its line breaks."""
    return " ".join(text.split())


def test_the_part_goes_to_stdout_and_what_there_is_to_say_to_stderr():
    """A pipe gets a sound part file; a person reads the verdict first, and every assumption on request."""
    done = run(*PAD, *PAD_ENDS, "--id", "club-pad")
    part = tomllib.loads(done.stdout)["pad"][0]
    assert part["id"] == "club-pad"
    assert part["evidence"] == "measured"
    assert "2026-05-01" in part["source"]
    assert "pad.s2p" in part["source"]
    assert says(done.stderr.splitlines()[0], "This pad", "5.7")
    assert "--assumed" in done.stderr
    said = flat(run(*PAD, *PAD_ENDS, "--assumed").stderr)
    assert "analyzer: directivity 30 dB" in said
    assert says(said, "reference 50 ohm", "DC: passed")
    assert run(*PAD, *PAD_ENDS, "--quiet").stderr == ""


@pytest.mark.parametrize("columns", ["80", "120"])
def test_it_fits_the_screen_without_colour_and_in_ascii(columns):
    """No line is wider than the terminal; nothing needs more than ASCII where the encoding is."""
    done = run(*PAD, *PAD_ENDS, COLUMNS=columns)
    assert max(map(len, done.stderr.splitlines())) <= int(columns)
    assert "\x1b" not in done.output


@pytest.mark.process
def test_a_name_survives_a_terminal_that_lacks_its_letters():
    """In ASCII the part file spells them as TOML escapes, which mean the same name."""
    name = "Bootshaus-D\u00e4mpfung \U0001f6a2"
    words = [sys.executable, "-m", "chain", *PAD, *PAD_ENDS, "--name", name]
    done = subprocess.run(words, capture_output=True, env={**os.environ, "PYTHONIOENCODING": "ascii"}, check=True)
    assert tomllib.loads(done.stdout.decode("ascii"))["pad"][0]["name"] == name
    assert b"---" in done.stderr


def test_a_file_is_written_whole_and_never_over_another(tmp_path):
    """Written once; refused the second time; taken with --force; an input is never taken for the output."""
    path = tmp_path / "own.toml"
    done = run(*LEAD, "--length", "0.6 m", "--id", "own", "-o", str(path))
    assert "This lead loses" in done.stdout
    assert f"written: {path}" in done.stderr
    part = load_library([path]).part("own")
    assert part.velocity_factor == pytest.approx(0.66, abs=0.01)
    before = path.read_bytes()
    assert "give --force" in run(*LEAD, "--length", "0.6 m", "-o", str(path), status=2).stderr
    assert path.read_bytes() == before
    run(*LEAD, "--length", "0.6 m", "--id", "own", "-o", str(path), "--force")
    assert path.read_bytes() == before
    assert "no .s2p" in run(*PAD, *PAD_ENDS, "-o", "demo/pad.s2p", "--force", status=2).stderr


def test_the_same_seed_gives_the_same_part():
    """Draws are repeatable, and another seed moves the ends of an interval only a little."""
    first, second = (json.loads(run(*PAD, *PAD_ENDS, "--json", "--seed", "7").stdout) for _ in range(2))
    other = json.loads(run(*PAD, *PAD_ENDS, "--json", "--seed", "8").stdout)
    assert first == second
    assert first["mean_loss"]["value"] == other["mean_loss"]["value"]
    assert first["mean_loss"]["low"] != other["mean_loss"]["low"]
    assert first["mean_loss"]["low"] == pytest.approx(other["mean_loss"]["low"], abs=0.03)


def test_json_holds_the_figures_and_the_part():
    """Loss over frequency with its interval, the two-port, the row and the text of the file."""
    found = json.loads(run(*KNOWN_ENDS, *PAD_ENDS, "--json").stdout)
    assert found["schema_version"] == 4
    assert len(found["freq_hz"]) == len(found["loss_db"]) == len(found["loss_low_db"]) == len(found["loss_high_db"])
    assert (found["near_ohm"], found["far_ohm"]) == (50.0, 75.0)
    assert len(found["s"]) == len(found["sweep_hz"]) == 67
    assert tomllib.loads(found["text"])["pad"][0] == found["row"]
    assert found["mean_loss"]["low"] < found["mean_loss"]["value"] < found["mean_loss"]["high"]


@pytest.mark.statistical
def test_the_learnt_pad_narrows_the_interval_of_the_set_up_it_goes_into(tmp_path):
    """Before and after are reported; the part file in a set-up of its own gives the figures that were reported."""
    path = tmp_path / "own.toml"
    words = (*KNOWN_ENDS, "--in", "demo/boathouse.toml", "--item", "pad", "--id", "own")
    found = json.loads(run(*words, "--json").stdout)
    before, after = (found["comparison"][side] for side in ("before", "after"))
    assert before["part"] == "min-loss-pad"
    assert after["reading_high"] - after["reading_low"] < 0.8 * (before["reading_high"] - before["reading_low"])
    assert after["true_low"] > before["true_low"]
    assert after["true_high"] < before["true_high"]
    path.write_text(found["text"], encoding="utf-8")
    text = Path("demo/boathouse.toml").read_text(encoding="utf-8").replace('part = "min-loss-pad"', 'part = "own"')
    (tmp_path / "set-up.toml").write_text('library = ["own.toml"]\n' + text, encoding="utf-8")
    setup = load_setup(tmp_path / "set-up.toml")
    assert setup.items[1].part.evidence.kind == "measured"
    assert any("evidence measured" in each for each in setup.assumed)
    shown = json.loads(run("expect", str(tmp_path / "set-up.toml"), "--true", "VSWR 2", "--json").stdout)["rows"][0]
    assert shown["reading_low"] == pytest.approx(after["reading_low"], abs=0.02)
    assert shown["reading_high"] == pytest.approx(after["reading_high"], abs=0.02)


def test_the_library_browser_shows_a_learnt_part(tmp_path):
    """`chain parts` takes the file, and says that its figures were measured."""
    path = tmp_path / "own.toml"
    path.write_text(run(*PAD, *PAD_ENDS, "--id", "club-pad").stdout, encoding="utf-8")
    text = flat(run("parts", "club-pad", "--library", str(path)).stdout)
    assert says(text, "measured", "2026-05-01")


def test_the_two_port_itself_can_be_kept(tmp_path):
    """A Touchstone file with both references, which another `learn` reads back to the same loss."""
    path = tmp_path / "own.ts"
    reported = flat(run(*KNOWN_ENDS, *PAD_ENDS, "--touchstone", str(path), COLUMNS="400").stderr)
    assert f'touchstone = "{path}", loss_tolerance = "0.' in reported
    assert "reflection_error = " in reported
    assert "[Reference] 50.0 75.0" in path.read_text()
    words = ("learn", "two-port", str(path), *PAD_ENDS, "--json")
    again = json.loads(run(*words).stdout)
    first = json.loads(run(*KNOWN_ENDS, *PAD_ENDS, "--json").stdout)
    assert again["mean_loss"]["value"] == pytest.approx(first["mean_loss"]["value"], abs=1e-9)
    refused = run(*LEAD, "--length", "0.6 m", "--touchstone", str(tmp_path / "no.ts"), status=2)
    assert says(refused.stderr, "two-port")


def test_repeats_are_counted_and_narrow_what_scatters():
    """Three sweeps of each end; the part says so, and its file names them all."""
    words = ("learn", "lead", "--length", "0.6 m", "--json")
    files = [f"demo/lead-{{}}{number}.s1p" for number in ("", "-2", "-3")]
    ends = [word for end in ("open", "short") for file in files for word in (f"--{end}", file.format(end))]
    found = json.loads(run(*words, *ends).stdout)
    assert found["sweeps"] == 3
    assert "lead-open-3.s1p" in found["row"]["source"]
    two = json.loads(run(*words, *ends[:4], *ends[6:10]).stdout)
    assert any("a third narrows" in text for text in two["warnings"])


def test_a_lead_too_short_to_tell_its_loss_is_said_to_be():
    """A percentage that says little comes with the reason and the remedy."""
    assert says(run(*LEAD, "--length", "0.6 m").stderr, "longer", "cable")


@pytest.mark.parametrize(
    ("words", "text"),
    [
        (LEAD, "--length '0.6 m'"),
        (("learn", "lead", "--open", "demo/lead-open.s1p", "--length", "1 m"), "needs --short FILE too"),
        ((*LEAD, "--load", "demo/pad-load.s1p", "--length", "1 m"), "chain learn ends --kind lead"),
        ((*LEAD, "demo/pad.s2p", "--length", "1 m"), "takes its sweeps by --open, --short"),
        (KNOWN_ENDS[:-2], "needs --load FILE too"),
        (("learn", "two-port"), "takes one two-port file or more"),
        (PAD, "--near 'N-50 plug'"),
        ((*PAD, "--near", "BNC jack", "--far", "F-75 jack"), "write 'BNC-50 jack' or 'BNC-75 jack'"),
        ((*PAD, "--kind", "lead"), "--impedance '75 ohm'"),
        ((*PAD, "--kind", "lead", "--impedance", "75 ohm"), "--length '0.6 m'"),
        ((*PAD, *PAD_ENDS, "--kind", "adapter"), "learn it as a pad"),
        ((*PAD, *PAD_ENDS, "--from", "180 MHz"), "give both --from and --to"),
        ((*PAD, *PAD_ENDS, "--from", "100 MHz", "--to", "200 MHz"), "the sweeps cover 174 to 240 MHz"),
        ((*PAD, *PAD_ENDS, "--tracking", "0.1"), "'0.1' has no unit"),
        ((*PAD, *PAD_ENDS, "--id", "my pad"), "an id is made of letters"),
        ((*PAD, *PAD_ENDS, "--name", "a" * 501), "name: string should have at most"),
        ((*PAD, *PAD_ENDS, "--id", "a" * 61), "is longer than 60 characters"),
        ((*PAD[:3], *PAD_ENDS, "--date", "2026-13-45"), "'2026-13-45' is no day help: write it as in 2026-05-01"),
        ((*PAD[:3], *PAD_ENDS, "--date", "2026-W01-1"), "is no day"),
        ((*PAD, *PAD_ENDS, "--from", "210 MHz", "--to", "200 MHz"), "--from '210 MHz' is not below --to '200 MHz'"),
        ((*LEAD, "--length", "0.6 m", "--velocity-factor", "0.3"), "contradict its phase: their delay is 2.2"),
        ((*PAD, "--in", "demo/boathouse.toml"), "--item ID"),
        ((*PAD, "--in", "demo/boathouse.toml", "--item", "pat"), "its items: adapter, pad, lead"),
        ((*PAD, *PAD_ENDS, "--in", "demo/boathouse.toml", "--item", "lead", "--kind", "pad"), "is of kind coax"),
        ((*LEAD, "--length", "0.6 m", "--velocity-factor", "66 %"), "such as 0.66"),
        ((*LEAD, "--length", "0.6 m", "--impedance", "50 ohm"), "not one of 50 ohm"),
        (("learn", "two-port", "demo/lead-open.s1p", *PAD_ENDS), "holds 1 port where 2 ports are needed"),
        (("learn", "back-to-back", "demo/pads-back-to-back.s2p", *PAD_ENDS, "--kind", "lead"), "leave --kind out"),
        (("learn", "lead", "--open", "demo/lead-open.s1p", "--short", "demo/pad-short.s1p"), "has 67 points"),
        (
            ("learn", "lead", "--open", "demo/boathouse.csv", "--short", "demo/boathouse.csv", "--length", "1 m"),
            "is given twice",
        ),
        ((*LEAD, "--length", "0.6 m", "--like", "rg95"), "did you mean 'rg59'"),
        ((*LEAD, "--length", "0.6 m", "--like", "min-loss-pad"), "is no cable"),
        (("learn", "two-port", "-", *PAD_ENDS), "are read from files"),
        (("learn", "guess"), "knows no 'guess'"),
    ],
)
def test_misuse_is_reported_with_its_remedy(words, text):
    """Exit status 2, one sentence on what is wrong, and what to write instead; never a traceback."""
    done = run(*words, status=2)
    assert flat(done.stderr).count(text) == 1, done.stderr
    assert "Traceback" not in done.output
    assert done.stdout == ""


def test_the_tolerance_of_a_length_counts_however_the_lead_was_measured(tmp_path):
    """Of a two-port as of an open and a short; and without a length there is nothing that it could be of."""
    lead = tmp_path / "lead.s2p"
    waves = ((mhz, f"{10 ** (-(mhz**0.5) / 100):.6f} {-0.36 * mhz:.4f}") for mhz in range(50, 450, 5))
    rows = (f"{mhz} 0 0 {wave} {wave} 0 0" for mhz, wave in waves)
    lead.write_text("# MHz S MA R 75\n" + "\n".join(rows) + "\n", encoding="utf-8")
    ends = ("--kind", "lead", "--near", "BNC-75 plug", "--far", "F-75 plug", "--impedance", "75 ohm")
    words = ("learn", "two-port", str(lead), *ends)
    one, other = (
        json.loads(run(*words, "--length", "0.25 m", "--length-tolerance", each, "--json").stdout)
        for each in ("0 m", "25 mm")
    )
    percent = [each["row"]["loss_tolerance_percent"] for each in (one, other)]
    assert percent[1] - percent[0] == pytest.approx(10, abs=0.1)
    assert "give that too" in run(*words, "--length-tolerance", "5 mm", status=2).stderr
