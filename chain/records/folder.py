"""A folder of records: added to, listed and read; what is there is never rewritten.

A record is written under another name, flushed to the disk, and linked to its own name, which fails where that is taken: a
reader sees it whole or not at all, and two writers never overwrite each other.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from chain.errors import InputError, RangeError, plain
from chain.records.record import Record, record_text, seal_state, slug
from chain.records.record_file import parse_record
from library.files.replacing import write_file
from library.files.store import read_plain

NAME = re.compile(r"(\d{4}-\d{2}-\d{2})-(\d{4})-(.+)\.toml")
KEY = re.compile(r"^(time|name|kind|answer|verdict|plane|temperature_c|operator) = (.+)$", re.MULTILINE)
"""Keys of a head that a list shows; their values are JSON too."""
SOURCE = re.compile(rb'^source_sha256 = "([0-9a-f]{64})"$', re.MULTILINE)
SETUPS = "setups"
MARK = ".answered-"
MOST_BYTES = 20_000_000
"""Largest file that is looked at as a record."""


@dataclass(frozen=True)
class Heading:
    """A record in a list: what its head says, without its sweeps."""

    path: str
    time: str
    name: str
    kind: str
    answer: str
    verdict: str
    plane: str
    temperature_c: float | None
    operator: str


@dataclass(frozen=True)
class Damage:
    """A file of the folder that is no whole record, and why."""

    path: str
    what: str


@dataclass
class Folder:
    """Records in a folder, and the set-ups that they were taken with."""

    path: Path
    _taken: dict[str, int] = field(default_factory=dict)

    def make(self) -> None:
        """Make the folder, if it is not there."""
        try:
            (self.path / SETUPS).mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise RangeError(
                f"{self.path} cannot be made: {error.strerror}", "name a folder you may write to"
            ) from error

    def require(self) -> None:
        """Refuse a folder that is not there."""
        if not self.path.is_dir():
            raise RangeError(f"there is no folder {plain(str(self.path))}", "'chain log add' makes one")

    def keep_setup(self, raw: bytes, name: str) -> tuple[str, str]:
        """Keep the text of a set-up once; its path inside the folder, and its digest."""
        sha = hashlib.sha256(raw).hexdigest()
        target = self.path / SETUPS / f"{slug(Path(name).stem)}-{sha[:12]}.toml"
        if not target.exists():
            with suppress(FileExistsError):
                write_file(target, raw, lasting=True)
        return f"{SETUPS}/{target.name}", sha

    def add(self, record: Record) -> Path:
        """Write a record; a name that is taken gets a number."""
        raw = record_text(record).encode("utf-8")
        # What cannot be read back must not be kept: this would show only years later.
        parse_record(raw, record.stem)
        stem = record.stem
        number = self._taken.get(stem, 0)
        while True:
            number += 1
            target = self.path / (f"{stem}.toml" if number == 1 else f"{stem}-{number}.toml")
            with suppress(FileExistsError):
                write_file(target, raw, lasting=True)
                self._taken[stem] = number
                return target

    def mark(self, sha256: str) -> None:
        """Note without a byte that a sweep was answered whose record cannot be written yet; in vain where not even that goes."""
        with suppress(OSError):
            (self.path / (MARK + sha256)).touch()

    def is_marked(self, sha256: str) -> bool:
        """Whether a sweep was answered before there was room for its record."""
        return (self.path / (MARK + sha256)).exists()

    def unmark(self, sha256: str) -> None:
        """Take a mark away: the record is written."""
        with suppress(OSError):
            (self.path / (MARK + sha256)).unlink(missing_ok=True)

    def files(self) -> list[os.DirEntry[str]]:
        """Files that are named like records, oldest first."""
        self.require()
        with os.scandir(self.path) as entries:
            found = [each for each in entries if NAME.fullmatch(each.name)]
        # Minute, then length, so that number 10 of a minute comes after number 9.
        return sorted(found, key=lambda each: (each.name[:15], len(each.name), each.name))

    def headings(self) -> tuple[list[Heading], list[Damage]]:
        """Heads of all records, oldest first, and what is damaged."""
        found: list[Heading] = []
        damaged: list[Damage] = []
        for entry in self.files():
            raw = _bytes(entry.path)
            state = "unreadable" if raw is None else seal_state(raw)
            if raw is None or state != "whole":
                damaged.append(Damage(entry.name, state))
                continue
            heading = _heading(entry.name, raw)
            if heading is None:
                damaged.append(Damage(entry.name, "no head of a record"))
            else:
                found.append(heading)
        return sorted(found, key=lambda each: each.time), damaged

    def records(self, answers_only: bool = True) -> tuple[list[Record], list[Damage]]:
        """All records, oldest first, and what is damaged."""
        found: list[Record] = []
        damaged: list[Damage] = []
        for entry in self.files():
            raw = _bytes(entry.path)
            try:
                if raw is None:
                    damaged.append(Damage(entry.name, "unreadable"))
                else:
                    found.append(parse_record(raw, entry.path, answers_only))
            except InputError as error:
                damaged.append(Damage(entry.name, error.defects[0].message))
        return sorted(found, key=lambda each: each.time.timestamp()), damaged

    def record(self, name: str) -> Record:
        """One record by the name of its file, or a part of it that only one has."""
        names = [each.name for each in self.files()]
        found = [each for each in names if each in (name, f"{name}.toml")] or [each for each in names if name in each]
        if len(found) != 1:
            close = ", ".join(found[:4]) or "'chain log list' shows the names"
            raise RangeError(f"{len(found) or 'no'} records are called {plain(name)!r}", close)
        path = str(self.path / found[0])
        raw = _bytes(path)
        if raw is None:
            raise RangeError(f"{plain(path)} cannot be read", "see its permissions")
        return parse_record(raw, path)

    def digests(self) -> Iterator[str]:
        """Digests of all sweep files that have a whole record."""
        for entry in self.files():
            raw = _bytes(entry.path)
            if raw is not None and seal_state(raw) == "whole":
                yield from (each.decode("ascii") for each in SOURCE.findall(raw))


def _bytes(path: str) -> bytes | None:
    try:
        return read_plain(path, MOST_BYTES)
    except (OSError, ValueError):
        return None


def _heading(name: str, raw: bytes) -> Heading | None:
    try:
        head = raw[: raw.find(b"\n[")].decode("utf-8")
        # One parse a record: ten thousand records are listed in under a second.
        reported = json.loads("{" + ",".join(f'"{key}":{value}' for key, value in KEY.findall(head)) + "}")
        return Heading(
            name,
            reported["time"],
            reported["name"],
            reported["kind"],
            reported["answer"],
            reported["verdict"],
            reported["plane"],
            reported.get("temperature_c"),
            reported.get("operator", ""),
        )
    except (ValueError, KeyError, UnicodeDecodeError):
        return None
