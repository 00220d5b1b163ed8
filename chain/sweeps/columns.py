"""Which columns of a table are read, and as what: by the user's word, then by headers, never by a guess; channels count as frequencies."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from difflib import get_close_matches

from chain.errors import quoted
from chain.sweeps.options import FREQUENCY_UNITS, QUANTITIES, SweepOptions
from chain.sweeps.table import PAIR, Cell, Sheet, TextTable, channel_text, unit_behind
from library.channels import listed, named_channel
from library.frozen import dataclass
from library.words import concepts, spelt

ROLES = {
    "frequency": "frequency",
    "vswr": "VSWR",
    "return_loss": "return loss",
    "db": "dB",
    "magnitude": "magnitude",
    "reflection": "reflection without a unit",
    "phase": "angle",
    "real": "real part",
    "imaginary": "imaginary part",
    "r": "R",
    "x": "X",
    "z": "|Z|",
    "foreign": "no reflection of this port",
    "": "not known",
}
"""What a column may be, and its words for people."""
PARTS = {"real": ("real", "r"), "imaginary": ("imaginary", "x")}
DIRECT = (("reactance", "x"), ("resistance", "r"), ("vswr", "vswr"), ("return_loss", "return_loss"))


NEAR_ENOUGH = 0.75
"""Likeness of two words from which one is taken for a slip of the other."""


def role(text: str) -> str:
    """What a column holds, by its header."""
    stated = concepts(text)
    if stated.keys() & {"foreign", "second_port"} or (
        "loss" in stated and not stated.keys() & {"return_loss", "reflection"}
    ):
        return "foreign"
    for part, (of_reflection, of_impedance) in PARTS.items():
        if part in stated:
            return (
                of_impedance if stated.keys() & {"impedance", "ohm"} and "reflection" not in stated else of_reflection
            )
    if "phase" in stated:
        return "phase"
    if "frequency" in stated:
        return "frequency"
    direct = next((found for concept, found in DIRECT if concept in stated), "")
    # Some call the share of the reflected voltage, in percent, by a word that others use for the ratio.
    if direct:
        return "magnitude" if direct == "vswr" and "percent" in stated else direct
    return _size(stated)


def _size(stated: dict[str, str]) -> str:
    """Role of a header that speaks of a size only."""
    if stated.keys() & {"impedance", "ohm"}:
        return "z"
    if "decibel" in stated:
        return "db"
    if stated.keys() & {"magnitude", "percent"} or stated.get("reflection", "s11") != "s11":
        return "magnitude"
    return "reflection" if "reflection" in stated else ""


OWN_READING, OWN_TRUE = "reading_", "true_"


def roles_of(headers: Sequence[str]) -> list[str]:
    """Role of each column; of a table of true matches that we wrote only the readings behind it are read."""
    ours = all(any(each.startswith(start) for each in headers) for start in (OWN_READING, OWN_TRUE))
    found = [role(each) for each in headers]
    return [
        "foreign" if ours and kind != "frequency" and not each.startswith(OWN_READING) else kind
        for each, kind in zip(headers, found, strict=True)
    ]


def frequency_factor(text: str) -> float:
    """Factor of the unit of frequency that a header names [Hz]."""
    units = {unit.lower(): factor for unit, factor in FREQUENCY_UNITS.items()}
    found = [units[word] for word in re.split(r"[^a-z]+", spelt(text)) if word in units]
    return found[0] if len(set(found)) == 1 else 0.0


Channels = Mapping[str, tuple[float, float]]


def with_frequencies(sheet: Sheet, table: TextTable, channels: Channels, bare: str = "") -> TextTable:
    """The table with the middle of each channel in place of its name, rising; as it is where a column holds frequencies.

    `bare` is the quantity of a column of figures that has neither a header nor a unit.
    """
    table = table if table.header else _headed(sheet, table, channels, bare)
    roles = [role(cell.text) for cell in table.header]
    named = [index for index, cell in enumerate(table.header) if not roles[index] and "channel" in concepts(cell.text)]
    if "frequency" in roles or len(named) != 1:
        return table
    at, head = named[0], table.header[named[0]]
    if not channels:
        sheet.defect(head, "channels of which region?", REGION)
        return table
    rows = [(row, _middle_mhz(sheet, row[at], channels)) for row in table.rows if len(row) > at]
    known = sorted(((row, mhz) for row, mhz in rows if mhz), key=lambda each: each[1])
    header = (*table.header[:at], head._replace(text="frequency_mhz"), *table.header[at + 1 :])
    reported = tuple((*row[:at], _reported(row[at], mhz, table.sign), *row[at + 1 :]) for row, mhz in known)
    return replace(table, header=header, rows=reported)


REGION = (
    'under [sweep] of the set-up write region = "europe" and channels = "21-48" in place of start and stop, or give '
    "frequencies under the header 'frequency_mhz'"
)


def _headed(sheet: Sheet, table: TextTable, channels: Channels, bare: str) -> TextTable:
    """A table of two columns without a header whose first one names channels, with the header it would have."""
    rows = [row for row in table.rows if row]
    if any(found and found["word"] for found in (PAIR.match(sheet.lines[row[0].line - 1]) for row in rows)):
        bare = "vswr"
    places = {unit_behind(sheet.lines[row[0].line - 1], row[0].column - 1 + len(row[0].text)) for row in rows}
    if table.width == 2 and len(places) == 1 and bare and (unit := next(iter(places))) in FREQUENCY_UNITS:
        return replace(table, header=(rows[0][0]._replace(text=f"frequency_{unit}"), rows[0][1]._replace(text=bare)))
    names = [channel_text(sheet.lines[row[0].line - 1], row[0]) for row in rows]
    lettered = all(name != row[0].text for name, row in zip(names, rows, strict=True))
    # Where most are channels of the set-up the others are slips, and are reported as that.
    known = sum(bool(named_channel(name, channels)) for name in names)
    if not (lettered or (channels and 2 * known > len(names))) or table.width != 2:
        return table
    cells = [row[1] for row in rows if len(row) > 1]
    units = {unit_behind(sheet.lines[cell.line - 1], cell.column - 1 + len(cell.text)).casefold() for cell in cells}
    quantity = "return_loss_db" if units == {"db"} else bare if units <= {""} else ""
    first = rows[0][0]
    if not quantity and channels:
        remedy = "write 'channel,vswr' or 'channel,return_loss_db' above it as the first line"
        sheet.defect(first, "channels without a header: VSWR or return loss?", remedy)
    return replace(table, header=(first._replace(text="channel"), cells[0]._replace(text=quantity or "vswr")))


def _middle_mhz(sheet: Sheet, cell: Cell, channels: Channels) -> float:
    """Middle of the channel that a cell names [MHz]; 0 and a defect where there is none."""
    text = channel_text(sheet.lines[cell.line - 1], cell)
    name = named_channel(text, channels)
    if name:
        return sum(channels[name]) / 2e6
    sheet.defect(cell, f"{quoted(text)} is none of the set-up's channels", f"it has {listed(channels)}")
    return 0.0


def _reported(cell: Cell, mhz: float, sign: str) -> Cell:
    return cell._replace(text=f"{mhz:.9g}".replace(".", sign or "."))


EXAMPLE = "write a header such as 'frequency_mhz,vswr', 'channel,vswr' or 'frequency_mhz,return_loss_db'"
CHANNEL_LIKE = re.compile(r"[0-9]{1,2}[A-N]?", re.IGNORECASE)
OF_CHANNELS = (
    "write 'frequency_mhz,vswr' above it; or 'channel,vswr', and give a set-up that has region = \"europe\" and "
    'channels = "21-48" under [sweep]'
)
SINGLE = {"return_loss": "return-loss", "db": "reflection-db", "vswr": "vswr", "magnitude": "magnitude"}
PAIRS = {
    ("real", "imaginary"): "real-and-imaginary",
    ("return_loss", "phase"): "db-and-degrees",
    ("db", "phase"): "db-and-degrees",
    ("magnitude", "phase"): "magnitude-and-degrees",
    ("reflection", "phase"): "",
    ("r", "x"): "r-and-x",
    ("z", "phase"): "z-and-degrees",
}
ORDER = (
    "real-and-imaginary",
    "db-and-degrees",
    "magnitude-and-degrees",
    "r-and-x",
    "z-and-degrees",
    "return-loss",
    "reflection-db",
    "vswr",
    "magnitude",
    "",
)
"""What is read first where one trace stands in several columns: with phase before without, fine steps before coarse."""


@dataclass(frozen=True)
class ColumnPlan:
    """Columns to read, counted from 0. `quantity` is empty where only the figures can distinguish dB from magnitude."""

    frequency: int
    factor: float
    quantity: str
    columns: tuple[int, ...]
    stated: bool
    """The user has named the quantity, so that its sign is taken at its word."""
    radians: bool | None
    """Unit of the angles, or None where only the figures show it."""
    rivals: tuple[tuple[str, tuple[int, ...]], ...] = ()
    """What else the table says of the same trace."""
    percent: bool = False
    """A magnitude is stated in percent."""

    def left_out(self, table: TextTable) -> tuple[Cell, ...]:
        """Headers of the columns that are not looked at."""
        taken = {self.frequency, *self.columns, *(index for _, columns in self.rivals for index in columns)}
        return tuple(cell for index, cell in enumerate(table.header) if index not in taken)


def plan(sheet: Sheet, table: TextTable, options: SweepOptions) -> ColumnPlan | None:
    """Settle which columns are read."""
    roles = roles_of([cell.text for cell in table.header])
    defects = len(sheet.defects)
    if not table.header and not (options.quantity and options.frequency_unit):
        first = table.rows[0][0]
        above = sheet.lines[first.line - 2].strip() if first.line > 1 else ""
        marks = [mark for mark in (",", ";", "\t") if mark in above]
        if marks and any(word for cell in above.split(marks[0]) for word in concepts(cell)):
            named = {",": "commas", ";": "semicolons", "\t": "tabs"}[marks[0]]
            sheet.defect(
                first, f"the header has {named} between its columns, the figures have none", "separate both alike"
            )
            return None
        places = [row[0].text for row in table.rows]
        if all(CHANNEL_LIKE.fullmatch(each) for each in places):
            sheet.defect(first, "the file has no header: frequencies, or channels of which region?", OF_CHANNELS)
            return None
        remedy = f"{EXAMPLE}, or give --quantity and --frequency-unit"
        sheet.defect(first, "the file has no header", remedy)
        return None
    asked = _asked(sheet, table, options)
    frequency, factor = _frequency(sheet, table, roles, asked, options)
    if len(sheet.defects) > defects:
        return None
    found = _settled(sheet, table, roles, asked, frequency, options)
    if found is None:
        return None
    quantity, columns, rivals = found
    angle = table.header[columns[-1]].text if table.header and len(columns) == 2 else ""
    percent = bool(table.header) and "percent" in concepts(table.header[columns[0]].text)
    return ColumnPlan(
        frequency, factor, quantity, columns, bool(options.quantity), _radians(angle, options), rivals, percent
    )


def _radians(header: str, options: SweepOptions) -> bool | None:
    stated = concepts(header)
    if "radian" in stated:
        return True
    named = stated.get("phase", "").startswith(("deg", "grad", "gradi"))
    unit = any(word in ("deg", "degree", "degrees", "grad", "gradi", "grados", "degres") for word in _words(header))
    return False if named or unit or options.quantity.endswith("degrees") else None


def _words(text: str) -> list[str]:
    from library.words import spelt

    return spelt(text).split()


def _asked(sheet: Sheet, table: TextTable, options: SweepOptions) -> tuple[int, ...]:
    """Columns that the user names, by number or header."""
    found, width = [], table.width
    place = table.header[0] if table.header else table.rows[0][0]
    for name in options.columns:
        names = [cell.text for cell in table.header]
        alike = [index for index, text in enumerate(names) if text.lower() == name.lower()]
        part = [index for index, text in enumerate(names) if name and name.lower() in text.lower()]
        if name.isascii() and name.isdigit() and len(name) < 6 and 1 <= int(name) <= width:
            found.append(int(name) - 1)
        elif len(alike) == 1 or (not alike and len(part) == 1):
            found.append((alike or part)[0])
        else:
            near = get_close_matches(name, names, 1, 0.5)
            listed = ", ".join(quoted(text) for text in names[:8]) or f"1 to {width}"
            remedy = f"did you mean {quoted(near[0])}?" if near else f"columns: {listed}"
            sheet.defect(place, f"--column {quoted(name)} names {'several columns' if part else 'no column'}", remedy)
    return tuple(found)


def _frequency(
    sheet: Sheet, table: TextTable, roles: Sequence[str], asked: tuple[int, ...], options: SweepOptions
) -> tuple[int, float]:
    """Column of the frequency and the factor of its unit."""
    stated = FREQUENCY_UNITS.get(options.frequency_unit, 0.0)
    if not table.header:
        return 0, stated
    at = [index for index, each in enumerate(roles) if each == "frequency"]
    if len(at) > 1 and len({frequency_factor(table.header[index].text) for index in at} - {0.0}) > 1:
        # The same frequencies in two units: the first column that names one.
        at = [index for index in at if frequency_factor(table.header[index].text)][:1]
    at = at[:1] if len(at) > 1 and _alike(table, at) else at
    if len(at) > 1:
        sheet.defect(table.header[at[1]], "a second column of frequencies that differ", "leave one of the traces out")
    if not at:
        if stated and 0 not in asked:
            return 0, stated
        cell, meant = _meant(table.header, ("frequency", "channel", "freq_mhz", "frequency_mhz"))
        remedy = meant or "name it in the header, or give --frequency-unit and column 1 is taken"
        sheet.defect(cell, "no column is named as the frequency", remedy)
        return 0, 1.0
    factor = stated or frequency_factor(table.header[at[0]].text)
    if not factor:
        cell = table.header[at[0]]
        remedy = f"{EXAMPLE}, or give --frequency-unit MHz"
        sheet.defect(cell, f"{quoted(cell.text)} names no unit of frequency", remedy)
    return at[0], factor or 1.0


def _alike(table: TextTable, columns: Sequence[int]) -> bool:
    """Whether columns hold the same texts, as exports of several traces side by side do."""
    return all(len({row[index].text for index in columns if index < len(row)}) == 1 for row in table.rows)


Settled = tuple[str, tuple[int, ...], tuple[tuple[str, tuple[int, ...]], ...]]


def _settled(
    sheet: Sheet, table: TextTable, roles: Sequence[str], asked: tuple[int, ...], frequency: int, options: SweepOptions
) -> Settled | None:
    """Quantity and columns; None where a defect was noted."""
    asked = tuple(index for index in asked if index != frequency)
    if options.quantity:
        return _by_quantity(sheet, table, roles, asked, frequency, options.quantity)
    wanted = asked or tuple(index for index in range(table.width) if index != frequency)
    groups = _groups([each if index in wanted else "foreign" for index, each in enumerate(roles)])
    if not groups:
        _nothing(sheet, table, roles, wanted)
        return None
    kinds = [quantity for quantity in ORDER if quantity in groups]
    best = kinds[0]
    if len(groups[best]) > 1:
        _several(sheet, table, groups[best])
        return None
    rivals = tuple((each, groups[each][0]) for each in kinds[1:] if len(groups[each]) == 1) if not asked else ()
    return best, groups[best][0], rivals


def _groups(roles: Sequence[str]) -> dict[str, list[tuple[int, ...]]]:
    """Every way to read the columns: quantity to the columns that hold it."""
    out: dict[str, list[tuple[int, ...]]] = {}
    paired: set[int] = set()
    for index, each in enumerate(roles):
        partner = _partner(roles, index, paired)
        if partner is not None:
            out.setdefault(PAIRS[roles[partner], each], []).append((partner, index))
            paired |= {partner, index}
    for index, each in enumerate(roles):
        if each in SINGLE and not (index in paired and each == "magnitude"):
            out.setdefault(SINGLE[each], []).append((index,))
        elif each == "reflection" and index not in paired:
            out.setdefault("", []).append((index,))
    return out


def _partner(roles: Sequence[str], index: int, paired: set[int]) -> int | None:
    """First half of a pair whose second half stands at `index`: the nearest before it, else the nearest behind."""
    firsts = {first for first, second in PAIRS if second == roles[index]}
    free = [other for other, each in enumerate(roles) if each in firsts and other not in paired]
    before = [other for other in free if other < index]
    return before[-1] if before else free[0] if free else None


def _by_quantity(
    sheet: Sheet,
    table: TextTable,
    roles: Sequence[str],
    asked: tuple[int, ...],
    frequency: int,
    quantity: str,
) -> Settled | None:
    """Columns of the quantity that the user names."""
    words, count = QUANTITIES[quantity]
    if not asked:
        groups = _groups(roles)
        own = groups.get(quantity, [])
        others = tuple(index for index in range(table.width) if index != frequency)
        known = tuple(index for index in others if not roles or roles[index] != "foreign")
        if len(own) == 1:
            asked = own[0]
        elif len(known) == count:
            asked = known
        elif len(others) == count:
            asked = others
    if len(asked) != count:
        place = table.header[0] if table.header else table.rows[0][0]
        need = "one column" if count == 1 else "two columns"
        message = f"{words} stands in {need}, and it is not clear which"
        sheet.defect(place, message, "name it: --column 2" if count == 1 else "name them: --column 2 --column 3")
        return None
    return quantity, asked, ()


def _nothing(sheet: Sheet, table: TextTable, roles: Sequence[str], wanted: Sequence[int]) -> None:
    """No column says that it holds a reflection."""
    remedy = f"{EXAMPLE}, or give --quantity"
    if not wanted:
        sheet.defect(table.header[0], "one column where a frequency and a figure are needed", EXAMPLE)
    for index in wanted[:6]:
        cell = table.header[index]
        if roles[index] in ("r", "x", "z", "real", "imaginary", "phase"):
            what = f"{quoted(cell.text)} is {ROLES[roles[index]]} alone: its partner is missing"
        else:
            what = f"{quoted(cell.text)} is neither VSWR nor return loss, nor another measure of a reflection"
        sheet.defect(cell, what, _meant((cell,), ("vswr", "swr", "return_loss_db", "return loss"))[1] or remedy)


def _meant(cells: Sequence[Cell], known: Sequence[str]) -> tuple[Cell, str]:
    """The cell whose text is near to a known header, and the question whether that is meant; else the first and nothing."""
    for cell in cells:
        near = get_close_matches(cell.text.casefold(), known, 1, NEAR_ENOUGH)
        if near:
            return cell, f"did you mean {quoted(near[0])}?"
    return cells[0], ""


def _several(sheet: Sheet, table: TextTable, groups: Sequence[tuple[int, ...]]) -> None:
    """Two traces of one kind."""
    first = groups[0]
    for columns in groups[1:3]:
        cell = table.header[columns[0]]
        option = " ".join(f"--column {index + 1}" for index in columns)
        other = " ".join(f"--column {index + 1}" for index in first)
        what = f"{quoted(cell.text)} and {quoted(table.header[first[0]].text)} are two traces of one kind"
        sheet.defect(cell, what, f"name one: {other} or {option}")
