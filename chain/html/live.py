"""Figures that a page's script works with, as one compact JSON object: reflection magnitudes in millionths."""

from __future__ import annotations

import json

import numpy as np

from chain.analyses.page import Page
from chain.analyses.recovery import Recovery
from chain.arrays import Real
from chain.html.charts import decimated, live_places
from chain.reflection import magnitude_from_vswr
from chain.setup_report.numbers import units
from chain.setup_report.phrases import verdict_word
from chain.setup_report.recover import bound_words, worst_point

SCALE = 1_000_000
NAMES = {
    "reading": "reading_vswr",
    "low": "reading_low",
    "high": "reading_high",
    "bound_low": "bound_low",
    "bound_high": "bound_high",
}


def live_json(page: Page) -> str:
    """Readings over true value and frequency, and the sweep where there is one.

    Source: RFC 8259; HTML: the text of a `script` element ends at `</script`.
    """
    grid = page.grid
    true, column = _start(page)
    document: dict[str, object] = {
        "scale": SCALE,
        "limit": page.setup.far.limit_vswr,
        "in_db": units().in_db,
        "start": {"true": true, "column": column},
        "freq_mhz": _megahertz(grid["freq_hz"]),
        "true": _whole(grid["true"], np.rint),
        "ceiling": _whole(grid["ceiling"], np.rint),
    }
    for short, name in NAMES.items():
        document[short] = [_whole(each, _rounding(short)) for each in grid[name]]
    if page.recovery is not None:
        document["sweep"] = _sweep(page.recovery)
    text = json.dumps(document, separators=(",", ":"), allow_nan=False)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


def _start(page: Page) -> tuple[int, int]:
    """True magnitude and column of the grid where the sliders begin: at what the verdict names, else at the limit."""
    row, column = live_places(page)
    found, worst = page.recovery, None if page.recovery is None else worst_point(page.recovery)
    if found is None or worst is None:
        return round(float(page.grid["true"][row] * SCALE)), column
    true = float(magnitude_from_vswr(found.true_vswr[worst]))
    return round(true * SCALE), int(np.argmin(np.abs(page.grid["freq_hz"] - found.freq_hz[worst])))


def _sweep(result: Recovery) -> dict[str, object]:
    shown = decimated(result)
    columns = {
        "reading": result.reading_vswr,
        "true": result.true_vswr,
        "low": result.low,
        "high": result.high,
    }
    found: dict[str, object] = {
        name: _whole(_magnitudes(values[shown]), _rounding(name)) for name, values in columns.items()
    }
    found["freq_mhz"] = _megahertz(result.freq_hz[shown])
    # Words, so that the slider leaves a bound open wherever the table does.
    found["bound"] = [bound_words(result, int(index)) for index in shown]
    found["verdict"] = [verdict_word(result.verdicts[index], result.grades[index]) for index in shown]
    found["start"] = int(np.argmin(np.abs(shown - (worst_point(result) or 0))))
    return found


def _magnitudes(values: Real) -> Real:
    known = np.where(np.isnan(values), 1.0, values)
    return np.where(np.isnan(values), np.nan, magnitude_from_vswr(np.maximum(known, 1.0)))


def _megahertz(freq_hz: Real) -> list[float]:
    return [float(f"{each / 1e6:.7g}") for each in freq_hz]


def _rounding(name: str) -> np.ufunc:
    return np.floor if name.endswith("low") else np.ceil if name.endswith("high") else np.rint


def _whole(values: Real, rounding: np.ufunc) -> list[int | None]:
    """Whole millionths; what is whole but for rounding of the binary figure stays where it is."""
    shift = -1e-6 if rounding is np.ceil else 1e-6 if rounding is np.floor else 0.0
    unknown = np.isnan(values)
    found: list[int | None] = rounding(np.where(unknown, 0, values) * SCALE + shift).astype(int).tolist()
    for at in np.flatnonzero(unknown):
        found[at] = None
    return found
