"""Two one-sided tests of a true reflection magnitude, inverted exactly by order statistics of drawn measurements.

A true magnitude g in the phase phi is contradicted by an observed statistic x if fewer than 2.5 % of the drawn
measurements show g at or below x, or fewer than 2.5 % show it at or above. The interval runs from the lowest to the
highest g that neither test contradicts. Of each trial only the stretch of magnitudes that it shows at or below x is
needed, the roots of one quadratic; with the stretches sorted both ends are order statistics: no grid, no bins, no search.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Real
from chain.rf.twoport import Maps
from chain.uncertainty.order_statistics import (
    GROUPS,
    NOWHERE,
    before,
    by_group,
    count,
    ends_of_begun,
    highest,
    lowest,
    outside,
    quantile,
    rank,
    reach,
)
from library.frozen import dataclass

Floats = NDArray[np.float32]

PHASES = 16
"""Phases of the antenna tried where none was read, a sixteenth of a turn apart: of 12 the worst lies between two."""
AROUND = np.deg2rad([0.0, -15.0, 15.0])
"""Phases tried about a recovered one."""
FLOOR, TOP = 0.16, 0.84
"""Quantiles that an observed statistic is drawn up to and down to, so that no interval is empty."""
RIM = np.exp(2j * np.pi * np.arange(64) / 64)
MOVED = 2.15
"""Deviations of the difference of two seeds that are reported: 0.968 of a normal one, some of which the estimate's own scatter takes."""
WEIGHTS = np.random.default_rng(1).normal(size=(GROUPS, 100))
FAR = 9.0
TANGENT = np.float32(-1e-6)
"""Relative size of a negative discriminant that float32 gives a tangent."""
LEAST_DOWN = np.float32(1e-12)


@dataclass(frozen=True)
class Terms:
    """|(p G + q)/(r G + 1)|^2 as a ratio of two real quadratics in |G|: float32, shape (places, trials) each.

    `square`, `constant`, `down_square` are |p|^2, |q|^2, |r|^2; `cross` is p conj(q), `down` is r.
    """

    square: Floats
    cross_re: Floats
    cross_im: Floats
    constant: Floats
    down_square: Floats
    down_re: Floats
    down_im: Floats

    @classmethod
    def empty(cls, places: int, draws: int) -> Terms:
        """Room for the terms of so many places and trials."""
        # Sorting and counting wait for memory, and quantiles of so few trials are not known to seven digits.
        return cls(*np.empty((7, places, draws), dtype=np.float32))

    @classmethod
    def of(cls, maps: Maps) -> Terms:
        """Terms of drawn maps, whose arrays have shape (trials, places)."""
        draws, places = maps.p.shape
        found = cls.empty(places, draws)
        found.put(0, maps)
        return found

    def put(self, start: int, maps: Maps, places: slice = slice(None)) -> None:
        """Write the terms of maps of shape (trials, places) from a trial on, of some of the places."""
        p, q, r = maps.p, maps.q, maps.r
        at = places, slice(start, start + p.shape[0])
        cross = p * np.conj(q)
        self.square[at] = (p.real**2 + p.imag**2).T
        self.cross_re[at] = cross.real.T
        self.cross_im[at] = cross.imag.T
        self.constant[at] = (q.real**2 + q.imag**2).T
        self.down_square[at] = (r.real**2 + r.imag**2).T
        self.down_re[at] = r.real.T
        self.down_im[at] = r.imag.T

    def rows(self, chosen: NDArray[np.bool_]) -> Terms:
        """The same at some of the places."""
        return self if chosen.all() else Terms(*(each[chosen] for each in vars(self).values()))

    def first(self, draws: int) -> Terms:
        """The same of the first trials; itself where they are a quarter of it or more."""
        few = 4 * draws <= self.square.shape[1]
        return Terms(*(each[:, :draws] for each in vars(self).values())) if few else self

    def shown(self, magnitude: Real | float, phase_rad: Real) -> Floats:
        """Statistic that every trial shows of a magnitude and a phase at each place."""
        g = np.broadcast_to(np.asarray(magnitude, dtype=np.float32), self.square.shape[:1])[:, None]
        cosine, sine = _turn(phase_rad)
        top = (self.cross_re * cosine - self.cross_im * sine) * (2 * g)
        top += self.square * (g * g)
        top += self.constant
        down = (self.down_re * cosine - self.down_im * sine) * (2 * g)
        down += self.down_square * (g * g) + np.float32(1)
        np.maximum(top, 0, out=top)
        # |1 + r g|^2 rounds to nothing where a calibration cannot tell its standards apart: beyond any reading, not undefined.
        np.maximum(down, LEAST_DOWN, out=down)
        top /= down
        return np.asarray(np.sqrt(top, out=top))

    def squares(self, magnitude: float, phases_rad: Real, opposite: bool = True) -> Iterator[Floats]:
        """Square of the statistic at each of some phases, and half a turn on after each: what both need is made once."""
        g = np.float32(magnitude)
        top, down = self.square * (g * g), self.down_square * (g * g)
        top += self.constant
        down += np.float32(1)
        for phase in phases_rad:
            cosine, sine = (2 * g * each for each in _turn(phase))
            above, below = self.cross_re * cosine, self.down_re * cosine
            above -= self.cross_im * sine
            below -= self.down_im * sine
            # Half a turn on only these two change, and only their sign.
            for each in (np.add, np.subtract) if opposite else (np.add,):
                shown, under = each(top, above), each(down, below)
                np.maximum(under, LEAST_DOWN, out=under)
                shown /= under
                yield shown

    def means(self) -> MeanTerms:
        """Mean over the trials at each place."""
        return MeanTerms(*(each.mean(axis=1, dtype=float) for each in vars(self).values()))


class MeanTerms(NamedTuple):
    """The terms of the mean square of what the trials show, shape (places,) each, and the phases that they single out."""

    square: Real
    cross_re: Real
    cross_im: Real
    constant: Real
    down_square: Real
    down_re: Real
    down_im: Real

    def most_phase(self, observed: Real) -> Real:
        """Phase that shows most of a magnitude that is shown as observed; half a turn on is the one that shows least."""
        square = observed**2
        return -np.arctan2(self.cross_im - square * self.down_im, self.cross_re - square * self.down_re)

    def least_end(self) -> tuple[Real, Real]:
        """Magnitude and phase of the passive antenna that reads least: that of the least mean square, drawn into the disc."""
        # Where P g^2 + 2 g Re(c e^(j phi)) + C is least; the denominator, near 1 where so little is read, is left out.
        size = np.hypot(self.cross_re, self.cross_im) / np.maximum(self.square, 1e-30)
        return np.minimum(size, 1.0), np.arctan2(self.cross_im, -self.cross_re)

    def most_on_rim(self) -> Real:
        """Phase of the fully reflecting end that reads most."""
        square, re, im, constant, down_square, down_re, down_im = (each[:, None] for each in self)
        top = square + 2 * (re * RIM.real - im * RIM.imag) + constant
        down = down_square + 2 * (down_re * RIM.real - down_im * RIM.imag) + 1
        # As in what a single trial shows.
        return np.asarray(np.angle(RIM[(top / np.maximum(down, LEAST_DOWN)).argmax(axis=1)]))


def _turn(phase_rad: Real) -> tuple[Floats, Floats]:
    return np.cos(phase_rad).astype(np.float32)[:, None], np.sin(phase_rad).astype(np.float32)[:, None]


@dataclass(frozen=True)
class Ends:
    """Ends of intervals of a true magnitude, one per place, and what else the same trials show.

    `low_error` and `high_error` are by how much another seed moves the ends; `floored` and `topped` where the statistic
    was drawn up or down. `least_chance` and `most_chance` are those, over the phases, of an antenna just at the limit
    showing the observed statistic or more; None without a limit. `strict_low` is the lower end at `strict_share`.
    """

    low: Real
    high: Real
    low_error: Real
    high_error: Real
    floored: NDArray[np.bool_]
    topped: NDArray[np.bool_]
    least_chance: Real | None = None
    most_chance: Real | None = None
    strict_low: Real | None = None

    @classmethod
    def joined(cls, parts: Sequence[Ends]) -> Ends:
        """Ends of blocks of places, one after the other."""
        columns = zip(*(vars(each).values() for each in parts), strict=True)
        return cls(*(None if each[0] is None else np.concatenate(each) for each in columns))  # type: ignore[arg-type]


def invert(
    terms: Terms,
    observed: Real,
    phase_rad: Real | None = None,
    coverage: float = 0.95,
    limit: float | None = None,
    rounding: Floats | None = None,
    strict_share: Real | None = None,
    above: float | None = None,
    errors: bool = True,
) -> Ends:
    """Intervals of the true magnitude at the worst phase of the antenna.

    `phase_rad` is the recovered phase, where one was read, or several for each place, one turn of all places after the other;
    `rounding` what each trial's digits add to the statistic, shape (places, trials). With `above` no lower end is looked for,
    and no upper one at or below that magnitude. Without `errors` those of the ends are left at zero.
    """
    share = (1 - coverage) / 2
    means = terms.means()
    floored, topped, seen = _possible(terms, means, rounding, observed)
    search = _Search(terms, seen, rounding, share, limit, strict_share, errors)
    start = means.most_phase(seen)
    if phase_rad is not None and phase_rad.size > observed.size:
        turns = phase_rad.size // observed.size
        floored, topped, start = np.tile(floored, turns), np.tile(topped, turns), np.tile(start, turns)
        search.repeat(turns)
    if not errors or above is not None:
        search.tails = None
    if above is not None:
        search.low[:], search.high[:] = -np.inf, above
    everywhere = np.ones(start.shape, dtype=bool)
    if phase_rad is None:
        search.all_around(start, everywhere)
    else:
        for turn in AROUND:
            search.at(phase_rad + turn, everywhere)
        # Of a reading as small as the errors the phase says nothing.
        search.all_around(start, floored | topped | search.empty)
    return search.ends(floored, topped)


def _possible(
    terms: Terms, means: MeanTerms, rounding: Floats | None, observed: Real
) -> tuple[NDArray[np.bool_], NDArray[np.bool_], Real]:
    """Where less, and where more, was observed than an interval is made for; and what was, drawn up and down to that.

    Source: Power-constrained limits, arXiv:1105.3166 (memory).
    """
    size, phase = means.least_end()
    low, high = terms.shown(size, phase), terms.shown(1.0, means.most_on_rim())
    if rounding is not None:
        low -= rounding
        high -= rounding
    # Counts show on which side of a quantile a statistic lies; the quantile itself is wanted only where it takes its place.
    near = observed.astype(np.float32)
    infinite = np.float32(np.inf)
    under = np.where(near > observed, np.nextafter(near, -infinite), near)[:, None]
    over = np.where(near < observed, np.nextafter(near, infinite), near)[:, None]
    floored = count(low <= under) <= rank(low, FLOOR)
    topped = count(high < over) > rank(high, TOP)
    seen = observed.astype(float)
    off = floored | topped
    if off.any():
        floor, top = quantile(low[off], FLOOR), quantile(high[off], TOP)
        seen[off] = np.clip(observed[off], floor, np.maximum(top, floor))
    return floored, topped, seen


class _Search:
    """Outermost ends over the phases tried so far. Most phases cannot move an end further out, which counting alone shows."""

    def __init__(
        self,
        terms: Terms,
        seen: Real,
        rounding: Floats | None,
        share: float,
        limit: float | None,
        strict_share: Real | None,
        errors: bool,
    ) -> None:
        places, self.draws = terms.square.shape
        self.errors = errors
        self.limit = limit
        # 0.025 times 8,000 may come out a little below 200 in binary.
        self.least = np.full(places, max(1, int(share * self.draws + 1e-6)))
        x = np.broadcast_to(seen.astype(np.float32)[:, None], (places, 1))
        if rounding is not None:
            x = x + rounding
        # Below zero nothing can be shown: the sign is kept, and no magnitude solves the inequality.
        square = x * np.abs(x)
        self.leading = terms.square - square * terms.down_square
        self.constant = terms.constant - square
        self.mixed_re = terms.cross_re - square * terms.down_re
        self.mixed_im = terms.cross_im - square * terms.down_im
        if np.any(seen > 1e6):
            # Recovered through a chain that passes next to nothing: the roots stay, and single precision holds the square of B.
            for each in (self.leading, self.constant, self.mixed_re, self.mixed_im):
                each /= np.maximum(x, 1) ** 2
        # A trial that shows less than the statistic without any antenna has a root below zero and one above, in every phase.
        self.begun = (self.leading.min(axis=1) > 0) & (self.constant.max(axis=1) < 0)
        self.low, self.high = np.full(places, np.inf), np.full(places, -np.inf)
        self.low_error, self.high_error = np.zeros(places), np.zeros(places)
        self.tails: list[tuple[NDArray[np.intp], Real, Real, NDArray[np.int16], NDArray[np.int16]]] | None = []
        self.lowest_chance, self.highest_chance = np.full(places, np.inf), np.full(places, -np.inf)
        self.strict = None if strict_share is None else np.maximum(1, np.floor(strict_share * self.draws).astype(int))
        self.strict_low = np.full(places, np.inf)

    def repeat(self, turns: int) -> None:
        """Ask about so many phases of every place from here on, one turn of all places after the other."""
        for name, value in vars(self).items():
            if isinstance(value, np.ndarray):
                setattr(self, name, np.tile(value, (turns, 1) if value.ndim == 2 else turns))

    @property
    def empty(self) -> NDArray[np.bool_]:
        """Places where no phase tried so far accepts any magnitude."""
        return self.high < 0

    def all_around(self, start_rad: Real, chosen: NDArray[np.bool_]) -> None:
        """Every phase; first the one that reads least, which has the highest end, and the one that reads most."""
        if not chosen.any():
            return
        for step in range(PHASES // 2):
            self.at(start_rad + step * 2 * np.pi / PHASES, chosen, opposite=True)

    def at(self, phase_rad: Real, chosen: NDArray[np.bool_], opposite: bool = False) -> None:
        """Move the ends outward by what one phase accepts, at the chosen places; half a turn on before it, if wanted."""
        for rows, begun in ((chosen & self.begun, True), (chosen & ~self.begun, False)):
            if rows.any():
                self._at(phase_rad, rows, opposite, begun)

    def _at(self, phase_rad: Real, chosen: NDArray[np.bool_], opposite: bool, begun: bool) -> None:
        """As `at`, of places of which all or none have `begun` below zero in every draw."""
        rows = np.flatnonzero(chosen)
        for first, last in self._stretches(phase_rad, chosen, opposite, begun):
            if self.limit is not None:
                limit = np.float32(self.limit)
                # Strictly inside its stretch a trial shows less than the observed; all others show that or more.
                held = last > limit if begun else (first < limit) & (last > limit)
                above = 1 - count(held) / self.draws
                self.lowest_chance[rows] = np.minimum(self.lowest_chance[rows], above)
                self.highest_chance[rows] = np.maximum(self.highest_chance[rows], above)
            moves = self._moves(first, last, rows, begun)
            if moves.any():
                self._move(first[moves], last[moves], rows[moves], begun)
            if self.tails is not None and last.shape[1] == self.draws and self.draws % GROUPS == 0:
                low, high = self.low[rows], self.high[rows]
                ended, held = last < low.astype(np.float32)[:, None], last >= high.astype(np.float32)[:, None]
                self.tails.append((rows, low, high, by_group(ended), by_group(held)))

    def _move(self, first: Floats, last: Floats, rows: NDArray[np.intp], begun: bool) -> None:
        """Move the ends of some places outward by the stretches of one phase."""
        least = self.least[rows]
        if begun and not self.errors and self.strict is None:
            low, high = ends_of_begun(last, int(least[0]))
        else:
            # Begun before any magnitude that is asked about: no order to find.
            first, last = first if begun else np.sort(first, axis=1), np.sort(last, axis=1)
            low, high = lowest(first, last, least, self.draws), highest(first, last, least, self.draws)
        lower, higher = low < self.low[rows], high > self.high[rows]
        at = rows[higher]
        self.high[at] = high[higher]
        if self.errors and at.size:
            self.high_error[at] = self._error(first[higher], last[higher], high[higher], least[higher])
        at = rows[lower]
        self.low[at] = low[lower]
        if self.errors and at.size:
            self.low_error[at] = self._error(first[lower], last[lower], low[lower], least[lower])
        if self.strict is not None:
            strict = lowest(first, last, self.strict[rows], self.draws)
            self.strict_low[rows] = np.minimum(self.strict_low[rows], strict)

    def _moves(self, first: Floats, last: Floats, rows: NDArray[np.intp], begun: bool) -> NDArray[np.bool_]:
        """Whether some magnitude beyond the ends found so far, from zero on, could pass both tests, by counts that it must satisfy."""
        low, high = (each[rows].astype(np.float32)[:, None] for each in (self.low, self.high))
        least = self.least[rows]
        if begun and self.strict is None and np.all(self.high[rows] < 0) and np.all(self.low[rows] > 1):
            return np.ones(rows.size, dtype=bool)
        beyond = count(last > high) >= least
        if begun and self.strict is None:
            return np.asarray(beyond | (count(last < low) >= least))
        beyond &= self.draws - count((first <= high) & (last > 1)) >= least
        strict = self.strict
        if strict is None:
            before = (low[:, 0] > 0) & (self.draws - count((first < 0) & (last >= low)) >= least)
            return np.asarray(beyond | (before & (count((first < low) & (last >= 0)) >= least)))
        lowest = self.strict_low[rows].astype(np.float32)[:, None]
        return np.asarray(beyond | (self.draws - count((first < 0) & (last >= lowest)) >= strict[rows]))

    def _stretches(
        self, phase_rad: Real, chosen: NDArray[np.bool_], opposite: bool, begun: bool
    ) -> Iterator[tuple[Floats, Floats]]:
        """First and last magnitude of each trial's stretch at or below the statistic: A g^2 + 2 B g + C <= 0.

        Half a turn on B has the other sign, and so have both roots.
        """
        leading, constant, half = self._quadratic(phase_rad, chosen)
        if begun:
            room = half * half
            room -= leading * constant
            root = np.sqrt(room, out=room)
            nowhere = np.broadcast_to(NOWHERE, half.shape)
            for beyond in (root + half, root - half) if opposite else (root - half,):
                yield nowhere, np.divide(beyond, leading, out=beyond)
            return
        square = half * half
        room = square - leading * constant
        # A discriminant below zero by no more than rounding is a tangent.
        square *= TANGENT
        none = room < square
        np.maximum(room, 0, out=room)
        root = np.sqrt(room, out=room)
        # Without a square term there is one root, and the other lies at infinity.
        down: Floats = np.where(leading == 0, np.float32(1e-12), leading)
        first: Floats = np.divide(-(half + root), down)
        last: Floats = np.divide(root - half, down)
        inverted = leading < 0
        for begin, end in ((-last, -first), (first, last)) if opposite else ((first, last),):
            begin[none], end[none] = NOWHERE, NOWHERE
            yield outside(begin, end, inverted, none) if inverted.any() else (begin, end)

    def _quadratic(self, phase_rad: Real, chosen: NDArray[np.bool_]) -> tuple[Floats, Floats, Floats]:
        """A, C and B of A g^2 + 2 B g + C at one phase of the chosen places."""
        whole = bool(chosen.all())
        leading, constant, re, im = (
            each if whole else each[chosen] for each in (self.leading, self.constant, self.mixed_re, self.mixed_im)
        )
        cosine, sine = _turn(phase_rad if whole else phase_rad[chosen])
        half = re * cosine
        half -= im * sine
        return leading, constant, half

    def _together(self) -> tuple[Real, Real]:
        """Deviation of the outermost end over the phases, as a share of that of the phase that has it.

        The highest of many that reach about as far moves less than each of them. Every group of trials moves the end of each
        phase by what it counts beyond it more or less than the others; with those put together by random weights, the
        outermost of them scatters as that of another seed does.

        Source: Multiplier bootstrap of the counts, linearised about the ends (memory).
        """
        places = len(self.low)
        shares = np.ones((2, places))
        if not self.tails:
            return shares[0], shares[1]
        least = self.least[:, None]
        reached = reach(self.least, self.draws)
        for which, (sign, error) in enumerate(((-1, self.low_error), (1, self.high_error))):
            step = error * 4 / (MOVED * np.sqrt(2)) / (2 * reached)
            ends = np.full((len(self.tails), places), -np.inf)
            moved = np.zeros((len(self.tails), places, WEIGHTS.shape[1]))
            for phase, (rows, *edges, ended, held) in enumerate(self.tails):
                # Not by a matrix product, whose last bit turns on how many places there are.
                counts = (ended, held)[which]
                total = counts.sum(axis=1, keepdims=True)
                ends[phase, rows] = sign * edges[which] + (total[:, 0] - least[rows, 0]) * step[rows]
                moved[phase, rows] = np.einsum("rg,gw->rw", counts - total / GROUPS, WEIGHTS) * step[rows, None]
            best = ends.argmax(axis=0), np.arange(places)
            own = moved[best]
            known = (own.std(axis=1) > 0) & np.isfinite(ends[best])
            # A phase that was not tried at a place lies behind by more than any magnitude.
            ends = np.maximum(ends, -FAR)
            own, moved, behind = own[known], moved[:, known], (ends[best] - ends)[:, known]
            # That one phase is ahead is partly the trials' own doing: what is no more than their scatter counts little.
            scatter = (moved - own).std(axis=2)
            behind *= behind**2 / np.maximum(behind**2 + scatter**2, 1e-30)
            outer = (moved - behind[..., None]).max(axis=0)
            shares[which, known] = np.minimum(1, outer.std(axis=1) / own.std(axis=1))
        return shares[0], shares[1]

    def _error(self, first: Floats, last: Floats, end: Real, least: NDArray[np.intp]) -> Real:
        """How far another seed may move the end of one phase: so many times the deviation of a difference of two.

        The share of trials that hold the end is binomial, so order statistics two of its deviations before and after the
        end lie four deviations of the end apart.

        Source: Distribution-free intervals of quantiles from order statistics.
        """
        reached = reach(least, self.draws)
        rows, most = np.arange(len(end)), last.shape[1] - 1
        spans = []
        for edges in (first, last):
            at = before(edges, end.astype(np.float32))
            ends = [edges[rows, np.clip(at + step, 0, most)] for step in (-reached, reached)]
            held = np.abs(edges[rows, np.clip(at, 0, most)] - end) < 1e-6
            spans.append(np.where(held, np.clip(ends[1], 0, 1) - np.clip(ends[0], 0, 1), 0.0))
        return np.asarray(MOVED * np.sqrt(2) / 4 * np.maximum(*spans))

    def ends(self, floored: NDArray[np.bool_], topped: NDArray[np.bool_]) -> Ends:
        """What was found; where no phase accepts anything, everything is possible."""
        none = self.empty
        low, high = np.where(none, 0.0, np.clip(self.low, 0, 1)), np.where(none, 1.0, np.clip(self.high, 0, 1))
        strict = None if self.strict is None else np.where(none, 0.0, np.minimum(np.clip(self.strict_low, 0, 1), low))
        least, most = (None, None) if self.limit is None else (self.lowest_chance, self.highest_chance)
        lower, higher = self._together()
        return Ends(low, high, self.low_error * lower, self.high_error * higher, floored, topped, least, most, strict)
