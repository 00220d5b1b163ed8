"""The part library: built-in data files, and a user's own on top of them."""

from __future__ import annotations

from collections.abc import Sequence
from os import PathLike
from pathlib import Path

from library.parts import Library, Row, built_in


def load_library(extra: Sequence[str | PathLike[str]] = ()) -> Library:
    """Give the library, with a user's part files on top.

    Source: `library/data/`; the shape of a user's file is reported in `library.files.schema`.
    """
    if not extra:
        return built_in()
    from library.files.ownfile import read_rows

    own: dict[str, list[Row]] = {}
    for path in extra:
        for kind, rows in read_rows(path, tuple(own.get("family", ()))).items():
            own[kind] = rows + own.get(kind, [])
    return Library(own, tuple(str(Path(path).resolve()) for path in extra))
