"""Whether a set-up fits, the adapter that is missing, and the remarks on arms, frequencies, cables and evidence."""

import json
import subprocess
import sys
from dataclasses import replace

import pytest
import strategies as build

from chain.analyses.checks import check
from chain.assembly.cascade import build as assemble
from chain.assembly.graph import BLOCKING
from chain.errors import FitError
from chain.files.setup_file import load_setup, parse_setup
from chain.setups import with_conductors
from library.load import load_library
from library.mating import parse_connector

LIBRARY = load_library()


def chain(*items, near="N-50 jack", far="F-75 jack", start="174 MHz", stop="230 MHz", more=""):
    """A chain out of tables of items; `more` goes to the far end's table."""
    tables = "".join(f"[[chain]]\n{item}\n" for item in items)
    return parse_setup(
        f"""title = "Invented"
[sweep]
start = "{start}"
stop = "{stop}"
points = 3
[near]
connector = "{near}"
{tables}
[far]
connector = "{far}"
{more}
""".encode()
    )


def lead(part, name="lead", near="F-75 plug", far="F-75 plug", length="1 m"):
    return f'id = "{name}"\npart = "{part}"\nlength = "{length}"\nnear = "{near}"\nfar = "{far}"'


PAD = 'id = "pad"\npart = "min-loss-pad-n-f"'


def remarks(setup, rule):
    """What one check said."""
    return [each for each in check(setup).findings if each.rule == rule]


def test_boathouse_fits_and_its_thin_conductor_is_doubted():
    found = check(load_setup("demo/boathouse.toml"))
    assert found.fits
    assert [each.verdict for each in found.joints] == ["ok", "ok", "ok", "caution"]
    assert not [each for each in found.findings if each.level == "stop"]
    (doubt,) = [each for each in found.findings if each.rule == "joint"]
    assert (doubt.level, doubt.where) == ("caution", "lead/far")


def test_answer_as_plain_values_has_the_agreed_keys_and_is_strict_json():
    setup = load_setup("demo/boathouse.toml")
    found = check(setup).to_dict()
    assert {"schema_version", "title", "warnings", "assumed", "fits", "joints", "cautions"} <= set(found)
    assert {"near", "far", "verdict", "reason"} <= set(found["joints"][0])
    assert found["joints"][0]["near"] == "near"
    assert found["joints"][-1]["far"] == "far"
    assert found["title"] == setup.title
    assert found["assumed"] == list(setup.assumed)
    assert json.loads(json.dumps(found, allow_nan=False)) == found


# N-50 pin into N-75 jack breaks it, the other way there is no contact: published, broadcast magazine column on N connectors.
# Equal genders and foreign families: common knowledge (practice).
@pytest.mark.parametrize(
    ("pad", "far", "verdict", "adapter"),
    [
        ("min-loss-pad-n", "N-50 plug", "destructive", None),
        ("min-loss-pad-n-f", "F-75 plug", "ok", None),
        ("min-loss-pad-n-f", "F-75 jack", "no-mate", "f-plug-f-plug"),
        ("min-loss-pad-n-f", "IEC-75 plug", "no-mate", "f-plug-iec-jack"),
        ("min-loss-pad-n-bnc", "F-75 jack", "no-mate", "bnc75-plug-f-plug"),
    ],
)
def test_missing_adapter_is_named(pad, far, verdict, adapter):
    found = check(chain(f'id = "pad"\npart = "{pad}"', far=far))
    last = found.joints[-1]
    assert last.verdict == verdict
    assert found.fits is (verdict == "ok")
    assert bool([each for each in found.findings if each.level == "stop"]) is (verdict != "ok")
    if adapter:
        assert adapter in last.missing
        (stop,) = [each for each in found.findings if each.rule == "joint"]
        assert (stop.level, stop.where) == ("stop", "pad/far")
        assert adapter in stop.remedy


@pytest.mark.parametrize(
    ("near", "far"), [("F-75 jack", "IEC-75 plug"), ("N-75 jack", "BNC-75 plug"), ("BNC-75 jack", "IEC-75 jack")]
)
def test_adapter_that_is_named_does_join_the_two(near, far):
    """Put in, either way round, it makes the set-up fit."""
    broken = replace(chain(PAD, far=far, near=near), items=())
    (name, *_) = check(broken).joints[0].missing
    mended = (
        chain(f'id = "new"\npart = "{name}"\nreversed = {turned}', far=far, near=near) for turned in ("false", "true")
    )
    assert not check(broken).fits
    assert any(check(each).fits for each in mended)


def test_ends_that_fit_name_no_adapter():
    for each in check(load_setup("demo/boathouse.toml")).joints:
        assert each.missing == ()
        assert each.verdict not in BLOCKING


def test_joints_in_the_arm_of_a_splitter_count():
    split = 'id = "split"\npart = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\nend = [{arm}]'
    good, bad = (
        check(chain(PAD, lead("rg6"), split.format(arm=f'{{id = "end", part = "{load}"}}'), lead("rg6", "tail")))
        for load in ("load-f-plug", "load-f-jack")
    )
    assert good.fits
    assert not bad.fits
    assert (bad.joints[-1].near, bad.joints[-1].far, bad.joints[-1].verdict) == ("split.out2", "end", "no-mate")


# What an F jack takes: 0.64 mm (published, SCTE 146) to about 1.05 mm (memory); stranded unsuitable (published, encyclopaedia
# article on the F connector); RG-59 doubtful after RG-6 (published, mailing list 2005).
@pytest.mark.parametrize(
    ("cable", "verdict"),
    [("rg6", "ok"), ("rg59", "caution"), ("series11", "destructive"), ("rg6-stranded", "no-contact")],
)
def test_conductor_of_the_cable_decides_about_its_f_plug(cable, verdict):
    found = check(chain(PAD, lead(cable), start="300 MHz", stop="400 MHz"))
    assert [each.verdict for each in found.joints[1:]] == [verdict, verdict]
    if verdict in BLOCKING:
        remedy = next(each for each in found.findings if each.level == "stop").remedy
        assert "pin type" in remedy
        # Every other command stops there, with the same remedy.
        with pytest.raises(FitError, match="pin of its own, and state it as F-75 plug"):
            assemble(chain(PAD, lead(cable), start="300 MHz", stop="400 MHz"))


def test_plug_with_a_pin_of_its_own_is_left_alone():
    pin = "F-75 plug (pin type)"
    setup = chain(PAD, lead("series11", near=pin, far=pin))
    assert check(setup).fits
    assert with_conductors(setup) == setup


def test_conductors_are_reported_once():
    setup = with_conductors(chain(PAD, lead("series11")))
    assert with_conductors(setup) == setup


SPLIT = 'id = "split"\npart = "splitter-2"\npath = ["in", "out1"]'


@pytest.mark.parametrize(
    ("end", "fires"), [('"open"', True), ('"75 ohm"', False), ('[{id = "end", part = "load-f-plug"}]', False)]
)
def test_open_arm_of_a_splitter(end, fires):
    arm = f'{SPLIT}\n[[chain.arm]]\nport = "out2"\nend = {end}'
    found = remarks(chain(PAD, lead("rg6"), arm, lead("rg6", "tail")), "open-arm")
    assert [(each.level, each.where) for each in found] == ([("caution", "split.out2")] if fires else [])


def test_port_of_which_nothing_is_said():
    setup = chain(PAD, lead("rg6"), f'{SPLIT}\n[[chain.arm]]\nport = "out2"\nend = "open"', lead("rg6", "tail"))
    split = replace(setup.items[2], arms=())
    (found,) = remarks(replace(setup, items=(*setup.items[:2], split, setup.items[3])), "open-arm")
    assert "75 ohm" in found.text


# UHF is usual to 300 MHz: published range of the family (IEC 60169-12, unmatched).
@pytest.mark.parametrize(("stop", "fires"), [("300 MHz", False), ("301 MHz", True)])
def test_connector_above_its_usual_frequency(stop, fires):
    found = remarks(
        chain(lead("rg213", near="UHF plug", far="UHF plug"), near="UHF jack", far="UHF jack", stop=stop), "frequency"
    )
    assert [each.where for each in found] == (["near/lead, lead/far"] if fires else [])


@pytest.mark.parametrize(("stop_hz", "fires"), [(4e9, False), (4.1e9, True)])
def test_part_above_its_usual_frequency(stop_hz, fires):
    setup = build.setup_of([build.item(build.adapter(50.0), "adapter")], freq_hz=(1e9, stop_hz, 3))
    found = [each for each in remarks(setup, "frequency") if each.where == "adapter 0"]
    assert bool(found) is fires


def test_transformer_below_its_lowest_frequency():
    part = LIBRARY.part("transformer-50-75")
    setup = build.setup_of([build.item(part, "transformer")], freq_hz=(1e6, 2e8, 3))
    (found,) = remarks(setup, "frequency")
    assert "5 to 862 MHz" in found.text


@pytest.mark.parametrize(("cable", "fires"), [("series6", True), ("rg6", False)])
def test_cable_whose_loss_is_a_maximum(cable, fires):
    assert [each.where for each in remarks(chain(PAD, lead(cable)), "maximum")] == (["lead"] if fires else [])


def test_parts_known_from_memory_are_named_and_others_are_not():
    (found,) = remarks(chain(PAD, lead("rg6")), "evidence")
    assert (found.level, found.where) == ("note", "pad")
    computed = 'id = "pad"\npart = "min-loss-pad-resistors-n-f"'
    assert remarks(chain(computed, lead("rg6")), "evidence") == []


def test_standing_cautions_are_always_there_and_come_after_what_is_particular():
    for more in ('dc_feed = "0 V"', 'dc_feed = "12 V"', ""):
        found = check(chain(PAD, lead("rg6"), more=more)).findings
        texts = " ".join(f"{each.text} {each.remedy}" for each in found if each.level != "note")
        for word in (
            "static",
            "power line",
            "mains",
            "meter",
            "local codes",
            "licensed electrician",
            "licensed rigger",
        ):
            assert word in texts
        cautions = [each.rule == "safety" for each in found if each.level == "caution"]
        assert cautions == sorted(cautions)


def test_stops_come_first_and_notes_last():
    levels = [each.level for each in check(chain(PAD, lead("rg59"), far="F-75 plug")).findings]
    assert levels == sorted(levels, key=("stop", "caution", "note").index)
    assert levels[0] == "stop"
    assert levels[-1] == "note"


def test_every_remark_about_a_place_names_one_that_exists():
    setup = chain(PAD, lead("rg58", far="BNC-50 plug"), far="F-75 plug", more='dc_feed = "18 V"')
    found = check(setup)
    places = {"near", "far", *(item.id for item in setup.items), *(f"{each.near}/{each.far}" for each in found.joints)}
    for each in found.findings:
        assert set(each.where.split(", ")) <= places | {""}


def test_a_users_own_families_are_judged_by_the_library_that_is_given(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text(
        '[[mating]]\npairs = [["F-75 plug", "F-75 jack"]]\nverdict = "no-mate"\nreason = "A rule of my own."\n'
        'evidence = "practice"\nsource = "made up"\n',
        encoding="utf-8",
    )
    setup = chain(PAD, lead("rg6"))
    assert check(setup).fits
    found = check(setup, load_library([own]))
    assert not found.fits
    assert found.joints[-1].reason == "A rule of my own."


def test_bare_chain_without_items():
    found = check(replace(chain(PAD), items=()))
    assert [(each.near, each.far, each.verdict) for each in found.joints] == [("near", "far", "no-mate")]


def test_graph_library_is_imported_by_the_check_alone():
    code = "import sys, chain.assembly.cascade, chain.assembly.budget, chain.files.setup_file; print('networkx' in sys.modules)"
    reported = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert reported.strip() == "False"


def test_connector_names_are_given_as_written_in_a_set_up():
    for each in check(chain(PAD, lead("rg59"))).joints:
        assert str(parse_connector(each.near_connector)) == each.near_connector
