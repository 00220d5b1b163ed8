"""Tables of an installation file beside its tree: the antenna, the signals, strong neighbours."""

from __future__ import annotations

import json
import re
from typing import Any

import numpy as np

from chain.errors import InputError, UnitError, plain, quoted
from chain.files.tables import Diagnostics, read_table
from chain.files.toml import Where, closest
from chain.reception.formulas import field_dbuv_per_m
from chain.reception.records import ANTENNA, AntennaMatch, Channel, Interferer, ReceivingAntenna, SignalSource
from chain.reception.schema import InterfererModel, ReceivingAntennaModel, SignalModel
from chain.units import parse_quantity
from library.channels import channels as raster_channels
from library.channels import occupied_hz, region_of
from library.errors import LibraryError
from library.files.store import read_plain
from library.reception import default, guides, mode, noise_class, window

TYPICAL_MATCH_DB = 9.5424
"""VSWR 2: what a receiving antenna of whose match nothing is known is taken for (limit of regulators for UHF)."""
OHM = 75.0
MOST_BYTES = 20_000_000
SOURCES = ("field", "level", "erp")
FAR_ENOUGH_M = 100.0


ONE_EACH = "a file for each, the combiner an item in both, the other's signals as [[interferer]]"


def read_antenna(raw: object, into: Diagnostics) -> ReceivingAntenna | None:
    """Read an installation's table `antenna`."""
    where: Where = ("antenna",)
    if isinstance(raw, list):
        if len(raw) > 1:
            into.defect((*where, 0), "two antennas in one tree are not computed", ONE_EACH, "header")
        else:
            into.defect((*where, 0), "the antenna is one table, not a list of them", "write [antenna]", "header")
        return None
    model = read_table(ReceivingAntennaModel, raw, where, into)
    noise, noise_k = _noise(model.noise, into)
    if model.gain_tolerance is None:
        into.assumed.append(f"antenna: gain_tolerance {default('antenna_gain_tolerance_db'):g} dB (evidence practice)")
    if model.dc not in (None, "open", "short"):
        into.defect((*where, "dc"), f"{quoted(model.dc)} says nothing of DC", closest(str(model.dc), ("open", "short")))
    match = antenna_match(model.match, model.match_kind, into)
    if model.gain is None or match is None:
        return None
    tolerance = default("antenna_gain_tolerance_db") if model.gain_tolerance is None else model.gain_tolerance
    return ReceivingAntenna(*model.gain, tolerance, match, noise, noise_k, model.connector, model.dc or "unknown")


def _noise(text: str | None, into: Diagnostics) -> tuple[str, float]:
    """Class of surroundings, or a temperature."""
    if text is None:
        into.assumed.append("antenna: noise of the surroundings residential below 250 MHz, 290 K above (not stated)")
        return "residential", 290.0
    if re.match(r"\s*[0-9]", text):
        try:
            return "", parse_quantity(text, "temperature") + 273.15
        except UnitError as error:
            into.defect(("antenna", "noise"), error.message, 'write it as in "residential" or "290 K"')
            return "", 290.0
    try:
        return noise_class(text).id, 290.0
    except LibraryError as error:
        into.defect(("antenna", "noise"), plain(error.message), f"one of: {', '.join(error.near)}, or '290 K'")
        return "", 290.0


def antenna_match(text: str | None, kind: str | None, into: Diagnostics) -> AntennaMatch | None:
    """What is known of the antenna's reflection: a limit, a sweep, or the JSON of a recovery."""
    where: Where = ("antenna", "match")
    if kind not in (None, "disc", "ring"):
        into.defect(("antenna", "match_kind"), f"{quoted(kind)} is no kind", closest(str(kind), ("disc", "ring")))
    if text is None:
        into.assumed.append("antenna: match VSWR 2.0 at worst (not stated)")
        return AntennaMatch("disc", (0.0,), (complex(10 ** (-TYPICAL_MATCH_DB / 20)),), (), "VSWR 2.0, assumed")
    if re.match(r"\s*(vswr|rl|return\s+loss)\b|\s*[-+0-9.]+\s*dB\s*$", text, re.IGNORECASE):
        try:
            if re.fullmatch(r"\s*vswr\s*1(\.0*)?\s*", text, re.IGNORECASE):
                return AntennaMatch("known", (0.0,), (0j,), (), "VSWR 1.0")
            loss_db = parse_quantity(text, "return_loss")
        except UnitError as error:
            into.defect(where, error.message, error.help)
            return None
        return AntennaMatch(kind or "disc", (0.0,), (complex(10 ** (-loss_db / 20)),), (), text.strip())
    path = into.folder / text
    try:
        there = path.is_file()
    except (OSError, ValueError):
        there = False
    if not there:
        into.defect(where, f"there is no file {quoted(text)}", 'name a sweep, or write a limit such as "VSWR 2.0"')
        return None
    return _recovered(path, text, into) if text.lower().endswith(".json") else _swept(path, text, into)


def _swept(path: Any, text: str, into: Diagnostics) -> AntennaMatch | None:
    from chain.sweeps.read import read_sweep

    try:
        found = read_sweep(str(path), plane_ohm=OHM)
    except InputError as error:
        into.elsewhere += error.defects
        return None
    into.assumed.append(f"antenna: {plain(text)} taken as the antenna itself, in 75 ohm ({found.interpretation})")
    values = found.magnitude if found.reflection is None else found.reflection
    kind = "ring" if found.reflection is None else "known"
    return AntennaMatch(kind, tuple(found.freq_hz.tolist()), tuple(complex(each) for each in values), (), plain(text))


def _recovered(path: Any, text: str, into: Diagnostics) -> AntennaMatch | None:
    """The JSON of `chain recover`: complex where it has a phase, else the true VSWR as a magnitude."""
    where: Where = ("antenna", "match")
    try:
        raw = read_plain(path, MOST_BYTES)
        if len(raw) > MOST_BYTES:
            raise ValueError
        found = json.loads(raw.decode("utf-8"))
        freq = [float(each) for each in found["freq_hz"]]
        ratios = [_magnitude(each) for each in found["true_vswr"]]
        high = [_magnitude(each) for each in found["high"]]
        true = found.get("true_reflection")
        values = [complex(*pair) for pair in true] if true else [complex(each) for each in ratios]
        if not freq or not len(freq) == len(values) == len(high):
            raise ValueError
    except (OSError, ValueError, KeyError, TypeError):
        into.defect(where, f"{quoted(text)} is not the JSON of a recovery", "make it with chain recover --json")
        return None
    kind = "known" if true else "ring"
    return AntennaMatch(kind, tuple(freq), tuple(values), tuple(high), plain(text))


def _magnitude(vswr: float | None) -> float:
    return 1.0 if vswr is None else (float(vswr) - 1) / (float(vswr) + 1)


def read_signals(
    rows: list[Any], places: list[str], into: Diagnostics
) -> tuple[tuple[SignalSource, ...], tuple[Channel, ...]]:
    """Read every `[[signal]]`: where its level comes from, and its channels."""
    sources: list[SignalSource] = []
    channels: list[Channel] = []
    for number, raw in enumerate(rows):
        where: Where = ("signal", number)
        model = read_table(SignalModel, raw, where, into)
        if not isinstance(raw, dict):
            continue
        source = _source(model, raw, where, places, into)
        found = _channels(model, raw, where, len(sources), into)
        if source and found:
            sources.append(source)
            channels += found
    taken: dict[float, str] = {}
    for channel in channels:
        if channel.centre_hz in taken:
            into.defect(("signal", channel.signal), f"channel {channel.name} is given twice", "name it once", "header")
        taken[channel.centre_hz] = channel.name
    channels.sort(key=lambda each: each.centre_hz)
    return tuple(sources), tuple(channels)


def _source(
    model: SignalModel, raw: dict[str, Any], where: Where, places: list[str], into: Diagnostics
) -> SignalSource | None:
    """Field, level or radiated power: exactly one of them."""
    given = [key for key in SOURCES if key in raw]
    if len(given) != 1:
        what = f"{given[0]} and {given[1]} cannot both be given" if given else "nothing says how strong this signal is"
        into.defect(where, what, 'give one: field = "60 dBuV/m", level = "52 dBuV at antenna", or erp', "header")
        return None
    measured = model.level is not None
    usual = default("level_spread_db" if measured else "field_spread_db")
    spread = usual if model.field_spread is None else model.field_spread
    if model.field_spread is None:
        name = "level" if measured else "field"
        into.assumed.append(f"signal {int(where[1]) + 1}: {name} spread {usual:g} dB, one standard deviation")
    if model.level:
        value, at = model.level
        if at != ANTENNA and at not in places:
            into.defect((*where, "level"), f"no outlet has the id {quoted(at)}", closest(at, [ANTENNA, *places]))
        return SignalSource("level", value, at, spread, f"measured at {plain(at)}")
    if model.field is not None:
        return SignalSource("field", model.field, ANTENNA, spread, "field as stated")
    if model.erp is None:
        return None
    if model.distance is None:
        if "distance" not in raw:
            into.defect(where, "distance is missing beside erp", 'add distance = "30 km"', "header")
        return None
    if model.distance < FAR_ENOUGH_M:
        into.defect((*where, "distance"), "the formula holds from 100 m on", "state a field or a level instead")
    field = field_dbuv_per_m(model.erp, model.distance, model.clutter or 0.0)
    less = f", less {model.clutter:g} dB of clutter" if model.clutter else ""
    words = f"in free space{less}: an upper limit"
    into.warnings.append(f"signal {int(where[1]) + 1}: {field:.1f} dBuV/m {words}; a measured level is worth more")
    return SignalSource("erp", field, ANTENNA, spread, words)


def _channels(model: SignalModel, raw: dict[str, Any], where: Where, signal: int, into: Diagnostics) -> list[Channel]:
    named = _named_channels(model, raw, where, into)
    if not named or (model.mode is None and "mode" in raw):
        return []
    service, need, included, own_bandwidth = "", model.need, 0.0, 0.0
    if model.mode is not None:
        try:
            found = mode(model.mode)
        except LibraryError as error:
            remedy = error.help or 'state need = "22 dB" and leave mode out'
            into.defect((*where, "mode"), plain(error.message), remedy)
            return []
        model.mode = found.id
        service, own_bandwidth, included = found.service, found.bandwidth_hz, found.includes_margin_db
        if need is None:
            need = found.need_db
            evidence = found.evidence.kind
            words = f"{found.id} needs {need:g} dB ({found.channel}, evidence {evidence})"
            into.assumed.append(f"signal {signal + 1}: {words}")
    if need is None:
        into.defect(where, "neither mode nor need is stated", 'add mode = "DVB-T2 256QAM 2/3"', "header")
        return []
    margin = _margin(model, included, signal, into)
    low, high = _window(model, where, signal, into)
    rows = []
    for name, first, last, fills in named:
        bandwidth = model.bandwidth or own_bandwidth or fills
        rows.append(Channel(name, first, last, bandwidth, model.mode or "", service, need, margin, low, high, signal))
    return rows


def _margin(model: SignalModel, included: float, signal: int, into: Diagnostics) -> float:
    if model.margin is not None:
        return model.margin
    usual = default("margin_db")
    if included >= usual:
        into.assumed.append(f"signal {signal + 1}: no reserve on top, {included:g} dB are inside the figure already")
        return 0.0
    into.assumed.append(f"signal {signal + 1}: margin {usual - included:g} dB asked for (evidence practice)")
    return usual - included


def _window(model: SignalModel, where: Where, signal: int, into: Diagnostics) -> tuple[float | None, float | None]:
    if model.window is not None:
        return model.window
    guide = model.guide or ""
    if guide and guide not in guides():
        into.defect((*where, "guide"), f"no guide is called {quoted(guide)}", closest(guide, guides()))
        return None, None
    found = window(model.mode or "", guide)
    if found is None:
        into.assumed.append(f"signal {signal + 1}: no level window is known")
        return None, None
    span = "at most" if found.min_dbuv is None else f"{found.min_dbuv:g} to"
    into.assumed.append(f"signal {signal + 1}: level {span} {found.max_dbuv:g} dBuV ({plain(found.guide)})")
    return found.min_dbuv, found.max_dbuv


def _named_channels(
    model: SignalModel, raw: dict[str, Any], where: Where, into: Diagnostics
) -> list[tuple[str, float, float, float]]:
    """Name, edges and occupied bandwidth of each channel [Hz]."""
    if "frequency" in raw:
        return _single(model, raw, where, into)
    for key, example in (("region", "europe"), ("channels", "21-30")):
        if key not in raw:
            into.defect(where, f"{key} is missing", f'add {key} = "{example}", or frequency = "98 MHz"', "header")
    if model.region is None or model.channels is None:
        return []
    try:
        region = region_of(model.region, into.parts)
        found = raster_channels(region, model.channels, into.parts)
    except LibraryError as error:
        spot = "region" if error.message.startswith("no region") else "channels"
        into.defect((*where, spot), plain(error.message), plain(error.help))
        return []
    return [(name, low, high, occupied_hz(region, low, high, into.parts)) for name, low, high in found]


def _single(
    model: SignalModel, raw: dict[str, Any], where: Where, into: Diagnostics
) -> list[tuple[str, float, float, float]]:
    """The one channel round a stated frequency."""
    if "channels" in raw or "region" in raw:
        into.defect((*where, "frequency"), "frequency and channels cannot both be given", "give one of them", "key")
    if model.frequency is None:
        return []
    width = model.bandwidth or 0.0
    if not width and model.mode:
        try:
            width = mode(model.mode).bandwidth_hz
        except LibraryError:
            width = 0.0
    if not width:
        width = 7.61e6
        into.assumed.append(f"signal {int(where[1]) + 1}: bandwidth {width / 1e6:g} MHz (not stated)")
    _fits_a_tree(where, model.frequency, width, into)
    half = width / 2
    return [(f"{model.frequency / 1e6:g}", model.frequency - half, model.frequency + half, width)]


def read_interferers(rows: list[Any], into: Diagnostics) -> tuple[Interferer, ...]:
    """Read every `[[interferer]]`."""
    found = []
    for number, raw in enumerate(rows):
        model = read_table(InterfererModel, raw, ("interferer", number), into)
        if model.frequency is None or model.level is None:
            continue
        width_hz = model.bandwidth or min(10e6, 2 * model.frequency)
        if _fits_a_tree(("interferer", number), model.frequency, width_hz, into):
            found.append(Interferer(model.frequency, model.level, width_hz))
    return tuple(found)


MOST_HZ = 10e9
"""Highest frequency of anything in a tree: three times what its parts are described to."""


def _fits_a_tree(where: Where, freq_hz: float, width_hz: float, into: Diagnostics) -> bool:
    """See that what a signal fills lies between zero and the highest frequency."""
    key = "bandwidth" if freq_hz <= MOST_HZ else "frequency"
    if width_hz > 2 * freq_hz:
        into.defect(
            (*where, key),
            f"around {freq_hz / 1e6:g} MHz there is no room for {width_hz / 1e6:g} MHz",
            "state its middle and its whole width",
        )
    elif freq_hz + width_hz / 2 > MOST_HZ:
        # The products of amplifiers are found over all that is filled, in even steps.
        what = f"it reaches {(freq_hz + width_hz / 2) / 1e9:g} GHz, and nothing in a tree of parts goes beyond {MOST_HZ / 1e9:g} GHz"
        into.defect((*where, key), what, "leave out what no part passes on")
    else:
        return True
    return False


MOST_REFLECTED = 0.9999
"""Nothing is available from a full reflection: of an antenna 37 dB less than of a matched one at the least."""


def reflection_at(match: AntennaMatch, freq_hz: Any) -> tuple[Any, Any]:
    """Reflection and its upper magnitude at frequencies, below a full one; the end values hold outside the span."""
    values = np.array(match.reflection)
    real = np.interp(freq_hz, match.freq_hz, values.real)
    found = real + 1j * np.interp(freq_hz, match.freq_hz, values.imag)
    size = np.abs(found)
    high = np.maximum(np.interp(freq_hz, match.freq_hz, match.high), size) if match.high else size
    # The sweep of an antenna off its band may reach one, and by its noise pass it.
    return found * (MOST_REFLECTED / np.maximum(size, MOST_REFLECTED)), np.minimum(high, MOST_REFLECTED)
