"""From the bytes of a TOML file to its plain values, with every fault of its syntax said in place."""

from __future__ import annotations

import re
import sys
from typing import Any

from chain.errors import Defect, InputError, quoted
from library.files.plainfile import LONGEST_PATH, NotPlainError, files_like, read_plain

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
"""Most faults of syntax that are looked for in one file, and the longest text in which more than one is [characters]."""

PLACE = re.compile(r"\s*\(at (?:line (\d+), column (\d+)|end of document)\)$")
# One token at a time: strings and comments are stepped over, so that brackets inside them do not count. Strings that are
# not closed match too: trying them again from every quote inside would take the square of their length.
TOKEN = re.compile(
    r'"""(?:[^\\]|\\.)*?(?:"""|\Z)|\'\'\'.*?(?:\'\'\'|\Z)|"(?:[^"\\\n]|\\.)*"?|\'[^\'\n]*\'?|#[^\n]*|[\[\]{}.,=\n]',
    re.DOTALL,
)
ASSIGNED = re.compile(r"""^(\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*[A-Za-z0-9_-]+)*\s*)([=:])(\s*)(.*)$""")
TYPOGRAPHIC = re.compile("[\u2018\u2019\u201a\u201c\u201d\u201e\u00ab\u00bb]")


TWICE = ("this key is given twice", "this table is given twice")
PARSER_WORDS = (
    (r"Can ?not overwrite a value|Can ?not mutate immutable namespace|Duplicate inline table key", TWICE[0]),
    (r"Can ?not declare .* twice", TWICE[1]),
    (r"Illegal character '\\n'|Unterminated string", "a text without its closing quote"),
    (r"Exceeds the limit", "a whole number with more digits than can be read"),
)
"""What the parser says, and what is said instead."""
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
    """Values of a TOML text. After a fault the line is mended as far as that is safe, to find the faults behind it.

    Source: TOML 1.0.
    """
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
    """Place and words for a fault that the parser met."""
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
        return Defect(path, line, start + 1, message, "keep one of the two", shown, max(1, len(_head(shown)) - start))
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
    comma = re.fullmatch(r"([+-]?[0-9]+),([0-9]+)(\s*[^\s\"'\[{,].*)?", value)
    if comma:
        plainly = f"{comma.group(1)}.{comma.group(2)}{comma.group(3) or ''}"
        right = f'"{plainly}"' if comma.group(3) else plainly
        return f"decimal comma in {quoted(value)}", f"write {right}"[:80], start, len(value)
    if not value:
        return "no value after '='", f'write {key.strip()} = "..."', len(key) + 1, 1
    if re.fullmatch(r"[^\"'\[\]{}=,]+", value) and not re.fullmatch(r"[0-9_.eE:TZ+-]+|true|false", value):
        return f"text without quotes: {quoted(value)}", f'write {key.strip()} = "{value}"'[:200], start, len(value)
    return None


def _outside_quotes(line: str) -> str:
    """Blank what stands in plain quotes or in a comment, keeping every place."""
    return re.sub(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'|#.*$", lambda found: " " * len(found.group()), line)


def _mended(line: str) -> str | None:
    """Stand-in for a faulty line that keeps its key, or None where the lines around it may be part of the fault."""
    found = ASSIGNED.match(line) if len(line) <= LONGEST_TRIED else None
    if not found or re.search(r"\"\"\"|'''|[\[{]\s*(#.*)?$", line):
        return None
    return f'{found.group(1)}= ""'
