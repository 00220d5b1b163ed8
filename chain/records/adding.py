"""A sweep made into a record: read, taken back, answered, with all that one needs to know of it in ten years."""

from __future__ import annotations

import hashlib
import platform
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from importlib.metadata import PackageNotFoundError, version
from math import ceil, floor, isinf
from pathlib import Path

from chain.assembly.cascade import read_sweep_for
from chain.errors import RangeError, plain
from chain.files.setup_file import load_setup
from chain.records.bench import ChannelAnswer, ReadingPair, SweepAnswer, bench_of
from chain.records.folder import Folder
from chain.records.lead_loss import lead_channels
from chain.records.record import KINDS, ChannelRecord, Record, SweepRecord
from chain.reflection import magnitude_from_vswr, return_loss_db
from chain.results import IMPOSSIBLE
from chain.setups import Setup
from chain.sweeps.options import DEFAULTS, SweepOptions
from chain.sweeps.readings import Readings

OFF_SCALE = 1000
"""VSWR from which an answer in a line gives no figure, as on every screen."""
ROUNDING = 1e-6
"""Of a last digit, that rounding outward forgives the arithmetic."""


@dataclass(frozen=True)
class Facts:
    """What only the person knows: name of the thing measured, temperature, operator, a note, and the time if not now."""

    name: str = ""
    temperature_c: float | None = None
    operator: str = ""
    note: str = ""
    time: datetime | None = None


@dataclass(frozen=True)
class SetupSource:
    """A set-up as its file's bytes, parsed, and kept in a folder."""

    path: str
    raw: bytes
    setup: Setup
    kept: str
    sha256: str


def open_source(folder: Folder, path: str) -> SetupSource:
    """Read a set-up and keep its text beside the records."""
    setup = load_setup(path)
    raw = Path(path).read_bytes()
    kept, sha = folder.keep_setup(raw, path)
    return SetupSource(path, raw, setup, kept, sha)


def log_measurement(
    folder: str,
    setup: str,
    sweep: str,
    short: str = "",
    kind: str = "antenna",
    facts: Facts | None = None,
    options: SweepOptions = DEFAULTS,
    progress: Callable[[float], None] | None = None,
) -> Record:
    """Keep a measurement in a folder of records.

    Parameters
    ----------
    folder : the folder; made if it is not there.
    setup : path of the set-up file; its text is kept beside the records.
    sweep : path of the sweep: of the antenna, or, for a lead, with its far end open.
    short : path of a second sweep of a lead, its far end shorted.
    kind : `antenna`, or `lead` for the loss of all that lies between the plane and an open or shorted far end.
    facts : name, temperature, operator, note and time.
    options : what the user settles about the sweep files.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Record, as it was written.

    Raises
    ------
    InputError : a file is at fault.
    RangeError : open and short have other frequencies, or the kind is none.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from chain import log_measurement
    >>> with TemporaryDirectory() as folder:
    ...     found = log_measurement(folder, "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p")
    ...     found.kind, len(found.channels), found.channels[0].name
    ('antenna', 8, '5')

    Source
    ------
    Loss of a lead: half the return loss of its open or shorted end.
    """
    if kind not in KINDS:
        raise RangeError(f"{plain(kind)!r} is no kind of record", f"it is one of {', '.join(KINDS)}")
    book = Folder(Path(folder))
    book.make()
    source = open_source(book, setup)
    reported = facts or Facts()
    readings = read_sweep_for(source.setup, sweep, options)
    bench = bench_of(source.setup, readings, progress=progress)
    if kind == "antenna":
        found = antenna_record(source, bench.answer(readings), reported, (sweep, Path(sweep).read_bytes(), readings))
    else:
        both = [(sweep, "open", readings)]
        if short:
            both.append((short, "short", read_sweep_for(source.setup, short, options)))
        found = _lead_record(source, bench, reported, both)
    book.add(found)
    return found


def antenna_record(source: SetupSource, answer: SweepAnswer, facts: Facts, read: tuple[str, bytes, Readings]) -> Record:
    """Record of an antenna's sweep that has been answered."""
    path, raw, readings = read
    channels = tuple(
        ChannelRecord(
            each.band.name,
            each.band.low_hz,
            each.band.high_hz,
            each.loss_db,
            each.loss_repeat_db,
            _known(each, each.vswr),
            _known(each, each.low),
            _known(each, each.high),
            each.reflection,
            each.reflection_repeat,
            None,
            each.verdict,
        )
        for each in answer.channels
    )
    sweeps = (_sweep(path, raw, "antenna", readings),)
    return _record(
        source,
        facts,
        "antenna",
        (antenna_words(answer, source.setup.far.limit_in_db), answer.verdict),
        channels,
        sweeps,
        answer.warnings,
    )


def _known(channel: ChannelAnswer, value: float) -> float | None:
    """A VSWR of a channel; none where it is infinite, or no antenna's."""
    return value if value < 1e6 and channel.verdict != IMPOSSIBLE else None


def antenna_words(answer: SweepAnswer, in_db: bool = False) -> str:
    """An answer in a line, in the unit of the limit; the interval's ends rounded outward, as in every table."""
    worst = answer.worst
    where = f"channel {plain(worst.band.name)}" if worst.band.is_channel else plain(worst.band.name)
    if worst.verdict == IMPOSSIBLE:
        return f"{answer.verdict}; {where}: no antenna reads so through this chain"
    if in_db:
        about, least, most = (
            float(return_loss_db(magnitude_from_vswr(each))) for each in (worst.vswr, worst.high, worst.low)
        )
        ends = f"{floor(10 * least + ROUNDING) / 10:.1f} to {'any' if isinf(most) else f'{ceil(10 * most - ROUNDING) / 10:.1f}'}"
        return f"{answer.verdict}; worst {where}: RL {about:.1f} dB, {ends}"
    high = f"{ceil(100 * worst.high - ROUNDING) / 100:.2f}" if worst.high < 100 else "any"
    low = floor(100 * worst.low + ROUNDING) / 100
    shown = f"{worst.vswr:.2f}" if worst.vswr <= OFF_SCALE else f">{OFF_SCALE}"
    return f"{answer.verdict}; worst {where}: VSWR {shown}, {low:.2f} to {high}"


def _lead_record(
    source: SetupSource, bench: ReadingPair, facts: Facts, both: list[tuple[str, str, Readings]]
) -> Record:
    for path, _, readings in both:
        if not bench.fits(readings):
            raise RangeError(f"{plain(path)} has other frequencies than {plain(both[0][0])}", "sweep both alike")
    channels = lead_channels(bench, [readings.magnitude for _, _, readings in both])
    mean = sum(each.loss_db for each in channels) / len(channels)
    words = f"lead: {mean:.2f} dB one way, mean of {len(channels)}"
    sweeps = tuple(_sweep(path, Path(path).read_bytes(), end, readings) for path, end, readings in both)
    warnings = tuple(dict.fromkeys(each for _, _, readings in both for each in readings.warnings))
    return _record(source, facts, "lead", (words, "kept"), channels, sweeps, warnings)


def _sweep(path: str, raw: bytes, end: str, readings: Readings) -> SweepRecord:
    sha = hashlib.sha256(raw).hexdigest()
    columns = [readings.freq_hz]
    columns += (
        [readings.magnitude] if readings.reflection is None else [readings.reflection.real, readings.reflection.imag]
    )
    rows = tuple(tuple(map(float, row)) for row in zip(*columns, strict=True))
    return SweepRecord(end, Path(path).name, sha, rows, readings.processed)


def _record(
    source: SetupSource,
    facts: Facts,
    kind: str,
    words: tuple[str, str],
    channels: tuple[ChannelRecord, ...],
    sweeps: tuple[SweepRecord, ...],
    warnings: tuple[str, ...],
) -> Record:
    time = facts.time or datetime.now().astimezone()
    return Record(
        time=time if time.tzinfo else time.astimezone(),
        name=facts.name or Path(source.path).stem,
        kind=kind,
        answer=words[0],
        verdict=words[1],
        title=source.setup.title,
        plane=source.setup.calibration.plane,
        setup=source.kept,
        setup_sha256=source.sha256,
        standards=standards_words(source.setup),
        channels=channels,
        sweeps=sweeps,
        temperature_c=facts.temperature_c,
        operator=facts.operator,
        note=facts.note,
        warnings=warnings,
        versions=_versions(),
    )


def standards_words(setup: Setup) -> str:
    """Standards of the calibration in words."""
    plane = setup.calibration
    load = "load not stated" if plane.load_db is None else f"load {plane.load_db:g} dB"
    ohm = "" if plane.load_impedance_ohm is None else f" in {plane.load_impedance_ohm:g} ohm"
    known = f"; known: {', '.join(plane.known)}" if plane.known else ""
    return f"the analyzer's own, {load}{ohm}" if plane.plane == "near" else f"open, short, {load}{ohm}{known}"


def _versions() -> tuple[tuple[str, str], ...]:
    import numpy as np

    try:
        own = version("matchpad-chain")
    except PackageNotFoundError:
        own = "from source"
    return (("chain", own), ("numpy", np.__version__), ("python", platform.python_version()))
