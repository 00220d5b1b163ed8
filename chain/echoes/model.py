"""A sweep as a few delayed echoes and resonances on a smooth part: the model, its linear fit and its refinement.

Everything is in units of the span: `x` runs from -1 to 1 over the sweep, a delay is reported as `periods`, the number of its
ripples that the span holds. A complex sweep is fitted as it is. Of a magnitude only the square is: there two reflections
add up to a smooth part and one beat, `|G|^2 = |M|^2 + |a|^2 + 2 |M| |a| cos`, exactly.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from library.frozen import dataclass


@dataclass(frozen=True)
class Echo:
    """A delayed reflection: its ripples in the span (negative: before the main one), and how its amplitude varies.

    Degree 0: not at all; 1: by the factor exp(-slope x), as a loss in dB that grows with frequency; 2: by a square too.
    """

    periods: float
    degree: int = 0
    slope: float = 0.0


@dataclass(frozen=True)
class Pole:
    """A resonance: its place on `x` and half its width."""

    place: float
    width: float


@dataclass(frozen=True)
class Model:
    """Which terms there are: polynomial of the smooth part, echoes, resonances."""

    degree: int
    echoes: tuple[Echo, ...] = ()
    poles: tuple[Pole, ...] = ()

    def parameters(self, has_phase: bool) -> int:
        """Count of real numbers that are fitted."""
        smooth = (self.degree + 1) * (2 if has_phase else 1)
        return smooth + sum((3, 4, 6)[echo.degree] for echo in self.echoes) + 4 * len(self.poles)


def echo_shape(x: Real, periods: float, slope: float = 0.0) -> Complex:
    """Turn of a delayed reflection over the span, zero at its middle: exp(-j 2 pi f t)."""
    return np.asarray(np.exp(-(slope + 1j * np.pi * periods) * x))


def pole_shape(x: Real, pole: Pole) -> Complex:
    """Reflection of a resonance, 1 at its middle: 1/(1 + j (x - place)/width)."""
    return np.asarray(1 / (1 + 1j * (x - pole.place) / pole.width))


LEAST_PIVOT, CLEAR_PIVOT = 1e-7, 0.01
"""Share of a column that must be new for it to count as independent, and for one round of factors to be exact to 1e-9."""


# Products of tall, thin matrices without a BLAS, whose threads on a busy machine cost far more than work as small as this.


def products(left: Values, right: Values) -> Values:
    """Inner products of columns."""
    return np.asarray(np.einsum("nm,nk->mk", left.conj(), right))


def combined(columns: Values, factors: Values) -> Values:
    """Sums of columns times factors."""
    return np.asarray(np.einsum("nm,m...->n...", columns, factors))


def orthonormal(matrix: Values) -> tuple[Values, Values]:
    """Orthonormal columns of the same span, and the matrix that makes them of the given ones.

    Source: Cholesky factors, taken again where the first are not exact enough (CholeskyQR2); Gram-Schmidt where columns
    nearly depend on one another.
    """
    sizes = np.sqrt(np.sum(np.abs(matrix) ** 2, axis=0))
    makes = np.diag(1 / np.where(sizes > 0, sizes, 1.0))
    q = matrix * np.diag(makes)
    try:
        for _ in range(2):
            # A = L L': q L'^-1 is orthonormal up to the condition squared; the second round takes that off.
            lower = np.linalg.cholesky(products(q, q))
            pivot = np.min(np.abs(np.diag(lower)), initial=1.0)
            if pivot < LEAST_PIVOT:
                return _one_by_one(matrix, sizes)
            step = np.linalg.inv(lower).conj().T
            q, makes = combined(q, step), combined(makes, step)
            if pivot > CLEAR_PIVOT:
                break
    except np.linalg.LinAlgError:
        return _one_by_one(matrix, sizes)
    return q, makes


def _one_by_one(matrix: Values, sizes: NDArray[np.float64]) -> tuple[Values, Values]:
    """Gram-Schmidt, each column twice; one that depends on those before it becomes zero."""
    out = np.array(matrix)
    for i in range(out.shape[1]):
        # Twice is enough (Kahan, Parlett): the second pass removes what cancellation left of the first.
        column, before = out[:, i], out[:, :i]
        for _ in range(2):
            column = column - combined(before, products(before, column[:, None])[:, 0])
        left = float(np.sqrt(np.sum(np.abs(column) ** 2)))
        out[:, i] = column / left if left > LEAST_PIVOT * sizes[i] else 0.0
    return out, np.linalg.pinv(products(out, matrix), rcond=1e-12)


Values = NDArray[Any]

FLOOR = 2e-5
"""Least noise that counts, as a reflection: figures in files are rounded, lines are not quite the model's."""
MOST_DEGREE = 8
STEPS = 12
SETTLED = 1e-7


@dataclass(frozen=True)
class SampledSweep:
    """What is fitted: values (complex, or squares of a magnitude) with weights that make their noise that of a reflection.

    `carrier` is the magnitude of the main reflection, which carries the beat in a square; 1 for complex values.
    """

    x: Real
    values: Values
    weight: Real
    carrier: Real
    powers: Real
    """Legendre polynomials over `x`, shape (points, degrees)."""

    @property
    def has_phase(self) -> bool:
        """Whether the values are complex."""
        return bool(np.iscomplexobj(self.values))

    @property
    def size(self) -> int:
        """How many real numbers the values are."""
        return self.x.size * (2 if self.has_phase else 1)


@dataclass(frozen=True)
class EchoFit:
    """A fitted model: `rss` over weighted residuals; `parts` is each echo's own share of the sweep, complex over `x`.

    `spread` is the standard deviation of each echo's periods, over that of the noise.
    """

    model: Model
    basis: Values
    residual: Values
    rss: float
    smooth: Values
    parts: tuple[Complex, ...]
    resonances: tuple[Complex, ...]
    fitted: Values
    spread: tuple[float, ...] = ()


def sweep_of(x: Real, reflection: Complex | None, magnitude: Real) -> SampledSweep:
    """Values to fit of a sweep: d(m^2) = 2 m dm."""
    ones = np.ones(x.shape)
    # Legendre polynomials are nearly orthogonal on an even grid; powers of x would lose half the digits at degree 6.
    powers = np.asarray(np.polynomial.legendre.legvander(x, MOST_DEGREE), dtype=np.float64)
    if reflection is not None:
        return SampledSweep(x, reflection, ones, ones, powers)
    # Squares, since |M + e|^2 is linear in the beat of each echo with the main reflection and magnitudes are not.
    square = magnitude**2
    smooth = np.full(x.shape, max(float(np.mean(square)), FLOOR**2))
    return SampledSweep(x, square, _weight(smooth), np.sqrt(smooth), powers)


def _weight(square: Real) -> Real:
    # A square near zero would get a weight without bounds: a null is only as deep as noise and rounding leave it.
    least = max(float(np.mean(square)) * 1e-3, FLOOR**2)
    return np.asarray(0.5 / np.sqrt(np.maximum(square, least)))


def reweighted(sweep: SampledSweep, found: EchoFit) -> SampledSweep:
    """The same values with weights and carrier from a fit; complex values stay as they are.

    Source: The smooth part of a square is |M|^2 plus the squares of the echoes; the main reflection M is no less than
    half of it.
    """
    if sweep.has_phase:
        return sweep
    # Square of the sweep without the beats: |M|^2 + sum |e|^2.
    fitted = np.asarray(found.fitted.real)
    whole = np.maximum(fitted - sum((sweep.carrier * 2 * part.real for part in found.parts), np.zeros(fitted.shape)), 0)
    echoes = sum((np.abs(part) ** 2 for part in found.parts), np.zeros(fitted.shape))
    # The echoes' own squares come off; where noise makes them larger than the whole, half of it is kept.
    main = np.maximum(whole - echoes, np.maximum(whole / 2, FLOOR**2))
    return replace(sweep, weight=_weight(fitted), carrier=np.sqrt(main))


def _columns(sweep: SampledSweep, shape: Complex, scale: Real | float) -> list[Values]:
    """Columns of one complex unknown: itself, or its real and imaginary share of a real value."""
    if sweep.has_phase:
        return [shape * scale]
    # Re(a s) = Re a Re s - Im a Im s: two real columns for one complex amplitude.
    return [shape.real * scale, -shape.imag * scale]


def _beat(sweep: SampledSweep) -> Real | float:
    # |M + e|^2 = |M|^2 + 2 |M| Re(e turned by M) + ...: the beat carries twice the main magnitude.
    return 1.0 if sweep.has_phase else 2 * sweep.carrier * sweep.weight


def fit(sweep: SampledSweep, model: Model) -> EchoFit:
    """Fit the linear unknowns of a model: the polynomial and every amplitude."""
    x = sweep.x
    powers = sweep.powers
    columns: list[Values] = [sweep.weight * powers[:, i] for i in range(model.degree + 1)]
    shapes = [(echo_shape(x, echo.periods, echo.slope), _degrees(echo), _beat(sweep)) for echo in model.echoes]
    shapes += [(pole_shape(x, pole), (0,), 1.0 if sweep.has_phase else sweep.weight) for pole in model.poles]
    for shape, degrees, scale in shapes:
        for i in degrees:
            columns += _columns(sweep, shape * powers[:, i], scale)
    matrix = np.stack(columns, axis=1)
    values = sweep.weight * sweep.values
    # With orthonormal columns the residual needs no solution: r = y - Q Q' y.
    q, makes = orthonormal(matrix)
    known = products(q, values[:, None])[:, 0]
    unknowns = combined(makes, known)
    residual = values - combined(q, known)
    smooth = combined(powers[:, : model.degree + 1], unknowns[: model.degree + 1])
    parts = _parts(sweep, powers, shapes, unknowns[model.degree + 1 :])
    count = len(model.echoes)
    return EchoFit(
        model,
        q,
        residual,
        float(np.sum(np.abs(residual) ** 2)),
        smooth,
        tuple(parts[:count]),
        tuple(parts[count:]),
        # Weights off again: the fit in the units of the values.
        sweep.values - residual / sweep.weight,
    )


def _degrees(echo: Echo) -> tuple[int, ...]:
    """Polynomials that the amplitude is made of beside its slope: a complex slope would pass for a delay."""
    return (0, 2) if echo.degree == 2 else (0,)


def _parts(
    sweep: SampledSweep, powers: Real, shapes: list[tuple[Complex, tuple[int, ...], Real | float]], unknowns: Values
) -> list[Complex]:
    """Each term with its amplitude, complex over x."""
    amplitudes = unknowns if sweep.has_phase else unknowns[::2] + 1j * unknowns[1::2]
    out, at = [], 0
    for shape, degrees, _ in shapes:
        own = amplitudes[at : at + len(degrees)]
        at += len(degrees)
        out.append(np.asarray(shape * combined(powers[:, list(degrees)], own)))
    return out


def refine(sweep: SampledSweep, model: Model, steps: int = STEPS) -> EchoFit:
    """Fit delays and resonances too, from a start close by.

    Source: Gauss-Newton on the unknowns that are left once the linear ones are projected out (variable projection).
    """
    best = fit(sweep, model)
    for _ in range(steps):
        # Golub and Pereyra 1973, with the simplified derivative of Kaufman 1975: change of the columns times the amplitudes,
        # projected off the columns themselves.
        tangents = _tangents(sweep, best)
        if tangents.shape[1] == 0:
            return best
        slope = products(tangents, _stacked(best.residual)[:, None])[:, 0]
        step: Real = np.linalg.lstsq(products(tangents, tangents), slope, rcond=1e-12)[0].real
        # A third of the step until the residual falls: full Gauss-Newton steps overshoot from the edge of a grid cell.
        size = 1.0
        for _ in range(6):
            moved = fit(sweep, _moved(best.model, size * step))
            if moved.rss <= best.rss:
                break
            size /= 3
        else:
            break
        settled = best.rss - moved.rss <= SETTLED * best.rss
        best = moved
        if settled:
            break
    return replace(best, spread=_spread(_tangents(sweep, best), best.model))


def _stacked(values: Values) -> Real:
    if np.iscomplexobj(values):
        return np.concatenate([values.real, values.imag])
    return np.asarray(values.real)


def _tangents(sweep: SampledSweep, found: EchoFit) -> Real:
    """How the values change with each delay, place and width, without what the linear unknowns would take up."""
    x, out = sweep.x, []
    for echo, part in zip(found.model.echoes, found.parts, strict=True):
        # d/d(periods) exp(-j pi p x) = -j pi x exp(...); real unknowns, so only the first column of a pair.
        out += _columns(sweep, -1j * np.pi * x * part, _beat(sweep))[:1]
        if echo.degree:
            out += _columns(sweep, -x * part, _beat(sweep))[:1]
    for pole, part in zip(found.model.poles, found.resonances, strict=True):
        shape = pole_shape(x, pole)
        scale = 1.0 if sweep.has_phase else sweep.weight
        # d/d(place) and d/d(log width) of 1/(1 + j (x - place)/width), of the term with its amplitude.
        out += _columns(sweep, 1j / pole.width * shape * part, scale)[:1]
        out += _columns(sweep, 1j * (x - pole.place) / pole.width * shape * part, scale)[:1]
    if not out:
        return np.zeros((sweep.size, 0))
    matrix = np.stack(out, axis=1)
    projected = matrix - combined(found.basis, products(found.basis, matrix))
    return np.stack([_stacked(column) for column in projected.T], axis=1)


def _moved(model: Model, step: Real) -> Model:
    moves = iter(step.tolist())
    echoes = []
    for echo in model.echoes:
        # Half a ripple a step: further, and the fit would jump to a sidelobe of its own line.
        periods = echo.periods + _clipped(next(moves), 0.5)
        slope = _clipped(echo.slope + _clipped(next(moves), 0.5), 3.0) if echo.degree else 0.0
        echoes.append(replace(echo, periods=periods, slope=slope))
    poles = []
    for pole in model.poles:
        place = pole.place + _clipped(next(moves), pole.width)
        poles.append(Pole(place, pole.width * float(np.exp(_clipped(next(moves), 0.5)))))
    return Model(model.degree, tuple(echoes), tuple(poles))


def _clipped(value: float, most: float) -> float:
    return min(max(value, -most), most)


def _spread(tangents: Real, model: Model) -> tuple[float, ...]:
    # Inverse of the projected normal matrix: Cramer-Rao bound for unit noise, all other unknowns free.
    covariance = np.linalg.pinv(products(tangents, tangents))
    at = np.cumsum([0, *(1 + (echo.degree > 0) for echo in model.echoes)])[:-1]
    return tuple(float(np.sqrt(max(covariance[i, i], 0.0))) for i in at)
