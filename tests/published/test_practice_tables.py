"""Check tables of the measuring practice: what a screen shows through a pad, a lead or a splitter, and what it means."""

import numpy as np
import pytest
import tables
from strategies import LEAST_LOSS_DB, item, ladder, lead, pad, setup_of

from chain.analyses.expect import expect
from chain.analyses.recover import recover
from chain.assembly.budget import budget
from chain.assembly.cascade import build
from chain.errors import RangeError
from chain.reflection import magnitude_from_return_loss, magnitude_from_vswr, return_loss_db, vswr
from chain.rf.twoport import input_reflection
from chain.sweeps.readings import Readings

FREQ_HZ = 200e6


def through_pad(loss_db=0.0, **near):
    """An ideal pad, and a matched lead where some loss is wanted."""
    items = [item(pad())]
    if loss_db:
        items.append(lead(loss_db, FREQ_HZ, real=False))
    return setup_of(items, **near)


def read(*magnitudes):
    """Readings without a phase, a few hertz apart."""
    return Readings(FREQ_HZ + np.arange(len(magnitudes)), np.array(magnitudes, dtype=float), None, "VSWR")


@pytest.fixture(scope="module")
def recovered():
    """Every reading of the table in one run for each lead."""
    rows = tables.rows("shown_to_true.csv")
    found = {}
    for loss_db in {row["lead_loss_db"] for row in rows}:
        shown = sorted({row["shown_vswr"] for row in rows if row["lead_loss_db"] == loss_db})
        answer = recover(through_pad(loss_db), read(*magnitude_from_vswr(shown)), draws=1000)
        for index, value in enumerate(shown):
            found[value, loss_db] = answer.true_vswr[index], answer.mismatch_loss_db[index]
    return found


@pytest.mark.parametrize("row", tables.rows("shown_to_true.csv"), ids=tables.label)
def test_shown_to_true(row, recovered):
    """Shown VSWR through an ideal pad to the true one, its return loss and the power lost (computed)."""
    true, lost_db = recovered[row["shown_vswr"], row["lead_loss_db"]]
    value = {
        "true_vswr": true,
        "true_return_loss_db": return_loss_db(magnitude_from_vswr(true)),
        "mismatch_loss_db": lost_db,
    }[row["quantity"]]
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.fixture(scope="module")
def shown():
    """One expectation for each chain of the table, by what it is and its loss."""
    rows = tables.rows("true_to_shown.csv")
    found = {}
    for what, loss_db in {(row["what"], row["loss_db"]) for row in rows}:
        if what == "pad":
            setup = through_pad()
        elif what == "lead":
            setup = setup_of([lead(loss_db, FREQ_HZ, real=True)], 75, 75)
        else:
            setup = setup_of([item(pad(loss_db, 75, 75))], 75, 75)
        wanted = [row["true_vswr"] for row in rows if (row["what"], row["loss_db"]) == (what, loss_db)]
        found[what, loss_db] = {row.true_vswr: row for row in expect(setup, wanted, draws=1000).rows}
    return found


@pytest.mark.parametrize("row", tables.rows("true_to_shown.csv"), ids=tables.label)
def test_true_to_shown(row, shown):
    """True VSWR to what the screen shows behind a pad, a lead of some loss, a splitter (computed)."""
    found = shown[row["what"], row["loss_db"]][row["true_vswr"]]
    assert found.reading_vswr == pytest.approx(row["expected"], abs=row["tolerance"])
    assert found.bound_low <= found.reading_vswr + 1e-9
    assert found.bound_high >= found.reading_vswr - 1e-9


@pytest.mark.parametrize("row", tables.rows("ceilings.csv"), ids=tables.label)
def test_ceilings(row):
    """Highest reading of any end behind a matched pad (computed)."""
    found = expect(setup_of([item(pad(row["loss_db"]))]), [2.0], draws=1000)
    assert found.ceiling_vswr == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("reading_ranges.csv"), ids=tables.label)
def test_range_of_readings(row):
    """Direct connection, a pad of unknown match, two reflections: lowest and highest reading (computed)."""
    if row["what"] == "direct":
        setup = setup_of([])
    elif row["what"] == "pad":
        rl = row["reflection_db"]
        setup = setup_of([item(pad(row["loss_db"], 50, 50, 0, rl, rl))], 50, 50)
    else:
        setup = setup_of([], 50, 50, directivity_db=row["reflection_db"])
    found = getattr(expect(setup, [row["true_vswr"]], draws=1000).rows[0], row["quantity"])
    value = found if row["what"] == "direct" else return_loss_db(magnitude_from_vswr(found))
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("residuals.csv"), ids=tables.label)
def test_residual_directivity_behind_a_pad(row):
    """Residual at the antenna, lowest VSWR that means anything, and what a true 1.5 or 2.0 may be taken for (computed)."""
    setup = through_pad(directivity_db=row["directivity_db"])
    if row["quantity"] in ("at_antenna_db", "least_meaning_vswr"):
        top = recover(setup, read(0.0), draws=1000).bound_high[0]
        value = return_loss_db(magnitude_from_vswr(top)) if row["quantity"] == "at_antenna_db" else top
    else:
        end, true = row["quantity"].split("_of_")
        line = expect(setup, [float(true)], draws=1000).rows[0]
        seen = magnitude_from_vswr(getattr(line, f"bound_{end}"))
        value = recover(through_pad(), read(seen), draws=1000).true_vswr[0]
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


def test_lead_loss_adds_twice_to_return_loss():
    """E5 backwards, published (examination training page): 15 dB read behind 6 dB of line is 3 dB at the load."""
    setup = setup_of([lead(6, FREQ_HZ)], 75, 75)
    found = recover(setup, read(magnitude_from_return_loss(15.0)), draws=1000)
    assert return_loss_db(magnitude_from_vswr(found.true_vswr[0])) == pytest.approx(3.0, abs=1e-6)


def test_ohms_recovered_from_a_complex_reading():
    """60 + 35j ohm against 75 ohm reflect 0.273039; read in 50 ohm without a pad it comes back exactly (computed)."""
    reading = np.array([(60 + 35j - 50) / (60 + 35j + 50)])
    found = recover(setup_of([]), Readings(np.array([FREQ_HZ]), np.abs(reading), reading, "complex"), draws=1000)
    assert abs(found.true_reflection[0]) == pytest.approx(0.273039, abs=5e-7)
    assert found.true_ohm[0] == pytest.approx(60 + 35j, abs=1e-9)


@pytest.mark.parametrize("shown_vswr", [2.598, 1.75])
def test_reading_above_the_ceiling_is_refused(shown_vswr):
    """An open reads 2.598 through a reversed pad; nothing reads above 1.732 through one the right way round (computed)."""
    with pytest.raises(RangeError, match="the wrong way round"):
        recover(through_pad(), read(magnitude_from_vswr(shown_vswr)), draws=1000)


def test_open_and_short_differ_behind_an_unlike_pad():
    """100 ohm across and 39 in series: an open reads 2.0, a short 1.78 (Ohm's law, computed), and nothing reads more."""
    elements = [item(ladder([("shunt", 100.0), ("series", 39.0)])), lead(0, FREQ_HZ, 0.7, 72.0)]
    found = budget(build(setup_of(elements[:1])))
    for far, expected in ((1.0, 2.0), (-1.0, 50 / (3900 / 139))):
        assert float(vswr(input_reflection(found.s[0], far))) == pytest.approx(expected, abs=1e-9)
    # A lossless lead turns every end but reaches no new one.
    assert expect(setup_of(elements), [2.0], draws=1000).ceiling_vswr == pytest.approx(2.0, abs=1e-9)


def test_loss_of_the_pad_sets_its_ceiling():
    """Return loss of the ceiling is twice the pad's loss (computed)."""
    found = expect(through_pad(), [2.0], draws=1000)
    assert return_loss_db(magnitude_from_vswr(found.ceiling_vswr)) == pytest.approx(2 * LEAST_LOSS_DB, abs=1e-6)
    assert found.ceiling_vswr == pytest.approx(float(vswr(2 - np.sqrt(3))), abs=1e-9)
