"""Levels seen that lack what an amplifier should give, or a lead, and what then is said of the outlets."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from further import wide

from chain.cli.main import chain
from chain.outlet_report.seen import verdict_lines
from chain.reception.installation_file import load_installation, parse_installation
from chain.reception.levels import nominal_levels
from chain.reception.seen import SeenLevel, compare_seen

pytestmark = pytest.mark.usefixtures("answered_once")

TEXT = Path("demo/outlets.toml").read_text(encoding="utf-8")
HOUSE = load_installation("demo/outlets.toml")


def seen(house, lost_db, antenna=True):
    """The nominal levels of every outlet less what is lost on its way, and those of the antenna into 75 ohm."""
    nominal = nominal_levels(house)
    names = [channel.name for channel in house.channels]
    found = [
        SeenLevel(outlet.id, name, float(nominal.level_dbuv[row, column]) - lost_db.get(outlet.id, 0))
        for row, outlet in enumerate(house.outlets)
        for column, name in enumerate(names)
    ]
    # A reflection of 1/3 keeps 0.5 dB back.
    at = [SeenLevel("antenna", name, float(nominal.antenna_dbuv[n]) - 0.51) for n, name in enumerate(names)]
    return tuple(found + at if antenna else found)


def level_stated():
    text = TEXT.replace('field = "60 dBuV/m"', 'level = "62 dBuV at antenna"')
    text = text.replace('field = "52 dBuV/m"', 'level = "56 dBuV at antenna"').replace('field_spread = "5.5 dB"', "")
    return parse_installation(text.encode())


@pytest.mark.parametrize("lost_db", [20, *wide(17, 18, 22)])
@pytest.mark.parametrize("antenna", [True, False])
def test_where_all_lack_the_gain_the_amplifier_is_named_first(lost_db, antenna):
    """18 dB of gain, 2 dB of bypass: with the antenna's level seen, and with one that the file states."""
    house = HOUSE if antenna else level_stated()
    found = compare_seen(house, seen(house, dict.fromkeys(("hall", "workshop", "loft"), lost_db), antenna), draws=400)
    assert found.dead.id == "mast"
    lines = verdict_lines(found)
    assert "amplifier 'mast' seems not to work" in lines[0]
    assert "meter the DC" in lines[2]
    assert "12 V" in lines[2]
    assert all(len(line) <= 80 for line in lines)
    assert not found.works


@pytest.mark.parametrize(
    "lost_db",
    [
        {"hall": 9, "workshop": 9, "loft": 9},
        {"hall": 32, "workshop": 32, "loft": 32},
        {"hall": 0, "workshop": 20, "loft": 20},
        *wide({"workshop": 20}),
    ],
)
def test_what_is_not_the_gain_or_not_everywhere_is_no_dead_amplifier(lost_db):
    found = compare_seen(HOUSE, seen(HOUSE, lost_db), draws=400)
    assert found.dead is None
    assert found.suspects
    assert len(found.suspects) <= 2


def test_an_outlet_that_lacks_far_less_than_the_gain_clears_the_amplifier():
    lost_db = {"hall": 8, "workshop": 20, "loft": 20}
    found = compare_seen(HOUSE, seen(HOUSE, lost_db), draws=400)
    assert not any(row.fits for row in found.rows if row.place in lost_db)
    assert found.dead is None


def test_a_stated_level_stays_where_the_outlets_lack_more_than_it_may_be_off():
    """9 dB too little everywhere: the way that all share is suspected, the amplifier first, and no field that nobody stated."""
    house = level_stated()
    found = compare_seen(house, seen(house, dict.fromkeys(("hall", "workshop", "loft"), 9), antenna=False), draws=400)
    assert not any(row.fits for row in found.rows)
    (suspect,) = found.suspects
    assert "field" not in suspect
    assert suspect.split("suspect ")[1].startswith("mast, ")
    near = compare_seen(house, seen(house, dict.fromkeys(("hall", "workshop", "loft"), 1), antenna=False), draws=400)
    assert all(row.fits for row in near.rows)


def test_a_level_seen_below_what_is_needed_never_works():
    """Whatever the cause: the outlet is judged by what was seen there, the others go on as they were."""
    found = compare_seen(HOUSE, seen(HOUSE, {"hall": 40}), draws=400)
    rows = [found.after.row(0, column) for column in range(len(HOUSE.channels))]
    assert {row.verdict for row in rows} == {"fails"}
    for row in rows:
        (own,) = (each for each in found.rows if (each.place, each.channel) == ("hall", row.channel))
        assert row.level_dbuv == pytest.approx(own.seen_dbuv, abs=0.3)
    assert not found.works


def test_the_command_is_short_and_enforces(tmp_path):
    path = tmp_path / "dead.csv"
    rows = [
        f"{each.place},{each.channel},{each.shown_dbuv:.1f}"
        for each in seen(HOUSE, dict.fromkeys(("hall", "workshop", "loft"), 20))
    ]
    path.write_text("\n".join(["place,channel,level_dbuv", *rows]), encoding="utf-8")
    words = ["outlets", "demo/outlets.toml", "--seen", str(path), "--enforce", "--draws", "400"]
    done = CliRunner().invoke(chain, words)
    assert done.exit_code == 1, done.output
    text = done.stdout
    assert text.startswith("The amplifier 'mast' seems not to work")
    prose = [
        line for line in text.splitlines() if line and not line.rstrip().endswith((" off", " fits")) and "─" not in line
    ]
    assert len(prose) <= 13
    assert "every one works" not in text
