"""Faults of the antenna's side by their signature: which signs a sweep shows, and the reading that would decide."""

from __future__ import annotations

from typing import ClassVar

import numpy as np

from chain.arrays import Real
from chain.echoes.analyse import ripple
from chain.echoes.records import Component
from chain.errors import RangeError
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Setup
from chain.sweeps.readings import Readings
from chain.tuning.crossings import lowest, reading_fit
from chain.tuning.prediction import Repeats, repeats
from chain.tuning.trials import BenchSweep, bench_of, prepared
from library.files.store import csv_rows
from library.frozen import dataclass

NO_DIP = 0.6
"""Least reflection of a sweep from which there is no dip worth the name (VSWR 4); practice."""
RESONANT = 0.35
"""Reflection above which a reading counts as off the dip."""
QUIET = 0.99
"""Share of second readings of a sound antenna that show no sign of one kind."""
FEWEST_OFF = 5
LEAST_RIPPLE = 0.01
NEW = 2.0
"""Times its size before from which an echo of a delay that was there counts as one that has come; practice."""


@dataclass(frozen=True)
class Sign:
    """Something that a fault would show: seen, not seen, or None where nothing was read that could show it."""

    id: str
    seen: bool | None
    words: str


@dataclass(frozen=True)
class Suspect:
    """A fault with the signs that speak for it and against it, and the reading that would decide."""

    fault: str
    name: str
    seen: tuple[str, ...]
    against: tuple[str, ...]
    not_read: tuple[str, ...]
    decides: str
    remedy: str
    evidence: str

    @property
    def score(self) -> int:
        """Signs seen, less those that speak against it."""
        # A sign that is seen may have another cause; one that should not be there has none, so it counts twice.
        return len(self.seen) - 2 * len(self.against)


@dataclass(frozen=True, repr=False)
class AntennaFaults(ResultTable):
    """Answer of `antenna_faults`: suspects, the strongest first. A sign is no proof; `decides` says what would be one."""

    ROWS: ClassVar[str] = "suspects"
    COLUMNS: ClassVar[tuple[str, ...]] = ("name", "seen", "against", "not_read", "decides")

    title: str
    signs: tuple[Sign, ...]
    suspects: tuple[Suspect, ...]
    interpretation: str
    assumed: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def rivals(self) -> tuple[Suspect, ...]:
        """The strongest suspects: several where the signs fit them alike, none where no sign is seen."""
        best = self.suspects[0].score
        return tuple(each for each in self.suspects if each.score == best) if best > 0 else ()

    @property
    def first(self) -> Suspect | None:
        """The strongest suspect, where a sign of it is seen and it stands alone."""
        return self.rivals[0] if len(self.rivals) == 1 else None

    def headline(self) -> str:
        """Title and the strongest suspects."""
        names = " or ".join(each.name for each in self.rivals)
        return f"{self.title}: {f'suspected {names}' if names else 'no sign of a fault'}"

    def to_dict(self) -> dict[str, object]:
        """Plain values."""
        own = {
            **vars(self),
            "signs": [vars(each) for each in self.signs],
            "suspects": [{**vars(each), "score": each.score} for each in self.suspects],
            "suspected": None if self.first is None else self.first.fault,
            "rivals": [each.fault for each in self.rivals],
            "null_means": {
                "seen": "no sweep was given that could show it",
                "suspected": "no sign of a fault is seen, or several faults fit alike (rivals)",
            },
        }
        return plain_values({"schema_version": SCHEMA_VERSION, **own})  # type: ignore[return-value]


def antenna_faults(
    setup: Setup,
    readings: Readings,
    before: Readings | None = None,
    handled: Readings | None = None,
    seed: int = SEED,
) -> AntennaFaults:
    """Say which faults of the antenna's side a sweep gives reason to suspect, and which reading would decide.

    Parameters
    ----------
    setup : the set-up the readings were taken with.
    readings : the sweep as it is now.
    before : a sweep through the same set-up while the antenna was well; without it nothing that has moved is seen.
    handled : a sweep while a hand holds the lead near the antenna.
    seed : seed of the simulation.

    Returns
    -------
    AntennaFaults.

    Raises
    ------
    RangeError : fewer than five readings, or sweeps that share no frequencies.

    Examples
    --------
    >>> from chain import antenna_faults, load_setup, read_sweep_for
    >>> setup = load_setup("demo/loops.toml")
    >>> antenna_faults(setup, read_sweep_for(setup, "demo/loops.s1p")).first is None
    True

    Source
    ------
    Signs against what drawn second readings of the same antenna differ by; which fault shows which: library/data/antenna_faults.csv.
    """
    readings = prepared(readings)
    bench = bench_of(setup, readings.freq_hz)
    signs = _signs(bench, readings, before, handled, seed)
    suspects = [_suspect(row, signs) for row in csv_rows("antenna_faults.csv")]
    return AntennaFaults(
        setup.title,
        tuple(signs.values()),
        tuple(sorted(suspects, key=lambda each: -each.score)),
        readings.interpretation,
        setup.assumed,
        (*setup.warnings, *readings.warnings),
    )


def _suspect(row: dict[str, str], signs: dict[str, Sign]) -> Suspect:
    reported = [signs[name] for name in row["signs_for"].split()]
    against = [signs[name] for name in row["signs_against"].split()]
    return Suspect(
        row["id"],
        row["name"],
        tuple(each.words for each in reported if each.seen),
        tuple(each.words for each in against if each.seen),
        tuple(each.words for each in reported if each.seen is None),
        row["decides"],
        row["remedy"],
        row["evidence"],
    )


def _signs(
    bench: BenchSweep, readings: Readings, before: Readings | None, handled: Readings | None, seed: int
) -> dict[str, Sign]:
    freq = readings.freq_hz
    smooth = reading_fit(freq, bench.narrowest_q)
    # Behind a pad nothing reads large: the pad is allowed for before a size is called large or small.
    gain = np.abs(bench.maps(None, seed).p[0])
    now, then, held = (
        None if each is None else smooth @ (_on(freq, each) / gain) for each in (readings, before, handled)
    )
    assert now is not None
    reported = repeats(bench, readings, seed, QUIET)
    # Differences were drawn at the analyzer and are held against sizes at the antenna: the least gain, so that no point is doubted too
    # early.
    limits = Repeats(reported.dip_hz, reported.level / float(gain.mean()), reported.most / float(gain.min()))
    found = [Sign("dip_gone", bool(now.min() > NO_DIP), "no dip anywhere in the sweep")]
    found += _moved(freq, now, then, limits)
    found += _by_hand(freq, now, held, limits)
    # The search for echoes takes most of the time, and where two sweeps repeat one another nothing can have come.
    changed = then is not None and bool(np.abs(now - then).max() > limits.most)
    found += _rippled(bench, readings, before, changed)
    return {each.id: each for each in found}


def _rippled(bench: BenchSweep, readings: Readings, before: Readings | None, changed: bool) -> list[Sign]:
    """Ripple that has come since the antenna was well; what was there before may be the antenna's own feeder."""
    words = {
        "ripple_braid": "new ripple, long as a lead's outside",
        "ripple_surface": "new ripple that no item is as long as",
    }
    if before is None:
        return [Sign(name, None, text) for name, text in words.items()]
    new: list[Component] = []
    if changed:
        # Delays nearer than one over the span are one: two sweeps place the same echo as far apart as that.
        resolution_s = 1 / float(readings.freq_hz[-1] - readings.freq_hz[0])
        now, then = (
            [each for each in ripple(one, bench.setup).components if each.kind == "echo"] for one in (readings, before)
        )
        old = [(each.delay_s, NEW * each.reflection) for each in then]
        new = [
            each
            for each in now
            if each.reflection > LEAST_RIPPLE
            and all(abs(each.delay_s - delay_s) > resolution_s or each.reflection > most for delay_s, most in old)
        ]
    # An echo that no item of the set-up is long enough for may be a surface in front of the antenna.
    seen = any(each.suspect for each in new), any(not each.matches and not each.suspect for each in new)
    return [Sign(name, bool(each), text) for (name, text), each in zip(words.items(), seen, strict=True)]


def _moved(freq_hz: Real, now: Real, then: Real | None, limits: Repeats) -> list[Sign]:
    """Dip and depth against the sweep from when the antenna was well."""
    names = {"dip_lower": "dip lower than before", "dip_higher": "dip higher than before"}
    flat = "reflects less than before, off the dip too"
    if then is None:
        return [*(Sign(name, None, words) for name, words in names.items()), Sign("flatter", None, flat)]
    apart = _dip(freq_hz, now) - _dip(freq_hz, then)
    off = then > RESONANT
    # Loss and a better match both lower the dip; only loss lowers what lies off it as well.
    less = off.sum() >= FEWEST_OFF and float(np.mean(then[off] - now[off])) > limits.level
    # A dip that moves takes the slopes beside it along: only where it stays is what is missing lost.
    return [
        Sign("dip_lower", bool(apart < -limits.dip_hz), names["dip_lower"]),
        Sign("dip_higher", bool(apart > limits.dip_hz), names["dip_higher"]),
        Sign("flatter", bool(less and now[off].max() < then[off].max() - limits.most), flat),
    ]


def _by_hand(freq_hz: Real, now: Real, held: Real | None, limits: Repeats) -> list[Sign]:
    """What a hand on the lead does: a dip that follows it is current on the braid, a level that jumps a joint."""
    words = {"hand": "the dip follows the hand", "unsteady": "the reading jumps when the lead is moved"}
    if held is None:
        return [Sign(name, None, text) for name, text in words.items()]
    follows = abs(_dip(freq_hz, now) - _dip(freq_hz, held)) > limits.dip_hz
    # A dip that has moved changes every point beside it, so a jump is distinguished from it only where the dip stayed.
    jumps = float(np.abs(held - now).max()) > limits.most and not follows
    return [Sign("hand", bool(follows), words["hand"]), Sign("unsteady", bool(jumps), words["unsteady"])]


def _dip(freq_hz: Real, size: Real) -> float:
    return float(np.clip(lowest(freq_hz, size[None])[0], freq_hz[0], freq_hz[-1]))


def _on(freq_hz: Real, other: Readings) -> Real:
    """Magnitudes of another sweep at the frequencies of this one."""
    if other.freq_hz[0] > freq_hz[0] * 1.001 or other.freq_hz[-1] < freq_hz[-1] * 0.999:
        raise RangeError("the sweeps do not cover the same frequencies", "give sweeps of one span")
    return np.asarray(np.interp(freq_hz, other.freq_hz, other.magnitude))
