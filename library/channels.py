"""Channel rasters: from a region and a list of channels to their edges, computed in exact fractions."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from fractions import Fraction
from functools import cache

from library.errors import LibraryError, near_names
from library.parts import Library, built_in
from library.records import Raster
from library.words import everyday, plainly

Named = tuple[str, Fraction, Fraction]

APART = ("FM", "DAB")
"""Bands whose channels are never meant by a range of television channels."""
LISTED = re.compile(r"[0-9]+[A-Z]?(?:\s*-\s*[0-9]+[A-Z]?)?", re.IGNORECASE)
"""Channels and runs of them in a list, whatever stands between."""
SHORTEST = 2
"""Letters of a country's code, which a slip of the pen is never taken for."""
LIKE = 0.75
"""Likeness from which on a region may be meant: Russia is not a slip for Austria."""


@cache
def _exact(text: str) -> Fraction:
    """A decimal number of a raster, of which there are few: reading one costs more than all that is done with it."""
    return Fraction(text)


def centre_mhz(raster: Raster, channel: str) -> Fraction:
    """Give the centre of a signal in a channel [MHz] (a + b*N + c of `library/data/rasters.toml`)."""
    for name, centre in raster.extra:
        if name == channel:
            return Fraction(centre)
    return _exact(raster.a) + _exact(raster.b) * int(channel) + _exact(raster.c)


def edges_mhz(raster: Raster, channel: str) -> tuple[Fraction, Fraction]:
    """Give the edges of a channel [MHz].

    Source: Half the channel width either side of the channel's middle, which is not always the signal's centre.
    """
    middle = centre_mhz(raster, channel)
    if raster.edge_c:
        middle += _exact(raster.edge_c) - _exact(raster.c)
    half = _exact(raster.width_mhz) / 2
    return middle - half, middle + half


def regions(library: Library | None = None) -> tuple[str, ...]:
    """List the regions that have channel rasters."""
    return tuple(dict.fromkeys(raster.region for raster in (library or built_in()).rasters))


def region_of(name: str, library: Library | None = None) -> str:
    """Give the region that a name stands for: one of `regions()`, or what a country in it is called."""
    known = {plainly(each): each for each in regions(library)}
    word = plainly(name).removeprefix("the ").replace(".", "")
    if word in known:
        return known[word]
    meant = everyday("region").get(word, ())
    if not meant:
        near = near_names(
            name, (*known.values(), *(each for each in everyday("region") if len(each) > SHORTEST)), 2, LIKE
        )
        raise LibraryError(f"no region '{name}'; there are {', '.join(known.values())}", near)
    return meant[0]


def channels(region: str, text: str, library: Library | None = None) -> tuple[tuple[str, float, float], ...]:
    """Give the edges of the channels of a list [Hz] (`library/data/rasters.toml`; exact until the last step)."""
    library = library or built_in()
    region = region_of(region, library)
    rasters = [raster for raster in library.rasters if raster.region == region]
    groups = _groups(tuple(rasters))
    wanted: dict[str, Named] = {}
    try:
        for piece in text.split(","):
            wanted |= {named[0]: named for named in _range(piece.strip(), groups, region, rasters)}
    except LibraryError as error:
        plain = ", ".join(LISTED.findall(text))
        if error.help or plain in ("", text) or not _reads(plain, groups, region, rasters):
            raise
        raise LibraryError(error.message, help=f'write "{plain}"') from None
    return tuple((name, float(low * 1_000_000), float(high * 1_000_000)) for name, low, high in wanted.values())


def _reads(text: str, groups: list[list[Named]], region: str, rasters: list[Raster]) -> bool:
    """Whether a list of channels is one."""
    try:
        return all(_range(piece.strip(), groups, region, rasters) for piece in text.split(","))
    except LibraryError:
        return False


def occupied_hz(region: str, low_hz: float, high_hz: float, library: Library | None = None) -> float:
    """Bandwidth that a signal fills in the channel between two edges; the whole channel where none is stated [Hz]."""
    for raster in (library or built_in()).rasters:
        if (
            raster.region == region
            and raster.occupied_mhz
            and abs(float(Fraction(raster.width_mhz)) * 1e6 - (high_hz - low_hz)) < 1
        ):
            names = [str(number) for number in range(raster.first, raster.last + 1) if number not in raster.omit]
            names = names or [name for name, _ in raster.extra]
            first, last = edges_mhz(raster, names[0])[0], edges_mhz(raster, names[-1])[1]
            if float(first) * 1e6 <= low_hz + 1 and high_hz - 1 <= float(last) * 1e6:
                return float(Fraction(raster.occupied_mhz)) * 1e6
    return high_hz - low_hz


@cache
def _groups(rasters: tuple[Raster, ...]) -> list[list[Named]]:
    """Channels in order of frequency: television together, FM and DAB each apart."""
    groups: dict[str, list[Named]] = {}
    for raster in rasters:
        names = [str(number) for number in range(raster.first, raster.last + 1) if number not in raster.omit]
        names += [name for name, _ in raster.extra]
        group = raster.band if raster.band in APART else ""
        groups.setdefault(group, []).extend((name, *edges_mhz(raster, name)) for name in names)
    return [sorted(group, key=lambda named: named[1]) for _, group in sorted(groups.items())]


NUMBERED = re.compile(
    r"(?:(?:channel|chan|ch|kanal|canale|canal|uhf|vhf)\.?\s*)?(?P<letter>[eck]?)(?P<number>[0-9]+[a-z]?)",
    re.IGNORECASE,
)
"""A channel as people write it: 25, ch 25, channel 25, E21 (Europe's numbering), K40, C40."""


def named_channel(text: str, edges: Mapping[str, tuple[float, float]]) -> str:
    """Name of the channel that a text means among those of a set-up; empty where it means none of them.

    >>> known = {"21": (470e6, 478e6), "5A": (137e6, 144e6)}
    >>> [named_channel(text, known) for text in ("E21", "ch 021", "K21", "5a", "R21", "E5A")]
    ['21', '21', '21', '5A', '', '']
    """
    plain = text.strip().upper()
    if plain in edges:
        return plain
    found = NUMBERED.fullmatch(plain)
    name = found["number"].lstrip("0") if found else ""
    if not found or name not in edges:
        return ""
    return name if found["letter"] != "E" or _european(name, edges[name]) else ""


def listed(edges: Mapping[str, tuple[float, float]]) -> str:
    """The channels of a set-up in words.

    >>> listed({"21": (0, 0), "22": (0, 0), "23": (0, 0), "9A": (0, 0)})
    '21 to 23, 9A'
    """
    return ", ".join(run[0] if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs(edges))


def runs(names: Iterable[str]) -> list[list[str]]:
    """Names with those drawn together that follow one another without a channel between.

    >>> runs(["21", "22", "25", "5C", "5D", "6A", "6C"])
    [['21', '22'], ['25'], ['5C', '5D', '6A'], ['6C']]
    """
    found: list[list[str]] = []
    for name in names:
        if found and _next_to(found[-1][-1], name):
            found[-1].append(name)
        else:
            found.append([name])
    return found


BLOCK = re.compile(r"([0-9]+)([A-Z])")
"""A block of DAB: each number has the letters A to D."""


def _next_to(before: str, name: str) -> bool:
    """Whether a name comes right after another."""
    if before.isdigit() and name.isdigit():
        return int(name) == int(before) + 1
    one, other = BLOCK.fullmatch(before), BLOCK.fullmatch(name)
    if not one or not other:
        return False
    if one[1] == other[1]:
        return ord(other[2]) == ord(one[2]) + 1
    return int(other[1]) == int(one[1]) + 1 and (one[2], other[2]) == ("D", "A")


def _european(name: str, edges: tuple[float, float]) -> bool:
    """Whether a channel lies where Europe's numbering has it, which the letter E stands for."""
    try:
        (found,) = channels("europe", name)
    except LibraryError:
        return False
    return max(abs(found[1] - edges[0]), abs(found[2] - edges[1])) < 1


def _range(piece: str, groups: list[list[Named]], region: str, rasters: list[Raster]) -> list[Named]:
    first, dash, last = (word.strip().upper() for word in piece.partition("-"))
    last = last if dash else first
    for group in groups:
        names = [name for name, _, _ in group]
        edges = {name: (float(low * 1_000_000), float(high * 1_000_000)) for name, low, high in group}
        first, last = (named_channel(word, edges) or word for word in (first, last))
        if first in names and last in names:
            found = group[names.index(first) : names.index(last) + 1]
            if found:
                return found
            raise LibraryError(f"'{piece}' runs backwards", help=f"write '{last}-{first}'")
    raise LibraryError(f"'{piece}': region {region} has the channels {_reported(rasters)}")


def _reported(rasters: list[Raster]) -> str:
    texts = []
    for raster in rasters:
        numbers = [number for number in range(raster.first, raster.last + 1) if number not in raster.omit]
        runs = [[each] for each in numbers[:1]]
        for number in numbers[1:]:
            if number == runs[-1][-1] + 1:
                runs[-1].append(number)
            else:
                runs.append([number])
        names = [f"{run[0]}-{run[-1]}" for run in runs]
        extra = [name for name, _ in raster.extra]
        names += [f"{extra[0]}-{extra[-1]}"] if len(extra) > 1 else extra
        texts.append(f"{', '.join(names)} ({raster.band})")
    return "; ".join(texts)
