"""A set-up written as a file and read back is the same set-up: those of the demo, generated ones, ones changed in code."""

import errno
import random
from dataclasses import replace
from pathlib import Path

import pytest
from extreme_setups import copied, demo, extreme_setup, setups
from further import wide

import chain
from chain.errors import ChainError, InputError
from chain.files.setup_writing import MARKS

DEMO = Path(__file__).parent.parent.parent / "demo"
BOATHOUSE = chain.load_setup(DEMO / "boathouse.toml")
REMARKS = ("taken as", "the file's own header")
"""Assumptions that are none of the written file: it names the region, and states the reference, that were found."""


def assumed(setup):
    return [each for each in setup.assumed if not any(words in each for words in REMARKS)]


@pytest.mark.parametrize("name", setups())
def test_a_set_up_of_the_demo_is_read_back_equal(tmp_path, name):
    """Saved elsewhere, with the files that it names found from there, and the same left to what is typical."""
    first = chain.load_setup(DEMO / name)
    target = tmp_path / "again.toml"
    first.save(target)
    again = chain.load_setup(target)
    assert again == first
    assert (assumed(again), again.warnings) == (assumed(first), first.warnings)
    assert chain.parse_setup(first.to_toml()) == first


@pytest.mark.parametrize("count", [150, *wide(400)])
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
        assert (assumed(again), again.warnings) == (assumed(first), first.warnings), text
    assert read > count * 3 / 8


@pytest.mark.parametrize("name", setups())
def test_the_tables_of_a_file_build_its_set_up(monkeypatch, name):
    monkeypatch.chdir(DEMO)
    tables = copied(demo(name))
    assert chain.setup_of(**tables) == chain.load_setup(name)


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
    """What `replace` left behind of where figures came from is put right, the figures are the same."""
    target = tmp_path / "changed.toml"
    setup.save(target)
    again = chain.load_setup(target)
    marks = [
        replace(
            each,
            near=replace(each.near, typical=(), ideal=False),
            calibration=replace(each.calibration, typical=(), ideal=False),
            items=tuple(replace(item, stated=()) for item in each.items),
        )
        for each in (again, setup)
    ]
    assert marks[0] == marks[1]
    assert chain.parse_setup(again.to_toml()) == again


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
    """A figure that went amiss on the way would be noticed: each field of the records is compared but those that are named."""
    from chain.files.setup_writing import _differences

    assert next(_differences(BOATHOUSE, replace(BOATHOUSE, far=replace(BOATHOUSE.far, antenna_q=3.0)), "x"), "")
    assert set(MARKS) < {
        *BOATHOUSE.__dataclass_fields__,
        *BOATHOUSE.near.__dataclass_fields__,
        *BOATHOUSE.items[0].__dataclass_fields__,
    }
