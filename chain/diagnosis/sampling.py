"""Readings of known terminations as a chain with a given fault would show them, drawn over all that is not known.

Noise stays out of the trials and is handed on as its standard deviation, since the share of a reading inside a span can be had
from it exactly. Faults share their trials, so that what sets them apart is the fault alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from typing import Any

import numpy as np

from chain.arrays import Complex, Real
from chain.assembly.cascade import build
from chain.diagnosis.faults import (
    BAD_END,
    FAR_CONNECTOR,
    LOSS,
    MOST_EXTRA_DB,
    MOST_LESS_DB,
    MOST_STALE,
    NEAR_CONNECTOR,
    OPEN_END,
    RESISTOR,
    STALE,
    WRONG_LOAD,
    SuspectedFault,
    connector_sizes,
)
from chain.diagnosis.proposal import Proposal, ProposalWindow, proposed
from chain.diagnosis.session import Drawn, Session, groups_in_view, key_of, stream
from chain.rf import twoport
from chain.rf.elements import Box, Element, Ladder, Line, limit_radius, limit_shape
from chain.rf.twoport import Maps, compose, identity, shifted, through
from chain.setups import Item
from chain.uncertainty.sampling import draw
from chain.uncertainty.streams import unit_reflections
from library.records import Pad

FLOOR = 1e-6
"""Least standard deviation of a reading."""
LEAST_PAD_REFLECTION = 0.01
"""A pad that reflects less than this is not worth a proposal [-]."""


@dataclass(frozen=True)
class Predicted:
    """Readings under one fault: magnitudes without noise and standard deviation of the noise, shape (trials, readings) each.

    `uniform` is where the fault's size stands in its range, 0 to 1; `size` the same in the unit of the range.
    """

    magnitude: Real
    noise: Real
    uniform: Real
    size: Real
    weight: Real
    """How much each trial counts: 1 unless it comes from a proposal."""


@dataclass(frozen=True)
class _PlacedElements:
    """One element of a chain: where its trials are (`own`: it is not among the shared ones), and its references."""

    name: str
    place: int
    near_ohm: float
    far_ohm: float
    flip: bool = False
    own: Element | None = None
    proposed: bool = False
    """Its near reflection is drawn apart."""


@dataclass(frozen=True)
class FaultPlan:
    """A fault laid out: the chain in segments, near to far, and between them what `marks` says, in `ohms`.

    `poor`: a connector that reflects. `pad`: the near port of the pad that a proposal may draw, whose own reflection lies
    anywhere in a disc of `pad_radius` (0: there is none).
    """

    fault: SuspectedFault
    segments: tuple[tuple[_PlacedElements, ...], ...]
    marks: tuple[str, ...]
    ohms: tuple[float, ...]
    pad_radius: float = 0.0
    is_plain: bool = False
    """The chain itself is as stated: what is wrong is at an end, or at the calibration."""


def plan(of: Session, fault: SuspectedFault) -> FaultPlan:
    """Lay out the chain as it is with a fault.

    Source: Elements of the faulty set-up; parts it shares with the stated one are the same trials.
    """
    chain = build(fault.setup, of.measurement.freq_hz, fit=False)
    shared = fault.setup is of.setup
    items, stated_items = ({item.id: item for item in each.items} for each in (fault.setup, of.setup))
    placed: list[_PlacedElements] = []
    cuts: dict[int, tuple[str, float]] = {}
    aimed_at = 0.0
    for name, stated in groups_in_view(fault.setup, chain):
        failed = fault.what == RESISTOR and name == fault.item
        group = _in_its_limits(items[name], stated) if failed else stated
        if name == fault.joint and name != chain.groups[-1][0]:
            cuts[len(placed)] = ("poor", placed[-1].far_ohm if placed else of.measurement.reading_ohm)
        flip = name == fault.flipped
        for index, element in enumerate(group):
            place = len(group) - 1 - index if flip else index
            # An item has the same trial in every fault, unless another stands there; a joint of a changed chain needs its own.
            same = name in items and (flip or items[name] is stated_items.get(name))
            own = None if shared or same else element
            radius = 0.0 if aimed_at or len(placed) in cuts else _proposal_radius(of, element)
            if radius:
                cuts[len(placed)], aimed_at = ("pad", element.near_ohm), radius
            placed.append(_PlacedElements(name, place, element.near_ohm, element.far_ohm, flip, own, radius > 0))
    edges = [0, *cuts, len(placed)]
    segments = tuple(tuple(placed[first:last]) for first, last in pairwise(edges))
    marks, ohms = (tuple(each[which] for each in cuts.values()) for which in (0, 1))
    plain = shared and fault.what not in (LOSS, NEAR_CONNECTOR, FAR_CONNECTOR)
    return FaultPlan(fault, segments, marks, ohms, aimed_at, plain)  # type: ignore[arg-type]


def _in_its_limits(item: Item, group: tuple[Element, ...]) -> tuple[Element, ...]:
    """The resistors of a pad with a junction at either end: what its limits allow beside what the resistors reflect."""
    (ladder,) = group
    assert isinstance(ladder, Ladder)
    assert isinstance(item.part, Pad)
    limits = item.part.near_limit, item.part.far_limit
    none = np.zeros(ladder.freq_hz.shape)
    near, far = (
        Line(
            item.id,
            ohm,
            ohm,
            np.full(none.shape, ohm, dtype=complex),
            none,
            none,
            inside_radius=None if item.ideal else limit_radius(limit, ladder.freq_hz),
            shape=limit_shape(limit),
        )
        for ohm, limit in zip((ladder.near_ohm, ladder.far_ohm), limits[::-1] if item.reversed else limits, strict=True)
    )
    return near, ladder, far


def _proposal_radius(of: Session, element: Element) -> float:
    """Radius of the disc of a pad's near reflection, at one frequency in front of which nothing was calibrated out; else 0."""
    if not isinstance(element, Box) or element.near_radius is None or of.measurement.standards is not None:
        return 0.0
    radius = float(element.near_radius[0])
    own = radius if element.far_radius is None else max(radius, float(element.far_radius[0]))
    # A pad of so little loss has both reflections taken down where
    # a trial would give out power: its near one fills no disc.
    gain = float(np.abs(element.s[0, 1, 0])) * 10 ** (element.loss_tolerance_db / 20) + own > 1
    alone = element.s.shape[0] == 1 and element.shape == "disc" and np.abs(element.s[0, 0, 0]) == 0
    return radius if alone and not gain and radius > LEAST_PAD_REFLECTION else 0.0


@dataclass(frozen=True)
class _SessionRun:
    """One fault being drawn: some of the trials of a block, with random numbers of the fault's own."""

    of: Session
    plan: FaultPlan
    drawn: Drawn
    rows: slice
    window: tuple[float, float]
    kept: dict[tuple[str, int], Any]
    """What was worked out; by plain chains, which share it, for the whole block."""

    def once(self, key: tuple[str, int], make: Callable[[_SessionRun], Any], kept: bool = True) -> Any:
        """Part of a prediction that is worked out once; of a plain chain for all the faults that leave it alone."""
        if not kept:
            return make(self)
        plain = self.plan.is_plain
        if key not in self.kept:
            self.kept[key] = make(replace(self, rows=slice(0, self.drawn.count)) if plain else self)
        return self._own(self.kept[key]) if plain else self.kept[key]

    def _own(self, found: Any) -> Any:
        if isinstance(found, list):
            return [self.maps(each) for each in found]
        return self.maps(found) if isinstance(found, Maps) else self.some(found)

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
        return np.asarray(connector_sizes(self.size) * self.some(self.drawn.turns[making]))


def predict(
    of: Session,
    laid: FaultPlan,
    drawn: Drawn,
    rows: slice | None = None,
    window: tuple[float, float] = (0.0, 1.0),
    proposal: Proposal | None = None,
    kept: dict[tuple[str, int], Any] | None = None,
) -> Predicted:
    """Readings of a session as a chain with one fault would show them.

    Source: S11 + S12 S21 G/(1 - S22 G) through the elements as they then stand; a junction (r + G)/(1 + conj(r) G)
    where a connector is poor; d + (1 + t) G/(1 - m G) for a calibration that no longer holds.
    """
    run = _SessionRun(
        of, laid, drawn, rows or slice(0, drawn.count), window, kept if kept is not None and laid.is_plain else {}
    )
    cut = 1 + laid.marks.index("pad") if "pad" in laid.marks else 0
    behind = [
        run.once(("behind", place), partial(_behind, cut=cut, place=place), not _is_at_end(run, end))
        for place, (end, _) in enumerate(of.ends)
    ]
    fronts = {
        seating: run.once(("front", seating), partial(_front, cut=cut, seating=seating)) for _, seating in of.ends
    }
    pad, weight = _pad_reflection(run, behind, fronts, proposal)
    levels, noises = [], []
    shape = (run.count, of.measurement.freq_hz.size)
    for seen, (_, seating) in zip(behind, of.ends, strict=True):
        shown, sd = _shown(run, fronts[seating].reading(seen + pad))
        # The magnitude of a reading with noise, sqrt(|x|^2 + s^2) on average to first order in the noise's power.
        levels.append(np.broadcast_to(np.sqrt(np.abs(shown) ** 2 + sd**2), shape).mean(axis=1))
        noises.append(np.sqrt(np.broadcast_to(np.square(sd), shape).mean(axis=1) / shape[1]))
    if not levels:
        none = np.empty((run.count, 0))
        return Predicted(none, none, run.size[:, 0], _size(run), weight)
    noise = np.maximum(np.stack(noises, axis=1), FLOOR)
    return Predicted(np.stack(levels, axis=1), noise, run.size[:, 0], _size(run), weight)


def _is_at_end(run: _SessionRun, end: str) -> bool:
    """Whether a fault is that of a known end."""
    wrong = {OPEN_END: "open", WRONG_LOAD: "load", BAD_END: run.plan.fault.item}
    return wrong.get(run.what) == end


def _segments(run: _SessionRun) -> list[Maps]:
    laid = run.plan
    ohms = (run.of.measurement.reading_ohm, *laid.ohms, run.of.measurement.far_ohm)
    return [_joined(run, placed, *pair) for placed, pair in zip(laid.segments, pairwise(ohms), strict=True)]


def _behind(run: _SessionRun, cut: int, place: int) -> Complex:
    """What is seen of one end, as far towards the analyzer as the segments from `cut` on go."""
    segments = run.once(("segments", 0), _segments)
    end, seating = run.of.ends[place]
    seen = _mated(run.some(run.drawn.matings[place][0]), _end(run, end))
    if run.what == FAR_CONNECTOR and "poor" not in run.plan.marks:
        seen = _mated(run.poor(place), seen)
    for index in range(len(segments) - 1, cut - 1, -1):
        seen = segments[index].reading(seen)
        if index > cut:
            seen = _mated(run.poor(seating if run.what == NEAR_CONNECTOR else 0), seen)
    return seen


def _front(run: _SessionRun, cut: int, seating: int) -> Maps:
    """The map from there to the reading before noise, as the connectors were made for one seating."""
    segments = run.once(("segments", 0), _segments)[:cut]
    measurement, drawn = run.of.measurement, run.drawn
    maps = identity((1, 1))
    for index in range(len(segments) - 1, -1, -1):
        maps = compose(segments[index], maps)
        if index:
            maps = compose(_junction(run.poor(seating if run.what == NEAR_CONNECTOR else 0)), maps)
    at_plane = drawn.matings[[each for _, each in run.of.ends].index(seating)][1]
    if measurement.standards is None or measurement.after:
        maps = compose(_junction(run.some(at_plane)), maps)
    if drawn.residual is not None:
        maps = compose(through([run.some(drawn.residual)], (1, 1)), maps)
    if drawn.box is not None:
        maps = compose(run.maps(drawn.box), maps)
        turn = run.some(drawn.turn)
        maps = Maps(maps.p * turn, maps.q * turn, maps.r)
    return shifted(maps, run.some(drawn.drift))


def _pad_reflection(
    run: _SessionRun, behind: Sequence[Complex], fronts: dict[int, Maps], proposal: Proposal | None
) -> tuple[Complex | float, Real]:
    """Near reflection of the pad that a proposal may draw, and the weight of each trial."""
    laid, ones = run.plan, np.ones(run.count)
    if not laid.pad_radius:
        return 0.0, ones
    rng = stream((run.drawn.seed, run.drawn.block), 41)
    plain = laid.pad_radius * unit_reflections(rng, run.count, "disc")
    if proposal is None:
        return plain, ones
    aimed_at = []
    for place in proposal.places:
        maps, seen = fronts[run.of.ends[place][1]], behind[place]
        if run.what == STALE:
            maps = compose(_stale(run), maps)
        _, sd = _shown(run, fronts[run.of.ends[place][1]].reading(seen + plain))
        noise = np.maximum(np.broadcast_to(sd, (run.count, 1)), FLOOR)
        aimed_at.append(ProposalWindow(maps, np.broadcast_to(seen, (run.count, 1)), noise))
    pad, weight = proposed(rng, laid.pad_radius, plain, (aimed_at[0], aimed_at[1]), proposal)
    return pad, weight[:, 0]


def _junction(reflection: Complex | float) -> Maps:
    """A lossless junction as a map."""
    r = np.asarray(reflection, dtype=complex).reshape(-1, 1)
    return Maps(np.ones_like(r), r, np.conj(r))


def _joined(run: _SessionRun, placed: Sequence[_PlacedElements], near_ohm: float, far_ohm: float) -> Maps:
    """The map of elements in a row, with ideal steps between unequal references."""
    points = run.of.measurement.freq_hz.size
    matrices, ohm = [], near_ohm
    for each in placed:
        if each.near_ohm != ohm:
            matrices.append(np.broadcast_to(twoport.step(ohm, each.near_ohm), (1, points, 2, 2)))
        matrices.append(_drawn_element(run, each))
        ohm = each.far_ohm
    if ohm != far_ohm:
        matrices.append(np.broadcast_to(twoport.step(ohm, far_ohm), (1, points, 2, 2)))
    return through(matrices, (run.count, points))


def _drawn_element(run: _SessionRun, each: _PlacedElements) -> Complex:
    # A stream of its own, so that an element that only one fault has does not disturb the trials that all share.
    if each.own is not None:
        return draw(each.own, stream((run.drawn.seed, run.drawn.block), 40, key_of(each.name), each.place), run.count)
    s: Complex = run.some(run.drawn.elements[each.name, each.place])
    if each.flip:
        s = twoport.flip(s)
    # Its own reflection is added later, where it may come from the proposal; in here it would count twice.
    if each.proposed:
        s = s.copy()
        s[..., 0, 0] = 0
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


def _end(run: _SessionRun, end: str) -> Complex:
    """Reflection of a known termination in the antenna's impedance, shape (trials or 1, frequencies)."""
    if end == "open" and run.what == OPEN_END:
        # A resistance across the end, uniform in reflection and not in ohms, so that small and large ones count alike.
        return np.asarray(1 - 2 * run.size, dtype=complex)
    if run.what == BAD_END and end == run.plan.fault.item:
        other = run.plan.fault.reads_as
        return _end(run, other) if other else np.asarray(1 - 2 * run.size, dtype=complex)
    if end == "load50" or (end == "load" and run.what == WRONG_LOAD):
        return np.asarray(run.some(run.drawn.fifties[end == "load"]))
    return np.asarray(run.some(run.drawn.three[("open", "short", "load").index(end)]))


def _shown(run: _SessionRun, raw: Complex) -> tuple[Complex, Real | float]:
    """What the analyzer makes of a raw reading, without noise, and the standard deviation of the noise."""
    shown: Complex = raw
    sd: Real | float = run.of.measurement.noise
    if run.drawn.terms is not None:
        terms = run.maps(run.drawn.terms)
        shown = terms.recovered(raw)
        # Noise is small beside what bends the map: it passes by the size of the map's derivative, det/(p - r raw)^2.
        sd = sd * np.abs((terms.p - terms.q * terms.r) / (terms.p - terms.r * raw) ** 2)
    if run.what != STALE:
        return shown, sd
    stale = _stale(run)
    return stale.reading(shown), sd * np.abs((stale.p - stale.q * stale.r) / (stale.r * shown + 1) ** 2)


def _stale(run: _SessionRun) -> Maps:
    """Directivity d, tracking t and source match m that a calibration has come to lack: d + (1 + t) G/(1 - m G)."""
    residuals = (run.some(turn * radius) for turn, radius in zip(run.drawn.turns, run.drawn.radii, strict=False))
    directivity, tracking, match = (MOST_STALE * run.size * each for each in residuals)
    return Maps(1 + tracking - directivity * match, directivity, -match)


def _size(run: _SessionRun) -> Real:
    """Size of the fault in the unit of its range."""
    uniform = run.size[:, 0]
    if run.what == LOSS:
        low = -min(MOST_LESS_DB, run.plan.fault.loss_db)
        return low + (MOST_EXTRA_DB - low) * uniform
    if run.what in (NEAR_CONNECTOR, FAR_CONNECTOR):
        return connector_sizes(uniform)
    if run.what == STALE:
        return MOST_STALE * uniform
    return 1 - 2 * uniform if run.what == OPEN_END else np.full(run.count, np.nan)
