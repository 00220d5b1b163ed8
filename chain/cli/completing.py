"""What a shell offers at the tab key: part names from the library, and the files that a command can read."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from library.files.store import read_plain

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

SWEEPS = (".s1p", ".s2p", ".ts", ".csv", ".tsv", ".txt")
DEEPEST = 2
"""Folders below the one typed that are looked into."""
MOST_LOOKED_AT = 2000
HEAD_BYTES = 65536


def setup_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the set-up files near what is typed (a set-up file has a table `[[chain]]`)."""
    return _offered(incomplete, [path for path in _near(incomplete, (".toml",)) if _holds(path, b"[[chain]]")])


def need_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the need files near what is typed (a need file has a table `[need]`)."""
    return _offered(incomplete, [path for path in _near(incomplete, (".toml",)) if _holds(path, b"[need]")])


def installation_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the installation files near what is typed (an installation file has tables `[[outlet]]`)."""
    return _offered(incomplete, [path for path in _near(incomplete, (".toml",)) if _holds(path, b"[[outlet]]")])


def part_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the files near what is typed that hold parts of one's own."""
    others = (b"[[chain]]", b"[need]", b"[[outlet]]")
    return _offered(
        incomplete, [path for path in _near(incomplete, (".toml",)) if not any(_holds(path, mark) for mark in others)]
    )


def sweep_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the sweep files near what is typed."""
    return _offered(incomplete, list(_near(incomplete, SWEEPS)))


def setup_or_sweep_files(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer set-up files and sweep files (`setup_files` and `sweep_files`)."""
    found = [*setup_files(ctx, param, incomplete), *sweep_files(ctx, param, incomplete)]
    plain = [each for each in found if each.type == "plain"]
    return plain or found[:1]


def part_names(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Offer the parts of the library whose name begins with what is typed, else those that hold it."""
    from library.errors import LibraryError
    from library.load import load_library

    try:
        library = load_library(tuple(ctx.params.get("library") or ()))
    except LibraryError:
        library = load_library()
    word = incomplete.casefold()
    ids = sorted(library.ids())
    chosen = [name for name in ids if name.startswith(word)] or [name for name in ids if word in name]
    from click.shell_completion import CompletionItem

    return [CompletionItem(name, help=_one_line(library.part(name).name)) for name in chosen]


def any_file(ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Leave it to the shell, which knows how to complete a path."""
    from click.shell_completion import CompletionItem

    return [CompletionItem(incomplete, type="file")]


def _offered(incomplete: str, paths: list[str]) -> list[CompletionItem]:
    from click.shell_completion import CompletionItem

    # The shell puts what it gets on the line as it stands: names that would need quoting are left to it.
    if not paths or any(not path.isprintable() or " " in path for path in paths):
        return [CompletionItem(incomplete, type="file")]
    return [CompletionItem(path) for path in paths]


def _near(incomplete: str, suffixes: tuple[str, ...]) -> Iterator[str]:
    """Paths that begin as typed and end in one of the suffixes, nearest folders first."""
    folder, slash, start = incomplete.rpartition("/")
    root = folder + slash
    level = [(root, start)]
    looked_at = 0
    for _ in range(DEEPEST + 1):
        below = []
        for base, start in level:
            for name in _names(base):
                looked_at += 1
                if looked_at > MOST_LOOKED_AT:
                    return
                if not name.startswith(start) or name.startswith("."):
                    continue
                path = base + name
                if name.lower().endswith(suffixes) and Path(path).is_file():
                    yield path
                elif Path(path).is_dir():
                    below.append((f"{path}/", ""))
        level = below


def _names(folder: str) -> list[str]:
    try:
        return sorted(each.name for each in Path(folder or ".").iterdir())
    except OSError:
        return []


def _holds(path: str, mark: bytes) -> bool:
    try:
        return mark in read_plain(path, HEAD_BYTES)
    except (OSError, ValueError):
        return False


def _one_line(text: str) -> str:
    from chain.errors import plain

    return plain(" ".join(text.split()))
