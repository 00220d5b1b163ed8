"""The same antenna behind a lead that loses more looks better: alike everywhere, and the answer says so before it praises."""

from io import StringIO

import numpy as np
import pytest
from rich.console import Console

from chain.antenna_report.differences import match_lines, render
from chain.assembly.cascade import build
from chain.comparisons.antennas import compare_antennas
from chain.files.setup_file import load_setup
from chain.sweeps.readings import Readings
from chain.uncertainty.measurement import measurement_of, nominal_maps

DOWNLEAD = load_setup("demo/downlead.toml")
MEASUREMENT = measurement_of(DOWNLEAD, build(DOWNLEAD))
FREQ = MEASUREMENT.freq_hz
KNOWN = nominal_maps(MEASUREMENT)
AERIAL = np.linspace(0.55, 0.12, FREQ.size) * np.exp(-2j * np.pi * FREQ * 4e-9)
OPEN = np.exp(-2j * np.pi * FREQ * 1e-10)


def read(far, phase=True):
    seen = KNOWN.reading(np.asarray(far))[0]
    return Readings(FREQ, np.abs(seen), seen if phase else None, "made up")


def more_loss(far, loss_db):
    """Twice the way: there and back."""
    return far * 10 ** (-2 * loss_db / 20)


@pytest.mark.parametrize("exchanged", [True, False])
def test_more_loss_before_the_same_antenna_is_told_from_a_better_antenna(exchanged):
    lossier = compare_antennas(DOWNLEAD, read(AERIAL), read(more_loss(AERIAL, 0.7)), exchanged=exchanged)
    assert lossier.verdict == "better"
    assert lossier.lossier_lead_db == pytest.approx(2 * 0.7, abs=0.02)
    first, second, third = match_lines(lossier)
    assert "better" in first
    assert second == "All return losses are better alike, by about 1.4 dB: a lossier lead or joint does that."[:80] or (
        second == "All are better alike, by about 1.4 dB: a lossier lead or joint does that."
    )
    assert "open end" in third
    assert "keep" not in third
    # Better most where it was worst: no lead does that.
    tuned = compare_antennas(DOWNLEAD, read(AERIAL), read(0.12 * AERIAL / abs(AERIAL)), exchanged=exchanged)
    assert tuned.verdict == "better"
    assert tuned.lossier_lead_db is None
    assert "keep" in match_lines(tuned)[2]


def test_of_a_lead_that_loses_more_at_the_top_of_a_wide_sweep():
    """Loss by the skin effect grows with the root of frequency, and is known again as well."""
    growing = 2.0 * np.sqrt(FREQ / np.median(FREQ))
    assert compare_antennas(DOWNLEAD, read(AERIAL), read(more_loss(AERIAL, growing))).lossier_lead_db == pytest.approx(
        4.0, abs=0.1
    )


def test_without_phase_as_well():
    found = compare_antennas(DOWNLEAD, read(AERIAL, False), read(more_loss(AERIAL, 2.0), False), exchanged=False)
    assert (found.verdict, found.lossier_lead_db) == ("better", pytest.approx(4.0, abs=0.4))


def test_two_open_ends_are_no_antennas():
    found = compare_antennas(DOWNLEAD, read(more_loss(OPEN, 0.3)), read(more_loss(OPEN, 1.0)))
    assert found.nothing_connected
    console = Console(file=StringIO(), width=80, color_system=None)
    render(found, console)
    text = console.file.getvalue()
    assert "but both more than half" in text
    assert "nothing at its end" in text
    assert "keep B" not in text.casefold()
    assert not compare_antennas(DOWNLEAD, read(AERIAL), read(OPEN)).nothing_connected
