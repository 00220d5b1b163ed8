"""Search for the echoes of a sweep: the most significant term is added until none is, then what has become needless goes.

A candidate counts by how much of the residual it takes up once the terms so far are projected out of it, so that the
smooth part is never taken for an echo by its own leakage.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real, median
from chain.echoes.model import FLOOR, STEPS, Echo, EchoFit, Model, Pole, SampledSweep, fit, products, refine, reweighted
from library.frozen import dataclass

Values = NDArray[Any]

FALSE_ALARM = 1e-3
"""Chance that noise alone on a smooth sweep shows an echo somewhere."""
LEAST_PERIODS = 1.5
"""Ripples that the span must hold: fewer cannot be distinguished from the antenna's own course."""
APART = 1.5
"""Ripples by which two echoes must differ to be distinguished."""
FIRST_DEGREE, LAST_DEGREE = 3, 6
MOST_ECHOES, MOST_POLES = 6, 6
OVERSAMPLED = 4
BLOCK = 2_000_000
"""Largest array of an uneven sweep's transform."""
POLISHED = 3
BRISK = 4
"""Steps of refinement while terms are still added."""
LOOKS = 2
"""Steps of refinement before a candidate is weighed."""
SURELY_RIPPLE = 12.0
"""Echoes of fewer ripples in the span are weighed against an antenna that has resonances instead."""
MARGIN = 10.0
"""By how much an echo's evidence must be the better one: the usual bound of very strong evidence on that scale."""
FEW_POLES, PER_POLE = 3, 6
"""Resonances that an antenna has within a sweep; more of them, evenly spaced, are how a ripple looks in disguise, and each
must explain so many times the margin more."""


@dataclass(frozen=True)
class _Candidate:
    model: Model
    gain: float
    """Share of the residual's power that the new term takes up."""
    chance: float
    """Chance that noise alone takes up as much."""
    cost: int
    """Real numbers that the new term needs."""


def noise_of(sweep: SampledSweep, found: EchoFit) -> float:
    """Standard deviation of the noise, as a reflection (residual sum of squares over the degrees of freedom)."""
    # Unbiased, and never below what rounding of the figures in the file leaves.
    free = max(sweep.size - found.model.parameters(sweep.has_phase), 1)
    return float(np.sqrt(found.rss / free + FLOOR**2))


def search(sweep: SampledSweep, first_periods: float = -np.inf) -> tuple[SampledSweep, EchoFit]:
    """Find the terms of a sweep.

    Source: Matching pursuit with all terms fitted again at each step; chance of a false alarm by the beta distribution
    of the share that one frequency takes of white noise, times the count of independent delays (Baluev 2008, for Lomb
    periodograms).
    """
    look = _CandidateGrid(sweep, first_periods)
    # At least eight points to a degree: a polynomial that follows every point leaves no ripple to find.
    start = Model(min(FIRST_DEGREE, sweep.x.size // 8))
    sweep, found = _sober(look, *_grown(look, sweep, start, LEAST_PERIODS))
    # Strongest first: later steps take the first of two that are too near each other as the real one.
    order = np.argsort([-_strength(part) for part in found.parts], kind="stable")
    echoes = tuple(found.model.echoes[i] for i in order)
    return _settled(sweep, replace(found.model, echoes=echoes), STEPS, POLISHED)


def _grown(
    look: _CandidateGrid, sweep: SampledSweep, start: Model, least_periods: float
) -> tuple[SampledSweep, EchoFit]:
    """Terms added while they are significant, echoes from a number of periods on, then the needless ones dropped."""
    sweep, found = _settled(sweep, start)
    while (best := look.best(sweep, found, least_periods)) is not None:
        sweep, found = _settled(sweep, best.model)
    return _pruned(sweep, found)


def _sober(look: _CandidateGrid, sweep: SampledSweep, found: EchoFit) -> tuple[SampledSweep, EchoFit]:
    """The same without its longest-period echoes, for as long as resonances explain the sweep as well.

    An antenna's own course may swing a few times over the span: it is called a ripple only where nothing but an echo
    makes it.
    """
    least = 0.0
    while found.model.echoes:
        # Next band of ripple counts to give up, so that the loop ends even where the refit brings the same echo back.
        least = max(min(abs(echo.periods) for echo in found.model.echoes), least) + APART
        if least > SURELY_RIPPLE:
            break
        # Only the doubtful ones are withheld; what else was found stays, and resonances must do the rest.
        kept = tuple(echo for echo in found.model.echoes if abs(echo.periods) >= least)
        start = replace(found.model, degree=max(found.model.degree, FIRST_DEGREE), echoes=kept)
        other_sweep, other = _grown(look, sweep, start, least)
        scores = [
            _evidence(sweep, each.rss, each.model.parameters(sweep.has_phase))
            for each in (found, fit(sweep, other.model))
        ]
        # Evenly spaced resonances can copy any ripple; each beyond the few that antennas have must pay for itself.
        disguise = max(len(other.model.poles) - FEW_POLES, 0)
        if scores[1] > scores[0] + MARGIN * (1 - PER_POLE * disguise):
            break
        sweep, found = other_sweep, other
    return sweep, found


def _strength(part: Complex) -> float:
    return float(np.sqrt(np.mean(np.abs(part) ** 2)))


def _settled(sweep: SampledSweep, model: Model, steps: int = BRISK, rounds: int = 1) -> tuple[SampledSweep, EchoFit]:
    """Refined fit; of squares, with weights that agree with it."""
    # The weights of squares depend on the fit and the fit on the weights: a fixed point, reached in few rounds.
    found = refine(sweep, model, steps)
    for _ in range(0 if sweep.has_phase else rounds):
        sweep = reweighted(sweep, found)
        found = refine(sweep, found.model, steps)
    return sweep, found


def _evidence(sweep: SampledSweep, rss: float, parameters: int) -> float:
    """Smaller is better: Bayesian information criterion, noise at least what rounding leaves."""
    size = sweep.size
    # Schwarz 1978: n ln(rss/n) + k ln n, the constant left out.
    return size * float(np.log(rss / size + FLOOR**2)) + parameters * float(np.log(size))


def _pruned(sweep: SampledSweep, found: EchoFit) -> tuple[SampledSweep, EchoFit]:
    """Terms that the others have made needless dropped, one at a time."""
    while True:
        now = _evidence(sweep, found.rss, found.model.parameters(sweep.has_phase))
        tried = [(fit(sweep, model), model) for model in _smaller(found.model)]
        scored = [
            (_evidence(sweep, each.rss, model.parameters(sweep.has_phase)), i) for i, (each, model) in enumerate(tried)
        ]
        # Greedy backwards: after a late term was added, an early one is often its worse copy.
        if not scored or min(scored)[0] >= now:
            return sweep, found
        sweep, found = _settled(sweep, tried[min(scored)[1]][1])


def _smaller(model: Model) -> Iterator[Model]:
    if model.degree:
        yield replace(model, degree=model.degree - 1)
    for i, echo in enumerate(model.echoes):
        rest = model.echoes[:i], model.echoes[i + 1 :]
        yield replace(model, echoes=(*rest[0], *rest[1]))
        if echo.degree:
            # The exponential slope belongs to degree 1 and up; without it the fit would keep a factor that nothing refines.
            lower = replace(echo, degree=echo.degree - 1, slope=echo.slope if echo.degree > 1 else 0.0)
            yield replace(model, echoes=(*rest[0], lower, *rest[1]))
    for i in range(len(model.poles)):
        yield replace(model, poles=model.poles[:i] + model.poles[i + 1 :])


class _CandidateGrid:
    """Candidates on fixed grids of delays and resonances."""

    def __init__(self, sweep: SampledSweep, first_periods: float) -> None:
        x = sweep.x
        self.x, self.points = x, x.size
        # Delays are in ripples over the span, so that the unambiguous window of an even sweep is its number of steps.
        window = self.points - 1.0
        count = OVERSAMPLED * self.points
        step = np.diff(x)
        # Two per cent of unevenness shifts the phase of the longest delay by less than the fit corrects afterwards.
        self.even = bool(np.ptp(step) < 0.02 * float(median(step)))
        if not self.even:
            window = 2 / float(median(step))
        whole = np.arange(count) * window / count
        if sweep.has_phase:
            # An echo lies behind the main reflection; a little before it is allowed, since its own delay is not known yet.
            first = (first_periods if np.isfinite(first_periods) else -window / 2) - 0.02 * window
            self.periods = (whole - first) % window + first
        else:
            # A real sweep has a symmetric transform: delays t and -t, and t and window - t, are one.
            half = whole <= window / 2
            whole = whole[half]
            self.periods = whole
        self.count, self.window = count, window
        self.poles = _pole_grid(self.points)
        places, widths = np.array([(pole.place, pole.width) for pole in self.poles]).T
        # Resonances are wide beside the step: every n-th point shows their gain as well, at an n-th of the memory.
        self.thin = 1 + len(self.poles) * self.points // BLOCK
        self.pole_shapes = 1 / (1 + 1j * (x[:: self.thin, None] - places) / widths)

    def best(self, sweep: SampledSweep, found: EchoFit, least_periods: float) -> _Candidate | None:
        """The candidate with most evidence, if it is significant."""
        # Three more for the candidate itself: amplitude, phase and delay.
        free = sweep.size - found.model.parameters(sweep.has_phase) - 3
        # The floor keeps a perfect fit from finding terms in rounding errors.
        power = found.rss + sweep.size * FLOOR**2
        if free < 4:
            return None
        scale = np.ones(self.points) if sweep.has_phase else sweep.carrier * sweep.weight
        shares = _gains(found, self._transform, scale) / power
        candidates = [
            *self._plain(sweep, found, (power, free), shares),
            self._echo(found, free, shares, least_periods),
        ]
        if len(found.model.poles) < MOST_POLES:
            candidates.append(self._pole(sweep, found, power, free))
        likely = [each for each in candidates if each is not None and each.chance < FALSE_ALARM]
        if not likely:
            return None
        size = sweep.size
        # Change of the Bayesian information criterion, so that candidates of unequal size compete fairly.
        return max(likely, key=lambda each: -size * np.log1p(-min(each.gain, 1 - 1e-12)) - each.cost * np.log(size))

    def _plain(
        self, sweep: SampledSweep, found: EchoFit, left: tuple[float, int], shares: Real
    ) -> Iterator[_Candidate]:
        """One degree more for the smooth part, or for an echo that leaves something of its own delay over."""
        model, (power, free) = found.model, left
        options = [replace(model, degree=model.degree + 1)] if model.degree < LAST_DEGREE else []
        for i, echo in enumerate(model.echoes):
            # What is left at an echo's own delay is its course over frequency, not a second echo.
            own = float(np.max(shares, where=np.abs(self.periods - echo.periods) < APART, initial=0.0))
            if echo.degree < 2 and _beyond(own, free, 2, self.periods.size / OVERSAMPLED) < FALSE_ALARM:
                wider = replace(echo, degree=echo.degree + 1)
                options.append(replace(model, echoes=(*model.echoes[:i], wider, *model.echoes[i + 1 :])))
        for option in options:
            # A polynomial is linear and needs no steps; an echo's slope does.
            tried = fit(sweep, option) if option.degree > model.degree else refine(sweep, option, LOOKS)
            cost = option.parameters(sweep.has_phase) - model.parameters(sweep.has_phase)
            gain = (found.rss - tried.rss) / power
            yield _Candidate(tried.model, gain, _beyond(gain, free, cost, 1.0), cost)

    def _echo(self, found: EchoFit, free: int, shares: Real, least_periods: float) -> _Candidate | None:
        model = found.model
        if len(model.echoes) >= MOST_ECHOES:
            return None
        # Too few ripples, or too near a known echo: the columns would be almost dependent and the gain meaningless.
        near = np.abs(self.periods) < least_periods
        for echo in model.echoes:
            near |= np.abs(self.periods - echo.periods) < APART
        gain = np.where(near, 0.0, shares)
        at = int(np.argmax(gain))
        more = replace(model, echoes=(*model.echoes, Echo(float(self.periods[at]))))
        delays = self.periods.size / OVERSAMPLED
        return _Candidate(more, float(gain[at]), _beyond(float(gain[at]), free, 2, delays), 3)

    def _pole(self, sweep: SampledSweep, found: EchoFit, power: float, free: int) -> _Candidate | None:
        poles = self.poles
        gain = self._pole_gains(sweep, found) / power
        at = int(np.argmax(gain))
        more = replace(found.model, poles=(*found.model.poles, poles[at]))
        # A grid of widths is coarse: a promising resonance is moved into place before it is weighed.
        if gain[at] > 1e-2:
            tried = refine(sweep, more, LOOKS)
            more, gain[at] = tried.model, max((found.rss - tried.rss) / power, 0.0)
        return _Candidate(more, float(gain[at]), _beyond(float(gain[at]), free, 2, len(poles)), 4)

    def _pole_gains(self, sweep: SampledSweep, found: EchoFit) -> Real:
        """Power of the residual that each resonance takes up, terms so far projected out."""
        thin, shapes = self.thin, self.pole_shapes
        # Rows left out scale every inner product by the same factor; orthonormal columns need its root.
        residual, basis = found.residual[::thin], np.sqrt(thin) * found.basis[::thin]
        if not sweep.has_phase:
            return thin * _real_gains(sweep.weight[::thin, None] * shapes, residual, basis)
        own = np.sum(np.abs(shapes) ** 2, axis=0)
        inner = products(residual[:, None], shapes)[0]
        taken = np.sum(np.abs(products(basis, shapes)) ** 2, axis=0)
        # Power along the part of the column that is new: |<r, s>|^2 / (|s|^2 - |P s|^2), P onto the terms so far.
        return np.asarray(thin * np.abs(inner) ** 2 / np.maximum(own - taken, 1e-3 * own))

    def _transform(self, columns: Values, twice: float = 1.0) -> Complex:
        """Sums of columns times exp(+j pi periods x), or of twice the periods, shape (delays, columns)."""
        if self.even:
            # One padded transform gives all delays of an even grid; the turn moves its origin to the middle of the span.
            sums = np.fft.ifft(columns, self.count, axis=0) * self.count
            at = (np.arange(self.periods.size) * int(twice)) % self.count
            turn = np.exp(-1j * np.pi * at * self.window / self.count)
            return np.asarray(sums[at] * turn[:, None])
        out = []
        size = max(1, BLOCK // self.points)
        grid = self.periods * twice
        for first in range(0, grid.size, size):
            out.append(np.exp(1j * np.pi * np.outer(grid[first : first + size], self.x)) @ columns)
        return np.concatenate(out)


def _gains(found: EchoFit, transform: Callable[..., Complex], scale: Real) -> Real:
    """Power of the residual that an echo of each delay takes up, terms so far projected out."""
    columns = np.concatenate([found.residual[:, None], found.basis], axis=1)
    if np.iscomplexobj(columns):
        sums = transform(columns)
        own = float(columns.shape[0])
        # Same quotient as for resonances, with columns of unit magnitude: |column|^2 is the number of points.
        left = own - np.sum(np.abs(sums[:, 1:]) ** 2, axis=1)
        return np.asarray(np.abs(sums[:, 0]) ** 2 / np.maximum(left, 1e-3 * own))
    sums = transform(scale[:, None] * columns)
    # cos^2, sin^2 and sin cos by the double angle, so that one more transform gives the Gram matrix of each pair.
    twice = transform((scale**2)[:, None], 2.0)[:, 0]
    own = float(np.sum(scale**2))
    cc = (own + twice.real) / 2 - np.sum(sums[:, 1:].real ** 2, axis=1)
    ss = (own - twice.real) / 2 - np.sum(sums[:, 1:].imag ** 2, axis=1)
    cs = twice.imag / 2 - np.sum(sums[:, 1:].real * sums[:, 1:].imag, axis=1)
    return _two_column_gain((cc, ss, cs), (sums[:, 0].real, sums[:, 0].imag), 1e-3 * own)


def _two_column_gain(gram: tuple[Real, Real, Real], inner: tuple[Real, Real], least: float) -> Real:
    """Power that pairs of columns take up, from their Gram matrix and their products with the residual."""
    cc, ss, cs = gram
    # r' A (A'A)^-1 A' r for two columns; a determinant near zero is a pair that has become one column.
    both = cc * ss - cs**2
    safe = np.maximum(both, least**2)
    gain = (inner[0] ** 2 * ss - 2 * inner[0] * inner[1] * cs + inner[1] ** 2 * cc) / safe
    return np.asarray(np.where((both > least**2) & (cc > 0) & (ss > 0), gain, 0.0))


def _real_gains(shapes: Complex, residual: Real, basis: Real) -> Real:
    """Power that the real and imaginary part of each shape take up together."""
    parts = shapes.real, shapes.imag
    inner = [products(residual[:, None], part)[0] for part in parts]
    taken = [products(basis, part) for part in parts]
    own = [np.sum(part**2, axis=0) - np.sum(lost**2, axis=0) for part, lost in zip(parts, taken, strict=True)]
    cs = np.sum(parts[0] * parts[1], axis=0) - np.sum(taken[0] * taken[1], axis=0)
    return _two_column_gain((own[0], own[1], cs), (inner[0], inner[1]), 1e-3 * float(median(own[0] + own[1])))


def _pole_grid(points: int) -> list[Pole]:
    """Resonances of halving widths, as far apart as half their width, down to four points."""
    out, width = [], 0.5
    while width * points > 8 and width > 0.01:
        out += [Pole(float(place), width) for place in np.arange(-1, 1 + width / 2, width / 2)]
        width /= 2
    return out or [Pole(0.0, 0.5)]


def _beyond(gain: float, free: int, columns: int, delays: float) -> float:
    """Chance that white noise gives a term of that many real columns such a share, among so many independent delays."""
    share = min(max(gain, 0.0), 1 - 1e-12)
    # (1 - share)^(free/2): tail of the beta distribution of one complex term.
    power = -free / 2 * np.log1p(-share)
    if delays > 1:
        # Baluev 2008: rate of upcrossings of the gain over continuous delays, above the tail of a single one.
        return float(min(delays * np.sqrt(np.pi * max(power, 1.0) / 3) * np.exp(-power), 1.0))
    # One or two columns: chi-square tails in the logarithm of what is left, good enough away from a few points.
    return float(min(np.exp(-power) * max(power, 1.0) ** (columns / 2 - 1) * 2, 1.0))
