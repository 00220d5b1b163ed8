"""Facts for the way from the antenna to the outlets: amplifiers, receivers, in-line parts, modes, level windows, noise.

The files lie in `library/data/reception/`; every row says where its figures come from.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from library.errors import LibraryError, near_names
from library.files.rows import connector_of, limit_of
from library.files.store import document
from library.frozen import dataclass
from library.records import Connector, Evidence, Limit
from library.search import fit, wanted_words

__all__ = [
    "Amplifier",
    "Inline",
    "Mode",
    "NoiseClass",
    "Receiver",
    "Window",
    "default",
    "guides",
    "ids",
    "mode",
    "mode_names",
    "noise_class",
    "receiver",
    "reception_part",
    "rows_of",
    "window",
]


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


GUIDE = "IEC/EN 60728-1"
"""Guide whose windows hold unless a file names another."""


@cache
def _rows(file: str, table: str) -> tuple[dict[str, Any], ...]:
    return tuple(document(f"reception/{file}.toml").get(table, ()))


def _evidence(row: dict[str, Any]) -> Evidence:
    return Evidence(row["evidence"], row["source"], row.get("note", ""))


def ids() -> tuple[str, ...]:
    """Ids of amplifiers and in-line parts."""
    return tuple(row["id"] for row in (*_rows("amplifiers", "amplifier"), *_rows("inline", "inline")))


@cache
def reception_part(name: str) -> Amplifier | Inline | None:
    """Amplifier or in-line part of an id; None where there is none."""
    for row in _rows("amplifiers", "amplifier"):
        if row["id"] == name:
            return _amplifier(row)
    for row in _rows("inline", "inline"):
        if row["id"] == name:
            return _inline(row)
    return None


def _limit(row: dict[str, Any]) -> Limit | None:
    return limit_of(row["reflection"]) if "reflection" in row else None


def _amplifier(row: dict[str, Any]) -> Amplifier:
    return Amplifier(
        row["id"],
        row["name"],
        connector_of(row["input"]),
        connector_of(row["output"]),
        float(row["gain_db"]),
        float(row["gain_from_db"]),
        float(row["gain_to_db"]),
        float(row["gain_tolerance_db"]),
        float(row["noise_figure_db"]),
        float(row["noise_figure_tolerance_db"]),
        float(row["max_output_dbuv"]),
        float(row["intermodulation_db"]),
        float(row["isolation_db"]),
        _limit(row),
        float(row["power_v"]),
        float(row["current_ma"]),
        float(row.get("bypass_loss_db", 0.0)),
        row["min_mhz"] * 1e6,
        row["max_mhz"] * 1e6,
        _evidence(row),
    )


def _inline(row: dict[str, Any]) -> Inline:
    return Inline(
        row["id"],
        row["name"],
        row["kind"],
        connector_of(row["input"]),
        connector_of(row["output"]),
        tuple(mhz * 1e6 for mhz, _ in row["loss_mhz_db"]),
        tuple(float(loss) for _, loss in row["loss_mhz_db"]),
        float(row["loss_tolerance_db"]),
        _limit(row),
        row["dc"],
        row["min_mhz"] * 1e6,
        row["max_mhz"] * 1e6,
        _evidence(row),
    )


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
    rows = _rows("amplifiers", "receiver")
    for row in rows:
        if row["id"] == name:
            return Receiver(
                row["id"],
                row["name"],
                float(row["noise_figure_db"]),
                float(row["noise_figure_tolerance_db"]),
                float(row["overload_dbm"]),
                _limit(row),
                connector_of(row["connector"]),
                _evidence(row),
            )
    raise LibraryError(f"there is no receiver '{name}'", tuple(row["id"] for row in rows))


def mode_names() -> tuple[str, ...]:
    """Names of all modes."""
    return tuple(row["id"] for row in _rows("modes", "mode"))


def mode(name: str) -> Mode:
    """Mode of a name, however its letters are cased."""
    wanted = " ".join(name.split()).casefold()
    for row in _rows("modes", "mode"):
        if row["id"].casefold() == wanted:
            return Mode(
                row["id"],
                row["service"],
                float(row["need_db"]),
                row["channel"],
                float(row.get("includes_margin_db", 0.0)),
                row.get("bandwidth_mhz", 0.0) * 1e6,
                _evidence(row),
            )
    raise LibraryError(f"no figure is known for the mode '{name}'", near_names(name, mode_names()))


def window(name: str, guide: str = "") -> Window | None:
    """Window of a mode by the guide named; else by IEC/EN 60728-1, or the first guide that covers the mode."""
    rows = [row for row in _rows("windows", "window") if f"{name} ".startswith(f"{row['covers']} ")]
    found = [row for row in rows if row["guide"] == (guide or GUIDE)] or ([] if guide else rows)
    if not found:
        return None
    row = max(found, key=lambda each: len(each["covers"]))
    least = float(row["min_dbuv"]) if "min_dbuv" in row else None
    return Window(row["guide"], row["covers"], least, float(row["max_dbuv"]), _evidence(row))


def guides() -> tuple[str, ...]:
    """Names of the guides that give windows."""
    return tuple(dict.fromkeys(row["guide"] for row in _rows("windows", "window")))


def noise_class(name: str) -> NoiseClass:
    """Noise environment of a name."""
    rows = _rows("inline", "noise")
    for row in rows:
        if row["id"] == name.strip().casefold():
            span = row["min_mhz"] * 1e6, row["max_mhz"] * 1e6
            return NoiseClass(row["id"], float(row["c_db"]), float(row["d_db"]), *span, _evidence(row))
    known = tuple(row["id"] for row in rows)
    raise LibraryError(f"there is no noise class '{name}'", near_names(name, known) or known)


def default(name: str) -> float:
    """Figure that stands in where a file states none; its unit is the end of its name."""
    for row in _rows("inline", "default"):
        if row["id"] == name:
            return float(row["value"])
    raise KeyError(name)
