"""An installation file for what a user has stated: band and region, how many outlets; an amplifier is left to 'chain outlets --place'."""

from __future__ import annotations

from chain.errors import RangeError, quoted
from chain.files.new_setup import (
    AND,
    BANDS,
    EUROPE,
    LEADS,
    TITLES,
    USED_NAMES,
    Wish,
    channel_list,
    end_of,
    length_of,
    rasters_of,
    span_of,
)
from chain.units import format_quantity
from library.formulas import span_hz
from library.load import load_library

USUAL_OUTLETS, MOST_OUTLETS = 2, 16
MOST_WAYS = 4
"""The largest splitter of the library that is usual in a house has four ways: behind two of them in line are sixteen outlets."""
MODES = {
    "DVB-T2": "DVB-T2 256QAM 2/3",
    "DVB-T": "DVB-T 64QAM 2/3",
    "ATSC": "ATSC 1.0",
    "DAB": "DAB",
    "FM radio": "FM stereo",
}
"""Mode of a service, as one of the raster's may be; of others a need is stated."""
GAIN_DBI = {"uhf-tv": 10, "vhf-tv": 7, "low-tv": 4, "fm": 4, "dab": 4}
"""Gain of a usual aerial for a band (practice)."""
FIELD_DBUV = 60
"""A field that most services count as good reception (practice): the file says that it is to be replaced."""
FM_MHZ = 98
LENGTH = "12 m"
"""Downlead where none is stated."""
BETWEEN = "5 m"
"""Lead between two splitters in line."""


def new_installation_text(wish: Wish, count: int) -> str:
    """Installation file: an antenna, one signal, a downlead, a splitter where there are several outlets, the outlets."""
    if not 1 <= count <= MOST_OUTLETS:
        raise RangeError(
            f"--outlets {count}: from 1 to {MOST_OUTLETS} are written",
            f"write --outlets {MOST_OUTLETS if count > MOST_OUTLETS else 1}",
        )
    library = load_library()
    far = end_of(wish.far, 75, "--far", library)
    if library.family(far.family).impedance_ohm != 75:
        raise RangeError(f"--far {quoted(wish.far)} is no 75-ohm connector", "write --far F or --far IEC")
    length_m = length_of(wish.length)
    band = USED_NAMES.get(wish.purpose.casefold().strip(), wish.purpose.casefold().strip())
    first = USED_NAMES.get(AND.split(band)[0], AND.split(band)[0])
    if first != band and first in BANDS:
        remedy = f"write --for {first}; the other band is one more [[signal]] in the file"
        raise RangeError(f"--for {quoted(wish.purpose)}: an installation begins with one band", remedy)
    if band not in BANDS:
        listed = " or ".join(f"--for {name}" for name in BANDS)
        raise RangeError(f"--for {quoted(wish.purpose)}: an installation begins with one band", f"write {listed}")
    title, signal = _signal(band, wish)
    plug = f"{far.family} {'jack' if far.gender == 'plug' else 'plug'}"
    parts = [
        HEAD,
        f'title = "{title}, {count} outlet{"s" if count > 1 else ""}"\n',
        f'[antenna]\ngain = "{GAIN_DBI[band]} dBi"             # its catalogue says; "dBd" is taken too\n'
        f'match = "VSWR 2.0"           # or the JSON of \'chain recover\', which does better\nconnector = "{far}"\n',
        signal,
        _item("downlead", _cable(band, wish), "antenna", length=format_quantity(length_m, "length"), near=plug),
    ]
    items, outputs = _split(count, _cable(band, wish))
    parts += items
    for number, after in enumerate(outputs, 1):
        lines = [
            "[[outlet]]",
            f'id = "outlet{number}"',
            f'after = "{after}"',
            f'receiver = "{RECEIVERS.get(band, "tv")}"',
        ]
        parts.append("\n".join([*lines, ""]))
    return "\n".join([*parts, TAIL])


def _split(count: int, cable: str) -> tuple[list[str], list[str]]:
    """Splitters for so many outlets, two in line where one has too few ways, and the output for each outlet."""
    if count == 1:
        return [], ["downlead"]
    if count <= MOST_WAYS:
        return [_item("splitter", f"splitter-{count}", "downlead")], [
            f"splitter.out{way}" for way in range(1, count + 1)
        ]
    first = -(-count // MOST_WAYS)
    items = [_item("splitter", f"splitter-{first}", "downlead")]
    outputs: list[str] = []
    for way in range(1, first + 1):
        ways = (count - len(outputs)) // (first - way + 1)
        name = f"splitter{way}"
        items.append(_item(f"lead{way}", cable, f"splitter.out{way}", length=BETWEEN))
        items.append(_item(name, f"splitter-{ways}", f"lead{way}"))
        outputs += [f"{name}.out{each}" for each in range(1, ways + 1)]
    return items, outputs


RECEIVERS = {"fm": "radio", "dab": "radio"}


def _item(name: str, part: str, after: str, **more: str) -> str:
    lines = [
        f'id = "{name}"',
        f'part = "{part}"',
        f'after = "{after}"',
        *(f'{key} = "{text}"' for key, text in more.items()),
    ]
    return "\n".join(["[[item]]", *lines, ""])


def _cable(band: str, wish: Wish) -> str:
    """The first usual cable whose loss is known over the band."""
    library = load_library()
    low_hz, top_hz = span_of(rasters_of(band, wish, library))
    spans = {name: span_hz(library.part(name)) for name in LEADS}
    return next((name for name, (low, top) in spans.items() if low <= low_hz and top_hz <= top), LEADS[-1])


def _signal(band: str, wish: Wish) -> tuple[str, str]:
    rasters = rasters_of(band, wish, load_library())
    service = rasters[0].service
    mode = next((text for name, text in MODES.items() if name in service), "")
    where = (
        [f'frequency = "{FM_MHZ} MHz"         # the station that matters; another [[signal]] for each of the others']
        if band == "fm"
        else [
            f'region = "{rasters[0].region}"',
            f'channels = "{",".join(map(channel_list, rasters))}"          # only those that your transmitter sends',
        ]
    )
    need = (
        f"mode = \"{mode}\"    # 'chain parts {mode.split()[0]}' lists the others"
        if mode
        else 'need = "20 dB"               # least carrier-to-noise ratio of the service'
    )
    lines = [
        "[[signal]]",
        *where,
        need,
        f'field = "{FIELD_DBUV} dBuV/m"        # made up: write what a map of the regulator says, or',
        '# level = "65 dBuV at antenna" # what a level meter shows at the antenna\'s socket, in its place',
        "",
    ]
    return (
        f"{TITLES[band]}, {rasters[0].region.replace('-', ' ').capitalize() if wish.region != EUROPE else 'Europe'}",
        "\n".join(lines),
    )


HEAD = """\
#:schema ./installation.schema.json
# Written by 'chain new --outlets'. Change what is different in your house, then: 'chain check' and 'chain outlets' this file.
# A tree: each item says what it follows. Quantities are texts with a unit: "12 m", "60 dBuV/m", "18 dB".
#
# Before anything is joined: unplug supplies, meter the lead for DC, stay away from power lines, and off masts and roofs
# without the training and the permission that your local rules ask for.
"""
TAIL = """\
# An amplifier on the mast, with the short leads that join jack to jack, and its supply indoors: 'chain outlets FILE --place' says
# where one helps, 'chain parts amplifier' lists kinds. Write after = "mast" in the downlead, and after = "patch" in what follows it.
# [[item]]
# id = "tail"
# part = "rg6"
# after = "antenna"
# length = "0.5 m"
# [[item]]
# id = "mast"
# part = "masthead-amplifier"
# after = "tail"
# [[item]]
# id = "injector"
# part = "power-injector"
# after = "downlead"
# supply = "12 V"
# [[item]]
# id = "patch"
# part = "rg6"
# after = "injector"
# length = "0.5 m"
"""
