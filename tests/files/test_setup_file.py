"""Sound set-up files: what becomes of each key, what is assumed, and what changes nothing."""

import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from chain.assembly.cascade import build
from chain.calls.setup_checked import checked
from chain.files.setup_file import load_setup, parse_setup
from library.load import load_library
from library.records import Limit

DEMO = Path(__file__).parent.parent.parent / "demo" / "boathouse.toml"
ENDS = """
[near]
connector = "N-50 jack"
[far]
connector = "F-75 jack"
[sweep]
start = "174 MHz"
stop = "240 MHz"
"""
LEAD = 'part = "rg59"\nlength = "0.6 m"\nnear = "BNC-75 plug"\nfar = "F-75 plug"\n'


def one(keys, tail=""):
    """The only item of a set-up, from the lines of its table."""
    return parse_setup(f'{ENDS}[[chain]]\nid = "x"\n{keys}\n{tail}'.encode()).items[0]


def test_the_demo_is_read_as_it_stands():
    setup = load_setup(DEMO)
    assert (setup.sweep.start_hz, setup.sweep.stop_hz, setup.sweep.points) == (174e6, 240e6, 133)
    assert [item.id for item in setup.items] == ["adapter", "pad", "lead"]
    assert setup.items[2].length_m == 0.6
    far = setup.items[2].far_connector
    assert (far.family, far.gender, far.variant) == ("F-75", "plug", "RG-59 conductor")
    assert (setup.near.impedance_ohm, setup.near.directivity_db, setup.near.max_power_dbm) == (50.0, 40.0, 20.0)
    assert (setup.far.impedance_ohm, setup.far.limit_vswr, setup.far.dc_feed_v) == (75.0, 2.0, 0.0)
    assert (setup.calibration.plane, setup.calibration.load_db) == ("near", 32.0)
    assert setup.warnings == ()


def test_library_figures_of_the_demo_are_the_agreed_ones():
    adapter, pad, lead = (item.part for item in load_setup(DEMO).items)
    assert pad.loss_db == pytest.approx(5.7195, abs=5e-5)
    assert pad.loss_tolerance_db == 0.2
    assert pad.near_limit.return_loss_db == pad.far_limit.return_loss_db == (26.0,)
    assert (adapter.impedance_ohm, adapter.electrical_length_m, adapter.loss_at_1ghz_db) == (50.0, 0.05, 0.05)
    assert adapter.limit.return_loss_db == (26.0,)
    assert lead.limit.return_loss_db == (20.0,)


def test_every_library_figure_and_default_in_use_is_reported():
    setup = parse_setup(f'{ENDS}[[chain]]\nid = "lead"\n{LEAD}[[chain]]\nid = "pad"\npart = "min-loss-pad"'.encode())
    reported = "\n".join(setup.assumed)
    for words in (
        "pad: loss 5.719 dB (library, evidence computed)",
        "pad: loss_tolerance 0.2 dB, reflection 26 dB at each end (library, evidence memory)",
        "lead: impedance 75 ohm, impedance_tolerance 3 ohm, velocity_factor 0.66, attenuation ",
        "attenuation_tolerance 12 %, reflection 20 dB at each end of the lead (library, evidence practice)",
        "lead: temperature 20 °C (default)",
        "near: impedance 50 ohm (default)",
        "near: analyzer handheld (not stated)",
        "near: shows complex (default)",
        "near: directivity 30 dB, source_match 25 dB, tracking 0.2 dB, trace_noise 0.05 dB, repeatability 50 dB, drift 50 dB "
        "(typical of a handheld analyzer, evidence practice)",
        "near: max_power, max_dc not judged (not stated)",
        "far: impedance 75 ohm (default)",
        "far: no limit to judge by (limit not stated)",
        "far: no DC on the lead (dc_feed not stated)",
        "calibration: plane near (default)",
        "calibration: load 20 dB, load_inductance 0.5 nH, open_capacitance 0.05 pF, short_inductance 0.5 nH, flex 0.5 deg at "
        "1 GHz of a moved lead (typical with a handheld analyzer, evidence practice)",
        "sweep: points 201 (default)",
    ):
        assert words in reported


def test_what_is_stated_is_not_reported_as_assumed():
    item = one(f'{LEAD}impedance = "73 ohm"\ntemperature = "0 °C"\nreflection = "VSWR 1.1"')
    assert set(item.stated) == {"impedance", "temperature", "reflection"}
    text = f'{ENDS}[[chain]]\nid = "x"\n{LEAD}impedance = "73 ohm"\ntemperature = "0 °C"\nreflection = "VSWR 1.1"'
    reported = "\n".join(parse_setup(text.encode()).assumed)
    assert "x: impedance_tolerance 3 ohm" in reported
    assert "x: temperature" not in reported
    assert "x: reflection" not in reported


@pytest.mark.parametrize(
    ("keys", "field", "value"),
    [
        ('part = "min-loss-pad"\nloss = "5.8 dB"', "loss_db", 5.8),
        ('part = "min-loss-pad"\nloss_tolerance = "0.1 dB"', "loss_tolerance_db", 0.1),
        ('part = "min-loss-pad"\nreflection = "30 dB"', "near_limit", Limit((0.0,), (30.0,))),
        ('part = "min-loss-pad"\nreflection = "30 dB"', "far_limit", Limit((0.0,), (30.0,))),
        ('part = "min-loss-pad"\nfar_reflection = "30 dB"', "far_limit", Limit((0.0,), (30.0,))),
        ('part = "min-loss-pad"\nfar_reflection = "30 dB"', "near_limit", Limit((0.0,), (26.0,))),
        (
            'part = "min-loss-pad"\nreflection = "20 dB"\nnear_reflection = "30 dB"',
            "near_limit",
            Limit((0.0,), (30.0,)),
        ),
        (
            'part = "min-loss-pad"\nreflection = [["174 MHz", "26 dB"], ["862 MHz", "23 dB"]]',
            "near_limit",
            Limit((174e6, 862e6), (26.0, 23.0)),
        ),
        (
            'part = "min-loss-pad"\nreflection = { magnitude = "26 dB", known = "ring" }',
            "far_limit",
            Limit((0.0,), (26.0,), "ring"),
        ),
        ('part = "min-loss-pad"\nseries = "43 ohm"\nshunt = "86 ohm"', "arms", (("shunt", 86.0), ("series", 43.0))),
        ('part = "min-loss-pad"\nseries = "43 ohm"', "model", "resistors"),
        ('part = "min-loss-pad-43-82"\nshunt = "91 ohm"', "arms", (("shunt", 91.0), ("series", 43.0))),
        ('part = "min-loss-pad-43-82"\nresistor_tolerance = "5 %"', "arm_tolerance", 0.05),
        ('part = "min-loss-pad-43-82"\nloss = "5.7 dB"', "model", "specification"),
        ('part = "n-plug-bnc-plug"\nimpedance = "51 ohm"', "impedance_ohm", 51.0),
        ('part = "n-plug-bnc-plug"\nelectrical_length = "38 mm"', "electrical_length_m", 0.038),
        ('part = "n-plug-bnc-plug"\nlength_tolerance = "2 mm"', "length_tolerance_m", 0.002),
        ('part = "n-plug-bnc-plug"\nloss_at_1ghz = "0.1 dB"', "loss_at_1ghz_db", 0.1),
        ('part = "n-plug-bnc-plug"\nreflection = "20 dB"', "limit", Limit((0.0,), (20.0,))),
        (f'{LEAD}impedance = "73 ohm"', "impedance_ohm", 73.0),
        (f'{LEAD}impedance_tolerance = "2 ohm"', "impedance_tolerance_ohm", 2.0),
        (f'{LEAD}impedance_tolerance = "4 %"', "impedance_tolerance_ohm", 3.0),
        (f"{LEAD}velocity_factor = 0.7", "velocity_factor", 0.7),
        (f'{LEAD}attenuation_tolerance = "5 %"', "loss_tolerance", 0.05),
        (f"{LEAD}attenuation = {{ flat = 0, per_sqrt_mhz = 1.046 }}", "per_sqrt_mhz_db_per_100m", 1.046),
        (f"{LEAD}attenuation = {{ flat = 0, per_sqrt_mhz = 1.046 }}", "per_mhz_db_per_100m", 0.0),
        (f'{LEAD}reflection = "25 dB"', "limit", Limit((0.0,), (25.0,))),
        ('part = "quarter-wave"\ndesign_frequency = "200 MHz"', "design_hz", 200e6),
        ('part = "transformer-50-75"\nloss = "0.7 dB"', "loss_db", 0.7),
        ('part = "splitter-2"\npath = ["in", "out1"]\nreflection = "14 dB"', "limit", Limit((0.0,), (14.0,))),
    ],
)
def test_a_stated_figure_takes_the_place_of_the_library_s(keys, field, value):
    found = getattr(one(keys).part, field)
    assert found == (pytest.approx(value) if isinstance(value, float) else value)


def test_a_stated_curve_has_no_span_of_its_own():
    text = f'{ENDS}[[chain]]\nid = "x"\n{LEAD}attenuation = {{ per_sqrt_mhz = 1 }}'.replace("240 MHz", "20 GHz")
    setup = parse_setup(text.encode())
    assert setup.items[0].part.points_hz == ()
    assert any("F-75 connectors: the sweep goes above" in warning for warning in setup.warnings)


def test_ends_are_those_of_the_item_as_placed():
    pad = one('part = "min-loss-pad"\nreversed = true')
    assert pad.reversed
    assert (str(pad.near_connector), str(pad.far_connector)) == ("BNC-75 jack", "BNC-50 jack")
    assert pad.part.near_ohm == 50.0
    pad = one('part = "min-loss-pad"\nreversed = true\nnear = "N-75 jack"')
    assert (str(pad.near_connector), str(pad.far_connector)) == ("N-75 jack", "BNC-50 jack")


def test_ideal_and_tolerance_of_length():
    item = one(f'{LEAD}ideal = true\nlength_tolerance = "5 mm"')
    assert (item.ideal, item.length_tolerance_m, item.temperature_c) == (True, 0.005, 20.0)


def test_splitter_arms_matched_open_and_of_items():
    item = one(
        'part = "splitter-4"\npath = ["in", "out2"]',
        '[[chain.arm]]\nport = "out1"\nend = "open"\n[[chain.arm]]\nport = "out3"\nend = "60 ohm"\n'
        f'[[chain.arm]]\nport = "out4"\nend = [{{ id = "stub", {LEAD.strip().replace(chr(10), ", ")} }}, '
        '{ id = "end", part = "load-f-plug" }]',
    )
    arms = {arm.port: arm for arm in item.arms}
    assert item.path == ("in", "out2")
    assert arms["out1"].end == "open"
    assert (arms["out3"].end, arms["out3"].end_ohm) == ("matched", 60.0)
    assert [each.id for each in arms["out4"].items] == ["stub", "end"]
    assert arms["out4"].items[1].part.type == "load"


def test_a_port_without_an_arm_is_matched_and_reported():
    setup = parse_setup(f'{ENDS}[[chain]]\nid = "x"\npart = "splitter-2"\npath = ["in", "out1"]'.encode())
    assert [(arm.port, arm.end, arm.end_ohm) for arm in setup.items[0].arms] == [("out2", "matched", 75.0)]
    assert "x: port out2 ended in 75 ohm (no arm stated)" in setup.assumed


def test_channels_give_the_sweep_and_what_to_judge():
    text = ENDS.replace('start = "174 MHz"\nstop = "240 MHz"', 'region = "europe"\nchannels = "5-7"')
    sweep = parse_setup(f'{text}points = 43\n[[chain]]\nid = "x"\npart = "min-loss-pad"'.encode()).sweep
    # Published: an open table of television bands puts channel 5 at 174 to 181 MHz, with 7 MHz a channel.
    assert (sweep.start_hz, sweep.stop_hz, sweep.points) == (174e6, 195e6, 43)
    assert [name for name, _, _ in sweep.channels] == ["5", "6", "7"]


def test_calibration_behind_an_item_with_known_standards():
    tail = (
        '[calibration]\nplane = "x"\nload = "VSWR 1.1"\nload_inductance = "2 nH"\nopen_capacitance = "0.1 pF"\n'
        'short_inductance = "0.5 nH"\nflex = "1 deg"\nswap_adapter = "n-plug-bnc-plug"\nknown = ["load", "open"]'
    )
    found = parse_setup(f'{ENDS}[[chain]]\nid = "x"\npart = "min-loss-pad"\n{tail}'.encode()).calibration
    assert (found.plane, found.swap_adapter, found.known) == ("x", "n-plug-bnc-plug", ("load", "open"))
    assert found.load_db == pytest.approx(26.44, abs=0.005)
    assert (found.load_inductance_h, found.open_capacitance_f, found.short_inductance_h) == (2e-9, 1e-13, 5e-10)
    assert found.flex_deg == 1.0


def test_parts_of_the_user_s_own(tmp_path):
    (tmp_path / "mine.toml").write_text(
        '[[pad]]\nid = "my-pad"\nname = "bench pad"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"\nnear_ohm = 50\n'
        "far_ohm = 75\nloss_db = 5.9\nloss_tolerance_db = 0.1\nnear_reflection = { return_loss_db = 28 }\n"
    )
    path = tmp_path / "set.toml"
    path.write_text(f'library = ["mine.toml"]\n{ENDS}[[chain]]\nid = "x"\npart = "my-pad"\n')
    assert load_setup(path).items[0].part.loss_db == 5.9


TWO_PORT = "# MHz S RI R 50\n" + "".join(f"{mhz} 0.1 0 0.5 0 0.5 0 0.2 0\n" for mhz in range(150, 260, 10))


def measured(tmp_path, keys):
    """The item of a set-up beside a measured two-port."""
    (tmp_path / "pad.s2p").write_text(TWO_PORT)
    path = tmp_path / "set.toml"
    ends = 'near = "BNC-50 jack"\nfar = "BNC-75 jack"\n'
    path.write_text(f'{ENDS}[[chain]]\nid = "x"\ntouchstone = "pad.s2p"\n{ends}{keys}')
    return load_setup(path)


def test_a_measured_two_port_takes_its_reference_from_the_header(tmp_path):
    setup = measured(tmp_path, "")
    part = setup.items[0].part
    assert (part.kind, part.near_ohm, part.far_ohm, part.reference_ohm) == ("measured", 50.0, 75.0, None)
    assert Path(part.path) == tmp_path / "pad.s2p"
    assert "x: reference 50 ohm (the file's own header)" in setup.assumed


def test_a_stated_reference_goes_before_the_header(tmp_path):
    assert measured(tmp_path, 'reference = "75 ohm"').items[0].part.reference_ohm == (75.0, 75.0)
    assert measured(tmp_path, 'reference = ["50 ohm", "75 ohm"]').items[0].part.reference_ohm == (50.0, 75.0)


def test_a_reversed_measured_two_port_keeps_its_ports(tmp_path):
    item = measured(tmp_path, "reversed = true").items[0]
    assert (item.near_connector.family, item.part.far_connector.family) == ("BNC-50", "BNC-50")
    assert (item.part.near_ohm, item.part.far_ohm) == (75.0, 50.0)


def test_warnings_do_not_stop_a_set_up():
    text = f'{ENDS}[[chain]]\nid = "x"\npart = "min-loss-pad"\nloss = "5 dB"'.replace(
        '"240 MHz"', '"240 MHz"\npoints = 1'
    )
    warnings = parse_setup(text.encode()).warnings
    assert "sweep: with one point only the start frequency is computed" in warnings
    assert any("less than any pad of resistors has that matches 50 and 75 ohm (5.72 dB)" in each for each in warnings)


LOOSE = f"""{ENDS}[[chain]]
id = "x"
{LEAD}impedance_tolerance = "12 ohm"
reflection = "40 dB"
"""


def test_a_tolerance_that_a_limit_has_no_room_for_is_warned_of_in_its_place():
    """63 ohm in 75 reflect (75^2 - 63^2)/(75^2 + 63^2) = 0.17 a quarter wave long; either remedy that is named ends it."""
    line = LOOSE.splitlines().index('impedance_tolerance = "12 ohm"') + 1
    setup = parse_setup(LOOSE.encode(), "mine.toml")
    found = [each for each in setup.warnings if "contradict" in each]
    assert len(found) == 1
    assert found[0].startswith(f"mine.toml:{line}:23: x: impedance_tolerance and reflection contradict: 63 ohm in 75")
    assert "up to 0.17 by itself, where a quarter wave long, the whole lead 0.01 at most; 0.75 ohm" in found[0]
    remedies = re.search('state (reflection = ".*? dB"), or (impedance_tolerance = ".*? ohm")', found[0]).groups()
    for old, new in zip(('reflection = "40 dB"', 'impedance_tolerance = "12 ohm"'), remedies, strict=True):
        mended = parse_setup(LOOSE.replace(f"\n{old}", f"\n{new}").encode())
        assert "contradict" not in " ".join(mended.warnings)
    assert "mine.toml" not in " ".join(checked(replace(setup, items=(replace(setup.items[0], length_m=1.0),))).warnings)


@pytest.mark.parametrize("length", ["0.1 m", "30 m", "300 m"])
@pytest.mark.parametrize("tolerance", ["0.5 ohm", "2 ohm", "10 %"])
@pytest.mark.parametrize(
    "reflection", ['"14 dB"', '"30 dB"', '[["100 MHz", "20 dB"], ["200 MHz", "40 dB"], ["1 GHz", "10 dB"]]']
)
def test_it_is_warned_of_where_less_than_the_stated_tolerance_is_computed_with(length, tolerance, reflection):
    text = LOOSE.replace('"0.6 m"', f'"{length}"').replace('"12 ohm"', f'"{tolerance}"').replace('"40 dB"', reflection)
    setup = parse_setup(text.encode())
    (lead,) = dict(build(setup, fit=False).groups)["x"]
    kept = lead.impedance_tolerance_ohm / setup.items[0].part.impedance_tolerance_ohm
    # What the loss makes complex of the impedance takes a trace of the room more.
    assert ("contradict" in " ".join(setup.warnings)) == (kept < 0.99) or 0.97 < kept < 1


def test_a_library_may_be_handed_over():
    setup = parse_setup(f'{ENDS}[[chain]]\nid = "x"\npart = "min-loss-pad"'.encode(), library=load_library())
    assert setup.items[0].part.id == "min-loss-pad"


def test_a_sound_set_up_is_read_without_any_heavy_library():
    code = (
        f"import sys, chain.files.setup_file; chain.files.setup_file.load_setup({str(DEMO)!r}); "
        "assert not {'pydantic', 'tree_sitter', 'numpy', 'networkx', 'skrf'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, timeout=60)
