"""Readings of known ends as a chain with a given fault would show them, drawn over all that is not known.

Noise stays out of the draws and is handed on as its standard deviation, since the share of a reading inside a span can be had
from it exactly. Faults share their draws, so that what sets them apart is the fault alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain import twoport
from chain.cascade import build
from chain.draws import draw
from chain.faults import (
    FAR_CONNECTOR,
    LOSS,
    MOST_CONNECTOR,
    MOST_EXTRA_DB,
    MOST_LESS_DB,
    MOST_STALE,
    NEAR_CONNECTOR,
    OPEN_END,
    STALE,
    WRONG_LOAD,
    Fault,
)
from chain.maps import Maps, through
from chain.sessions import Drawn, Session, groups_in_view, stream
from chain.stages import Stage

__all__ = ["Plan", "Predicted", "plan", "predict"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

FLOOR = 1e-6
"""Least standard deviation of a reading."""


@dataclass(frozen=True)
class Predicted:
    """Readings under one fault: magnitudes without noise and standard deviation of the noise, shape (draws, readings) each.

    `uniform` is where the fault's size stands in its range, 0 to 1; `size` the same in the unit of the range.
    """

    magnitude: Real
    noise: Real
    uniform: Real
    size: Real


@dataclass(frozen=True)
class _Placed:
    """One piece of a chain: where its draws are (`own`: it is not among the shared ones), and its references."""

    name: str
    place: int
    near_ohm: float
    far_ohm: float
    flip: bool = False
    own: Stage | None = None


@dataclass(frozen=True)
class Plan:
    """A fault laid out: pieces ahead of a poor connector and behind it; `back` is None where no connector inside is poor."""

    fault: Fault
    front: tuple[_Placed, ...]
    back: tuple[_Placed, ...] | None
    middle_ohm: float


def plan(of: Session, fault: Fault) -> Plan:
    """Lay out the chain as it is with a fault.

    Parameters
    ----------
    of : the session.
    fault : what is wrong.

    Returns
    -------
    Plan.

    Examples
    --------
    See `predict`.

    Source
    ------
    Pieces of the faulty set-up; parts it shares with the stated one are the same draws.
    """
    chain = build(fault.setup, of.way.freq_hz, fit=False)
    shared = fault.setup is of.setup
    items = {item.id for item in fault.setup.items}
    placed: list[_Placed] = []
    cut: int | None = None
    for name, group in groups_in_view(fault.setup, chain):
        if name == fault.joint:
            cut = len(placed)
        flip = name == fault.flipped
        for index, piece in enumerate(group):
            place = len(group) - 1 - index if flip else index
            own = None if shared or name in items else piece
            placed.append(_Placed(name, place, piece.near_ohm, piece.far_ohm, flip, own))
    if cut is None or fault.joint == chain.groups[-1][0]:
        return Plan(fault, tuple(placed), None, of.way.far_ohm)
    middle = placed[cut - 1].far_ohm if cut else of.way.reading_ohm
    return Plan(fault, tuple(placed[:cut]), tuple(placed[cut:]), middle)


@dataclass(frozen=True)
class _Run:
    """One fault being drawn: some of the draws of a block, with random numbers of the fault's own."""

    of: Session
    plan: Plan
    drawn: Drawn
    rows: slice
    window: tuple[float, float]

    @property
    def what(self) -> str:
        return self.plan.fault.what

    @property
    def size(self) -> Real:
        low, high = self.window
        return low + (high - low) * self.drawn.sizes[self.rows]

    @property
    def count(self) -> int:
        return int(self.rows.stop - self.rows.start)

    def some(self, values: Complex | float) -> Any:
        return values if isinstance(values, float) or values.shape[0] == 1 else values[self.rows]

    def maps(self, maps: Maps) -> Maps:
        return Maps(*(self.some(value) for value in (maps.p, maps.q, maps.r)))

    def poor(self, making: int) -> Complex:
        """What a poor connector reflects at one making."""
        return np.asarray(MOST_CONNECTOR * self.size * self.some(self.drawn.turns[making]))


def predict(
    of: Session, laid: Plan, drawn: Drawn, rows: slice | None = None, window: tuple[float, float] = (0.0, 1.0)
) -> Predicted:
    """Readings of a session as a chain with one fault would show them.

    Parameters
    ----------
    of : the session.
    laid : the fault, laid out by `plan`.
    drawn : a block of draws of what all faults share.
    rows : which draws of the block; all of them if left out.
    window : part of the range of sizes to draw from, 0 to 1 for all of it [-].

    Returns
    -------
    Predicted.

    Examples
    --------
    >>> from chain.barepad import bare_pad
    >>> from chain.faults import kinds_of
    >>> from chain.ratios import vswr
    >>> from chain.sessions import draw_block, session
    >>> of = session(bare_pad(2e8, 2e8), np.array([2e8]), [("open", 0), ("short", 0)], 200.0, 200.0)
    >>> block = draw_block(of, 0, 1, 1)
    >>> faults = {kind.what: kind.faults[0] for kind in kinds_of(of.setup, {"open"}, False, False)}
    >>> shown = {what: predict(of, plan(of, fault), block).magnitude[0] for what, fault in faults.items()}
    >>> vswr(shown["right"]).round(3).tolist(), vswr(shown["pad reversed"]).round(3).tolist()
    ([1.732, 1.732], [2.598, 1.155])

    Source
    ------
    S11 + S12 S21 G/(1 - S22 G) through the pieces as they then stand; a junction (r + G)/(1 + conj(r) G) where a connector
    is poor; d + (1 + t) G/(1 - m G) for a calibration that no longer holds.
    """
    run = _Run(of, laid, drawn, rows or slice(0, drawn.count), window)
    back = None if laid.back is None else _joined(run, laid.back, laid.middle_ohm, of.way.far_ohm)
    front = _joined(run, laid.front, of.way.reading_ohm, of.way.far_ohm if back is None else laid.middle_ohm)
    shape = (run.count, of.way.freq_hz.size)
    levels, noises = [], []
    for place, (end, seating) in enumerate(of.ends):
        at_far, at_plane = drawn.matings[place]
        seen = _mated(run.some(at_far), _end(run, end))
        if back is None and run.what == FAR_CONNECTOR:
            seen = _mated(run.poor(place), seen)
        if back is not None:
            making = seating if run.what == NEAR_CONNECTOR else 0
            seen = _mated(run.poor(making), back.reading(seen))
        shown, sd = _shown(run, front.reading(seen), run.some(at_plane))
        # The magnitude of a reading with noise, sqrt(|x|^2 + s^2) on average to first order in the noise's power.
        levels.append(np.broadcast_to(np.sqrt(np.abs(shown) ** 2 + sd**2), shape).mean(axis=1))
        noises.append(np.sqrt(np.broadcast_to(np.square(sd), shape).mean(axis=1) / shape[1]))
    noise = np.maximum(np.stack(noises, axis=1), FLOOR)
    return Predicted(np.stack(levels, axis=1), noise, run.size[:, 0], _size(run))


def _joined(run: _Run, placed: Sequence[_Placed], near_ohm: float, far_ohm: float) -> Maps:
    """The map of pieces in a row, with ideal steps between unequal references."""
    points = run.of.way.freq_hz.size
    matrices, ohm = [], near_ohm
    for number, each in enumerate(placed):
        if each.near_ohm != ohm:
            matrices.append(np.broadcast_to(twoport.step(ohm, each.near_ohm), (1, points, 2, 2)))
        matrices.append(_drawn_piece(run, each, number))
        ohm = each.far_ohm
    if ohm != far_ohm:
        matrices.append(np.broadcast_to(twoport.step(ohm, far_ohm), (1, points, 2, 2)))
    return through(matrices, (run.count, points))


def _drawn_piece(run: _Run, each: _Placed, number: int) -> Complex:
    if each.own is not None:
        return draw(each.own, stream((run.drawn.seed, run.drawn.block), 40, number), run.count)
    s: Complex = run.some(run.drawn.pieces[each.name, each.place])
    if each.flip:
        s = twoport.flip(s)
    if run.what == LOSS and each.name == run.plan.fault.item:
        scaled = np.array(np.broadcast_to(s, (run.count, *s.shape[1:])))
        factor = 10 ** (-_size(run)[:, None] / 20)
        scaled[..., 0, 1] *= factor
        scaled[..., 1, 0] *= factor
        return scaled
    return s


def _mated(reflection: Complex | float, seen: Complex) -> Complex:
    """A lossless junction in front of what is seen."""
    if isinstance(reflection, float) and not reflection:
        return seen
    return np.asarray((reflection + seen) / (1 + np.conj(reflection) * seen))


def _end(run: _Run, end: str) -> Complex:
    """Reflection of a known end in the antenna's impedance, shape (draws or 1, frequencies)."""
    if end == "open" and run.what == OPEN_END:
        return np.asarray(1 - 2 * run.size, dtype=complex)
    if end == "load50" or (end == "load" and run.what == WRONG_LOAD):
        return np.asarray(run.some(run.drawn.fifties[end == "load"]))
    return np.asarray(run.some(run.drawn.three[("open", "short", "load").index(end)]))


def _shown(run: _Run, seen: Complex, at_plane: Complex | float) -> tuple[Complex, Real | float]:
    """What the analyzer makes of it, without noise, and the standard deviation of the noise."""
    way, drawn = run.of.way, run.drawn
    if way.standards is None or way.after:
        seen = _mated(at_plane, seen)
    drift = run.some(drawn.drift)
    sd: Real | float = way.noise
    if drawn.box is None or drawn.terms is None:
        if drawn.residual is not None:
            seen = through([run.some(drawn.residual)], (1, 1)).reading(seen)
        shown = seen + drift
    else:
        raw = run.maps(drawn.box).reading(seen) * run.some(drawn.turn) + drift
        terms = run.maps(drawn.terms)
        shown = terms.recovered(raw)
        sd = way.noise * np.abs((terms.p - terms.q * terms.r) / (terms.p - terms.r * raw) ** 2)
    if run.what != STALE:
        return shown, sd
    residuals = (run.some(turn * radius) for turn, radius in zip(drawn.turns, drawn.radii, strict=False))
    directivity, tracking, match = (MOST_STALE * run.size * each for each in residuals)
    down = 1 - match * shown
    return directivity + (1 + tracking) * shown / down, sd * np.abs((1 + tracking) / down**2)


def _size(run: _Run) -> Real:
    """Size of the fault in the unit of its range."""
    uniform = run.size[:, 0]
    if run.what == LOSS:
        low = -min(MOST_LESS_DB, run.plan.fault.loss_db)
        return low + (MOST_EXTRA_DB - low) * uniform
    if run.what in (NEAR_CONNECTOR, FAR_CONNECTOR):
        return MOST_CONNECTOR * uniform
    if run.what == STALE:
        return MOST_STALE * uniform
    return 1 - 2 * uniform if run.what == OPEN_END else np.full(run.count, np.nan)
