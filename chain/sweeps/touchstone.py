"""The only door for Touchstone files: read here, each figure once; written by scikit-rf. Nothing is ever unpickled."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from chain.arrays import Complex, Real
from chain.errors import Defect, InputError, quoted
from chain.results import counted, network
from chain.sweeps.marks import typed_pair_steps
from chain.sweeps.options import FREQUENCY_UNITS
from chain.sweeps.text import AT_ZERO, FALLING, lines_of, whole_file
from chain.sweeps.touchstone_header import Header
from chain.sweeps.touchstone_lines import scan
from library.frozen import dataclass

if TYPE_CHECKING:
    from skrf.network import Network

NAMED = re.compile(r"\.[sygzh](\d{1,2})p$", re.IGNORECASE | re.ASCII)
FORMAT_WORDS = {"ri": "real and imaginary", "ma": "magnitude and degrees", "db": "dB and degrees"}


@dataclass(frozen=True)
class TouchstoneFile:
    """Figures of a file: frequencies [Hz], shape (frequencies,); S-parameters, shape (frequencies, ports, ports), in `reference_ohm`."""

    freq_hz: Real
    s: Complex
    reference_ohm: tuple[float, ...]
    parameter: str
    """What the file holds: `s`, or `z` or `y`, from which `s` was made in the file's own reference."""
    form: str
    """How its figures are written, for people."""
    assumed: tuple[str, ...]
    """What its option line leaves to the defaults of the format."""
    lines: tuple[int, ...]
    """Line number of each frequency."""
    half_step: Real | None = None
    """Half a step of the last digits of its first pair of figures, as S; None where it is not worth a thought."""
    notes: tuple[str, ...] = ()
    """What was done to the order of its points, and which was left out."""

    def between(self, near: int, far: int) -> TouchstoneFile:
        """The two-port from one port to another, counted from 1, with all others ended in their own references."""
        pair = np.array([near - 1, far - 1])
        ohms = tuple(self.reference_ohm[port] for port in pair)
        return replace(self, s=self.s[:, pair[:, None], pair], reference_ohm=ohms)

    def above_zero(self, path: str) -> TouchstoneFile:
        """The file without a point at 0 Hz, where nothing is reflected."""
        if self.freq_hz[0] > 0:
            return self
        if self.freq_hz.size == 1:
            raise whole_file(path, "holds one point, at 0 Hz: nothing is reflected there", "sweep over the band")
        step = None if self.half_step is None else self.half_step[1:]
        notes = (*self.notes, AT_ZERO)
        return replace(self, freq_hz=self.freq_hz[1:], s=self.s[1:], lines=self.lines[1:], half_step=step, notes=notes)

    @property
    def transmits(self) -> bool:
        """Whether any wave passes from port 1 to port 2: an analyzer of one port writes zeros there."""
        return self.s.shape[1] > 1 and bool(np.any(self.s[:, 1, 0]))


def ports_of_name(path: str) -> int:
    """Ports that a name of the Touchstone kind promises. Source: Touchstone file format specification, version 1.1: names end in .sNp."""
    found = NAMED.search(path)
    return int(found.group(1)) if found else 0


def read_two_port(
    path: str, between: Sequence[str] | None = None, naming: str = 'path = ["{}", "{}"]'
) -> TouchstoneFile:
    """Read a Touchstone file of a two-port, or the two-port between a pair of ports of a larger one.

    Source: Touchstone file format specification, versions 1.0 to 2.1.
    """
    found = parse(lines_of(path), path).above_zero(path)
    own = found.s.shape[1]
    known = [str(port) for port in range(1, own + 1)]
    remedy = f"name two of them: {naming.format(1, own)}" if own > 1 else "name a file of the right kind"
    if between is not None and (len(set(between)) != 2 or not set(between) <= set(known)):
        what = f"holds {counted(own, 'port')}, and {' to '.join(map(quoted, between))} is no pair of them"
        raise whole_file(path, what, remedy)
    if between is not None:
        found = found.between(int(between[0]), int(between[1]))
    elif own != 2:
        raise whole_file(path, f"holds {counted(own, 'port')} where 2 ports are needed", remedy)
    if not found.transmits:
        both = bool(np.any(found.s[:, 0, 1]))
        what = "was measured in one direction only" if both else "is a one-port in the form of a two-port"
        raise whole_file(
            path,
            f"{what}: S21 is zero throughout",
            "measure both ports of the part; an analyzer with one port writes zeros for what it cannot see",
        )
    if not np.any(found.s[:, 0, 1]):
        what = "was measured in one direction only: S12 is zero throughout"
        raise whole_file(path, what, "measure the part both ways round and join the two sweeps in one file")
    return found


def parse(lines: list[str], path: str) -> TouchstoneFile:
    """Read the lines of a Touchstone file.

    Source: Touchstone file format specification, versions 1.0 to 2.1; in version 1 impedances are stated in units of
    the reference, in version 2 in ohm.
    """
    seen = scan(lines, path, ports_of_name(path))
    header = seen.header
    numbers = np.array([row.numbers for row in seen.rows])
    reference = np.broadcast_to(header.reference_ohm, (header.ports,)).astype(float)
    with np.errstate(all="ignore"):
        freq = numbers[:, 0] * FREQUENCY_UNITS[header.unit]
        raw = _matrices(header, numbers[:, 1::2], numbers[:, 2::2])
        s = _scattering(raw, header.parameter, reference if header.second else np.ones(header.ports))
    at = tuple(row.number for row in seen.rows)
    bad = np.flatnonzero(~(np.isfinite(freq) & np.all(np.isfinite(s), axis=(1, 2))))
    if bad.size:
        raise InputError([_at(path, lines, at[index], "a figure here is not finite") for index in bad[:20]])
    ohms = tuple(float(ohm) for ohm in reference)
    words = FORMAT_WORDS[header.format]
    notes = (FALLING,) if seen.falling else ()
    # The pairs of one file are written alike; of impedances the digits show nothing so simple.
    step = None
    if header.parameter == "s":
        step = typed_pair_steps(header.format, [lines[number - 1] for number in at], numbers[:, 1], numbers[:, 2])
    return TouchstoneFile(freq, s, ohms, header.parameter, words, header.assumed, at, step, notes)


def _at(path: str, lines: list[str], number: int, message: str) -> Defect:
    source = lines[number - 1]
    column = len(source) - len(source.lstrip()) + 1
    return Defect(path, number, column, message, "export the sweep again", source, max(1, len(source.strip())))


def _matrices(header: Header, first: Real, second: Real) -> Complex:
    """Matrices of the pairs of figures of every frequency, shape (frequencies, ports, ports).

    Source: Touchstone file format specification: rows of the matrix one after the other, but S21 before S12 in a
    two-port of version 1, and where version 2 says 21_12; a triangle stands for a symmetric matrix.
    """
    if header.format == "ri":
        pairs = first + 1j * second
    else:
        size = first if header.format == "ma" else 10 ** (first / 20)
        pairs = size * np.exp(1j * np.deg2rad(second))
    ports = header.ports
    if header.matrix == "full":
        out = pairs.reshape(-1, ports, ports)
        return out.swapaxes(1, 2) if ports == 2 and header.order != "12_21" else out
    rows, columns = np.tril_indices(ports) if header.matrix == "lower" else np.triu_indices(ports)
    out = np.empty((first.shape[0], ports, ports), dtype=complex)
    out[:, rows, columns] = out[:, columns, rows] = pairs
    return out


def _scattering(raw: Complex, parameter: str, unit_ohm: Real) -> Complex:
    """S-parameters of S, Z or Y; impedances in units of `unit_ohm` times what is wanted, one unit for each port."""
    if parameter == "s":
        return raw
    root = np.sqrt(np.outer(unit_ohm, unit_ohm))
    identity = np.eye(raw.shape[1])
    relative = raw / root if parameter == "z" else raw * root
    try:
        if parameter == "z":
            return np.asarray((relative - identity) @ np.linalg.inv(relative + identity))
        return np.asarray((identity - relative) @ np.linalg.inv(identity + relative))
    except np.linalg.LinAlgError:
        return np.full_like(raw, np.nan)


def text_of_two_port(freq_hz: Real, s: Complex, near_ohm: float, far_ohm: float) -> str:
    """A two-port as the text of a Touchstone 2.1 file with a reference for each port.

    Source: Touchstone file format specification, version 2.1.
    """
    return text_of_network(network(freq_hz, s, [near_ohm, far_ohm], "chain"))


def text_of_network(found: Network) -> str:
    """A network as the text of a Touchstone file: version 1 for one port, 2.1 with a reference for each of several.

    Source: Touchstone file format specification, versions 1.0 and 2.1.
    """
    version = "1.0" if found.nports == 1 else "2.1"
    return str(found.write_touchstone("chain", return_string=True, form="ri", version=version))
