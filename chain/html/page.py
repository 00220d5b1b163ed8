"""The page and the bench card as HTML: templates filled with every text escaped, one file that needs nothing else."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Callable
from functools import lru_cache
from importlib.metadata import version
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import numpy as np

from chain.analyses.bench_card import Card
from chain.analyses.page import Page
from chain.analyses.recovery import Recovery
from chain.errors import plain
from chain.html.card import ENDS, card_values
from chain.html.charts import against_true, over_frequency, sweep_chart
from chain.html.inline_charts import curve_svg
from chain.html.live import live_json
from chain.setup_report import budget, check, expect, recover
from chain.setup_report.numbers import db, figure, frequency, head, limit, percent, short_limit, span, units
from chain.setup_report.phrases import plane_words, sentence, verdict_word

if TYPE_CHECKING:
    from jinja2 import Environment

CHANNEL_SIGNS = {
    "good": "\u2713",
    "leans good": "\u2248",
    "undecided": "?",
    "leans bad": "\u2248",
    "bad": "\u2715",
    "impossible": "!",
}
"""Sign of a channel's tile, by its verdict."""
TITLE_LETTERS = 160


def page_html(page: Page) -> str:
    """One self-contained page of a set-up, its bench card on the last sheet.

    Parameters
    ----------
    page : the page.

    Returns
    -------
    str, a whole HTML document that loads nothing.

    Examples
    --------
    >>> from chain import load_setup, page, page_html
    >>> text = page_html(page(load_setup("demo/boathouse.toml"), draws=1000))
    >>> text.startswith("<!doctype html>"), "://" in text, len(text) < 1_500_000
    (True, False, True)

    Source
    ------
    HTML Living Standard; Content Security Policy Level 3, hashes of the inline script and style.
    """
    from markupsafe import Markup

    from chain.html.diagram import chain_svg

    script = _asset("page.js")
    values = {
        **_common(page.title),
        "page": page,
        "setup": page.setup,
        "known": page.expectation,
        **_verdict(page),
        "wide": Markup(chain_svg(page.setup)),
        "tall": Markup(chain_svg(page.setup, tall=True)),
        "plots": [Markup(curve_svg(each(page))) for each in (against_true, over_frequency)],
        "last_column": page.grid["freq_hz"].size - 1,
        "loss": budget.loss_line(page.account),
        "losses": _losses(page),
        "live": live_json(page),
        "match": "return loss" if units().in_db else "VSWR",
        "script": script,
        "policy": _policy(script),
        "card": card_values(page.card),
        "channels": (),
        "tiles": (),
    }
    if page.recovery is not None:
        values.update(_measured(page.recovery))
    return _environment().get_template("page.html").render(values)


def card_html(card: Card) -> str:
    """The bench card as a page of its own.

    Parameters
    ----------
    card : the card.

    Returns
    -------
    str, a whole HTML document that loads nothing and needs no script.

    Examples
    --------
    >>> from chain import card, card_html, load_setup
    >>> "<script" in card_html(card(load_setup("demo/boathouse.toml")))
    False

    Source
    ------
    HTML Living Standard.
    """
    values = {**_common(card.title), "policy": _policy(""), "card": card_values(card)}
    return _environment().get_template("card.html").render(values)


def filled(template: str, title: str, values: dict[str, Any]) -> str:
    """A template without a script, filled; every text escaped."""
    return _environment().get_template(template).render(_common(title) | {"policy": _policy("")} | values)


def prepare() -> None:
    """Read and compile the page's templates, which a thread may do while the page's figures are computed."""
    for name in ("page.html", "card.html"):
        _environment().get_template(name)


@lru_cache(maxsize=1)
def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    made = Environment(
        loader=PackageLoader("chain.html", "assets"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_shown,
    )
    made.filters.update(
        figure=_in_one_line(figure), db=db, frequency=frequency, percent=_share, ohm=_ohm, sentence=sentence
    )
    made.filters.update(known=_known, limit=limit, short_limit=short_limit, replace_end=lambda text: text.rstrip("."))
    made.globals.update(
        span=_in_one_line(span),
        plane_words=plane_words,
        infinite=float("inf"),
        ends=ENDS,
        head=_in_one_line(head),
        units=units,
    )
    made.globals["verdict_word"] = verdict_word
    made.globals["bound_words"] = recover.bound_words
    return made


def _shown(value: Any) -> Any:
    """Text of the user's without characters that steer: none of them has a business in a page."""
    if not isinstance(value, str) or hasattr(value, "__html__"):
        return value
    return "\n".join(plain(line.expandtabs(4)) for line in value.splitlines()) if not value.isprintable() else value


def _asset(name: str) -> str:
    return files("chain.html").joinpath("assets", name).read_text(encoding="utf-8")


def _policy(script: str) -> str:
    """Content security policy: nothing from anywhere, but for our own style and script known by their digests."""
    scripts = f"script-src '{_digest(script)}'" if script else "script-src 'none'"
    return (
        f"default-src 'none'; {scripts}; style-src '{_digest(_asset('page.css'))}'; base-uri 'none'; form-action 'none'"
    )


def _digest(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")


def _common(title: str) -> dict[str, Any]:
    return {"title": title[:TITLE_LETTERS], "style": _asset("page.css"), "version": version("matchpad-chain")}


def _share(share: float) -> str:
    return percent(share).replace(".0", "")


def _in_one_line(words: Callable[..., str]) -> Callable[..., str]:
    """The same cell with its two units, where there are two, beside each other."""
    return lambda *values: words(*values).replace("\n", " / ")


def _known(value: float) -> str:
    """A match as a figure, or a word where none was found."""
    return "none" if np.isnan(value) else _in_one_line(figure)(value)


def _ohm(value: float) -> str:
    """Resistance as a meter shows it."""
    return "open" if value == float("inf") else f"{value:.0f}" if value >= 200 else f"{value:.1f}".removesuffix(".0")


def _verdict(page: Page) -> dict[str, Any]:
    """What stands first: the lines that the command's own screen opens with, their look, and what to beware of."""
    known, found = page.expectation, page.recovery
    lines = expect.verdict_lines(known)
    if found is None:
        kind = "aim" if known.aim_reading.vswr or known.aim_bound.vswr else "not-proven"
    else:
        kind, lines = found.verdict.replace(" ", "-"), recover.opening(found)
    return {
        "kind": kind,
        "lines": lines,
        "warnings": page.warnings,
        "stops": [each for each in page.checked.findings if each.level == "stop"],
        "fit": " ".join(check.verdict_lines(page.checked)[:2]),
        "aim": expect.verdict_lines(known),
    }


def _losses(page: Page) -> dict[str, Any]:
    """Attenuation of every item at three frequencies, and the totals."""
    found = page.account.budget
    at = sorted({0, found.freq_hz.size // 2, found.freq_hz.size - 1})
    rows = [(item.id, item.attenuation_db) for item in found.items]
    step = np.full(found.freq_hz.shape, sum(joint.mismatch_loss_db for joint in found.joints))
    rows += [("steps at joints", step), ("mismatches together", found.interaction_db)]
    totals = [("transducer loss", found.transducer_loss_db), ("insertion loss", found.insertion_loss_db)]
    return {
        "freq_hz": [float(found.freq_hz[index]) for index in at],
        "rows": [(name, [float(values[index]) for index in at]) for name, values in rows],
        "totals": [(name, [float(values[index]) for index in at]) for name, values in totals],
    }


def _measured(result: Recovery) -> dict[str, Any]:
    """What the page says of a sweep."""
    from markupsafe import Markup

    return {
        "found": result,
        "sweep_plot": Markup(curve_svg(sweep_chart(result))),
        "last_point": _last_point(result),
        "place": recover.both_places,
        "tiles": [(each, verdict_word(each.verdict, each.grade)) for each in result.read_channels],
        "worst_points": result.worst_points(),
        "channels": [(each, verdict_word(each.verdict, each.grade)) for each in result.channels],
        "signs": CHANNEL_SIGNS,
        "told": (recover.level_line(result), recover.most_uncertain(result)),
    }


def _last_point(result: Recovery) -> int:
    from chain.html.charts import decimated

    return int(decimated(result).size) - 1
