"""A file written whole or not at all."""

from __future__ import annotations

import os
import stat
from pathlib import Path


def write_file(path: Path, data: bytes, force: bool = False, lasting: bool = False) -> None:
    """Write a file under another name first, then give it its own; `FileExistsError` where that is taken, unless by force.

    A `lasting` file is on the disk, and not only on its way there, when this returns. A link keeps its name: what it points to
    is replaced; a device is written to.

    Source: A rename inside one file system replaces a name in a single step, a hard link fails where there is one (POSIX).
    """
    target = Path(os.path.realpath(path))
    mode = target.stat().st_mode if target.exists() else None
    if mode is not None and not stat.S_ISREG(mode):
        target.write_bytes(data)
        return
    name = target.with_name(f".{target.name[:40]}.{os.urandom(6).hex()}")
    handle = os.open(name, os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_BINARY", 0), 0o666)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            if lasting:
                file.flush()
                os.fsync(file.fileno())
        if mode is not None:
            name.chmod(stat.S_IMODE(mode))
        if force:
            name.replace(target)
        else:
            _claim(name, target)
    finally:
        name.unlink(missing_ok=True)


def _claim(name: Path, target: Path) -> None:
    """Give a file a name that nothing has, also if something takes it at the same moment."""
    try:
        os.link(name, target)
    except FileExistsError:
        raise
    except OSError:
        # A file system without hard links: claim the name first, then put the whole file in its place.
        os.close(os.open(target, os.O_CREAT | os.O_EXCL))
        name.replace(target)
