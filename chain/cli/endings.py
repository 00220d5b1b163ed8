"""The ending of the file that `-o` names decides what is written to it; one that a command has no use for is refused."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING

from chain.cli.writing import Refusal

if TYPE_CHECKING:
    from chain.results import ResultTable

__all__ = ["check_ending", "kind_of", "table_text", "touchstone_text"]

NETWORK = re.compile(r"\.(?:s[1-9]\d?p|ts)")
ENDINGS = {
    ".json": "json",
    ".csv": "csv",
    ".html": "html",
    ".htm": "html",
    ".toml": "toml",
    ".txt": "text",
    **dict.fromkeys(
        (".tsv", ".png", ".svg", ".pdf", ".xls", ".xlsx", ".ods", ".doc", ".docx", ".odt", ".gz", ".zip"), "?"
    ),
}
"""What an ending promises; any other, and none, is text. A question mark is promised by no command."""
OTHERS = (".txt", ".json")
TABLES = (".txt", ".csv", ".json")
SERVED = {
    **dict.fromkeys(("check", "choose", "expect", "planes", "prove", "ripple", "tune"), TABLES),
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
    return "touchstone" if NETWORK.fullmatch(ending) else ENDINGS.get(ending, "" if ending != "." else "text")


def check_ending(path: str | None, command: str, json: bool) -> None:
    """Refuse an ending that the command cannot serve, or that `--json` contradicts."""
    kind = kind_of(path)
    if not kind:
        return
    ending = Path(str(path)).suffix.lower()
    served = SERVED.get(command, OTHERS)
    if (".html" if kind == "html" else ending) not in served:
        drawn = "; --plot draws pictures" if ending in (".png", ".svg") else ""
        raise Refusal(f"{path}: '{command}' writes {_listed(served)}, no {ending}{drawn}")
    if json and kind not in ("json", "text"):
        raise Refusal(f"{path}: --json writes JSON; leave --json out, or name a file that ends in .json")


def _listed(endings: Sequence[str]) -> str:
    return endings[0] if len(endings) == 1 else f"{', '.join(endings[:-1])} or {endings[-1]}"


def table_text(answer: ResultTable) -> str:
    """The table of an answer as comma-separated values, every figure in full, complex ones in two columns.

    Source: RFC 4180.
    """
    page = StringIO()
    columns = dict(_columns(answer))
    writer = csv.writer(page, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows(zip(*columns.values(), strict=True))
    return page.getvalue()


def _columns(answer: ResultTable) -> Iterator[tuple[str, list[str]]]:
    for name, values in answer.table().items():
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
