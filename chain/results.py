"""How results show themselves in a notebook or a script (one line, a table, a DataFrame, a Network), and as plain values."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from numbers import Complex, Real
from typing import TYPE_CHECKING, Any, ClassVar

from chain.errors import ChainError, RangeError, plain

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray
    from pandas import DataFrame
    from skrf.network import Network

SCHEMA_VERSION = 4
"""Version of the JSON documents' keys."""
COVERAGE = 0.95
"""Share of the cases in which an interval is to hold the truth."""
SEED = 20260
"""Seed of a simulation where none is given."""
IMPOSSIBLE = "impossible"
"""Verdict of a reading that no passive antenna can give through its chain."""
TOLD_APART_DB = 20.0
"""Mismatch loss from which nearly all is reflected: how nearly, no chain tells, and no larger figure is shown."""
LEAST_DRAWS, MOST_DRAWS = 200, 1_000_000
"""Fewer than 200 leave less than five beyond either end of a 95 % interval."""

ENDS_OF_VSWR = tuple(
    f"{what}{end}"
    for what in ("", "vswr_", "bound_", "reading_", "true_", "limit_", "now_", "second_")
    for end in ("low", "high")
)
"""Names of ends of intervals that are VSWRs without saying so."""
OTHER_END = {"low": "high", "high": "low"}
UNITS = {
    "_hz": "Hz",
    "_db": "dB",
    "_ohm": "ohm",
    "_m": "m",
    "_dbm": "dBm",
    "_dbuv": "dBuV",
    "_v": "V",
    "_db_per_year": "dB/year",
    "reflection": "1",
    "share": "1",
    "velocity_factor": "1",
}
"""Units by the end of a column's name."""
DIMENSIONLESS = ("against", "gain", "joints", "number", "records", "reflection_change")
"""Columns of plain numbers whose names have no such end."""
ENDS = ("_low", "_high")
"""Ends of the names of columns that are in the unit of the one that they bound."""
HEAD, TAIL = 6, 4
"""Rows shown from the start and the end of a longer table."""
LONGEST_CELL, LEAST_CELL, LONGEST_KEY = 60, 16, 24
"""Most characters of a cell; least that a text is cut to before columns are put below each other; most of the first one then."""
REPR_WIDTH, LEAST_WIDTH = 80, 40


class Named:
    """What a record inherits that is told by a line: `print(record)` and a notebook show its head line, in two lines at most.

    Declare the dataclass with `repr=False`, or its own long text wins.
    """

    def headline(self) -> str:
        """The record in one line; its title unless it has more to say."""
        return str(getattr(self, "title", ""))

    def __repr__(self) -> str:
        return _in_two_lines(f"<{type(self).__name__}: ", plain(self.headline()), ">")


class ResultTable(Named):
    """What a frozen result inherits to be looked at: `print(result)`, a table in a notebook, `to_dataframe()`.

    A result says which of its fields make the table: `COLUMNS` names arrays of its own, or fields of the records that the
    field named by `ROWS` holds.
    """

    ROWS: ClassVar[str] = ""
    COLUMNS: ClassVar[tuple[str, ...]] = ()
    drawer: ClassVar[Callable[[Any, Any], Any] | None] = None
    """Draws an answer on axes."""

    def table(self) -> dict[str, Any]:
        """Columns by name, unit in the name, each with one value per row."""
        if not self.ROWS:
            return {name: getattr(self, name) for name in self.COLUMNS}
        return {name: [getattr(each, name) for each in getattr(self, self.ROWS)] for name in self.COLUMNS}

    def _in_unit(self) -> dict[str, Any]:
        """The table as it is printed: matches as return loss where the limit is stated as one."""
        found = self.table()
        if not getattr(self, "limit_in_db", False):
            return found
        losses = {name: return_loss_name(name) for name in found}
        return {
            losses[name] or name: [_return_loss_db(each) for each in values] if losses[name] else values
            for name, values in found.items()
        }

    def dataframe_columns(self) -> dict[str, Any]:
        """Columns of the DataFrame: those of the table, and what a result has over frequency besides."""
        return self.table()

    def columns_with_loss(self) -> dict[str, Any]:
        """Columns of the DataFrame; where the limit is stated as a return loss, each VSWR has its own beside it."""
        found = self.dataframe_columns()
        if not getattr(self, "limit_in_db", False):
            return found
        out: dict[str, Any] = {}
        for name, values in found.items():
            out[name] = values
            if loss := return_loss_name(name):
                out.setdefault(loss, [_return_loss_db(each) for each in values])
        return out

    def to_dict(self) -> dict[str, Any]:
        """The table as plain values; a result with more to say has its own."""
        found = {"schema_version": SCHEMA_VERSION, "title": self.headline(), **self.table()}
        return plain_values(found)  # type: ignore[return-value]

    @staticmethod
    def drawn_by(drawer: Callable[[Any, Any], Any]) -> None:
        """Take the function that draws an answer: it belongs to a room above this one."""
        ResultTable.drawer = staticmethod(drawer)

    def plot(self, ax: Any = None) -> Any:
        """Draw the answer on matplotlib axes, new ones where none are given; they are returned."""
        if ResultTable.drawer is None:
            # Read back in a process that has used none of the public functions, which bring the drawing with them.
            raise ChainError("nothing that draws is loaded here", "write 'from chain import recover' first")
        return ResultTable.drawer(self, ax)

    def to_dataframe(self) -> DataFrame:
        """The table as a pandas DataFrame over frequency; headline, references, seed and units are in its `attrs`.

        Columns of VSWR have their return loss beside them (`..._return_loss_db`), ends of intervals too: `return_loss_low_db` is the
        smaller return loss, that of the larger VSWR. What runs over frequency has it as the index.
        """
        try:
            from pandas import DataFrame
        except ImportError as error:
            raise ChainError("pandas is not installed", "pip install pandas") from error
        columns = self.dataframe_columns()
        frame = DataFrame({name: list(values) for name, values in columns.items()})
        for name, values in columns.items():
            loss = return_loss_name(name)
            if loss and loss not in frame:
                frame[loss] = [_return_loss_db(each) for each in values]
        frame.attrs["units"] = self._units([str(name) for name in frame])
        if "freq_hz" in frame and frame["freq_hz"].is_unique:
            frame = frame.set_index("freq_hz")
        frame.attrs["headline"] = self.headline()
        frame.attrs |= {name: value for name, value in vars(self).items() if isinstance(value, (str, int, float))}
        return frame

    def column_units(self) -> Mapping[str, str]:
        """Units of columns whose names do not say them, such as the currency of prices."""
        return {}

    def _units(self, names: Sequence[str]) -> dict[str, str]:
        """Unit of every column, `1` of a figure without a dimension, empty of a text."""
        own = self.column_units()
        found = {name: own.get(name) or _unit(name) for name in names}
        for name in names:
            stem = next((name[: -len(end)] for end in ENDS if name.endswith(end)), "")
            if stem and not found[name]:
                found[name] = next((unit for other, unit in found.items() if unit and other.startswith(f"{stem}_")), "")
        return found

    def __repr__(self) -> str:
        rows = _length(self.table())
        ends = f"<{type(self).__name__}: ", f"; {rows} row{'' if rows == 1 else 's'}>"
        return _in_two_lines(ends[0], plain(self.headline()), ends[1])

    def __str__(self) -> str:
        from shutil import get_terminal_size
        from textwrap import wrap

        width = max(get_terminal_size((REPR_WIDTH, 0)).columns, LEAST_WIDTH)
        columns = [[name, *cells] for name, cells in _shown(self._in_unit(), LONGEST_CELL).items()]
        lines = [line for text in (self.headline(), "") for line in wrap(plain(text), width)]
        for number, block in enumerate(_fitted(columns, width)):
            lines += [""] * (number > 0) + _lines(block)
        return "\n".join([*lines, *(line for text in self._beware() for line in wrap(text, width))])

    def _beware(self) -> list[str]:
        """What the command would warn of, so that nobody who prints an answer misses it."""
        return [f"warning: {plain(str(text))}" for text in getattr(self, "warnings", ())]

    def _repr_html_(self) -> str:
        columns = _shown(self._in_unit(), None)
        import html

        foot = "".join(f'<tr><td colspan="{len(columns)}">{html.escape(line)}</td></tr>' for line in self._beware())
        head = "".join(f"<th>{html.escape(name)}</th>" for name in columns)
        rows = ("".join(f"<td>{html.escape(cell)}</td>" for cell in row) for row in zip(*columns.values(), strict=True))
        body = "".join(f"<tr>{row}</tr>" for row in rows)
        caption = f"<caption>{html.escape(plain(self.headline()))}</caption>"
        return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody>{f'<tfoot>{foot}</tfoot>' if foot else ''}</table>"


def counted(count: int, noun: str) -> str:
    """A number with its noun, in the plural where it ought to be."""
    return f"{count} {noun}{'s' * (count != 1)}"


def span_words(freq_hz: Sequence[float] | NDArray[np.float64]) -> str:
    """A span of frequencies in words: its ends, or the one that there is."""
    ends = dict.fromkeys(f"{each / 1e6:.6g}" for each in (freq_hz[0], freq_hz[-1]))
    return f"{' to '.join(ends)} MHz"


def return_loss_name(name: str) -> str:
    """Name of the return loss beside a figure that is a VSWR, empty for any other figure.

    `low` is the lower figure of its own unit: the largest VSWR of an interval has the smallest return loss.
    """
    bare = name.removesuffix("_vswr")
    if name in ENDS_OF_VSWR or (bare != name and bare in ENDS_OF_VSWR):
        stem, _, end = bare.rpartition("_")
        return "_".join(filter(None, (stem.removesuffix("vswr"), "return_loss", OTHER_END[end], "db")))
    return f"{name[: -len('vswr')]}return_loss_db" if name == "vswr" or name.endswith("_vswr") else ""


def _return_loss_db(ratio: Any) -> float:
    value = math.nan if ratio is None else float(ratio)
    if math.isnan(value) or value < 1:
        return math.nan
    if value == 1:
        return math.inf
    return 0.0 if math.isinf(value) else -20 * math.log10((value - 1) / (value + 1))


def _unit(name: str) -> str:
    if name in ENDS_OF_VSWR or name == "vswr" or name.endswith("_vswr"):
        return "VSWR"
    ends = (unit for end, unit in UNITS.items() if name.endswith(end))
    return "1" if name in DIMENSIONLESS else next(ends, "")


def _in_two_lines(before: str, text: str, after: str) -> str:
    """A text between two others in at most two lines; what does not fit is left out of its middle part."""
    from textwrap import wrap

    lines = wrap(f"{before}{text}{after}", REPR_WIDTH, subsequent_indent=" ", max_lines=2, placeholder="...")
    if not lines[-1].endswith(after):
        kept = lines[-1].removesuffix("...")[: REPR_WIDTH - len(after) - len("...")].rstrip()
        lines[-1] = f"{kept}...{after}"
    return "\n".join(lines)


def _widths(columns: Sequence[Sequence[str]]) -> list[int]:
    return [max(map(len, column)) for column in columns]


def _lines(columns: Sequence[Sequence[str]]) -> list[str]:
    """Rows of a table, columns flush right."""
    widths = _widths(columns)
    rows = zip(*columns, strict=True)
    return ["  ".join(cell.rjust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows]


def _fitted(columns: list[list[str]], width: int) -> list[list[list[str]]]:
    """Columns of a table that fit a width: with long texts cut, or put below each other, each time beside the first column."""
    cut = [list(column) for column in columns]
    while _across(cut) > width:
        longest = [max(map(len, column[1:]), default=0) for column in cut]
        widest = longest.index(max(longest))
        if longest[widest] <= max(LEAST_CELL, len(cut[widest][0])):
            break
        cut[widest][1:] = [_cut(cell, longest[widest] - 1) for cell in cut[widest][1:]]
    else:
        return [cut]
    first = [_cut(cell, LONGEST_KEY) for cell in columns[0]]
    blocks = [[first]]
    for column in columns[1:]:
        room = width - len("  ") - max(map(len, first))
        whole = [_cut(cell, room) for cell in column]
        if _across([*blocks[-1], whole]) > width:
            blocks.append([first])
        blocks[-1].append(whole)
    return blocks


def _across(columns: Sequence[Sequence[str]]) -> int:
    """Characters across a table."""
    return sum(_widths(columns)) + len("  ") * (len(columns) - 1)


def _cut(cell: str, most: int) -> str:
    return cell if len(cell) <= most else f"{cell.removesuffix('...')[: most - 3]}..."


def _length(table: dict[str, Any]) -> int:
    return len(next(iter(table.values()), ()))


def _shown(table: dict[str, Any], longest: int | None) -> dict[str, list[str]]:
    """Columns as text cut to a length, frequencies in MHz, the middle of a long table left out and counted."""
    out: dict[str, list[str]] = {}
    for name, values in table.items():
        in_mhz = name.endswith("_hz")
        out[f"{name[:-3]}_mhz" if in_mhz else name] = [
            cell if longest is None else _cut(cell, longest)
            for cell in _cells(values, 1e-6 if in_mhz else 1.0, not out)
        ]
    return out


def _cells(values: Sequence[Any], factor: float, first: bool) -> Iterator[str]:
    left_out = len(values) - HEAD - TAIL
    chosen = range(len(values)) if left_out <= 1 else [*range(HEAD), *range(len(values) - TAIL, len(values))]
    for number, index in enumerate(chosen):
        if left_out > 1 and number == HEAD:
            yield f"({left_out} more)" if first else "..."
        yield _text(values[index], factor)


def _text(value: object, factor: float) -> str:
    """One cell: numbers to four digits, nothing for what does not apply."""
    if value is None:
        return ""
    if isinstance(value, Real) and not isinstance(value, bool):
        number = float(value) * factor
        return "" if math.isnan(number) else f"{number:.{4 if factor == 1 else 7}g}"
    if isinstance(value, Complex) and not isinstance(value, bool):
        return f"{complex(value):.4g}"
    return plain(", ".join(str(each) for each in value) if isinstance(value, tuple) else str(value))


def network(
    freq_hz: NDArray[np.float64], s: NDArray[np.complex128], reference_ohm: Sequence[float], name: str = ""
) -> Network:
    """S-parameters as a scikit-rf Network, each port in its own real reference.

    Source: Waves referred to real impedances, for which all definitions of waves agree.
    """
    import numpy as np
    from skrf.frequency import Frequency
    from skrf.network import Network

    freq = np.atleast_1d(np.asarray(freq_hz, dtype=float))
    flat = np.asarray(s, dtype=complex).reshape(freq.size, -1)
    ports = len(reference_ohm)
    if flat.shape[1] != ports**2:
        raise RangeError(f"{ports} references do not fit {flat.shape[1]} figures a frequency", "give one for each port")
    z0 = np.tile(np.asarray(reference_ohm, dtype=float), (freq.size, 1))
    s_each = flat.reshape(freq.size, ports, ports).copy()
    return Network(frequency=Frequency.from_f(freq, unit="hz"), s=s_each, z0=z0, name=name or None)


def plain_values(value: object) -> object:
    """Turn arrays, numbers and containers into what JSON can hold: complex as [real, imaginary], no NaN and no infinity."""
    if isinstance(value, dict):
        return {str(key): plain_values(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [plain_values(item) for item in value]
    if hasattr(value, "tolist"):
        # numpy's arrays and scalars, without importing numpy for a result that has none.
        return plain_values(value.tolist())
    if isinstance(value, complex):
        return [plain_values(value.real), plain_values(value.imag)]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
