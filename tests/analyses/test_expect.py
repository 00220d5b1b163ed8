"""`chain expect`: the reading that proves a limit by the bound, frequency by frequency."""

import re

import numpy as np
import pytest
from click.testing import CliRunner

from chain.analyses.expect import bound_aim
from chain.assembly.cascade import build
from chain.cli.main import chain
from chain.files.setup_file import load_setup
from chain.uncertainty.bounds import reading_bound
from chain.uncertainty.measurement import measurement_of

FREQ_HZ = np.linspace(174e6, 240e6, 12)


def test_the_aim_by_the_bound_is_that_of_each_frequency_alone():
    """Every frequency has its own, the least that any end from the limit to a full reflection may show there."""
    setup = load_setup("demo/plane-after-pad.toml")
    measurement, limit = measurement_of(setup, build(setup, FREQ_HZ)), 1 / 3
    aims = bound_aim(measurement, limit)
    assert aims.shape == FREQ_HZ.shape
    assert np.ptp(aims) > 1e-3
    for place, aim in enumerate(aims):
        assert bound_aim(measurement.at(slice(place, place + 1)), limit) == pytest.approx([aim])
    worse = np.random.default_rng(1).uniform(limit, 1, (FREQ_HZ.size, 500))
    assert np.all(reading_bound(measurement, worse)[0].min(axis=-1) >= aims - 1e-9)
    # No end better than the limit is held against the reading.
    assert np.all(
        reading_bound(measurement, np.full((FREQ_HZ.size, 1), limit))[0][:, 0] == pytest.approx(aims, abs=1e-2)
    )


@pytest.mark.parametrize("name", ["boathouse", "downlead", "splitter"])
@pytest.mark.parametrize("units", [[], ["--units", "rl"]])
def test_what_nothing_connected_shows_is_one_figure(name, units):
    """The second line says what the last row of the table does, to the digit."""
    text = CliRunner().invoke(chain, ["expect", f"demo/{name}.toml", *units]).stdout
    second, last = text.splitlines()[1], next(line for line in text.splitlines() if line.startswith("open, short"))
    about, most = re.findall(r"[\d.]+(?= dB|;| means)", second)
    low, high = last.split()[-3], last.split()[-1]
    assert last.split()[2] == about
    assert (low if units else high) == most
