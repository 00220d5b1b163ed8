"""The page in a real browser: silent, self-contained, alive, operable by keyboard, accessible, on two printed sheets.

Needs Debian's `chromium`, Playwright's Python package and axe-core (as axe-playwright-python ships it); skipped, with the
reason shown, where one of them is absent.
"""

import re
import shutil
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path

import numpy as np
import pytest
from pages import BOATHOUSE, HOSTILE, SWEEP, hostile_setup, short_boathouse

from chain.analyses.page import page
from chain.files.setup_file import load_setup, parse_setup
from chain.html.page import card_html, page_html
from chain.report.numbers import span, vswr
from chain.sweeps.read import read_sweep

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
DRAWS = 1000
LIVE = 'svg[aria-labelledby^="plot-frequency"] [data-line="reading"]'
GRAVE = ("serious", "critical")


def missing():
    """What the browser tests lack here, or nothing."""
    if CHROMIUM is None:
        return "no chromium on this machine"
    names = ("playwright", "axe_playwright_python")
    return next((f"no Python package {name}" for name in names if find_spec(name) is None), "")


pytestmark = pytest.mark.skipif(bool(missing()), reason=missing() or "nothing is missing")


@pytest.fixture(scope="module")
def browser():
    """One headless Chromium for all tests."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture(scope="module")
def measured():
    """The page of the boathouse and its sweep."""
    setup = load_setup(BOATHOUSE)
    return page(setup, BOATHOUSE.read_text("utf-8"), read_sweep(str(SWEEP)), (str(BOATHOUSE), str(SWEEP)), DRAWS)


@pytest.fixture(scope="module")
def pages(measured, tmp_path_factory):
    """Files to open, by name."""
    folder = tmp_path_factory.mktemp("pages")
    splitter = Path("demo/splitter.toml")
    feed = short_boathouse(('dc_feed = "0 V"', 'dc_feed = "18 V"'))
    sources = {
        "hostile": hostile_setup(),
        "splitter": splitter.read_text("utf-8").replace("points = 225", "points = 57"),
        "feed": feed,
    }
    made = {name: page(parse_setup(text.encode(), name), text, draws=DRAWS) for name, text in sources.items()}
    texts = {name: page_html(each) for name, each in made.items()}
    texts |= {"measured": page_html(measured), "card": card_html(made["feed"].card)}
    for name, text in texts.items():
        (folder / f"{name}.html").write_text(text, "utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in texts}


@contextmanager
def opened(browser, address, width=1280, **settings):
    """A page that has been loaded, and all that it said and asked for."""
    context = browser.new_context(viewport={"width": width, "height": 900}, **settings)
    tab = context.new_page()
    said, asked = [], []
    tab.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
    tab.on("pageerror", lambda error: said.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url))
    tab.goto(address)
    try:
        yield tab, said, asked
    finally:
        context.close()


@pytest.mark.parametrize("name", ["measured", "hostile", "card"])
def test_the_page_is_silent_and_asks_for_nothing(browser, pages, name):
    """No message on the console, no error, and no request but for the file itself; hostile text runs nothing."""
    with opened(browser, pages[name]) as (tab, said, asked):
        assert said == []
        assert asked == [pages[name]]
        if name == "hostile":
            assert tab.inner_text("h1") == HOSTILE
            assert tab.query_selector("img") is None


def test_the_policy_stops_what_should_not_be_there(browser, pages):
    """An image from elsewhere and a script put in afterwards are both refused by the page itself."""
    with opened(browser, pages["measured"]) as (tab, _, _):
        tab.evaluate(
            """() => {
              window.stopped = [];
              document.addEventListener("securitypolicyviolation", (event) => window.stopped.push(event.effectiveDirective));
              const image = new Image();
              image.src = "https://example.invalid/a.png";
              const script = document.createElement("script");
              script.textContent = "window.ran = 1";
              document.body.append(image, script);
            }"""
        )
        tab.wait_for_function("window.stopped.length > 1")
        assert sorted(tab.evaluate("window.stopped")) == ["img-src", "script-src-elem"]
        assert tab.evaluate("window.ran") is None


def test_the_slider_moves_the_reading(browser, pages, measured):
    """What the page says after a move is what the engine says of that true value at that frequency; the chart follows."""
    grid = measured.grid
    with opened(browser, pages["measured"]) as (tab, said, _):
        before = tab.inner_text("#reading-text")
        line = tab.get_attribute(LIVE, "d")
        column = 17
        for true in (0.0, 300 / 600, 1.0):
            tab.fill("#true", str(round(true * 600)))
            tab.fill("#freq", str(column))
            row = int(np.argmin(np.abs(grid["true"] - true)))
            at = {name: grid[name][row, column] for name in ("reading_vswr", "reading_low", "reading_high")}

            def ratio(magnitude):
                return (1 + magnitude) / (1 - magnitude) if magnitude < 1 else float("inf")

            told = tab.inner_text("#reading-text")
            assert f"true VSWR {vswr(ratio(true))} at {grid['freq_hz'][column] / 1e6:g} MHz" in told
            assert f"reads {vswr(ratio(at['reading_vswr']))};" in told
            assert f"interval {span(ratio(at['reading_low']), ratio(at['reading_high']))}," in told
            assert told != before
        assert tab.get_attribute(LIVE, "d") != line
        assert tab.inner_text("#at-true") == ">1000"
        assert said == []


def test_the_page_begins_with_the_row_of_the_limit(browser, pages, measured):
    """Before anything is moved the live sentence tells the table's row of the limit, figure for figure."""
    row = next(row for row in measured.rows if row.true_vswr == measured.expectation.limit_vswr)
    with opened(browser, pages["measured"]) as (tab, _, _):
        told = tab.inner_text("#reading-text")
    assert (
        f"reads {vswr(row.reading_vswr)}; interval {span(row.reading_low, row.reading_high)}, guaranteed bound " in told
    )
    assert f"{span(row.bound_low, row.bound_high)}." in told


def test_the_keyboard_moves_the_sliders(browser, pages):
    """Tab reaches them, arrows move them, and what they stand for is told to a screen reader."""
    with opened(browser, pages["measured"]) as (tab, _, _):
        tab.focus("#true")
        before = tab.inner_text("#reading-text")
        tab.keyboard.press("End")
        assert tab.get_attribute("#true", "aria-valuetext") == "VSWR >1000"
        assert tab.inner_text("#reading-text") != before
        tab.keyboard.press("Tab")
        assert tab.evaluate("document.activeElement.id") == "freq"
        tab.keyboard.press("Home")
        assert tab.get_attribute("#freq", "aria-valuetext") == "174 MHz"
        tab.focus("#point")
        told = tab.inner_text("#point-text")
        tab.keyboard.press("End")
        assert tab.inner_text("#point-text").startswith("240 MHz: the screen reads")
        assert tab.inner_text("#point-text") != told


def test_charts_answer_to_the_pointer(browser, pages, measured):
    """Over the sweep's chart the point under the pointer is told; off the chart the slider's point comes back."""
    with opened(browser, pages["measured"]) as (tab, _, _):
        told = tab.inner_text("#point-text")
        chart = tab.query_selector('svg[aria-labelledby^="plot-sweep"]')
        chart.scroll_into_view_if_needed()
        box = chart.bounding_box()
        left, _, width, _ = map(float, chart.get_attribute("data-frame").split())
        scale = box["width"] / 520
        tab.mouse.move(box["x"] + (left + width / 2) * scale, box["y"] + box["height"] / 2)
        assert tab.inner_text("#point-text").startswith("207 MHz: the screen reads")
        index = int(np.argmin(np.abs(measured.recovery.freq_hz - 207e6)))
        assert f"the antenna is {vswr(measured.recovery.true_vswr[index])};" in tab.inner_text("#point-text")
        tab.mouse.move(1, 1)
        assert tab.inner_text("#point-text") == told


def test_everything_can_be_read_without_javascript(browser, pages):
    """Verdict, tables, charts, cautions and card are there; sliders are not."""
    with opened(browser, pages["measured"], java_script_enabled=False) as (tab, said, asked):
        seen = tab.inner_text("main")
        for words in (
            "Cannot decide",
            "What to expect",
            "Assumed",
            "Bench card",
            "Static",
            "[calibration]",
            "Ohmmeter",
        ):
            assert words in seen
        assert not tab.is_visible("#true")
        assert not tab.is_visible("#reading-text")
        assert tab.is_visible('svg[aria-labelledby^="plot-true"]')
        assert len(asked) == 1
        assert said == []


@pytest.mark.parametrize(
    ("name", "width"),
    [
        ("measured", 390),
        ("card", 390),
        ("hostile", 1280),
        *(
            pytest.param(*each, marks=pytest.mark.replay)
            for each in [("measured", 1280), ("splitter", 390), ("hostile", 390)]
        ),
        *(pytest.param(*each, marks=pytest.mark.replay) for each in [("splitter", 1280), ("card", 1280)]),
    ],
)
def test_axe_finds_no_grave_fault_and_nothing_sticks_out(browser, pages, name, width):
    """No serious or critical fault by axe-core's rules (contrast, names, regions, keyboard), no sideways scrolling."""
    import axe_playwright_python

    rules = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text("utf-8")
    with opened(browser, pages[name], width, bypass_csp=True) as (tab, _, _):
        tab.evaluate(rules)
        found = tab.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert found["passes"]
        print(f"{name} at {width} px: {len(found['violations'])} violations of {len(found['passes'])} rules that apply")
        grave = [
            (each["id"], each["nodes"][0]["html"][:120]) for each in found["violations"] if each["impact"] in GRAVE
        ]
        assert grave == []
        assert tab.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.parametrize(
    ("name", "sheets"), [("measured", 2), ("splitter", 2), ("feed", 2), ("hostile", 2), ("card", 1)]
)
def test_print_is_on_two_sheets_the_card_on_the_last(browser, pages, name, sheets):
    """A4 by the page's own rule: the report on one sheet, the card on another."""
    with opened(browser, pages[name]) as (tab, _, _):
        printed = tab.pdf(prefer_css_page_size=True)
        tab.emulate_media(media="print")
        parted = tab.evaluate("getComputedStyle(document.querySelector('.card')).breakBefore")
        assert parted == ("page" if sheets == 2 else "auto")
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) == sheets
    size = [float(each) for each in re.search(rb"/MediaBox\s*\[([^\]]*)\]", printed).group(1).split()]
    assert size == pytest.approx([0, 0, 595, 842], abs=1.5)


def test_the_card_of_a_set_up_is_the_page_that_the_report_ends_with(browser, pages):
    """The same text, sheet for sheet."""
    with opened(browser, pages["card"]) as (tab, _, _):
        alone = tab.inner_text("section.card")
    with opened(browser, pages["feed"]) as (tab, _, _):
        assert tab.inner_text("section.card") == alone
