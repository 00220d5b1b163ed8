"""Drawn elements as seen from the near side: each put in front of what lies behind it, without making its two-port first.

What an element does to a reflection x is a bilinear map, and a chain of them a product of 2x2 matrices: (p x + q)/(r x + s).
Leaving s as it comes until the end saves a division per element; a junction or a length of line takes a quarter of what the
star product of whole two-ports does. What does not depend on the frequency is multiplied first, once for each trial. The random
numbers are those of `chain.uncertainty.sampling.draw`, in its order.

Arrays have shape (frequencies, trials) here, either of them 1 where nothing depends on it: the longer axis runs fastest.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf.elements import Element, Ladder, Line, Tee
from chain.rf.twoport import Maps
from chain.uncertainty.sampling import draw, inside_constants, lead_constants, wave
from chain.uncertainty.streams import RandomSource, RowSource, halved
from library.frozen import dataclass

AnyElement = TypeVar("AnyElement", bound=Element)


@dataclass(frozen=True)
class _Seen:
    """(p x + q)/(r x + s) for each frequency and trial; None for one that is zero throughout."""

    p: Complex
    q: Complex | None
    r: Complex | None
    s: Complex


_ONE: Complex = np.ones((1, 1), dtype=complex)


def drawn_through(
    elements: Sequence[Element | Complex],
    streams: Callable[[int], RandomSource],
    count: int,
    frequencies: int,
    single: bool = False,
    alike: Sequence[frozenset[str] | None] = (),
) -> Maps:
    """The map of elements drawn and joined one to the next, shape (frequencies, trials); some may be two-ports drawn before.

    `alike` names of each element the figures that count as the same at every frequency; left out, all that are.
    `single` multiplies in half the precision what depends on the frequency, which is plenty for what is drawn at random.

    Source: S11 + S12 S21 x/(1 - S22 x), a lossless junction (r + x)/(1 + conj(r) x), a length of line x e^(-2 (a +
    jb) l).
    """
    # A single frequency cut out of a sweep goes the way of the others, by which it is distinguished from what is alike at all of them.
    rows = max(frequencies, 2) if alike else frequencies
    room = _Room((rows, count))
    joined = _Joined(single, room)
    for number in range(len(elements) - 1, -1, -1):
        element = elements[number]
        known = alike[number] if alike else None
        if isinstance(element, np.ndarray):
            joined.two_port(element)
        elif isinstance(element, Line):
            _line(joined, element, RowSource(streams(number), single), count, (known, rows))
        elif isinstance(element, Tee) and element.branches:
            drawn = np.swapaxes(draw(element, streams(number), count), 0, 1)
            joined.two_port(drawn if len(drawn) == rows else np.repeat(drawn, rows, axis=0))
        else:
            joined.two_port(draw(_upright(element, single, (known, rows)), RowSource(streams(number), single), count))
    seen = joined.whole()
    # Only now, once for the whole chain.
    down, zero = _reciprocal(seen.s, room), np.zeros((1, 1), dtype=seen.p.dtype)
    values = [zero if each is None else room.product(each, down, each) for each in (seen.p, seen.q, seen.r)]
    shape = frequencies, count
    return Maps(*(each if each.shape == shape else np.broadcast_to(each[:frequencies], shape) for each in values))


def _reciprocal(values: Complex, room: _Room | None = None) -> Complex:
    """1/s as conj(s)/|s|^2, in half the time of numpy's own, which also serves where that square leaves the range of the precision."""
    conjugate, down = (
        room.place(values) if room and values.shape == room.shape else np.empty_like(values) for _ in "12"
    )
    try:
        with np.errstate(all="raise"):
            np.conjugate(values, out=conjugate)
            np.multiply(conjugate, values, out=down)
            np.reciprocal(down.real, out=down.real)
            return np.multiply(conjugate, down, out=down)
    except FloatingPointError:
        return np.reciprocal(values)


def constant(element: Element) -> frozenset[str]:
    """Names of the figures of an element that are the same at every frequency."""
    if isinstance(element, Ladder):
        # Resistors alone are the same whatever the frequency.
        return frozenset() if element.inductance_h or element.capacitance_f else frozenset(["freq_hz"])
    arrays = ((name, value) for name, value in vars(element).items() if isinstance(value, np.ndarray))
    return frozenset(name for name, value in arrays if bool((value == value[0]).all()))


def _column(value: NDArray[Any], rows: int) -> NDArray[Any]:
    return value[:, None] if len(value) == rows else np.repeat(value[:, None], rows, axis=0)


def _upright(element: AnyElement, single: bool, sweep: tuple[frozenset[str] | None, int]) -> AnyElement:
    """The same element with its frequencies along the first of two axes, or none where all are alike."""
    alike, rows = sweep
    arrays: dict[str, Any] = {}
    same_here = constant(element)
    for name, value in vars(element).items():
        if isinstance(value, np.ndarray):
            same = name in same_here and (alike is None or name in alike)
            arrays[name] = halved(value[:1, None] if same else _column(value, rows), single)
    return replace(element, **arrays)


class _Room:
    """Arrays of the whole shape, written over as soon as nobody needs what they hold, so that they stay in the cache.

    Those that have its shape and are part of `_Seen` belong to the chain that is being joined, and to nobody else.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        # In one row lies what is shared: nothing is written over there.
        self.shape = shape if shape[0] > 1 else None
        self._free: list[Complex] = []

    def columns(self, seen: _Seen) -> tuple[tuple[Complex, Complex], ...]:
        """What stands above and below in each column, where all of it may be written over; else none."""
        p, q, r, s = seen.p, seen.q, seen.r, seen.s
        if q is None or r is None or not p.shape == q.shape == r.shape == s.shape == self.shape:
            return ()
        return (p, r), (q, s)

    def place(self, like: Complex) -> Complex:
        """One of the whole shape."""
        return self._free.pop() if self._free else np.empty_like(like)

    def done(self, values: Complex | None, kept: Complex | None = None) -> None:
        """Nobody needs these any more, unless they are what is kept."""
        if values is not None and values.shape == self.shape and values is not kept:
            self._free.append(values)

    def product(self, factor: Complex, other: Complex, over: Complex | None = None) -> Complex:
        """A product in a place of its own, or in that of what nobody needs afterwards."""
        out, shape = None, self.shape
        if over is not None and over.shape == shape:
            out = over
        elif self._free and shape in (factor.shape, other.shape):
            out = self._free.pop()
        found: Complex = np.multiply(factor, other, out=out)
        return found


class _Joined:
    """Elements put in front of one another; those that do not depend on the frequency are gathered until one comes that does."""

    def __init__(self, single: bool, room: _Room) -> None:
        self.single, self.room = single, room
        one = halved(_ONE, single)
        self._behind = self._nothing = _Seen(one, None, None, one)
        self._fixed: _Seen | None = None

    def whole(self) -> _Seen:
        """All of it."""
        self._gather()
        return self._behind

    def _gather(self) -> None:
        if self._fixed is None:
            return
        ahead, seen, self._fixed = self._fixed, self._behind, None
        room = self.room
        # [[p, q], [r, s]] of what stands ahead times that of what lies behind; entries that are zero throughout are left out.
        p = _plus(room, _times(room, seen.p, ahead.p), ahead.q, seen.r, over=True)
        s = _plus(room, _times(room, seen.s, ahead.s), ahead.r, seen.q, over=True)
        assert p is not None
        assert s is not None
        q = _plus(room, _times(room, seen.q, ahead.p), ahead.q, seen.s, over=True)
        r = _plus(room, _times(room, seen.r, ahead.s), ahead.r, seen.p, over=True)
        for each in (seen.p, seen.q, seen.r, seen.s):
            room.done(each)
        self._behind = _Seen(p, q, r, s)

    def turn(self, twice: Complex) -> None:
        """A length of line, passed through twice."""
        self._gather()
        seen, room = self._behind, self.room
        q = None if seen.q is None else room.product(seen.q, twice, seen.q)
        self._behind = _Seen(room.product(seen.p, twice, seen.p), q, seen.r, seen.s)
        room.done(twice)

    def junction(self, outward: Complex, inward: Complex, less: bool = False) -> None:
        """(outward + x)/(1 + inward x): a lossless junction, or a step of impedance where both are the same; `less`: of both signs."""
        if outward.shape[0] == 1:
            self._fixed = _junction(self.room, outward, inward, self._fixed or self._nothing, less)
        else:
            self._gather()
            self._behind = _junction(self.room, outward, inward, self._behind, less)

    def two_port(self, s: Complex) -> None:
        """A two-port of any kind."""
        matrix = halved(s, self.single)
        if s.shape[0] == 1:
            self._fixed = _two_port(self.room, matrix, self._fixed or self._nothing)
        else:
            self._gather()
            self._behind = _two_port(self.room, matrix, self._behind)


def _line(joined: _Joined, line: Line, rng: RandomSource, count: int, sweep: tuple[frozenset[str] | None, int]) -> None:
    upright, nominal = _upright(line, joined.single, sweep), _column(line.phase_rad, sweep[1])
    if line.inside_radius is not None:
        loss, length, place, reflection = inside_constants(upright, rng, count)
        own = None
        if not np.all(line.impedance_ohm == line.near_ohm):
            own = (upright.impedance_ohm - line.near_ohm) / (upright.impedance_ohm + line.near_ohm)
            joined.junction(-own, -own)
        joined.turn(_twice(upright.loss_np, nominal, loss * (1 - place), length * (1 - place), joined.single))
        joined.junction(reflection, np.conj(reflection))
        joined.turn(_twice(upright.loss_np, nominal, loss * place, length * place, joined.single))
        if own is not None:
            joined.junction(own, own)
        return
    loss, length, rho, ends = lead_constants(upright, rng, count)
    near, far = ends
    if far is not None:
        # Facing the line, the far junction shows the other of its two reflections.
        joined.junction(np.conj(far), far, less=True)
    if rho is not None:
        # A step seen from its other side has the opposite sign.
        joined.junction(rho, rho, less=True)
    joined.turn(_twice(upright.loss_np, nominal, loss, length, joined.single))
    if rho is not None:
        joined.junction(rho, rho)
    if near is not None:
        joined.junction(near, np.conj(near))


def _twice(loss_np: Real, phase_rad: Real, loss: Real, length: Real, single: bool) -> Complex:
    """What a way there and back over so much of a line's nominal loss and length does."""
    if not single:
        return wave(loss_np * (2 * loss), phase_rad * (2 * length))
    turned = wave(np.zeros((1, 1)), 2 * phase_rad)
    if length.size == 1 and length == 1:
        return _damped(loss_np * (2 * loss), turned)
    # A long lead turns many times: only what its length is off by is small enough for half the precision.
    off = wave(loss_np * (2 * loss), halved(phase_rad, True) * (2 * (length - 1)))
    off *= halved(turned, True)
    return off


def _damped(loss_np: Real, turned: Complex) -> Complex:
    """A wave of unit size over frequency, made smaller by a loss that is drawn."""
    size = np.exp(-loss_np)
    out: Complex = np.empty(np.broadcast_shapes(size.shape, turned.shape), dtype=np.complex64)
    np.multiply(size, halved(turned.real, True), out=out.real)
    np.multiply(size, halved(turned.imag, True), out=out.imag)
    return out


def _junction(room: _Room, outward: Complex, inward: Complex, seen: _Seen, less: bool = False) -> _Seen:
    """Behind (outward + x)/(1 + inward x): a lossless junction, or a step of impedance where both are the same."""
    columns, join = room.columns(seen), np.subtract if less else np.add
    if columns:
        first, second = room.place(seen.p), room.place(seen.p)
        for above, below in columns:
            np.multiply(outward, below, out=first)
            np.multiply(inward, above, out=second)
            join(above, first, out=above)
            join(below, second, out=below)
        room.done(first)
        room.done(second)
        return seen
    p, s = _plus(room, seen.p, outward, seen.r, less), _plus(room, seen.s, inward, seen.q, less)
    assert p is not None
    assert s is not None
    q = _plus(room, seen.q, outward, seen.s, less, over=True)
    r = _plus(room, seen.r, inward, seen.p, less, over=True)
    room.done(seen.p, kept=p)
    room.done(seen.s, kept=s)
    return _Seen(p, q, r, s)


def _times(room: _Room, value: Complex | None, factor: Complex | None) -> Complex | None:
    return None if value is None or factor is None else room.product(value, factor)


def _plus(
    room: _Room,
    value: Complex | None,
    factor: Complex | None,
    other: Complex | None,
    less: bool = False,
    over: bool = False,
) -> Complex | None:
    """One value, and another by a factor added to it; or taken from it. `over` where nobody needs the first one afterwards."""
    if other is None or factor is None:
        return value
    product, join = room.product(factor, other), np.subtract if less else np.add
    if value is None:
        # A change of sign takes ten times as long.
        return np.multiply(product, -1.0, out=product) if less else product
    if over and value.shape == room.shape:
        join(value, product, out=value)
        room.done(product)
        return value
    # Each axis is 1 or that of the others: where the product is as long on both, the sum fits into it.
    fits = product.shape[0] >= value.shape[0] and product.shape[1] >= value.shape[1]
    joined: Complex = join(value, product, out=product if fits else None)
    return joined


def _two_port(room: _Room, s: Complex, seen: _Seen) -> _Seen:
    """Behind a two-port: with u the denominator less S22 times the numerator, (S11 u + S12 S21 numerator)/u."""
    near, far, through = s[..., 0, 0], s[..., 1, 1], room.product(s[..., 0, 1], s[..., 1, 0])
    columns = room.columns(seen)
    if columns:
        part = room.place(seen.p)
        # One column after the other: all that one takes stays in the cache.
        for above, below in columns:
            np.subtract(below, np.multiply(far, above, out=part), out=below)
            np.multiply(through, above, out=above)
            np.add(above, np.multiply(near, below, out=part), out=above)
        room.done(part)
        room.done(through)
        return seen
    if seen.p is seen.s and seen.q is None and seen.r is None:
        # Nothing lies behind it: what would be multiplied by 1 or added to 0 is left out.
        p = _plus(room, through, near, far, less=True, over=True)
        assert p is not None
        one = np.ones_like(p) if p.shape == room.shape else seen.s
        return _Seen(p, near.copy(), np.multiply(far, -1.0), one)
    r = _plus(room, seen.r, far, seen.p, less=True, over=True)
    denominator = _plus(room, seen.s, far, seen.q, less=True, over=True)
    assert denominator is not None
    q = None if seen.q is None else room.product(through, seen.q, seen.q)
    p = _plus(room, room.product(through, seen.p, seen.p), near, r, over=True)
    assert p is not None
    q = _plus(room, q, near, denominator, over=True)
    room.done(through)
    return _Seen(p, q, r, denominator)
