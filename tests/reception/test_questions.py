"""Places, improvements, levels seen, check, card and page of an installation, through the command where they can be."""

from __future__ import annotations

import json
import math
import re
import warnings
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from answered_once import kept
from click.testing import CliRunner

from chain.cli.main import chain
from chain.errors import InputError, RangeError
from chain.outlet_report.outlets import verdict_lines
from chain.reception import improvements, placing_amplifier
from chain.reception.checks import check_installation
from chain.reception.installation_file import load_installation, parse_installation
from chain.reception.levels import nominal_levels, without_item
from chain.reception.outlets import outlets
from chain.reception.placing_amplifier import inserted, score
from chain.reception.seen import compare_seen, read_seen
from chain.reception.trials import draw_margins
from library.reception import reception_part

pytestmark = pytest.mark.usefixtures("answered_once")

place_amplifier, improve_reception = kept(placing_amplifier.place_amplifier), kept(improvements.improve_reception)

DEMO = "demo/outlets.toml"
ACROSS_THE_WATER = (
    '[[signal]]                       # a weaker one across the water\nregion = "europe"\nchannels = "40,42,44,46"\n'
    'mode = "DVB-T 64QAM 2/3"\nfield = "52 dBuV/m"\n'
)
SPREAD = 'field_spread = "5.5 dB"          # from place to place, one standard deviation'
SEEN = "demo/outlets-seen.csv"
HOUSE = load_installation(DEMO)


def run(*words, status=0):
    done = CliRunner().invoke(chain, [*words])
    assert done.exit_code == status, done.output
    return done.stdout


def document(*words):
    return json.loads(run(*words, "--json"))


def changed(*pairs):
    text = Path(DEMO).read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return parse_installation(text.encode(), "house.toml", Path("demo"))


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    "words",
    [
        ("outlets", DEMO),
        ("outlets", DEMO, "--tree", "--all", "--assumed"),
        ("outlets", DEMO, "--place"),
        ("outlets", DEMO, "--improve"),
        ("outlets", DEMO, "--seen", SEEN),
        ("check", DEMO),
        ("card", DEMO),
    ],
    ids=lambda words: " ".join(words),
)
def test_three_lines_of_at_most_80_characters_first(words, monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    lines = run(*words).splitlines()
    assert max(map(len, lines)) <= 80
    answer = lines[:3]
    assert all(line.strip() for line in answer)
    if words[0] != "card":
        assert answer[2].startswith("Next: ")


@pytest.mark.usefixtures("few_trials")
def test_the_three_lines_stand_alone_in_ascii(monkeypatch):
    monkeypatch.setenv("COLUMNS", "80")
    for words in (("outlets", DEMO), ("outlets", DEMO, "--place"), ("check", DEMO)):
        assert all(line.isascii() for line in run(*words).splitlines()[:3])


def test_json_holds_the_keys_that_others_rely_on():
    found = document("outlets", DEMO, "--draws", "400")
    assert {"outlets", "joint_probability", "worth", "amplifiers", "antenna", "seed"} <= set(found)
    row = found["outlets"][0]["channels"][0]
    keys = {"channel", "freq_hz", "level_dbuv", "level_low", "level_high", "window", "cn_db", "cim_db", "cni_db"}
    assert keys | {
        "need_db",
        "margin_db",
        "margin_low_db",
        "margin_high_db",
        "limited_by",
        "verdict",
        "probability",
    } <= set(row)
    assert row["margin_low_db"] <= row["margin_db"] <= row["margin_high_db"]
    assert row["cni_db"] == pytest.approx(-10 * math.log10(10 ** (-row["cn_db"] / 10) + 10 ** (-row["cim_db"] / 10)))


def test_enforce_ends_with_1_where_not_everything_works():
    run("outlets", DEMO, "--draws", "400", "--enforce", status=1)


def test_the_best_place_is_the_best_of_all_tried_by_hand():
    found = place_amplifier(HOUSE)
    bare = without_item(HOUSE, "mast", "mast")
    best = -math.inf
    for part in {each.part for each in found.places}:
        kind = (
            next(o.part for o in HOUSE.offers if o.part.id == part)
            if part != "masthead-amplifier"
            else HOUSE.items[1].part
        )
        for port in (
            "antenna",
            "tail",
            "downlead",
            "injector",
            "patch",
            "split.out1",
            "split.out2",
            "split.out3",
            "fly",
            "yard",
        ):
            for gain in np.arange(kind.gain_from_db, kind.gain_to_db + 1):
                best = max(best, score(inserted(bare, port, kind, float(gain))).room_db)
    assert found.places[0].score.room_db == pytest.approx(best, abs=0.02)
    assert found.without.room_db < found.now.room_db


def test_an_amplifier_at_the_mast_beats_one_at_the_set_at_uhf():
    """Worth what the lead costs: the lead's loss stands before the amplifier or behind it (Friis)."""
    amplifier = reception_part("masthead-amplifier")
    bare = without_item(HOUSE, "mast", "mast")
    ratios = {}
    for port in ("antenna", "fly"):
        ratios[port] = float(nominal_levels(inserted(bare, port, amplifier, 18.0)).cn_db[0, 0])
    assert ratios["antenna"] - ratios["fly"] > 6


@pytest.mark.usefixtures("few_trials")
def test_where_the_air_is_loud_that_is_said():
    """FM: the air's own noise rules; the most that an amplifier brings is reported."""
    fm = (
        (
            'region = "europe"\nchannels = "21-24"\nmode = "DVB-T2 256QAM 2/3"',
            'frequency = "98 MHz"\nmode = "FM stereo"',
        ),
        ('gain = [["470 MHz", "10 dBi"], ["694 MHz", "12 dBi"]]', 'gain = "2 dBi"'),
        (ACROSS_THE_WATER, ""),
    )
    house = changed(*fm)
    found = place_amplifier(house)
    assert "the air's own noise is 17 dB" in found.remark
    most = float(re.search(r"at most ([0-9.]+) dB", found.remark)[1])
    bare = without_item(house, "mast", "mast")
    for port in ("antenna", "split.out1"):
        gained = (
            nominal_levels(inserted(bare, port, reception_part("masthead-amplifier"), 20.0)).cn_db
            - nominal_levels(bare).cn_db
        )
        assert gained.max() <= most + 0.05
    assert place_amplifier(HOUSE).remark == ""


def test_every_single_improvement_is_the_difference_it_claims():
    found = improve_reception(HOUSE)
    single = next(each for each in found.improvements if each.words == ("yard: rg11 instead of rg59",))
    rg11 = HOUSE.library.part("rg11")
    items = tuple(replace(item, part=rg11) if item.id == "yard" else item for item in HOUSE.items)
    assert single.gain_db == pytest.approx(score(replace(HOUSE, items=items)).room_db - score(HOUSE).room_db)
    assert single.hundredths == 18 * 120
    assert all(each.gain_db > 0 for each in found.improvements)
    low = [round(each.room_low_db, 1) for each in found.improvements if each.room_low_db is not None]
    assert low == sorted(low, reverse=True)
    assert all(each.gain_low_db <= each.gain_db + 0.6 for each in found.improvements if each.gain_low_db is not None)


def test_what_is_shown_of_alternatives_is_what_the_joint_draws_show():
    """Room drawn in the same draws: everything works in as large a share of them as `outlets` says of the changed file."""
    places = place_amplifier(HOUSE)
    drawn = [each for each in places.places if each.room_low_db is not None]
    low = [round(each.room_low_db, 1) for each in drawn]
    assert low == sorted(low, reverse=True)
    assert all(each.room_low_db < each.score.room_db < each.room_high_db for each in drawn)
    best = drawn[0]
    kind = next(offer.part for offer in HOUSE.offers if offer.part.id == best.part)
    # Fed wherever it stands, as the search takes for granted.
    kind = replace(kind, power_v=0.0)
    # Joined as an antenna with a plug joins it: the search reckons with leads made up to fit.
    house = replace(HOUSE, antenna=replace(HOUSE.antenna, connector=None))
    changed_house = inserted(without_item(house, "mast", "mast"), best.after, kind, best.gain_db)
    reported = outlets(changed_house).drawn
    assert best.holds == pytest.approx(reported.joint_probability, abs=0.03)
    assert [best.room_low_db, best.room_high_db] == pytest.approx(
        np.percentile(reported.worst_room_db, [2.5, 97.5]), abs=1.5
    )
    assert np.mean(reported.worst_room_db >= 0) == pytest.approx(reported.joint_probability, abs=1e-9)


def test_a_change_is_held_against_the_same_draws():
    """A field that spreads by 5.5 dB does not blur what a change brings."""
    found = improve_reception(HOUSE)
    lead = next(each for each in found.improvements if each.words == ("yard: rg11 instead of rg59",))
    assert 0 < lead.gain_high_db - lead.gain_low_db < 2
    assert lead.room_high_db - lead.room_low_db > 15


@pytest.mark.usefixtures("few_trials")
def test_fewer_ways_where_an_output_is_idle():
    house = changed(
        ('id = "loft"\nafter = "split.out3"\nreceiver = "tv"', 'id = "loft"\nafter = "split.out3"\nend = "open"')
    )
    words = [each.words[0] for each in improve_reception(house).improvements]
    assert any("2 ways instead of 3" in each for each in words)


def test_levels_that_the_model_made_fit_and_a_bad_lead_is_named(tmp_path):
    nominal = nominal_levels(HOUSE)
    rows = ["place;channel;level"]
    for column, channel in enumerate(HOUSE.channels):
        rows.append(f"antenna;{channel.name};{nominal.antenna_dbuv[column] - 108.751:.2f} dBm")
        for row, outlet in enumerate(HOUSE.outlets):
            lost = 9 if outlet.id == "workshop" else 0
            rows.append(
                f"{outlet.id};{channel.centre_hz / 1e6:g} MHz;{nominal.level_dbuv[row, column] - lost:.2f} dBuV"
            )
    path = tmp_path / "levels.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    found = compare_seen(HOUSE, read_seen(str(path), HOUSE), draws=400)
    off = {row.place for row in found.rows if not row.fits}
    assert off == {"workshop"}
    assert "yard" in found.suspects[0]
    assert "fly" not in found.suspects[0]


def test_a_place_that_is_off_on_one_channel_tells_nothing_of_the_field_on_another(tmp_path):
    """Seen nowhere else, the second channel keeps the field as stated: the place's own lead is suspected, the others go on working."""
    nominal = nominal_levels(HOUSE)
    first, second = HOUSE.channels[0].name, HOUSE.channels[1].name
    rows = ["place,channel,level"]
    for row, outlet in sorted(enumerate(HOUSE.outlets), key=lambda each: each[1].id != "workshop"):
        lost = 14 if outlet.id == "workshop" else 2
        rows.append(f"{outlet.id},{first},{nominal.level_dbuv[row, 0] - lost:.1f} dBuV")
    place = [outlet.id for outlet in HOUSE.outlets].index("workshop")
    rows.append(f"workshop,{second},{nominal.level_dbuv[place, 1] - 18:.1f} dBuV")
    path = tmp_path / "levels.csv"
    path.write_text("\n".join(rows), encoding="utf-8")
    found = compare_seen(HOUSE, read_seen(str(path), HOUSE), draws=400)
    assert {row.place for row in found.rows if not row.fits} == {"workshop"}
    assert len(found.suspects) == 1
    assert "workshop" in found.suspects[0]
    assert "yard" in found.suspects[0]
    assert "field" not in found.suspects[0]
    at_hall = [outlet.id for outlet in HOUSE.outlets].index("hall")
    assert found.after.nominal.level_dbuv[at_hall, 1] == pytest.approx(nominal.level_dbuv[at_hall, 1])


def test_a_50_ohm_meter_and_a_marker_are_brought_to_75_ohm(tmp_path):
    """+ 7.48 dB through the pad, + 18.8 dB from 100 kHz to 7.61 MHz."""
    path = tmp_path / "levels.csv"
    path.write_text("place,channel,level_dbuv\nhall,21,20\n", encoding="utf-8")
    house = changed(('channels = "21-24"', 'channels = "21"'), (ACROSS_THE_WATER, ""))
    ways = (), ("50-pad",), ("75", 100e3)
    plain, pad, marker = (
        compare_seen(house, read_seen(str(path), house), *way, draws=200).rows[0].seen_dbuv for way in ways
    )
    assert [plain, pad - plain, marker - plain] == pytest.approx([20, 7.48, 18.81], abs=0.01)


def test_a_level_seen_at_an_outlet_holds_there_in_every_draw():
    """The way to the outlet comes off again: what is left there is the spread of the measurement."""
    house = changed(
        ('field = "60 dBuV/m"', 'level = "50 dBuV at hall"'),
        (SPREAD, 'field_spread = "1 dB"'),
    )
    found = outlets(house, draws=2000)
    row = found.row(0, 0)
    assert row.level_dbuv == pytest.approx(50, abs=1e-9)
    assert row.level_high - row.level_low == pytest.approx(2 * 1.96, abs=0.3)
    other = found.row(1, 0)
    assert other.level_high - other.level_low > row.level_high - row.level_low


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("place,channel\nhall,21", "no column says level"),
        ("place,channel,level_dbuv\nhal,21,50", "no place is called"),
        ("place,channel,level_dbuv\nhall,99,50", "no channel is called"),
        ("place,channel,level\nhall,21,50", "has no unit"),
        ("place,channel,level_dbuv\n", "no level is given"),
        (
            "place,channel,level_dbuv\nhall,21,50\nloft,21,50\nhall,21,51",
            "channel '21' at 'hall' stands in line 2 already",
        ),
    ],
)
def test_a_bad_table_of_levels_is_refused_in_place(text, message, tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_seen(str(path), HOUSE)
    assert message in caught.value.defects[0].message
    run("outlets", DEMO, "--seen", str(path), status=2)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("size", ["1.0 0.0", "-0.6 0.9"])
def test_an_antenna_that_reflects_everything_receives_next_to_nothing(size, tmp_path):
    """As a limit that is reached, or in a sweep that noise takes past one: levels far down, in every question, and no fault."""
    path, table = tmp_path / "outlets.toml", tmp_path / "outlets-seen.csv"
    # Of either signal one channel, and what may be built in left at a filter.
    fewer = [('channels = "21-24"', 'channels = "21"'), ('"40,42,44,46"', '"46"')]
    text = Path(DEMO).read_text(encoding="utf-8")
    text = text[: text.index('[[offer]]\npart = "rg11"')]
    for old, new in fewer:
        text = text.replace(old, new)
    levels = Path(SEEN).read_text(encoding="utf-8").splitlines()
    kept = [line for line in levels if line.split(",")[1:2] in (["channel"], ["21"], ["46"])]
    table.write_text("\n".join(kept), encoding="utf-8")
    whole = nominal_levels(changed(*fewer)).level_dbuv
    stated = 'match = "VSWR 2.0"'
    rows = "".join(f"{mhz} {size}\n" for mhz in (400, 900))
    (tmp_path / "antenna.s1p").write_text(f"# MHz S RI R 75\n{rows}", encoding="utf-8")
    ways = ('match = "antenna.s1p"', *(['match = "0 dB"\nmatch_kind = "ring"'] if size == "1.0 0.0" else []))
    for way in ways:
        path.write_text(text.replace(stated, way), encoding="utf-8")
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            for more in (["--draws", "200"], ["--seen", str(table), "--draws", "200"], ["--improve"]):
                run("outlets", str(path), *more)
        found = nominal_levels(load_installation(str(path)))
        # 1 - 0.9999^2 of it gets out: 37 dB less than of a matched antenna, by other reflections a little more or less.
        lost = whole - found.level_dbuv
        assert ((lost > 30) & (lost < 43)).all()


def test_check_follows_the_dc_and_the_joints():
    sound = check_installation(HOUSE)
    assert sound.fits
    assert sound.sound
    assert any("fed with 12 V from injector" in each.text for each in sound.findings)
    dead = check_installation(changed(('supply = "12 V"                  # for the amplifier on the mast\n', "")))
    assert any(each.where == "mast" and "gets no DC" in each.text for each in dead.findings)
    wrong = check_installation(changed(('supply = "12 V"', 'supply = "24 V"')))
    assert not wrong.sound
    jacks = changed(
        ('after = "tail"', 'after = "tail"\nnear = "F-75 plug"'),
        ('after = "mast"\n', 'after = "mast"\nnear = "F-75 jack"\n'),
    )
    assert not check_installation(jacks).fits
    named = {each.rule for each in sound.findings}
    assert {"mains", "dc", "roof", "earth"} <= named


def test_joints_that_do_not_fit_stop_the_computation(tmp_path):
    text = Path(DEMO).read_text(encoding="utf-8").replace('after = "mast"\n', 'after = "mast"\nnear = "F-75 jack"\n')
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    assert "do not fit together" in CliRunner().invoke(chain, ["outlets", str(path)]).output
    run("outlets", str(path), status=2)
    run("check", str(path), status=1)


def test_a_channel_outside_what_a_part_is_described_for_is_refused():
    with pytest.raises(RangeError, match="described from"):
        outlets(
            changed(('region = "europe"\nchannels = "21-24"', 'frequency = "30 MHz"\nbandwidth = "8 MHz"')), draws=200
        )


def test_the_page_and_the_card_load_nothing(tmp_path):
    page, card = tmp_path / "page.html", tmp_path / "card.html"
    run("report", DEMO, "--draws", "400", "-o", str(page), "-q")
    run("card", DEMO, "-o", str(card), "-q")
    for path in (page, card):
        text = path.read_text(encoding="utf-8")
        assert "://" not in text
        assert "<script" not in text
        assert "power lines" in text
        tables = text.count("<table")
        scrolled = re.findall(r'class="scroll[^"]*"[^>]*>\s*<table', text)
        assert len(scrolled) == tables, "a narrow screen scrolls the table, not the page"
    text = page.read_text(encoding="utf-8")
    cells = re.findall(
        r'<td class="(pass|not-proven|fail)"><b>(.)</b><span class="unseen"> [^<]+</span> [+-]\d+</td>', text
    )
    assert len(cells) == 24
    assert {sign for kind, sign in cells if kind == "pass"} == {"\u25cf"}, "verdicts read without colour"
    assert text.count("<li") > 15


def test_users_text_never_becomes_markup(tmp_path):
    text = Path(DEMO).read_text(encoding="utf-8")
    text = text.replace('"Boathouse, three outlets"', '"<b>x</b>"').replace('id = "hall"', 'id = "<i>h</i>"')
    source, page = tmp_path / "house.toml", tmp_path / "page.html"
    source.write_text(text, encoding="utf-8")
    run("report", str(source), "--draws", "400", "-o", str(page), "-q")
    assert "<b>x</b>" not in page.read_text(encoding="utf-8")
    assert "<i>h</i>" not in page.read_text(encoding="utf-8")


def test_options_that_exclude_each_other():
    run("outlets", DEMO, "--place", "--improve", status=2)
    run("outlets", DEMO, "--meter", "75", status=2)
    run("report", DEMO, "demo/boathouse.s1p", status=2)


def test_the_same_seed_gives_the_same_answer():
    first, second = (outlets(HOUSE, draws=600, seed=3) for _ in range(2))
    assert np.array_equal(first.drawn.level_dbuv, second.drawn.level_dbuv)
    assert first.drawn.joint_probability == second.drawn.joint_probability
    assert not np.array_equal(first.drawn.level_dbuv, outlets(HOUSE, draws=600, seed=4).drawn.level_dbuv)


def test_another_seed_moves_the_ends_by_no_more_than_reported():
    """Largest difference over all rows of four pairs of seeds, against what is stated."""
    nominal = nominal_levels(HOUSE)
    found = [draw_margins(nominal, 2000, seed) for seed in range(5)]
    moved = [np.abs(a.cni_db[0] - b.cni_db[0]).max() for a, b in pairwise(found)]
    reported = np.mean([each.end_error_db for each in found])
    assert max(moved) < 1.3 * reported, "the worst of 24 rows and four pairs, against twice a standard deviation"
    assert reported < 3 * np.mean(moved)


def test_parts_of_reception_are_browsed_with_their_evidence():
    listed = run("parts", "--kind", "amplifier")
    assert "masthead-amplifier" in listed
    assert "memory" in listed
    shown = run("parts", "masthead-amplifier")
    assert "noise figure db" in shown
    assert "memory: typical" in shown
    rows = document("parts", "--kind", "mode")["parts"]
    assert all(row["source"] and row["evidence"] for row in rows)
    assert {"DVB-T2 256QAM 2/3", "FM stereo"} <= {row["id"] for row in rows}
    run("parts", "--kind", "filter", "nothing-like-it", status=2)


@pytest.mark.parametrize(
    "text",
    [
        "place,channel,level_dbuv\nhall,21,54.3\n",
        "Outlet;Ch.;Level [dBµV]\nhall;ch 21;54,3\n",
        "outlet;channel;dBuV\nhall;channel 21;54,3\n",
        "where\tch\treading\nhall\tch21\t54.3 dBuV\n",
    ],
)
def test_levels_under_the_headers_that_people_write(tmp_path, text):
    path = tmp_path / "seen.csv"
    path.write_text(text, encoding="utf-8")
    (found,) = read_seen(str(path), HOUSE)
    assert (found.place, found.channel, found.shown_dbuv) == ("hall", "21", pytest.approx(54.3))


def test_an_amplifier_without_its_supply_is_said_first_and_nothing_is_called_good(tmp_path):
    """What is computed of an amplifier holds once it is fed: a margin that would do is no verdict before."""
    text = Path("demo/outlets.toml").read_text(encoding="utf-8")
    fed = outlets(parse_installation(text.encode()), draws=400)
    assert fed.unpowered == ()
    without = text.replace('part = "power-injector"', 'part = "f-jack-f-jack"').replace('supply = "12 V"', "#")
    dead = outlets(parse_installation(without.encode()), draws=400)
    assert len(dead.unpowered) == 1
    assert not dead.works
    assert "mast" in verdict_lines(dead)[0]
    assert "12 V" in verdict_lines(dead)[0]
    idle = outlets(parse_installation(text.replace('supply = "12 V"', "#").encode()), draws=400)
    # Its gain of 18 dB and the 2 dB of its bypass are missing at the outlets.
    assert idle.nominal.level_dbuv - fed.nominal.level_dbuv == pytest.approx(-20, abs=1e-6)
    assert verdict_lines(idle)[2] == "Next: add supply = \"12 V\" to 'injector'."
    assert "bypass of 2 dB" in verdict_lines(dead)[1]
    assert not verdict_lines(dead)[0].startswith("Good")
    assert "power-injector" in verdict_lines(dead)[2]


def test_a_standard_without_its_mode_is_answered_with_modes_of_that_standard():
    """Not with those of another one that reads alike; what is proposed is taken."""
    with pytest.raises(InputError) as refused:
        changed(('mode = "DVB-T2 256QAM 2/3"', 'mode = "DVB-T2"'))
    (defect,) = refused.value.defects
    proposed = re.search(r"'(DVB-T2 [^']+)'", defect.help)[1]
    assert "DVB-T " not in defect.help
    changed(('mode = "DVB-T2 256QAM 2/3"', f'mode = "{proposed}"'))
