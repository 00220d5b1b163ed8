"""Lines of a Touchstone file looked over before a library reads them: every fault in its place, nothing taken in silence.

The library that reads the figures takes a file without an option line for magnitudes in GHz, a falling frequency for
noise, and remarks of some programs for impedances. So the lines are checked here and handed on in one plain form.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from chain.errors import Defect, quoted
from chain.sweeps.text import LONGEST_LINE, MOST_POINTS, bounded, whole_file
from chain.sweeps.touchstone_header import (
    NUMBER,
    ONE_NUMBER,
    Header,
    State,
    keyword,
    option_line,
    reference_figures,
    tokens_of,
)

__all__ = ["Scan", "looks_like_touchstone", "scan"]

ROW = re.compile(rf"\s*{NUMBER}(?:\s+{NUMBER})*\s*", re.ASCII)
OPTION = re.compile(r"#\s*(?:(?:[kmg]?hz|[syzgh]|ma|db|ri|r|[+-]?[\d.]+(?:e[+-]?\d+)?)(?:\s+|$))*", re.IGNORECASE)
REMARK = "! port impedance"
"""A remark by which some programs state the reference of every port at every frequency; no part of the format."""
NOISE_WIDTH = 5


@dataclass(frozen=True)
class Scan:
    """Header, the data lines as they stand, and the line number of each."""

    header: Header
    rows: tuple[str, ...]
    numbers: tuple[int, ...]


def looks_like_touchstone(lines: Sequence[str]) -> bool:
    """Tell a Touchstone file by its first line that is no remark: an option line, or the keyword of its version.

    Source: Touchstone file format specification, versions 1.0 to 2.1.
    """
    for line in lines:
        text = line.partition("!")[0].strip()
        if text:
            return bool(len(text) < LONGEST_LINE and OPTION.fullmatch(text)) or text.lower().startswith("[version]")
    return False


def scan(lines: Sequence[str], path: str, named_ports: int = 0) -> Scan:
    """Look over a Touchstone file of one or two ports.

    Source: Touchstone file format specification, versions 1.0 to 2.1.
    """
    state = State(path, lines, named_ports)
    for number, line in enumerate(lines, 1):
        if "!" in line:
            if line.lstrip()[: len(REMARK)].lower() == REMARK:
                state.remarks.setdefault(line.strip()[len(REMARK) :], number)
            line = line.partition("!")[0]
        text = line.strip()
        if text and state.part != "end":
            _line(state, number, line, text)
    _finish(state)
    _remarks(state)
    if state.faults:
        raise bounded(state.faults)
    return Scan(state.header, tuple(state.rows), tuple(state.numbers))


def _line(state: State, number: int, line: str, text: str) -> None:
    if len(text) > LONGEST_LINE:
        state.fault(number, f"this line is longer than {LONGEST_LINE} characters", "one frequency on each line")
    elif text[0] == "[":
        keyword(state, number, text)
    elif state.part == "information":
        return
    elif text[0] == "#":
        option_line(state, number, line)
    elif len(state.rows) < MOST_POINTS:
        _figures(state, number, line)
    else:
        state.fault(number, f"holds more than {MOST_POINTS} points", "thin the sweep out")
        raise bounded(state.faults)


def _figures(state: State, number: int, line: str) -> None:
    if state.part == "reference":
        reference_figures(state, number, line.strip())
        return
    if state.part == "noise":
        return
    if not state.option:
        # Told once for the file as a whole, by `_finish`.
        state.rows.append(line)
        return
    width = len(line.split())
    header = state.header
    if not header.ports:
        header.ports = state.named_ports or {3: 1, 9: 2}.get(width, 1)
    if width == NOISE_WIDTH and header.ports == 2 and state.rows and not header.second and _goes_back(state, line):
        state.part = "noise"
        return
    if header.second and state.part != "network" and "network data" not in state.places:
        state.fault(number, "figures before '[Network Data]'", "put that keyword above the figures")
        state.places["network data"] = number
    _row(state, number, line, width)


def _goes_back(state: State, line: str) -> bool:
    """Noise figures follow in version 1 where the frequency falls back."""
    first = line.split()[0]
    return bool(ONE_NUMBER.fullmatch(first)) and float(first) <= state.last


def _row(state: State, number: int, line: str, width: int) -> None:
    wanted = state.header.width
    good = ROW.fullmatch(line) is not None
    if not good:
        for token in tokens_of(line):
            if not ONE_NUMBER.fullmatch(token.text):
                comma = re.fullmatch(r"[+-]?\d*,\d+([eE][+-]?\d+)?,?", token.text)
                remedy = "write decimal points, not commas" if comma or "," in token.text else "write a plain number"
                state.fault(number, f"{quoted(token.text)} is not a number", remedy, token)
    if width != wanted:
        ports = "one port" if state.header.ports == 1 else "two ports"
        what = f"this line has {width} columns where {wanted} are needed for {ports}"
        state.fault(number, what, "write the frequency and a pair for each parameter on one line")
    elif good:
        token = tokens_of(line)[0]
        freq = float(token.text)
        if freq < 0:
            state.fault(number, f"frequency {quoted(token.text)} is below zero", "correct the figure", token)
        elif freq == state.last:
            state.fault(number, f"frequency {quoted(token.text)} is repeated", "drop one of the lines", token)
        elif freq < state.last:
            state.fault(number, "frequencies do not rise here", "sort the lines", token)
        state.last = max(freq, state.last)
    state.rows.append(line)
    state.numbers.append(number)


def _finish(state: State) -> None:
    header = state.header
    if not state.option:
        message = "has no option line"
        raise whole_file(state.path, message, "add one such as '# MHz S RI R 50' before the figures")
    if not state.rows and not state.faults:
        raise whole_file(state.path, "holds no figures", "export the sweep again")
    ports = header.ports or 1
    stated = state.places.get("number of ports", 0)
    if header.second and not stated:
        state.fault(1, "'[Number of Ports]' is missing", "add '[Number of Ports] 1' or 2")
    if header.second and ports == 2 and not header.order:
        state.fault(stated or 1, "'[Two-Port Data Order]' is missing", "add 21_12 or 12_21")
    if state.named_ports and stated and header.ports != state.named_ports:
        state.fault(stated, f"the file states {header.ports} ports, its name {state.named_ports}", "rename it")
    if len(header.reference_ohm) not in (1, ports):
        message = f"holds {len(header.reference_ohm)} reference impedances for {ports} port{'s' * (ports > 1)}"
        state.faults.append(Defect(state.path, 0, 0, message, "state one, or one for each port"))
    if header.count and header.count != len(state.rows) and not state.faults:
        found = f"{len(state.rows)} lines of figures where {header.count} are stated"
        state.fault(state.places["number of frequencies"], found, "is the file whole?")


def _remarks(state: State) -> None:
    """Port impedances in remarks may repeat what the header says; any others would make its figures wrong in silence."""
    ports = state.header.ports or 1
    stated = [
        ohm for ohm in state.header.reference_ohm for _ in range(ports if len(state.header.reference_ohm) == 1 else 1)
    ]
    pairs = [part for ohm in stated for part in (ohm, 0.0)]
    for text, number in list(state.remarks.items()):
        words = text.split()
        if not words or not all(ONE_NUMBER.fullmatch(word) for word in words):
            continue
        values = [float(word) for word in words]
        if len(values) != len(pairs) or any(
            abs(a - b) > 1e-6 * max(1, abs(b)) for a, b in zip(values, pairs, strict=True)
        ):
            what = "this remark states other port impedances than the header"
            state.fault(number, what, "export in one real reference, the header's")
            return
