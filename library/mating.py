"""What mates with what: names of connectors read strictly, and the mating rules applied."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator
from functools import cache

from library.errors import LibraryError, near_names
from library.files.rows import connector_of
from library.parts import Library, built_in
from library.records import Adapter, Coax, Connector, MatedPair
from library.words import everyday, plainly

VERDICTS = ("ok", "costed", "caution", "no-contact", "no-mate", "destructive")
"""From sound to ruinous."""

LAST_SOUND = VERDICTS.index("caution")
GRADES = ("general", "precision", "metrology", "economy")
"""Order in which grades are offered."""

GENDERS = ("plug", "jack")
NAME = re.compile(r"(?P<family>\S+(?: \S+)*?) (?P<gender>\S+?)(?: ?\((?P<variant>[^()]*)\))?")
GENDER_WORDS = {"plug": "plug", "jack": "jack", "male": "plug", "female": "jack", "socket": "jack"}
SHORT = {"m": "plug", "f": "jack"}
"""Words for a gender where they stand last, and not for the family F."""
FILLERS = ("type", "connector", "ohm", "ohms", "series")
OHMS = re.compile(r"(50|75|300)(?:\s*ohms?|\u03a9|\u2126)?")
REVERSED = "RP-"
"""Families in which male and female are stated of the shell by some and of the contact by others."""

F_FAMILY = "F-75"
F_LEAST_MM, F_THICK_MM, F_THIN_MM = 0.5, 1.05, 0.9
"""Conductors: too thin for an F jack to hold, so thick that they spread it, and thin but in common use."""


def parse_connector(text: str, library: Library | None = None) -> Connector:
    """Read the name of a connector, also as people write it (`n-75 male`, `SMA plug`); what that leaves open is asked."""
    library = library or built_in()
    found = NAME.fullmatch(" ".join(text.split()))
    if not found or found["gender"] not in GENDERS:
        return _everyday(text, library)
    family, gender, variant = found["family"], found["gender"], found["variant"] or ""
    try:
        known = library.family(family).variants
    except LibraryError:
        return _everyday(text, library)
    if variant and variant not in known:
        near = tuple(f"{family} {gender} ({each})" for each in near_names(variant, known) or known)
        raise LibraryError(f"'{text}': nothing is known of the variant '{variant}'", near)
    return Connector(family, gender, variant)


def exact_connector(text: str, library: Library | None = None) -> Connector:
    """Read the name of a connector that must be written in full, as in a file of parts."""
    found = parse_connector(text, library)
    if connector_of(text) != found:
        raise LibraryError(f"'{text}': a file of parts names its connectors in full", (str(found),))
    return found


def _everyday(text: str, library: Library) -> Connector:
    """Connector from its family, impedance and gender in any order and in everyday words."""
    words, bracket, variant = text.partition("(")
    plain = re.sub(r"([0-9.]+) mm\b", r"\1mm", plainly(words))
    if plain in everyday("connector"):
        return parse_connector(everyday("connector")[plain][0] + f" ({variant}" * bool(bracket), library)
    tokens = [each for each in plain.split() if each not in FILLERS]
    if len(tokens) > 1 and tokens[-1] in SHORT and not set(tokens) & set(GENDER_WORDS):
        tokens[-1] = "male" if tokens[-1] == "m" else "female"
    stated = [each for each in tokens if each in GENDER_WORDS]
    ohms = [found[1] for each in tokens if (found := OHMS.fullmatch(each))]
    rest = [each for each in tokens if each not in stated and not OHMS.fullmatch(each)]
    families = _families(rest, library)
    if not rest or len(stated) > 1 or len(ohms) > 1 or (bracket and not re.fullmatch(r"[^()]*\)\s*", variant)):
        raise LibraryError(f"'{text}' is no connector: a family and a gender are needed, such as 'BNC-75 jack'")
    genders = tuple(GENDER_WORDS[each] for each in stated) or GENDERS
    if not families and not stated and _families(rest[:-1], library):
        families, genders = _families(rest[:-1], library), near_names(rest[-1], GENDERS, 1) or GENDERS
        near = _named(families, ohms, genders)
        raise LibraryError(f"'{text}': '{rest[-1]}' is no gender; plug (turns or pushes on) and jack are", near)
    if not families:
        near = near_names("-".join([*rest, *ohms]), library.families)
        raise LibraryError(f"'{text}': no connector family '{' '.join(rest)}'", _named(near, [], genders[:1]))
    if stated and stated[0] not in GENDERS and families[0].startswith(REVERSED):
        genders = GENDERS
    near = _named(families, ohms, genders)
    if not near:
        raise LibraryError(f"'{text}': there is none of {ohms[0]} ohm", _named(families, [], genders))
    if len(near) == 1:
        return parse_connector(near[0] + f" ({variant}" * bool(bracket), library)
    raise LibraryError(f"'{text}': {_open(near)}", near, help=_asked(near, stated))


def _families(words: list[str], library: Library) -> list[str]:
    """Families that words stand for: those of the name, of each impedance; those that an everyday word means."""
    name = " ".join(words)
    if name in (known := everyday("family")):
        return list(known[name])
    return [each for each in library.families if re.sub(r" (50|75|300)$", "", plainly(each)) == name]


def _named(families: Iterable[str], ohms: list[str], genders: Iterable[str]) -> tuple[str, ...]:
    fitting = [each for each in families if not ohms or each.endswith(f"-{ohms[0]}")]
    return tuple(f"{family} {gender}" for family in fitting for gender in genders)


def _open(near: tuple[str, ...]) -> str:
    """What several names leave open, as a question."""
    families = list(dict.fromkeys(each.rpartition(" ")[0] for each in near))
    genders = list(dict.fromkeys(each.rpartition(" ")[2] for each in near))
    stems = {each.rpartition("-")[0] for each in families}
    ohms = " or ".join(each.rpartition("-")[2] for each in families) + " ohm"
    which = (ohms if len(stems) == 1 else " or ".join(families)) if len(families) > 1 else ""
    return ", ".join(filter(None, (which, " or ".join(genders) if len(genders) > 1 else ""))) + "?"


def _asked(near: tuple[str, ...], stated: list[str]) -> str:
    names = " or ".join(f"'{each}'" for each in near)
    other = stated[:1] and stated[0] not in GENDERS and len({each.rpartition(" ")[2] for each in near}) == 1
    return f"write {names}" + " (male is taken for plug, female for jack)" * bool(other)


def mate(a: Connector, b: Connector, library: Library | None = None) -> MatedPair:
    """Say whether two connectors mate, and what comes of it.

    Source: `library/data/mating.toml`; where no rule fits, plug and jack of one family mate and nothing else does.
    """
    library = library or built_in()
    if (a, b) not in library.mated:
        library.mated[a, b] = _judged(a, b, library)
    return library.mated[a, b]


def _judged(a: Connector, b: Connector, library: Library) -> MatedPair:
    """The verdict on a pair, by the first rule that fits."""
    if a.family == b.family and a.gender == b.gender:
        other = "jack" if a.gender == "plug" else "plug"
        return MatedPair("no-mate", f"Both are {a.gender}s; a piece with two {other}s joins them.")
    for rule in library.rules:
        if (_fits(rule.a, a) and _fits(rule.b, b)) or (_fits(rule.a, b) and _fits(rule.b, a)):
            return MatedPair(rule.verdict, rule.reason)
    if a.family == b.family:
        return MatedPair("ok", "Plug and jack of one family.")
    first, second = sorted((a.family, b.family))
    return MatedPair("no-mate", f"{first} and {second} do not couple: an adapter is needed.")


def _fits(pattern: str, connector: Connector) -> bool:
    family, gender, variant = _words(pattern)
    return (
        family in ("*", connector.family) and gender in ("any", connector.gender) and variant in ("", connector.variant)
    )


@cache
def _words(pattern: str) -> tuple[str, str, str]:
    """Family, gender and variant of a rule's side."""
    words, _, variant = pattern.partition(" (")
    family, _, gender = words.rpartition(" ")
    return family, gender, variant.rstrip(")")


def f_plug_variant(coax: Coax) -> str:
    """Find what a mating rule must know of an F plug on a cable whose own conductor is the pin.

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
    """Name the adapters that would join two exposed connectors which do not mate."""
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
