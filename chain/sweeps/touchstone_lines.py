"""Lines of a Touchstone file: every defect in its place, nothing taken in silence; the figures are read here, once."""

from __future__ import annotations

import re
from collections.abc import Sequence
from math import isqrt
from typing import NamedTuple

from chain.errors import Defect, quoted
from chain.results import counted
from chain.sweeps.text import LONGEST_LINE, MOST_POINTS, bounded, falls, whole_file
from chain.sweeps.touchstone_header import (
    MOST_PORTS,
    ONE_NUMBER,
    Header,
    State,
    keyword,
    option_line,
    reference_values,
    tokens_of,
)
from library.frozen import dataclass

OPTION = re.compile(r"#\s*(?:(?:[kmg]?hz|[syzgh]|ma|db|ri|r|[+-]?[\d.]+(?:e[+-]?\d+)?)(?:\s+|$))*", re.IGNORECASE)
REMARK = "! port impedance"
"""A remark by which some programs state the reference of every port at every frequency; no part of the format."""
NOISE_WIDTH = 5


class TouchstoneRow(NamedTuple):
    """Figures of one frequency, which comes first, and the line where they begin."""

    number: int
    numbers: list[float]


LEAST_HZ, MOST_PART = 1e5, 1.5
"""From so much on a frequency is in hertz; a real or an imaginary part of a passive reflection is never above the other."""


@dataclass(frozen=True)
class Scan:
    """Header and rows, rising in frequency; `falling` shows that the file has them the other way round."""

    header: Header
    rows: tuple[TouchstoneRow, ...]
    falling: bool


def looks_like_touchstone(lines: Sequence[str]) -> bool:
    """Recognise a Touchstone file by its first line that is no remark: an option line, or the keyword of its version.

    Source: Touchstone file format specification, versions 1.0 to 2.1.
    """
    for line in lines:
        text = line.partition("!")[0].strip()
        if text:
            return bool(len(text) < LONGEST_LINE and OPTION.fullmatch(text)) or text.lower().startswith("[version]")
    return False


def scan(lines: Sequence[str], path: str, named_ports: int = 0) -> Scan:
    """Look over a Touchstone file and read its figures (Touchstone file format specification, versions 1.0 to 2.1)."""
    state = State(path, lines, named_ports)
    for number, line in enumerate(lines, 1):
        if "!" in line:
            if line.lstrip()[: len(REMARK)].lower() == REMARK:
                state.remarks.setdefault(line.strip()[len(REMARK) :], number)
            line = line.partition("!")[0]
        text = line.strip()
        if text and state.part != "end":
            _line(state, number, line, text)
    if not state.option:
        raise whole_file(path, "has no option line", f"add one such as '{_likely_option(state)}' before the figures")
    rows = _rows(state)
    falling = _ordered(state, rows)
    _finish(state, len(rows))
    _remarks(state)
    if state.defects:
        raise bounded(state.defects)
    return Scan(state.header, tuple(reversed(rows) if falling else rows), falling)


def _line(state: State, number: int, line: str, text: str) -> None:
    if len(text) > LONGEST_LINE:
        state.defect(number, f"this line is longer than {LONGEST_LINE} characters", "one frequency on each line")
    elif text[0] == "[":
        keyword(state, number, text)
    elif state.part == "information":
        return
    elif text[0] == "#":
        option_line(state, number, line)
    elif state.part == "reference":
        reference_values(state, number, text)
    elif state.part != "noise":
        if state.header.second and "network data" not in state.places:
            state.defect(number, "figures before '[Network Data]'", "put that keyword above the figures")
            state.places["network data"] = number
        state.data.append(number)


def _likely_option(state: State) -> str:
    """An option line that the figures could be of: parts of a reflection never exceed one by much, decibels and angles do."""
    rows = [each for each in (_numbers(state, number) for number in state.data) if len(each) > 1]
    unit = "Hz" if rows and max(each[0] for each in rows) >= LEAST_HZ else "MHz"
    if not rows or all(abs(value) <= MOST_PART for each in rows for value in each[1:]):
        return f"# {unit} S RI R 50"
    first_ones = [each[1] for each in rows]
    return f"# {unit} S {'MA' if all(0 <= value <= MOST_PART for value in first_ones) else 'DB'} R 50"


def _rows(state: State) -> list[TouchstoneRow]:
    """Rows of figures: what stands on the lines of data, those of one frequency put together.

    Source: Touchstone file format specification: a frequency begins on a line of its own. Figures go in pairs, so that
    the line with the frequency has an odd number of them and a line that goes on with it an even one.
    """
    header, out = state.header, list[TouchstoneRow]()
    lines = [TouchstoneRow(number, _numbers(state, number)) for number in state.data]
    header.ports = header.ports or state.named_ports or _counted_ports(lines)
    wanted = header.width
    over_lines = header.ports > 2 or header.second
    for line in lines:
        going_on = over_lines and out and len(out[-1].numbers) < wanted and len(line.numbers) % 2 == 0
        if going_on:
            out[-1].numbers.extend(line.numbers)
        elif _is_noise(header, out, line.numbers):
            break
        elif len(out) == MOST_POINTS:
            state.defect(line.number, f"holds more than {MOST_POINTS} points", "thin the sweep out")
            raise bounded(state.defects)
        else:
            out.append(line)
    for row in out:
        if len(row.numbers) != wanted:
            ports = {1: "one port", 2: "two ports"}.get(header.ports, f"{header.ports} ports")
            what = f"this line has {counted(len(row.numbers), 'column')} where {wanted} are needed for {ports}"
            remedy = "write the frequency and a pair for each parameter on one line"
            if len(row.numbers) == 2 and header.ports == 1:
                remedy = (
                    "without a phase save it as .csv, under a header such as 'frequency_mhz,return_loss_db' or "
                    "'frequency_mhz,vswr', in place of the option line"
                )
            if over_lines:
                what = f"this frequency has {counted(len(row.numbers), 'figure')} where {wanted} are needed for {ports}"
                remedy = "write the frequency and a pair for each parameter"
            state.defect(row.number, what, remedy)
    return out


def _numbers(state: State, number: int) -> list[float]:
    """Figures of a line; a word that is no number is a defect and stands as NaN."""
    line = state.lines[number - 1].partition("!")[0]
    words = line.split()
    if all(map(ONE_NUMBER.fullmatch, words)):
        return list(map(float, words))
    for token in tokens_of(line):
        if not ONE_NUMBER.fullmatch(token.text):
            remedy = "write decimal points, not commas" if "," in token.text else "write a plain number"
            state.defect(number, f"{quoted(token.text)} is not a number", remedy, token)
    return [float("nan")] * len(words)


def _counted_ports(lines: Sequence[TouchstoneRow]) -> int:
    """Ports of a file of version 1 whose name promises none: by the figures up to the next line that has a frequency."""
    count = 0
    for line in lines:
        if count and len(line.numbers) % 2:
            break
        count += len(line.numbers)
    ports = isqrt(max(0, count - 1) // 2)
    return ports if 1 <= ports <= MOST_PORTS and 1 + 2 * ports**2 == count else 1


def _is_noise(header: Header, rows: Sequence[TouchstoneRow], numbers: Sequence[float]) -> bool:
    """Noise figures follow in version 1 where the frequency goes back."""
    if header.second or header.ports != 2 or len(numbers) != NOISE_WIDTH or not rows:
        return False
    first, last = rows[0].numbers[0], rows[-1].numbers[0]
    return numbers[0] >= last if last < first else numbers[0] <= last


def _ordered(state: State, rows: Sequence[TouchstoneRow]) -> bool:
    """Recognise a sweep that falls throughout; one that neither rises nor falls is at fault in every place."""
    known = [row for row in rows if row.numbers[0] == row.numbers[0]]
    falling = falls([row.numbers[0] for row in known])
    most = -1.0
    for index, row in enumerate(known):
        freq = row.numbers[0]
        token = tokens_of(state.lines[row.number - 1])[0]
        if freq < 0:
            state.defect(row.number, f"frequency {quoted(token.text)} is below zero", "correct the figure", token)
        elif freq == most or (falling and index and freq == known[index - 1].numbers[0]):
            state.defect(row.number, f"frequency {quoted(token.text)} is repeated", "drop one of the lines", token)
        elif freq < most and not falling:
            state.defect(row.number, "frequencies do not rise here", "sort the lines", token)
        most = max(freq, most)
    return falling


def _finish(state: State, rows: int) -> None:
    header = state.header
    if not rows and not state.defects:
        raise whole_file(state.path, "holds no figures", "export the sweep again")
    stated = state.places.get("number of ports", 0)
    if header.second and not stated:
        state.defect(1, "'[Number of Ports]' is missing", "add '[Number of Ports] 1' or 2")
    if header.second and header.ports == 2 and not header.order:
        state.defect(stated or 1, "'[Two-Port Data Order]' is missing", "add 21_12 or 12_21")
    if state.named_ports and stated and header.ports != state.named_ports:
        state.defect(
            stated, f"the file states {counted(header.ports, 'port')}, its name {state.named_ports}", "rename it"
        )
    if len(header.reference_ohm) not in (1, header.ports):
        message = f"holds {len(header.reference_ohm)} reference impedances for {counted(header.ports, 'port')}"
        state.defects.append(Defect(state.path, 0, 0, message, "state one, or one for each port"))
    if header.count and header.count != rows and not state.defects:
        found = f"{rows} lines of figures where {header.count} are stated"
        state.defect(state.places["number of frequencies"], found, "is the file whole?")


def _remarks(state: State) -> None:
    """Port impedances in remarks may repeat what the header says; any others would make its figures wrong in silence."""
    ohms = state.header.reference_ohm
    stated = ohms if len(ohms) > 1 else ohms * state.header.ports
    pairs = [part for ohm in stated for part in (ohm, 0.0)]
    for text, number in state.remarks.items():
        words = text.split()
        if not words or not all(map(ONE_NUMBER.fullmatch, words)):
            continue
        values = [float(word) for word in words]
        alike = len(values) == len(pairs) and all(
            abs(a - b) <= 1e-6 * max(1, abs(b)) for a, b in zip(values, pairs, strict=True)
        )
        if not alike:
            what = "this remark states other port impedances than the header"
            state.defect(number, what, "export in one real reference, the header's")
            return
