"""What a caller may hand over in place of a record, settled before a public function is called."""

from __future__ import annotations

import inspect
import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import is_dataclass, replace
from functools import wraps
from numbers import Integral
from os import PathLike, fspath
from pathlib import Path
from typing import Any

from chain.assembly.cascade import Chain
from chain.calls.describing import described
from chain.calls.drawing import draw
from chain.calls.readings_given import LEAST_HZ, frequencies_of, readings_given
from chain.calls.setup_checked import checked
from chain.calls.wording import in_python
from chain.errors import ChainError, RangeError, quoted
from chain.files.setup_file import load_setup
from chain.reception.installation_file import load_installation
from chain.reception.records import Installation
from chain.results import LEAST_DRAWS, MOST_DRAWS, ResultTable
from chain.selection.need import Need
from chain.selection.need_file import load_need
from chain.setups import Setup
from chain.sweeps.options import FREQUENCY_UNITS, QUANTITIES, SweepOptions
from chain.units import format_quantity, is_number, parse_quantity

ResultTable.drawn_by(draw)


def taking(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function, its arguments settled first: paths for set-ups, needs, installations and sweeps, and the like."""
    signature = inspect.signature(function)
    kinds = {name: str(each.annotation) for name, each in signature.parameters.items()}
    takers = {
        name: _path if kind == "str" and name in PATHS else _rank if name == "rank" else TAKEN.get(kind) or _plain(kind)
        for name, kind in kinds.items()
        if signature.parameters[name].kind is not inspect.Parameter.VAR_POSITIONAL
    }
    if not any(takers.values()) and function.__name__ not in TAKEN_WHOLE:
        return function

    def called(*given: Any, **named: Any) -> Any:
        try:
            bound = signature.bind(*given, **named)
        except TypeError as error:
            arrays = "; hand arrays over together, as readings=(freq_hz, reflection)" if "freq_hz" in named else ""
            takes = f"it takes {', '.join(signature.parameters)}{arrays}"
            raise TypeError(f"{function.__name__}(): {error}; {takes}") from None
        values = bound.arguments
        for name in CALLED.intersection(values):
            if values[name] is not None and not callable(values[name]):
                raise RangeError(
                    f"{name} is a function, not {quoted(values[name])}", "hand over one that takes a share, 0 to 1"
                )
        for name in sorted(values, key=lambda each: kinds[each] not in FIRST):
            take = takers.get(name)
            if take and not (values[name] is None and "None" in kinds[name]):
                values[name] = take(values[name], name, values.get("setup"))
        _spans(values, kinds)
        try:
            return _sealed(function(*bound.args, **bound.kwargs))
        except ChainError as error:
            raise in_python(error) from error.__cause__

    return described(wraps(function)(called))


def _spans(values: Mapping[str, Any], kinds: Collection[str]) -> None:
    """See that a span has both ends or none, the lower first."""
    for names in SPANS_OF_ENDS:
        low, high = (values.get(name) for name in names)
        if not set(names) <= set(kinds) or low is None is high:
            continue
        if low is None or high is None:
            raise RangeError(
                f"{names[low is None]} is given without the other end", f"write {names[low is not None]} too"
            )
        if low > high:
            ends = [format_quantity(float(each), "frequency") for each in (low, high)]
            what = f"the span ends below its start: {names[0]} is {ends[0]}, {names[1]} {ends[1]}"
            raise RangeError(what, f"write {names[0]}={float(high):g}, {names[1]}={float(low):g}")


def _sealed(value: Any, depth: int = 5) -> Any:
    """The answer, its arrays closed to writing: a frozen record is one throughout."""
    if hasattr(value, "setflags"):
        value.setflags(write=False)
    elif depth and isinstance(value, (tuple, list)):
        for each in value:
            _sealed(each, depth - 1)
    elif depth and isinstance(value, dict):
        _sealed(tuple(value.values()), depth - 1)
    elif depth and is_dataclass(value):
        _sealed(tuple(vars(value).values()), depth - 1)
    return value


def _record(kind: type, load: Callable[[Any], Any], noun: str) -> Callable[[Any, str, Any], Any]:
    def take(given: Any, name: str, _: Any) -> Any:
        if isinstance(given, kind):
            return checked(given, name) if isinstance(given, Setup) else given
        if isinstance(given, (str, PathLike)):
            return load(_path(given, name, None))
        what = f"{name}: {noun} is needed, not {type(given).__name__} {quoted(given)}"
        raise RangeError(what, "hand over what the loading function gives, or the path of its file")

    return take


def _readings(given: Any, _: str, setup: Any) -> Any:
    return readings_given(given, setup if isinstance(setup, Setup) else None)


def _chain(given: Any, name: str, setup: Any) -> Any:
    return given if isinstance(given, Chain) else _setup(given, name, setup)


def _path(given: Any, name: str, _: Any) -> str:
    if isinstance(given, str) and "\n" in given:
        raise RangeError(f"{name}: a text of several lines is no path", "parse_setup and parse_installation take text")
    if isinstance(given, (str, PathLike)):
        return fspath(given)
    what = f"{name}: a text or a path is needed, not {type(given).__name__} {quoted(given)}"
    raise RangeError(what, "write the path of a file in quotes")


def _raw(given: Any, name: str, _: Any) -> bytes:
    """A file's bytes, or its text."""
    if isinstance(given, (str, bytes)):
        return given.encode() if isinstance(given, str) else given
    raise RangeError(f"{name}: the text of a file is needed, not {type(given).__name__} {quoted(given)}")


def _paths(given: Any, name: str, _: Any) -> Any:
    if isinstance(given, (str, PathLike)):
        return [_path(given, name, None)]
    if not isinstance(given, Sequence) or isinstance(given, bytes) or not given:
        raise RangeError(f"{name}: the path of a file, or several, are needed, not {quoted(given)}", "write ['a.s1p']")
    return [_path(each, name, None) for each in given]


def _paths_by_name(given: Any, name: str, _: Any) -> Any:
    if not isinstance(given, Mapping):
        raise RangeError(
            f"{name}: a mapping of names to files is needed, not {quoted(given)}", "write {'open': ['open.s1p']}"
        )
    return {key: _paths(each, name, None) for key, each in given.items()}


def _whole(given: Any, name: str, _: Any) -> Any:
    low, most = WHOLE.get(name, (0, None))
    whole = is_number(given, Integral)
    if whole and int(given) >= low and (most is None or int(given) <= most):
        return int(given)
    ends = f"from {low} on" if most is None else f"from {low} to {most}"
    what = f"{name} takes a whole number {ends}, not {'' if whole else f'{type(given).__name__} '}{quoted(str(given))}"
    # The least that is taken is no good advice for draws: most answers round it up, and their ends would be coarse.
    raise RangeError(
        what, f"leave it out, or write draws={DRAWS_ADVISED}" if name == "draws" else f"write {name}={max(low, 1)}"
    )


def _number(given: Any, name: str, _: Any) -> Any:
    if not is_number(given):
        raise RangeError(f"{name} is a number, not {type(given).__name__} {quoted(given)}")
    low, high = SPANS.get(name, (-MOST_NUMBER, MOST_NUMBER))
    if SPANS.get(name) is FREQUENCY and 0 < float(given) < LEAST_HZ and name != "resolution_hz":
        raise RangeError(
            f"{name} = {float(given):g}: frequencies are in hertz", f"write {name}={float(given):g}e6 for megahertz"
        )
    if not low <= float(given) <= high:
        ends = f"from {low:g} on" if high >= MOST_NUMBER else f"from {low:g} to {high:g}"
        limits = ends if name in SPANS else "a finite number"
        raise RangeError(f"{name} = {float(given):g} is out of range", f"it is {limits}")
    return given


def _of_answer(kind: str, maker: str) -> Callable[[Any, str, Any], Any]:
    """Takes an answer alone, of the class named or several of it; whatever else is told which function makes one."""

    def take(given: Any, name: str, _: Any) -> Any:
        several = given if isinstance(given, tuple) and given and kind == "SeenLevel" else (given,)
        if all(kind in {each.__name__ for each in type(one).__mro__} for one in several):
            return given
        path = isinstance(given, (str, PathLike))
        found = f"the path or text {quoted(given)}" if path else f"{type(given).__name__} {quoted(given)}"
        raise RangeError(f"{name}: an answer is needed, not {found}", f"{maker} makes it")

    return take


def _plain(kind: str) -> Callable[[Any, str, Any], Any] | None:
    """Takes what an annotation names: a text, a flag, or a record by the name of its class; None for any other annotation."""
    base = kind.removesuffix(" | None")
    base = "Channels" if base == "Mapping[str, tuple[float, float]]" else base
    named = {
        "str": "a text",
        "bool": "True or False",
        "Path": "a path",
        "Channels": "a mapping of channels to their edges",
        "Given": "a mapping of keys",
    }
    if base not in named and not (base.isidentifier() and base[0].isupper() and base != "Any"):
        return None

    def take(given: Any, name: str, _: Any) -> Any:
        if base == "Path" and isinstance(given, (str, PathLike)):
            return Path(given)
        classes = {each.__name__ for each in type(given).__mro__}
        fits = isinstance(given, Mapping) if base in ("Channels", "Given") else base in classes
        if fits:
            return given
        needed = named.get(base, f"{'an' if base[0] in 'AEIOU' else 'a'} {base}")
        remedy = "leave it out" if kind != base else f"help() of the function lists what it takes for {name}"
        raise RangeError(f"{name}: {needed} is needed, not {type(given).__name__} {quoted(given)}", remedy)

    return take


def _frequencies(given: Any, _: str, __: Any) -> Any:
    return frequencies_of(given)


def _numbers_of(count: int) -> Callable[[Any, str, Any], Any]:
    def take(given: Any, name: str, _: Any) -> Any:
        if not isinstance(given, (tuple, list)) or len(given) != count:
            example = ", ".join(["50.0"] * count)
            raise RangeError(f"{name}: {count} numbers are needed, not {quoted(given)}", f"write {name}=({example})")
        return tuple(_number(each, name, None) for each in given)

    return take


def _matches(given: Any, name: str, _: Any) -> Any:
    """Two mappings of channels to mismatch losses."""
    pair = isinstance(given, (tuple, list)) and len(given) == PAIR and all(isinstance(each, Mapping) for each in given)
    if not pair:
        what = f"{name}: the match losses of both antennas are needed, not {quoted(given)}"
        raise RangeError(what, f"write {name}=({{'21': 0.3}}, {{'21': 0.1}}), in dB by channel")
    return tuple({str(key): _number(value, name, None) for key, value in each.items()} for each in given)


def _options(given: Any, name: str, _: Any) -> Any:
    """What settles a file: columns as texts, everything else among what is known."""
    if not isinstance(given, SweepOptions):
        raise RangeError(f"{name}: SweepOptions are needed, not {quoted(given)}", "write SweepOptions(columns=(2,))")
    several = (given.columns,) if isinstance(given.columns, (str, Integral)) else tuple(given.columns)
    for field, known in (
        ("quantity", QUANTITIES),
        ("frequency_unit", FREQUENCY_UNITS),
        ("decimal", ("point", "comma")),
    ):
        value = getattr(given, field)
        if value and value not in known:
            raise RangeError(f"{name}: {field} {quoted(value)} is not known", f"it is one of {', '.join(known)}")
    return replace(given, columns=tuple(str(each) for each in several))


def _rank(given: Any, name: str, _: Any) -> str:
    if isinstance(given, str) and given in RANKS:
        return given
    raise RangeError(f"{name} {quoted(given)} is not known", f"it is one of {', '.join(RANKS)}")


def _pair(given: Any, name: str, _: Any) -> tuple[str, str]:
    if isinstance(given, Sequence) and len(given) == PAIR and all(isinstance(each, str) for each in given):
        return given[0], given[1]
    raise RangeError(f"{name}: two names are needed, not {quoted(given)}", f"write {name}=('old', 'new')")


def _ratios(given: Any, name: str, _: Any) -> list[float]:
    """VSWRs: one or several, each a number or a text such as `RL 12 dB`."""
    several = given if isinstance(given, Sequence) and not isinstance(given, str) else None
    if several is None:
        several = list(given) if hasattr(given, "__iter__") and not isinstance(given, (str, Mapping)) else [given]
    return [_ratio(each, name) for each in several]


def _ratio(given: Any, name: str) -> float:
    if isinstance(given, str):
        return parse_quantity(given, "vswr")
    if is_number(given) and float(given) >= 1:
        return float(given)
    raise RangeError(f"{name}: {quoted(given)} is no VSWR", "write a number from 1 on, or a text such as 'RL 12 dB'")


_setup = _record(Setup, load_setup, "a set-up")
TAKEN: dict[str, Callable[[Any, str, Any], Any]] = {
    "Setup": _setup,
    "Setup | None": _setup,
    "Chain | Setup": _chain,
    "Readings": _readings,
    "Readings | None": _readings,
    "Need": _record(Need, load_need, "a need"),
    "Need | None": _record(Need, load_need, "a need"),
    "Installation": _record(Installation, load_installation, "an installation"),
    "str | PathLike[str]": _path,
    "bytes": _raw,
    "int": _whole,
    "int | None": _whole,
    "float": _number,
    "float | None": _number,
    "Mapping[str, Sequence[str]]": _paths_by_name,
    "Sequence[str]": _paths,
    "Sequence[float]": _ratios,
    "SweepOptions": _options,
    "tuple[str, str]": _pair,
    "Real | None": _frequencies,
    "tuple[float, float] | None": _numbers_of(2),
    "tuple[str, str] | None": lambda given, name, _: _pair(given, name, None),
    "tuple[dict[str, float], dict[str, float]] | None": _matches,
    "Budget": _of_answer("Budget", "budget(setup)"),
    "LevelTable": _of_answer("LevelTable", "read_levels(path)"),
    "tuple[SeenLevel, ...]": _of_answer("SeenLevel", "read_seen(path, installation)"),
    "LogTrends": _of_answer("LogTrends", "log_trends(folder)"),
    "Card": _of_answer("Card", "card(setup)"),
    "Page": _of_answer("Page", "page(setup)"),
    "Reception": _of_answer("Reception", "outlets(installation)"),
    "InstallerCard": _of_answer("InstallerCard", "installer_card(installation)"),
    "Sweeps": _of_answer("Sweeps", "one_port_sweeps(paths) or two_port_sweeps(paths)"),
    "KnownTerminations": _of_answer("KnownTerminations", "known_ends(given, default_hz)"),
}
"""By the annotation of an argument."""
MOST_NUMBER = 1e300
NOT_NEGATIVE, FREQUENCY, RETURN_LOSS = (0.0, MOST_NUMBER), (1e-3, 1e12), (0.0, 200.0)
SPANS = {
    "true_vswr": (1.0, math.inf),
    "ohms": (0.0, math.inf),
    "load_db": RETURN_LOSS,
    "load50_db": RETURN_LOSS,
    "meter_return_loss_db": RETURN_LOSS,
    "inner_return_loss_db": RETURN_LOSS,
    "repeatability_db": NOT_NEGATIVE,
    "site_db": NOT_NEGATIVE,
    "length_tolerance_m": NOT_NEGATIVE,
    "start_hz": FREQUENCY,
    "stop_hz": FREQUENCY,
    "at_hz": FREQUENCY,
    "default_hz": FREQUENCY,
    "wanted_low_hz": FREQUENCY,
    "wanted_high_hz": FREQUENCY,
    "resolution_hz": FREQUENCY,
    "plane_ohm": (1e-3, 1e6),
    "reference_ohm": (1e-3, 1e6),
    "impedance_ohm": (1e-3, 1e6),
}
"""Numbers that have a span by their name; all others are finite."""
SPANS_OF_ENDS = (("start_hz", "stop_hz"), ("wanted_low_hz", "wanted_high_hz"))
"""Arguments that are the two ends of a span."""
WHOLE = {"draws": (LEAST_DRAWS, MOST_DRAWS), "digits": (1, 2)}
"""Spans of whole numbers that do not go from 0 on."""
DRAWS_ADVISED = 4000
RANKS = ("interval", "cost", "loss", "reflection", "joints")
PAIR = 2
CALLED = frozenset({"progress"})
"""Arguments that are functions."""
FIRST = ("Setup", "Setup | None")
"""What other arguments are settled by."""
TAKEN_WHOLE = ("known_ends", "typed_readings", "readings_of")
"""Functions that settle their arguments themselves, but speak of options in their errors."""
PATHS = ("path", "folder", "sweep", "setup", "log", "short")
"""Arguments that are paths where they are annotated as texts."""
