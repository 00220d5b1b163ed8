"""Where results go: stdout or a file, as text or JSON, written whole or not at all."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from io import StringIO
from pathlib import Path
from typing import TYPE_CHECKING, TextIO

import click

from chain.cli.options import Common

if TYPE_CHECKING:
    from rich.console import Console

__all__ = ["Refusal", "TextPage", "console_for", "deliver", "deliver_page", "note", "refuse_overwriting", "write_whole"]

PLAIN_WIDTH = 80
SIGNS = str.maketrans(
    {
        "\u03a9": "ohm",
        "\u2126": "ohm",
        "\u2264": "<=",
        "\u2265": ">=",
        "\u00b1": "+/-",
        "\u00d7": "x",
        "\u2013": "-",
        "\u2212": "-",
        "\u2026": "...",
        "\u00b0": " deg ",
        "\u00b5": "u",
    }
)
"""How the signs of the trade are spelt where an encoding has none of them."""


class Refusal(click.ClickException):
    """The command will not do what was asked; exit status 2."""

    exit_code = 2


def deliver(
    shared: Common,
    render: Callable[[Console], None],
    document: Callable[[], Mapping[str, object]],
    inputs: Sequence[str] = (),
) -> None:
    """Write a result as text or as one JSON object, to stdout or to the file that was named."""
    to_file = shared.output not in (None, "-")
    if shared.json:
        from chain.report.schemas import json_text

        text = json_text(document())
    elif to_file:
        page = TextPage()
        render(console_for(page, shared.color))
        text = page.text()
    else:
        _show(render, shared.color)
        return
    if to_file:
        write_whole(str(shared.output), text, shared.force, inputs)
        note(shared, f"written: {shared.output}")
    else:
        _write(sys.stdout, text)


def deliver_page(shared: Common, text: str, inputs: Sequence[str] = ()) -> None:
    """Write an HTML document to stdout or to the file that was named.

    Source: HTML: numeric character references.
    """
    if shared.output not in (None, "-"):
        write_whole(str(shared.output), text, shared.force, inputs)
        note(shared, f"written: {shared.output}")
        return
    encoding = sys.stdout.encoding or "utf-8"
    sys.stdout.write(text.encode(encoding, "xmlcharrefreplace").decode(encoding))


class TextPage(StringIO):
    """Text kept in memory that takes the encoding and the terminal of the stream it is meant for."""

    def __init__(self, model: TextIO | None = None) -> None:
        super().__init__()
        self._encoding = getattr(model, "encoding", None) or "utf-8"
        self._terminal = model is not None and model.isatty()

    @property
    def encoding(self) -> str:  # type: ignore[override]
        """Encoding of the stream that the page is meant for."""
        return self._encoding

    def isatty(self) -> bool:
        """Tell whether the page is meant for a terminal."""
        return self._terminal

    def text(self) -> str:
        """Give what was written, without blanks at the ends of lines."""
        return "".join(f"{line.rstrip()}\n" for line in self.getvalue().splitlines())


def _show(render: Callable[[Console], None], color: str) -> None:
    """Render on stdout; what its encoding cannot hold is spelt out or replaced, never an error."""
    page = TextPage(sys.stdout)
    render(console_for(page, color))
    _write(sys.stdout, page.text())


def _encodes_all(stream: TextIO) -> bool:
    return (getattr(stream, "encoding", None) or "utf-8").lower().replace("-", "").startswith("utf")


def _write(stream: TextIO, text: str) -> None:
    if not _encodes_all(stream):
        text = text.translate(SIGNS).encode(stream.encoding, errors="replace").decode(stream.encoding)
    stream.write(text)


def console_for(stream: TextIO, color: str) -> Console:
    """Console on a stream: as wide as the terminal, or 80 columns (or `COLUMNS`) where there is none."""
    from rich.console import Console

    terminal = stream.isatty()
    columns = os.environ.get("COLUMNS", "")
    width = int(columns) if columns.isdecimal() and int(columns) > 0 else None if terminal else PLAIN_WIDTH
    wanted = {"always": True, "never": False, "auto": terminal}[color]
    return Console(
        file=stream,
        width=width,
        force_terminal=wanted or terminal,
        no_color=True if color == "never" else None,
        color_system="auto" if wanted else None,
        markup=False,
        emoji=False,
        highlight=False,
        legacy_windows=False,
    )


def note(shared: Common, text: str) -> None:
    """Tell the user something on stderr, unless `--quiet` was given."""
    if not shared.quiet:
        from chain.errors import plain

        click.echo(plain(text), err=True)


def refuse_overwriting(path: str | None, force: bool, inputs: Sequence[str] = ()) -> None:
    """Refuse at once, before anything is computed, to write where something is in the way."""
    if path is None or path == "-":
        return
    target = Path(path)
    with suppress(OSError):
        if any(target.samefile(each) for each in inputs if Path(each).exists()):
            raise Refusal(f"{path} is read by this command and is not overwritten; name another file")
    if target.is_dir():
        raise Refusal(f"{path} is a directory; name a file")
    if not target.absolute().parent.is_dir():
        raise Refusal(f"{path}: there is no directory {target.absolute().parent}; make it first")
    if target.exists() and not force and _regular(target):
        raise Refusal(f"{path} exists; give --force to overwrite it")


def _regular(path: Path) -> bool:
    return stat.S_ISREG(path.stat().st_mode)


def write_whole(path: str, content: str | bytes, force: bool, inputs: Sequence[str] = ()) -> None:
    """Write a file whole or not at all: under another name first, then renamed.

    Source: A rename inside one file system replaces a name in a single step (POSIX rename).
    """
    refuse_overwriting(path, force, inputs)
    # A link keeps its name: what it points to is replaced.
    target = Path(os.path.realpath(path))
    data = content.encode("utf-8") if isinstance(content, str) else content
    try:
        if target.exists() and not _regular(target):
            target.write_bytes(data)
        else:
            _replace(target, data, force)
    except FileExistsError:
        raise Refusal(f"{path} exists; give --force to overwrite it") from None
    except OSError as error:
        raise Refusal(f"{path} cannot be written: {error.strerror or error}") from error


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
