"""Files that a command writes: whole or not at all, never over what was read, over anything else only with `--force`."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import click

__all__ = ["Refusal", "refuse_overwriting", "refuse_what_was_read", "watch_reading", "write_whole"]

OWN_CODE = (".py", ".pyc", ".so", ".pyd")
TARGETS = "chain.cli.writing.targets"
"""Where a command's context keeps the files that it is going to write."""


class Refusal(click.ClickException):
    """The command will not do what was asked; exit status 2."""

    exit_code = 2


class _Opened:
    """Names of the files opened for reading since the command began: by the interpreter's own word, so that none is missed."""

    def __init__(self) -> None:
        self.names: set[str] = set()
        self.installed = False

    def begin(self) -> None:
        """Forget what was opened before; an audit hook stays for the life of the process."""
        self.names.clear()
        if not self.installed:
            self.installed = True
            sys.addaudithook(self._heard)

    def _heard(self, event: str, args: tuple[Any, ...]) -> None:
        if event != "open" or not isinstance(args[0], (str, bytes)):
            return
        name, mode, flags = os.fsdecode(args[0]), args[1], args[2]
        reads = "r" in mode or "+" in mode if isinstance(mode, str) else flags & 3 != os.O_WRONLY
        if reads and not name.endswith(OWN_CODE):
            self.names.add(name)


_OPENED = _Opened()


def watch_reading() -> None:
    """Note from now on which files are read."""
    _OPENED.begin()


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
    opened = tuple(_OPENED.names) if click.get_current_context(silent=True) else ()
    for name in (*inputs, *opened):
        with suppress(OSError, ValueError):
            yield Path(name).stat()
    with suppress(OSError, ValueError, AttributeError):
        yield os.fstat(sys.stdin.fileno())


def _regular(path: Path, missing: bool = False) -> bool:
    return stat.S_ISREG(path.stat().st_mode) if path.exists() else missing


def write_whole(path: str, content: str | bytes, force: bool, inputs: Sequence[str] = ()) -> None:
    """Write a file whole or not at all: under another name first, then renamed.

    Source: A rename inside one file system replaces a name in a single step (POSIX rename).
    """
    _check(path, force, inputs)
    # A link keeps its name: what it points to is replaced.
    target = Path(os.path.realpath(path))
    data = content.encode("utf-8", errors="replace") if isinstance(content, str) else content
    try:
        if target.exists() and not _regular(target):
            target.write_bytes(data)
        else:
            _replace(target, data, force)
    except FileExistsError:
        raise Refusal(f"{path} exists; give --force to overwrite it") from None
    except OSError as error:
        raise Refusal(_cannot(path, error)) from error


def _replace(target: Path, data: bytes, force: bool) -> None:
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).chmod(stat.S_IMODE(target.stat().st_mode) if target.exists() else 0o666 & ~_umask())
        if force:
            Path(name).replace(target)
            return
        try:
            # A hard link fails where a rename would silently replace a file that has just appeared.
            os.link(name, target)
        except FileExistsError:
            raise
        except OSError:
            Path(name).replace(target)
    finally:
        Path(name).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
