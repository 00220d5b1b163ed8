"""The loader: what it finds, what it says when it does not, and a user's own part files."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from library.errors import LibraryError, near_names
from library.files.ownfile import defects_of, read_rows
from library.files.schema import library_schema
from library.load import load_library
from library.records import Adapter, Coax, Pad, Termination
from library.search import find

OWN = """
[[pad]]
id = "my-pad"
near = "BNC-50 jack"
far = "F-75 jack"
near_ohm = 50
far_ohm = 75
arms = [["shunt", 82], ["series", 43]]
arm_tolerance_percent = 5

[[coax]]
id = "rg59"
impedance_ohm = 75
velocity_factor = 0.81
points_mhz = [50, 200, 862]
points_db_per_100m = [5.4, 11.0, 24.0]
valid_from_mhz = 50
valid_to_mhz = 862
evidence = "measured"
source = "own sweep"
"""


@pytest.fixture
def own_file(tmp_path):
    def write(text, name="own.toml"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return write


def defects(path):
    with pytest.raises(LibraryError) as caught:
        load_library([path])
    return dict(caught.value.defects)


@pytest.mark.parametrize(
    ("asked", "near"),
    [
        ("rgg59", "rg59"),
        ("min-los-pad", "min-loss-pad"),
        ("bnc-plug-n-plug", "n-plug-bnc-plug"),
        ("bnc-plug-n-plug-precision", "n-plug-bnc-plug-precision"),
        ("spliter-2", "splitter-2"),
    ],
)
def test_unknown_part_names_near_ones(asked, near):
    with pytest.raises(LibraryError, match="no part") as caught:
        load_library().part(asked)
    assert caught.value.near[0] == near
    assert near in str(caught.value)


def test_unknown_part_without_near_ones():
    with pytest.raises(LibraryError) as caught:
        load_library().part("zzzzzzzzzzzz")
    assert caught.value.near == ()


@pytest.mark.parametrize("name", ["", '"', "\n", "[[coax]]", 'rg59"\nname = "x'])
def test_odd_ids_are_only_unknown(name):
    with pytest.raises(LibraryError):
        load_library().part(name)


def test_parts_are_made_once():
    library = load_library()
    assert library.part("rg6") is library.part("rg6")
    assert load_library() is library


def test_find_wants_every_word():
    hits = find(load_library(), "F-75 jack load precision")
    assert hits
    assert all(isinstance(part, Termination) and part.connector.family == "F-75" for part in hits)
    assert find(load_library(), "F-75 rg59") == ()
    assert [part.id for part in find(load_library(), ["RG213"])] == ["rg213"]


def test_own_parts_go_before_built_in(own_file):
    library = load_library([own_file(OWN)])
    pad, lead = library.part("my-pad"), library.part("rg59")
    assert isinstance(pad, Pad)
    assert isinstance(lead, Coax)
    assert (pad.model, pad.arm_tolerance, pad.name) == ("resistors", 0.05, "my-pad")
    assert pad.loss_db == pytest.approx(5.842, abs=1e-3)
    assert (pad.evidence.kind, pad.evidence.source) == ("stated", "own.toml")
    assert (lead.velocity_factor, lead.points_hz, lead.limit) == (0.81, (50e6, 200e6, 862e6), None)
    assert lead.evidence.kind == "measured"
    assert library.ids()[:2] == ("my-pad", "rg59")
    assert library.ids().count("rg59") == 1
    assert load_library().part("rg59") != lead


def test_later_file_goes_before_earlier(own_file):
    later = OWN.replace("0.81", "0.83")
    library = load_library([own_file(OWN), own_file(later, "later.toml")])
    lead = library.part("rg59")
    assert isinstance(lead, Coax)
    assert lead.velocity_factor == 0.83


def test_own_family_rule_and_sets(own_file):
    text = """
    [[family]]
    id = "7-16-50"
    name = "7/16"
    standard = "IEC 61169-4"
    impedance_ohm = 50
    max_mhz = 7500
    [[mating]]
    pairs = [["7-16-50 plug", "N-50 jack"]]
    verdict = "no-mate"
    reason = "far too large"
    [[grade]]
    id = "shop"
    reflection = {return_loss_db = 25}
    loss_at_1ghz_db = 0.1
    max_mhz = 3000
    [[adapter_set]]
    near = "7-16-50"
    far = "N-50"
    grades = ["shop"]
    max_mhz = 3000
    length_mm = [40, 60]
    length_evidence = "stated"
    length_source = "ruler"
    """
    library = load_library([own_file(text)])
    part = library.part("716-plug-n-jack")
    assert isinstance(part, Adapter)
    assert part.electrical_length_m == 0.05
    assert part.near_connector.family == "7-16-50"
    assert library.rules[0].reason == "far too large"
    assert library.family("7-16-50").max_hz == 7.5e9
    assert next(iter(library.families)) == "N-50"


BROKEN = """
[[pad]]
id = "my pad"
near = "BNC-50 jack"
far = "F75 jack"
near_ohm = 50
far_ohm = "75 ohm"
loss_dB = 5.8
near_reflection = {return_loss_db = 24, points_mhz_db = [[1, 2]]}
[[coax]]
id = "c"
impedance_ohm = 75
velocity_factor = 1.2
valid_from_mhz = 1
valid_to_mhz = inf
[[termination]]
id = "t"
connector = "F-75 plug"
tpe = "open"
[[termination]]
id = "t"
connector = "F-75 plug (pushon)"
type = "load"
impedance_ohm = 75
[[lamp]]
id = "x"
"""


def test_all_faults_of_a_file_at_once(own_file):
    found = defects(own_file(BROKEN))
    assert set(found) == {
        ("pad", 0, "id"),
        ("pad", 0, "far"),
        ("pad", 0, "far_ohm"),
        ("pad", 0, "loss_dB"),
        ("pad", 0, "near_reflection"),
        ("coax", 0, "velocity_factor"),
        ("coax", 0, "valid_to_mhz"),
        ("termination", 0, "tpe"),
        ("termination", 1, "id"),
        ("termination", 1, "connector"),
        ("lamp",),
    }
    assert "F-75 jack" in found["pad", 0, "far"]
    assert "loss_db" in found["pad", 0, "loss_dB"]
    assert "bare number" in found["pad", 0, "far_ohm"]
    assert "finite" in found["coax", 0, "valid_to_mhz"]
    assert "'type'" in found["termination", 0, "tpe"]
    assert "twice" in found["termination", 1, "id"]
    assert "push-on" in found["termination", 1, "connector"]
    assert "termination" in found["lamp",]


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("x = ", "Invalid value"),
        (b"\xff\xfe", "not UTF-8 at byte 0"),
        ("a = " + "[" * 60 + "]" * 60, "50 levels"),
        ("#" * 1_000_001, "larger than 1 MB"),
        (
            '[[pad]]\nid = "x"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"\nnear_ohm = 50\nfar_ohm = 75',
            "loss_db or arms",
        ),
    ],
)
def test_file_that_cannot_be_used(own_file, content, said):
    path = own_file(content)
    with pytest.raises(LibraryError, match=said) as caught:
        load_library([path])
    assert caught.value.source == str(path)


def test_missing_file_and_folder(tmp_path):
    for path, said in (
        (tmp_path / "none.toml", "cannot be read"),
        (tmp_path, "not a plain file"),
    ):
        with pytest.raises(LibraryError, match=said):
            load_library([path])


def test_byte_order_mark_is_left_out(own_file):
    assert load_library([own_file(b"\xef\xbb\xbf" + OWN.encode())]).part("my-pad")


values = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 5) | st.floats() | st.text(max_size=8) | st.just("F-75 plug"),
    lambda inner: (
        st.lists(inner, max_size=3)
        | st.dictionaries(
            st.sampled_from(["id", "near", "type", "pairs", "grades", "families", "x"]), inner, max_size=4
        )
    ),
    max_leaves=12,
)


@given(st.dictionaries(st.sampled_from(["pad", "coax", "adapter_set", "mating", "family", "termination", "x"]), values))
def test_any_document_gives_faults_or_none(document):
    for path, message in defects_of(document):
        assert isinstance(path, tuple)
        assert message


@given(st.binary(max_size=200))
def test_any_bytes_give_rows_or_our_error(tmp_path_factory, content):
    path = tmp_path_factory.mktemp("any") / "own.toml"
    path.write_bytes(content)
    try:
        said = str(read_rows(path) and path)
    except LibraryError as fault:
        said = str(fault)
    assert str(path) in said


def test_near_names_fold_case():
    assert near_names("ABC", ["abd", "xyz"]) == ("abd",)


def test_json_schema_describes_the_tables():
    text = json.dumps(library_schema())
    assert "velocity_factor" in text
    assert "electrical_length_mm" in text


def test_light_start():
    """A part is found without numpy, pydantic or any other heavy package."""
    code = (
        "import sys; from library.load import load_library; load_library().part('rg59');"
        "print(sorted({'numpy', 'pydantic', 'difflib', 'fractions', 'library.files.expand'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
