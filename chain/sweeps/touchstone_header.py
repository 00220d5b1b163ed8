"""What stands above the figures of a Touchstone file: its option line and keywords, every defect in its place."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import NamedTuple

from chain.errors import Defect, quoted

UNITS = {"hz": "Hz", "khz": "kHz", "mhz": "MHz", "ghz": "GHz"}
PARAMETERS = ("s", "y", "z", "g", "h")
FORMATS = ("ma", "db", "ri")
EXAMPLE = "write one such as '# MHz S RI R 50'"
# Every digit can match in one way only: `\d+\.?\d*` would try 2^n ways on a line of n broken figures.
ONE_NUMBER = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
MOST_PORTS = 99
VERSIONS = ("1.0", "1.1", "2.0", "2.1")
MATRICES = ("full", "lower", "upper")
ORDERS = ("12_21", "21_12")
KEYWORDS = (
    "version",
    "number of ports",
    "two-port data order",
    "number of frequencies",
    "number of noise frequencies",
    "reference",
    "matrix format",
    "mixed-mode order",
    "begin information",
    "end information",
    "network data",
    "noise data",
    "end",
)


class Token(NamedTuple):
    """A word of a line and the column where it begins."""

    text: str
    column: int


@dataclass
class Header:
    """What the option line and the keywords state; empty or zero where nothing is stated."""

    unit: str = ""
    parameter: str = "s"
    format: str = "ma"
    reference_ohm: tuple[float, ...] = (50.0,)
    version: str = ""
    ports: int = 0
    order: str = ""
    matrix: str = "full"
    count: int = 0
    assumed: tuple[str, ...] = ()
    """What the option line leaves to the defaults of the format."""

    @property
    def second(self) -> bool:
        """Whether the file is of version 2."""
        return self.version[:1] == "2"

    @property
    def width(self) -> int:
        """Figures of one frequency."""
        return 1 + (2 * self.ports**2 if self.matrix == "full" else self.ports * (self.ports + 1))


@dataclass
class State:
    """What is known of a file while its lines go by."""

    path: str
    lines: Sequence[str]
    named_ports: int
    header: Header = field(default_factory=Header)
    defects: list[Defect] = field(default_factory=list)
    option: str = ""
    data: list[int] = field(default_factory=list)
    """Numbers of the lines of network data."""
    part: str = "head"
    """head, network, noise, information, end; `reference` while its figures go on to the next line."""
    places: dict[str, int] = field(default_factory=dict)
    references: list[float] = field(default_factory=list)
    remarks: dict[str, int] = field(default_factory=dict)

    def defect(self, number: int, message: str, help_text: str, token: Token | None = None) -> None:
        """Note a defect of a line, or of one word of it."""
        source = self.lines[number - 1]
        column = token.column if token else len(source) - len(source.lstrip()) + 1
        width = len(token.text) if token else max(1, len(source.strip()))
        self.defects.append(Defect(self.path, number, column, message, help_text, source, width))


def tokens_of(line: str) -> list[Token]:
    """Words of a line with the columns where they begin."""
    return [Token(found.group(), found.start() + 1) for found in re.finditer(r"\S+", line)]


def option_line(state: State, number: int, line: str) -> None:
    """Take in the option line.

    Source: Touchstone file format specification: unit, parameter, format and R with its impedance, by default GHz S
    MA R 50; from version 1.1 on an impedance for each port.
    """
    words = " ".join(line.lower().split())
    if state.option:
        if words != state.option:
            state.defect(number, "a second option line that differs from the first", "keep one")
        return
    state.option = words
    head = line.index("#")
    tokens = tokens_of(line[:head] + " " + line[head + 1 :])
    if state.data:
        state.defect(number, "the option line stands behind figures", "move it above them")
    given: dict[str, str] = {}
    while tokens:
        _option(state, number, tokens, given)
    header = state.header
    header.unit = UNITS[given.get("unit", "ghz")]
    header.parameter, header.format = given.get("parameter", "s"), given.get("format", "ma")
    absent = [("unit", "GHz"), ("format", "magnitude and degrees")]
    header.assumed = tuple(words for name, words in absent if name not in given)
    if header.parameter in "gh":
        state.defect(number, f"{header.parameter.upper()}-parameters are not read", "export S-parameters")


def _option(state: State, number: int, tokens: list[Token], given: dict[str, str]) -> None:
    """Take one entry off an option line; they may stand in any order."""
    token = tokens.pop(0)
    word = token.text.lower()
    for name, words in (("unit", UNITS), ("parameter", PARAMETERS), ("format", FORMATS), ("reference", ("r",))):
        if word in words:
            if name in given:
                state.defect(number, f"the option line states its {name} twice", "leave one out", token)
            given[name] = word
            if name == "reference":
                _references(state, number, tokens, token)
            return
    near = get_close_matches(word, [*UNITS, *FORMATS], 1)
    remedy = f"did you mean {quoted(near[0].upper())}?" if near else EXAMPLE
    state.defect(number, f"{quoted(token.text)} is no entry of an option line", remedy, token)


def _references(state: State, number: int, tokens: list[Token], after: Token) -> None:
    values = []
    while tokens and tokens[0].text[:1] in "+-.0123456789":
        values.append(_ohm(state, number, tokens.pop(0)))
    if not values:
        state.defect(number, "no impedance follows R", EXAMPLE, after)
    elif None not in values:
        state.header.reference_ohm = tuple(value for value in values if value is not None)


def _ohm(state: State, number: int, token: Token) -> float | None:
    value = float(token.text) if ONE_NUMBER.fullmatch(token.text) else 0.0
    if not 1e-3 <= value <= 1e6:
        state.defect(number, f"{quoted(token.text)} is no reference impedance", "write ohms, such as R 50", token)
        return None
    return value


def keyword(state: State, number: int, text: str) -> None:
    """Take in a keyword of version 2 (Touchstone file format specification, versions 2.0 and 2.1)."""
    inside, _, behind = text[1:].partition("]")
    name, value = " ".join(inside.lower().split()), behind.strip()
    if state.part == "information" and name != "end information":
        return
    if name not in KEYWORDS:
        near = get_close_matches(name, KEYWORDS, 1)
        remedy = f"did you mean '[{near[0]}]'?" if near else "the format has no such keyword"
        state.defect(number, f"{quoted(text)} is no keyword of a Touchstone file", remedy)
        return
    if not state.header.version and name != "version":
        state.defect(number, "keywords need '[Version] 2.0' above them", "add it as the first line")
        state.header.version = "2.0"
    if name in state.places and name not in ("begin information", "end information"):
        state.defect(number, f"this keyword stands on line {state.places[name]} already", "leave one out")
    state.places[name] = number
    _keyword_value(state, number, name, value)


def _keyword_value(state: State, number: int, name: str, value: str) -> None:
    header = state.header
    moves = {
        "begin information": "information",
        "end information": "head",
        "network data": "network",
        "noise data": "noise",
        "end": "end",
    }
    if name in moves:
        state.part = moves[name]
    elif name == "version":
        header.version = _one_of(state, number, value, VERSIONS)
    elif name == "number of ports":
        header.ports = _whole(state, number, value, 2, f"write a number of ports from 1 to {MOST_PORTS}")
    elif name == "two-port data order":
        header.order = _one_of(state, number, value, ORDERS)
    elif name == "matrix format":
        header.matrix = _one_of(state, number, value.lower(), MATRICES) or "full"
    elif name == "number of frequencies":
        header.count = _whole(state, number, value, 9, "write how many lines of figures follow")
    elif name == "reference":
        state.part = "reference"
        reference_values(state, number, value)
    elif name == "mixed-mode order":
        state.defect(number, "mixed-mode data are not read", "export single-ended ports")


def _whole(state: State, number: int, value: str, digits: int, remedy: str) -> int:
    if re.fullmatch(rf"\d{{1,{digits}}}", value, re.ASCII) and int(value) > 0:
        return int(value)
    state.defect(number, f"{quoted(value)} is no number that can stand here", remedy)
    return 1


def _one_of(state: State, number: int, value: str, allowed: Sequence[str]) -> str:
    if value in allowed:
        return value
    state.defect(number, f"{quoted(value)} cannot stand here", f"one of {', '.join(allowed)}")
    return ""


def reference_values(state: State, number: int, text: str) -> None:
    """Take in impedances behind `[Reference]`, which may go on to the next lines.

    Source: Touchstone file format specification, versions 2.0 and 2.1.
    """
    line = state.lines[number - 1]
    for token in tokens_of(text):
        value = _ohm(state, number, Token(token.text, line.find(token.text) + 1))
        state.references.append(value or 50.0)
    if len(state.references) >= max(1, state.header.ports):
        state.part = "head"
    state.header.reference_ohm = tuple(state.references) or state.header.reference_ohm
