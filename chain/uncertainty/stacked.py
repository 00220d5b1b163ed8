"""Measurements of one form drawn as one: their frequencies stand one after the other, and every trial serves all of them.

Unknowns are drawn by their place in the chain, so chains of the same kinds of elements draw the same numbers anyway; what
differs from one to the other are figures over frequency. What a call costs is then paid once.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from chain.rf.elements import Element, Tee
from chain.uncertainty.measurement import Measurement


def form_of(measurement: Measurement) -> Hashable:
    """What measurements have in common that can be drawn as one; of its own where that is not provided for."""
    elements = (*measurement.before, *measurement.after)
    if measurement.swap is not None or any(isinstance(each, Tee) for each in elements):
        return id(measurement)
    others = (
        value
        for name, value in vars(measurement).items()
        if name not in ("before", "after", "alike") and not isinstance(value, np.ndarray)
    )
    return (
        measurement.freq_hz.size,
        isinstance(measurement.noise_factor, np.ndarray),
        measurement.residuals,
        *others,
        len(measurement.before),
        *map(_form, elements),
    )


def _form(element: Element) -> Hashable:
    # Of an array only that it is there: whether it is says what is drawn.
    figures = ((name, isinstance(value, np.ndarray) or value) for name, value in vars(element).items() if name != "id")
    return type(element), *figures


def stacked(measurements: Sequence[Measurement]) -> Measurement:
    """Measurements of one form as one; noise stays that of each frequency's place in its own sweep."""
    first = measurements[0]
    if len(measurements) == 1:
        return first
    factors = [each.noise_factor for each in measurements]
    return replace(
        first,
        freq_hz=np.concatenate([each.freq_hz for each in measurements]),
        before=_elements([each.before for each in measurements]),
        after=_elements([each.after for each in measurements]),
        noise_factor=np.concatenate(factors) if isinstance(first.noise_factor, np.ndarray) else first.noise_factor,
        noise_places=np.tile(np.arange(first.freq_hz.size), len(measurements)),
    )


def _elements(chains: Sequence[tuple[Element, ...]]) -> tuple[Element, ...]:
    found = []
    for elements in zip(*chains, strict=True):
        arrays: dict[str, Any] = {
            name: np.concatenate([getattr(each, name) for each in elements])
            for name, value in vars(elements[0]).items()
            if isinstance(value, np.ndarray)
        }
        # Names aside, what is no array is the same in all of them: `form_of` has put only such together.
        found.append(replace(elements[0], **arrays))
    return tuple(found)
