"""Between what limits the losses and the reflections of a whole chain lie, its unknowns drawn."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real, quantiles
from chain.assembly.cascade import build
from chain.reflection import return_loss_db
from chain.results import COVERAGE, SEED, plain_values
from chain.rf import twoport
from chain.rf.elements import aligned, at_frequencies
from chain.setups import Setup
from chain.uncertainty.sampling import draw

DRAWS = 2_000
BLOCK = 16
"""Frequencies drawn at a time."""


@dataclass(frozen=True)
class LossRange:
    """Ends of coverage intervals [dB], each frequency by itself; matched ends assumed."""

    freq_hz: Real
    loss_low_db: Real
    loss_high_db: Real
    near_return_loss_low_db: Real
    near_return_loss_high_db: Real
    far_return_loss_low_db: Real
    far_return_loss_high_db: Real
    draws: int
    seed: int

    def to_dict(self) -> dict[str, object]:
        """Plain values for JSON."""
        return plain_values({"coverage": COVERAGE, **vars(self)})  # type: ignore[return-value]


def loss_range(setup: Setup, freq_hz: Real, seed: int | None = None, draws: int = DRAWS) -> LossRange:
    """Draw whole chains and take quantiles of transducer loss and of the return loss at either end.

    Source: Monte Carlo propagation, probabilistically symmetric interval (JCGM 101:2008, 7.7).
    """
    seed = SEED if seed is None else seed
    chain = build(setup, freq_hz)
    joined = aligned(chain.elements, chain.near_ohm, chain.far_ohm, chain.freq_hz)
    streams = np.random.SeedSequence(seed).spawn(len(joined))
    parts = []
    for start in range(0, chain.freq_hz.size, BLOCK):
        chosen = slice(start, start + BLOCK)
        # The same trials in every block: one trial is one chain over the whole sweep.
        drawn = [
            draw(at_frequencies(each, chosen), np.random.default_rng(own), draws)
            for each, own in zip(joined, streams, strict=True)
        ]
        s = twoport.cascade(drawn) if drawn else twoport.step(chain.near_ohm, chain.far_ohm)
        parts.append(_quantiles(np.broadcast_to(s, (draws, chain.freq_hz[chosen].size, 2, 2))))
    loss_low, loss_high, near_low, near_high, far_low, far_high = np.concatenate(parts, axis=1)
    return LossRange(chain.freq_hz, loss_low, loss_high, near_low, near_high, far_low, far_high, draws, seed)


def _quantiles(s: Complex) -> Real:
    """Ends of the loss and of the return loss at the near and the far end [dB], the lower one first."""
    ends = ((1 - COVERAGE) / 2, (1 + COVERAGE) / 2)
    with np.errstate(divide="ignore"):
        loss = -20 * np.log10(np.abs(s[..., 1, 0]))
    loss_low, loss_high = quantiles(loss, ends)
    # The larger the reflection, the smaller its return loss.
    near_high, near_low = return_loss_db(quantiles(np.abs(s[..., 0, 0]), ends))
    far_high, far_low = return_loss_db(quantiles(np.abs(s[..., 1, 1]), ends))
    return np.array([loss_low, loss_high, near_low, near_high, far_low, far_high])
