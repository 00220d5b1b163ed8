"""Files that a command writes: whole or not at all, never over what was read, over others only with `--force`; what endings mean."""

from __future__ import annotations

import os
import re
import stat
import sys
from collections.abc import Iterator, Sequence
from contextlib import suppress
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

import click

from chain.cli.opened import opened_names
from library.files.replacing import write_file

if TYPE_CHECKING:
    from chain.results import ResultTable

TARGETS = "chain.cli.writing.targets"
"""Where a command's context keeps the files that it is going to write."""


class Refusal(click.ClickException):
    """The command will not do what was asked; exit status 2."""

    exit_code = 2


def _targets() -> list[str]:
    context = click.get_current_context(silent=True)
    return [] if context is None else context.meta.setdefault(TARGETS, [])


def refuse_overwriting(path: str | None, force: bool, inputs: Sequence[str] = ()) -> None:
    """Refuse at once, before anything is computed, to write where something is in the way."""
    if path is None or path == "-":
        return
    _check(path, force, inputs)
    target = os.path.realpath(path)
    if target in _targets() and _regular(Path(path), missing=True):
        raise Refusal(f"{path} is named twice; give each output a file of its own")
    _targets().append(target)


def refuse_what_was_read() -> None:
    """Refuse to overwrite a file that has been read by now, also one that only another file names."""
    for target in _targets():
        _check(target, force=True)


def _check(path: str, force: bool, inputs: Sequence[str] = ()) -> None:
    target = Path(path)
    try:
        with suppress(FileNotFoundError):
            # Says at once what no file can be called.
            target.lstat()
        if path.endswith(("/", os.sep)) or target.is_dir():
            raise Refusal(f"{path} is a directory; name a file")
        if not target.absolute().parent.is_dir():
            raise Refusal(f"{path}: there is no directory {target.absolute().parent}; make it first")
        exists = target.exists()
        if exists and _regular(target) and _is_read(target, inputs):
            raise Refusal(f"{path} is read by this command and is not overwritten; name another file")
        if exists and not force and _regular(target):
            raise Refusal(f"{path} exists; give --force to overwrite it")
    except (OSError, ValueError) as error:
        raise Refusal(_cannot(path, error)) from error


def _cannot(path: str, error: Exception) -> str:
    return f"{path} cannot be written: {getattr(error, 'strerror', None) or error}"


def _is_read(target: Path, inputs: Sequence[str]) -> bool:
    own = target.stat()
    return any((own.st_dev, own.st_ino) == (each.st_dev, each.st_ino) for each in _read(inputs))


def _read(inputs: Sequence[str]) -> Iterator[os.stat_result]:
    opened = opened_names() if click.get_current_context(silent=True) else ()
    for name in (*inputs, *opened):
        with suppress(OSError, ValueError):
            yield Path(name).stat()
    with suppress(OSError, ValueError, AttributeError):
        yield os.fstat(sys.stdin.fileno())


def _regular(path: Path, missing: bool = False) -> bool:
    return stat.S_ISREG(path.stat().st_mode) if path.exists() else missing


def write_whole(path: str, content: str | bytes, force: bool, inputs: Sequence[str] = ()) -> None:
    """Write a file whole or not at all."""
    _check(path, force, inputs)
    data = content.encode("utf-8", errors="replace") if isinstance(content, str) else content
    try:
        write_file(Path(path), data, force)
    except FileExistsError:
        raise Refusal(f"{path} exists; give --force to overwrite it") from None
    except OSError as error:
        raise Refusal(_cannot(path, error)) from error


NETWORK = re.compile(r"\.(?:s[1-9]\d?p|ts)")
ENDINGS = {
    ".json": "json",
    ".csv": "csv",
    ".html": "html",
    ".htm": "html",
    ".toml": "toml",
    ".txt": "text",
}
"""What an ending promises; none is text. Any other is promised by no command."""
UNSERVED = "?"
OTHERS = (".txt", ".json")
TABLES = (".txt", ".csv", ".json")
SERVED = {
    **dict.fromkeys(("check", "choose", "compare", "expect", "outlets", "planes", "prove", "ripple", "tune"), TABLES),
    "new": (".toml", ".txt", ".json"),
    "schema": (".json",),
    "learn": (".toml", ".json"),
    "report": (".html", ".json"),
    "plot": (".txt", ".png", ".svg"),
    "export": (".csv", ".html"),
    "card": (".txt", ".html", ".csv", ".json"),
    "recover": (*TABLES, ".s1p"),
    "budget": (*TABLES, ".s2p", ".ts"),
}
"""What a command writes if it is more, or less, than text and JSON."""
FORMULA = ("=", "+", "-", "@", "\t", "\r")
"""How a cell begins that a spreadsheet would take for a formula."""


def kind_of(path: str | None) -> str:
    """What the name of an output file promises: json, csv, html, toml, touchstone, text, or what nobody writes."""
    if path in (None, "-"):
        return ""
    ending = Path(str(path)).suffix.lower()
    if ending in ("", "."):
        return ""
    return "touchstone" if NETWORK.fullmatch(ending) else ENDINGS.get(ending, UNSERVED)


def check_ending(path: str | None, command: str, json: bool) -> None:
    """Refuse an ending that the command cannot serve, or that `--json` contradicts."""
    kind = kind_of(path)
    if not kind:
        return
    ending = Path(str(path)).suffix.lower()
    served = SERVED.get(command, OTHERS)
    if (".html" if kind == "html" else ending) not in served:
        drawn = "; --plot draws pictures" if ending in (".png", ".svg") and _takes("plot") else ""
        if kind == "html" and _takes("page"):
            raise Refusal(f"{path}: '{command}' writes its page by an option of its own; give --page {path}")
        stem = str(path)[: -len(ending)] or "answer"
        raise Refusal(f"{path}: '{command}' writes {_listed(served)}, no {ending}{drawn}; name it {stem}{served[0]}")
    if json and kind not in ("json", "text"):
        raise Refusal(f"{path}: --json writes JSON; leave --json out, or name a file that ends in .json")


def _takes(option: str) -> bool:
    """Whether the command that runs has an option, such as one that draws."""
    context = click.get_current_context(silent=True)
    return context is not None and any(each.name == option for each in context.command.params)


def _listed(endings: Sequence[str]) -> str:
    return endings[0] if len(endings) == 1 else f"{', '.join(endings[:-1])} or {endings[-1]}"


def table_text(answer: ResultTable) -> str:
    """The table of an answer as comma-separated values, every figure in full, complex ones in two columns (RFC 4180)."""
    page = StringIO()
    columns = dict(_columns(answer))
    import csv

    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return page.getvalue()


def _columns(answer: ResultTable) -> Iterator[tuple[str, list[str]]]:
    for name, values in answer.columns_with_loss().items():
        plain = [value.item() if hasattr(value, "item") else value for value in values]
        if any(isinstance(value, complex) for value in plain):
            yield f"{name}_real", [_cell(complex(value).real) for value in plain]
            yield f"{name}_imaginary", [_cell(complex(value).imag) for value in plain]
        else:
            yield name, [_cell(value) for value in plain]


def _cell(value: object) -> str:
    if value is None or value != value:
        return ""
    if isinstance(value, (bool, int, float)):
        return repr(value)
    from chain.errors import plain

    text = plain(", ".join(str(each) for each in value) if isinstance(value, (tuple, list)) else str(value))
    return f"'{text}" if text.startswith(FORMULA) else text


def touchstone_text(answer: ResultTable, path: str) -> str:
    """The network of an answer as a Touchstone file, in its own references; points without a figure are left out.

    Source: Touchstone file format specification, versions 1.1 and 2.1.
    """
    import numpy as np

    from chain.results import network
    from chain.sweeps.touchstone import text_of_network

    found = answer.to_network()  # type: ignore[attr-defined]
    known = np.all(np.isfinite(found.s), axis=(1, 2))
    if not known.any():
        raise Refusal(f"{path}: no reading could be recovered, so that there is nothing to write")
    return text_of_network(network(found.f[known], found.s[known], [float(ohm) for ohm in found.z0[0].real]))
