"""From the path of a key to its place in a TOML text. The parser is imported only when there is a fault to show."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from chain.errors import Defect, quoted

if TYPE_CHECKING:
    from tree_sitter import Node

Where = tuple[str | int, ...]
"""Path of a key: names of tables and keys, and places in lists counted from 0."""

MOST_SHOWN = 100
"""Most defects of one file that are shown."""
LISTED = 8
"""Most names that a help line lists in full."""


@dataclass(frozen=True)
class SyntaxFault:
    """A defect whose place is known by the path of a key. `spot` is `key`, `value` or `header`."""

    where: Where
    message: str
    help: str = ""
    spot: str = "value"


@dataclass
class _Place:
    """Byte spans of one path: of its key, its value and its table's header."""

    spans: dict[str, tuple[int, int]] = field(default_factory=dict)


def locate(faults: Iterable[SyntaxFault], text: str, path: str) -> list[Defect]:
    """Turn faults into defects with line, column and the line's text, in file order."""
    raw = text.encode("utf-8")
    places = _index(raw)
    lines = _Lines(raw)
    placed = sorted(((_span(fault, places), fault) for fault in faults), key=lambda each: each[0][0])
    found = [lines.defect(path, start, stop, fault) for (start, stop), fault in placed[:MOST_SHOWN]]
    left = len(placed) - MOST_SHOWN
    if left > 0:
        found.append(Defect(path, 0, 0, f"{left} more errors are not shown", "mend these first", stands_for=left))
    return found


def defect_at(text: str, path: str, wheres: Sequence[Where], message: str, help: str) -> Defect:
    """A defect at the first of several keys that the text has."""
    places = _index(text.encode("utf-8"))
    where = next((each for each in wheres if each in places), wheres[-1])
    return locate([SyntaxFault(where, message, help)], text, path)[0]


class _Lines:
    """Where each line of a file begins, in bytes."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self.starts = [0]
        for line in raw.split(b"\n"):
            self.starts.append(self.starts[-1] + len(line) + 1)

    def defect(self, path: str, start: int, stop: int, fault: SyntaxFault) -> Defect:
        from bisect import bisect_right

        number = bisect_right(self.starts, start) - 1
        begin, end = self.starts[number], self.starts[number + 1] - 1
        line = self.raw[begin:end].decode("utf-8").rstrip("\r")
        column = len(self.raw[begin:start].decode("utf-8")) + 1
        # A value over several lines is marked to the end of its first line.
        width = len(self.raw[start : min(stop, end)].decode("utf-8").rstrip("\r"))
        return Defect(path, number + 1, column, fault.message, fault.help, line, max(1, width))


def _span(fault: SyntaxFault, places: dict[Where, _Place]) -> tuple[int, int]:
    """Span of the fault's own spot, or of the nearest table around it."""
    where = fault.where
    order = {
        "key": ("key", "header", "value"),
        "value": ("value", "header", "key"),
        "header": ("header", "key", "value"),
    }
    while where:
        spans = places[where].spans if where in places else {}
        for spot in order[fault.spot]:
            if spot in spans:
                return spans[spot]
        where = where[:-1]
    return 0, 0


def _index(raw: bytes) -> dict[Where, _Place]:
    """Span of every key, value and header of a text."""
    import tree_sitter_toml
    from tree_sitter import Language, Parser

    tree = Parser(Language(tree_sitter_toml.language())).parse(raw)
    places: dict[Where, _Place] = {}
    counts: dict[Where, int] = {}
    for node in tree.root_node.named_children:
        if node.type == "pair":
            _pair(node, (), places, counts)
        elif node.type in ("table", "table_array_element"):
            _table(node, places, counts)
    return places


def _table(node: Node, places: dict[Where, _Place], counts: dict[Where, int]) -> None:
    head, *pairs = [child for child in node.named_children if child.type != "comment"]
    names = _names(head)
    where: Where = (*_within(names[:-1], counts), names[-1])
    if node.type == "table_array_element":
        place = counts[where] = counts.get(where, -1) + 1
        where = (*where, place)
    closing = [child for child in node.children if child.type in ("]", "]]")]
    stop = closing[0].end_byte if closing else head.end_byte
    spans = places.setdefault(where, _Place()).spans
    spans["header"] = (node.start_byte, stop)
    spans["key"] = (head.start_byte, head.end_byte)
    for pair in pairs:
        if pair.type == "pair":
            _pair(pair, where, places, counts)


def _within(names: list[str], counts: dict[Where, int]) -> Where:
    """Path of a table's parents: a list of tables stands for its last element so far."""
    where: Where = ()
    for name in names:
        where = (*where, name)
        if where in counts:
            where = (*where, counts[where])
    return where


def _names(node: Node) -> list[str]:
    """Names in a bare, quoted or dotted key."""
    if node.type == "dotted_key":
        return [name for child in node.named_children for name in _names(child)]
    text = (node.text or b"").decode("utf-8")
    if node.type == "quoted_key":
        import sys

        if sys.version_info >= (3, 11):
            import tomllib
        else:
            import tomli as tomllib
        return [str(next(iter(tomllib.loads(f"{text} = 0"))))]
    return [text]


def _pair(node: Node, parent: Where, places: dict[Where, _Place], counts: dict[Where, int]) -> None:
    key, value = [child for child in node.named_children if child.type != "comment"][:2]
    names = _names(key)
    where = parent
    for name in names:
        where = (*where, name)
        places.setdefault(where, _Place()).spans.setdefault("key", (key.start_byte, key.end_byte))
    _value(value, where, places, counts)


def _value(node: Node, where: Where, places: dict[Where, _Place], counts: dict[Where, int]) -> None:
    places.setdefault(where, _Place()).spans["value"] = (node.start_byte, node.end_byte)
    if node.type == "inline_table":
        for child in node.named_children:
            if child.type == "pair":
                _pair(child, where, places, counts)
    elif node.type == "array":
        elements = [child for child in node.named_children if child.type != "comment"]
        for place, child in enumerate(elements):
            _value(child, (*where, place), places, counts)


def closest(word: str, known: Iterable[str], other_names: dict[str, str] | None = None) -> str:
    """Help line for a word that is none of the known ones."""
    import difflib

    names = {name.casefold(): name for name in known}
    meant = (other_names or {}).get(word.casefold())
    if meant in names.values():
        return f"did you mean {quoted(meant)}?"
    near = difflib.get_close_matches(word.casefold()[:80], names, n=1, cutoff=0.6)
    if near:
        return f"did you mean {quoted(names[near[0]])}?"
    if names and len(names) <= LISTED:
        return f"one of: {', '.join(names.values())}"
    return ""
