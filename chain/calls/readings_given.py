"""Readings from whatever a caller has: a path, typed texts, arrays, a table with names, a scikit-rf Network."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from os import PathLike, fspath
from pathlib import Path
from typing import Any

import numpy as np

from chain.arrays import Complex, Real, masked
from chain.assembly.cascade import plane_reference_ohm, read_sweep_for
from chain.errors import RangeError, UnitError, quoted
from chain.reflection import magnitude_from_return_loss, magnitude_from_vswr, reflection_from_ohm
from chain.setups import Setup
from chain.sweeps.columns import REGION, Channels, frequency_factor, role
from chain.sweeps.marks import half_steps, worth
from chain.sweeps.read import read_sweep
from chain.sweeps.readings import Readings, averaged_sweeps, typed_readings
from chain.sweeps.values import SAME_TRACE
from chain.units import is_number
from library.channels import listed, named_channel
from library.words import concepts

KINDS = ("reflection", "magnitude", "vswr", "return_loss_db", "ohm")
LEAST_HZ = 1e4
"""Lower than any antenna is measured: such figures are megahertz or gigahertz."""
PAIR = 2
MOST_HZ = 1e12
"""Higher than any antenna is measured: such figures are hertz called megahertz."""
PATH_LIKE = re.compile(r"[/\\]|\.[A-Za-z]\w*$|^-$")
"""A text that is rather the name of a file than a reading without its frequency."""
MOST_MAGNITUDE = 1.1
"""Reflection above which it is none: a sweep file is refused there too."""
WANTED = (
    "hand over Readings, a path, a text such as 'VSWR 1.30 at 210 MHz', (freq_hz, reflection), a scikit-rf Network, or a "
    "table with freq_hz (or channel) and one of " + ", ".join(KINDS)
)


NO_FIGURES = {"b": "True and False", "m": "durations", "M": "dates"}
"""What numpy would make numbers of, by the kind of the array."""
MASKED = "leave the masked points out of both arrays: array[~mask]"
OF_A_RECOVERY = ("reading_reflection", "reading_vswr")
"""Columns of a recovery's table that hold its readings, the one with phase first."""


def readings_of(
    freq_hz: Any,
    *,
    reflection: Any = None,
    magnitude: Any = None,
    vswr: Any = None,
    return_loss_db: Any = None,
    ohm: Any = None,
    reference_ohm: float | None = None,
) -> Readings:
    """Readings from arrays, sorted by frequency, each value looked over as those of a file are.

    Arrays count as exact; what is typed, a file or a DataFrame counts half a step of its last digit.

    Parameters
    ----------
    freq_hz : frequencies [Hz].
    reflection : complex reflections in the reference of the calibration plane [-].
    magnitude : sizes of reflections, without a phase [-].
    vswr : VSWRs [-].
    return_loss_db : return losses, of either sign throughout [dB].
    ohm : complex impedances; they need `reference_ohm` [ohm].
    reference_ohm : impedance of the calibration plane [ohm].

    Returns
    -------
    Readings.

    Raises
    ------
    RangeError : not exactly one kind of figure, other shapes, no numbers, or more than anything passive reflects.

    Examples
    --------
    >>> from chain import readings_of
    >>> readings_of([2e8, 1e8], vswr=[1.5, 2.0]).magnitude.round(3).tolist()
    [0.333, 0.2]

    Source
    ------
    Definitions of VSWR, return loss and reflection coefficient.
    """
    given = {
        "reflection": reflection,
        "magnitude": magnitude,
        "vswr": vswr,
        "return_loss_db": return_loss_db,
        "ohm": ohm,
    }
    named = [name for name, values in given.items() if values is not None]
    if len(named) != 1:
        raise RangeError(f"{len(named)} kinds of figures are given", f"give one of {', '.join(KINDS)}")
    if masked(given[named[0]]):
        raise RangeError("a masked array is no reading", MASKED)
    freq = frequencies_of(freq_hz)
    complex_kind = named[0] in ("reflection", "ohm")
    values = _numbers(given[named[0]], named[0], complex if complex_kind else float)
    if freq.shape != values.shape:
        raise RangeError(f"{freq.size} frequencies and {values.size} of {named[0]}", "give one for each frequency")
    order = np.argsort(freq, kind="stable")
    freq, values = freq[order], values[order]
    if np.any(np.diff(freq) <= 0):
        raise RangeError("freq_hz holds a frequency twice", "give each frequency once, in Hz")
    gamma, size = _sizes(named[0], values, reference_ohm)
    if np.any(size > MOST_MAGNITUDE):
        at = int(np.argmax(size))
        what = f"a reflection of {size[at]:.4g} at {freq[at] / 1e6:g} MHz: nothing passive reflects more than 1"
        raise RangeError(what, "say what it is: readings_of(freq_hz, vswr=...), or return_loss_db=... or ohm=...")
    return Readings(freq, size, gamma, f"{named[0]} as given in arrays")


def frequencies_of(freq_hz: Any) -> Real:
    """Frequencies as an array [Hz]: finite numbers of a size that antennas are measured at."""
    if masked(freq_hz):
        raise RangeError("a masked array is no reading", MASKED)
    if np.iscomplexobj(_array(freq_hz)):
        raise RangeError("freq_hz holds complex figures", "frequencies come first, reflections behind them")
    freq: Real = _numbers(freq_hz, "freq_hz", float)
    if freq.min() <= 0:
        raise RangeError("freq_hz holds a frequency at or below zero", "give frequencies in Hz, and leave 0 Hz out")
    if freq.max() < LEAST_HZ:
        what = f"freq_hz reaches to {freq.max():g} Hz: frequencies are in hertz"
        raise RangeError(what, "multiply megahertz by 1e6, gigahertz by 1e9")
    if freq.max() > MOST_HZ:
        what = f"frequencies reach to {freq.max():g} Hz: are these hertz under a header of another unit?"
        raise RangeError(what, "name the column freq_hz where its figures are in hertz")
    return freq


def _array(values: Any) -> Any:
    """An array of whatever is given; of rows of unequal lengths one without a number."""
    try:
        return np.asarray(values)
    except ValueError:
        return np.asarray(None)


def _numbers(values: Any, name: str, kind: type) -> Any:
    if max(_array(values).shape, default=1) < _array(values).size:
        raise RangeError(f"{name} has rows and columns", "hand over one figure for each frequency: array[:, 0]")
    if others := NO_FIGURES.get(_array(values).dtype.kind, ""):
        raise RangeError(f"{name} holds {others}, which are no figures", f"give an array of {kind.__name__}")
    try:
        found: Any = np.atleast_1d(np.asarray(values, dtype=kind)).ravel()
    except (TypeError, ValueError):
        raise RangeError(f"{name} holds something that is no number", f"give an array of {kind.__name__}") from None
    if not found.size or not np.all(np.isfinite(found) | (np.isinf(found) & (name in ("vswr", "return_loss_db")))):
        raise RangeError(f"{name} is empty, or holds what is not finite", "leave such points out")
    return found


def _sizes(name: str, values: Any, reference_ohm: float | None) -> tuple[Complex | None, Real]:
    if name == "reflection":
        return values, np.abs(values)
    if name == "ohm":
        if reference_ohm is None:
            raise RangeError("impedances need the reference of the plane", "give reference_ohm=50.0, or what it is")
        gamma = reflection_from_ohm(values, reference_ohm)
        return gamma, np.abs(gamma)
    if name == "vswr":
        if np.any(values < 1):
            raise RangeError("a VSWR is never below 1", "for sizes of reflections give magnitude=...")
        return None, magnitude_from_vswr(values)
    if name == "return_loss_db":
        if np.any(values < 0) and np.any(values > 0):
            raise RangeError(
                "return_loss_db holds both signs", "return losses are all positive, or all negative as S11 is"
            )
        return None, magnitude_from_return_loss(np.abs(values))
    if np.any(values < 0):
        raise RangeError("a magnitude is never below zero", "for values in dB give return_loss_db=...")
    return None, values


def readings_given(given: Any, setup: Setup | None) -> Readings:
    """Readings in the reference of the set-up's plane, from what a caller hands over."""
    if isinstance(given, Readings):
        return given
    if isinstance(given, (str, PathLike)):
        return _from_text(given, setup)
    if hasattr(given, "s") and hasattr(given, "z0") and hasattr(given, "f"):
        return _from_network(given, setup)
    reference = None if setup is None else plane_reference_ohm(setup)
    if hasattr(given, "to_frame") and hasattr(given, "index"):
        plain = "reflection" if np.iscomplexobj(np.asarray(given)) else None
        given = given.to_frame(given.name if given.name is not None or plain is None else plain)
    if isinstance(given, Mapping) or hasattr(given, "columns"):
        return _from_table(given, reference, None if setup is None else _channels(setup))
    if isinstance(given, Sequence) and given and all(isinstance(each, (str, PathLike)) for each in given):
        if all(isinstance(each, str) and not Path(each).exists() for each in given):
            return _typed(given, setup)
        return averaged_sweeps([_from_text(each, setup) for each in given])
    if isinstance(given, tuple) and len(given) == len(("freq_hz", "values")):
        values = given[1]
        kind = "reflection" if np.iscomplexobj(_array(values)) else "magnitude"
        return readings_of(given[0], **{kind: values})
    raise RangeError(f"{type(given).__name__} {quoted(given)} is no reading", WANTED)


def _from_text(given: str | PathLike[str], setup: Setup | None) -> Readings:
    text = fspath(given)
    if isinstance(given, str) and not Path(text).exists():
        try:
            return _typed([text], setup)
        except UnitError as error:
            if "names no frequency" not in error.message or not PATH_LIKE.search(text):
                raise
    return read_sweep(text) if setup is None else read_sweep_for(setup, text)


def _typed(texts: Sequence[str], setup: Setup | None) -> Readings:
    if setup is None:
        return typed_readings(*texts)
    reference, channels = plane_reference_ohm(setup), _channels(setup)
    return typed_readings(*texts, reference_ohm=reference, channels=channels, shows_db=setup.shows_db)


def _channels(setup: Setup) -> Channels:
    return {name: (low_hz, high_hz) for name, low_hz, high_hz in setup.sweep.channels}


def _from_network(given: Any, setup: Setup | None) -> Readings:
    if given.s.shape[1:] != (1, 1):
        raise RangeError(f"a Network of {given.s.shape[1]} ports is no reading", "hand over one port, as network.s11")
    found = readings_of(given.f, reflection=given.s[:, 0, 0])
    if setup is None:
        return found
    reference = plane_reference_ohm(setup)
    other = next((complex(each) for each in given.z0[:, 0] if not abs(each - reference) <= 1e-6 * reference), None)
    if other is None:
        return found
    # A file's header may be wrong and its figures right; a Network is in its own reference by definition.
    own = f"{other:g}" if other.imag else f"{other.real:g}"
    raise RangeError(
        f"the Network is in {own} ohm, the set-up's plane in {reference:g} ohm",
        f"network.renormalize({reference:g}) if it was converted to {own} ohm, "
        f"network.z0 = {reference:g} if its figures are as the analyzer showed them",
    )


def _from_table(given: Any, reference_ohm: float | None, channels: Channels | None) -> Readings:
    """A mapping or a DataFrame, frequency as a column or as the index; headers count as those of a file do.

    Of the table of a recovery the readings that it was made from are taken.
    """
    columns = _joined(given)
    names = list(columns)
    own = [name for name in OF_A_RECOVERY if name in names]
    if own and any(str(name).startswith("true_") for name in names):
        kind = own[0].removeprefix("reading_")
        columns = {kind: columns[own[0]], **{name: columns[name] for name in names if name == "freq_hz"}}
        names = list(columns)
    series = {_header(name, values): values for name, values in columns.items()}
    if len(series) < len(names):
        raise RangeError(f"two columns mean the same: {', '.join(map(str, names[:6]))}", "leave one of them out")
    freq, channel_hz = _frequencies(series, getattr(given, "index", None), channels)
    shown = ", ".join(map(str, names[:6]))
    kinds = [name for name in KINDS if name in series]
    if not kinds:
        raise RangeError(f"the table has no figure to read, only {shown}", WANTED)
    angles = [name for name in series if role(name) in ("phase", "imaginary")]
    if angles and kinds[0] not in ("reflection", "ohm"):
        raise RangeError(
            f"the table holds a phase ({angles[0]}) apart", "make one complex column named reflection of both"
        )
    reference = {"reference_ohm": reference_ohm} if kinds[0] == "ohm" else {}
    found = readings_of(freq, **{kinds[0]: np.asarray(series[kinds[0]])}, **reference)  # type: ignore[arg-type]
    for kind in kinds[1:]:
        if kind == "ohm":
            continue
        other = readings_of(freq, **{kind: np.asarray(series[kind])})  # type: ignore[arg-type]
        if float(np.median(np.abs(other.magnitude - found.magnitude))) > SAME_TRACE:
            raise RangeError(f"{kind} does not belong to the same trace as {kinds[0]}", "leave one of the columns out")
    rounding = _digits(kinds[0], series[kinds[0]], freq, found) if hasattr(given, "columns") else None
    return replace(found, channel_hz=channel_hz, rounding=rounding)


def _digits(kind: str, values: Any, freq_hz: Any, found: Readings) -> Real | None:
    """Half a step of the digits that a column of a DataFrame shows, as a magnitude, as a file of the same figures has it."""
    if found.reflection is not None:
        return None
    numbers = _numbers(values, kind, float)
    finite = np.isfinite(numbers)
    half = half_steps([repr(abs(float(each))).removesuffix(".0") for each in numbers[finite]] or ["0"])
    moved = np.where(finite, numbers + np.copysign(half.min(), numbers), numbers)
    there = readings_of(freq_hz, **{kind: moved}).magnitude
    return worth(np.abs(there - found.magnitude))


def _frequencies(series: dict[str, Any], index: Any, channels: Channels | None) -> tuple[Any, tuple[float, ...]]:
    """Frequencies of a table [Hz], from a column, else the index, else the middles of the channels that either names; and those."""
    if index is None or callable(index):
        index = None
    elif "freq_hz" not in series:
        # An index without a name is frequency in hertz where it can be nothing else.
        name = str(index.name) if index.name is not None else "freq_hz" if _in_hertz(index) else "index"
        series = {name: index, **series}
    for name, values in series.items():
        if role(name) == "frequency" and (factor := frequency_factor(name)):
            return factor * _numbers(values, name, float), ()
    named = next((name for name in series if not role(name) and "channel" in concepts(name)), None)
    if named is not None:
        middles = tuple(_middle_hz(each, channels) for each in np.asarray(series[named], dtype=object).ravel())
        if len(set(middles)) < len(middles):
            raise RangeError("a channel is named twice", "leave one of its readings out, or average them")
        return np.asarray(middles), tuple(sorted(middles))
    remedy = WANTED if index is None else "name its frequencies in hertz: table.index.name = 'freq_hz'"
    raise RangeError(f"the table has no freq_hz and no channel, only {', '.join([*series][:6])}", remedy)


def _middle_hz(cell: Any, channels: Channels | None) -> float:
    """Middle of the channel that a cell names, by its number or as text [Hz]."""
    whole = is_number(cell) and float(cell).is_integer()
    text = str(int(cell)) if whole else str(cell)
    if channels is None:
        raise RangeError(
            f"channel {quoted(text)}: channels of which region?", "hand the table to a function with a set-up"
        )
    if not channels:
        raise RangeError(f"channel {quoted(text)}: channels of which region?", REGION)
    name = named_channel(text, channels)
    if not name:
        raise RangeError(f"{quoted(text)} is none of the set-up's channels", f"it has {listed(channels)}")
    return sum(channels[name]) / 2


def _joined(given: Any) -> dict[Any, Any]:
    """Columns by name, parts of a complex figure in one: two columns, pairs as in JSON, or texts such as `(0.1+0.2j)`."""
    names = list(given.columns if hasattr(given, "columns") else given)
    if len(set(names)) < len(names):
        raise RangeError(f"two columns have one name: {', '.join(map(str, names[:6]))}", "leave one of them out")
    found = {name: _complex(given[name]) for name in names}
    for name in list(found):
        other = f"{str(name).removesuffix('_real')}_imaginary"
        if str(name).endswith("_real") and other in found:
            pair = found.pop(name), found.pop(other)
            found[str(name).removesuffix("_real")] = np.asarray(pair[0]) + 1j * np.asarray(pair[1])
    parts = [[name for name in found if role(str(name)) == kind] for kind in ("r", "x")]
    if all(len(each) == 1 for each in parts) and "ohm" not in found:
        resistance, reactance = (np.asarray(found.pop(each[0]), dtype=float) for each in parts)
        found["ohm"] = resistance + 1j * reactance
    return found


def _complex(values: Any) -> Any:
    """A column whose figures are complex ones put otherwise, as an array; any other as it is."""
    if isinstance(values, (str, bytes, Mapping)) or not hasattr(values, "__iter__"):
        return values
    each = list(values)
    if each and all(isinstance(one, (list, tuple)) and len(one) == PAIR for one in each):
        return np.asarray([complex(*one) for one in each])
    if each and all(isinstance(one, str) and one.strip().endswith(("j", "j)")) for one in each):
        try:
            return np.asarray([complex(one.replace(" ", "")) for one in each])
        except ValueError:
            return values
    return values


def _in_hertz(index: Any) -> bool:
    values = np.asarray(index)
    return bool(values.size and values.dtype.kind in "iuf" and values.min() >= LEAST_HZ)


def _header(name: Any, values: Any) -> str:
    """Header of a column, by the name of an argument where it means one without a doubt."""
    text = str(name)
    meaning = role(text)
    if meaning in ("vswr", "return_loss"):
        return {"vswr": "vswr", "return_loss": "return_loss_db"}[meaning]
    if meaning == "magnitude" and "percent" not in concepts(text) and not np.iscomplexobj(np.asarray(values)):
        return "magnitude"
    if "reflection" in concepts(text) and text not in KINDS:
        # A bare S11 of real figures may be a size or dB.
        return "return_loss_db" if meaning == "db" else "reflection" if np.iscomplexobj(np.asarray(values)) else text
    return text
