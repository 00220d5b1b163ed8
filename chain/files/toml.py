"""From the bytes of a TOML file to its plain values; from the path of a key to its place, where every defect is reported.

The parser of places is imported only when there is a defect to show.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from chain.errors import Defect, InputError, quoted
from library.files.store import LONGEST_PATH, NotPlainError, files_like, read_plain

if TYPE_CHECKING:
    from tree_sitter import Node

if sys.version_info >= (3, 11):
    import tomllib
else:
    import tomli as tomllib

LARGEST = 1_000_000
"""Largest file that is read [bytes]."""
DEEPEST = 50
"""Deepest nesting of lists, tables and dotted keys."""
MOST_REPAIRS = 20
LARGEST_MENDED = 100_000
"""Most defects of syntax that are looked for in one file, and the longest text in which more than one is [characters]."""

PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
# One token at a time: strings and comments are stepped over, so that brackets inside them do not count. Strings that are
# not closed match too: trying them again from every quote inside would take the square of their length.
TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?(?:"""|\Z)|\'\'\'.*?(?:\'\'\'|\Z)|"(?:[^"\\\n]|\\.)*"?|\'[^\'\n]*\'?|#[^\n]*|[\[\]{}.,=\n]',
    re.DOTALL,
)
ASSIGNED = re.compile(r"""^(\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*\s*)([=:])(\s*)(.*)$""")
TYPOGRAPHIC = re.compile("[\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb]")


UNCLOSED = "a text without its closing quote"
LISTS = ("[chain]", "[antenna.feed]")
"""Tables that were meant for items of a list."""
TWICE = ("this key is given twice", "this table is given twice")
PARSER_WORDS = (
    (r"Can ?not overwrite a value|Can ?not mutate immutable namespace|Duplicate inline table key", TWICE[0]),
    (r"Can ?not declare .* twice", TWICE[1]),
    (r"Illegal character '\\n'|Unterminated string", UNCLOSED),
    (r"Exceeds the limit", "a whole number with more digits than can be read"),
)
"""What the parser says, and what is reported instead."""
LONGEST_TRIED = 2000
"""Longest line that is searched for common slips [characters]."""


def read_file(path: str) -> bytes:
    """Bytes of a file, or of standard input for `-`, up to the largest size."""
    try:
        if path == "-":
            raw = sys.stdin.buffer.read(LARGEST + 1)
        else:
            raw = read_plain(path, LARGEST)
    except NotPlainError:
        raise InputError([Defect(path, 0, 0, "this is not a plain file")]) from None
    except FileNotFoundError:
        raise InputError([Defect(path, 0, 0, "there is no such file", _others(path))]) from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise InputError([Defect(path, 0, 0, f"the file cannot be read: {reason}")]) from None
    if len(raw) > LARGEST:
        raise InputError([Defect(path, 0, 0, f"the file is over 1 MB ({LARGEST} bytes); a set-up is a page of text")])
    return raw


def _others(path: str) -> str:
    """Name the file of the same kind that may be meant."""
    near = files_like(path, (".toml",))
    return (
        f"did you mean {quoted(near[0], LONGEST_PATH)}?"
        if near
        else "'chain new -o mine.toml' writes a set-up to start from"
    )


def decode(raw: bytes, path: str) -> str:
    """Text of a file: UTF-8, a byte order mark dropped (TOML 1.0: a file is UTF-8)."""
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        raise InputError([Defect(path, 1, 1, "the file is UTF-16; UTF-8 is needed", "save it again as UTF-8")])
    body = raw.removeprefix(b"\xef\xbb\xbf")
    try:
        text = body.decode("utf-8")
    except UnicodeDecodeError as error:
        line = body.count(b"\n", 0, error.start) + 1
        begin = body.rfind(b"\n", 0, error.start) + 1
        shown = body[begin:].split(b"\n", 1)[0].decode("utf-8", "replace").rstrip("\r")
        column = len(body[begin : error.start].decode("utf-8")) + 1
        where = error.start + len(raw) - len(body)
        what = f"the file is not UTF-8: byte {where} is 0x{body[error.start]:02x}"
        raise InputError([Defect(path, line, column, what, "save it again as UTF-8", shown)]) from None
    if not text.strip():
        raise InputError([Defect(path, 1, 1, "the file is empty", "'chain new' writes a set-up to start from")])
    return text


def read_toml(text: str, path: str) -> tuple[dict[str, Any], list[Defect], str]:
    """Values of a TOML text. After a defect the line is mended as far as that is safe, to find the defects behind it. Source: TOML 1.0."""
    _refuse_depth(text, path)
    lines = text.split("\n")
    defects: list[Defect] = []
    for _ in range(MOST_REPAIRS):
        try:
            mended_text = "\n".join(lines)
            return tomllib.loads(mended_text), sorted(defects, key=lambda found: found.line), mended_text
        except (ValueError, RecursionError) as error:
            defect = _defect(str(error), lines, path)
        if any(found.line == defect.line for found in defects):
            break
        defects.append(defect)
        if len(text) > LARGEST_MENDED:
            break
        mended = "" if defect.message == TWICE[0] else _mended(lines[defect.line - 1])
        if mended is None:
            break
        lines[defect.line - 1] = mended
    return {}, sorted(defects, key=lambda found: found.line), ""


def _refuse_depth(text: str, path: str) -> None:
    """Count brackets and dots before parsing, for the parser itself goes down with them."""
    depth = dots = 0
    for token in TOKEN.finditer(text):
        sign = token.group()
        if sign in ("[", "{"):
            depth, dots = depth + 1, 0
        elif sign in ("]", "}"):
            depth, dots = max(0, depth - 1), 0
        elif sign == ".":
            dots += 1
        elif sign in (",", "=", "\n"):
            dots = 0
        if depth + dots > DEEPEST:
            line = text.count("\n", 0, token.start()) + 1
            begin = text.rfind("\n", 0, token.start()) + 1
            shown = text[begin:].split("\n", 1)[0]
            what = f"nested more than {DEEPEST} levels deep"
            raise InputError([Defect(path, line, token.start() - begin + 1, what, "", shown)])


def _defect(reported: str, lines: list[str], path: str) -> Defect:
    """Place and words for a defect that the parser met."""
    found = PLACE.search(reported)
    if found and found.group(1):
        line, column = int(found.group(1)), int(found.group(2))
    elif found:
        # "End of document" is the last line that holds anything.
        line = max(number for number, each in enumerate(lines, 1) if each.strip() or number == 1)
        column = len(lines[line - 1].rstrip()) + 1
    else:
        line, column = 1, 1
    shown = lines[line - 1].rstrip("\r")
    own = _own_words(shown[:LONGEST_TRIED])
    if own:
        message, remedy, column, width = own
        return Defect(path, line, column, message, remedy, shown, width)
    message = PLACE.sub("", reported)
    for pattern, words in PARSER_WORDS:
        if re.match(pattern, message):
            message = words
    if message in TWICE:
        start = len(shown) - len(shown.lstrip())
        head = _head(shown)
        remedy = f"write [{head.strip()}] before each item" if head.strip() in LISTS else "keep one of the two"
        return Defect(path, line, start + 1, message, remedy, shown, max(1, len(head) - start))
    unclosed = re.match(r"([^=#]+=\s*)(\"[^\"#]*)(#.*)?$", shown)
    if message == UNCLOSED and unclosed:
        start, value = len(unclosed[1]) + 1, unclosed[2].rstrip()
        remedy = f'write {unclosed[1].strip()} {value}"'
        return Defect(path, line, start, message, remedy[:200], shown, len(value))
    return Defect(path, line, min(column, len(shown) + 1), f"not TOML: {message[:1].lower()}{message[1:]}", "", shown)


def _head(line: str) -> str:
    """Key or table header at the start of a line."""
    return (line.split("#")[0] if line.lstrip().startswith("[") else line.split("=")[0]).rstrip()


def _own_words(line: str) -> tuple[str, str, int, int] | None:
    """(message, help, column, width) for the slips that people make most."""
    odd = TYPOGRAPHIC.search(_outside_quotes(line))
    if odd:
        return "typographic quotation mark", 'use the plain sign: "', odd.start() + 1, 1
    found = ASSIGNED.match(line)
    if not found:
        return None
    key, sign, gap, rest = found.groups()
    if sign == ":":
        return "a key and its value are joined by '=', not ':'", f"write {key.strip()} = ...", len(key) + 1, 1
    value = re.sub(r"\s+#.*$", "", rest).rstrip()
    start = len(key) + 1 + len(gap) + 1
    comma = re.fullmatch(r"([+-]?[0-9]+),([0-9]+)(?![0-9,])(\s*[^\s\"'\[{,].*)?", value)
    if comma:
        plainly = f"{comma.group(1)}.{comma.group(2)}{comma.group(3) or ''}"
        right = f'"{plainly}"' if comma.group(3) else plainly
        return f"decimal comma in {quoted(value)}", f"write {right}"[:80], start, len(value)
    if not value:
        return "no value after '='", f'write {key.strip()} = "..."', len(key) + 1, 1
    if re.fullmatch(r"[^\"'\[\]{}=]+", value) and not _reads(value):
        return f"text without quotes: {quoted(value)}", f'write {key.strip()} = "{value}"'[:200], start, len(value)
    return None


def _reads(value: str) -> bool:
    """Whether a text is a value of TOML as it stands."""
    try:
        tomllib.loads(f"x = {value}")
    except (ValueError, RecursionError):
        return False
    return True


def _outside_quotes(line: str) -> str:
    """Blank what stands in plain quotes or in a comment, keeping every place."""
    return re.sub(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|#.*$", lambda found: " " * len(found.group()), line)


def _mended(line: str) -> str | None:
    """Stand-in for a faulty line that keeps its key, or None where the lines around it may be part of the defect."""
    found = ASSIGNED.match(line) if len(line) <= LONGEST_TRIED else None
    if not found or re.search(r"\"\"\"|'''|[\[{]\s*(#.*)?$", line):
        return None
    return f'{found.group(1)}= ""'


Where = tuple[str | int, ...]
"""Path of a key: names of tables and keys, and places in lists counted from 0."""

MOST_SHOWN = 100
"""Most defects of one file that are shown."""
LISTED = 8
"""Most names that a help line lists in full."""


@dataclass(frozen=True)
class PlacedDefect:
    """A defect whose place is known by the path of a key. `spot` is `key`, `value` or `header`."""

    where: Where
    message: str
    help: str = ""
    spot: str = "value"


@dataclass
class _KeyPlace:
    """Byte spans of one path: of its key, its value and its table's header."""

    spans: dict[str, tuple[int, int]] = field(default_factory=dict)


def locate(defects: Iterable[PlacedDefect], text: str, path: str) -> list[Defect]:
    """Turn defects into defects with line, column and the line's text, in file order."""
    raw = text.encode("utf-8")
    places = _index(raw)
    lines = _Lines(raw)
    placed = sorted(((_span(defect, places), defect) for defect in defects), key=lambda each: each[0][0])
    found = [lines.defect(path, start, stop, defect) for (start, stop), defect in placed[:MOST_SHOWN]]
    left = len(placed) - MOST_SHOWN
    if left > 0:
        found.append(Defect(path, 0, 0, f"{left} more errors are not shown", "correct these first", stands_for=left))
    return found


def defect_at(text: str, path: str, wheres: Sequence[Where], message: str, help: str) -> Defect:
    """A defect at the first of several keys that the text has."""
    places = _index(text.encode("utf-8"))
    where = next((each for each in wheres if each in places), wheres[-1])
    return locate([PlacedDefect(where, message, help)], text, path)[0]


class _Lines:
    """Where each line of a file begins, in bytes."""

    def __init__(self, raw: bytes) -> None:
        self.raw = raw
        self.starts = [0]
        for line in raw.split(b"\n"):
            self.starts.append(self.starts[-1] + len(line) + 1)

    def defect(self, path: str, start: int, stop: int, defect: PlacedDefect) -> Defect:
        from bisect import bisect_right

        number = bisect_right(self.starts, start) - 1
        begin, end = self.starts[number], self.starts[number + 1] - 1
        line = self.raw[begin:end].decode("utf-8").rstrip("\r")
        column = len(self.raw[begin:start].decode("utf-8")) + 1
        # A value over several lines is marked to the end of its first line.
        width = len(self.raw[start : min(stop, end)].decode("utf-8").rstrip("\r"))
        return Defect(path, number + 1, column, defect.message, defect.help, line, max(1, width))


def _span(defect: PlacedDefect, places: dict[Where, _KeyPlace]) -> tuple[int, int]:
    """Span of the defect's own spot, or of the nearest table around it."""
    where = defect.where
    order = {
        "key": ("key", "header", "value"),
        "value": ("value", "header", "key"),
        "header": ("header", "key", "value"),
    }
    while where:
        spans = places[where].spans if where in places else {}
        for spot in order[defect.spot]:
            if spot in spans:
                return spans[spot]
        where = where[:-1]
    return 0, 0


def _index(raw: bytes) -> dict[Where, _KeyPlace]:
    """Span of every key, value and header of a text."""
    import tree_sitter_toml
    from tree_sitter import Language, Parser

    tree = Parser(Language(tree_sitter_toml.language())).parse(raw)
    places: dict[Where, _KeyPlace] = {}
    counts: dict[Where, int] = {}
    for node in tree.root_node.named_children:
        if node.type == "pair":
            _pair(node, (), places, counts)
        elif node.type in ("table", "table_array_element"):
            _table(node, places, counts)
    return places


def _table(node: Node, places: dict[Where, _KeyPlace], counts: dict[Where, int]) -> None:
    head, *pairs = [child for child in node.named_children if child.type != "comment"]
    names = _names(head)
    where: Where = (*_within(names[:-1], counts), names[-1])
    if node.type == "table_array_element":
        place = counts[where] = counts.get(where, -1) + 1
        where = (*where, place)
    closing = [child for child in node.children if child.type in ("]", "]]")]
    stop = closing[0].end_byte if closing else head.end_byte
    spans = places.setdefault(where, _KeyPlace()).spans
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


def _pair(node: Node, parent: Where, places: dict[Where, _KeyPlace], counts: dict[Where, int]) -> None:
    key, value = [child for child in node.named_children if child.type != "comment"][:2]
    names = _names(key)
    where = parent
    for name in names:
        where = (*where, name)
        places.setdefault(where, _KeyPlace()).spans.setdefault("key", (key.start_byte, key.end_byte))
    _value(value, where, places, counts)


def _value(node: Node, where: Where, places: dict[Where, _KeyPlace], counts: dict[Where, int]) -> None:
    places.setdefault(where, _KeyPlace()).spans["value"] = (node.start_byte, node.end_byte)
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
