"""Benches to diagnose: twelve chains of the test's own world, and each as a user states it."""

from dataclasses import replace

import strategies as made
from coverage_world import Adapter, Case, Lead, Pad, Resistors
from diagnosis_world import Bench
from stated_parts import item_of

from chain.setups import Calibration

PORT = {"directivity_db": 40.0, "source_match_db": 36.0, "tracking_db": 0.1}
ACT = {"noise_db": 0.02, "repeatability_db": 50.0, "drift_db": 50.0}
LEAST_DB = 5.7195
FOUR = (("open", 0), ("short", 0), ("load", 0), ("load50", 0))


def good():
    """Parts as sold, calibrated at the analyzer, all four ends."""
    pad, lead = Pad(50, 75, LEAST_DB, 0.2, 26, 26), Lead(75, 0.6, 20, ohm_tolerance=1.5, loss_tolerance=0.12)
    return Bench(Case("good", (207e6,), (Adapter(50, 0.05, 26), pad, lead), 2, PORT, ACT), 0, FOUR)


def cheap():
    """Poor adapters either side, a pad of loosely known loss, UHF."""
    parts = Adapter(50, 0.04, 20, 0.2), Pad(50, 75, 6.0, 0.5, 20, 18), Adapter(75, 0.035, 18, 0.2, 0.01)
    port = PORT | {"directivity_db": 34.0}
    return Bench(Case("cheap", (650e6,), (*parts, Lead(75, 1.0, 16)), 2, port, ACT), 0, FOUR, 26.0, 20.0)


def resistors():
    """A pad of soldered resistors and no 50-ohm load at hand."""
    pad = Resistors(50, 75, (("shunt", 86.6), ("series", 43.3)), 0.02)
    parts = Adapter(50, 0.05, 30), pad, Lead(75, 1.0, 24, ohm_tolerance=1.5)
    return Bench(Case("resistors", (98e6,), parts, 2, PORT, ACT, {"load_h": 1e-9}), 0, FOUR[:3])


def reseated():
    """The load read once more after the near connectors were re-seated."""
    return replace(good(), ends=(*FOUR[:3], ("load", 1)))


def behind():
    """Calibrated behind the pad: only the lead, its joints and the ends are left to be wrong."""
    pad, lead = Pad(50, 75, LEAST_DB, 0.2, 26, 26), Lead(75, 2.0, 22, ohm_tolerance=1.5, loss_tolerance=0.12)
    standards = {"load_db": 36.0, "load_h": 0.5e-9, "open_f": 5e-14, "short_h": 0.2e-9}
    case = Case("behind", (207e6,), (Adapter(50, 0.05, 26), pad, lead), 2, {}, ACT | {"flex_deg": 0.5}, standards)
    return Bench(case, 2, FOUR, 36.0)


def handheld():
    """The same chain on a handheld, whose screen has one decimal."""
    port, act = {"directivity_db": 30.0, "source_match_db": 25.0, "tracking_db": 0.2}, ACT | {"noise_db": 0.05}
    case = replace(good().case, port=port, act=act)
    return replace(good(), case=case, shows="1.7")


def two_readings():
    """Open and load alone, as return losses."""
    return replace(good(), ends=(FOUR[0], FOUR[2]), shows="11.4")


def one_reading():
    """Nothing but the 75-ohm load."""
    return replace(good(), ends=(FOUR[2],))


def padless():
    """A 75-ohm lead straight on a 50-ohm port."""
    lead = Lead(75, 3.0, 20, ohm_tolerance=1.5, loss_tolerance=0.12)
    return Bench(Case("padless", (100e6,), (Adapter(50, 0.05, 26), lead), 1, PORT, ACT), 0, FOUR)


def long_lead():
    """Thirty metres of lead behind the pad, whose length is known to 20 cm."""
    lead = Lead(75, 30.0, 20, ohm_tolerance=1.5, loss_tolerance=0.12, length_tolerance_m=0.2)
    parts = Adapter(50, 0.05, 26), Pad(50, 75, LEAST_DB, 0.2, 26, 26), lead
    return Bench(Case("long", (600e6,), parts, 2, PORT, ACT), 0, FOUR)


def after_adapter():
    """Calibrated with 50-ohm standards after the adapter, the load re-seated."""
    standards = {"load_db": 32.0, "load_h": 0.5e-9, "open_f": 5e-14, "short_h": 0.5e-9}
    case = replace(good().case, port={}, act=ACT | {"flex_deg": 0.5}, standards=standards)
    return Bench(case, 1, (*FOUR[:3], ("load", 1)))


def fine():
    """Selected parts and a bench analyzer: ranges as narrow as they get."""
    parts = Adapter(50, 0.05, 36), Pad(50, 75, LEAST_DB, 0.05, 36, 36), Lead(75, 0.6, 32, loss_tolerance=0.05)
    port = {"directivity_db": 46.0, "source_match_db": 42.0, "tracking_db": 0.05}
    return Bench(Case("fine", (207e6,), parts, 2, port, ACT | {"noise_db": 0.005}), 0, FOUR, 40.0, 36.0)


BENCHES = (
    good,
    cheap,
    resistors,
    reseated,
    behind,
    handheld,
    two_readings,
    one_reading,
    padless,
    long_lead,
    after_adapter,
    fine,
)


def stated(bench):
    """The set-up as a user states it."""
    case, act, standards = bench.case, bench.case.act, bench.case.standards
    near = {"trace_noise_db": act["noise_db"], "repeatability_db": act["repeatability_db"], "drift_db": act["drift_db"]}
    items = [item_of(part) for part in case.parts]
    setup = made.setup_of(
        items, freq_hz=(*case.freq_hz, *case.freq_hz, 1), **near, **(case.port if not bench.cut else {})
    )
    plane = setup.items[bench.cut - 1].id if bench.cut else "near"
    names = "load_h", "open_f", "short_h"
    sizes = [standards.get(name, 0.0) for name in names]
    return replace(
        setup, calibration=Calibration(plane, standards.get("load_db"), None, *sizes, act.get("flex_deg", 0.0))
    )
