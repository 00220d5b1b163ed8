"""The built-in data files: their shape, their sources, and what must hold of every part."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

import library
from library.files import schema
from library.files.expand import adapter_rows, termination_rows
from library.files.ownfile import defects_of, read_rows
from library.files.rows import KINDS, columns, limit_of
from library.files.store import PART_FILES, block, document, ids_in, text_of
from library.formulas import limit_return_loss_db, span_hz
from library.load import load_library
from library.mating import VERDICTS, mate, parse_connector
from library.records import Adapter, Coax, Connector, Limit, Pad, Part, SectionLine, Splitter, Termination, Transformer

DATA = Path(library.__file__).parent / "data"
FILES = sorted(path.name for path in DATA.glob("*.toml"))
LIBRARY = load_library()
ALL = [LIBRARY.part(name) for name in LIBRARY.ids()]
STANDING = ("published", "computed", "practice", "memory")


@pytest.mark.parametrize("file", FILES)
def test_file_is_sound(file):
    assert defects_of(document(file)) == ()
    assert read_rows(DATA / file, tuple(document("families.toml")["family"]))


@pytest.mark.parametrize("file", FILES)
def test_every_row_says_where_it_comes_from(file):
    rows = [row for rows in document(file).values() for row in rows]
    assert rows
    for row in rows:
        if "length_evidence" in row:
            assert row["length_evidence"] in STANDING
            assert row["length_source"]
        if "evidence" in row or "length_evidence" not in row:
            assert row["evidence"] in STANDING, row
            assert row["source"], row


def test_every_part_says_where_it_comes_from():
    for part in ALL:
        assert part.evidence.kind in STANDING, part.id
        assert part.evidence.source, part.id
        if isinstance(part, Coax):
            assert part.static_evidence.kind in STANDING, part.id
            assert part.static_evidence.source, part.id
            assert part.lead_evidence is not None, part.id
            assert part.lead_evidence.source, part.id


@pytest.mark.parametrize("file", [file for file in FILES if file != "mating.toml"])
def test_block_by_block_equals_the_whole(file):
    rows = {row["id"]: (kind, row) for kind, rows in document(file).items() for row in rows if "id" in row}
    assert tuple(rows) == ids_in(file)
    for name, expected in rows.items():
        assert block(file, name) == expected


def test_ids_are_used_once():
    ids = [
        row["id"]
        for file in PART_FILES
        if "sets" not in file
        for rows in document(file).values()
        for row in rows
        if "id" in row
    ]
    ids += [*adapter_rows(document("adapters.toml")), *termination_rows(document("terminations.toml"))]
    grades = {grade["id"] for grade in document("adapters.toml")["grade"]}
    assert len([name for name in ids if name not in grades]) == len(set(ids) - grades) == len(LIBRARY.ids())


def test_no_adapter_set_writes_over_another():
    sets = document("adapters.toml")["adapter_set"]
    alone = [
        name
        for each in sets
        for name in adapter_rows({"grade": document("adapters.toml")["grade"], "adapter_set": [each]})
    ]
    assert len(alone) == len(set(alone))


MODELS = {kind: model for kind, model in schema.ROWS.items() if kind in KINDS}
BESIDE = {
    "evidence",
    "evidence_of",
    "source",
    "note",
    "static_evidence",
    "static_source",
    "lead_evidence",
    "lead_source",
    "subsets",
}


@pytest.mark.parametrize("kind", MODELS)
def test_schema_and_mapping_have_the_same_keys(kind):
    assert set(MODELS[kind].model_fields) - BESIDE == set(columns(kind))


def test_every_schema_key_of_a_part_is_described():
    for kind in ("pad", "coax", "section", "transformer", "splitter", "adapter"):
        for key, field in MODELS[kind].model_fields.items():
            assert field.description or key in ("name", "capacitance_pf_per_m", *BESIDE), (kind, key)


def connectors_of(part: Part) -> list[Connector]:
    if isinstance(part, Splitter):
        return list(part.connectors)
    if isinstance(part, Termination):
        return [part.connector]
    return [] if isinstance(part, Coax) else [part.near_connector, part.far_connector]


def test_connectors_are_known_and_fit_the_impedance():
    for part in ALL:
        for connector in connectors_of(part):
            assert parse_connector(str(connector)) == connector, part.id
        if isinstance(part, (Pad, SectionLine, Transformer, Adapter)):
            for connector, ohm in ((part.near_connector, part.near_ohm), (part.far_connector, part.far_ohm)):
                assert LIBRARY.family(connector.family).impedance_ohm in (0, ohm), part.id


def test_adapters_mate_sensibly():
    """Each end has a counterpart it mates with soundly, and the id says which ends they are."""
    for name in LIBRARY.ids("adapter"):
        part = LIBRARY.part(name)
        assert isinstance(part, Adapter)
        for connector in (part.near_connector, part.far_connector):
            counterpart = Connector(connector.family, "jack" if connector.gender == "plug" else "plug")
            assert mate(connector, counterpart).verdict in ("ok", "costed"), name
            assert connector.gender in name.split("-") or part.dc == "block", name
        assert 0 <= part.length_tolerance_m <= part.electrical_length_m, name
        assert part.near_ohm in (50, 75, 0), name
        if part.near_ohm and part.far_ohm and part.near_ohm != part.far_ohm:
            assert "Matches nothing" in part.evidence.note, name


def test_better_grades_are_better():
    for name in LIBRARY.ids("adapter"):
        for worse in (f"{name}-economy",):
            if worse in LIBRARY.ids("adapter"):
                good, bad = LIBRARY.part(name), LIBRARY.part(worse)
                assert isinstance(good, Adapter)
                assert isinstance(bad, Adapter)
                assert good.limit is not None
                assert bad.limit is not None
                assert good.loss_at_1ghz_db < bad.loss_at_1ghz_db
                for hertz in (1e8, 5e8, 9e8):
                    assert limit_return_loss_db(good.limit, hertz) > limit_return_loss_db(bad.limit, hertz)


@pytest.mark.parametrize("name", LIBRARY.ids("splitter"))
def test_splitters_are_passive(name):
    """No port gives out more than comes in: the greatest singular value of the nominal matrix is at most 1."""
    part = LIBRARY.part(name)
    assert isinstance(part, Splitter)
    s = np.zeros((len(part.ports), len(part.ports)))
    for first, second, loss_db in part.loss_db:
        i, j = part.ports.index(first), part.ports.index(second)
        s[i, j] = s[j, i] = 10 ** (-loss_db / 20)
    assert np.linalg.svd(s, compute_uv=False)[0] <= 1 + 1e-5


def test_figures_are_physical():
    for part in ALL:
        low, high = span_hz(part)
        assert 0 <= low < high, part.id
        for limit in (getattr(part, key, None) for key in ("limit", "near_limit", "far_limit")):
            if limit is not None:
                assert all(loss > 0 for loss in limit.return_loss_db), part.id
                assert list(limit.freq_hz) == sorted(limit.freq_hz), part.id


# What set-up files of any build of this tool rely on.
def test_agreed_pad():
    part = LIBRARY.part("min-loss-pad")
    assert isinstance(part, Pad)
    assert (str(part.near_connector), str(part.far_connector)) == ("BNC-50 jack", "BNC-75 jack")
    assert (part.near_ohm, part.far_ohm, part.loss_tolerance_db, part.model) == (50, 75, 0.2, "specification")
    assert part.near_limit == part.far_limit == Limit((0.0,), (26.0,))


def test_agreed_adapter():
    part = LIBRARY.part("n-plug-bnc-plug")
    assert isinstance(part, Adapter)
    assert (str(part.near_connector), str(part.far_connector)) == ("N-50 plug", "BNC-50 plug")
    assert (part.impedance_ohm, part.electrical_length_m, part.loss_at_1ghz_db) == (50, 0.05, 0.05)
    assert part.limit == Limit((0.0,), (26.0,))


def test_agreed_lead():
    part = LIBRARY.part("rg59")
    assert isinstance(part, Coax)
    assert (part.flat_db_per_100m, part.per_sqrt_mhz_db_per_100m, part.per_mhz_db_per_100m) == (0.0665, 1.035, 0.00725)
    assert (part.impedance_ohm, part.impedance_tolerance_ohm, part.velocity_factor) == (75, 3, 0.66)
    assert part.limit == Limit((0.0,), (20.0,))


def test_enough_of_everything():
    """Counts that the library is promised to have: cables of 50, 75 and 93 ohm, grades, values of attenuators."""
    cables = [part for part in ALL if isinstance(part, Coax)]
    assert len(cables) >= 25
    assert {50, 75, 93} <= {cable.impedance_ohm for cable in cables}
    assert {part.grade for part in ALL if isinstance(part, Adapter)} == {"economy", "general", "precision", "metrology"}
    for loss in (3, 6, 10, 20):
        for ohm in (50, 75):
            assert {f"tee-{loss}db-{ohm}", f"pi-{loss}db-{ohm}"} <= set(LIBRARY.ids("pad"))
    families = {connector.family for part in ALL for connector in connectors_of(part)}
    wanted = "N-50 N-75 BNC-50 BNC-75 TNC-50 SMA-50 F-75 IEC-75 UHF MCX-50 MCX-75 SMB-50 SMB-75"
    assert set(wanted.split()) <= families <= set(LIBRARY.families)


@pytest.mark.parametrize(
    ("vswr", "slope", "top"), [(1.02, 0.69, 862), (1.1, 0.04, 4000), (1.2, 0.08, 3000), (1.05, 0.17, 1000)]
)
def test_sampled_vswr_form_keeps_to_the_form(vswr, slope, top):
    """Straight lines between the samples stay within 0.1 dB of RL = -20 log10((s - 1)/(s + 1))."""
    limit = limit_of({"vswr": vswr, "vswr_per_ghz": slope, "to_mhz": top})
    for mhz in np.linspace(0, top, 400):
        s = vswr + slope * mhz / 1e3
        assert limit_return_loss_db(limit, mhz * 1e6) == pytest.approx(-20 * np.log10((s - 1) / (s + 1)), abs=0.1)


def test_general_grade_covers_a_measured_chain():
    """Open measurement data of 2012: VSWR of one adapter of a good chain, an upper envelope to each frequency [MHz]."""
    part = LIBRARY.part("sma-plug-bnc-jack")
    assert isinstance(part, Adapter)
    assert part.limit is not None
    for mhz, vswr in (
        (100, 1.007),
        (200, 1.022),
        (300, 1.031),
        (500, 1.059),
        (862, 1.067),
        (1000, 1.125),
        (1300, 1.142),
    ):
        assert limit_return_loss_db(part.limit, mhz * 1e6) <= -20 * np.log10((vswr - 1) / (vswr + 1))


def test_bands_step_down_at_their_edge():
    limit = limit_of({"bands_mhz_db": [[0, 300, 30], [300, 1000, 22]]})
    assert [limit_return_loss_db(limit, mhz * 1e6) for mhz in (0, 299, 300, 301, 2000)] == [30, 30, 30, 22, 22]


def test_data_hold_no_machine_or_person():
    for file in FILES:
        text = text_of(file)
        assert "/home" not in text
        assert "http" not in text


def test_verdicts_are_the_six():
    assert {rule.verdict for rule in LIBRARY.rules} <= set(VERDICTS)
    assert len(VERDICTS) == len({*VERDICTS}) == 6


def test_raster_numbers_are_exact():
    for raster in LIBRARY.rasters:
        for text in (raster.a, raster.b, raster.c, raster.width_mhz, *(centre for _, centre in raster.extra)):
            assert isinstance(text, str)
            assert Fraction(text) >= 0
