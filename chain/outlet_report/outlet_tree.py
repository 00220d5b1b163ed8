"""The installation as a tree of text, with level and margin at each point."""

from __future__ import annotations

from rich.console import Console
from rich.tree import Tree

from chain.reception.outlets import VERDICTS, Reception
from chain.reception.records import ANTENNA, InstalledItem, Outlet
from chain.reception.tree import followers_of
from chain.setup_report.phrases import verdict_word
from chain.setup_report.tables import safe, say
from chain.units import format_quantity
from library.reception import Amplifier

DEEPEST = 30


def render(result: Reception, console: Console) -> None:
    """Print the tree, antenna first."""
    followers = followers_of(result.installation.items, result.installation.outlets)
    root = Tree(safe(f"antenna  {levels_words(result, ANTENNA)}", "bold"), guide_style="dim", highlight=False)
    todo: list[tuple[Tree, str, int]] = [(root, ANTENNA, 0)]
    while todo:
        branch, port, depth = todo.pop()
        each = followers.get(port)
        if each is None:
            continue
        if isinstance(each, Outlet):
            branch.add(safe(outlet_words(result, each)))
            continue
        outputs = each.outputs
        below = branch.add(safe(item_words(result, each)))
        if len(outputs) == 1:
            # What follows in a row stands in a column; only a splitter opens branches.
            todo.append((branch, outputs[0], depth))
            continue
        arms = [below.add(safe(f"{output.partition('.')[2]}  {levels_words(result, output)}")) for output in outputs]
        if depth >= DEEPEST:
            below.add(safe("..."))
            continue
        todo += [(arm, output, depth + 1) for arm, output in zip(arms[::-1], outputs[::-1], strict=True)]
    console.print(root)
    console.print()
    say(
        console,
        "Levels available at each point, lowest to highest channel [dBuV]; to spare: at the low end of 95 % [dB].",
    )


NOTHING = "no level"
"""What arrives behind an amplifier that has neither its direct current nor a bypass."""


def levels_words(result: Reception, port: str) -> str:
    """Span of nominal levels at a port."""
    if result.silent_at(port):
        return NOTHING
    row = result.nominal.at_port[result.nominal.compiled.plan.ports.index(port)]
    low, high = float(row.min()), float(row.max())
    return f"{low:.0f} dBuV" if round(low) == round(high) else f"{low:.0f} to {high:.0f} dBuV"


def item_words(result: Reception, item: InstalledItem) -> str:
    """An item in one line: what it is, and the levels behind it."""
    part = item.part
    what = part.id if not item.length_m else f"{part.id} {format_quantity(item.length_m, 'length')}"
    if isinstance(part, Amplifier) and item.id not in result.nominal.amplifier_total_dbuv:
        what += ", not fed"
    elif isinstance(part, Amplifier):
        total = result.nominal.amplifier_total_dbuv[item.id]
        what += f" +{part.gain_db:g} dB, total out {total:.0f} dBuV"
    name = "" if item.id == what else f"{item.id}  "
    levels = "" if len(item.outputs) > 1 else f"  {levels_words(result, item.outputs[0])}"
    return f"{name}{what}{levels}"


def outlet_words(result: Reception, outlet: Outlet) -> str:
    """An outlet in one line: its levels, its worst channel, its verdict."""
    number = result.installation.outlets.index(outlet)
    row = result.nominal.level_dbuv[number]
    silent = outlet.id in result.silent
    span = NOTHING if silent else f"{float(row.min()):.0f} to {float(row.max()):.0f} dBuV"
    if outlet.end:
        end = "open" if outlet.end == "open" else f"{outlet.end_ohm:g} ohm"
        return f"{outlet.id} ({end})  {span}"
    at = int(result.closest_db[number].argmin())
    worst = int(result.verdicts[number].max())
    if silent:
        return f"{outlet.id}  {span}, {verdict_word(VERDICTS[worst])}"
    channel = result.installation.channels[at].name
    left = f"least to spare ch {channel}: {float(result.closest_db[number, at]):+.1f} dB"
    return f"{outlet.id}  {span}, {verdict_word(VERDICTS[worst])}; {left}"
