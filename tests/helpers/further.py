"""Cases of a parametrised test that say nothing new of its claim: only .ci/run tries them."""

import pytest


def wide(*cases):
    """Cases, each a value or a tuple of values, for the run of the marker `wide`."""
    return [pytest.param(*(each if isinstance(each, tuple) else (each,)), marks=pytest.mark.wide) for each in cases]
