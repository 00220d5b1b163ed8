"""Pieces of wrong impedance, unmatched connectors and adapters in a line."""

from dataclasses import replace

import numpy as np
import pytest
import tables
from strategies import adapter, chain_of, coax, item, setup_of

from chain.analyses.expect import expect
from chain.assembly.budget import budget
from chain.assembly.cascade import build
from chain.reflection import magnitude_from_vswr, return_loss_db
from library.mating import parse_connector


def element(ohm, electrical_m):
    return item(adapter(ohm, electrical_m))


@pytest.mark.parametrize("row", tables.rows("wrong_piece.csv"), ids=tables.label)
def test_piece_of_wrong_impedance(row):
    """Closed form (computed), and a 75-ohm BNC barrel between 50-ohm plugs, 19.0 mm by measurement data of 2012."""
    found = budget(
        chain_of(
            [element(row["piece_ohm"], row["length_mm"] / 1000)],
            row["line_ohm"],
            row["line_ohm"],
            row["freq_mhz"] * 1e6,
        )
    )
    assert getattr(found, row["quantity"])[0] == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("wrong_lead.csv"), ids=tables.label)
def test_50_ohm_lead_in_a_75_ohm_chain(row):
    """VSWR of a short 50-ohm lead of velocity factor 0.69 (computed)."""
    made = element(50, row["length_mm"] / 1000 / 0.69)
    found = budget(chain_of([made], 75, 75, row["freq_mhz"] * 1e6))
    reflection = np.sqrt(found.reflected_share[0])
    assert (1 + reflection) / (1 - reflection) == pytest.approx(row["expected"], abs=row["tolerance"])


def test_wrong_piece_at_a_quarter_wave():
    """50 in 75 ohm at its worst: VSWR 2.25, return loss 8.299 dB, 0.695 dB (computed)."""
    found = budget(chain_of([element(50, 0.25)], 75, 75, 299_792_458.0))
    assert found.near_return_loss_db[0] == pytest.approx(8.299, abs=6e-4)
    assert found.transducer_loss_db[0] == pytest.approx(0.695, abs=6e-4)


@pytest.mark.parametrize("row", tables.rows("uhf_pair.csv"), ids=tables.label)
def test_uhf_pair_as_a_line_section(row):
    """A pair of UHF connectors, 33.2 ohm and 49 mm: sections cut open, published; return loss computed from them."""
    ohm = row["line_ohm"]
    setup = setup_of([item(coax(ohm)), item(coax(ohm))], ohm, ohm)
    # Two leads of no length that meet in the UHF pair.
    first, second = setup.items
    items = (
        replace(first, far_connector=parse_connector("UHF plug")),
        replace(second, near_connector=parse_connector("UHF jack")),
    )
    found = budget(build(replace(setup, items=items), np.array([row["freq_mhz"] * 1e6])))
    assert found.near_return_loss_db[0] == pytest.approx(row["expected"], abs=row["tolerance"])
    assert [joint.mismatch_loss_db for joint in found.joints] == [0, 0, 0]


@pytest.mark.parametrize("row", tables.rows("adapters_in_line.csv"), ids=tables.label)
def test_adapters_before_a_perfect_end(row):
    """What adapters leave of 40 dB directivity: published, network-analyzer user's guide; sums of limits: computed."""
    vswrs = [float(text) for text in str(row["adapters_vswr"]).split()]
    items = [item(adapter(50, 0.04, limit_db=float(return_loss_db(magnitude_from_vswr(each))))) for each in vswrs]
    residual = {} if row["directivity_db"] == "" else {"directivity_db": row["directivity_db"]}
    found = expect(setup_of(items, 50, 50, **residual), [1.0], draws=1000).rows[0]
    worst = return_loss_db(magnitude_from_vswr(found.bound_high))
    assert worst == pytest.approx(row["expected"], abs=row["tolerance"])


def test_two_mismatches_multiply():
    """Worst case of two VSWRs is their product, 1.2 and 1.2 give 1.44 (computed; a rule of the trade)."""
    setup = setup_of([item(adapter(50, 0.04, limit_db=float(return_loss_db(1 / 11))))], 50, 50)
    assert expect(setup, [1.2], draws=1000).rows[0].bound_high == pytest.approx(1.44, abs=1e-9)


@pytest.mark.parametrize("row", tables.rows("two_mismatches.csv"), ids=tables.label)
def test_mismatched_source_and_load(row):
    """Loss between two mismatched ends over every length of line between them (computed)."""
    freq = np.linspace(1e6, 299_792_458.0, 2000)
    ends = 75 * row["source_vswr"], 75 * row["load_vswr"]
    found = budget(chain_of([element(75, 0.5)], *ends, freq)).transducer_loss_db
    value = found.min() if row["quantity"] == "least" else found.max()
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])
