"""A set-up written as a file and read back is the same set-up: those of the demo, generated ones, ones changed in code."""

import errno
import json
import pickle
import random
import re
from dataclasses import fields, is_dataclass, replace
from pathlib import Path

import pytest
from extreme_setups import copied, demo, extreme_setup, setups
from further import wide

import chain
from chain.calls.setup_checked import checked
from chain.errors import ChainError, InputError

DEMO = Path(__file__).parent.parent.parent / "demo"
BOATHOUSE = chain.load_setup(DEMO / "boathouse.toml")
REMARKS = ("taken as", "the file's own header")
"""Assumptions that are none of the written file: it names the region, and states the reference, that were found."""


def assumed(setup):
    return [each for each in setup.assumed if not any(words in each for words in REMARKS)]


def warned(setup):
    """Warnings without the place in the file that they were read from."""
    return tuple(re.sub(r"^\S+:\d+:\d+: ", "", each) for each in setup.warnings)


@pytest.mark.parametrize("name", setups())
def test_a_set_up_of_the_demo_is_read_back_equal(tmp_path, name):
    """Saved elsewhere, with the files that it names found from there, and the same left to what is typical."""
    first = chain.load_setup(DEMO / name)
    target = tmp_path / "again.toml"
    first.save(target)
    again = chain.load_setup(target)
    assert again == first
    assert (assumed(again), warned(again)) == (assumed(first), warned(first))
    assert chain.parse_setup(first.to_toml()) == first


@pytest.mark.parametrize("count", [60, *wide(400)])
def test_generated_set_ups_are_read_back_equal(count, monkeypatch):
    """Figures at the ends of what is legal, keys at random, chains of parts at random."""
    monkeypatch.chdir(DEMO)
    rng, read = random.Random(5), 0
    for _ in range(count):
        text = extreme_setup(rng)[0]
        try:
            first = chain.parse_setup(text)
        except InputError:
            continue
        read += 1
        again = chain.parse_setup(first.to_toml())
        assert again == first, text
        assert (assumed(again), warned(again)) == (assumed(first), warned(first)), text
    assert read > count * 3 / 8


@pytest.mark.parametrize("name", setups())
def test_the_tables_of_a_file_build_its_set_up(monkeypatch, name):
    monkeypatch.chdir(DEMO)
    tables = copied(demo(name))
    assert chain.setup_of(**tables) == chain.load_setup(name)


def remarks(setup):
    """What a set-up says of where its figures came from."""
    stated = [item.stated for item in setup.items]
    return setup.assumed, warned(setup), setup.near.typical, setup.calibration.typical, stated


def changed(item=2, **figures):
    """The boathouse with figures of an item's part changed."""
    one = BOATHOUSE.items[item]
    items = list(BOATHOUSE.items)
    items[item] = replace(one, part=replace(one.part, **figures))
    return replace(BOATHOUSE, items=tuple(items))


@pytest.mark.parametrize(
    "setup",
    [
        changed(velocity_factor=0.7),
        changed(impedance_ohm=73.123456789012),
        changed(loss_tolerance=0.07, impedance_tolerance_ohm=0.0),
        changed(1, loss_db=6.1),
        changed(1, near_limit=chain.load_setup(DEMO / "boathouse.toml").items[1].part.far_limit),
        changed(0, electrical_length_m=0.0323),
        replace(BOATHOUSE, title='\U0001f4e1 "x" \x7f \\'),
        replace(BOATHOUSE, sweep=replace(BOATHOUSE.sweep, start_hz=174.000001e6, points=7)),
        replace(BOATHOUSE, far=replace(BOATHOUSE.far, limit_vswr=None, impedance_ohm=60.0)),
        replace(BOATHOUSE, near=replace(BOATHOUSE.near, directivity_db=None)),
        replace(BOATHOUSE, near=replace(BOATHOUSE.near, directivity_db=31.5, directivity_kind="ring")),
        replace(
            BOATHOUSE, calibration=replace(BOATHOUSE.calibration, plane="lead", load_db=None, flex_deg_at_1ghz=0.0)
        ),
        replace(BOATHOUSE, calibration=replace(BOATHOUSE.calibration, open_capacitance_f=3e-13)),
        replace(BOATHOUSE, items=BOATHOUSE.items[1:]),
    ],
)
def test_a_set_up_changed_in_code_keeps_every_figure(tmp_path, setup):
    """What `replace` left behind of where figures came from is put right, in calls as in the file; the figures are the same."""
    target = tmp_path / "changed.toml"
    setup.save(target)
    again = chain.load_setup(target)
    assert again == setup
    assert chain.parse_setup(again.to_toml()) == again
    looked_over = checked(setup)
    assert looked_over == again
    assert remarks(looked_over) == remarks(again)
    assert looked_over.to_toml() == setup.to_toml() == again.to_toml()
    assert checked(again) is again
    assert checked(pickle.loads(pickle.dumps(again))) == again
    assert not pickle.loads(pickle.dumps(again)).changed


QUICK = chain.check, chain.budget, lambda each: chain.recover(each, "VSWR 1.2 at 210 MHz")
EVERY = *QUICK, chain.expect, chain.card
CABLE = changed(velocity_factor=0.8, impedance_tolerance_ohm=0.0), "velocity_factor 0.66"
PAD = changed(1, loss_db=6.5), "loss 5.719 dB"
STANDARDS = (
    replace(BOATHOUSE, calibration=replace(BOATHOUSE.calibration, open_capacitance_f=0.0)),
    "open_capacitance 0.05",
)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    ("setup", "gone", "asked"),
    [(*CABLE, QUICK), (*PAD, QUICK), (*STANDARDS, EVERY), *wide((*CABLE, EVERY), (*PAD, EVERY))],
    ids=["cable", "pad", "standards", "cable, every answer", "pad, every answer"],
)
def test_answers_speak_of_the_figures_they_were_computed_with(tmp_path, setup, gone, asked):
    """A set-up changed in code and the same one saved and loaded: same figures, remarks and share of typical values."""
    setup = replace(setup, sweep=replace(setup.sweep, start_hz=200e6, stop_hz=220e6, points=2))
    setup.save(tmp_path / "changed.toml")
    again = chain.load_setup(tmp_path / "changed.toml")
    assert gone in " ".join(BOATHOUSE.assumed)
    for ask in asked:
        one, other = (ask(each).to_dict() for each in (setup, again))
        assert gone not in str(one)
        assert json.dumps(one) == json.dumps(other)


def test_a_changed_set_up_that_no_file_can_state_is_answered_all_the_same():
    setup = changed(dielectric_mm=1.0)
    assert checked(setup) is setup


@pytest.mark.parametrize(
    ("setup", "field"),
    [
        (changed(dielectric_mm=1.0), "dielectric_mm = 1.0"),
        (changed(id="my-cable"), "no part 'my-cable'"),
        (changed(1, resistor_power_w=2.0), "resistor_power_w = 2.0"),
        (replace(BOATHOUSE, sweep=replace(BOATHOUSE.sweep, region="europe", channels=())), "channel"),
    ],
)
def test_what_no_file_can_state_is_refused_by_name(setup, field):
    with pytest.raises(ChainError, match=field):
        setup.to_toml()


def test_a_limit_that_no_figure_in_db_gives_exactly_keeps_its_fifteen_digits():
    setup = replace(BOATHOUSE, far=replace(BOATHOUSE.far, limit_vswr=1.92495, limit_in_db=True))
    again = chain.parse_setup(setup.to_toml()).far
    assert again.limit_in_db
    assert again.limit_vswr == pytest.approx(1.92495, rel=1e-15)


def test_nothing_is_overwritten_unasked(tmp_path):
    target = tmp_path / "mine.toml"
    target.write_text("mine", encoding="utf-8")
    with pytest.raises(ChainError, match=r"is there already.*force=True"):
        BOATHOUSE.save(target)
    assert target.read_text(encoding="utf-8") == "mine"
    BOATHOUSE.save(str(target), force=True)
    assert chain.load_setup(target) == BOATHOUSE
    with pytest.raises(ChainError, match="cannot be written"):
        BOATHOUSE.save(tmp_path / "none" / "x.toml")
    for path, words in (("", "there is no name"), (".", "'.' is a folder"), (tmp_path, "is a folder")):
        with pytest.raises(ChainError, match=words):
            BOATHOUSE.save(path, force=True)


def test_what_is_overwritten_stays_until_the_new_file_is_whole(tmp_path, monkeypatch):
    target, link = tmp_path / "mine.toml", tmp_path / "link.toml"
    target.write_text("mine", encoding="utf-8")
    target.chmod(0o640)
    link.symlink_to(target)

    def full(*_):
        raise OSError(errno.ENOSPC, "No space left on device")

    with monkeypatch.context() as broken:
        broken.setattr(Path, "replace", full)
        with pytest.raises(ChainError, match="No space left"):
            BOATHOUSE.save(link, force=True)
    assert target.read_text(encoding="utf-8") == "mine"
    BOATHOUSE.save(link, force=True)
    assert link.is_symlink()
    assert (chain.load_setup(target), target.stat().st_mode & 0o777) == (BOATHOUSE, 0o640)
    assert sorted(each.name for each in tmp_path.iterdir()) == ["link.toml", "mine.toml"]


def test_every_figure_counts_but_the_marks():
    """A figure that went amiss on the way would be noticed: all fields are compared but those that say where figures came from."""
    from chain.files.setup_writing import _differences

    assert next(_differences(BOATHOUSE, replace(BOATHOUSE, far=replace(BOATHOUSE.far, antenna_q=3.0)), "x"), "")
    marks = {
        "Setup": {"assumed", "warnings", "path", "own_library", "locator", "made_with"},
        "Near": {"ideal", "typical"},
        "Calibration": {"ideal", "typical"},
        "Item": {"stated"},
    }
    for record in (BOATHOUSE, BOATHOUSE.items[0], *BOATHOUSE.made_with):
        if is_dataclass(record):
            assert {each.name for each in fields(record) if not each.compare} == marks.get(type(record).__name__, set())
