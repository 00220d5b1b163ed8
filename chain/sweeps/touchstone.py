"""The only door for Touchstone files: scikit-rf reads and writes them, and never unpickles what it is given."""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass
from io import StringIO

import numpy as np

from chain.arrays import Complex, Real
from chain.errors import Defect, InputError, plain
from chain.sweeps.text import lines_of, whole_file
from chain.sweeps.touchstone_lines import Scan, scan

__all__ = ["TouchstoneFile", "parse", "ports_of_name", "read", "text_of_two_port"]


NAMED = re.compile(r"\.[sygzh](\d{1,3})p$", re.IGNORECASE | re.ASCII)
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


def ports_of_name(path: str) -> int:
    """Ports that a name of the Touchstone kind promises.

    Source: Touchstone file format specification, version 1.1: names end in .sNp.
    """
    found = NAMED.search(path)
    return int(found.group(1)) if found else 0


def read(path: str, ports: int) -> tuple[Real, Complex, tuple[float, ...]]:
    """Read a Touchstone file of one or two ports [Hz, -, ohm].

    Source: Touchstone file format specification, versions 1.0 to 2.1, as scikit-rf reads it.
    """
    found = parse(lines_of(path), path)
    if found.s.shape[1] != ports:
        words = {1: "1 port", 2: "2 ports"}
        message = f"holds {words[found.s.shape[1]]} where {words[ports]} are needed"
        raise whole_file(path, message, "name a file of the right kind")
    return found.freq_hz, found.s, found.reference_ohm


def parse(lines: list[str], path: str) -> TouchstoneFile:
    """Read the lines of a Touchstone file of one or two ports.

    Source: Touchstone file format specification, versions 1.0 to 2.1; in version 1 impedances are stated in units of
    the reference, in version 2 in ohm.
    """
    promised = ports_of_name(path)
    if promised > 2:
        raise whole_file(path, f"is named for {promised} ports", "one or two are read")
    seen = scan(lines, path, promised)
    freq, raw = _figures(seen, path)
    ports = raw.shape[1]
    reference = np.broadcast_to(seen.header.reference_ohm, (ports,)).astype(float)
    with np.errstate(all="ignore"):
        s = _scattering(raw, seen.header.parameter, np.ones(ports) if not seen.header.second else reference)
    bad = np.flatnonzero(~(np.isfinite(freq) & np.all(np.isfinite(s), axis=(1, 2))))
    if bad.size:
        faults = [_at(path, lines, seen.numbers[index], "a figure here is not finite") for index in bad[:20]]
        raise InputError(faults)
    return TouchstoneFile(
        freq,
        s,
        tuple(float(ohm) for ohm in reference),
        seen.header.parameter,
        FORMAT_WORDS[seen.header.format],
        seen.header.assumed,
        seen.numbers,
    )


def _at(path: str, lines: list[str], number: int, message: str) -> Defect:
    source = lines[number - 1]
    column = len(source) - len(source.lstrip()) + 1
    return Defect(path, number, column, message, "export the sweep again", source, max(1, len(source.strip())))


def _plain_text(seen: Scan) -> tuple[str, str]:
    """File in the plainest form of its version, without remarks, and the name that goes with it.

    Impedances and admittances go as if they were S, for scikit-rf multiplies those of version 1 by the reference,
    which is wrong for admittances.
    """
    head = seen.header
    reference = " ".join(f"{ohm!r}" for ohm in head.reference_ohm)
    if not head.second:
        return "\n".join([f"# {head.unit} S {head.format} R {reference}", *seen.rows, ""]), f"chain.s{head.ports}p"
    order = [f"[Two-Port Data Order] {head.order}"] if head.ports == 2 else []
    keywords = [
        "[Version] 2.0",
        f"# {head.unit} S {head.format} R 50",
        f"[Number of Ports] {head.ports}",
        *order,
        f"[Number of Frequencies] {len(seen.rows)}",
        f"[Matrix Format] {head.matrix.capitalize()}",
        "[Network Data]",
    ]
    return "\n".join([*keywords, *seen.rows, "[End]", ""]), "chain.ts"


def _figures(seen: Scan, path: str) -> tuple[Real, Complex]:
    from skrf.network import Network

    text, name = _plain_text(seen)
    stream = StringIO(text)
    stream.name = name
    network = Network()
    try:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            warnings.simplefilter("ignore")
            network.read_touchstone(stream)
    except Exception as error:  # scikit-rf raises many kinds for a broken file; each means the same to the user
        reason = plain(str(error).splitlines()[0]) if str(error) else type(error).__name__
        raise whole_file(path, f"is not a Touchstone file that can be read: {reason}", "export it again") from error
    return np.asarray(network.f, dtype=float), np.asarray(network.s)


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
    from skrf.frequency import Frequency
    from skrf.network import Network

    reference = np.broadcast_to([near_ohm, far_ohm], (freq_hz.size, 2))
    network = Network(
        frequency=Frequency.from_f(freq_hz, unit="hz"), s=np.array(s), z0=np.array(reference), name="chain"
    )
    return str(network.write_touchstone("chain.ts", return_string=True, form="ri", version="2.1"))
