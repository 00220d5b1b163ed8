"""Measurements put together for the tests of linear propagation."""

import numpy as np

from chain.rf.elements import aligned
from chain.rf.parts import elements_of
from chain.uncertainty.measurement import Measurement

FREQ = np.array([60e6, 200e6, 862e6])
ONE = np.ones(FREQ.size)


def elements(*items, freq=FREQ):
    return tuple(element for each in items for element in elements_of(each, freq))


def measurement(before, after, plane_ohm=50.0, **unknown):
    start = aligned(before, 50.0, plane_ohm, FREQ) if "standards" in unknown else ()
    return Measurement(FREQ, plane_ohm, 75.0, start, aligned(after, plane_ohm, 75.0, FREQ), **unknown)
