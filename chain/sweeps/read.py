"""A measured sweep of any usual file: Touchstone, or a table of text, read with every defect in place and its meaning reported."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chain.errors import Defect, quoted
from chain.reflection import return_loss_db, vswr
from chain.sweeps import touchstone
from chain.sweeps.columns import Channels, ColumnPlan, plan, with_frequencies
from chain.sweeps.marks import processing, trusted_span
from chain.sweeps.options import DEFAULTS, QUANTITIES, SweepOptions
from chain.sweeps.readings import Readings
from chain.sweeps.table import Sheet, TextTable, find_table
from chain.sweeps.text import bounded, lines_of, whole_file
from chain.sweeps.touchstone_lines import looks_like_touchstone
from chain.sweeps.values import MOST_MAGNITUDE, Reflections, reflections

SAME_OHM = 1e-6
LISTED = 4
"""Most columns named of those left out."""


def read_sweep(
    path: str,
    options: SweepOptions = DEFAULTS,
    plane_ohm: float | None = None,
    channels: Channels | None = None,
    unheaded: str = "",
) -> Readings:
    """Read a sweep of the analyzer.

    Parameters
    ----------
    path : a Touchstone file, whatever its name, or a text file of columns under a header that names
        them, such as `frequency_mhz,vswr` or `Frequenz [MHz];Rückflussdämpfung [dB]`; `-` reads standard input.
    options : what the user settles about the file.
    plane_ohm : reference at the calibration plane, where it is known [ohm].
    channels : edges of the channels that a column may name in place of frequencies, by name [Hz].
    unheaded : header that a column of channels without one is read by, `vswr` or `return_loss_db`; empty: it is asked for.

    Returns
    -------
    Readings, rising in frequency; complex where the file holds an angle too. A Touchstone file's own reference impedance
    is ignored: a reading is in the impedance of the standards it was calibrated with. R and X, and the
    impedances of a Touchstone file, turn into a reflection in `options.impedance_ohm`, else in `plane_ohm`.

    Raises
    ------
    InputError : the file is at fault, or may be understood in several ways; every defect with line and column.

    Examples
    --------
    >>> from chain import read_sweep
    >>> read_sweep("demo/boathouse.csv").interpretation.split(";")[0]
    "column 2 'return_loss_db' read as return loss: 19.62 dB at 174 MHz is VSWR 1.23"

    Source
    ------
    Touchstone by `chain.sweeps.touchstone`; definitions of VSWR, return loss and reflection coefficient.
    """
    lines = lines_of(path)
    bare = bool(options.quantity and options.frequency_unit)
    named = touchstone.ports_of_name(path) > 0 or path.lower().endswith(".ts")
    if looks_like_touchstone(lines) or (named and not bare):
        found = _touchstone(path, lines, options, plane_ohm)
    else:
        found = _table(path, lines, options, plane_ohm, (channels or {}, unheaded))
    found = _processed(path, lines, found)
    most = float(found.magnitude.max())
    if most > 1:
        at = found.freq_hz[int(np.argmax(found.magnitude))] / 1e6
        count = int(np.count_nonzero(found.magnitude > 1))
        text = f"{count} of {found.freq_hz.size} readings reflect more than 1, up to {most:.3f} at {at:g} MHz"
        found = replace(found, warnings=(*found.warnings, f"{text}: noise, or a calibration that is off"))
    return found


def _processed(path: str, lines: list[str], found: Readings) -> Readings:
    """The readings with the mark of what was done to them, and without what is not to be trusted."""
    done, span = processing(lines), trusted_span(lines)
    if not done:
        return found
    if span is not None:
        inside = (found.freq_hz >= span[0] * (1 - 1e-9)) & (found.freq_hz <= span[1] * (1 + 1e-9))
        found = _kept(path, found, inside)
    warning = f"the sweep was processed ({done}): it shows what is likely, and nothing is proven from it"
    return replace(found, processed=done, warnings=(*found.warnings, warning))


def _kept(path: str, found: Readings, inside: NDArray[np.bool_]) -> Readings:
    if not inside.any():
        raise whole_file(path, "holds no point that is to be trusted", "use the sweep that it was made from")
    if inside.all():
        return found
    reported = f"{np.count_nonzero(~inside)} points marked as not trusted left out"
    return replace(found.at(inside), interpretation=f"{found.interpretation}; {reported}")


def _touchstone(path: str, lines: list[str], options: SweepOptions, plane_ohm: float | None) -> Readings:
    for name, stated in (
        ("--quantity", options.quantity),
        ("--frequency-unit", options.frequency_unit),
        ("--decimal", options.decimal),
        ("--block", options.block),
    ):
        if stated:
            raise whole_file(
                path, f"is a Touchstone file, which states its own figures; {name} is of no use", f"leave {name} out"
            )
    found = touchstone.parse(lines, path).above_zero(path)
    port, which = _port(path, found, options)
    reflection, remark, warnings = _referred(found, port, options, plane_ohm)
    magnitude = np.abs(reflection)
    defects = [
        _too_much(path, lines, found, magnitude, int(index)) for index in np.flatnonzero(~(magnitude <= MOST_MAGNITUDE))
    ]
    if defects:
        raise bounded(defects)
    reported = "; ".join(
        [f"{which}complex reflection, {found.form}: {_example(found.freq_hz, magnitude)}", remark, *found.notes]
    )
    if found.assumed:
        reported += f"; by the format's defaults in {' and '.join(found.assumed)}"
        warnings = (
            *warnings,
            f"the option line leaves out what the format then takes as {' and '.join(found.assumed)}",
        )
    return Readings(found.freq_hz, magnitude, reflection, reported, warnings, found.half_step)


def _port(path: str, found: touchstone.TouchstoneFile, options: SweepOptions) -> tuple[int, str]:
    """Port whose reflection is read, and how it is known."""
    ports = found.s.shape[1]
    own = [f"S{port}{port}" if port < 10 else f"S{port},{port}" for port in range(1, ports + 1)]
    listed = f"{' or '.join(own)}" if ports < 4 else f"{own[0]} to {own[-1]}"
    names = [name.upper() for name in options.columns]
    if names and (len(names) > 1 or names[0] not in own):
        what = f"--column {quoted(options.columns[0])} names no reflection of this file"
        raise whole_file(path, what, "it holds S11" if ports == 1 else f"--column {listed}")
    if ports == 1:
        return 0, ""
    kind = "a two-port" if ports == 2 else f"{ports} ports"
    if ports == 2 and not found.transmits and not np.any(found.s[:, 0, 1]):
        kind = "a one-port in the form of a two-port"
    # An analyzer with one port writes zeros for what it cannot measure.
    lit = [port for port in range(ports) if np.any(found.s[:, port, port])] or [0]
    if not names and len(lit) > 1:
        ends = "at each end" if ports == 2 else f"at {len(lit)} of them"
        raise whole_file(
            path, f"is {kind if ports == 2 else f'of {kind}'} with a reflection {ends}", f"--column {listed} names one"
        )
    port = own.index(names[0]) if names else lit[0]
    return port, f"{own[port]} of {kind}, "


def _referred(
    found: touchstone.TouchstoneFile, port: int, options: SweepOptions, plane_ohm: float | None
) -> tuple[NDArray[np.complex128], str, tuple[str, ...]]:
    """Reflection in the reference of the plane, how it is known, and what is doubtful."""
    own = found.reference_ohm[port]
    s = found.s[:, port, port]
    if found.parameter == "s":
        remark = f"its header says {own:g} ohm (ignored: the calibration decides)"
        idle = _idle(options)
        if plane_ohm is None or abs(own - plane_ohm) <= SAME_OHM * own:
            return s, remark, idle
        warning = (
            f"the sweep's header says {own:g} ohm, the set-up's plane is in {plane_ohm:g} ohm: taken as {plane_ohm:g} ohm, "
            "that of the standards, with nothing converted"
        )
        return s, remark, (warning, *idle)
    wanted = options.impedance_ohm or plane_ohm
    if wanted is None:
        return s, f"made of {found.parameter.upper()}-parameters in {own:g} ohm", ()
    step = (wanted - own) / (wanted + own)
    with np.errstate(all="ignore"):
        turned = (s - step) / (1 - step * s)
    return turned, f"made of {found.parameter.upper()}-parameters in {wanted:g} ohm", ()


def _idle(options: SweepOptions) -> tuple[str, ...]:
    """Report that a reference was stated which nothing depends on."""
    if options.impedance_ohm is None:
        return ()
    return (
        "--impedance changes nothing here: a reflection is in the impedance of its standards, whatever it is called",
    )


def _too_much(
    path: str, lines: list[str], found: touchstone.TouchstoneFile, magnitude: NDArray[np.float64], index: int
) -> Defect:
    number = found.lines[index]
    what = f"a reflection of magnitude {magnitude[index]:.3g} at {found.freq_hz[index] / 1e6:g} MHz"
    remedy = "nothing passive reflects more than 1: repeat the calibration"
    return Defect(path, number, 1, what, remedy, lines[number - 1], len(lines[number - 1]))


def _table(
    path: str, lines: list[str], options: SweepOptions, plane_ohm: float | None, named: tuple[Channels, str]
) -> Readings:
    sheet = Sheet(path, lines)
    written = find_table(sheet, options)
    table = with_frequencies(sheet, written, *named)
    if sheet.defects:
        raise bounded(sheet.defects)
    found = plan(sheet, table, options)
    ohm = options.impedance_ohm or plane_ohm
    made = None if found is None else reflections(sheet, table, found, bool(options.decimal), ohm)
    if sheet.defects or made is None or found is None:
        raise bounded(sheet.defects)
    phase = "" if made.reflection is not None else "; no phase"
    reported = f"{_what(table, found, made, options, ohm)}; {made.freq_hz.size} points{phase}"
    warnings = () if made.quantity in ("r-and-x", "z-and-degrees") else _idle(options)
    taken = [] if table is written else ["channels taken at their middle"]
    remarks = [*made.remarks, *(["decimal commas"] if table.sign == "," else []), *taken, *_left_out(table, found)]
    said = "; ".join([reported, *remarks])
    channel_hz = tuple(map(float, made.freq_hz)) if taken else ()
    in_db = made.quantity in ("return-loss", "reflection-db")
    own = made.freq_hz, made.magnitude, made.reflection, said, warnings, made.rounding
    return Readings(*own, channel_hz=channel_hz, in_db=in_db)


def _what(table: TextTable, found: ColumnPlan, made: Reflections, options: SweepOptions, ohm: float | None) -> str:
    """Columns, quantity and the first figures, with the VSWR that they are."""
    names = [quoted(table.header[index].text) for index in found.columns if table.header]
    numbers = " and ".join(str(index + 1) for index in found.columns)
    column = f"column{'s' * (len(found.columns) > 1)} {numbers}{' ' * bool(names)}{' and '.join(names)}"
    units = {
        "return-loss": " dB",
        "reflection-db": " dB",
        "db-and-degrees": " dB",
        "r-and-x": " ohm",
        "z-and-degrees": " ohm",
    }
    unit = units.get(made.quantity, "")
    first = made.numbers[0]
    if made.quantity in ("db-and-degrees", "magnitude-and-degrees", "z-and-degrees"):
        shown = f"{first[0]:g}{unit}, {first[1]:g} {'rad' if found.radians else 'degrees'}"
    else:
        shown = " and ".join(f"{value:g}" for value in first) + unit
    where = f" in {ohm:g} ohm" if unit == " ohm" and ohm else ""
    if where and not options.impedance_ohm:
        where += ", that of the plane (--impedance, if the analyzer was set to another)"
    ratio = float(vswr(made.magnitude[0]))
    return f"{column} read as {QUANTITIES[made.quantity][0]}: {shown} at {made.freq_hz[0] / 1e6:g} MHz is VSWR {ratio:.2f}{where}"


def _left_out(table: TextTable, found: ColumnPlan) -> list[str]:
    cells = found.left_out(table)
    if not cells:
        return []
    more = f" and {len(cells) - LISTED} more" if len(cells) > LISTED else ""
    return [f"not read: {', '.join(quoted(cell.text) for cell in cells[:LISTED])}{more}"]


def _example(freq_hz: NDArray[np.float64], magnitude: NDArray[np.float64]) -> str:
    ratio, loss = float(vswr(magnitude[0])), float(return_loss_db(magnitude[0]))
    return f"VSWR {ratio:.2f}, or {loss:.1f} dB, at {freq_hz[0] / 1e6:g} MHz; {freq_hz.size} points"
