"""Facts for the way from the antenna to the outlets: amplifiers, receivers, in-line parts, modes, level windows, noise.

The files lie in `library/data/reception/`; every row says where its figures come from.
"""

from __future__ import annotations

import re
from dataclasses import fields
from functools import cache
from typing import Any

from library.errors import LibraryError, near_names
from library.files.rows import connector_of, limit_of
from library.files.store import document
from library.frozen import dataclass
from library.records import Connector, Evidence, Limit
from library.search import fit, wanted_words


@dataclass(frozen=True)
class Amplifier:
    """An amplifier: gain, noise figure with 75 ohm at its input, and its output at a stated intermodulation distance."""

    id: str
    name: str
    input_connector: Connector
    output_connector: Connector
    gain_db: float
    gain_from_db: float
    gain_to_db: float
    gain_tolerance_db: float
    noise_figure_db: float
    noise_figure_tolerance_db: float
    max_output_dbuv: float
    intermodulation_db: float
    isolation_db: float
    limit: Limit | None
    power_v: float
    current_ma: float
    bypass_loss_db: float
    min_hz: float
    max_hz: float
    evidence: Evidence
    slope_db_per_ghz: float = 0.0
    kind: str = "amplifier"

    @property
    def reverse_loss_db(self) -> float:
        """Loss on the way back: at least the gain and its tolerance, for an amplifier that is sold does not oscillate."""
        return max(self.isolation_db, self.gain_db + self.gain_tolerance_db + 1)

    @property
    def intercept_dbuv(self) -> float:
        """Third-order intercept point at the output: `Umax + IMA/2` [dBuV].

        Source: A third-order product rises by 3 dB for each dB of its two tones.
        """
        return self.max_output_dbuv + self.intermodulation_db / 2


@dataclass(frozen=True)
class Inline:
    """A passive two-port: filter, wall outlet, DC block, injector, combiner. Loss in straight lines between points."""

    id: str
    name: str
    kind: str
    input_connector: Connector
    output_connector: Connector
    loss_hz: tuple[float, ...]
    loss_db: tuple[float, ...]
    loss_tolerance_db: float
    limit: Limit | None
    dc: str
    min_hz: float
    max_hz: float
    evidence: Evidence


@dataclass(frozen=True)
class Receiver:
    """What hangs on an outlet: noise figure with 75 ohm at its input, total level that overloads it, reflection limit."""

    id: str
    name: str
    noise_figure_db: float
    noise_figure_tolerance_db: float
    overload_dbm: float
    limit: Limit | None
    connector: Connector
    evidence: Evidence


@dataclass(frozen=True)
class Mode:
    """Least carrier-to-noise ratio of a mode, the channel model it is for, and the reserve that is already inside."""

    id: str
    service: str
    need_db: float
    channel: str
    includes_margin_db: float
    bandwidth_hz: float
    evidence: Evidence


@dataclass(frozen=True)
class Window:
    """Levels that an outlet should keep within, and the guide that says so."""

    guide: str
    covers: str
    min_dbuv: float | None
    """None: no least level is known for the mode; the carrier-to-noise ratio decides alone."""
    max_dbuv: float
    evidence: Evidence


@dataclass(frozen=True)
class NoiseClass:
    """Noise of the surroundings: `Fa = c - d log10(f/MHz)` dB above 290 K within its span."""

    id: str
    c_db: float
    d_db: float
    min_hz: float
    max_hz: float
    evidence: Evidence


CONNECTORS = {"input": "input_connector", "output": "output_connector", "connector": "connector"}
"""Keys of a row that name connectors, and the fields of the records."""
GUIDE = "IEC/EN 60728-1"
"""Guide whose windows hold unless a file names another."""


@cache
def _rows(file: str, table: str) -> tuple[dict[str, Any], ...]:
    return tuple(document(f"reception/{file}.toml").get(table, ()))


def ids() -> tuple[str, ...]:
    """Ids of amplifiers and in-line parts."""
    return tuple(row["id"] for row in (*_rows("amplifiers", "amplifier"), *_rows("inline", "inline")))


def _made(record: Any, row: dict[str, Any], **known: Any) -> Any:
    """Record of a row: figures as floats, MHz as Hz, connectors and the limit read; what the row does not have is `known`."""
    values: dict[str, Any] = {
        "evidence": Evidence(row["evidence"], row["source"], row.get("note", "")),
        "limit": limit_of(row["reflection"]) if "reflection" in row else None,
    }
    for name, value in row.items():
        if name in CONNECTORS:
            values[CONNECTORS[name]] = connector_of(value)
        elif name.endswith("_mhz"):
            values[name.removesuffix("mhz") + "hz"] = value * 1e6
        elif name not in values:
            values[name] = float(value) if isinstance(value, int) else value
    values = known | values
    return record(**{each.name: values[each.name] for each in fields(record)})


@cache
def reception_part(name: str) -> Amplifier | Inline | None:
    """Amplifier or in-line part of an id; None where there is none."""
    for row in _rows("amplifiers", "amplifier"):
        if row["id"] == name:
            amplifier: Amplifier = _made(Amplifier, row, kind="amplifier", bypass_loss_db=0.0, slope_db_per_ghz=0.0)
            return amplifier
    for row in _rows("inline", "inline"):
        if row["id"] == name:
            hertz, losses = zip(*((mhz * 1e6, float(loss)) for mhz, loss in row["loss_mhz_db"]), strict=True)
            inline: Inline = _made(Inline, row, loss_hz=hertz, loss_db=losses)
            return inline
    return None


def rows_of(words: str = "", kind: str | None = None) -> tuple[dict[str, Any], ...]:
    """Rows of amplifiers, in-line parts, receivers and modes that all words fit; an exact id gives that one alone."""
    found = [
        *({**row, "kind": "amplifier"} for row in _rows("amplifiers", "amplifier")),
        *_rows("inline", "inline"),
        *({**row, "kind": "receiver"} for row in _rows("amplifiers", "receiver")),
        *(
            {**row, "kind": "mode", "name": f"needs {row['need_db']:g} dB, {row['channel']}"}
            for row in _rows("modes", "mode")
        ),
    ]
    found = [row for row in found if kind in (None, row["kind"])]
    wanted = words.casefold().strip()
    exact = [row for row in found if row["id"].casefold() == wanted]
    words_of_search = wanted_words(wanted)
    weighed = [(fit((row["kind"], row["id"], row["name"]), words_of_search), row) for row in found]
    fits = sorted(((weight, row) for weight, row in weighed if weight is not None), key=lambda each: each[0])
    return tuple(exact or (row for _, row in fits))


def receiver(name: str) -> Receiver:
    """Receiver of an id."""
    rows = {row["id"]: row for row in _rows("amplifiers", "receiver")}
    if name not in rows:
        raise LibraryError(f"there is no receiver '{name}'", tuple(rows))
    found: Receiver = _made(Receiver, rows[name])
    return found


def mode_names() -> tuple[str, ...]:
    """Names of all modes."""
    return tuple(row["id"] for row in _rows("modes", "mode"))


def mode(name: str) -> Mode:
    """Mode of a name, however its letters are cased."""
    rows = {row["id"].casefold(): row for row in _rows("modes", "mode")}
    wanted = " ".join(name.split()).casefold()
    kin = [row["id"] for key, row in rows.items() if key.startswith(f"{wanted} ")]
    if kin and wanted not in rows:
        usual = next((each for each in kin if each.endswith("256QAM 2/3")), kin[len(kin) // 2])
        remedy = f"write '{usual}' or another of its {len(kin)} modes ('chain parts {name}' lists them)"
        raise LibraryError(f"'{name}' is no mode by itself", help=remedy)
    same = [key for key in rows if _squeezed(key) == _squeezed(wanted)]
    if not same:
        own = _of_service(wanted)
        raise LibraryError(
            f"no figure is known for the mode '{name}'", near_names(name, own or mode_names(), least=0.3)
        )
    found: Mode = _made(Mode, rows[same[0]], includes_margin_db=0.0, bandwidth_hz=0.0)
    return found


def _squeezed(text: str) -> str:
    """A name without what people write or leave out: blanks, hyphens, capitals."""
    return re.sub(r"[\s_-]+", "", text.casefold())


def _of_service(text: str) -> list[str]:
    """Modes of the service that a text begins with, of several the longest: DVB-T2 goes before DVB-T."""
    services = {row["service"] for row in _rows("modes", "mode")}
    # The first word alone first: DVB-T 256QAM is no DVB-T2.
    first, said = _squeezed(text.split()[0] if text.split() else ""), _squeezed(text)
    # T2 and S2 are said for short; T, S and the like begin other words too.
    spoken = {
        each: (_squeezed(each), _squeezed(each).removeprefix("dvb") if each[-1:] == "2" else _squeezed(each))
        for each in services
    }
    exact = [each for each in sorted(services) if first in spoken[each]]
    begun = [each for each in sorted(services) if said.startswith(spoken[each])]
    meant = max(exact or begun, key=len, default="")
    return [row["id"] for row in _rows("modes", "mode") if row["service"] == meant]


def window(name: str, guide: str = "") -> Window | None:
    """Window of a mode by the guide named; else by IEC/EN 60728-1, or the first guide that covers the mode."""
    rows = [row for row in _rows("windows", "window") if f"{name} ".startswith(f"{row['covers']} ")]
    found = [row for row in rows if row["guide"] == (guide or GUIDE)] or ([] if guide else rows)
    if not found:
        return None
    longest: Window = _made(Window, max(found, key=lambda each: len(each["covers"])), min_dbuv=None)
    return longest


def guides() -> tuple[str, ...]:
    """Names of the guides that give windows."""
    return tuple(dict.fromkeys(row["guide"] for row in _rows("windows", "window")))


def noise_class(name: str) -> NoiseClass:
    """Noise environment of a name."""
    rows = {row["id"]: row for row in _rows("inline", "noise")}
    if (wanted := name.strip().casefold()) not in rows:
        raise LibraryError(f"there is no noise class '{name}'", near_names(name, rows) or tuple(rows))
    found: NoiseClass = _made(NoiseClass, rows[wanted])
    return found


def default(name: str) -> float:
    """Figure that stands in where a file states none; its unit is the end of its name."""
    for row in _rows("inline", "default"):
        if row["id"] == name:
            return float(row["value"])
    raise KeyError(name)
