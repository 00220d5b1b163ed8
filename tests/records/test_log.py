"""Records: kept whole, never rewritten, damage reported and skipped, read back as they were; trends of the demo's log."""

import csv
import io
import json
import math
import re
import shutil
import subprocess
import sys
import time
from dataclasses import replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from further import wide
from hypothesis import given, settings
from hypothesis import strategies as st
from screens import says

from chain.antenna_report.log import trend_facts, trend_grid, trend_lines
from chain.cli.main import chain as program
from chain.errors import InputError, RangeError
from chain.plots import log as log_plot
from chain.records.adding import Facts, log_measurement
from chain.records.folder import Folder
from chain.records.record import ChannelRecord, Record, SweepRecord, record_text, seal_state, slug
from chain.records.record_file import parse_record, record_schema
from chain.records.trends import log_trends, trends_of
from library.files.store import tomllib

SETUP, SWEEP = "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p"
WHEN = datetime(2024, 5, 1, 12, 30, tzinfo=timezone.utc)


def record(name="aerial", loss=0.5, when=WHEN, **more):
    channel = ChannelRecord("5", 174e6, 181e6, loss, 0.02, 1.5, 1.4, None, 0.2, 0.01, None, "pass")
    sweep = SweepRecord("antenna", "a.s1p", "0" * 64, ((174e6, 0.1, -0.2), (175e6, 1 / 3, 0.0)))
    found = Record(
        when,
        name,
        "antenna",
        "pass",
        "pass",
        "Title",
        "pad",
        "setups/x.toml",
        "1" * 64,
        "open, short",
        (channel,),
        (sweep,),
    )
    return replace(found, **more)


def run(*words):
    return CliRunner().invoke(program, ["log", *map(str, words)])


def test_a_record_reads_back_bit_for_bit_and_is_plain_toml(tmp_path):
    """Any TOML reader opens it; our reader gives the same record."""
    one = record(
        temperature_c=-3.5, operator='A "quoted" name', note="line\nbreak", warnings=("w",), versions=(("chain", "1"),)
    )
    path = Folder(tmp_path).add(one)
    assert path.name == "2024-05-01-1230-aerial.toml"
    assert parse_record(path.read_bytes(), str(path)) == one
    assert tomllib.loads(path.read_text("utf-8"))["sweep"][0]["points"][1][1] == 1 / 3
    assert not parse_record(path.read_bytes(), str(path), answers_only=True).sweeps


@settings(max_examples=150, deadline=None)
@given(st.text(max_size=30), st.text(max_size=30), st.floats(allow_nan=False, allow_infinity=False))
def test_any_text_of_the_users_comes_back_or_without_what_steers(name, note, loss):
    """Names and notes of any signs: the file is valid TOML, its own name harmless, printable text unchanged."""
    one = record(name or "x", loss, note=note)
    found = parse_record(record_text(one).encode("utf-8"), "r")
    assert found.channels[0].loss_db == loss
    if name and all(sign.isprintable() or sign in "\n\t" for sign in name):
        assert found.name == name
    assert re.fullmatch(r"\d{4}-\d\d-\d\d-\d{4}-[\w-]+", one.stem)


def test_names_of_files_cannot_leave_the_folder():
    """No separators, no dots, no blanks."""
    assert slug("../../etc/passwd") == "etc-passwd"
    assert slug("Bootshaus 2. Versuch!") == "bootshaus-2-versuch"
    assert slug("...") == "measurement"


def test_nothing_is_ever_rewritten(tmp_path):
    """Four records of one minute and one name are four files; the first stays as it was, byte for byte."""
    folder = Folder(tmp_path)
    first = folder.add(record())
    before = first.read_bytes()
    names = [folder.add(record(loss=0.1 * n)).name for n in range(2)] + [Folder(tmp_path).add(record(loss=9.0)).name]
    assert names == [f"2024-05-01-1230-aerial-{n}.toml" for n in (2, 3, 4)]
    assert first.read_bytes() == before
    assert not [each for each in tmp_path.iterdir() if each.name.startswith(".")]


def test_any_single_damage_is_noticed(tmp_path):
    """Each byte changed, each place cut off: never taken for whole; line ends of another system do no harm."""
    raw = record_text(record()).encode("utf-8")
    assert seal_state(raw) == "whole"
    assert seal_state(raw.replace(b"\n", b"\r\n")) == "whole"
    for at in range(0, len(raw) - 2, 3):
        changed = raw[:at] + bytes([raw[at] ^ 1]) + raw[at + 1 :]
        assert seal_state(changed) != "whole" or at > len(raw) - 70, at
        assert seal_state(raw[:at]) != "whole", at
    with pytest.raises(InputError, match="cut short"):
        parse_record(raw[:300], "r")
    with pytest.raises(InputError, match="altered"):
        parse_record(raw.replace(b"loss_db = 0.5", b"loss_db = 0.6"), "r")


def test_damaged_records_are_reported_and_skipped(tmp_path):
    """Of four files two are damaged: the list, the trend and the table go on with the others and name them."""
    folder = Folder(tmp_path)
    paths = [folder.add(record(when=WHEN + timedelta(days=n))) for n in range(4)]
    paths[1].write_bytes(paths[1].read_bytes()[:200])
    paths[2].write_bytes(paths[2].read_bytes().replace(b"0.5", b"0.9"))
    (tmp_path / "notes.txt").write_text("not mine", "utf-8")
    done = run("list", tmp_path)
    assert done.exit_code == 0
    assert "2 records" in done.stdout
    assert "2 damaged files skipped" in done.stdout
    found = json.loads(run("list", tmp_path, "--json").stdout)
    assert [each["path"] for each in found["damaged"]] == [paths[1].name, paths[2].name]
    assert {each.records for each in log_trends(str(tmp_path)).series} == {2}
    assert len(run("export", tmp_path).stdout.splitlines()) == 3


def test_the_schema_describes_what_is_written():
    """A written record fits the published schema; one key too many does not."""
    found = json.loads(json.dumps(tomllib.loads(record_text(record(temperature_c=4.0)))))
    jsonschema.validate(found, record_schema())
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({**found, "surprise": 1}, record_schema())


@pytest.mark.parametrize("count", [2000, *wide(10_000)])
def test_thousands_of_records_list_quickly(tmp_path, count):
    """All are counted; its head alone is read, which takes a part of the work of the whole record (no clock: the machine's own pace)."""
    text = record_text(record())
    for number in range(count):
        (tmp_path / f"2024-05-01-1230-aerial-{number + 2}.toml").write_text(text, "utf-8")
    begun = time.process_time()
    headings, damaged = Folder(tmp_path).headings()
    taken = time.process_time() - begun
    few = tmp_path / "few"
    few.mkdir()
    for path in sorted(tmp_path.glob("*.toml"))[: count // 10]:
        path.rename(few / path.name)
    begun = time.process_time()
    Folder(few).records()
    whole = 10 * (time.process_time() - begun)
    print(f"{taken:.2f} s of the processor, {taken / whole:.2f} of reading the records whole")
    assert len(headings) == count
    assert not damaged
    # About 0.3 here; a list that reads records whole would come to 1.
    assert taken < 0.7 * whole


def test_a_list_waits_for_nothing_that_computes():
    """Ten thousand records in under a second leave no room for what draws and solves to be loaded."""
    code = "import sys; from chain.cli.main import main; sys.argv = ['chain', 'log', 'list', 'demo/log']\ntry: main()\n"
    code += "except SystemExit: pass\nassert 'numpy' not in sys.modules"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "16 records of 2 things" in done.stdout


@pytest.mark.usefixtures("few_trials")
def test_the_commands_add_list_show_plot_and_export(tmp_path):
    """One sweep through all of them."""
    log = tmp_path / "log"
    done = run(
        "add",
        log,
        SETUP,
        SWEEP,
        "--temperature",
        "12 °C",
        "--operator",
        "invented",
        "--name",
        "loft",
        "--time",
        "2025-03-01 10:00",
    )
    assert done.exit_code == 0, done.output
    assert done.stdout.splitlines()[0].startswith("Undecided; worst channel 5: VSWR 2.16")
    assert done.stdout.splitlines()[2].startswith("Next: ")
    (path,) = log.glob("*.toml")
    assert path.name.endswith("-loft.toml")
    kept = parse_record(path.read_bytes(), str(path))
    assert (log / kept.setup).read_bytes() == Path(SETUP).read_bytes()
    assert (kept.temperature_c, kept.operator, kept.plane, len(kept.sweeps[0].points)) == (12.0, "invented", "pad", 225)
    assert json.loads(run("show", log, "loft", "--json").stdout)["name"] == "loft"
    assert "Too few records" in run("show", log).stdout
    assert run("show", log, "nothing").exit_code == 2
    assert run("show", log, "--name", "nothing").exit_code == 2
    assert run("list", tmp_path / "none").exit_code == 2
    assert run("add", log, SETUP, SWEEP, "--time", "soon").exit_code == 2
    assert run("add", log, SETUP, SWEEP, SWEEP).exit_code == 2
    page, picture = tmp_path / "log.html", tmp_path / "log.svg"
    assert run("export", log, "--page", "-o", page).exit_code == 0
    assert run("plot", log, "-o", picture).exit_code == 0
    assert picture.read_text("utf-8").startswith("<?xml")
    assert "loft" in page.read_text("utf-8")
    assert run("export", log, "--page", "-o", page).exit_code == 2


def test_the_demos_downlead_has_taken_in_water_and_its_aerial_has_not():
    """0.7 dB from the autumn of 2024 on, put in by the maker of the demo, found in every channel; the aerial stays as it is."""
    found = log_trends("demo/log")
    for each in found.series:
        if each.kind == "antenna":
            assert not each.steps, each
            continue
        (step,) = each.steps
        assert f"{step.after:%Y-%m}" == "2024-10"
        assert step.change_db == pytest.approx(0.7, abs=0.06)
        assert 0.0 < step.half_width_db < 0.06
    done = run("show", "demo/log")
    first = done.stdout.splitlines()[0]
    assert first.startswith("downlead, channel ")
    assert "more since 2024-10" in first
    assert max(map(len, done.stdout.splitlines())) <= 80


def test_another_set_up_starts_a_new_series_and_this_is_reported(tmp_path):
    """Errors common to both no longer cancel: the earlier records are left out, with a sentence."""
    for number in range(5):
        Folder(tmp_path).add(
            record(when=WHEN + timedelta(days=number), setup_sha256="2" * 64 if number < 2 else "1" * 64)
        )
    found = log_trends(str(tmp_path))
    assert found.series[0].records == 3
    assert "2 of 5 records" in found.warnings[0]


def test_lead_losses_by_open_and_short_are_those_of_the_lead(tmp_path):
    """The demo's lead: 1.9 dB at 200 MHz, so 1.9 sqrt(f/200 MHz) in each channel, within 0.06 dB at 20 degrees C (2022)."""
    found = log_trends("demo/log", "downlead")
    for each in found.series:
        channel = 174e6 + 7e6 * (int(each.channel) - 5) + 3.5e6
        assert each.losses_db[0] == pytest.approx(1.9 * (channel / 200e6) ** 0.5, abs=0.06)


def test_a_cell_of_a_table_is_no_formula(tmp_path):
    """A name that a spreadsheet would compute is marked as text."""
    Folder(tmp_path).add(record("=1+1"))
    assert "'=1+1" in run("export", tmp_path).stdout


def test_a_folder_that_cannot_be_made_is_reported(tmp_path):
    """With the remedy."""
    (tmp_path / "file").write_text("x", "utf-8")
    with pytest.raises(RangeError, match="cannot be made"):
        log_measurement(str(tmp_path / "file"), SETUP, SWEEP, facts=Facts())
    shutil.rmtree(tmp_path)


@pytest.mark.usefixtures("few_trials")
def test_the_sentence_of_a_record_has_the_figures_of_its_table(tmp_path):
    """Both round an interval outward; a line says why `recover` may differ in the last digits."""
    for limit in ("VSWR 2", "return loss 10 dB"):
        setup = tmp_path / f"{limit[:2]}.toml"
        text = Path("demo/plane-after-pad.toml").read_text("utf-8")
        setup.write_text(re.sub(r'limit = "[^"]*"', f'limit = "{limit}"', text), "utf-8")
        found = CliRunner().invoke(
            program, ["log", "add", str(tmp_path / "log"), str(setup), "demo/plane-after-pad-before.s1p"]
        )
        assert not found.exception, found.output
        words = re.match(r"\w+; worst channel (\d+): (?:RL|VSWR) ([\d.]+)(?: dB)?, ([\d.]+ to [\d.]+)\.", found.stdout)
        row = re.search(rf"^{words[1]} +([\d.]+) +([\d.]+ to [\d.]+) ", found.stdout, re.M)
        assert row.groups() == words.groups()[1:]
        says(found.stdout, "'chain recover' takes every point and draws for this sweep alone")


def test_what_the_export_is_asked_for_and_does_not_hold_is_said(tmp_path):
    for words, message in ((("--name", "mast"), "names: aerial, downlead"), (("--channel", "99"), "channels: 5, 6")):
        for command in ("export", "show"):
            done = CliRunner().invoke(program, ["log", command, "demo/log", *words])
            assert done.exit_code == 2, done.output
            assert message in done.output


def test_the_export_of_readings_without_phase_has_both_units_and_json(tmp_path):
    """VSWR 2 is 9.54 dB (definition); the upper end of one is the lower end of the other."""
    folder = str(tmp_path / "kept")
    added = CliRunner().invoke(
        program, ["log", "add", folder, "demo/boathouse.toml", "demo/boathouse.csv", "--name", "aerial"]
    )
    assert added.exit_code == 0, added.output
    text = CliRunner().invoke(program, ["log", "export", folder]).stdout
    rows = list(csv.DictReader(io.StringIO(text)))
    found = json.loads(CliRunner().invoke(program, ["log", "export", folder, "--json"]).stdout)["channels"]
    assert len(rows) == len(found) == 8
    for row, one in zip(rows, found, strict=True):
        for ratio, loss in (
            ("vswr", "return_loss_db"),
            ("vswr_low", "return_loss_high_db"),
            ("vswr_high", "return_loss_low_db"),
        ):
            size = (float(row[ratio]) - 1) / (float(row[ratio]) + 1)
            assert float(row[loss]) == pytest.approx(-20 * math.log10(size) if size else math.inf, rel=1e-6)
            assert one[ratio] == pytest.approx(float(row[ratio]), rel=1e-8)
        assert one["verdict"] == row["verdict"]


def series(losses, repeat, step_days=2, **more):
    """Records of one channel, oldest first."""
    out = []
    for number, loss in enumerate(losses):
        one = record(loss=loss, when=WHEN + timedelta(days=step_days * number))
        channel = replace(one.channels[0], repeat_db=repeat, reflection_repeat=0.03, **more)
        out.append(replace(one, channels=(channel,)))
    return trends_of("log", out)


def test_losses_beyond_what_is_told_apart_are_no_figures():
    """An infinite VSWR stands in a record as 60 dB, which repeats to nothing: neither is a loss that was measured."""
    found = series([1.69, 1.69, 1.69, 60.0, 60.0, 60.0], 0.24)
    (each,) = found.series
    assert each.since_first_db == math.inf
    assert math.isnan(each.half_width_db)
    assert trend_lines(found)[0] == "aerial, channel 5: loses over 20 dB more since 2024-05-07."
    (row,) = trend_grid(found)[1]
    assert row[3:] == [">20", "", "2024-05-07 >20"]
    # From one that turns back all to another nothing is known.
    both = series([45.0, 60.0, 50.0, 60.0], 0.24).series[0]
    assert (both.changed, both.steps) == ("can't tell", ())
    assert json.dumps(found.to_dict(), allow_nan=False)


def test_days_make_no_trend_a_year():
    """From half a year on a trend is a figure."""
    days = series([0.5, 0.6, 0.5, 0.6, 0.5], 0.1)
    assert math.isnan(days.series[0].trend_db_per_year)
    assert any("half a year" in each for each in trend_facts(days))
    years = series([0.5, 0.6, 0.5, 0.6, 0.5], 0.1, 90)
    assert math.isfinite(years.series[0].trend_db_per_year)
    assert not any("half a year" in each for each in trend_facts(years))


def test_steady_is_what_leaves_no_room_for_a_change():
    """A change that may be 30 dB either way is not steady, and nothing shown is not nothing changed."""
    assert series([0.5, 0.5, 0.5, 0.5], 0.1).series[0].changed == "steady"
    found = series([0.5, 0.5, 0.5, 0.9], 10.0)
    assert found.series[0].changed == "can't tell"
    assert trend_lines(found)[0] == "No step shown; in 1 of 1 row the records can't tell."
    assert "--before" in trend_lines(found)[2]
    assert series([0.5, 1.0, 1.5, 2.0], 0.2, 100).series[0].changed in ("drift", "step")


def test_a_channel_that_no_antenna_can_have_read_so_is_in_no_series():
    """What is impossible says nothing of a loss."""
    assert series([0.5, 60.0], 0.1, verdict="impossible").series == ()


def test_an_impossible_reading_is_kept_as_one(tmp_path):
    """VSWR 10 behind a pad: first line, row and next step say so."""
    sweep = tmp_path / "a.csv"
    sweep.write_text("channel,vswr\n21,1.3\n48,10\n", "utf-8")
    shown = run("add", tmp_path / "log", "tests/data/loft.toml", sweep).stdout
    assert shown.startswith("Impossible; channel 48: no antenna reads so through this chain.")
    assert "chain prove" in shown.splitlines()[2]
    row = next(line for line in shown.splitlines() if line.startswith("48"))
    assert row.split() == ["48", "none", "none", "impossible"]
    assert "1 record" in run("list", tmp_path / "log").stdout


def test_the_axis_of_some_days_has_dates():
    """Tenths of years are for years."""
    (chart,) = log_plot.describe(series([0.5, 0.6, 0.5, 0.6], 0.1))
    texts = [each.text for each in chart.x.ticks]
    assert "2024-05-03" in texts
    assert 2 <= len(texts) <= 5
    assert all(re.fullmatch(r"2024-\d\d-\d\d", each) for each in texts)
    (chart,) = log_plot.describe(series([0.5, 0.6, 0.5, 0.6], 0.1, 400))
    assert "2025" in [each.text for each in chart.x.ticks]
