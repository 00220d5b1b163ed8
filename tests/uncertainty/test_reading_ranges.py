"""The highest reading that proves a limit, against the interval it stands for."""

from pathlib import Path

import numpy as np
import pytest
from further import wide

from chain.assembly.cascade import build
from chain.files.setup_file import parse_setup
from chain.uncertainty.intervals import drawn_terms
from chain.uncertainty.measurement import measurement_of
from chain.uncertainty.one_sided_tests import invert
from chain.uncertainty.reading_ranges import (
    _first_guess,
    _settled,
    hardest_places,
    proving_everywhere,
    reading_grid,
    reading_ranges,
)

DRAWS = 2000


@pytest.mark.parametrize("name", ["boathouse", "plane-after-pad", "downlead"])
@pytest.mark.parametrize("limit", [0.1, 1 / 3, *wide(0.25, 0.5)])
def test_no_higher_reading_proves_the_limit_and_this_one_does(name, limit):
    """Its interval ends at or below the limit; that of a reading two ten-thousandths higher does not."""
    text = Path(f"demo/{name}.toml").read_text("utf-8")
    setup = parse_setup(text.replace("points = 133", "points = 7").encode(), name, Path("demo"))
    measurement = measurement_of(setup, build(setup)).at(slice(0, 7))
    terms = drawn_terms(measurement, slice(0, 7), DRAWS, 20260)
    found = _settled(terms, _first_guess(terms, limit), limit)
    none = np.isnan(found)
    least, place = proving_everywhere(measurement, limit, DRAWS)
    assert np.isnan(least) if none.any() else least == pytest.approx(found.min(), abs=2e-5)
    assert none[place] if none.any() else found[place] == pytest.approx(found.min(), abs=2e-5)
    assert (invert(terms, np.where(none, 0.0, found)).high <= limit + 1e-6)[~none].all()
    assert (invert(terms, np.where(none, 0.0, found + 2e-4)).high > limit).all()


@pytest.mark.parametrize("name", ["boathouse", "plane-after-pad", "downlead"])
def test_places_found_by_few_draws_are_as_hard_as_those_found_by_all(name):
    """Within what 4,000 draws leave open: the width of the range, and the reading that proves the limit everywhere."""
    text = Path(f"demo/{name}.toml").read_text("utf-8")
    setup = parse_setup(text.replace("points = 133", "points = 37").encode(), name, Path("demo"))
    measurement = measurement_of(setup, build(setup))
    limit, draws = 1 / 3, 4000
    widest, (reading, place) = hardest_places(measurement, limit, draws)
    low, high = reading_ranges(measurement, np.array([limit]), draws)
    width = (high - low)[0]
    assert width[widest] >= 0.97 * width.max()
    every, _ = proving_everywhere(measurement, limit, draws)
    assert abs(reading - every) <= 0.05 * width[place]


@pytest.mark.parametrize("name", ["boathouse", "plane-after-pad", *wide("downlead", "splitter", "matched", "loops")])
def test_rows_drawn_less_often_lie_where_all_trials_put_them(name):
    """Rows of a table are those of its own answer, bit by bit; between them half a hundredth of reflection off, a thousandth as a rule."""
    setup = parse_setup(Path(f"demo/{name}.toml").read_bytes(), name, Path("demo"))
    measurement = measurement_of(setup, build(setup))
    magnitudes = np.linspace(0, 1, 41)
    exact = np.arange(41) % 8 == 0
    places = np.linspace(0, measurement.freq_hz.size - 1, 7).astype(int)
    grid = reading_grid(measurement, magnitudes, exact, places, 8000)
    for rough, known in zip(grid, reading_ranges(measurement, magnitudes, 8000), strict=True):
        off = np.abs(rough - known[:, places])
        assert not off[exact].any()
        assert 0 < off.max() < 0.007
        assert np.sqrt(np.mean(off**2)) < 0.0012


@pytest.mark.parametrize("name", ["boathouse", "plane-after-pad"])
def test_no_reading_proves_that_nothing_is_reflected(name):
    """A limit of VSWR 1 is legal, and asked about without a fault of the arithmetic."""
    setup = parse_setup(Path(f"demo/{name}.toml").read_bytes(), name, Path("demo"))
    measurement = measurement_of(setup, build(setup, np.array([174e6, 240e6])))
    with np.errstate(all="raise", under="ignore"):
        least, _ = proving_everywhere(measurement, 0.0, DRAWS)
    assert np.isnan(least)
