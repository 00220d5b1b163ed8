"""What mates with what: names of connectors read strictly, and the mating rules applied."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from library.errors import LibraryError, near_names
from library.parts import Library, built_in
from library.records import Adapter, Coax, Connector, MatedPair

__all__ = ["F_FAMILY", "VERDICTS", "bridging_adapters", "f_plug_variant", "mate", "parse_connector"]

VERDICTS = ("ok", "costed", "caution", "no-contact", "no-mate", "destructive")
"""From sound to ruinous."""

LAST_SOUND = VERDICTS.index("caution")
GRADES = ("general", "precision", "metrology", "economy")
"""Order in which grades are offered."""

GENDERS = ("plug", "jack")
NAME = re.compile(r"(?P<family>\S+(?: \S+)*?) (?P<gender>\S+?)(?: ?\((?P<variant>[^()]*)\))?")
OTHER_WORDS = {"male": "plug", "female": "jack", "m": "plug", "f": "jack", "socket": "jack", "pin": "plug"}
"""Words for gender that are not accepted, since they name the contact in some families and the shell in others."""

F_FAMILY = "F-75"
F_LEAST_MM, F_THICK_MM, F_THIN_MM = 0.5, 1.05, 0.9
"""Conductors: too thin for an F jack to hold, so thick that they spread it, and thin but in common use."""


def parse_connector(text: str, library: Library | None = None) -> Connector:
    """Read the name of a connector.

    Source: `library/data/families.toml`.
    """
    library = library or built_in()
    found = NAME.fullmatch(" ".join(text.split()))
    if not found:
        raise LibraryError(f"'{text}' is no connector: a family and a gender are needed, such as 'BNC-75 jack'")
    family, gender, variant = found["family"], found["gender"], found["variant"] or ""
    if gender not in GENDERS:
        meant = OTHER_WORDS.get(gender.casefold())
        near = tuple(f"{family} {word}" for word in ((meant,) if meant else near_names(gender, GENDERS)))
        raise LibraryError(f"'{text}': '{gender}' is no gender; plug (turns or pushes on) and jack are", near)
    try:
        known = library.family(family).variants
    except LibraryError as fault:
        starts = [name for name in library.families if name.casefold().startswith(f"{family.casefold()}-")]
        near = tuple(f"{name} {gender}" for name in starts or fault.near)
        raise LibraryError(f"'{text}': no connector family '{family}'", near) from None
    if variant and variant not in known:
        near = tuple(f"{family} {gender} ({each})" for each in near_names(variant, known) or known)
        raise LibraryError(f"'{text}': nothing is known of the variant '{variant}'", near)
    return Connector(family, gender, variant)


def mate(a: Connector, b: Connector, library: Library | None = None) -> MatedPair:
    """Say whether two connectors mate, and what comes of it.

    Source: `library/data/mating.toml`; where no rule fits, plug and jack of one family mate and nothing else does.
    """
    library = library or built_in()
    if a.family == b.family and a.gender == b.gender:
        other = "jack" if a.gender == "plug" else "plug"
        return MatedPair("no-mate", f"Both are {a.gender}s: a piece with two {other}s would join them.")
    for rule in library.rules:
        if (_fits(rule.a, a) and _fits(rule.b, b)) or (_fits(rule.a, b) and _fits(rule.b, a)):
            return MatedPair(rule.verdict, rule.reason)
    if a.family == b.family:
        return MatedPair("ok", "Plug and jack of one family.")
    first, second = sorted((a.family, b.family))
    return MatedPair("no-mate", f"{first} and {second} do not couple: an adapter is needed.")


def _fits(pattern: str, connector: Connector) -> bool:
    words, _, variant = pattern.partition(" (")
    family, _, gender = words.rpartition(" ")
    return (
        family in ("*", connector.family)
        and gender in ("any", connector.gender)
        and variant.rstrip(")") in ("", connector.variant)
    )


def f_plug_variant(coax: Coax) -> str:
    """Tell what a mating rule must know of an F plug on a cable whose own conductor is the pin.

    Source: A jack takes 0.64 mm (published, SCTE 146) to about 1.05 mm (memory); RG-59 with 0.58 mm is in common use,
    and below 0.5 mm is taken as too thin (practice).
    """
    if coax.stranded:
        return "stranded conductor"
    if coax.inner_mm == 0:
        return ""
    if coax.inner_mm > F_THICK_MM:
        return "RG-11 conductor"
    if coax.inner_mm < F_LEAST_MM:
        return "thin conductor"
    return "RG-59 conductor" if coax.inner_mm < F_THIN_MM else ""


def bridging_adapters(a: Connector, b: Connector, library: Library | None = None) -> list[str]:
    """Name the adapters that would join two exposed connectors which do not mate.

    Source: The adapters of the library and its mating rules.
    """
    library = library or built_in()
    adapters = [
        part for name in library.ids("adapter") if isinstance(part := library.part(name), Adapter) and part.dc == "pass"
    ]
    verdicts: dict[tuple[Connector, Connector], int] = {}

    def joint(x: Connector, y: Connector) -> int:
        if (x, y) not in verdicts:
            verdicts[x, y] = VERDICTS.index(mate(x, y, library).verdict)
        return verdicts[x, y]

    found = [(_price(each, joint(a, x) + joint(y, b)), each.id) for each, x, y in _ways(adapters, a, b, joint)]
    if not found:
        plain = [each for each in adapters if each.grade != "precision" and each.grade != "metrology"]
        found = [
            (_sum(_price(each, joint(a, x) + joint(y, u) + joint(v, b)), _price(other, 0)), f"{each.id} + {other.id}")
            for each, x, y in _ways(plain, a, None, joint)
            for other, u, v in _ways(plain, y, b, joint)
        ]
    return list(dict.fromkeys(name for _, name in sorted(found)))


def _ways(
    adapters: list[Adapter], a: Connector, b: Connector | None, joint: Callable[[Connector, Connector], int]
) -> Iterator[tuple[Adapter, Connector, Connector]]:
    """Adapters with their ends as turned, those that fit `a` and, if it is given, `b`."""
    for each in adapters:
        ends = each.near_connector, each.far_connector
        for x, y in dict.fromkeys((ends, ends[::-1])):
            if joint(a, x) <= LAST_SOUND and (b is None or joint(y, b) <= LAST_SOUND):
                yield each, x, y


def _sum(first: tuple[int, ...], second: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(x + y for x, y in zip(first, second, strict=True))


def _price(adapter: Adapter, verdicts: int) -> tuple[int, ...]:
    step = adapter.near_ohm != adapter.far_ohm
    return verdicts + step, GRADES.index(adapter.grade) if adapter.grade in GRADES else len(GRADES)
