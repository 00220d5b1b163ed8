"""Names of modes and channels in installations: taken however they are spelt, answered with their own kind where misspelt."""

import pytest
from further import wide

from chain.outlet_report.seen import verdict_lines
from chain.reception.installation_file import load_installation
from chain.reception.seen import compare_seen, read_seen
from library.errors import LibraryError
from library.reception import mode


@pytest.mark.parametrize(
    ("text", "service"),
    [
        ("DVB-T2 256QM 2/3", "DVB-T2 "),
        ("DVB-T2 64QAM 7/8", "DVB-T2 "),
        ("DVB-T2 1024QAM 2/3", "DVB-T2 "),
        ("T2 256QAM 2/5", "DVB-T2 "),
        ("DVB-T 256QAM 2/3", "DVB-T "),
        ("DVBT 64QAM 1/3", "DVB-T "),
        ("DVB-S2 QPSK 7/9", "DVB-S2 "),
    ],
)
def test_a_misspelt_mode_is_answered_with_modes_of_its_own_standard(text, service):
    with pytest.raises(LibraryError) as caught:
        mode(text)
    assert caught.value.near
    assert all(each.startswith(service) for each in caught.value.near)
    assert all(mode(each).id == each for each in caught.value.near)


@pytest.mark.parametrize("text", ["DVBT2 256QAM 2/3", "dvb-t2 256 qam 2/3", "DVB-T2 256-QAM 2/3", "DVB-T2  256qam 2/3"])
def test_a_mode_is_known_however_it_is_spelt(text):
    assert mode(text).id == "DVB-T2 256QAM 2/3"


def levels_named(name, folder):
    """A house, and levels seen in it on a channel that somebody names so."""
    table = folder / "seen.csv"
    table.write_text(f"outlet,channel,level_dbuv\nhall,{name},99\nhall,E40,45\n")
    house = load_installation("demo/outlets.toml")
    return house, read_seen(str(table), house)


@pytest.mark.parametrize("name", ["21", "E21", "ch 21", "channel 21", "K21", "474 MHz"])
def test_levels_seen_name_channels_as_people_write_them(name, tmp_path):
    assert [each.channel for each in levels_named(name, tmp_path)[1]] == ["21", "40"]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", ["channel 21", *wide("21", "474 MHz")])
def test_the_answer_to_levels_seen_fits_the_screen_however_channels_are_named(name, tmp_path):
    found = compare_seen(*levels_named(name, tmp_path), draws=400)
    assert all(len(line) <= 80 for line in verdict_lines(found))
