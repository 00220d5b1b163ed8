"""A proposal from two readings: where a pad's own reflection must lie for both to be as seen, exact by importance weights.

A reading is |T(u + w)|: u what the pad reflects by itself, anywhere in a disc, w what lies behind it, T the bilinear map of all
that lies in front. |T| = y is a circle for u, so two readings leave two points. A part of the trials takes u from its disc as
ever; the weight of a trial is the density of the disc over that of both ways together, so that no weight runs away.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.diagnosis import normal
from chain.rf.twoport import Maps, inverse

PLAIN = 0.25
"""Share of the trials that the proposal leaves alone."""
TINY = 1e-12


@dataclass(frozen=True)
class Proposal:
    """Two readings by their place in the session, each with the span of magnitudes it stands for [-]."""

    places: tuple[int, int]
    spans: tuple[tuple[float, float], tuple[float, float]]


@dataclass(frozen=True)
class ProposalWindow:
    """How one reading comes about: `maps` in front of the pad, `behind` it, `noise` on the reading; shape (trials, 1)."""

    maps: Maps
    behind: Complex
    noise: Real


def proposal_for(places: Sequence[int], spans: Sequence[tuple[float, float]]) -> Proposal | None:
    """Choose the two readings of the proposal: the smallest and the largest, whose circles cross at a good angle."""
    closed = [(low + high, place, (low, high)) for place, (low, high) in zip(places, spans, strict=True) if high < 1]
    # One circle leaves a line of solutions and no point to propose.
    if len(closed) < 2:
        return None
    least, most = min(closed), max(closed)
    return Proposal((least[1], most[1]), (least[2], most[2]))


def proposed(
    rng: np.random.Generator,
    radius: float,
    plain: Complex,
    windows: tuple[ProposalWindow, ProposalWindow],
    proposal: Proposal,
) -> tuple[Complex, Real]:
    """Reflections of the pad, some of them from the proposal, and the weight of each.

    Source: Multiple importance sampling with the balance heuristic (Veach and Guibas, 1995: memory); density of u by
    the Jacobian of the two magnitudes, |T'| along each circle's radius.
    """
    count = plain.shape[0]
    first = int(PLAIN * count)
    levels = [_levels(rng, window.noise, span) for window, span in zip(windows, proposal.spans, strict=True)]
    points = _crossing(rng, windows, levels)
    # A fixed share and not a random one: the density of the mixture is then exact in every block.
    u = np.where(np.arange(count)[:, None] < first, plain, points)
    inside = np.abs(u) <= radius
    u = np.where(inside, u, 0.0)
    # What is proposed outside the disc cannot be and weighs
    # nothing; u is set to 0 there only to keep the density finite.
    disc = 1 / (np.pi * radius**2)
    share = first / count
    weight = disc / (share * disc + (1 - share) * _density(u, windows, proposal))
    return u, np.where(inside, weight, 0.0)


def _levels(rng: np.random.Generator, noise: Real, span: tuple[float, float]) -> Real:
    """Root mean squares of a reading that noise would carry into its span, and out of it as often as it does."""
    return np.asarray(rng.uniform(*span, noise.shape) + noise * rng.standard_normal(noise.shape))


def _circle(window: ProposalWindow, size: Real) -> tuple[Complex, Real]:
    """Centre and radius of the circle of u on which the reading has a magnitude."""
    back = inverse(window.maps)
    # The circle |reading| = size as the image of the unit circle:
    # its centre belongs to the pole's mirror image, -conj(r).
    p, r = back.p * size, back.r * size
    down = 1 - np.abs(r) ** 2
    return (back.q - p * np.conj(r)) / down - window.behind, np.abs(p - back.q * r) / np.abs(down)


def _crossing(
    rng: np.random.Generator, windows: tuple[ProposalWindow, ProposalWindow], levels: Sequence[Real]
) -> Complex:
    """One of the two points where the circles of both readings cross; far outside where they do not."""
    sizes = [np.sqrt(np.maximum(level**2 - window.noise**2, 0)) for level, window in zip(levels, windows, strict=True)]
    (one, first), (two, second) = (_circle(window, size) for window, size in zip(windows, sizes, strict=True))
    apart = two - one
    distance = np.maximum(np.abs(apart), TINY)
    # Law of cosines: how far along the line of centres the common
    # chord stands; the two crossings lie either side of it.
    along = (first**2 - second**2 + distance**2) / (2 * distance)
    across = first**2 - along**2
    side = rng.choice([-1.0, 1.0], across.shape)
    point = one + apart / distance * (along + 1j * side * np.sqrt(np.maximum(across, 0)))
    possible = (across > 0) & (levels[0] > windows[0].noise) & (levels[1] > windows[1].noise)
    return np.where(possible, point, 1e9)


def _density(u: Complex, windows: tuple[ProposalWindow, ProposalWindow], proposal: Proposal) -> Real:
    """Density with which the proposal falls on u."""
    # Either crossing is taken with an even chance.
    out: Real | float = 0.5
    radii = []
    for window, (low, high) in zip(windows, proposal.spans, strict=True):
        at = u + window.behind
        down = window.maps.r * at + 1
        size = np.maximum(np.abs((window.maps.p * at + window.maps.q) / down), TINY)
        # Levels were drawn and u follows: its density is theirs times the
        # Jacobian, d level/d u = |T'| size/level along each circle's radius.
        level = np.sqrt(size**2 + window.noise**2)
        steep = np.abs((window.maps.p - window.maps.q * window.maps.r) / down**2) * size / level
        chance = (normal.below((high - level) / window.noise) - normal.below((low - level) / window.noise)) / (
            high - low
        )
        out = out * chance * steep
        center, _ = _circle(window, size)
        radii.append((u - center) / np.maximum(np.abs(u - center), TINY))
    # The sine of the angle between both radii: circles that touch spread one step of level over a long stretch of u.
    return np.asarray(out * np.abs((np.conj(radii[0]) * radii[1]).imag))
