"""Which changes and places are offered: a lower gain, no amplifier at all, a larger antenna where the air limits."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest
from answered_once import kept
from click.testing import CliRunner

from chain.cli.main import chain
from chain.errors import InputError
from chain.outlet_report import placement
from chain.outlet_report.outlets import span_of
from chain.reception import improvements, placing_amplifier
from chain.reception.checks import check_installation
from chain.reception.installation_file import load_installation, parse_installation
from chain.reception.outlets import outlets
from chain.reception.placing_amplifier import score
from chain.reception.seen import read_seen
from chain.reception.tree import bypassed

pytestmark = pytest.mark.usefixtures("answered_once")

place_amplifier, improve_reception = kept(placing_amplifier.place_amplifier), kept(improvements.improve_reception)

TEXT = Path("demo/outlets.toml").read_text(encoding="utf-8")
for every, ends in (('"21-24"', '"21,24"'), ('"40,42,44,46"', '"40,46"')):
    # Of either signal the outermost channels: what limits a house lies there.
    TEXT = TEXT.replace(every, ends)


def changed(*pairs):
    text = TEXT
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return parse_installation(text.encode(), "house.toml", Path("demo"))


@pytest.mark.usefixtures("trials")
def test_an_overloaded_amplifier_is_offered_a_lower_gain_and_none_is_an_answer_too():
    """35 dB where 18 would do: less gain stands before taking it out; a place that is worse than none is not the best."""
    loud = [('gain = "18 dB"', 'gain = "35 dB"'), ('field = "60 dBuV/m"', 'field = "80 dBuV/m"')]
    found = improve_reception(changed(*loud, ('field = "52 dBuV/m"', 'field = "80 dBuV/m"')))
    assert found.now.limit == "overload"
    lower = [each for each in found.improvements if re.fullmatch(r"mast: gain \d+ dB", each.words[0])]
    assert lower[0].room_low_db > found.now_ends[0] + 15
    placed = place_amplifier(changed(*loud, ('field = "52 dBuV/m"', 'field = "80 dBuV/m"')))
    lesser = replace(placed, places=tuple(each for each in placed.places if each.gain_db == 35))
    short = replace(lesser, without=replace(placed.without, room_db=-0.5))
    lines = placement.verdict_lines(short)
    assert lesser.places[0].score.room_db < -0.5
    assert lines[0].startswith("Best with no amplifier: 0.5 dB short as stated, ")
    assert "leave amplifiers out" in lines[2]


@pytest.mark.usefixtures("trials")
def test_a_larger_antenna_is_called_for_where_the_noise_of_the_air_limits_alone():
    """At 98 MHz in a town: a system near the air's noise gains by an antenna alone, one far above it by an amplifier."""
    fm = Path("demo/outlets.toml").read_text(encoding="utf-8")
    head = fm[: fm.index("[[signal]]")].replace(
        'gain = [["470 MHz", "10 dBi"], ["694 MHz", "12 dBi"]]', 'gain = "4 dBi"'
    )
    signal = '[[signal]]\nfrequency = "98 MHz"\nbandwidth = "200 kHz"\nneed = "30 dB"\nwindow = "none"\nlevel = "{} dBuV at antenna"\n'
    one = '[[item]]\nid = "lead"\npart = "rg6"\nafter = "antenna"\nlength = "{} m"\n[[outlet]]\nid = "hall"\nafter = "lead"\n'
    offer = '[[offer]]\nantenna_gain = "9 dBi"\nprice = "80 EUR"\n'

    def house(level, length):
        return parse_installation(
            (head + signal.format(level) + one.format(length) + offer).encode(), "fm.toml", Path("demo")
        )

    near = improve_reception(house(30, 1))
    assert "on offer: antenna of 9 dBi" in near.remark
    # What is measured at the antenna rises by the 5 dB between 4 and 9 dBi.
    (larger,) = (each for each in near.improvements if each.words == ("antenna of 9 dBi",))
    assert larger.gain_db == pytest.approx(5, abs=0.01)
    assert improve_reception(house(30, 200)).remark == ""
    assert improve_reception(house(60, 1)).remark == ""


def test_a_match_is_taken_in_the_words_of_a_limit():
    words = changed(('match = "VSWR 2.0"  ', 'match = "return loss 10 dB"'))
    assert (
        words.antenna.match.reflection == changed(('match = "VSWR 2.0"  ', 'match = "10 dB"')).antenna.match.reflection
    )


@pytest.mark.parametrize("supply", ["5 V", "24 V", "0 V"])
def test_a_supply_of_other_volts_is_named_with_the_place_and_the_volts_to_state(supply):
    """What a remedy says is put into the file as it stands, and mends it."""
    found = check_installation(changed(('supply = "12 V"', f'supply = "{supply}"')))
    (remedy,) = (each.remedy for each in found.findings if each.where == "mast" and each.rule == "dc")
    assert "supply = \"12 V\" at 'injector'" in remedy
    assert all(each.level == "note" for each in check_installation(changed()).findings if each.rule == "dc")


def refused(*pairs):
    with pytest.raises(InputError) as caught:
        changed(*pairs)
    return caught.value.defects


def test_one_mistake_is_one_error_with_what_to_write():
    """An output by its number, a gain below zero: the remedy alone mends the file."""
    (defect,) = refused(('after = "split.out2"', 'after = "split.2"'))
    assert defect.help == "write split.out2"
    (defect,) = refused(('gain = "18 dB"', 'gain = "-2 dB"'))
    assert "leave out supply at its injector" in defect.help
    without = outlets(changed(('supply = "12 V"  ', "# ")), draws=200)
    assert without.unfed == ("mast",)


def test_a_column_of_levels_without_a_unit_is_one_error(tmp_path):
    path = tmp_path / "levels.csv"
    path.write_text("place,channel,level\nhall,21,50\nloft,21,51\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_seen(str(path), changed())
    (defect,) = caught.value.defects
    assert defect.line == 1
    assert "level_dbuv" in defect.help


def test_the_card_prints_the_intervals_of_the_table():
    """One rounding, outward: what the table of the outlets says is what the card says."""
    card = CliRunner().invoke(chain, ["card", "demo/outlets.toml"]).stdout
    row = outlets(load_installation("demo/outlets.toml")).row(0, 0)
    assert f" {span_of(row.level_low, row.level_high)} ____" in card


@pytest.mark.usefixtures("trials")
def test_an_amplifier_that_the_supply_does_not_suit_is_offered_with_its_feed():
    """The file with the change alone would not work: 12 V reach an amplifier made for 5 V."""
    words = [text for each in improve_reception(changed()).improvements for text in each.words]
    other = [text for text in words if text.startswith("masthead-amplifier-5v in place of mast")]
    assert other
    assert all(text.endswith("fed with 5 V in place of 12 V") for text in other)
    shown = " ".join(CliRunner().invoke(chain, ["outlets", "demo/outlets.toml", "--place"]).stdout.split())
    assert "Each is taken as fed: masthead-amplifier-5v 5 V up the lead, masthead-amplifier 12 V up the lead." in shown


@pytest.mark.usefixtures("trials")
def test_an_amplifier_without_its_feed_is_no_amplifier_in_what_would_mend_it():
    house = changed(('supply = "12 V"', "# none"))
    now = score(bypassed(house, ["mast"]))
    found = improve_reception(house)
    assert (found.now, place_amplifier(house).now) == (now, now)
    feed = next(each for each in found.improvements if each.words == ("mast: fed with 12 V",))
    assert feed.score == score(changed())
    assert not [
        each
        for each in found.improvements
        if len(each.words) == 2 and "mast: fed" in str(each.words) and "after" in str(each.words)
    ]


MAINS = '\n[[have]]\npart = "distribution-amplifier"\n'


@pytest.mark.usefixtures("trials")
def test_an_amplifier_on_the_mains_is_put_indoors_and_starves_none_that_is_fed_up_the_lead():
    """What is proposed, built as it is worded, fits, is fed, and brings what it promises."""
    house = changed(('[[outlet]]\nid = "hall"', MAINS + '\n[[outlet]]\nid = "hall"'))
    found = improve_reception(house)
    words = [word for each in found.improvements for word in each.words if word.startswith("distribution-amplifier")]
    assert words
    assert not [word for word in words if re.search(r"(after|in place of) (antenna|tail|mast|downlead)\b", word)]
    best = next(each for each in found.improvements if len(each.words) == 1 and "distribution" in each.words[0])
    gain_db, port, leads = re.fullmatch(
        r"distribution-amplifier of (\S+) dB after (\S+)(?: \(and (a short lead|2 short leads)\))?", best.words[0]
    ).groups()
    lead = '[[item]]\nid = "{}"\npart = "rg6"\nafter = "{}"\nlength = "0.5 m"\n'
    own = f'[[item]]\nid = "more"\npart = "distribution-amplifier"\ngain = "{gain_db} dB"\nafter = "before"\n'
    below = [each.id for each in (*house.items, *house.outlets) if each.after == port]
    text = re.sub(rf'(id = "{below[0]}"\n(?:.*\n)*?after = )"{re.escape(port)}"', r'\1"behind"', TEXT)
    built = parse_installation(
        (text + "\n" + lead.format("before", port) + own + lead.format("behind", "more")).encode(),
        "h.toml",
        Path("demo"),
    )
    assert check_installation(built).fits
    assert not outlets(built, draws=400).unpowered
    # Two leads of half a metre, where one may do, cost some tenths.
    assert score(built).room_db == pytest.approx(best.score.room_db, abs=0.4)
    assert leads
    places = place_amplifier(house).places
    assert {each.after for each in places if each.part == "distribution-amplifier"}
    assert not {"antenna", "tail"} & {each.after for each in places if each.part == "distribution-amplifier"}
    assert "antenna" in {each.after for each in places if each.part == "masthead-amplifier"}


@pytest.mark.usefixtures("trials")
def test_the_same_amplifier_with_more_gain_is_an_offer_too():
    """`--place` and `--improve` say the same of it."""
    offer = '\n[[offer]]\npart = "masthead-amplifier"\ngain = "26 dB"\nprice = "39 EUR"\n\n[[outlet]]\nid = "hall"'
    house = changed(('gain = "18 dB"', 'gain = "12 dB"'), ('[[outlet]]\nid = "hall"', offer))
    words = [word for each in improve_reception(house).improvements for word in each.words]
    assert "masthead-amplifier in place of mast, gain 26 dB" in words


@pytest.mark.usefixtures("trials")
def test_where_all_works_as_stated_and_not_for_certain_no_amplifier_is_denied(tmp_path):
    """What `outlets` calls undecided must not be called well: the trials without an amplifier are looked at, too."""
    path = tmp_path / "house.toml"
    assert CliRunner().invoke(chain, ["new", "--outlets", "3", "-o", str(path)]).exit_code == 0
    installation = load_installation(path)
    found, now = place_amplifier(installation), outlets(installation)
    assert found.without.room_db >= 0 > found.without_ends[0]
    assert now.count("not proven") == 3 * len(installation.channels)
    lines = placement.verdict_lines(found)
    assert lines[0].startswith("It may do without an amplifier")
    assert f"{math.floor(found.without_ends[0]):+d} to" in lines[0]
    assert lines[2].startswith("Next: measure the level at the antenna; if it is low, put one at the antenna")
    assert found.to_dict()["without"]["room_low_db"] == found.without_ends[0]


def test_the_amplifier_that_a_new_file_shows_fits_when_it_is_written_as_shown(tmp_path):
    path = tmp_path / "house.toml"
    assert CliRunner().invoke(chain, ["new", "--outlets", "3", "-o", str(path)]).exit_code == 0
    text = path.read_text(encoding="utf-8")
    shown = re.search(r"(?:^# .*\n)*\Z", text[text.index("# [[item]]") :], re.MULTILINE)[0]
    text = text.replace(shown, re.sub("^# ", "", shown, flags=re.MULTILINE))
    text = text.replace('after = "downlead"\n', 'after = "patch"\n', 1).replace(
        'after = "antenna"', 'after = "mast"', 1
    )
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(chain, ["check", str(path)])
    assert (done.exit_code, done.output.splitlines()[0][:13]) == (0, "Fits together"), done.output
    assert outlets(load_installation(path), draws=400).unpowered == ()
    apart = text.replace('id = "tail"\npart = "rg6"\nafter = "antenna"\nlength = "0.5 m"\n[[item]]\n', "")
    apart = apart.replace('after = "tail"', 'after = "antenna"')
    path.write_text(apart, encoding="utf-8")
    refused = CliRunner().invoke(chain, ["check", str(path)])
    assert 'part = "rg6", length = "0.5 m"' in refused.output


@pytest.mark.usefixtures("trials")
def test_where_all_works_without_one_no_amplifier_is_called_for():
    """A strong field: the first line says that none is needed, whatever the best place would add."""
    strong = re.sub(r'field = "[^"]*"', 'level = "68 dBuV at antenna"', TEXT)
    found = place_amplifier(parse_installation(strong.encode()))
    lines = placement.verdict_lines(found)
    assert found.without_ends[0] >= 0
    assert "No amplifier is needed" in lines[0]
    plain = placement.verdict_lines(place_amplifier(changed()))
    assert "No amplifier is needed" not in plain[0]
    loud = place_amplifier(parse_installation(re.sub(r'field = "[^"]*"', 'field = "95 dBuV/m"', TEXT).encode()))
    assert loud.without.limit == "overload"
    assert placement.verdict_lines(loud)[0].startswith("Best with no amplifier")
