"""A folder followed: half-written files, duplicates, a thousand at once, a stop at any moment, a full disk; nothing twice."""

import errno
import json
import os
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from screens import says

from chain.antenna_report.follow import bar, big
from chain.cli.main import chain as program
from chain.errors import RangeError
from chain.records import folder as folder_module
from chain.records import watching
from chain.records.adding import Facts
from chain.records.folder import Folder
from chain.records.following import Follower, follow_folder

pytestmark = pytest.mark.process

SETUP = "demo/plane-after-pad.toml"
FREQ = np.linspace(174, 230, 9)


def sweep_text(size=0.3, seed=0, points=9):
    rng = np.random.default_rng(seed)
    seen = size * np.exp(0.02j * FREQ) + 0.002 * (rng.normal(size=9) + 1j * rng.normal(size=9))
    rows = [f"{f:.3f} {r.real:.6f} {r.imag:.6f}" for f, r in zip(FREQ[:points], seen, strict=False)]
    return "\n".join(["# MHz S RI R 75", *rows]) + "\n"


@pytest.fixture(autouse=True)
def quick(monkeypatch):
    """Files settle at once, so that no test waits by the clock."""
    monkeypatch.setattr(watching, "SETTLED_S", 0.0)
    monkeypatch.setattr(watching, "POLL_EVERY_S", 0.001)


def follower(place, **facts):
    return Follower.of(SETUP, str(place), str(place / "log"), Facts(**facts))


def answers(one, looks=3):
    return [found for _ in range(looks) for found in one.look()]


def records(place):
    found, damaged = Folder(place / "log").records(answers_only=False)
    assert not damaged
    return found


def test_each_sweep_is_answered_once_and_compared_with_the_last_and_the_first(tmp_path):
    """Three sweeps and a duplicate: three answers, three records; a real change is real, a repeated sweep is not."""
    for name, size, seed in (("a", 0.3, 1), ("b", 0.3, 2), ("c", 0.1, 3)):
        (tmp_path / f"{name}.s1p").write_text(sweep_text(size, seed), "utf-8")
    (tmp_path / "z-copy.s1p").write_text(sweep_text(0.3, 1), "utf-8")
    one = follower(tmp_path)
    a, b, c = answers(one)
    assert [each.source for each in (a, b, c)] == ["a.s1p", "b.s1p", "c.s1p"]
    assert a.since_last is None
    assert b.since_last.verdict == "within repeatability"
    assert c.since_last.verdict == c.since_first.verdict == "real"
    assert set(c.since_first.verdicts) == {"better"}
    assert len(records(tmp_path)) == 3
    assert not answers(one)
    assert not answers(follower(tmp_path)), "a new start answers nothing again"


def test_the_folder_may_be_the_one_that_one_stands_in(tmp_path, monkeypatch):
    """`.` is a folder as any other."""
    setup = Path(SETUP).absolute()
    (tmp_path / "a.s1p").write_text(sweep_text(0.3, 1), "utf-8")
    monkeypatch.chdir(tmp_path)
    assert [each.source for each in answers(Follower.of(str(setup), ".", "log", Facts()))] == ["a.s1p"]


def test_a_new_start_goes_on_from_the_records(tmp_path):
    """The first and the last sweep of an earlier run are still what changes are reported against."""
    (tmp_path / "a.s1p").write_text(sweep_text(0.3, 1), "utf-8")
    answers(follower(tmp_path))
    (tmp_path / "b.s1p").write_text(sweep_text(0.1, 2), "utf-8")
    (found,) = answers(follower(tmp_path))
    assert found.number == 2
    assert found.since_first.since == "a.s1p"
    assert found.since_last.verdict == "real"


def test_half_written_files_wait_until_they_are_whole(tmp_path, monkeypatch):
    """A file that ends within a line, or has fewer points than the others, is no sweep yet; when it has grown it is one."""
    one = follower(tmp_path)
    (tmp_path / "a.s1p").write_text(sweep_text(seed=1), "utf-8")
    assert len(answers(one)) == 1
    path = tmp_path / "b.s1p"
    for text in ("", "# MHz S", sweep_text(seed=2)[:-20], sweep_text(seed=2, points=5)):
        path.write_text(text, "utf-8")
        assert not answers(one), text
    path.write_text(sweep_text(seed=2), "utf-8")
    assert [each.source for each in answers(one)] == ["b.s1p"]
    # What stays as it is past all patience is answered as it is, or refused, once.
    monkeypatch.setattr("chain.records.following.PATIENCE_S", 0.0)
    path.write_text("junk\n", "utf-8")
    found = answers(one)
    assert len(found) == 1
    assert found[0].problem
    (tmp_path / "short.s1p").write_text(sweep_text(seed=5, points=5), "utf-8")
    assert answers(one)[0].since_last is None
    (tmp_path / "c.s1p").write_text(sweep_text(seed=4), "utf-8")
    assert answers(one)[0].since_first.since == "a.s1p", "an odd sweep does not make the usual ones start again"
    assert len(records(tmp_path)) == 4


def test_what_is_drawn_beforehand_makes_no_sweep_wait(tmp_path):
    """Draws for the set-up's own frequencies serve a sweep of these, and one of others is answered at the first look it is whole."""
    one = follower(tmp_path)
    one.warm()
    (line,) = one.lines
    (tmp_path / "a.s1p").write_text(sweep_text(seed=1), "utf-8")
    assert [each.source for each in answers(one)] == ["a.s1p"]
    text = Path("demo/plane-after-pad.s1p").read_text("utf-8")
    (tmp_path / "b.s1p").write_text(text, "utf-8")
    assert line.first is None
    assert not answers(one), "after a first sweep one of other frequencies may be half a file"
    again = follower(tmp_path)
    again.warm()
    assert again.lines[0].first[0] == "a.s1p", "the last frequencies kept are the ones to expect"


def test_clocks_that_jump_do_no_harm(tmp_path):
    """Files dated years ago or ahead are sweeps like any other."""
    one = follower(tmp_path)
    for name, stamp in (("a", 0), ("b", 4_000_000_000), ("c", 1_000_000_000)):
        path = tmp_path / f"{name}.s1p"
        path.write_text(sweep_text(seed=stamp), "utf-8")
        os.utime(path, (stamp, stamp))
        assert [each.source for each in answers(one)] == [path.name]


def test_a_full_disk_keeps_the_answers_waiting_and_loses_none(tmp_path, monkeypatch):
    """While nothing can be written answers come and say so; with room again every one of them is on the disk, once."""
    one = follower(tmp_path)
    real = os.fsync

    def full(handle):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(folder_module.os, "fsync", full)
    for number in range(3):
        (tmp_path / f"{number}.s1p").write_text(sweep_text(seed=number), "utf-8")
    found = answers(one)
    assert [each.kept for each in found] == [False, False, False]
    assert not list((tmp_path / "log").glob("*.toml"))
    hidden = {each.name.split("-")[0] for each in (tmp_path / "log").glob(".*")}
    assert hidden <= {".answered"}, "nothing half-written stays"
    monkeypatch.setattr(folder_module.os, "fsync", real)
    assert not answers(one), "none is answered again"
    assert [each.sweeps[0].source for each in records(tmp_path)] == ["0.s1p", "1.s1p", "2.s1p"]


@pytest.mark.parametrize("room_for_marks", [True, False])
def test_a_stop_while_the_disk_is_full_loses_nothing_and_answers_nothing_twice(tmp_path, monkeypatch, room_for_marks):
    """A new start keeps what was shown and says nothing of it; where not even an empty file can be made, it is reported again."""
    for number in range(3):
        (tmp_path / f"{number}.s1p").write_text(sweep_text(seed=number), "utf-8")
    with monkeypatch.context() as full:

        def no_room(*given, **more):
            raise OSError(errno.ENOSPC, "No space left on device")

        one = follower(tmp_path)
        full.setattr(folder_module.os, "fsync", no_room)
        if not room_for_marks:
            full.setattr(Path, "touch", no_room)
        assert [each.kept for each in answers(one)] == [False] * 3
    (tmp_path / "3.s1p").write_text(sweep_text(seed=3), "utf-8")
    again = answers(follower(tmp_path))
    assert [each.source for each in again] == (["3.s1p"] if room_for_marks else [f"{each}.s1p" for each in range(4)])
    assert again[-1].number == 4
    assert again[-1].since_first.since == "0.s1p"
    assert [each.sweeps[0].source for each in records(tmp_path)] == [f"{each}.s1p" for each in range(4)]
    assert not list((tmp_path / "log").glob(".answered-*"))


def thousand(place, count):
    for number in range(count):
        (place / f"s{number:04}.s1p").write_text(sweep_text(seed=number), "utf-8")


@pytest.mark.parametrize("count", [25, pytest.param(1000, marks=pytest.mark.slow)])
def test_many_files_at_once_are_each_answered_once(tmp_path, count):
    """As many answers and records as files, under different names, with the right sweeps in them."""
    thousand(tmp_path, count)
    found = list(follow_folder(SETUP, str(tmp_path), once=True))
    assert [each.number for each in found] == list(range(1, count + 1))
    kept = records(tmp_path)
    assert sorted(each.sweeps[0].source for each in kept) == [f"s{number:04}.s1p" for number in range(count)]
    assert not list(follow_folder(SETUP, str(tmp_path), once=True))


@pytest.mark.parametrize("rounds", [2, pytest.param(12, marks=pytest.mark.slow)])
def test_killed_at_any_moment_nothing_is_lost_and_nothing_kept_twice(tmp_path, rounds):
    """The program itself, killed again and again while it works through 20 files, then run to its end."""
    thousand(tmp_path, 20)
    words = [sys.executable, "-m", "chain", "follow", SETUP, str(tmp_path), "--once", "-q", "--json"]
    rng = np.random.default_rng(rounds)
    for _ in range(rounds):
        running = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        for _ in range(int(rng.integers(1, 5))):
            running.stdout.readline()
        time.sleep(float(rng.uniform(0, 0.05)))
        running.send_signal(signal.SIGKILL)
        running.communicate()
    subprocess.run(words, check=True, capture_output=True)
    assert sorted(each.sweeps[0].source for each in records(tmp_path)) == [f"s{number:04}.s1p" for number in range(20)]


def test_two_followers_of_one_log_are_one_too_many(tmp_path):
    """The second is refused, so that nothing is answered twice."""
    (tmp_path / "a.s1p").write_text(sweep_text(), "utf-8")
    running = follow_folder(SETUP, str(tmp_path), poll=True)
    next(running)
    with pytest.raises(RangeError, match="another"):
        next(follow_folder(SETUP, str(tmp_path), once=True))
    running.close()
    assert not list(follow_folder(SETUP, str(tmp_path), once=True))


@pytest.mark.parametrize("poll", [True, False])
def test_a_sweep_that_appears_is_noticed(tmp_path, poll):
    """By notification and by the clock: the next look after the file is there answers it."""
    pytest.importorskip("watchfiles")
    looks = watching.looks(tmp_path, poll)
    arrivals = watching.Arrivals(tmp_path)
    next(looks)
    assert not arrivals.ready()
    (tmp_path / "a.s1p").write_text(sweep_text(), "utf-8")
    for _ in range(100):
        next(looks)
        if arrivals.ready():
            break
    assert [each.name for each in arrivals.ready()] == ["a.s1p"]
    looks.close()


def test_the_screen_is_three_lines_a_figure_and_a_bar(tmp_path):
    """At 80 columns; JSON is one object a line."""
    for name, size in (("a", 0.3), ("b", 0.1)):
        (tmp_path / f"{name}.s1p").write_text(sweep_text(size), "utf-8")
    done = CliRunner().invoke(program, ["follow", SETUP, str(tmp_path), "--once", "--log", str(tmp_path / "one")])
    lines = done.stdout.splitlines()
    assert done.exit_code == 0
    assert lines[2].startswith("Next: ")
    assert max(map(len, lines)) <= 80
    assert "######" in done.stdout
    words = ["follow", SETUP, str(tmp_path), "--once", "--json", "--log", str(tmp_path / "two")]
    found = [json.loads(line) for line in CliRunner().invoke(program, words).stdout.splitlines()]
    assert [each["number"] for each in found] == [1, 2]
    assert found[1]["since_last"]["verdict"] == "real"
    assert CliRunner().invoke(program, ["follow", SETUP, str(tmp_path / "none")]).exit_code == 2
    assert CliRunner().invoke(program, ["follow", SETUP, str(tmp_path), "-o", "x"]).exit_code == 2


def test_figures_and_bars_say_what_they_are():
    """The bar's length is the reflection's; figures have five rows."""
    assert len(big(1.23)) == 5
    assert bar(1.0, None, 62)[0].count("#") == 0
    assert bar(2.0, 2.0, 62)[0].count("#") == pytest.approx(60 * (1 / 3) / (2 / 3), abs=1)
    assert bar(float("inf"), 2.0, 62)[0].count("#") == 60
    assert Path(SETUP).exists()


def test_a_sweep_of_other_frequencies_is_no_first_one(tmp_path):
    """It is the second of its series, which the log counts too; what its header says is warned of as anywhere."""
    folder = tmp_path / "sweeps"
    folder.mkdir()
    shutil.copy("demo/plane-after-pad.s1p", folder / "1.s1p")
    shutil.copy("demo/boathouse.s1p", folder / "2.s1p")
    found = CliRunner().invoke(program, ["follow", "demo/plane-after-pad.toml", str(folder), "--once"])
    says(found.stdout, "Sweep 1, 1.s1p: the first.")
    says(found.stdout, "Sweep 2, 2.s1p: no earlier one has its frequencies; not compared.")
    says(found.stdout, "the sweep's header says 50 ohm")
