"""The `chain` command: its commands are imported only when called, and every way to end has its exit status."""

from __future__ import annotations

import errno
import gc
import os
import re
import sys
from collections.abc import Iterator, MutableMapping, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from io import StringIO, TextIOWrapper
from typing import Any, NoReturn

import click

from chain.cli.named_group import NamedGroup
from chain.cli.opened import watch_reading
from chain.cli.terminal import terminal_columns

SELDOM = 200_000
"""Objects made between two searches for cycles."""

COMMANDS = {
    "Describe the set-up": {
        "new": "Write a commented starter set-up.",
        "parts": "Browse the library of parts, or show one in full.",
        "schema": "Print the JSON Schema of a file of set-ups, needs, installations, parts or records.",
        "learn": "Make a part of your own from sweeps of it.",
    },
    "Before measuring": {
        "check": "Does it fit together, and is anything about to be damaged?",
        "budget": "Where does every dB go?",
        "expect": "What will the screen show, and which reading to aim for?",
        "planes": "Where is it best to calibrate?",
        "choose": "What to buy, or to change: which chain shows the antenna best?",
        "card": "The card for the bench: wiring, known readings, ohms, what to beware of.",
    },
    "After measuring": {
        "recover": "What is the antenna's true match, and how sure is that?",
        "prove": "Is the chain what it claims to be? By readings of open, short and load.",
        "compare": "Which of two antennas is better, and is that sure?",
        "tune": "Too long or too short: which way to bend the antenna?",
        "ripple": "What in the sweep repeats, and how long is the thing that makes it?",
        "outlets": "What arrives at each outlet, with what margin?",
        "follow": "Each new sweep of a folder answered at once: better or worse?",
        "log": "Keep measurements for years, and see what has changed.",
        "report": "All of it on one page with plots, the bench card on its last sheet.",
    },
}
"""Commands by the moment they serve, each with its one-line help."""

INTERRUPTED = 130
UNWRITABLE = (errno.ENOSPC, errno.EIO, errno.EFBIG, errno.EDQUOT, errno.EBADF)
"""What stdout may answer when it is full, broken or closed: no fault of the program."""
NARROWEST, WIDEST = 20, 1000
"""Columns between which anything can be read."""
LEAST_HELP, BESIDE = 50, 2
"""The fewest columns that help takes, and those it leaves free."""
STDOUT = 1


class LazyGroup(NamedGroup):
    """A group that knows its commands by name and help, and imports the module of one only to run it."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of the commands, in the order of the work."""
        return [name for section in COMMANDS.values() for name in section]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Command of a name, imported now."""
        if cmd_name not in self.list_commands(ctx):
            return None
        found: click.Command = import_module(f"chain.cli.{cmd_name}").command
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands from the table above, so that help imports none of them."""
        widest = max(len(name) for name in self.list_commands(ctx))
        for title, section in COMMANDS.items():
            with formatter.section(title):
                formatter.write_dl([(name.ljust(widest), text) for name, text in section.items()])

    def make_context(
        self, info_name: str | None, args: list[str], parent: click.Context | None = None, **extra: Any
    ) -> click.Context:
        """Take the arguments in; help and version are printed here."""
        if args[:1] == ["help"]:
            args = [*args[1:], "--help"]
        with _writing():
            return super().make_context(info_name, args, parent, **extra)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command."""
        watch_reading()
        with _writing():
            return super().invoke(ctx)

    def main(
        self,
        args: Sequence[str] | None = None,
        prog_name: str | None = None,
        complete_var: str | None = None,
        standalone_mode: bool = True,
        **extra: Any,
    ) -> Any:
        """Run as a program: every failure becomes a short text on stderr and an exit status."""
        if not standalone_mode:
            return super().main(args, prog_name, complete_var, standalone_mode=False, **extra)
        words = list(sys.argv[1:] if args is None else args)
        try:
            status = super().main(words, prog_name, complete_var, standalone_mode=False, **extra)
        except (click.Abort, KeyboardInterrupt):
            _stop("interrupted", INTERRUPTED)
        except Exception as error:
            _explain(error, words)
        sys.exit(status if isinstance(status, int) else 0)


@contextmanager
def _writing() -> Iterator[None]:
    """Bring all to stdout; a reader that has closed the pipe has seen enough, one that cannot take it is reported."""
    try:
        try:
            yield
        finally:
            sys.stdout.flush()
    except OSError as error:
        if not isinstance(error, BrokenPipeError) and error.errno not in UNWRITABLE:
            raise
        # The interpreter flushes stdout once more at its end, and would complain then.
        with suppress(OSError, ValueError):
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if isinstance(error, BrokenPipeError):
            context = error.__context__
            raise click.exceptions.Exit(
                context.exit_code if isinstance(context, click.exceptions.Exit) else 0
            ) from error
        raise click.ClickException(f"the output cannot be written: {error.strerror}") from error


def _stop(text: str, status: int) -> NoReturn:
    # A stderr that is full or closed changes nothing of the status.
    with suppress(OSError, ValueError):
        click.echo(_wrapped(text) if sys.stderr.isatty() else text, err=True)
        sys.stderr.flush()
    sys.exit(status)


def _wrapped(text: str) -> str:
    """Errors and remedies broken at words to the width of a terminal; lines of a file and what marks them stay whole."""
    from shutil import get_terminal_size
    from textwrap import wrap

    width, out = get_terminal_size().columns, []
    for line in text.splitlines():
        whole = len(line) <= width or EXCERPT.match(line)
        out += (
            [line]
            if whole
            else wrap(line, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)
        )
    return "\n".join(out)


def _explain(error: Exception, words: list[str]) -> NoReturn:
    """Print what went wrong and end with the status of its kind."""
    from chain.cli.usage import usage_lines
    from chain.errors import ChainError, InputError, plain
    from library.errors import LibraryError

    if "--debug" in words:
        import traceback

        traceback.print_exception(error)
    if isinstance(error, click.ClickException):
        _stop("\n".join(plain(line) for line in usage_lines(error, chain, words)), 2)
    if isinstance(error, InputError):
        _stop(str(error), error.exit_code)
    if isinstance(error, LibraryError):
        _stop("\n".join(plain(line) for line in _library_lines(error)), 2)
    if isinstance(error, ChainError):
        message, *rest = [plain(str(part)) for part in error.args if part] or [type(error).__name__]
        _stop("\n".join([f"error: {message}", *(f"help: {part}" for part in rest)]), error.exit_code)
    kind = plain(f"{type(error).__name__}: {error}".splitlines()[0])
    remedy = "repeat the command with --debug and report what it prints"
    _stop(f"error: a fault of this program, not of your input ({kind})\nhelp: {remedy}", 3)


def _library_lines(error: Any) -> list[str]:
    if error.help and not error.defects:
        return [f"error: {error.message}", f"help: {error.help}"]
    head = f"{error.source}: error: {error}" if error.source else f"error: {error}"
    places = [(".".join(str(step) for step in path), what) for path, what in error.defects]
    lines = [f"{place}: {what}" for place, what in places]
    return [head, *(f"  {line}" for line in lines if line not in head)]


EXCERPT = re.compile(r" *[0-9]* \| ")
"""How a line of a file begins in an error, and the line that marks a place in it."""
CONTEXT: MutableMapping[str, Any] = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


@click.group(cls=LazyGroup, context_settings=CONTEXT, no_args_is_help=True)
@click.version_option(None, "-V", "--version", package_name="matchpad-chain", prog_name="chain")
def chain() -> None:
    """What a 50-ohm analyzer shows of a 75-ohm antenna through pad, adapters and leads, and what the antenna truly is.

    \b
    Begin with:
      chain new -o mine.toml       a set-up file to change to your own
      chain check mine.toml        does it fit, is anything at risk
      chain expect mine.toml       what the screen will show
      chain recover mine.toml --reading "VSWR 1.30 at 210 MHz"
      chain help recover           all about one command
    """


class _Closed(StringIO):
    """Stands for a stdout that is closed: what a command has to say cannot be written."""

    def write(self, text: str) -> int:
        """Refuse, as the system would."""
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


class _Forgiving:
    """A stderr that may be full or closed: what is written there is lost, and the status stays what it is."""

    def __init__(self, stream: Any) -> None:
        self._stream = stream

    def __getattr__(self, name: str) -> Any:
        return getattr(self._stream, name)

    def write(self, text: str) -> int:
        """Write if that is possible."""
        with suppress(OSError):
            self._stream.write(text)
        return len(text)

    def flush(self) -> None:
        """Flush if that is possible."""
        with suppress(OSError):
            self._stream.flush()


def _ascii_locale() -> bool:
    """Whether the user's locale is the plain C one, which the interpreter itself takes for UTF-8 (PEP 538, PEP 540)."""
    if os.environ.get("PYTHONIOENCODING") or os.environ.get("PYTHONUTF8"):
        return False
    plain = ("C", "POSIX")
    name = os.environ.get("LC_ALL")
    if name:
        return name in plain
    return os.environ.get("LANG") in plain and os.environ.get("LC_CTYPE", "") in ("", "C.UTF-8", *plain)


def _settle_surroundings() -> None:
    """Set right what the program is started with: streams closed, a locale without our signs, a width nothing can be read in."""
    for stream in (sys.stdin, sys.stdout, sys.stderr):
        if stream is None:
            # Or the next file that is opened would get the closed stream's number.
            os.open(os.devnull, os.O_RDWR)
    sys.stdin = sys.stdin or os.fdopen(os.open(os.devnull, os.O_RDONLY), encoding="utf-8")
    if _ascii_locale():
        for stream in (sys.stdout, sys.stderr):
            if isinstance(stream, TextIOWrapper):
                stream.reconfigure(encoding="ascii", errors="backslashreplace")
    sys.stdout = sys.stdout or _Closed()
    sys.stderr = _Forgiving(sys.stderr or StringIO())
    # The program shares its work among threads of its own; those of a matrix library would only be waited for at either end.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # Pictures go to files: a backend for screens, which may not even exist, is of no use.
    os.environ["MPLBACKEND"] = "agg"
    columns = os.environ.pop("COLUMNS", "")
    if columns.isascii() and columns.isdigit() and len(columns) < 10 and int(columns):
        os.environ["COLUMNS"] = str(min(max(int(columns), NARROWEST), WIDEST))
    CONTEXT["terminal_width"] = max(min(terminal_columns(STDOUT), CONTEXT["max_content_width"]) - BESIDE, LEAST_HELP)


def main() -> None:
    """Entry point of the installed program."""
    _settle_surroundings()
    # What is imported lives as long as the program: looking through it for waste is a tenth of the time of a light command.
    gc.set_threshold(SELDOM)
    try:
        chain(prog_name="chain")
    finally:
        gc.freeze()
