"""What a caller may hand over in place of a record, settled before a public function is called."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping, Sequence
from functools import wraps
from numbers import Integral, Real
from os import PathLike, fspath
from typing import Any

from chain.assembly.cascade import Chain
from chain.calls.drawing import draw
from chain.calls.readings_given import readings_given
from chain.errors import RangeError, quoted
from chain.files.setup_file import load_setup
from chain.reception.installation_file import load_installation
from chain.reception.records import Installation
from chain.results import LEAST_DRAWS, MOST_DRAWS, ResultTable
from chain.selection.need import Need
from chain.selection.need_file import load_need
from chain.setups import Setup
from chain.units import parse_quantity

ResultTable.drawn_by(draw)


def taking(function: Callable[..., Any]) -> Callable[..., Any]:
    """The function, its arguments settled first: paths for set-ups, needs, installations and sweeps, and the like."""
    signature = inspect.signature(function)
    kinds = {name: str(each.annotation) for name, each in signature.parameters.items()}
    takers = {name: _path if kind == "str" and name in PATHS else TAKEN.get(kind) for name, kind in kinds.items()}
    if not any(takers.values()):
        return function

    @wraps(function)
    def called(*given: Any, **named: Any) -> Any:
        try:
            bound = signature.bind(*given, **named)
        except TypeError as error:
            arrays = "; hand arrays over together, as readings=(freq_hz, reflection)" if "freq_hz" in named else ""
            takes = f"it takes {', '.join(signature.parameters)}{arrays}"
            raise TypeError(f"{function.__name__}(): {error}; {takes}") from None
        values = bound.arguments
        for name in sorted(values, key=lambda each: kinds[each] not in FIRST):
            take = takers[name]
            if take and not (values[name] is None and "None" in kinds[name]):
                values[name] = take(values[name], name, values.get("setup"))
        return function(*bound.args, **bound.kwargs)

    return called


def _record(kind: type, load: Callable[[Any], Any], noun: str) -> Callable[[Any, str, Any], Any]:
    def take(given: Any, name: str, _: Any) -> Any:
        if isinstance(given, kind):
            return given
        if isinstance(given, (str, PathLike)):
            return load(given)
        what = f"{name}: {noun} is needed, not {type(given).__name__} {quoted(given)}"
        raise RangeError(what, "hand over what the loading function gives, or the path of its file")

    return take


def _readings(given: Any, _: str, setup: Any) -> Any:
    return readings_given(given, setup if isinstance(setup, Setup) else None)


def _chain(given: Any, name: str, setup: Any) -> Any:
    return given if isinstance(given, Chain) else _setup(given, name, setup)


def _path(given: Any, name: str, _: Any) -> str:
    if isinstance(given, (str, PathLike)):
        return fspath(given)
    what = f"{name}: a text or a path is needed, not {type(given).__name__} {quoted(given)}"
    raise RangeError(what, "write the path of a file in quotes")


def _paths(given: Any, name: str, _: Any) -> Any:
    return (
        [_path(given, name, None)]
        if isinstance(given, (str, PathLike))
        else [_path(each, name, None) for each in given]
    )


def _paths_by_name(given: Any, name: str, _: Any) -> Any:
    if not isinstance(given, Mapping):
        raise RangeError(
            f"{name}: a mapping of names to files is needed, not {quoted(given)}", "write {'open': ['open.s1p']}"
        )
    return {key: _paths(each, name, None) for key, each in given.items()}


def _whole(given: Any, name: str, _: Any) -> Any:
    low, most = (LEAST_DRAWS, MOST_DRAWS) if name == "draws" else (0, None)
    whole = isinstance(given, Integral) and not isinstance(given, bool)
    if whole and int(given) >= low and (most is None or int(given) <= most):
        return int(given)
    ends = f"from {low} on" if most is None else f"from {low} to {most}"
    out = " or leave it out" if name == "draws" else ""
    what = f"{name} takes a whole number {ends}, not {'' if whole else f'{type(given).__name__} '}{quoted(str(given))}"
    raise RangeError(what, f"write {name}={max(low, 1)}{out}")


def _number(given: Any, name: str, _: Any) -> Any:
    if isinstance(given, Real) and not isinstance(given, bool):
        return given
    raise RangeError(f"{name} is a number, not {type(given).__name__} {quoted(given)}")


def _ratios(given: Any, name: str, _: Any) -> list[float]:
    """VSWRs: one or several, each a number or a text such as `RL 12 dB`."""
    several = given if isinstance(given, Sequence) and not isinstance(given, str) else None
    if several is None:
        several = list(given) if hasattr(given, "__iter__") and not isinstance(given, (str, Mapping)) else [given]
    return [_ratio(each, name) for each in several]


def _ratio(given: Any, name: str) -> float:
    if isinstance(given, str):
        return parse_quantity(given, "vswr")
    if isinstance(given, Real) and not isinstance(given, bool) and float(given) >= 1:
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
    "int": _whole,
    "int | None": _whole,
    "float": _number,
    "float | None": _number,
    "Mapping[str, Sequence[str]]": _paths_by_name,
    "Sequence[str]": _paths,
    "Sequence[float]": _ratios,
}
"""By the annotation of an argument."""
FIRST = ("Setup", "Setup | None")
"""What other arguments are settled by."""
PATHS = ("path", "folder", "sweep", "setup", "log", "short")
"""Arguments that are paths where they are annotated as texts."""
