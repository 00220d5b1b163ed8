"""What a file leaves out is typical of its analyzer, never perfect, unless it says `ideal`; and what an analyzer cannot do."""

import numpy as np
import pytest

from chain.analyses.recover import recover
from chain.assembly.bare_pad import bare_pad
from chain.assembly.cascade import build
from chain.errors import InputError
from chain.files.setup_file import parse_setup
from chain.selection.need_file import parse_need
from chain.sweeps.reading_words import parse_reading
from chain.sweeps.readings import from_texts
from chain.uncertainty.measurement import measurement_of

SWEEP = '[sweep]\nstart = "174 MHz"\nstop = "240 MHz"\n'
FAR = '[far]\nconnector = "F-75 jack"\nlimit = "VSWR 2.0"\n'
CHAIN = (
    '[[chain]]\nid = "adapter"\npart = "n-plug-bnc-plug"\n[[chain]]\nid = "pad"\npart = "min-loss-pad"\n'
    '[[chain]]\nid = "lead"\npart = "rg59"\nlength = "0.6 m"\nnear = "BNC-75 plug"\nfar = "F-75 plug"\n'
)
# Figures: practice; see library/data/typical.toml.
RESIDUALS = {"handheld": (30, 25, 0.2, 0.05, 50, 50), "bench": (40, 36, 0.1, 0.02, 50, 50)}
LOADS = {"handheld": 20, "bench": 26}


def read(near="", calibration=""):
    text = f'{SWEEP}[near]\nconnector = "N-50 jack"\n{near}\n{CHAIN}{FAR}{calibration}'
    return parse_setup(text.encode())


def residuals(near):
    return tuple(
        getattr(near, f"{key}_db")
        for key in ("directivity", "source_match", "tracking", "trace_noise", "repeatability", "drift")
    )


@pytest.mark.parametrize("name", ["handheld", "bench"])
def test_what_is_left_out_is_that_of_the_class(name):
    setup = read(f'analyzer = "{name}"')
    assert residuals(setup.near) == RESIDUALS[name]
    found = setup.calibration
    assert found.load_db == LOADS[name]
    assert (found.open_capacitance_f, found.short_inductance_h, found.load_inductance_h) == (0.05e-12, 0.5e-9, 0.5e-9)
    assert found.flex_deg_at_1ghz == 0.5
    assert not any("analyzer handheld" in text for text in setup.assumed)


def test_without_a_class_a_handheld_is_assumed_and_said():
    setup = read()
    assert residuals(setup.near) == RESIDUALS["handheld"]
    assert "near: analyzer handheld (not stated)" in setup.assumed
    assert setup.near.typical == ("directivity", "source_match", "tracking", "trace_noise", "repeatability", "drift")


def test_a_stated_figure_goes_before_the_class():
    setup = read('directivity = "44 dB"', '[calibration]\nload = "35 dB"\nflex = "1 deg"\n')
    assert setup.near.directivity_db == 44
    assert "directivity" not in setup.near.typical
    assert setup.near.source_match_db == 25
    assert setup.calibration.load_db == 35
    assert (setup.calibration.flex_deg, setup.calibration.flex_deg_at_1ghz) == (1.0, 0.0)
    assert setup.calibration.typical == ("load_inductance", "open_capacitance", "short_inductance")


def test_ideal_is_the_only_way_to_a_perfect_one():
    setup = read("ideal = true", "[calibration]\nideal = true\n")
    assert residuals(setup.near) == (None,) * 6
    assert setup.calibration.load_db is None
    assert not any((setup.calibration.open_capacitance_f, setup.calibration.flex_deg_at_1ghz))
    measurement = measurement_of(setup, build(setup, np.array([2e8])))
    assert not any((measurement.noise, measurement.drift, measurement.mating, measurement.residuals))
    assert sum("(ideal)" in text for text in setup.assumed) == 2


def test_a_reading_behind_an_unknown_analyzer_proves_less():
    """1.95 behind nothing at all: a perfect analyzer proves 'better than 2', the one nobody described does not."""
    text = (
        '[sweep]\nstart = "200 MHz"\nstop = "200 MHz"\npoints = 1\n[near]\nconnector = "F-75 jack"\nimpedance = "75 ohm"\n'
        '{ideal}\n[[chain]]\nid = "a"\npart = "f-plug-f-plug"\nideal = true\n' + FAR
    )
    seen = from_texts([parse_reading("VSWR 1.95 at 200 MHz")])
    perfect = recover(parse_setup(text.replace("{ideal}", "ideal = true").encode()), seen)
    unknown = recover(parse_setup(text.replace("{ideal}", "").encode()), seen)
    assert perfect.verdict == "pass"
    assert unknown.verdict == "not proven"
    assert unknown.low[0] < 1.9
    assert unknown.high[0] > 2.05


def test_a_bare_reading_takes_a_typical_pad_and_a_handheld():
    setup = bare_pad(2.1e8, 2.1e8)
    assert residuals(setup.near) == RESIDUALS["handheld"]
    assert not setup.items[0].ideal
    # Its interval is anything but a point.
    found = recover(setup, from_texts([parse_reading("VSWR 1.30 at 210 MHz")]))
    assert found.high[0] / found.low[0] > 2
    assert residuals(bare_pad(2e8, 2e8, ideal=True).near) == (None,) * 6


def test_a_moved_lead_turns_with_frequency_and_only_behind_a_lead():
    def measured(plane):
        setup = read("", f'[calibration]\nplane = "{plane}"\n')
        return measurement_of(setup, build(setup, np.array([2e8, 1e9]), fit=False))

    assert np.rad2deg(measured("lead").turn_rad) == pytest.approx([0.1, 0.5])
    assert not measured("pad").turn_rad.any()
    assert not measured("near").turn_rad.any()


@pytest.mark.parametrize(
    ("near", "near_only", "at_far"),
    [
        ("", True, True),
        ('shows = "vswr"', True, False),
        ('shows = "return loss"', True, False),
        ('shows = "vswr"\ncalibrates_at = ["near", "far"]', True, True),
        ('calibrates_at = ["lead", "near"]', True, True),
    ],
)
def test_planes_that_an_analyzer_calibrates_at(near, near_only, at_far):
    setup = read(near)
    assert setup.near.calibrates("near", "lead") is near_only
    assert setup.calibrates("lead") is at_far


@pytest.mark.parametrize(
    ("near", "calibration", "why", "remedy"),
    [
        ('shows = "vswr"', 'plane = "lead"', "'lead'", 'calibrates_at = ["near", "lead"]'),
        ('calibrates_at = ["lead"]', "", "'near'", 'plane = "lead"'),
        ('shows = "vswr"', 'plane = "led"', "'led'", "one of: near"),
    ],
)
def test_a_plane_that_contradicts_the_analyzer_is_refused_and_the_remedy_leads_on(near, calibration, why, remedy):
    with pytest.raises(InputError) as caught:
        read(near, f"[calibration]\n{calibration}\n")
    (defect,) = caught.value.defects
    assert why in defect.message
    assert remedy in defect.help


def test_a_plane_is_used_where_the_file_says_that_the_analyzer_can():
    setup = read('shows = "vswr"\ncalibrates_at = ["near", "lead"]', '[calibration]\nplane = "lead"\n')
    assert setup.calibration.plane == "lead"
    assert not any("calibrates" in text for text in setup.warnings)


@pytest.mark.parametrize(
    ("said", "meant"), [("SWR", "vswr"), ("RL", "return loss"), ("dB", "return loss"), ("R and X", "complex")]
)
def test_other_words_for_what_a_screen_gives(said, meant):
    assert read(f'shows = "{said}"').near.shows == meant


@pytest.mark.parametrize(
    ("near", "message", "help_"),
    [
        ('analyzer = "handhold"', "the library has no analyzer 'handhold'", "'handheld'"),
        ('shows = "swt"', "'swt' is nothing that an analyzer shows", "'vswr'"),
        ('calibrates_at = ["led"]', "no item has the id 'led'", "'lead'"),
    ],
)
def test_a_slip_is_reported_at_its_place(near, message, help_):
    with pytest.raises(InputError) as caught:
        read(near)
    (defect,) = caught.value.defects
    assert message in defect.message
    assert help_ in defect.help
    assert defect.line == 6


def test_a_class_of_the_user_s_own(tmp_path):
    from chain.files.setup_file import load_setup

    (tmp_path / "mine.toml").write_text(
        '[[analyzer]]\nid = "club"\ndirectivity_db = 36\nsource_match_db = 30\ntracking_db = 0.1\ntrace_noise_db = 0.01\n'
        'repeatability_db = 55\ndrift_db = 55\nstandards = "club"\n[[standards]]\nid = "club"\nload_db = 29\n'
    )
    path = tmp_path / "set.toml"
    near = '[near]\nconnector = "N-50 jack"\nanalyzer = "club"\n'
    path.write_text(f'library = ["mine.toml"]\n{SWEEP}{near}{CHAIN}{FAR}')
    setup = load_setup(path)
    assert (setup.near.directivity_db, setup.calibration.load_db) == (36, 29)


NEED = (
    '[need]\nnear = "N-50 jack"\nfar = "F-75 jack"\nstart = "174 MHz"\nstop = "240 MHz"\nlimit = "VSWR 2.0"\n{}\n'
    '[[have]]\npart = "min-loss-pad"\n'
)


def need(keys=""):
    return parse_need(NEED.format(keys).encode())


def test_a_need_takes_the_same_defaults():
    found = need()
    assert residuals(found.near) == RESIDUALS["handheld"]
    assert found.standards.load_db == 20
    assert (found.has_phase, found.planes) == (True, ("near", "after-pad", "far"))
    assert any(text.startswith("need: analyzer handheld") for text in found.assumed)
    assert need('analyzer = "bench"').standards.load_db == 26
    assert need("ideal = true").standards.load_db is None


def test_a_need_asks_for_nothing_that_the_analyzer_cannot_do():
    found = need('shows = "vswr"')
    assert (found.has_phase, found.planes) == (False, ("near",))
    assert need("phase = false").has_phase is False
    assert need('calibrates_at = ["near", "far"]').planes == ("near", "far")
    for keys, place in (
        ('calibrates_at = ["near"]\nplanes = ["far"]', "not a plane that this analyzer"),
        ('phase = true\nshows = "vswr"', "phase contradicts shows"),
    ):
        with pytest.raises(InputError, match=place):
            need(keys)
