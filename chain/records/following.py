"""A folder followed: each new sweep read, answered, compared with the last and the first, and kept; once, and none left out.

A sweep is known by the digest of its bytes, and counts as answered when its record is on the disk: after a stop of any kind
the records show what is still to do. A disk that is full keeps the answers waiting, and they are written when it has room; an
empty mark, for which a full disk mostly still has room, makes up for them when the program ends before that.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO

import numpy as np

from chain.comparisons.differences import Difference
from chain.errors import ChainError, InputError, RangeError, plain
from chain.records.adding import Facts, SetupSource, antenna_record, open_source
from chain.records.bench import ReadingPair, SweepAnswer, bench_of
from chain.records.folder import Folder
from chain.records.record import Record
from chain.records.watching import Arrivals, looks
from chain.results import SCHEMA_VERSION, Named, plain_values
from chain.sweeps.options import DEFAULTS, SweepOptions
from chain.sweeps.readings import Readings

PATIENCE_S = 2.0
"""A file that cannot be read, ends within a line, or is shorter than the others may still be on its way for so long."""
MOST_LINES = 3
"""Kinds of frequencies whose trials are kept at hand."""
LOCK = ".following"


@dataclass(frozen=True)
class SweepChange:
    """What has changed since an earlier sweep: per channel, in the order of the answer's channels."""

    since: str
    differences: tuple[Difference, ...]

    @property
    def verdicts(self) -> tuple[str, ...]:
        """Better, worse or can't tell, by channel."""
        out = []
        for each in self.differences:
            reported = {each.match_verdict, each.loss_verdict} - {"can't tell"}
            out.append("can't tell" if not reported else reported.pop() if len(reported) == 1 else "mixed")
        return tuple(out)

    @property
    def verdict(self) -> str:
        """`real`, or `within repeatability`."""
        return "within repeatability" if set(self.verdicts) == {"can't tell"} else "real"

    @property
    def most(self) -> int:
        """The channel that has changed most beside what it repeats to."""
        scores = [abs(each.loss_db) / max(each.loss_high_db - each.loss_low_db, 1e-9) for each in self.differences]
        return int(np.argmax(scores))

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        rows = [{**vars(each), "verdict": word} for each, word in zip(self.differences, self.verdicts, strict=True)]
        return {"since": self.since, "verdict": self.verdict, "channels": rows}


@dataclass(frozen=True, repr=False)
class FollowAnswer(Named):
    """One look at one file: an answer, or why there is none. `kept` is False while the disk has no room for the record."""

    number: int
    source: str
    answer: SweepAnswer | None = None
    limit_vswr: float | None = None
    since_last: SweepChange | None = None
    since_first: SweepChange | None = None
    kept: bool = True
    problem: str = ""

    def headline(self) -> str:
        """Which file, and what came of it."""
        return f"{self.number} {self.source}: {self.problem or (self.answer.verdict if self.answer else 'no answer')}"

    def to_dict(self) -> dict[str, object]:
        """Plain values, keys with units."""
        channels = [] if self.answer is None else [_plain(each) for each in self.answer.channels]
        changes = {
            name: None if each is None else each.to_dict()
            for name, each in (("since_last", self.since_last), ("since_first", self.since_first))
        }
        verdict = None if self.answer is None else self.answer.verdict
        found = {
            "schema_version": SCHEMA_VERSION,
            "number": self.number,
            "source": self.source,
            "verdict": verdict,
            "channels": channels,
            **changes,
        }
        return plain_values({**found, "kept": self.kept, "problem": self.problem})  # type: ignore[return-value]


def _plain(channel: object) -> dict[str, object]:
    found = dict(vars(channel))
    band = found.pop("band")
    return {"channel": band.name, "low_hz": band.low_hz, "high_hz": band.high_hz, **found}


@dataclass
class _SeriesLine:
    """Sweeps of the same frequencies: their bench, and the first and the last of them."""

    bench: ReadingPair
    first: tuple[str, SweepAnswer] | None = None
    last: tuple[str, SweepAnswer] | None = None


@dataclass
class Follower:
    """What is known of a folder while it is followed."""

    source: SetupSource
    book: Folder
    arrivals: Arrivals
    facts: Facts = field(default_factory=Facts)
    options: SweepOptions = DEFAULTS
    lines: list[_SeriesLine] = field(default_factory=list)
    number: int = 0
    waiting: list[Record] = field(default_factory=list)
    answered: set[str] = field(default_factory=set)
    _history: tuple[tuple[str, Readings], ...] = ()

    @classmethod
    def of(cls, setup: str, sweeps: str, log: str, facts: Facts, options: SweepOptions = DEFAULTS) -> Follower:
        """Follower of a folder, which goes on where the records of an earlier one end."""
        if not Path(sweeps).is_dir():
            raise RangeError(f"there is no folder {plain(sweeps)}", "name the folder that the analyzer saves to")
        book = Folder(Path(log))
        book.make()
        source = open_source(book, setup)
        found = cls(source, book, Arrivals(Path(sweeps)), facts, options)
        found.answered = set(book.digests())
        found._history = found._earlier()
        return found

    def _earlier(self) -> tuple[tuple[str, Readings], ...]:
        """The first and the last sweep that were kept with this set-up under this name."""
        records, _ = self.book.records()
        name = self.facts.name or Path(self.source.path).stem
        alike = [each for each in records if each.name == name and each.setup_sha256 == self.source.sha256]
        chosen = [each for each in alike if each.kind == "antenna"]
        self.number = len(chosen)
        if not chosen:
            return ()
        whole, _ = self.book.records(answers_only=False)
        kept = [each for each in whole if each.name == name and each.setup_sha256 == self.source.sha256]
        ends = [each for each in kept if each.kind == "antenna"]
        return tuple((each.sweeps[0].source, _readings(each)) for each in (ends[0], ends[-1]))

    def look(self) -> Iterator[FollowAnswer]:
        """Answers of what has arrived since the last look."""
        self._keep_waiting()
        for path in self.arrivals.ready():
            found = self._one(path)
            if found is not None:
                yield found

    def warm(self) -> None:
        """Draw for the frequencies of the last sweep kept, else of the set-up, so that the first answer comes as soon as any."""
        if self._history:
            self._line(self._history[-1][1])
            return
        sweep = self.source.setup.sweep
        freq = np.linspace(sweep.start_hz, sweep.stop_hz, max(sweep.points, 2))
        with suppress(ChainError):
            self._line(Readings(freq, np.zeros(freq.size), np.zeros(freq.size, dtype=complex), "none yet"))

    def idle(self) -> bool:
        """Whether nothing is left to do: every file taken, every record written."""
        return not self.waiting and self.arrivals.all_taken()

    def _one(self, path: Path) -> FollowAnswer | None:
        late = self.arrivals.rested_s(path) >= PATIENCE_S
        try:
            raw = path.read_bytes()
            sha = hashlib.sha256(raw).hexdigest()
            if sha in self.answered:
                self.arrivals.take(path)
                return None
            shown = self.book.is_marked(sha)
            if not late and not raw.endswith((b"\n", b"\r")):
                return None
            from chain.assembly.cascade import read_sweep_for

            readings = read_sweep_for(self.source.setup, str(path), self.options)
            if not self.arrivals.unchanged(path):
                return None
            if self.lines and self.lines[0].last and not late and not self.lines[0].bench.fits(readings):
                return None
            found = self._answer(path, raw, sha, readings)
            # Shown by a run that ended before its disk had room: kept now, and not reported again.
            return None if shown else found
        except (OSError, ChainError) as error:
            if not late:
                return None
            self.arrivals.take(path)
            return FollowAnswer(self.number, path.name, problem=_why(error))

    def _answer(self, path: Path, raw: bytes, sha: str, readings: Readings) -> FollowAnswer:
        line = self._line(readings)
        answer = line.bench.answer(readings)
        record = antenna_record(self.source, answer, self.facts, (str(path), raw, readings))
        last = None if line.last is None else SweepChange(line.last[0], line.bench.change(line.last[1], answer))
        first = last
        if line.first is not None and line.first is not line.last:
            first = SweepChange(line.first[0], line.bench.change(line.first[1], answer))
        self.answered.add(sha)
        self.arrivals.take(path)
        self.number += 1
        line.last = (path.name, answer)
        line.first = line.first or line.last
        self.waiting.append(record)
        self._keep_waiting()
        if self.waiting:
            self.book.mark(sha)
        limit = self.source.setup.far.limit_vswr
        return FollowAnswer(self.number, path.name, answer, limit, last, first, not self.waiting)

    def _line(self, readings: Readings) -> _SeriesLine:
        """Line of a sweep's frequencies, the latest in front; what was read at others cannot be compared."""
        found = next((each for each in self.lines if each.bench.fits(readings)), None)
        if found is None:
            found = _SeriesLine(bench_of(self.source.setup, readings))
            for name, earlier in self._history:
                if found.bench.fits(earlier):
                    found.last = (name, found.bench.answer(earlier))
                    found.first = found.first or found.last
        # A sweep of other frequencies now and then must not make the usual ones start again.
        self.lines = [found, *(each for each in self.lines if each is not found)][:MOST_LINES]
        return found

    def _keep_waiting(self) -> None:
        """Write the records that wait; one that cannot be written waits on, and those behind it."""
        while self.waiting:
            try:
                self.book.add(self.waiting[0])
            except OSError:
                return
            for each in self.waiting.pop(0).sweeps:
                self.book.unmark(each.source_sha256)


def _readings(record: Record) -> Readings:
    columns = np.array(record.sweeps[0].points).T
    if len(columns) == 3:
        reflection = columns[1] + 1j * columns[2]
        return Readings(columns[0], np.abs(reflection), reflection, "kept")
    return Readings(columns[0], columns[1], None, "kept")


def _why(error: Exception) -> str:
    if isinstance(error, InputError):
        first = error.defects[0]
        place = f"line {first.line}: " if first.line else ""
        return plain(f"{place}{first.message}")
    if isinstance(error, ChainError):
        return plain(str(error))
    return plain(getattr(error, "strerror", None) or str(error))


def _locked(log: str) -> IO[str] | None:
    """An open file that no second follower of the same records can lock; None where a system has no such locks."""
    try:
        import fcntl
    except ImportError:
        return None
    file = (Path(log) / LOCK).open("a", encoding="utf-8")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise RangeError(
            f"{plain(log)} is being written by another 'chain follow'", "end that one, or name --log"
        ) from None
    except OSError:
        # A share that cannot lock still works; two at once would then answer twice.
        pass
    return file


def follow_folder(
    setup: str,
    folder: str,
    log: str = "",
    facts: Facts | None = None,
    once: bool = False,
    poll: bool = False,
    options: SweepOptions = DEFAULTS,
) -> Iterator[FollowAnswer]:
    """Answer each new sweep of a folder as it appears, and keep it.

    Parameters
    ----------
    setup : path of the set-up file.
    folder : where the analyzer saves its sweeps.
    log : folder of the records; `log` inside the folder if left out.
    facts : name, temperature, operator and note of the records.
    once : answer what is there and stop, instead of going on without end.
    poll : look by the clock only, as on a network share that sends no notifications.
    options : what the user settles about the sweep files.

    Returns
    -------
    Iterator of FollowAnswer, one for each sweep and for each file that cannot be read. What was answered by an earlier run
    with the same records does not come again.

    Raises
    ------
    RangeError : there is no such folder, or another run writes the same records.
    InputError : the set-up file is at fault.

    Examples
    --------
    >>> from shutil import copy
    >>> from tempfile import TemporaryDirectory
    >>> from chain import follow_folder
    >>> with TemporaryDirectory() as place:
    ...     for name in ("demo/plane-after-pad-before.s1p", "demo/plane-after-pad.s1p"):
    ...         path = copy(name, place)
    ...     found = list(follow_folder("demo/plane-after-pad.toml", place, once=True))
    >>> [(each.source, each.since_last and each.since_last.verdict) for each in found]
    [('plane-after-pad-before.s1p', None), ('plane-after-pad.s1p', 'real')]

    Source
    ------
    Digests: SHA-256, FIPS 180-4. Changes: `chain.comparisons`.
    """
    place = log or str(Path(folder) / "log")
    follower = Follower.of(setup, folder, place, facts or Facts(), options)
    lock = _locked(place)
    try:
        if not once:
            follower.warm()
        for _ in looks(Path(folder), poll or once):
            yield from follower.look()
            if once and follower.idle():
                return
    finally:
        if lock is not None:
            with suppress(OSError):
                lock.close()
