"""A set-up file for what a user has stated: band and region, both connectors, what the screen shows; its parts are found."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from chain.errors import RangeError, UnitError, quoted
from chain.files.quantities import read_shows
from chain.files.tables import Refused
from chain.units import format_quantity, parse_quantity
from library.channels import edges_mhz, region_of
from library.errors import LibraryError, near_names
from library.formulas import span_hz
from library.load import load_library
from library.mating import VERDICTS, bridging_adapters, f_plug_variant, mate, parse_connector
from library.parts import Library
from library.records import Adapter, Coax, Connector, Pad, Raster

BANDS = {"uhf-tv": "UHF", "vhf-tv": "VHF III", "low-tv": "VHF low", "fm": "FM", "dab": "DAB"}
"""What an antenna may be for, and the band of the rasters that is meant."""
USED_NAMES = {"tv": "uhf-tv", "uhf": "uhf-tv", "vhf": "vhf-tv", "radio": "fm", "dvb-t": "uhf-tv", "dvb-t2": "uhf-tv"}
AND = re.compile(r"\s*(?:[,+&/]|\band\b|\bund\b)\s*", re.IGNORECASE)
"""What stands between two bands."""
SPAN = re.compile(r"[0-9.]+\s*(?:[kMG]?Hz)?\s*(?:-|\u2013|to\b)", re.IGNORECASE)
"""How a span of frequencies begins."""
EUROPE = "europe"
PADS = (
    "min-loss-pad-n-f",
    "min-loss-pad-bnc-f",
    "min-loss-pad-bnc-plug-f",
    "min-loss-pad-sma-f",
    "min-loss-pad-n-bnc",
    "min-loss-pad",
    "min-loss-pad-sma-bnc",
    "min-loss-pad-n",
)
"""Pads to choose from, in the order in which they are easy to buy."""
LEADS = ("rg6", "series6", "rg59")
TRANSFORMER = "balun-300-75"
SOUND = VERDICTS.index("costed")
Row = dict[str, str | bool]


@dataclass(frozen=True)
class Wish:
    """What is stated, as it was typed; what is left out is usual, and the file says so."""

    purpose: str = "uhf-tv"
    region: str = EUROPE
    near: str = "N-50 jack"
    far: str = "F-75 jack"
    shows: str = "complex"
    analyzer: str = "handheld"
    limit: str = "VSWR 2.0"
    length: str = "1 m"


def new_setup_text(wish: Wish) -> str:
    """Set-up file for what is stated, with parts of the library that fit together."""
    library = load_library()
    near, far = end_of(wish.near, 50, "--near", library), end_of(wish.far, 75, "--far", library)
    title, sweep, top_hz, low_hz = _sweep(wish, library)
    try:
        parse_quantity(wish.limit, "vswr")
    except UnitError as error:
        raise UnitError(f"--limit: {error.message}", error.help) from None
    shows = _shown(wish.shows)
    length_m = length_of(wish.length)
    feed = library.family(far.family).impedance_ohm == 300
    antenna = Connector("F-75", "jack") if feed else far
    ohm = 75.0 if library.family(near.family).impedance_ohm == 75 else 50.0
    rows, last = _to_pad(near, top_hz, library) if ohm == 50 else ([], near)
    rows.append(_lead(last, antenna, format_quantity(length_m, "length"), (low_hz, top_hz), library))
    reported = [
        HEAD,
        f'title = "{title}"\n',
        sweep,
        _near(near, ohm, replace(wish, shows=shows)),
        "# Everything between the analyzer and the antenna, in order: parts of the library that fit together. Name what you\n"
        "# have instead: 'chain parts min-loss', 'chain parts adapter N-50' list what there is.\n",
        *(_table(row) for row in rows),
        _far(antenna, wish, feed),
        FEED if feed else "",
        CALIBRATION,
    ]
    return "\n".join(part for part in reported if part)


def length_of(text: str) -> float:
    """Length of a lead [m]; a decimal comma is taken."""
    length_m = parse_quantity(re.sub(r"(?<=[0-9]),(?=[0-9])", ".", text), "length")
    if not length_m:
        raise RangeError("a lead needs a length above zero", "write it as in --length '1 m'")
    return length_m


def _shown(text: str) -> str:
    try:
        return read_shows(text)
    except Refused as error:
        raise UnitError(f"--shows: {error.what}", error.remedy) from None


def end_of(text: str, ohm: int, option: str, library: Library) -> Connector:
    """Connector of an end; a jack of the end's own impedance where the text leaves that open."""
    try:
        return parse_connector(text, library)
    except LibraryError as error:
        near = [each for each in error.near if each.split()[0].endswith(f"-{ohm}")] or list(error.near)
        if {each.rpartition(" ")[2] for each in near} == {"plug", "jack"}:
            near = [each for each in near if each.endswith("jack")]
        # A gender that is left out is filled in; an impedance that no such connector has is asked back.
        asked = ("no connector family", "no gender", "there is none of")
        if len(near) == 1 and not any(each in error.message for each in asked):
            return parse_connector(near[0], library)
        usual = ("N-50", "BNC-50", "SMA-50") if ohm == 50 else ("F", "IEC", "BNC-75", "screw-300")
        listed = " or ".join(f"'{option} {each}'" for each in usual)
        raise UnitError(f"{option}: {error.message}", error.help or f"write {listed}, or another family") from None


def _sweep(wish: Wish, library: Library) -> tuple[str, str, float, float]:
    """Title, table of the sweep, and its highest and lowest frequency."""
    texts = [each for each in AND.split(wish.purpose.strip()) if each]
    bands = list(dict.fromkeys(USED_NAMES.get(each.casefold(), each) for each in texts))
    bands = [each.casefold() if each.casefold() in BANDS else each for each in bands]
    if len(bands) > 1 and all(each in BANDS or SPAN.match(each) for each in bands):
        _refuse_apart([each for each in bands if each not in BANDS or each == "fm"], bands)
    if not bands or not set(bands) <= set(BANDS):
        return _span(wish.purpose)
    rasters = [raster for band in bands for raster in rasters_of(band, wish, library)]
    low_hz, top_hz = span_of(rasters)
    title = f"{' and '.join(TITLES[band] for band in bands)}, {rasters[0].region.replace('-', ' ').capitalize()}"
    if bands == ["fm"]:
        return title, _start_stop(low_hz, top_hz), top_hz, low_hz
    _refuse_apart([bands[-1]] if len({raster.region for raster in rasters}) > 1 else [], bands)
    lists = ",".join(
        channel_list(raster) for raster in sorted(rasters, key=lambda each: edges_mhz(each, _names(each)[0]))
    )
    lines = [
        ("[sweep]", ""),
        (f'region = "{rasters[0].region}"', "" if wish.region != EUROPE else "whose channels: us, japan and others"),
        (f'channels = "{lists}"', "or only those that you receive"),
    ]
    return title, _remarked(lines), top_hz, low_hz


def _refuse_apart(apart: Sequence[str], bands: Sequence[str]) -> None:
    """Refuse bands that one file cannot hold: its channels are of one region, and a span of frequencies is a single one."""
    if apart:
        files = " and ".join(f"--for {quoted(each) if ' ' in each else each}" for each in bands)
        message = (
            f"--for {quoted(apart[0])} has no channels of the same region: it cannot share a file with another band"
        )
        raise RangeError(message, f"write one file for each: {files}")


def span_of(rasters: Sequence[Raster]) -> tuple[float, float]:
    """Lowest and highest edge of the channels of some rasters [Hz]."""
    edges = [edge for raster in rasters for name in _names(raster) for edge in edges_mhz(raster, name)]
    return float(min(edges)) * 1e6, float(max(edges)) * 1e6


def rasters_of(band: str, wish: Wish, library: Library) -> list[Raster]:
    """Channels of a band in the region asked for; of FM and DAB those of another where it has none."""
    region = region_of(wish.region, library)
    found = [each for each in library.rasters if each.band == BANDS[band] and each.region == region]
    if not found and band in ("fm", "dab"):
        found = [each for each in library.rasters if each.band == BANDS[band]][-1:]
    if not found:
        there = [
            name for name, own in BANDS.items() if any(r.band == own and r.region == region for r in library.rasters)
        ]
        other = " or ".join(f"'--for {name}'" for name in there)
        raise RangeError(f"no channels of {band} are known for {region}", f"write {other}" if other else "")
    return found


def _names(raster: Raster) -> list[str]:
    numbers = [str(number) for number in range(raster.first, raster.last + 1) if number not in raster.omit]
    return numbers or [name for name, _ in raster.extra]


def channel_list(raster: Raster) -> str:
    """Channels of a raster as a file names them."""
    names = [name for name, _ in raster.extra]
    numbers = [str(number) for number in range(raster.first, raster.last + 1) if number not in raster.omit]
    runs = [f"{numbers[0]}-{numbers[-1]}"] if numbers and not raster.omit else numbers
    return ",".join([*runs, *([f"{names[0]}-{names[-1]}"] if len(names) > 1 and not numbers else names)])


def _span(text: str) -> tuple[str, str, float, float]:
    """Sweep between two frequencies that stand for a band."""
    ends = text.replace("\u2013", "-").split(" to ") if " to " in text else text.split("-")
    try:
        if len(ends) != len(("low", "top")):
            raise UnitError("")
        top_hz = parse_quantity(ends[1], "frequency")
        unit = ends[1].strip().lstrip("0123456789., ")
        low_hz = parse_quantity(ends[0] if ends[0].strip()[-1:].isalpha() else f"{ends[0]} {unit}", "frequency")
    except UnitError:
        remedy = _band_meant(text)
        raise UnitError(f"--for {quoted(text)} is neither a band nor a span of frequencies", remedy) from None
    if low_hz >= top_hz:
        raise RangeError(f"--for {quoted(text)}: the span does not rise", "put the lower frequency first")
    span = f"{format_quantity(low_hz, 'frequency')} to {format_quantity(top_hz, 'frequency')}"
    return f"Antenna for {span}", _start_stop(low_hz, top_hz), top_hz, low_hz


def _band_meant(text: str) -> str:
    """What to write for a band that is not understood: two ends for one frequency, the band of channels, the nearest name."""
    try:
        at_hz = parse_quantity(text, "frequency")
        return f"write its ends, such as '{_shown_span(at_hz * 0.98, at_hz * 1.02)}'"
    except UnitError:
        pass
    bare = re.fullmatch(r"([0-9.]+)\s*(?:-|\u2013|to)\s*([0-9.]+)|([0-9.]+)", text.strip())
    if bare:
        return _band_meant(f"{bare[3]} MHz") if bare[3] else f"write '{bare[1]} MHz to {bare[2]} MHz' if that is meant"
    if text.casefold().startswith(("ch", "kanal")):
        return "write the band here, such as 'uhf-tv', and its channels into the file"
    near = near_names(text, (*BANDS, *USED_NAMES), 1)
    return (
        f"did you mean '{near[0]}'?"
        if near
        else f"write one of {', '.join(map(quoted, BANDS))}, or '88 MHz to 108 MHz'"
    )


def _shown_span(low_hz: float, top_hz: float) -> str:
    return " to ".join(format_quantity(float(f"{each:.4g}"), "frequency") for each in (low_hz, top_hz))


def _start_stop(low_hz: float, top_hz: float) -> str:
    start, stop = (format_quantity(each, "frequency") for each in (low_hz, top_hz))
    return f'[sweep]\nstart = "{start}"\nstop = "{stop}"\n'


def _to_pad(near: Connector, top_hz: float, library: Library) -> tuple[list[Row], Connector]:
    """Adapters, if any, and the pad; the connector behind them."""
    chains = list(_chains(near, library))
    if not chains:
        raise RangeError(
            f"no adapter is known from {near} to a matching pad", "'chain parts adapter' lists what there is"
        )
    reach = {(key, last): _reach_hz(rows, library) for key, rows, last in chains}
    wide = [each for each in chains if reach[each[0], each[2]] >= top_hz]
    if not wide:
        most = format_quantity(max(reach.values()), "frequency")
        raise RangeError(
            f"adapters from {near} to a matching pad are described up to {most}",
            "take another connector, such as --near N-50",
        )
    _, rows, last = min(wide, key=lambda each: each[0])
    return rows, last


def _reach_hz(rows: Sequence[Row], library: Library) -> float:
    return min(span_hz(library.part(str(row["part"])))[1] for row in rows)


def _chains(near: Connector, library: Library) -> Iterator[tuple[tuple[int, int], list[Row], Connector]]:
    for place, name in enumerate(PADS):
        pad = library.part(name)
        assert isinstance(pad, Pad)
        direct = _joins(near, pad.near_connector, library)
        for way in [""] if direct else bridging_adapters(near, pad.near_connector, library)[:1]:
            rows: list[Row] = []
            end = near
            for each in filter(None, way.split(" + ")):
                adapter = library.part(each)
                assert isinstance(adapter, Adapter)
                ends = adapter.near_connector, adapter.far_connector
                turned = not _joins(end, ends[0], library)
                rows.append({"id": f"adapter{len(rows) + 1 if rows else ''}", "part": each, "reversed": turned})
                end = ends[0] if turned else ends[1]
            yield (len(rows), place), [*rows, {"id": "pad", "part": name}], pad.far_connector


def _joins(one: Connector, other: Connector, library: Library) -> bool:
    return VERDICTS.index(mate(one, other, library).verdict) <= SOUND


def _lead(near: Connector, far: Connector, length: str, span: tuple[float, float], library: Library) -> Row:
    ends = [Connector(each.family, "jack" if each.gender == "plug" else "plug") for each in (near, far)]
    low_hz, top_hz = span
    for name in LEADS:
        part = library.part(name)
        assert isinstance(part, Coax)
        holds = span_hz(part)[0] <= low_hz and top_hz <= span_hz(part)[1]
        held = not f_plug_variant(part) or all(str(each) != "F-75 plug" for each in ends)
        if holds and (held or name == LEADS[-1]):
            return {"id": "lead", "part": name, "length": length, "near": str(ends[0]), "far": str(ends[1])}
    part = library.part(LEADS[-1])
    spans = " to ".join(format_quantity(each, "frequency") for each in span_hz(part))
    raise RangeError("no lead of the library is described for all of that span", f"the widest holds for {spans}")


def _table(row: Row) -> str:
    lines = [f'{key} = "{value}"' for key, value in row.items() if isinstance(value, str)]
    lines += [f"{key} = true" for key, value in row.items() if value is True]
    return "\n".join(["[[chain]]", *lines, ""])


def _near(near: Connector, ohm: float, wish: Wish) -> str:
    lines = [
        ("[near]", ""),
        (f'connector = "{near}"', _gender_note(wish.near, near)),
        (f'impedance = "{ohm:g} ohm"', ""),
        (f'analyzer = "{wish.analyzer}"', 'or "bench": what is not stated here is typical of its class'),
        (f'shows = "{wish.shows}"', '"vswr", "return loss" or "complex": what its screen or file gives'),
        ('# directivity = "40 dB"', "what its own data sheet says; also source_match, tracking, trace_noise"),
        ('# max_power = "20 dBm"', 'and max_dc = "0 V": the most that its port may get'),
    ]
    return _remarked(lines)


def _remarked(lines: Sequence[tuple[str, str]]) -> str:
    """Lines with their remarks in one column."""
    return "\n".join([*(f"{line:28} # {remark}" if remark else line for line, remark in lines), ""])


def _gender_note(reported: str, connector: Connector) -> str:
    words = set(reported.casefold().replace("-", " ").split())
    stated = words & {"plug", "jack", "male", "female", "socket", "m", "pl", "so"}
    return "" if stated else f'taken as a jack; write "{connector.family} plug" if it has the pin'


def _far(antenna: Connector, wish: Wish, feed: bool) -> str:
    of = " of the transformer's box" if feed else ""
    lines = [
        ("[far]", f"the antenna's own connector{of}, and the limit that you judge it by"),
        (f'connector = "{antenna}"', "" if feed else _gender_note(wish.far, antenna)),
        ('impedance = "75 ohm"', ""),
        (f'limit = "{wish.limit}"', ""),
        ('# dc_feed = "0 V"', "volts that may come down the lead: meter it before you connect"),
    ]
    return _remarked(lines)


TITLES = {
    "uhf-tv": "UHF television aerial",
    "vhf-tv": "VHF television aerial",
    "low-tv": "Low-band television aerial",
    "fm": "FM aerial",
    "dab": "DAB aerial",
}
HEAD = """\
#:schema ./setup.schema.json
# Written by 'chain new'. Change what is different on your bench, then: 'chain check' this file.
# Quantities are texts with a unit: "0.6 m", "174 MHz", "26 dB", "75 ohm", "VSWR 2.0".
#
# Before anything is joined: make sure that no DC and no static charge can come down the lead (a powered masthead
# amplifier, an aerial that is not earthed), work away from power lines, and stay off masts and roofs without the
# training and the permission that your local rules ask for.
"""
FEED = f"""\
[antenna]

[[antenna.feed]]             # the 300-to-75-ohm transformer belongs to the antenna: it is judged with it
id = "transformer"
part = "{TRANSFORMER}"
"""
CALIBRATION = """\
[calibration]
# Where the analyzer was calibrated: at its own port ("near"), or behind an item, named by its id.
plane = "near"
# load = "32 dB"             # return loss of the load used, if you know it
"""


def starter_text() -> str:
    """Give a commented set-up file that loads as it stands."""
    from importlib.resources import files

    return files("chain.files").joinpath("schemas", "starter.toml").read_text(encoding="utf-8")
