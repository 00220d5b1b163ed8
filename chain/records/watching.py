"""When to look at a folder again: a library's word where it has one, and in any case every half second."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

SUFFIXES = (".s1p", ".s2p", ".ts", ".csv", ".tsv", ".txt")
LOOK_EVERY_S = 0.5
POLL_EVERY_S = 0.15
SETTLED_S = 0.2
"""A file that has not changed for so long is taken for whole, by a clock that cannot be set."""


def looks(folder: Path, poll: bool = False) -> Iterator[None]:
    """Come back whenever something may have happened in a folder, without end.

    A notification that gets lost, as on a network share, is made up for by looking anyway.
    """
    try:
        from watchfiles import watch
    except ImportError:
        poll = True
    yield
    if not poll:
        try:
            waiting = watch(
                folder,
                debounce=40,
                step=20,
                rust_timeout=int(1000 * LOOK_EVERY_S),
                yield_on_timeout=True,
                recursive=False,
            )
            for changed in waiting:
                yield
                if changed:
                    # What has just arrived must settle; come back for it without waiting for a further change.
                    time.sleep(SETTLED_S)
                    yield
            return
        except (OSError, RuntimeError):
            # No notifications here: look by the clock.
            pass
    while True:
        time.sleep(POLL_EVERY_S)
        yield


@dataclass(frozen=True)
class _FileState:
    """What changes when a file does."""

    size: int
    changed_ns: int
    node: int


@dataclass
class Arrivals:
    """Sweep files of a folder that are whole and have not been taken."""

    folder: Path
    _seen: dict[str, tuple[_FileState, float]] = field(default_factory=dict)
    _taken: dict[str, _FileState] = field(default_factory=dict)

    def ready(self) -> list[Path]:
        """Files that have settled, in the order of their names."""
        now = time.monotonic()
        found = []
        for path, signature in self._scan():
            before = self._seen.get(path)
            if before is None or before[0] != signature:
                self._seen[path] = (signature, now)
            elif self._taken.get(path) != signature and now - before[1] >= SETTLED_S and signature.size:
                found.append(Path(path))
        return sorted(found, key=lambda each: each.name)

    def all_taken(self) -> bool:
        """Whether there is no file that is still to be taken; an empty one holds nothing to take."""
        return all(self._taken.get(path) == signature or not signature.size for path, signature in self._scan())

    def rested_s(self, path: Path) -> float:
        """For how long a file has not changed."""
        return time.monotonic() - self._seen[str(path)][1]

    def unchanged(self, path: Path) -> bool:
        """Whether a file is still as it was when it was found ready."""
        now = _signature(path)
        return now is not None and now == self._seen[str(path)][0]

    def take(self, path: Path) -> None:
        """Be done with a file until it changes."""
        self._taken[str(path)] = self._seen[str(path)][0]

    def _scan(self) -> Iterator[tuple[str, _FileState]]:
        try:
            with os.scandir(self.folder) as entries:
                names = [
                    str(Path(each.path))
                    for each in entries
                    if each.name.lower().endswith(SUFFIXES) and each.name[0] not in ".~"
                ]
        except OSError:
            # A share that is away for a moment comes back.
            return
        for name in names:
            signature = _signature(Path(name))
            if signature is not None:
                yield name, signature


def _signature(path: Path) -> _FileState | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return _FileState(found.st_size, found.st_mtime_ns, found.st_ino)
