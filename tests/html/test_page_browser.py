"""The page in a real browser: silent, self-contained, alive, operable by keyboard, accessible in light and dark, whole in print.

Needs Debian's `chromium` and `poppler-utils`, Playwright's Python package and axe-core (as axe-playwright-python ships it);
skipped, with the reason shown, where one of them is absent.
"""

import shutil
import subprocess
from collections import Counter
from contextlib import contextmanager
from dataclasses import replace
from functools import lru_cache
from importlib.util import find_spec
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from further import wide
from pages import BOATHOUSE, HOSTILE, SWEEP, few_readings, hostile_setup, measured_setup, short_boathouse

from chain.analyses.page import page
from chain.files.setup_file import parse_setup
from chain.html.answers import log_html
from chain.html.installation import installation_html
from chain.html.page import card_html, page_html
from chain.reception.installation_file import load_installation
from chain.reception.outlets import outlets
from chain.records.trends import log_trends
from chain.setup_report.numbers import span, vswr
from chain.setup_report.recover import bound_words, opening, worst_point

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
FEED = short_boathouse(('dc_feed = "0 V"', 'dc_feed = "18 V"'))
LIVE = 'svg[aria-labelledby^="plot-frequency"] [data-line="reading"]'


def missing():
    """What the browser tests lack here, or nothing."""
    absent = next((name for name in ("chromium", "pdftotext", "pdfinfo") if shutil.which(name) is None), "")
    if absent:
        return f"no {absent} on this machine"
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
    setup = parse_setup(measured_setup().encode(), "measured")
    return page(setup, measured_setup(), few_readings(), (str(BOATHOUSE), str(SWEEP)), DRAWS)


class Pages(dict):
    """Addresses of the pages by name, each made when it is first asked for."""

    def __init__(self, folder, measured):
        super().__init__()
        self.folder, self.measured = folder, measured
        splitter = Path("demo/splitter.toml").read_text("utf-8").replace("points = 225", "points = 15")
        self.sources = {"hostile": hostile_setup(1), "long": hostile_setup(), "splitter": splitter, "feed": FEED}

    def __missing__(self, name):
        path = self.folder / f"{name}.html"
        path.write_text(self.text(name), "utf-8")
        self[name] = path.as_uri()
        return self[name]

    def text(self, name):
        """A page of that name."""
        if name == "measured":
            return page_html(self.measured)
        if name == "unread":
            return page_html(replace(self.measured, recovery=None))
        if name == "outlets":
            return installation_html(outlets(load_installation("demo/outlets.toml"), draws=400), "outlets", "[far]")
        if name == "log":
            return log_html(log_trends("demo/log"))
        source = self.sources["feed" if name == "card" else name]
        made = page(parse_setup(source.encode(), name), source, draws=DRAWS)
        return card_html(made.card) if name == "card" else page_html(made)


@pytest.fixture(scope="module")
def pages(measured, tmp_path_factory):
    """Files to open, by name."""
    return Pages(tmp_path_factory.mktemp("pages"), measured)


@contextmanager
def opened(browser, address, width=1280, **settings):
    """A page that has been loaded, and all that it said and asked for."""
    if settings:
        tab, said, asked = listened(browser, width, **settings)
    else:
        # A tab takes longer to make than to load: those of a width share one, left in between.
        tab, said, asked = shared_tab(browser, width)
        tab.goto("about:blank")
        said.clear()
        asked.clear()
    tab.goto(address)
    try:
        yield tab, said, asked
    finally:
        if settings:
            tab.context.close()


def listened(browser, width, **settings):
    """A tab, and the lists that what it says and asks for is added to."""
    tab = browser.new_context(viewport={"width": width, "height": 900}, **settings).new_page()
    said, asked = [], []
    tab.on("console", lambda message: said.append(f"{message.type}: {message.text}"))
    tab.on("pageerror", lambda error: said.append(str(error)))
    tab.on("request", lambda request: asked.append(request.url))
    return tab, said, asked


shared_tab = lru_cache(listened)


@pytest.mark.parametrize("name", ["hostile", "measured", *wide("card")])
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
        assert settled(tab, "window.stopped.length", lambda count: count > 1)
        assert sorted(tab.evaluate("window.stopped")) == ["img-src", "script-src-elem"]
        assert tab.evaluate("window.ran") is None


def test_the_slider_moves_the_reading(browser, pages, measured):
    """What the page says after a move is what the engine says of that true value at that frequency; the chart follows."""
    grid = measured.grid
    with opened(browser, pages["measured"]) as (tab, said, _):
        before = tab.inner_text("#reading-text")
        line = tab.get_attribute(LIVE, "d")
        column = 7
        for true in (0.0, 300 / 600, 1.0):
            tab.fill("#true", str(round(true * 600)))
            tab.fill("#freq", str(column))
            row = int(np.argmin(np.abs(grid["true"] - true)))
            at = {name: grid[name][row, column] for name in ("reading_vswr", "reading_low", "reading_high")}

            def ratio(magnitude):
                return (1 + magnitude) / (1 - magnitude) if magnitude < 1 else float("inf")

            reported = tab.inner_text("#reading-text")
            assert f"true VSWR {vswr(ratio(true))} at {grid['freq_hz'][column] / 1e6:g} MHz" in reported
            assert f"reads {vswr(ratio(at['reading_vswr']))};" in reported
            assert f"interval {span(ratio(at['reading_low']), ratio(at['reading_high']))}," in reported
            assert reported != before
        assert tab.get_attribute(LIVE, "d") != line
        assert tab.inner_text("#at-true") == ">1000"
        assert said == []


def test_the_sliders_begin_at_the_row_of_the_limit(browser, pages, measured):
    """Before anything is moved a page without a sweep tells the table's row of the limit, figure for figure."""
    with opened(browser, pages["unread"]) as (tab, _, _):
        reported = tab.inner_text("#reading-text")
    row = next(row for row in measured.rows if row.true_vswr == measured.expectation.limit_vswr)
    assert (
        f"reads {vswr(row.reading_vswr)}; interval {span(row.reading_low, row.reading_high)}, guaranteed bound "
        in reported
    )
    assert f"{span(row.bound_low, row.bound_high)}." in reported


def test_the_cursors_begin_at_the_point_that_the_verdict_names(browser, pages, measured):
    """Sweep, slider of the true value and slider of the frequency all stand at the verdict's worst point."""
    found = measured.recovery
    worst = worst_point(found)
    at, true = f"{found.freq_hz[worst] / 1e6:g} MHz", vswr(found.true_vswr[worst])
    assert f"about {true}." in opening(found)[0]
    with opened(browser, pages["measured"]) as (tab, _, _):
        assert tab.inner_text("#point-text").startswith(f"{at}: the screen reads {vswr(found.reading_vswr[worst])}, ")
        words = f"the antenna is {true}; interval {span(found.low[worst], found.high[worst])}, guaranteed bound "
        assert f"{words}{bound_words(found, worst)}. " in tab.inner_text("#point-text")
        assert f"true VSWR {true} at {at} reads " in tab.inner_text("#reading-text")
        assert tab.get_attribute("#true", "aria-valuetext") == f"VSWR {true}"
        assert int(tab.input_value("#true")) == round(600 * (found.true_vswr[worst] - 1) / (found.true_vswr[worst] + 1))


def test_the_keyboard_moves_the_sliders(browser, pages):
    """Tab reaches them, arrows move them, and what they stand for is reported to a screen reader."""
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
        reported = tab.inner_text("#point-text")
        tab.keyboard.press("End")
        assert tab.inner_text("#point-text").startswith("240 MHz: the screen reads")
        assert tab.inner_text("#point-text") != reported


def test_charts_answer_to_the_pointer(browser, pages, measured):
    """Over the sweep's chart the point under the pointer is reported; off the chart the slider's point comes back."""
    with opened(browser, pages["measured"]) as (tab, _, _):
        reported = tab.inner_text("#point-text")
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
        assert tab.inner_text("#point-text") == reported


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


SHOWN = [("measured", 390, "dark"), ("card", 390, "light")]
"""Pages, widths and schemes of the default run; all the others are for the long one."""
MORE = [("measured", 1280, "light"), ("outlets", 390, "dark")]
OTHERS = [
    each
    for each in product(
        ("measured", "hostile", "long", "splitter", "card", "outlets", "log"), (390, 1280), ("light", "dark")
    )
    if each not in (*SHOWN, *MORE)
]


@pytest.mark.parametrize(
    ("name", "width", "scheme"),
    [*SHOWN, *wide(*MORE), *(pytest.param(*each, marks=pytest.mark.replay) for each in OTHERS)],
)
def test_axe_finds_no_fault_and_nothing_is_cut_off_unseen(browser, pages, name, width, scheme):
    """No fault at all by axe-core's rules (contrast, names, regions, keyboard); what is wider than its place scrolls and says so."""
    import axe_playwright_python

    rules = Path(axe_playwright_python.__file__).with_name("axe.min.js").read_text("utf-8")
    with opened(browser, pages[name], width, bypass_csp=True, color_scheme=scheme) as (tab, _, _):
        tab.evaluate(rules)
        found = tab.evaluate("axe.run(document, {resultTypes: ['violations']})")
        assert found["passes"]
        print(f"{name} at {width} px: {len(found['violations'])} violations of {len(found['passes'])} rules that apply")
        assert [(each["id"], each["impact"], each["nodes"][0]["html"][:120]) for each in found["violations"]] == []
        assert tab.evaluate("document.documentElement.scrollWidth") <= width
        dark = (
            tab.evaluate("getComputedStyle(document.querySelector('.sheet')).backgroundColor") != "rgb(255, 255, 255)"
        )
        assert dark == (scheme == "dark")
        assert tab.evaluate(UNSEEN) == []


UNSEEN = """() => [...document.querySelectorAll("main *:not(svg *):not(.unseen):not(caption.quiet)")].filter((e) => {
  if (!e.checkVisibility() || e.scrollWidth <= e.clientWidth + 1 || getComputedStyle(e).overflowX === "visible") return false;
  return !(e.matches(".scroll[tabindex]") && getComputedStyle(e, "::before").display !== "none");
}).map((e) => e.outerHTML.slice(0, 80))"""
"""What hides a part of itself: anything that clips, but for regions that scroll and show the hint."""


def settled(tab, script, wanted):
    """Whether a script's value becomes what is wanted within five seconds; the page's policy lets no text be run as a wait."""
    for _ in range(100):
        if wanted(tab.evaluate(script)):
            return True
        tab.wait_for_timeout(50)
    return False


def test_a_region_at_its_end_no_longer_says_that_there_is_more(browser, pages):
    """The hint goes once the region is moved to its end, and stands nowhere on a page that has room."""
    hints = """() => [...document.querySelectorAll(".scroll")].filter((e) => getComputedStyle(e, "::before").display !== "none").length"""
    with opened(browser, pages["outlets"], 390) as (tab, _, _):
        assert settled(tab, hints, lambda count: count >= 2)
        tab.evaluate("document.querySelectorAll('.scroll').forEach((e) => e.scrollTo(1e4, 0))")
        assert settled(tab, hints, lambda count: count == 0)
    with opened(browser, pages["measured"]) as (tab, _, _):
        assert tab.evaluate(hints) == 0


@pytest.mark.parametrize(
    "name",
    ["measured", *(pytest.param(each, marks=pytest.mark.replay) for each in ("splitter", "long", "outlets", "feed"))],
)
def test_print_carries_everything_the_card_on_the_last_sheet(browser, pages, name, tmp_path):
    """A4 by the page's own rule, light though the screen be dark: each table's cells, assumption and line of the file."""
    with opened(browser, pages[name], color_scheme="dark") as (tab, _, _):
        tab.pdf(prefer_css_page_size=True, path=tmp_path / "printed.pdf")
        tab.emulate_media(media="print", color_scheme="dark")
        assert (
            tab.evaluate("getComputedStyle(document.querySelector('.sheet')).backgroundColor") == "rgb(255, 255, 255)"
        )
        tab.evaluate("document.querySelectorAll('.unseen').forEach((each) => each.remove())")
        wanted = tab.evaluate(
            "[...document.querySelectorAll('td, th, .strip li, .assumed li, pre')].map((e) => e.innerText)"
        )
        # The width of what A4 leaves within the margins, in CSS pixels.
        tab.set_viewport_size({"width": 718, "height": 900})
        assert tab.evaluate("document.documentElement.scrollWidth") <= 718
    reported = subprocess.run(
        ["pdftotext", tmp_path / "printed.pdf", "-"], capture_output=True, text=True, check=True
    ).stdout
    sheets, words = reported.rstrip("\f").split("\f"), Counter(" ".join(wanted).split())
    assert sum(words.values()) > 200
    # A word that is broken at the end of a line is whole once the line ends are gone.
    whole = "".join(reported.split()).replace("-", "")
    assert [each for each in words - Counter(reported.split()) if each.replace("-", "") not in whole] == []
    assert [number for number, sheet in enumerate(sheets) if "card:" in sheet] == [len(sheets) - 1]
    assert (
        "A4" in subprocess.run(["pdfinfo", tmp_path / "printed.pdf"], capture_output=True, text=True, check=True).stdout
    )


def test_the_card_of_a_set_up_is_the_page_that_the_report_ends_with(browser, pages):
    """The same text, sheet for sheet."""
    with opened(browser, pages["card"]) as (tab, _, _):
        alone = tab.inner_text("section.card")
    with opened(browser, pages["feed"]) as (tab, _, _):
        assert tab.inner_text("section.card") == alone
