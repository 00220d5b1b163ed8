"""Pads, attenuators, matching sections and transformers, all through the budget."""

import itertools

import numpy as np
import pytest
import tables
from strategies import LEAST_LOSS_DB, chain_of, item, ladder, minimum_loss_ohm, pad

from chain import reflection as ratios
from chain.assembly.budget import budget, levels
from chain.rf import twoport
from library.formulas import minimum_loss_db
from library.load import load_library
from library.records import Transformer


def arms_of(text):
    return tuple((kind, float(ohm)) for kind, ohm in (arm.split() for arm in text.split("; ")))


def arms_budget(row):
    """Budget of a row's resistors between its two impedances."""
    # An arm of nothing at all is a direct connection: a vanishing series resistor stands in for it.
    arms = [(kind, max(ohm, 1e-12)) for kind, ohm in arms_of(row["arms"])]
    part = ladder(
        arms,
        row["near_ohm"],
        row["far_ohm"],
        inductance_h=row["inductance_nh"] * 1e-9,
        capacitance_f=row["capacitance_pf"] * 1e-12,
    )
    return budget(chain_of([item(part)], row["near_ohm"], row["far_ohm"], row["freq_mhz"] * 1e6))


def seen(found, looking, end):
    """Reflection at one end of a budget's two-port with the other end as stated, and the reference it is in."""
    s, own, other = found.s[0], found.near_ohm, found.far_ohm
    if looking == "far":
        s, own, other = twoport.flip(s), other, own
    far = {"matched": 0.0, "open": 1.0, "short": -1.0}.get(end)
    if far is None:
        far = ratios.reflection_from_ohm(float(end), other)
    return twoport.input_reflection(s, far), own


@pytest.mark.parametrize("row", tables.rows("pads.csv"), ids=tables.label)
def test_pads_of_resistors(row):
    """Minimum-loss pads right way round and reversed, stock values, parasitics, T and pi tables, ohmmeter values.

    Published: an application note on 75-ohm circuits with 50-ohm equipment (5.7 dB), a printed table of minimum-loss
    pads, a textbook and reprint note on T and pi pads, a glossary of RF terms; the rest computed (source column).
    """
    found = arms_budget(row)
    reflection, own_ohm = seen(found, row["looking"], row["end"])
    value = {
        "loss_db": lambda: found.transducer_loss_db[0],
        "return_loss_db": lambda: ratios.return_loss_db(reflection),
        "vswr": lambda: ratios.vswr(np.abs(reflection)),
        "ohm": lambda: np.abs(own_ohm * (1 + reflection) / (1 - reflection)),
    }[row["quantity"]]()
    if row["end"] == "matched" and row["quantity"] == "return_loss_db":
        assert value == pytest.approx(getattr(found, f"{row['looking']}_return_loss_db")[0])
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


def test_minimum_loss_pad_by_its_closed_form():
    """43.30 and 86.60 ohm, 5.7195 dB: 10 log10(2 + sqrt 3) (computed)."""
    assert minimum_loss_ohm(75, 50) == pytest.approx((43.3013, 86.6025), abs=5e-5)
    assert minimum_loss_db(75, 50) == pytest.approx(10 * np.log10(2 + np.sqrt(3)), abs=1e-12)


@pytest.mark.parametrize("row", tables.rows("pad_shares.csv"), ids=tables.label)
def test_power_in_each_resistor(row):
    """57.7 % of the power heats one resistor, 15.5 % the other, 26.8 % is delivered (computed)."""
    series, shunt = minimum_loss_ohm(75, 50)
    items = [
        item(ladder([("shunt", shunt)], 50, 50), "shunt"),
        item(ladder([("series", series)], 75, 75), "series"),
    ]
    ends = [50, 75]
    if row["driven_ohm"] == 75:
        items, ends = items[::-1], ends[::-1]
    found = budget(chain_of(items, *ends, 1e6))
    shares = {each.id: each.dissipated_share[0] for each in found.items} | {"load": found.delivered_share[0]}
    assert 100 * shares[row["where"]] == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("pad_tolerance.csv"), ids=tables.label)
def test_resistors_at_the_ends_of_their_tolerance(row):
    """Loss and match of the minimum-loss pad with resistors of 0.1 to 5 % (computed)."""
    series, shunt = minimum_loss_ohm(75, 50)
    off = row["tolerance_percent"] / 100
    found = [
        budget(chain_of([item(ladder([("shunt", shunt * a), ("series", series * b)]))], 50, 75, 1e6))
        for a, b in itertools.product((1 - off, 1 + off), repeat=2)
    ]
    losses = [each.transducer_loss_db[0] for each in found]
    value = {
        "least_loss_db": min(losses),
        "most_loss_db": max(losses),
        "worst_return_loss_db": min(min(each.near_return_loss_db[0], each.far_return_loss_db[0]) for each in found),
    }[row["quantity"]]
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("levels.csv"), ids=tables.label)
def test_level_corrections(row):
    """Power 5.72 dB, voltage 7.48 and 3.96 dB, dBm to dBuV 114.47 dB through the pad (computed)."""
    items = [item(pad())] if row["chain"] == "pad" else []
    found = levels(budget(chain_of(items, 50, 75, 1e8)))
    assert found[row["quantity"]][0] == pytest.approx(row["expected"], abs=row["tolerance"])


@pytest.mark.parametrize("row", tables.rows("matching_sections.csv"), ids=tables.label)
def test_band_edges_of_matching_sections(row):
    """Quarter wave, twelfth-wave pair (Electronic Engineering 33, 1961) and four-piece section (mailing list, 2009)."""
    part = load_library().part(row["part"])
    found = budget(chain_of([item(part)], 50, 75, part.design_hz * row["relative_frequency"]))
    assert found.near_return_loss_db[0] == pytest.approx(row["expected"], abs=row["tolerance"])


def test_twelfth_wave_pair():
    """0.0815 wavelength a piece: published, Electronic Engineering 33, 1961. Matched at its design frequency."""
    part = load_library().part("twelfth-wave")
    assert [length for _, length in part.pieces] == pytest.approx([0.0815, 0.0815], abs=5e-5)
    assert [ohm for ohm, _ in part.pieces] == [75, 50]
    found = budget(chain_of([item(part)], 50, 75, part.design_hz))
    assert found.near_return_loss_db[0] > 60


@pytest.mark.parametrize("row", tables.rows("transformers.csv"), ids=tables.label)
def test_transformers(row):
    """Turns of 11:9, 5:4 and 6:5 between 50 and 75 ohm (computed)."""
    model = load_library().part("transformer-11-9")
    part = Transformer(
        "t", "t", model.near_connector, model.far_connector, 50, 75, row["turns_far"] / row["turns_near"], 0, 0, None,
        model.evidence,
    )  # fmt: skip
    found = budget(chain_of([item(part)], 50, 75, 1e8))
    reflection, own_ohm = seen(found, "far", "matched")
    value = found.far_return_loss_db[0]
    if row["quantity"] == "ohm":
        value = np.abs(own_ohm * (1 + reflection) / (1 - reflection))
    assert value == pytest.approx(row["expected"], abs=row["tolerance"])


def test_specified_pad_reads_as_the_resistors_do():
    """A pad by its specification and the ideal resistors are one and the same two-port (computed)."""
    series, shunt = minimum_loss_ohm(75, 50)
    specified = budget(chain_of([item(pad(LEAST_LOSS_DB))], 50, 75, 1e8))
    resistors = budget(chain_of([item(ladder([("shunt", shunt), ("series", series)]))], 50, 75, 1e8))
    np.testing.assert_allclose(specified.s, resistors.s, atol=1e-12)
