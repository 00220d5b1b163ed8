"""The only door for Touchstone files: scikit-rf reads and writes them, and never unpickles what it is given."""

from __future__ import annotations

import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from chain.errors import Defect, InputError, plain

__all__ = ["LARGEST_BYTES", "read", "text_of_two_port"]

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]

LARGEST_BYTES = 50_000_000


def read(path: str, ports: int) -> tuple[Real, Complex, tuple[float, ...]]:
    """Read a Touchstone file of one or two ports.

    Parameters
    ----------
    path : the file, named .s1p, .s2p or .ts.
    ports : how many ports it must have.

    Returns
    -------
    (freq_hz, s, reference_ohm): shapes (frequencies,), (frequencies, ports, ports), one reference per port [Hz, -, ohm].

    Raises
    ------
    InputError : the file cannot be read, has no option line, another number of ports, frequencies that do not rise,
        or a figure that is not finite.

    Examples
    --------
    >>> freq_hz, s, reference_ohm = read("demo/boathouse.s1p", 1)
    >>> s.shape[1:], reference_ohm
    ((1, 1), (50.0,))

    Source
    ------
    Touchstone file format specification, versions 1.0 to 2.1, as scikit-rf reads it.
    """
    text = _text(path)
    network = _network(path)
    if network.nports != ports:
        raise _fault(path, f"holds {network.nports} ports where {ports} are needed", "name a file of the right kind")
    freq = np.asarray(network.f, dtype=float)
    rows = _data_rows(text)
    if ports == 2 and rows > freq.size:
        raise _fault(path, f"{freq.size} of {rows} data lines could be used", "frequencies must rise, one line each")
    if freq.size == 0 or np.any(np.diff(freq) <= 0):
        raise _fault(path, "its frequencies do not rise from line to line", "sort the file and drop repeated lines")
    s = np.asarray(network.s)
    if not (np.all(np.isfinite(s)) and np.all(np.isfinite(freq))):
        raise _fault(path, "holds a figure that is not finite", "export the sweep again")
    reference = np.asarray(network.z0)
    if np.any(np.abs(reference.imag) > 0) or np.any(np.ptp(reference.real, axis=0) > 0):
        raise _fault(path, "its reference impedance is complex or changes with frequency", "export it in a real one")
    return freq, s, tuple(float(value) for value in reference[0].real)


def _fault(path: str, message: str, help_text: str) -> InputError:
    return InputError([Defect(str(path), 0, 0, message, help_text)])


def _text(path: str) -> str:
    try:
        size = Path(path).stat().st_size
        if size > LARGEST_BYTES:
            raise _fault(path, f"is larger than {LARGEST_BYTES // 1_000_000} MB", "thin the sweep out")
        data = Path(path).read_bytes()
    except OSError as error:
        raise _fault(path, f"cannot be read: {plain(error.strerror or 'unknown cause')}", "") from error
    text = data.decode("latin-1")
    if not any(line.lstrip().startswith("#") for line in text.splitlines()):
        raise _fault(path, "has no option line", "add one such as '# MHz S RI R 50' before the data")
    return text


def _network(path: str):  # type: ignore[no-untyped-def]
    from skrf.network import Network

    network = Network()
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            network.read_touchstone(str(path))
    except Exception as error:  # scikit-rf raises many kinds for a broken file; each means the same to the user
        reason = plain(str(error).splitlines()[0]) if str(error) else type(error).__name__
        raise _fault(
            path, f"is not a Touchstone file that can be read: {reason}", "it must be named .s1p, .s2p or .ts"
        ) from error
    return network


def _data_rows(text: str) -> int:
    lines = (line.split("!")[0].strip() for line in text.splitlines())
    return sum(1 for line in lines if line and line[0] not in "#[")


def text_of_two_port(freq_hz: Real, s: Complex, near_ohm: float, far_ohm: float) -> str:
    """A two-port as the text of a Touchstone 2.1 file with a reference for each port.

    Parameters
    ----------
    freq_hz : shape (frequencies,) [Hz].
    s : shape (frequencies, 2, 2) [-].
    near_ohm, far_ohm : references of port 1 and port 2 [ohm].

    Returns
    -------
    str, the whole file.

    Examples
    --------
    >>> s = np.array([[[0, 0.5], [0.5, 0]]], dtype=complex)
    >>> "[Reference] 50.0 75.0" in text_of_two_port(np.array([1e8]), s, 50.0, 75.0)
    True

    Source
    ------
    Touchstone file format specification, version 2.1.
    """
    from skrf.frequency import Frequency
    from skrf.network import Network

    reference = np.broadcast_to([near_ohm, far_ohm], (freq_hz.size, 2))
    network = Network(
        frequency=Frequency.from_f(freq_hz, unit="hz"), s=np.array(s), z0=np.array(reference), name="chain"
    )
    return str(network.write_touchstone("chain.ts", return_string=True, form="ri", version="2.1"))
