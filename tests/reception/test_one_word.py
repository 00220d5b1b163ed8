"""What limits an outlet has one word on every screen, and rows stand in the order of a column that is shown."""

import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from chain.cli.main import chain
from chain.reception.installation_file import parse_installation
from chain.reception.levels import LIMITS
from chain.reception.outlets import outlets
from chain.reception.placing_amplifier import score

DEMO = Path("demo/outlets.toml").read_text(encoding="utf-8")


def house(text):
    return parse_installation(text.encode(), "house.toml", Path("demo"))


@pytest.mark.parametrize("gain", [8, 18, 38])
def test_a_row_is_named_by_its_nearest_limit_alone(gain):
    """Isolation and slope have warnings of their own, a match that would do has its next step."""
    found = outlets(house(DEMO.replace('gain = "18 dB"', f'gain = "{gain} dB"')), draws=400)
    rows = [found.row(*at) for at in found.order()]
    assert {row.limited_by for row in rows} <= set(LIMITS)
    assert any("isolation between outlets" in each for each in found.warnings)
    nominal = score(found.installation)
    assert nominal.limit in {row.limited_by for row in rows if row.outlet == nominal.outlet}


@pytest.mark.parametrize("gain", [18, 38])
def test_rows_stand_in_the_order_of_what_is_left_to_spare(gain, tmp_path):
    path = tmp_path / "house.toml"
    path.write_text(DEMO.replace('gain = "18 dB"', f'gain = "{gain} dB"'), encoding="utf-8")
    done = CliRunner().invoke(chain, ["outlets", str(path), "--all", "--draws", "400"], env={"COLUMNS": "80"})
    assert re.search(r"least to\s+level,", done.stdout)
    rows = re.findall(
        r"^ *\S+ +\d\d +([+-]\d+) .* (works|undecided|fails), (?:noise|level|overload)", done.stdout, re.M
    )
    assert len(rows) == 24
    order = [(("fails", "undecided", "works").index(word), int(spare)) for spare, word in rows]
    assert order == sorted(order)


@pytest.mark.parametrize(
    ("old", "new", "second"),
    [
        ('field = "52 dBuV/m"', 'field = "52 dBuV/m"\nneed = "45 dB"\nmargin = "0 dB"', "dB; noise."),
        ('gain = "18 dB"', 'gain = "18 dB"', "needs at least 45."),
        ('level = "66 dBuV"', 'level = "98 dBuV"', "in all, up to"),
    ],
)
def test_the_second_line_says_what_the_limit_asks(old, new, second):
    from chain.outlet_report.outlets import verdict_lines

    text = DEMO.replace(old, new)
    lines = verdict_lines(
        outlets(house(text.replace('mode = "DVB-T 64QAM 2/3"\n', "") if "need" in new else text), draws=400)
    )
    assert second in lines[1]
    assert "needs 0" not in lines[1]
    assert all(len(line) <= 80 for line in lines)


@pytest.mark.parametrize("overload", [60, 73, 76])
def test_a_channel_does_not_work_where_all_channels_together_overload_the_receiver(overload):
    """A row's chance counts trials in which the total is borne too: no outlet works oftener than its worst channel."""
    free, drawn = (_tuned(limit) for limit in (110, overload))
    assert (drawn.outlet_probability <= drawn.probability.min(axis=1)).all()
    assert (drawn.probability <= free.probability).all()
    # The ends of the total leave 2.5 % of the trials on either side.
    low, high = drawn.total_dbuv
    assert drawn.probability[low > overload].max(initial=0) <= 0.025
    assert (free.probability - drawn.probability)[high < overload].max(initial=0) <= 0.025


def _tuned(overload):
    receiver = f'receiver = {{ noise_figure = "7 dB", reflection = "6 dB", overload = "{overload} dBuV" }}'
    return outlets(house(DEMO.replace('receiver = "tv"', receiver)), draws=1000).drawn
