"""The page as a file: the commands' own figures, every text escaped, nothing loaded, readable without its script."""

import base64
import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from further import wide
from pages import BOATHOUSE, HOSTILE, SWEEP, Reader, few_readings, hostile_setup, measured_setup, short_boathouse
from screens import says

from chain.analyses.expect import expect
from chain.analyses.page import MOST_FREQUENCIES, page
from chain.analyses.recover import recover
from chain.assembly.cascade import read_sweep_for
from chain.cli.main import chain
from chain.files.setup_file import load_setup, parse_setup
from chain.html.charts import decimated, sweep_chart
from chain.html.diagram import chain_svg, chain_words, strands
from chain.html.inline_charts import curve_svg
from chain.html.live import live_json
from chain.html.page import CHANNEL_SIGNS, card_html, page_html
from chain.plots.figure import CurveChart, Level, Series, Span, even_axis, vswr_axis
from chain.reflection import magnitude_from_vswr
from chain.setup_report.card import card_lines
from chain.setup_report.expect import verdict_lines
from chain.setup_report.numbers import Units, figure, frequency, in_units, span
from chain.setup_report.phrases import sentence, verdict_word
from chain.setup_report.recover import CHANNEL_GROUPS, bound_words
from chain.setup_report.recover import opening as recover_lines
from chain.sweeps.readings import Readings

pytestmark = pytest.mark.usefixtures("answered_once")

DRAWS = 1000
SCRIPT_LIMIT = 50_000
PAGE_LIMIT = 1_500_000


def run(*words, status=0):
    """What a command writes to stdout; it must end with the status."""
    done = CliRunner().invoke(chain, [str(word) for word in words])
    assert done.exit_code == status, done.output
    return done.stdout


@pytest.fixture(scope="module")
def setup():
    return parse_setup(measured_setup().encode(), "measured.toml")


@pytest.fixture(scope="module")
def made(setup):
    """The page of the boathouse and its sweep."""
    return page(setup, measured_setup(), few_readings(), (str(BOATHOUSE), str(SWEEP)), DRAWS)


@pytest.fixture(scope="module")
def text(made):
    return page_html(made)


@pytest.fixture(scope="module")
def hostile():
    """A page whose title and id are full of markup."""
    source = hostile_setup(1)
    return page_html(page(parse_setup(source.encode(), "x"), source, draws=DRAWS))


def test_the_page_says_what_the_commands_say(made, setup):
    """Readings to expect and the recovered sweep are those of `expect` and `recover`, seed for seed."""
    known = expect(setup, draws=DRAWS)
    assert [row.true_vswr for row in made.rows] == [row.true_vswr for row in known.rows]
    for ours, theirs in zip(made.rows, known.rows, strict=True):
        assert vars(ours) == pytest.approx(vars(theirs))
    assert made.expectation.aim_reading.vswr == known.aim_reading.vswr
    found = recover(setup, few_readings(), draws=DRAWS)
    np.testing.assert_array_equal(made.recovery.high, found.high)
    assert made.recovery.verdict == found.verdict == "not proven"


def test_the_verdict_stands_before_everything_else(text):
    """Title, verdict, and only then the drawing, figures, cautions and the set-up file."""
    marks = ("<h1>", "Cannot decide", "Warning:", 'class="strip"', "<svg", "<table", 'id="cautions"')
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)


def test_the_head_is_what_the_screen_of_the_command_opens_with(made, text):
    """The three lines of `recover` with a sweep, of `expect` without, of `card` on the card; warnings under them."""
    for lines, page_text in (
        (recover_lines(made.recovery), text),
        (verdict_lines(made.expectation), page_html(replace(made, recovery=None))),
        (card_lines(made.card), card_html(made.card)),
    ):
        reported = Reader(page_text).texts["p"]
        first = reported.index(lines[0])
        assert all(each.startswith(line) for each, line in zip(reported[first:], lines, strict=False))
    assert [each for each in Reader(text).texts["li"] if each.startswith("Warning:")] == [
        f"Warning: {sentence(each)}" for each in made.warnings
    ]


def test_a_bound_that_leaves_anything_open_says_so_as_the_screen_does():
    setup = parse_setup(short_boathouse().encode(), "x")
    sweep = few_readings()
    found = recover(setup, sweep, draws=1000)
    worst = int(np.argmax(found.bound_high))
    assert bound_words(found, worst) == "anything"
    made = page(setup, short_boathouse(), sweep, (str(BOATHOUSE), str(SWEEP)), 1000)
    assert re.search(rf">{frequency(found.freq_hz[worst])}</th>.*<td>anything</td></tr>", page_html(made))
    # The slider over the sweep too.
    live = json.loads(live_json(made))["sweep"]
    assert live["bound"][live["freq_mhz"].index(found.freq_hz[worst] / 1e6)] == "anything"


def test_every_channel_has_a_tile_in_the_order_of_the_channels(made, setup):
    """Number and interval in the user's unit, grade as a sign and a word, tile by tile; without a limit no grade."""
    for in_db in (False, True):
        with in_units(Units(in_db)):
            found = Reader(page_html(made))
            tiles = [each.split() for each in found.texts["li"] if each[0].isdigit()]
            for channel, tile in zip(made.recovery.channels, tiles, strict=True):
                assert tile[1] == figure(channel.vswr)
                assert says(" ".join(tile), span(channel.low, channel.high))
                words = verdict_word(channel.verdict, channel.grade)
                assert says(" ".join(tile), CHANNEL_SIGNS[words], words)
                # The table says the same word as the tile.
                assert any(row.startswith(f"{channel.channel}{words}") for row in found.texts["tr"])
    assert set(CHANNEL_SIGNS) == set(CHANNEL_GROUPS)


def test_the_card_of_a_measured_page_is_filled_in_by_channel(made, text):
    """Reading, true match, interval and grade of each channel; the card of no sweep is left to be filled in."""
    rows = re.findall(
        r'<tr><th scope="row">ch (.*?)</th>(.*?)</tr>', text.partition('<table class="record filled">')[2]
    )
    filled = {name: re.findall(r"<td.*?>(.*?)</td>", cells) for name, cells in rows}
    found = {each.channel: each for each in made.recovery.channels}
    assert [f"ch {name}" for name in filled] == list(made.card.places)
    for name, (reading, ohm, ends, word) in filled.items():
        each = found[name.partition(",")[0]]
        assert reading == figure(each.reading_vswr)
        assert ends == f"<b>{figure(each.vswr)}</b> <small>{span(each.low, each.high)}</small>"
        assert word == verdict_word(each.verdict, each.grade)
        assert re.fullmatch(r"\d+[+-]j\d+", ohm)
    blank = replace(made.card, recovery=None, measured=())
    assert "<td>" not in card_html(blank).partition('<table class="record">')[2].partition("</table>")[0]


def test_figures_stand_in_the_page_for_those_without_a_script(made, text):
    """Every row of the terminal's table is in the HTML; what needs the script is hidden until it runs."""
    rows = Reader(text).texts["tr"]
    for row in made.rows:
        assert any(f"{row.reading_vswr:.2f}" in each for each in rows)
    assert says(text, "open", "or more")
    assert all("hidden" in attrs for attrs in Reader(text).tags("div") if "live" in (attrs.get("class") or "").split())


@pytest.mark.usefixtures("few_trials")
def test_elements_are_closed_in_their_places(text, hostile, made):
    """A reader that forgives nothing finds no element left open."""
    for each in (text, hostile, card_html(made.card)):
        assert Reader(each).faults == []


def test_text_of_the_user_never_becomes_markup(hostile):
    """Title, ids and the file itself are shown as they were written; no element and no attribute comes of them."""
    found = Reader(hostile)
    assert found.texts["h1"] == [HOSTILE]
    assert found.texts["title"][0] == HOSTILE
    assert found.texts["pre"][0].rstrip("\n") == hostile_setup(1).rstrip("\n")
    assert len(found.tags("script")) == 2
    assert not found.tags("img")
    assert not found.tags("b") or "</script><b>pad" in found.texts["b"]
    assert not [name for _, attrs in found.elements for name in attrs if name.startswith("on")]
    assert HOSTILE not in hostile


def test_control_characters_do_not_reach_the_page():
    """A character that steers or reorders text is replaced, in the title as in the file."""
    source = short_boathouse(("Boathouse Band", "Boat\u202ehouse \\u0007Band"))
    text = page_html(page(parse_setup(source.encode(), "x"), source, draws=DRAWS))
    assert "\u202e" not in text
    assert "\x07" not in text
    assert "Boat?house ?Band" in text


def test_nothing_is_loaded_from_anywhere(text, hostile):
    """No address outside the page in any attribute or style."""
    for each in (text, hostile):
        found = Reader(each)
        links = [
            value for _, attrs in found.elements for name, value in attrs.items() if name in ("src", "href", "data")
        ]
        assert set(links) == {"#cautions"}
        assert not found.tags("link")
        assert not re.search(r"url\(|@import", "".join(found.texts["style"]))


def test_the_policy_forbids_all_but_our_own_script_and_style(text):
    """The digests in the policy are those of the two texts, and nothing else is allowed."""
    policy = next(attrs["content"] for attrs in Reader(text).tags("meta") if attrs.get("http-equiv"))
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    script = re.search(r"<script>(.*?)</script>", text, re.DOTALL).group(1)
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL).group(1)

    def digest(each):
        return f"'sha256-{base64.b64encode(hashlib.sha256(each.encode()).digest()).decode()}'"

    assert rules == {
        "default-src": "'none'",
        "script-src": digest(script),
        "style-src": digest(style),
        "base-uri": "'none'",
        "form-action": "'none'",
    }
    assert not [attrs for _, attrs in Reader(text).elements if "style" in attrs]


def test_the_script_is_small_and_ours(text):
    """Under 50 kB of plain ASCII, no plotting library; the whole page under 1.5 MB."""
    script = Path("chain/html/assets/page.js").read_text("ascii")
    assert len(script) < SCRIPT_LIMIT
    assert script in text
    assert len(text.encode()) < PAGE_LIMIT


def test_live_figures_hold_inside_the_page_what_expect_says_between_its_rows(setup, made):
    """Between two rows of the grid a straight line is within a hundredth of the true figure; ends are rounded outward."""
    found = json.loads(live_json(made))
    true = [1.03, 1.37, 1.9, 2.2, 4.4, 30.0]
    direct = expect(setup, true, draws=DRAWS).sweep
    at = np.array(found["true"]) / found["scale"]
    names = {"reading": "reading_vswr", "low": "reading_low", "high": "reading_high", "bound_high": "bound_high"}
    for short, name in names.items():
        rows = np.array(found[short]) / found["scale"]
        for index, value in enumerate(true):
            mine = [np.interp(magnitude_from_vswr(value), at, rows[:, column]) for column in range(rows.shape[1])]
            np.testing.assert_allclose(
                mine, magnitude_from_vswr(direct[name][index]), atol=0.005, err_msg=f"{short} {value}"
            )
    known = made.grid
    assert np.all(np.array(found["low"]) <= known["reading_low"] * found["scale"] + 1e-3)
    assert np.all(np.array(found["high"]) >= known["reading_high"] * found["scale"] - 1e-3)
    assert np.all(np.diff(found["true"]) > 0)


def test_live_figures_cannot_end_the_element_they_stand_in(made):
    """No `<`, `>` or `&` and nothing but ASCII in the block of figures, whatever a word in it may be."""
    words = ("</script><b>\u00fc&amp;",) * len(made.recovery.verdicts)
    block = live_json(replace(made, recovery=replace(made.recovery, verdicts=words)))
    assert block.isascii()
    assert not set("<>&") & set(block)
    assert json.loads(block)["sweep"]["verdict"][0] == words[0]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(("points", "most"), [(52, 21), *wide((250, MOST_FREQUENCIES))])
def test_a_long_sweep_is_decimated_to_its_worst_points(setup, made, points, most, monkeypatch):
    """Of more frequencies than are drawn (201) one more remains, the worst among them; of a sweep every stretch keeps its widest."""
    assert MOST_FREQUENCIES == 201
    monkeypatch.setattr("chain.analyses.page.MOST_FREQUENCIES", most)
    found = page(replace(setup, sweep=replace(setup.sweep, points=points)), draws=DRAWS)
    assert most <= found.grid["freq_hz"].size <= most + 1
    assert found.expectation.worst_hz in found.grid["freq_hz"]
    chosen = decimated(made.recovery, 20)
    assert chosen.size == 20
    assert np.all(np.diff(chosen) > 0)
    assert made.recovery.high.max() == made.recovery.high[chosen].max()
    assert decimated(made.recovery).size == made.recovery.freq_hz.size


def test_the_drawing_shows_every_connector_of_the_graph_with_its_gender():
    """As many plugs and jacks as the joints have, one box per item, end and arm; the words tell the same order."""
    for source in (BOATHOUSE, Path("demo/splitter.toml")):
        setup = load_setup(source)
        joints = [joint for each in strands(setup) for joint in each.joints if joint is not None]
        genders = [end.connector.gender for joint in joints for end in (joint.near, joint.far)]
        for tall in (False, True):
            picture = chain_svg(setup, tall)
            for gender in ("plug", "jack"):
                assert picture.count(f'class="{gender}"') == genders.count(gender)
            assert picture.count('class="box') == sum(len(each.blocks) for each in strands(setup))
            assert picture.count("calibrated here") == 1
    assert "arm A from splitter out2, ended in, 75 ohm" in chain_words(load_setup("demo/splitter.toml"))


def test_arms_are_drawn_to_their_ends():
    """A splitter's arm is a strand of its own, with the items that hang on it."""
    found = strands(parse_setup(hostile_setup(2).encode(), "x"))
    assert [block.name for block in found[1].blocks] == ["A", "stub", "cap"]
    assert [str(joint.far.connector) for joint in found[1].joints] == ["F-75 plug", "F-75 jack"]
    assert found[0].blocks[2 + 0].name == "lead 0"
    assert [block.arms for block in found[0].blocks if block.arms] == [("A",), ("B",)]


def test_a_chart_puts_values_where_its_axes_say():
    """Ends of the axes are the corners of the frame; a gap in a line parts it; a channel has its strip and a level its line."""
    x, nan = np.array([0.0, 1.0, 2.0, 3.0, 4.0]), float("nan")
    line = Series("a", "true", x, np.array([1.0, np.inf, nan, 2.0, 2.0]), x * 0 + 1, x * 0 + 2)
    chart = CurveChart(
        "t",
        "title",
        "note",
        even_axis("f", "MHz", 0, 4),
        vswr_axis("v", float("inf")),
        (line,),
        (Level("limit", "limit", 3.0), Level("here", "limit", 2.0, "y")),
        (Span("<21>", "fail", 1.0, 3.0),),
    )
    text = curve_svg(chart)
    left, top, width, height = map(float, re.search(r'data-frame="([^"]+)"', text).group(1).split())
    drawn = re.search(r'd="([^"]*)" data-line="true"', text).group(1)
    assert drawn == f"M{left:g} {top + height:g}L{left + width / 4:g} {top:g}M{left + 0.75 * width:g} " + (
        f"{top + height * 2 / 3:g}L{left + width:g} {top + height * 2 / 3:g}"
    )
    assert f"M{left:g} {top + height / 2:g}L{left + width:g} {top + height / 2:g}" in text
    assert "&lt;21&gt;: fail" in text


def test_single_readings_stand_as_marks_with_bars(setup):
    """Three readings are no curve: no line and no band joins them, each has its mark and its interval."""
    seen = Readings(np.array([180e6, 200e6, 220e6]), np.array([0.05, 0.06, 0.05]), None, "VSWR")
    text = curve_svg(sweep_chart(recover(setup, seen, draws=DRAWS)))
    assert "data-line" not in text
    assert "data-band" not in text
    assert text.count("<circle") == 2 * 3 + 1


def test_a_refused_reading_leaves_a_gap_and_is_named(setup):
    """A reading above what the chain can give is reported in words; the chart has no value there."""
    seen = Readings(np.array([180e6, 200e6, 220e6]), np.array([0.05, 0.9, 0.05]), None, "VSWR")
    found = page(setup, readings=seen, draws=DRAWS)
    text = page_html(found)
    assert says(text, "refused", "19.00", "200 MHz")
    assert json.loads(live_json(found))["sweep"]["low"][1] is None
    assert np.isnan(sweep_chart(found.recovery).series[0].low[1])


def test_a_stop_stands_at_the_top_of_the_verdict():
    """A set-up that would put DC on the port says so before anything else."""
    source = short_boathouse(('dc_feed = "0 V"', 'dc_feed = "18 V"'))
    text = page_html(page(parse_setup(source.encode(), "x"), source, draws=DRAWS))
    assert says(text[: text.index('class="head"')], "do not connect", "analyzer")
    assert says(text, "12.0 V")


def test_chains_without_limit_and_of_one_item_have_a_page():
    """No limit, one point, no near residuals: nothing is left out that a template would miss."""
    source = 'sweep = { start = "100 MHz", stop = "100 MHz", points = 1 }\n[near]\nconnector = "BNC-50 plug"\n'
    source += '[[chain]]\nid = "pad"\npart = "min-loss-pad"\n[far]\nconnector = "BNC-75 plug"\n'
    text = page_html(page(parse_setup(source.encode(), "x"), source, draws=DRAWS))
    assert says(text, "no limit")
    assert Reader(text).faults == []


@pytest.mark.usefixtures("few_trials")
def test_the_command_writes_a_page_or_json_and_overwrites_nothing(tmp_path):
    """HTML to the file named, JSON on request; an existing file, or an input, is left alone; --enforce tells by the status."""
    target, source, sweep = tmp_path / "page.html", tmp_path / "boathouse.toml", tmp_path / "sweep.csv"
    source.write_text(short_boathouse(), "utf-8")
    sweep.write_text("MHz,VSWR\n174,1.24\n207,1.03\n240,1.24\n", "utf-8")
    strict = tmp_path / "strict.toml"
    strict.write_text(re.sub(r'"VSWR 2.0"', '"VSWR 1.2"', short_boathouse()), "utf-8")
    run("report", strict, "--draws", DRAWS, "--enforce", "-o", target, status=1)
    whole = target.read_text("utf-8")
    assert whole.startswith("<!doctype html>")
    run("report", source, "-o", target, status=2)
    run("report", source, "-o", source, "--force", status=2)
    assert target.read_text("utf-8") == whole
    found = json.loads(run("report", source, sweep, "--draws", DRAWS, "--json", "--enforce", status=1))
    assert found["recover"]["verdict"] == "not proven"
    assert found["expect"]["rows"][0]["true_vswr"] == 1
    assert found["setup"] == source.read_text("utf-8")
    done = CliRunner().invoke(chain, ["report", str(source), "--draws", "200", "--json"])
    assert json.loads(done.stdout)["expect"]["draws"] == 1000
    assert says(done.stderr, "1000", "200 asked for")


def test_parts_that_do_not_fit_have_no_page(tmp_path):
    """The joint is named and the status is 2; sweep options without a sweep are refused too."""
    source = short_boathouse(('far = "F-75 plug"', 'far = "BNC-75 plug"'))
    bad = tmp_path / "bad.toml"
    bad.write_text(source, "utf-8")
    done = CliRunner().invoke(chain, ["report", str(bad)])
    assert done.exit_code == 2
    assert says(done.output, "lead", "BNC-75 plug", "F-75 jack", "fit")
    run("report", BOATHOUSE, "--column", "2", status=2)


@pytest.mark.process
def test_a_poor_encoding_gets_character_references():
    """Standard output in ASCII: every sign is still there for a browser; the set-up comes from standard input."""
    source = short_boathouse(("Boathouse Band", "Bootshaus Süd Band"))
    done = subprocess.run(
        [sys.executable, "-m", "chain", "report", "-", "--draws", str(DRAWS)],
        input=source.encode(),
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": "ascii"},
        check=True,
    )
    assert b"Bootshaus S&#252;d Band" in done.stdout
    assert done.stdout.isascii()


def test_the_help_of_page_and_card_stays_light():
    """No numpy, no template engine, nothing of the engine for `--help`."""
    code = (
        "import sys\nfrom chain.cli.main import chain\n"
        "for name in ('report', 'card'):\n    chain([name, '--help'], standalone_mode=False)\n"
        "heavy = {'numpy', 'jinja2', 'skrf', 'networkx', 'matplotlib', 'pydantic', 'rich'} & set(sys.modules)\n"
        "assert not heavy, heavy\n"
    )
    subprocess.run([sys.executable, "-c", code], check=True, capture_output=True)


def test_a_page_of_one_reading_a_channel_has_its_tiles(tmp_path):
    """Number, word and interval of every channel that was read, as a page of a whole sweep has them; the place with its frequency."""
    sweep = tmp_path / "read.csv"
    sweep.write_text("channel,vswr\n5,1.2\n8,1.05\n12,1.3\n")
    setup = load_setup("demo/downlead.toml")
    made = page(setup, "", readings=read_sweep_for(setup, str(sweep)), draws=DRAWS)
    found = made.recovery
    assert not found.channels
    tiles = re.findall(
        r"<li class=\"[\w-]+\">(.*?)</li>", page_html(made).partition('<ol class="strip">')[2].partition("</ol>")[0]
    )
    assert len(tiles) == 3
    for tile, name, vswr, low, high in zip(
        tiles, ("5", "8", "12"), found.true_vswr, found.low, found.high, strict=True
    ):
        assert f">{name}<" in tile
        assert figure(float(vswr)) in tile
        assert span(float(low), float(high)) in tile
    assert '<th scope="row">ch 12, 226.5 MHz</th>' in page_html(made)
