"""Waiting for an answer at a real terminal: a bar after the first second, and the interrupt key at any moment."""

import os
import pty
import signal
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path
from threading import Event, Thread

import pytest

from chain.cli.output import bar
from chain.uncertainty.parallel import Dropped, go_on, in_order

pytestmark = pytest.mark.process

ROOT = Path(__file__).parent.parent.parent
BOATHOUSE = "demo/boathouse.toml"
# The first second is left out so that quick machines show the bar as well.
# The key is heeded again where the tests themselves were started to ignore it (in the background, by `nohup`), or ignored.
PROGRAM = """import signal, sys, chain.cli.output as p
p.PATIENCE_S = float(sys.argv.pop(1))
signal.signal(signal.SIGINT, signal.default_int_handler if sys.argv.pop(1) == "heeds" else signal.SIG_IGN)
from chain.cli.main import main
main()"""


class Terminal:
    """The program with its stderr on a terminal of its own; stdout is caught apart."""

    def __init__(self, words, patience_s=0.0, heeds=True):
        master, slave = pty.openpty()
        command = [sys.executable, "-c", PROGRAM, str(patience_s), "heeds" if heeds else "ignores", *words]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=slave, cwd=ROOT, start_new_session=True)
        os.close(slave)
        self.seen, self.shown = b"", Event()
        self.reader = Thread(target=self._read, args=(master,), daemon=True)
        self.reader.start()

    def _read(self, master):
        with suppress(OSError):
            while more := os.read(master, 1000):
                self.seen += more
                if b"%" in self.seen:
                    self.shown.set()
        os.close(master)

    def ended(self):
        """(exit status, stdout, all that stderr showed)."""
        out, _ = self.process.communicate(timeout=120)
        self.reader.join(timeout=10)
        return self.process.returncode, out, self.seen.decode()


LONG = {
    "recover": ["recover", BOATHOUSE, "demo/boathouse.s1p", "--digits", "2"],
    "expect": ["expect", BOATHOUSE, "--digits", "2"],
    "planes": ["planes", "demo/plane-after-pad.toml", "--digits", "2"],
    "choose": ["choose", "demo/need.toml"],
}


@pytest.mark.parametrize("command", LONG)
def test_an_interrupt_ends_with_130_and_leaves_no_file(command, tmp_path):
    """The key reaches the program in the midst of its threads: soon over, one word, nothing written, no traceback."""
    path = tmp_path / "answer.json"
    # Where the answer was there before the key, it is pressed again on another run.
    for _ in range(5):
        run = Terminal([*LONG[command], "--json", "-o", str(path)])
        assert run.shown.wait(100), run.seen
        begun = time.monotonic()
        run.process.send_signal(signal.SIGINT)
        status, out, seen = run.ended()
        if status:
            break
        path.unlink()
    assert time.monotonic() - begun < 20
    assert (status, out) == (130, b"")
    assert seen.rstrip().endswith("interrupted")
    assert "Traceback" not in seen
    assert list(tmp_path.iterdir()) == []


def test_in_the_background_the_key_is_not_heeded(tmp_path):
    """Who starts the program so that it ignores the key gets the whole answer, whenever the key is pressed."""
    path = tmp_path / "answer.json"
    run = Terminal([*LONG["planes"][:-1], "1", "--json", "-o", str(path)], heeds=False)
    assert run.shown.wait(100), run.seen
    run.process.send_signal(signal.SIGINT)
    status, _, seen = run.ended()
    assert status == 0, seen
    assert (
        path.read_bytes()
        == subprocess.run(
            [sys.executable, "-m", "chain", *LONG["planes"][:-1], "1", "--json"],
            capture_output=True,
            cwd=ROOT,
            check=True,
        ).stdout
    )


@pytest.mark.parametrize("command", ["recover", "planes"])
def test_the_bar_is_wiped_when_the_answer_is_there(command):
    """It grows, and nothing of it is left on the line."""
    words = [*LONG[command][:-1], "1"]
    status, out, seen = Terminal([*words, "--json"]).ended()
    assert status == 0
    assert out.startswith(b"{")
    assert "simulating [" in seen
    assert "100%" in seen
    assert seen.endswith("\r" + " " * len(bar(0, 80)) + "\r")


def test_no_bar_in_the_first_second_nor_under_quiet_nor_in_a_pipe():
    words = [*LONG["planes"][:-1], "1"]
    assert Terminal(words, patience_s=1000).ended()[2] == ""
    assert Terminal([*words, "--quiet"]).ended()[2] == ""
    piped = subprocess.run(
        [sys.executable, "-c", PROGRAM, "0", "heeds", *words], capture_output=True, cwd=ROOT, check=True, timeout=120
    )
    assert piped.stderr == b""


def test_the_bar_fits_the_terminal():
    """As long as the terminal allows, always of one length, plain characters only."""
    for columns in (10, 20, 30, 47, 48, 80, 200):
        bars = [bar(share, columns) for share in (0.0, 0.333, 0.999, 1.0)]
        assert len({len(each) for each in bars}) == 1
        assert len(bars[0]) < max(columns, 18)
        assert all(each.isascii() for each in bars)
    assert bar(1.0, 80).count("#") == 30
    assert "#" not in bar(0.0, 80)


def test_work_that_is_left_is_dropped_at_its_next_look():
    """Who leaves the iterator waits for no piece to its end, and none is begun; not even pieces divided again."""
    begun, finished = [], []

    def part(item):
        begun.append(item)
        for _ in range(1000):
            time.sleep(0.01)
            go_on()
        finished.append(item)

    def element(item):
        if item == 0:
            return item
        return list(in_order(part, [item, item + 100]))

    def left():
        for _ in in_order(element, range(50)):
            time.sleep(0.05)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        left()
    assert not finished
    assert len(begun) < 20
    go_on()


def test_a_fault_of_one_piece_reaches_the_caller():
    """Not the word for dropped work, but what went wrong."""

    def work(item):
        if item == 3:
            raise ValueError("three")
        return item

    with pytest.raises(ValueError, match="three"):
        list(in_order(work, range(100)))
    assert not issubclass(ValueError, Dropped)
