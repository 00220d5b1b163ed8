"""Frozen dataclasses that share their functions.

The standard library compiles six functions again for every class, a sixth of the time in which a light command answers. Here all
classes have the same ones; type checkers see the standard decorator.
"""

from __future__ import annotations

import dataclasses
import inspect
from collections.abc import Callable
from operator import attrgetter
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dataclasses import dataclass as dataclass
else:

    def dataclass(*, frozen: bool, repr: bool = True, eq: bool = True) -> Callable[[type], type]:
        """As `dataclasses.dataclass`, for frozen classes alone."""
        assert frozen

        def made(cls: type) -> type:
            own = cls.__dict__
            dataclasses.dataclass(cls, init=False, repr=False, eq=False)
            cls._fields_of_record = dataclasses.fields(cls)
            cls._given = tuple(each.name for each in cls._fields_of_record if each.init)
            cls._plain = len(cls._given) == len(cls._fields_of_record)
            cls._goes_on = hasattr(cls, "__post_init__")
            cls._compared = staticmethod(_getter([each.name for each in cls._fields_of_record if each.compare]))
            functions = {"__init__": _init, "__setattr__": _refuse, "__delattr__": _refuse}
            if repr:
                functions["__repr__"] = _reported
            if eq:
                functions |= {"__eq__": _same, "__hash__": _hashed}
            for name, function in functions.items():
                if name not in own or (name == "__hash__" and own[name] is None):
                    setattr(cls, name, function)
            cls.__signature__ = _Signature()
            return cls

        return made


_NONE = dataclasses.MISSING
_PLAIN = frozenset({str, int, bool, type(None)})
"""Classes whose values say themselves whether they are equal."""


def _getter(names: list[str]) -> Callable[[Any], Any]:
    """What makes a record equal to another, and its hash."""
    return attrgetter(*names) if names else lambda _: ()


def _init(self: Any, /, *values: Any, **named: Any) -> None:
    into = self.__dict__
    # Most records are made with every value in its place.
    if self._plain and not named and len(values) == len(self._given):
        into.update(zip(self._given, values, strict=True))
    else:
        _fill(self, into, values, named)
    if self._goes_on:
        self.__post_init__()


def _fill(self: Any, into: dict[str, Any], values: tuple[Any, ...], named: dict[str, Any]) -> None:
    given = iter(values)
    for each in self._fields_of_record:
        name = each.name
        if not each.init:
            into[name] = each.default if each.default is not _NONE else each.default_factory()
            continue
        value = next(given, _NONE)
        if value is _NONE:
            value = named.pop(name, _NONE)
        if value is _NONE:
            value = each.default
            if value is _NONE:
                if each.default_factory is _NONE:
                    raise TypeError(f"{type(self).__name__}() lacks {name!r}")
                value = each.default_factory()
        into[name] = value
    if named or next(given, _NONE) is not _NONE:
        raise TypeError(f"{type(self).__name__}() takes no {', '.join(named) or 'more values'}")


def _refuse(self: Any, name: str, *_: Any) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to or delete field {name!r}")


def _same(self: Any, other: Any) -> bool:
    if other.__class__ is not self.__class__:
        return NotImplemented  # type: ignore[no-any-return]
    return _alike(self._compared(self), self._compared(other))


def _alike(one: Any, other: Any) -> bool:
    """Whether two values of a field are the same: arrays by shape and figures, not a number where the other is none either."""
    if one is other:
        return True
    if one.__class__ in _PLAIN and other.__class__ in _PLAIN:
        return bool(one == other)
    if isinstance(one, (tuple, list)):
        both = isinstance(other, tuple if isinstance(one, tuple) else list) and len(one) == len(other)
        return both and all(map(_alike, one, other))
    if isinstance(one, dict):
        return (
            isinstance(other, dict) and one.keys() == other.keys() and all(_alike(one[key], other[key]) for key in one)
        )
    if hasattr(one, "dtype") or hasattr(other, "dtype"):
        # Arrays answer with an array, of which `if` makes an error; an empty one has no truth value either.
        shapes = [getattr(each, "shape", ()) for each in (one, other)]
        if shapes[0] != shapes[1]:
            return False
        if shapes[0]:
            return bool(((one == other) | ((one != one) & (other != other))).all())
    return bool(one == other or (one != one and other != other))


def _hashed(self: Any) -> int:
    return hash(self._compared(self))


def _reported(self: Any) -> str:
    shown = ", ".join(f"{each.name}={getattr(self, each.name)!r}" for each in self._fields_of_record if each.repr)
    return f"{type(self).__qualname__}({shown})"


class _Signature:
    """What a class takes, made when somebody asks."""

    def __get__(self, instance: object, owner: type) -> inspect.Signature:
        kind = inspect.Parameter.POSITIONAL_OR_KEYWORD
        taken = []
        for each in owner._fields_of_record:  # type: ignore[attr-defined]
            default = each.default
            if default is _NONE:
                default = inspect.Parameter.empty if each.default_factory is _NONE else "<factory>"
            if each.init:
                taken.append(inspect.Parameter(each.name, kind, default=default, annotation=each.type))
        return inspect.Signature(taken, return_annotation=None)
