"""Random trials of the elements of a chain: one trial is one physical chain over the whole sweep.

Every constant of an element (a junction's reflection and place, a length, a loss) is drawn once per trial and holds at all
frequencies, so a drawn element is causal and stays inside its own limit.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.elements import Box, Element, Ladder, Line, Tee
from chain.uncertainty.streams import RandomSource, RowSource, unit_reflections

LEAST = 1e-9
"""What is divided by at the least."""


def hidden_digits(
    rng: np.random.Generator, count: int, half: Real, phase: bool, together: bool = True
) -> Complex | Real:
    """What the digits of readings hide, shape (count, readings): of a magnitude, or of either part of a complex reading.

    A trace that changes little from point to point is rounded the same way over many of them, so that no mean over points
    takes it out: `together` has all points off by the same share of a step.

    Source: Rectangular over half a step of the last digit either way (JCGM 100:2008, F.2.2.1; memory).
    """
    shape = count, 1 if together else half.size
    real = half * rng.uniform(-1, 1, shape)
    return np.asarray(real + 1j * half * rng.uniform(-1, 1, shape) if phase else real)


def draw(element: Element, rng: RandomSource, count: int) -> Complex:
    """Matrices of drawn samples of an element.

    Source: Lossless reciprocal junction `S11 = r e^(-2jbx)`, `S22 = -conj(r) e^(-2jb(l-x))`, `S21 = sqrt(1-|r|^2)
    e^(-jbl)`.
    """
    if isinstance(element, Line):
        return _draw_line(element, rng, count)
    if isinstance(element, Tee) and element.branches:
        return _draw_tee(element, rng, count)
    if isinstance(element, Box):
        return _draw_box(element, rng, count)
    return _draw_ladder(element, rng, count)


def _uniform(rng: RandomSource, count: int, low: float, high: float) -> Real:
    kind = np.float32 if isinstance(rng, RowSource) and rng.single else np.float64
    return rng.uniform(low, high, (count, 1)) if high > low else np.full((1, 1), low, dtype=kind)


def _propagation(line: Line, rng: RandomSource, count: int) -> tuple[Real, Real]:
    """Drawn length and loss for its length, both over the nominal."""
    length = _uniform(rng, count, line.length_low, line.length_high)
    return length, _uniform(rng, count, 1 - line.loss_tolerance, 1 + line.loss_tolerance)


def wave(loss_np: Real, phase_rad: Real) -> Complex:
    """exp(-(loss + j phase)), in real arithmetic, which is several times faster than a complex exponential."""
    kind = np.complex64 if phase_rad.dtype == np.float32 else np.complex128
    out = np.empty(np.broadcast_shapes(loss_np.shape, phase_rad.shape), dtype=kind)
    part = np.cos(phase_rad)
    if not np.any(loss_np):
        out.real = part
        np.negative(np.sin(phase_rad, out=part), out=out.imag)
        return out
    size = np.negative(loss_np)
    np.exp(size, out=size)
    np.multiply(size, part, out=out.real)
    np.negative(np.sin(phase_rad, out=part), out=part)
    np.multiply(size, part, out=out.imag)
    return out


def lead_constants(
    line: Line, rng: RandomSource, count: int
) -> tuple[Real, Real, Complex | None, tuple[Complex | None, Complex | None]]:
    """Draw what describes a line with a junction at either end: its loss and length over the nominal, step and junctions.

    Source: Rectangular tolerances; `junction_room` for what an impedance that is off leaves of the limit.
    """
    length, relative = _propagation(line, rng, count)
    # One impedance for the whole lead, both ends alike: errors of two ends drawn apart would never cancel where the lead is short.
    change = _uniform(rng, count, -line.impedance_tolerance_ohm, line.impedance_tolerance_ohm)
    # The reactance of a line goes with its loss and resistance: a line that kept it with less of either is not passive.
    ratio = line.impedance_ohm.imag / line.impedance_ohm.real
    resistance = line.impedance_ohm.real + change
    reactance = resistance * (relative * ratio)
    known = not np.any(ratio) and bool(np.all(resistance == line.near_ohm))
    near, far = (
        None if room is None else room * unit_reflections(rng, count, line.shape) for room in _rooms(line, change)
    )
    return relative * length, length, None if known else _step(resistance, reactance, line.near_ohm), (near, far)


def _rooms(line: Line, change_ohm: Real) -> tuple[Real | None, Real | None]:
    """What an impedance that is off leaves of the limits of the junctions at both ends of a lead, mostly the same."""
    near, far = line.near_radius, line.far_radius
    left = None if near is None else junction_room(near, change_ohm, line.near_ohm)
    if near is not None and far is not None and np.array_equal(near, far):
        return left, left
    return left, None if far is None else junction_room(far, change_ohm, line.near_ohm)


def _draw_line(line: Line, rng: RandomSource, count: int) -> Complex:
    if line.inside_radius is not None:
        return _draw_inside(line, rng, count)
    loss, length, step, ends = lead_constants(line, rng, count)
    through = wave(line.loss_np * loss, line.phase_rad * length)
    s = _matched(through) if step is None else _mismatched(step, through)
    for port, outward in enumerate(ends):
        if outward is not None:
            s = _with_junction(s, port, outward)
    return s


def _with_junction(s: Complex, port: int, outward: Complex) -> Complex:
    """A lossless reciprocal junction at one port of a two-port, `outward` its reflection seen from outside.

    The star product written out for S22 = -conj(S11), S21 = sqrt(1 - |S11|^2).
    """
    out = twoport.empty(np.broadcast_shapes(s.shape[:-2], outward.shape))
    own, other = s[..., port, port], s[..., 1 - port, 1 - port]
    inward = np.conj(outward)
    down = np.reciprocal(1 + inward * own)
    np.multiply(outward + own, down, out=out[..., port, port])
    through = np.sqrt(1 - np.abs(outward) ** 2) * down
    np.multiply(s[..., 0, 1], through, out=out[..., 0, 1])
    np.multiply(s[..., 1, 0], through, out=out[..., 1, 0])
    down *= inward
    down *= s[..., 0, 1] * s[..., 1, 0]
    np.subtract(other, down, out=out[..., 1 - port, 1 - port])
    return out


def _matched(wave: Complex) -> Complex:
    out = twoport.empty(wave.shape)
    out[..., 0, 0] = out[..., 1, 1] = 0
    out[..., 0, 1] = out[..., 1, 0] = wave
    return out


def _step(resistance: Real, reactance: Real, reference_ohm: float) -> Complex:
    """(Z - Zr)/(Z + Zr), in real arithmetic: the product with the conjugate divisor over the divisor's square."""
    square = reactance * reactance
    over = 1 / ((resistance + reference_ohm) ** 2 + square)
    square += (resistance - reference_ohm) * (resistance + reference_ohm)
    out = np.empty(over.shape, dtype=np.complex64 if over.dtype == np.float32 else np.complex128)
    np.multiply(square, over, out=out.real)
    over *= reactance
    np.multiply(over, 2 * reference_ohm, out=out.imag)
    return out


def _mismatched(rho: Complex, wave: Complex) -> Complex:
    out = twoport.empty(np.broadcast_shapes(rho.shape, wave.shape))
    square, mismatch = wave * wave, rho * rho
    down = np.reciprocal(1 - mismatch * square)
    out[..., 0, 0] = out[..., 1, 1] = rho * (1 - square) * down
    out[..., 0, 1] = out[..., 1, 0] = wave * (1 - mismatch) * down
    return out


def junction_room(radius: Real, change_ohm: Real, reference_ohm: float) -> Real:
    """What an impedance that is off leaves of the limit of a junction at the end of a lead.

    Source: (L - d)/(1 - L d): two lossless mismatches L and d in the worst phase.
    """
    # A change downwards reflects more than the same upwards, and counts for both.
    off = np.abs(change_ohm) / (2 * reference_ohm - np.abs(change_ohm))
    room, down = np.asarray(radius - off), np.asarray(1 - radius * off)
    # Seldom needed, and as dear as all the rest.
    if np.max(off) > np.min(radius):
        np.maximum(room, 0.0, out=room)
    if np.max(off) * np.max(radius) > 1 - LEAST:
        np.maximum(down, LEAST, out=down)
    room /= down
    return room


def inside_constants(line: Line, rng: RandomSource, count: int) -> tuple[Real, Real, Real, Complex]:
    """Draw what describes a line with one junction inside: its loss and length over the nominal, place and reflection.

    Source: Place uniform along the line; reflection uniform in its disc or on its ring.
    """
    radius = line.inside_radius
    assert radius is not None
    length, relative = _propagation(line, rng, count)
    place = rng.random((count, 1))
    return relative * length, length, place, radius * unit_reflections(rng, count, line.shape)


def _draw_inside(line: Line, rng: RandomSource, count: int) -> Complex:
    loss_factor, length, place, reflection = inside_constants(line, rng, count)
    loss, phase = line.loss_np * loss_factor, line.phase_rad * length
    # There and back to the junction's place: S11 sees the way before it twice, S22 the way behind it.
    to_near, whole = wave(loss * (2 * place), phase * (2 * place)), wave(loss, phase)
    out = twoport.empty(to_near.shape)
    np.multiply(reflection, to_near, out=out[..., 0, 0])
    np.divide(whole * whole, to_near, out=out[..., 1, 1])
    out[..., 1, 1] *= -np.conj(reflection)
    out[..., 0, 1] = out[..., 1, 0] = np.sqrt(1 - np.abs(reflection) ** 2) * whole
    if np.all(line.impedance_ohm == line.near_ohm):
        return out
    # The junction's line is the part's own; a part whose line is not its reference is stepped into it and out again.
    rho = (line.impedance_ohm - line.near_ohm) / (line.impedance_ohm + line.near_ohm)
    through = np.sqrt(1 - rho * rho)
    into = twoport.empty(rho.shape)
    into[..., 0, 0], into[..., 1, 1], into[..., 0, 1], into[..., 1, 0] = rho, -rho, through, through
    return twoport.star(twoport.star(into, out), twoport.flip(into))


def _draw_box(box: Box, rng: RandomSource, count: int) -> Complex:
    if box.near_radius is None and box.far_radius is None and not box.loss_tolerance_db and box.product_radius is None:
        return _undrawn(box.s)
    loss_db = _uniform(rng, count, -box.loss_tolerance_db, box.loss_tolerance_db)
    factor: Complex | Real = 10 ** (-loss_db / 20)
    if box.product_radius is not None:
        # The radius is of the product S12 S21, and either way has its root.
        factor = factor * np.sqrt(1 + _narrow(box.product_radius) * unit_reflections(rng, count, box.product_shape))
    ends = [
        own if radius is None else own + _narrow(radius) * unit_reflections(rng, count, shape)
        for own, radius, shape in ((box.s[..., port, port], radius, box.shapes[port]) for port, radius in _ends(box))
    ]
    passed = box.s[..., 0, 1] * factor, box.s[..., 1, 0] * factor
    out = twoport.empty(np.broadcast_shapes(*(each.shape for each in (*ends, *passed))))
    out[..., 0, 1], out[..., 1, 0] = passed
    out[..., 0, 0], out[..., 1, 1] = ends
    if box.passive and _may_gain(box):
        _keep_passive(out)
    return out


def _draw_tee(tee: Tee, rng: RandomSource, count: int) -> Complex:
    """A part of three and more ports with each branch drawn as a chain of its own, reduced to its path.

    Source: S'ij = Sij + Sik g Skj/(1 - Skk g) for a port k that ends in g.
    """
    ports = tee.full.shape[-1]
    s = np.empty((count, *tee.full.shape), dtype=complex)
    s[...] = tee.full
    for first in range(ports):
        for second in range(first):
            # Each way by itself: the stated tolerance is of any two ports, and nothing says that they are off together.
            loss_db = _uniform(rng, count, -tee.loss_tolerance_db, tee.loss_tolerance_db)
            s[..., first, second] *= 10 ** (-loss_db / 20)
            s[..., second, first] = s[..., first, second]
        if tee.port_radius is not None:
            s[..., first, first] += _narrow(tee.port_radius) * unit_reflections(rng, count, tee.shape)
    left = list(range(ports))
    for branch in tee.branches:
        seen: Complex = branch.end + _narrow(branch.end_radius) * unit_reflections(rng, count, branch.end_shape)
        for element in reversed(branch.elements):
            seen = twoport.input_reflection(draw(element, rng, count), seen)
        s = twoport.reduce_port(s, left.index(branch.port), seen)
        left.remove(branch.port)
    near, far = (left.index(port) for port in tee.path)
    out = twoport.empty((count, tee.full.shape[0]))
    out[...] = s[..., [near, far], :][..., :, [near, far]]
    if tee.passive and _may_gain(tee):
        _keep_passive(out)
    return out


def _may_gain(box: Box) -> bool:
    """Whether reflections at both ends and what passes, each at its largest, could together give out more than goes in."""
    own = [np.abs(box.s[..., port, port]) + (0.0 if radius is None else radius) for port, radius in _ends(box)]
    most = np.abs(box.s[..., 0, 1]) * 10 ** (box.loss_tolerance_db / 20)
    if box.product_radius is not None:
        most = most * np.sqrt(1 + box.product_radius)
    return bool(np.any(most + np.maximum(*own) > 1))


def _ends(box: Box) -> Iterable[tuple[int, Real | None]]:
    return enumerate((box.near_radius, box.far_radius))


def _keep_passive(s: Complex) -> None:
    """Take both reflections of a reciprocal two-port down by one factor k, as far as passive trials demand.

    Passive: (1 - |t|^2)^2 - k^2 (|a|^2 + |b|^2 + 2 Re(a b conj(t)^2)) + k^4 |a b|^2 >= 0, up to the smaller root in k^2.
    """
    through = s[..., 0, 1]
    # No reflection saves a trial whose transmission alone gives out more than goes in.
    through /= np.maximum(np.abs(through), 1)
    s[..., 1, 0] = through
    product, square = s[..., 0, 0] * s[..., 1, 1], through * through
    room = (1 - np.abs(square)) ** 2
    linear = np.abs(s[..., 0, 0]) ** 2 + np.abs(s[..., 1, 1]) ** 2 + 2 * (product * np.conj(square)).real
    root = np.sqrt(np.maximum(linear**2 - 4 * np.abs(product) ** 2 * room, 0))
    # The smaller root as 2 c/(b + root): the usual form loses it among equal numbers.
    down = np.maximum(linear + root, 1e-30)
    factor = np.sqrt(np.minimum(2 * room / down, 1))
    s[..., 0, 0] *= factor
    s[..., 1, 1] *= factor


def _narrow(radius: Real) -> Real:
    """The same radius in one value where it is the same at every frequency."""
    return radius[:1] if np.all(radius == radius[0]) else radius


def _undrawn(s: Complex) -> Complex:
    """A matrix without unknowns, with an axis for the trials if it has none yet."""
    return s[None] if s.ndim == 3 else s


def _draw_ladder(ladder: Ladder, rng: RandomSource, count: int) -> Complex:
    if not ladder.tolerance:
        return _undrawn(ladder.nominal())
    # One by one: resistors that were off together would keep their ratio.
    spread = ladder.tolerance
    return ladder.matrix(tuple(value * rng.uniform(1 - spread, 1 + spread, (count, 1)) for _, value in ladder.arms))
