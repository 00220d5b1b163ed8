"""The one error of the library."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

Defect = tuple[tuple[str | int, ...], str]


class LibraryError(ValueError):
    """Something the library was asked for or given is at fault."""

    def __init__(
        self, message: str, near: Sequence[str] = (), defects: Sequence[Defect] = (), source: str = "", help: str = ""
    ) -> None:
        hint = f"did you mean {' or '.join(near)}?" if near else ""
        joint = " " if message.endswith("?") else "; "
        super().__init__(joint.join(filter(None, (message, help or hint))))
        self.message = message
        quoted = " or ".join(f"'{each}'" for each in near)
        self.help = help or (f"did you mean {quoted}?" if near else "")
        self.near = tuple(near)
        self.defects = tuple(defects)
        self.source = source


def near_names(word: str, names: Iterable[str], count: int = 3, least: float = 0.5) -> tuple[str, ...]:
    """Names that a misspelt word may stand for, case left aside. Source: Ratio of matching blocks (`difflib`), cut off at `least`."""
    from difflib import get_close_matches

    folded: dict[str, str] = {}
    for name in names:
        folded.setdefault(name.casefold(), name)
    return tuple(folded[hit] for hit in get_close_matches(word.casefold(), folded, count, least))
