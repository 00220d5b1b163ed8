"""Page and installer's card of an installation: verdicts, tree, level diagram, heat map, places; one file that needs nothing."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from chain.html.inline_charts import curve_svg
from chain.html.page import filled
from chain.outlet_report.installation import expected_text
from chain.outlet_report.outlet_tree import item_words, levels_words, outlet_words
from chain.outlet_report.outlets import chance, span_of, spare_text, verdict_lines, worth_line
from chain.plots.outlets import describe
from chain.reception.installer_card import InstallerCard, card_of
from chain.reception.outlets import VERDICTS, Reception
from chain.reception.records import ANTENNA, InstalledItem
from chain.reception.tree import followers_of

KINDS = {"works": "pass", "not proven": "not-proven", "fails": "fail"}
SIGNS = {"works": "\u25cf", "not proven": "?", "fails": "\u2715"}
MOST_CELLS = 2000
MOST_NODES = 400
WORST_ROWS = 12
HEAT_COLUMNS = 14
"""Channels side by side that a printed sheet has room for."""


@dataclass(frozen=True)
class _Node:
    """One line of the drawn tree: its text, whether it is an outlet, and what hangs on it."""

    text: str
    kind: str
    below: tuple[_Node, ...] = ()


def installation_html(result: Reception, name: str = "", text: str = "") -> str:
    """One self-contained page of an installation, its installer's card on the last sheet.

    Parameters
    ----------
    result : the installation computed, from `outlets`.
    name, text : name and text of the file it was read from, shown at the end.

    Returns
    -------
    str, a whole HTML document that loads nothing and needs no script.

    Examples
    --------
    >>> from chain import installation_html, load_installation, outlets
    >>> text = installation_html(outlets(load_installation("demo/outlets.toml"), draws=400))
    >>> text.startswith("<!doctype html>"), "://" in text, "<script" in text
    (True, False, False)

    Source
    ------
    HTML Living Standard; Content Security Policy Level 3.
    """
    from markupsafe import Markup

    lines = verdict_lines(result)
    verdict = "works" if result.works else "fails" if result.count("fails") else "not proven"
    values = {
        "result": result,
        "kind": KINDS[verdict],
        "lines": lines,
        "name": name,
        "text": text,
        "worth": worth_line(result),
        "tree": _tree(result),
        "chart": Markup(curve_svg(describe(result)[0])),
        "heat": _heat(result),
        "rows": [_cells(result, at) for at in result.order()[:WORST_ROWS]],
        "card": _card(card_of(result)),
    }
    return filled("installation.html", result.title, values)


def installer_card_html(card: InstallerCard) -> str:
    """The installer's card as a page of its own.

    Parameters
    ----------
    card : the card, from `installer_card`.

    Returns
    -------
    str, a whole HTML document that loads nothing and needs no script.

    Examples
    --------
    >>> from chain import installer_card, installer_card_html, load_installation
    >>> "what you read" in installer_card_html(installer_card(load_installation("demo/outlets.toml"), draws=400))
    True

    Source
    ------
    HTML Living Standard.
    """
    return filled("installer_card.html", card.title, {"card": _card(card)})


def _tree(result: Reception) -> _Node:
    """The tree as nested lines; what follows in a row stands in a column."""
    followers = followers_of(result.installation.items, result.installation.outlets)
    left = [MOST_NODES]

    def run(port: str) -> tuple[_Node, ...]:
        nodes = []
        each = followers.get(port)
        while isinstance(each, InstalledItem) and left[0] > 0:
            left[0] -= 1
            if len(each.outputs) > 1:
                arms = tuple(
                    _Node(f"{out.partition('.')[2]}  {levels_words(result, out)}", "port", run(out))
                    for out in each.outputs
                )
                nodes.append(_Node(item_words(result, each), "item", arms))
                return tuple(nodes)
            nodes.append(_Node(item_words(result, each), "item"))
            each = followers.get(each.outputs[0])
        if each is not None and not isinstance(each, InstalledItem):
            worst = VERDICTS[int(result.verdicts[result.installation.outlets.index(each)].max())]
            nodes.append(_Node(outlet_words(result, each), "" if each.end else KINDS[worst]))
        return tuple(nodes)

    return _Node(f"antenna  {levels_words(result, ANTENNA)}", "item", run(ANTENNA))


def _heat(result: Reception) -> dict[str, Any]:
    """Channels by outlet: verdict as a sign and a hatch, room as a figure, so that it reads without colour."""
    installation, silent = result.installation, result.silent
    listened = [row for row, outlet in enumerate(installation.outlets) if not outlet.end]
    shown = listened[: max(1, MOST_CELLS // max(len(installation.channels), 1))]
    rows = []
    for row in shown:
        cells = []
        for column in range(len(installation.channels)):
            verdict = VERDICTS[int(result.verdicts[row, column])]
            room = float(result.closest_db[row, column])
            room_text = "" if installation.outlets[row].id in silent else spare_text(room)
            cells.append({"kind": KINDS[verdict], "sign": SIGNS[verdict], "room": room_text, "verdict": verdict})
        rows.append((installation.outlets[row].id, cells))
    names = [channel.name for channel in installation.channels]
    parts = [slice(first, first + HEAT_COLUMNS) for first in range(0, len(names), HEAT_COLUMNS)]
    tables = [(names[part], [(outlet, cells[part]) for outlet, cells in rows]) for part in parts]
    return {"tables": tables, "left_out": len(listened) - len(shown)}


def _cells(result: Reception, at: tuple[int, int]) -> dict[str, Any]:
    row = result.row(*at)
    if row.outlet in result.silent:
        return {"row": row, "kind": KINDS[row.verdict], "silent": True, "chance": chance(row.probability)}
    return {
        "row": row,
        "kind": KINDS[row.verdict],
        "silent": False,
        "spare": spare_text(float(result.closest_db[at])),
        "level": span_of(row.level_low, row.level_high),
        "margin": span_of(row.margin_low_db, row.margin_high_db),
        "chance": chance(row.probability),
    }


def _card(card: InstallerCard) -> dict[str, Any]:
    tables = []
    for first in range(0, len(card.points), 5):
        points = card.points[first : first + 5]
        rows = [
            (name, f"{freq / 1e6:g}", [expected_text(card, each, n) for each in points])
            for n, (name, freq) in enumerate(card.channels)
        ]
        tables.append((points, rows))
    return {"own": card, "tables": tables}
