"""Guaranteed bounds at a far plane: what imperfect standards, noise, drift and a moved lead can do to a corrected reading.

The unchanging chain cancels: the corrected reading is the bilinear map that takes the standards as they truly were to
what they were taken for. An open with a capacitance, a short with an inductance and a joint made again in front of either stay on the unit
circle, so their errors are arcs of known direction, not discs; first-order terms are kept with their directions, the
rest enters by its modulus. Where errors are so large that the rest is most, the whole map by moduli alone shows more: of the
two bounds, either of which holds, the narrower one counts.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf.discs import ROUNDING, Region, backward, forward, region_of
from chain.uncertainty.measurement import CUT, Measurement
from chain.uncertainty.transfer import least_derivative, least_slope
from library.frozen import dataclass

Number = TypeVar("Number", bound=np.generic)
Value = TypeVar("Value")


PHASES: Complex = np.exp(2j * np.pi * np.arange(120) / 120)
HALF_STEP = np.pi / PHASES.size
LEAST_SLOPE = 1e-12
"""Slope of the chain ahead of the plane, as a divisor: behind an element that may reflect everything nothing need show."""
HOPELESS = 2.0
"""Displacement where an error is too large for any bound to follow."""
BLOCK_POINTS = 60_000


@dataclass(frozen=True)
class Spread:
    """A reflection that is not known: `center` + sum of p_k `lines_k` with p_k from -1 to 1, + any number up to `radius`."""

    center: Complex
    lines: tuple[Complex, ...]
    radius: Real

    @property
    def reach(self) -> Real:
        """Largest distance from the centre."""
        return np.asarray(sum((np.abs(line) for line in self.lines), self.radius))

    def magnitudes(self) -> tuple[Real, Real]:
        """Least and largest magnitude: the lines by their parts along and across the direction of the centre."""
        size = np.abs(self.center)
        ahead = np.conj(self.center) / np.maximum(size, 1e-300)
        ahead = np.where(size > 0, ahead, 1.0)
        turned = [line * ahead for line in self.lines]
        along = sum((np.abs(line.real) for line in turned), np.zeros(1))
        # What lies across the centre's direction lengthens a number to second order only, what lies along it in full.
        across = sum((np.abs(line.imag) for line in turned), np.zeros(1))
        most = np.minimum(np.hypot(size + along, across) + self.radius, size + self.reach)
        return np.maximum(size - along - self.radius, 0.0), most

    def mapped(self, center: Complex, slope: Complex, bend: Real, besides: Real | float = 0.0) -> Spread:
        """Image under a bilinear map of that slope; `bend` is the modulus of its c/(c z + d) at the centre.

        What moves by up to `besides` on top is not in the image, but its part of what is not linear is.
        """
        reach = self.reach + besides
        excess = np.abs(slope) * reach**2 * bend / np.maximum(1 - reach * bend, 1e-9)
        radius = np.where(reach * bend < 0.9, np.abs(slope) * self.radius + excess, HOPELESS)
        return Spread(center, tuple(slope * line for line in self.lines), radius)


@dataclass(frozen=True)
class _PlaneBounds:
    """Over frequency: what is left of the standards' errors once the middle of each is taken out, and that middle as a map.

    The map is (z + b)/(c z + d); `errors` belong to open, short and load after it, `noises` are what the noise of their
    readings adds, at most. Of the chain before the plane: `product` is its least |S12 S21|, `match` its largest |S22|, `seen` the
    largest reading of a perfect end through it. `blur` is what the first order of the noise may fall short by, as a factor.
    """

    b: Complex
    c: Complex
    d: Complex
    errors: tuple[Spread, Spread, Spread]
    noises: tuple[Real, Real, Real]
    product: Real
    match: Real
    seen: Real
    blur: Real

    @property
    def sizes(self) -> list[Real]:
        """Largest error of open, short and load, noise and all."""
        return [error.reach + noise for error, noise in zip(self.errors, self.noises, strict=True)]


def _wide(value: NDArray[Number], like: NDArray[np.generic]) -> NDArray[Number]:
    return value.reshape(value.shape + (1,) * (like.ndim - value.ndim))


def _arc(forward_rad: Real, mating: float, ideal: complex) -> tuple[Complex, Complex, Real]:
    """Middle, line and remainder of an arc of the unit circle: back by up to forward_rad, and a joint's turn either way."""
    # (1 + r)/(1 + conj(r)) stays on the unit circle and turns by 2 arg(1 + r), at
    # most 2 arcsin |r|. An arc and its tangent part by half the square of the angle.
    joint = 2 * np.arcsin(min(mating, 1.0))
    half = (forward_rad + 2 * joint) / 2
    middle = ideal * np.exp(-0.5j * forward_rad)
    return middle, 1j * middle * half, half**2 / 2


def _true_standards(measurement: Measurement) -> tuple[Spread, Spread, Spread]:
    """Open, short and load as they are read at the plane, noise of the readings left out."""
    standards = measurement.standards
    assert standards is not None
    omega, ohm = 2 * np.pi * measurement.freq_hz, standards.reference_ohm
    radius = standards.load_radius
    # Behind a swapped adapter the joint lies on its other side: no arc any more, but a disc stretched by T^-1.
    mating = 0.0 if measurement.swap is not None else measurement.mating
    ends = []
    for ideal, size in ((1.0, standards.open_capacitance_f * ohm), (-1.0, standards.short_inductance_h / ohm)):
        middle, line, bend = _arc(2 * np.arctan(omega * size), mating, ideal)
        ends.append(Spread(middle, (line,), bend))
    # G = 1 - u/(1 + d u) for u = 1 - s, d half the relative reactance: a difference in u is divided by both denominators.
    most = omega * standards.load_inductance_h / (2 * ohm)
    middle = 1j * most / 2 / (1 + 1j * most / 2)
    resistive = radius / np.maximum(1 - most * radius, 0.1)
    line = 1j * most / 2 / (1 + 1j * most / 2) ** 2
    reach = np.abs(middle) + np.abs(line) + most**2 / 4 + resistive
    joint = mating * (1 + reach**2) / np.maximum(1 - mating * reach, 1e-9)
    ends.append(Spread(middle, (line,), most**2 / 4 + resistive + joint))
    if measurement.swap is not None and measurement.mating:
        ends = [_jointed(measurement, end) for end in ends]
    return ends[0], ends[1], ends[2]


def _jointed(measurement: Measurement, end: Spread) -> Spread:
    """A standard behind a swapped adapter, the joint in front of that made again."""
    assert measurement.swap is not None
    reach = np.minimum(np.abs(end.center) + end.reach, 1.2)
    steep = 1 / least_derivative((measurement.swap,), np.minimum(reach, 1.0))
    joint = measurement.mating * (1 + reach**2) / np.maximum(1 - measurement.mating * reach, 1e-9)
    return replace(end, radius=end.radius + steep * joint)


def unswapped(measurement: Measurement) -> Measurement:
    """The same calibration with a swapped adapter as part of the chain that does not change.

    Read through the adapter T (its stated line taken out), standards t show as T(t), so the solved map is that of the standards
    themselves after T undone: corrected = N(T^-1 x). The adapter then lies before the plane, the antenna behind T^-1.
    """
    if measurement.swap is None:
        return measurement
    return replace(measurement, before=(*measurement.before, measurement.swap))


def past_swap(measurement: Measurement, region: Region) -> Region:
    """Reflections at the plane as seen behind the swapped adapter, T^-1 x: its stated line put in, the adapter undone."""
    if measurement.swap is None:
        return region
    return backward((measurement.swap,), forward((measurement.swap.known(),), region))


def before_swap(measurement: Measurement, region: Region) -> Region:
    """Reflections behind the swapped adapter as they are at the plane, T x: the inverse of `past_swap`."""
    if measurement.swap is None:
        return region
    return backward((measurement.swap.known(),), forward((measurement.swap,), region))


def _plane(measurement: Measurement) -> _PlaneBounds:
    """Errors of the standards with their middle taken out, and what of the chain decides how noise arrives at the plane."""
    product, match = least_slope(measurement.before, measurement.freq_hz)
    product, match = np.maximum(product, LEAST_SLOPE), np.minimum(match * _excess(measurement) ** 2, 1.0)
    ends = _true_standards(measurement)
    opened, shorted, load = (end.center for end in ends)
    # The map (z + b)/(c z + d) that takes the middles of open, short and load to 1, -1 and 0.
    c = (opened + shorted - 2 * load) / (opened - shorted)
    b, d = -load, opened - load - c * opened
    errors, noises, blur = [], [], np.abs(d - b * c) / np.maximum(np.abs(d) - np.abs(c), 0.1) ** 2
    for end, ideal in zip(ends, (1.0, -1.0, 0.0), strict=True):
        off = np.abs(end.center - ideal) + end.reach
        moved, short_by = _referred(
            measurement, np.minimum(abs(ideal) + off, 1.2), np.asarray(_noise_radius(measurement)), match
        )
        down = c * end.center + d
        slope, bend = (d - b * c) / down**2, np.abs(c / down)
        errors.append(end.mapped(np.full(down.shape, ideal, dtype=complex), slope, bend, moved))
        noises.append(np.abs(slope) * moved)
        nearer = 1 + match * off / np.maximum(1 - match * abs(ideal), 0.05)
        blur = np.maximum(blur, np.abs(slope) * nearer**2 / short_by)
    zero = np.zeros(measurement.freq_hz.shape)
    seen = forward(measurement.before, region_of(zero.astype(complex), zero)).most * _excess(measurement) ** 2
    return _PlaneBounds(b, c, d, _three(errors), _three(noises), product, match, seen, np.maximum(blur, 1.0))


def _three(values: list[Value]) -> tuple[Value, Value, Value]:
    first, second, third = values
    return first, second, third


def _noise_radius(measurement: Measurement) -> float:
    return float(CUT * np.sqrt(2) * measurement.noise)


def _steep(measurement: Measurement, most: Real) -> Real:
    """Most that a reflection up to `most` at the plane moves per change of the raw reading.

    A swapped adapter lies in the chain with its stated line not taken out, which makes reflections in front of it too small by
    that line's loss g; (1 + m g r)/(1 + m r) <= g, twice.
    """
    least = np.maximum(least_derivative(measurement.before, most), LEAST_SLOPE)
    return np.asarray(_wide(_excess(measurement), most) ** 2 / least)


def _excess(measurement: Measurement) -> Real:
    """1 over |S12 S21| of a swapped adapter's stated line; 1 where none was swapped."""
    if measurement.swap is None:
        return np.ones(measurement.freq_hz.shape)
    s = measurement.swap.nominal()
    return np.asarray(1 / np.abs(s[..., 0, 1] * s[..., 1, 0]))


def _referred(measurement: Measurement, most: Real, error: Real, match: Real) -> tuple[Real, Real]:
    """Displacement at the plane of a raw reading that is off, for reflections up to `most`, and its least denominator."""
    moved = error * _steep(measurement, most)
    # An error of the raw reading comes back through a bilinear map, which is the steeper the nearer its pole.
    room = 1 - moved * match / np.maximum(1 - match * most, 1e-3)
    return np.asarray(np.where(room > 0.1, moved / np.maximum(room, 0.1), HOPELESS)), np.maximum(room, 0.1)


def _antenna(measurement: Measurement, plane: _PlaneBounds, x: Complex, most: Real) -> tuple[Spread, Real]:
    """The antenna's reflection at the plane with a moved lead referred to it, and how far noise and drift move it besides."""
    match, seen = _wide(plane.match, x), _wide(plane.seen, x)
    flex = _wide(np.minimum(2 * measurement.turn_rad, np.pi), x)
    # The lead turns x itself, which is a line, and what the chain in front adds to it, which is a disc.
    steep = _steep(measurement, most)
    added = (_noise_radius(measurement) + measurement.drift) * steep
    other = flex * (seen * steep + match * most**2) + flex**2 / 2 * most
    total = added + other + flex * most
    room = 1 - match * most - total * match
    bend = np.where(room > 0.1, total**2 * match / np.maximum(room, 0.1), HOPELESS)
    return Spread(x, (1j * flex * x,) if flex.any() else (), other + bend), added


def _noise(
    measurement: Measurement, plane: _PlaneBounds, x: Complex, most: Real, weights: tuple[Complex, Complex, Complex]
) -> Real:
    """What the noise of four readings and the drift of the last come to at the plane, all through one and the same chain.

    Sum of w |1 - S t|^2/P over t = 1, -1, 0 and x, S and P common: at most sum of w (1 + m^2 |t|^2) + 2 m |sum of w t|.
    """
    noise = _noise_radius(measurement)
    match, product, blur = (_wide(value, x) for value in (plane.match, plane.product, plane.blur))
    opened, shorted, load = (noise * np.abs(weight) for weight in weights)
    last = noise + measurement.drift
    whole = (opened + shorted) * (1 + match**2) + load + last * (1 + (match * most) ** 2)
    return np.asarray(blur / product * (whole + 2 * match * np.abs(opened - shorted + last * x)))


def _weights(x: Complex) -> tuple[Complex, Complex, Complex]:
    """How much of the error of open, short and load reaches x: 1 at its own place, 0 at the others'."""
    # Lagrange's polynomials over the nodes 1, -1 and 0.
    return x * (1 + x) / 2, x * (x - 1) / 2, 1 - x * x


def _shown(measurement: Measurement, plane: _PlaneBounds, x: Complex, most: Real) -> tuple[Spread, tuple[Real, Real]]:
    """Corrected readings of reflections x, of magnitude `most`, at the plane; their least and largest size half a step about x.

    With errors e and their weighted sum E: y - x = (F + S)/(2 + N), F = -2 E, and
    S = x (2 eo es - eo el - es el) - el (eo - es), N = 2 (eo - es) + s x + (eo - el)(eo - es) - s eo, s = eo + es - 2 el.
    """
    b, c, d = (_wide(value, x) for value in (plane.b, plane.c, plane.d))
    down = c * x + d
    slope = (d - b * c) / down**2
    antenna, added = _antenna(measurement, plane, x, most)
    true = antenna.mapped((x + b) / down, slope, np.abs(c / down), added)
    slip = true.reach + np.abs(slope) * added
    size = np.abs(true.center)
    sizes = [_wide(each, x) for each in plane.sizes]
    lines, radius = list(true.lines), true.radius + _noise(measurement, plane, x, most, _weights(true.center))
    largest = np.zeros(size.shape)
    # A weight changes, while x moves by `slip`, by its slope
    # there (x + 1/2, x - 1/2, -2 x) and its curvature (1, 1, -2).
    steeper = [slip * (1 + 2 * size + slip) / 2] * 2 + [slip * (2 * size + slip)]
    for error, weight, more, whole in zip(plane.errors, _weights(true.center), steeper, sizes, strict=True):
        lines += [-weight * _wide(line, x) for line in error.lines]
        radius = radius + np.abs(weight) * _wide(error.radius, x) + whole * more
        largest = largest + whole * (np.abs(weight) + more)
    opened, shorted, load = sizes
    size = size + slip
    third = opened + shorted + 2 * load
    second = size * (2 * opened * shorted + (opened + shorted) * load) + load * (opened + shorted)
    change = 2 * (opened + shorted) + third * size + (opened + load) * (opened + shorted) + third * opened
    room = 2 - change
    rest = (largest * change + second) / np.maximum(room, 0.2)
    spread = Spread(true.center, tuple(lines), np.where(room > 0.2, radius + rest, HOPELESS))
    return spread, _by_ratio(_half_a_step(true, np.abs(slope) * added, x, slope, np.abs(c / down)), sizes)


def _half_a_step(true: Spread, added: Real, x: Complex, slope: Complex, bend: Real) -> Spread:
    """True reflections of all x up to half a step of the phase away: the way they move is a line, its bend a disc."""
    turn = np.abs(x) * HALF_STEP
    # No farther than that on, the slope of the middle map is steeper by no more than this.
    steeper = 1 / np.maximum(1 - bend * turn, 0.1) ** 3
    bent = np.abs(slope) * (turn * HALF_STEP / 2 + turn**2 * bend)
    lines = (*true.lines, 1j * slope * x * HALF_STEP)
    return Spread(true.center, tuple(steeper * line for line in lines), steeper * (true.radius + added + bent))


def _by_ratio(true: Spread, sizes: list[Real]) -> tuple[Real, Real]:
    """Least and largest |y| of true reflections z, from the whole map: where errors are large it knows more than first orders.

    y = (z - el)/(1 + eo (1 + z)/2 - es (1 - z)/2 - el z + R) with R = -a ((eo - es) z + eo + es)/2 and
    a = (eo + es - 2 el)/(2 + eo - es), so that |z/y - 1| <= |T|/(1 - |el/z|), T = (el/z)(1 - z^2) + what eo, es and R add.
    """
    opened, shorted, load = sizes
    (least, most), slip = true.magnitudes(), true.reach
    pole = _pole(sizes)
    ahead, behind = (np.abs(1 + sign * true.center) + slip for sign in (1, -1))
    rest = (opened * ahead + shorted * behind) / 2 + pole * (opened + shorted) * (1 + most) / 2
    apart = load * np.minimum(ahead * behind, 1 + most**2)
    beyond = least > load
    ratio = np.where(beyond, (apart + rest * least) / np.where(beyond, least - load, 1.0), np.inf)
    down = 1 - load * most - rest
    lower = np.maximum(least / (1 + ratio), (least - load) / (1 + load * most + rest))
    higher = np.where(down > 0.05, (most + load) / np.maximum(down, 0.05), np.inf)
    higher = np.where(ratio < 0.9, np.minimum(higher, most / np.maximum(1 - ratio, 0.1)), higher)
    possible = opened + shorted < 1.5
    return np.where(possible & beyond, lower, 0.0), np.where(possible, higher, np.inf)


def _pole(sizes: list[Real]) -> Real:
    """Largest |eo + es - 2 el|/|2 + eo - es|."""
    opened, shorted, load = sizes
    return (opened + shorted + 2 * load) / np.maximum(2 - opened - shorted, 0.1)


def _behind(measurement: Measurement, plane: _PlaneBounds, reading: Complex) -> Spread:
    """Reflections at the plane that a corrected reading can come from, the antenna's own flex left out, noise and drift not.

    The map that takes the assumed standards to the true ones: (a y + el)/(c y + 1) with h = (eo - es)/2,
    c = (el - (eo + es)/2)/(1 + h), a = 1 + h + c (eo + es)/2.
    """
    opened, shorted, load = plane.sizes
    size = np.abs(reading)
    weights = _weights(reading)
    lines: list[Complex] = []
    radius, first = _noise(measurement, plane, reading, size, weights), np.zeros(size.shape)
    for error, weight, whole in zip(plane.errors, weights, plane.sizes, strict=True):
        lines += [weight * line for line in error.lines]
        radius = radius + np.abs(weight) * error.radius
        first = first + np.abs(weight) * whole
    half = (opened + shorted) / 2
    pole = (load + half) / np.maximum(1 - half, 0.1)
    room = 1 - pole * size
    rest = (load + half) * half / np.maximum(1 - half, 0.1) * size**2 + pole * half * size + first * pole * size
    radius = np.where((room > 0.1) & (half < 0.9), radius + rest / np.maximum(room, 0.1), HOPELESS)
    ideal = Spread(reading, tuple(lines), radius)
    # Back through the middle of the standards: z = (d y - b)/(1 - c y).
    down = 1 - plane.c * reading
    slope = (plane.d - plane.b * plane.c) / down**2
    return ideal.mapped((plane.d * reading - plane.b) / down, slope, np.abs(plane.c / down))


def corrected_range(
    measurement: Measurement, least: Real, most: Real, lower: bool = True, upper: bool = True
) -> tuple[Real, Real]:
    """Lowest and highest corrected reading of reflections at the plane between two magnitudes, whatever their phase.

    An end that is not asked for is 0 or infinite, which takes no time and is true as well.

    Source: A bilinear map is largest on the rim of a disc, and smallest on the rim of a hole that its zero lies in;
    between two of the phases tried its modulus moves and bends by no more than its derivatives allow.
    """
    measurement = unswapped(measurement)
    low, high = np.zeros(most.shape), np.full(most.shape, np.inf)
    rows = max(1, BLOCK_POINTS // max(1, most[:1].size * PHASES.size))
    for start in range(0, len(most), rows):
        chosen = slice(start, start + rows)
        part = measurement.at(chosen)
        plane = _plane(part)
        outer, inner = (np.minimum(size[chosen], 1.0)[..., None] for size in (most, least))
        bend, step = _between(part, plane, outer[..., 0])
        # Either holds by itself: the bend of |y|^2 says more where |y|
        # is large, the slope of |y| near zero, where it has a corner.
        if upper:
            spread, (_, by_ratio) = _shown(part, plane, outer * PHASES, outer)
            highest = spread.magnitudes()[1].max(axis=-1)
            highest = np.minimum(np.sqrt(highest**2 + bend), highest + step)
            high[chosen] = np.minimum(highest, by_ratio.max(axis=-1)) + ROUNDING
        if lower:
            spread, (by_ratio, _) = _shown(part, plane, inner * PHASES, inner)
            lowest = spread.magnitudes()[0].min(axis=-1)
            lowest = np.maximum(np.sqrt(np.maximum(lowest**2 - bend, 0.0)), lowest - step)
            lowest = np.maximum(lowest, by_ratio.min(axis=-1) - ROUNDING)
            low[chosen] = np.where(least[chosen] > 0, np.maximum(lowest, 0.0), 0.0)
    return low, high


def _between(measurement: Measurement, plane: _PlaneBounds, size: Real) -> tuple[Real, Real]:
    """How far |y|^2 may bend, and |y| move, between the phases tried and the extreme, half a step away, on a circle.

    y is three bilinear maps one after another: what flex, noise and drift do, the middle of the standards, and what is
    left of their errors. Each (a x + b)/(c x + d) has slopes up to |ad - bc|/(|d| - |c x|)^2.
    """
    first, second = np.ones(size.shape), np.zeros(size.shape)
    opened, shorted, load = plane.sizes
    pole, half = _pole(plane.sizes), (opened + shorted) / 2
    one = np.ones(half.shape)
    # (z - el)/(a z + 1 + (eo - es)/2 - a (eo + es)/2), a as in `_by_ratio`.
    middle, errors = (one, plane.b, plane.c, plane.d), (one, load, pole, 1 - half - pole * half)
    reached = size
    for coefficients in (_own_map(measurement, plane), middle, errors):
        a, b, c, d = (_wide(np.abs(value), size) for value in coefficients)
        room = np.maximum(d - c * reached, 0.05)
        determinant = a * d + b * c
        slope = determinant / room**2
        first, second = slope * first, 2 * c * determinant / room**3 * first**2 + slope * second
        reached = (a * reached + b) / room
    bend = HALF_STEP**2 * ((first * size) ** 2 + reached * (second * size**2 + first * size))
    return np.asarray(bend), np.asarray(HALF_STEP * first * size)


def _own_map(measurement: Measurement, plane: _PlaneBounds) -> tuple[Real, Real, Real, Real]:
    """Largest moduli of (a x + b)/(c x + 1) for flex, noise and drift of the antenna's reading.

    From its displacements D at 0 and at 1: |b| <= D0, |c| <= (D0 + D1)/(1 - D1), |a| <= 1 + D1 + |c| D1.
    """
    moved = []
    for size in (0.0, 1.0):
        x = np.full(measurement.freq_hz.shape, size)
        spread, added = _antenna(measurement, plane, x.astype(complex), x)
        moved.append(np.minimum(spread.reach + added, 0.9))
    none, whole = moved
    pole = (none + whole) / (1 - whole)
    return 1 + whole + pole * whole, none, pole, np.ones(none.shape)


def plane_region(measurement: Measurement, reading: Complex) -> Region:
    """Where the reflection at the plane can lie for a complex corrected reading.

    Source: The standards' errors interpolated at the reading; see `Spread`.
    """
    measurement = unswapped(measurement)
    plane = _plane(measurement)
    at_plane = _behind(measurement, plane, reading)
    moved, _ = _antenna(measurement, plane, at_plane.center, np.abs(at_plane.center) + at_plane.reach)
    # A turn of the lead also turns the errors already found; that is of second order.
    turned = np.minimum(2 * measurement.turn_rad, np.pi) * at_plane.reach
    whole = Spread(at_plane.center, at_plane.lines + moved.lines, at_plane.radius + moved.radius + turned)
    least, most = whole.magnitudes()
    zero = np.zeros(reading.shape, dtype=complex)
    return Region(
        np.stack([whole.center, zero]),
        np.stack([whole.reach, most]) + ROUNDING,
        np.stack([whole.center, zero]),
        np.stack([np.full(reading.shape, -1.0), np.where(least > 0, least - ROUNDING, -1.0)]),
    )
