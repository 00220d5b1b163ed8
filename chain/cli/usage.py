"""Errors of the command line in the style of all others: what is wrong, then what to write instead."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from typing import Any

import click

from chain.cli.named_group import UnknownWord
from chain.errors import plain

MOST_OWNERS = 3
REMEDY = re.compile(r"(.+?)[:;.] ((?:write|give|name|state|ask|leave|say|take) .+)", re.IGNORECASE | re.DOTALL)
"""A message that says what to do as well."""
VALUE = re.compile(r"'(.*?)' is not|(\S+) is not")
NEAR_ENOUGH, LIKE_ENOUGH = 0.5, 0.6
"""Likeness of a value to one of few choices, and of an option to one of many."""


def usage_lines(error: click.ClickException, group: click.Group, words: Sequence[str]) -> list[str]:
    """An error of the command line; help says what to write, or names the page that shows more."""
    if isinstance(error, click.exceptions.NoArgsIsHelpError):
        return error.format_message().splitlines()
    context = getattr(error, "ctx", None)
    if context is None and isinstance(error, click.UsageError):
        # The parser knows no context where an option lacks its value.
        context = click.Context(group, info_name=group.name)
        for name in (each for each in words if not each.startswith("-")):
            found = group.get_command(context, name)
            if found is None:
                break
            context = click.Context(found, parent=context, info_name=name)
            if not isinstance(found, click.Group):
                break
            group = found
    what, remedy = _reported(error, context)
    if not remedy and context is not None:
        remedy = f"{context.command_path} --help"
    return [f"error: {what}", *([f"help: {remedy}"] if remedy else [])]


def _reported(error: click.ClickException, context: click.Context | None) -> tuple[str, str]:
    """What is wrong and what to write; no remedy where only the page of the command can say."""
    if isinstance(error, UnknownWord):
        return error.message, error.remedy
    if isinstance(error, click.NoSuchOption) and context is not None:
        return _no_such_option(error.option_name, context)
    if isinstance(error, click.BadOptionUsage):
        option = _option(error.option_name, context)
        count = 1 if option is None else option.nargs
        needs = "a value" if count == 1 else f"{count} values"
        return f"{error.option_name} needs {needs} after it", "" if option is None else _choices(option, context)
    if isinstance(error, click.MissingParameter) and error.param is not None and context is not None:
        choices = _choices(error.param, context)
        what = f"'{context.command_path}' needs one word more" if choices else ""
        whole = f"write {context.command_path} {' '.join(_arguments(context))}"
        return what or f"{_name(error.param, context)} is missing", choices or whole
    if isinstance(error, click.BadParameter) and isinstance(error.param, click.Parameter):
        return _bad_value(error, error.param)
    if not isinstance(error, click.UsageError):
        # A refusal says what to do behind its last semicolon.
        what, _, remedy = error.format_message().rpartition("; ")
        return (what, remedy) if what else _split(remedy)
    text = error.message
    extra = re.match(r"Got unexpected extra arguments? \((.*)\)", text)
    if extra and context is not None:
        wanted = " ".join(_arguments(context))
        remedy = "write -o before the name of the file" if context.info_name == "new" else ""
        return f"too many arguments: '{context.command_path}' takes {wanted or 'none'}, not {extra[1]} as well", remedy
    return _split(text)


def _arguments(context: click.Context) -> list[str]:
    """Names of what a command takes besides its options."""
    return [each.make_metavar(context) for each in context.command.params if isinstance(each, click.Argument)]


def _split(text: str) -> tuple[str, str]:
    """A message and the remedy that it ends in; both without a full stop, the first letter small as in all errors."""
    text = text.rstrip(".")
    found = REMEDY.fullmatch(text)
    what, remedy = (found[1], found[2]) if found else (text, "")
    small = what[:1].isupper() and what[1:2].islower()
    return f"{what[:1].lower()}{what[1:]}" if small else what, f"{remedy[:1].lower()}{remedy[1:]}"


def _no_such_option(name: str, context: click.Context) -> tuple[str, str]:
    what = f"'{context.command_path}' takes no {plain(name)}"
    # Without the dashes, which are alike in all.
    own = {each.lstrip("-"): each for param in context.command.params for each in param.opts if each.startswith("--")}
    near = [own[each] for each in get_close_matches(name.lstrip("-"), own, 1, LIKE_ENOUGH)]
    if any(isinstance(each, click.Argument) and f"--{each.name}" == name for each in context.command.params):
        return what, f"write {context.command_path} {' '.join(_arguments(context))}"
    owners = _takers(name, context)
    return what, f"did you mean '{near[0]}'?" if near and not owners else owners


def _takers(option: str, context: click.Context) -> str:
    """Which other commands take an option, in words; empty where none does."""
    group = context.find_root().command
    if not isinstance(group, click.Group):
        return ""
    names = [
        name
        for name in group.list_commands(context)
        if any(option in each.opts for each in getattr(group.get_command(context, name), "params", ()))
    ]
    listed = " and ".join(f"'chain {name}'" for name in names)
    few = 0 < len(names) <= MOST_OWNERS
    return f"it is an option of {listed}; for this command's: {context.command_path} --help" if few else ""


def _option(name: str, context: click.Context | None) -> click.Parameter | None:
    params: Iterable[click.Parameter] = () if context is None else context.command.params
    return next((each for each in params if name in each.opts), None)


def _name(param: click.Parameter, context: click.Context | None) -> str:
    if isinstance(param, click.Option):
        return max(param.opts, key=len)
    return "" if context is None or isinstance(param.type, click.Choice) else param.make_metavar(context)


def _bad_value(error: click.BadParameter, param: click.Parameter) -> tuple[str, str]:
    name = _name(param, error.ctx)
    found = VALUE.match(error.message)
    value = plain(found[1] if found and found[1] is not None else found[2]) if found else ""
    if found and isinstance(param.type, click.Choice):
        where = name or f"'{'' if error.ctx is None else error.ctx.command_path}'"
        return f"{where} knows no {value!r}", _choices(param, error.ctx, value)
    if found and isinstance(param.type, click.types._NumberRangeBase):
        kind: Any = param.type
        low = kind.min if kind.min is not None else 0
        ends = f"from {low} to {kind.max}" if kind.max is not None else f"from {low} on"
        return f"{name} takes a whole number {ends}, not {value!r}", f"write a number between, such as '{name} {low}'"
    what, remedy = _split(error.message)
    return f"{name}: {what}" if name else what, remedy


def _choices(param: click.Parameter, context: click.Context | None, value: str = "") -> str:
    """What a parameter of few values may be; the nearest where one is near."""
    if not isinstance(param.type, click.Choice):
        return ""
    path = "" if context is None else context.command_path
    name = _name(param, None) if isinstance(param, click.Option) else path
    every = [str(each) for each in param.type.choices]
    near = get_close_matches(value, every, 1, NEAR_ENOUGH)
    if near:
        return f"did you mean '{name} {near[0]}'?"
    return "write " + " or ".join(f"'{name} {each}'" for each in every)
