"""What mates with what: names of connectors read strictly, and the mating rules applied."""

from __future__ import annotations

import re

from library.errors import LibraryError, near_names
from library.load import Library, load_library
from library.records import Coax, Connector, MatedPair

__all__ = ["VERDICTS", "f_plug_variant", "mate", "parse_connector"]

VERDICTS = ("ok", "costed", "caution", "no-contact", "no-mate", "destructive")
"""From sound to ruinous."""

GENDERS = ("plug", "jack")
NAME = re.compile(r"(?P<family>\S+(?: \S+)*?) (?P<gender>\S+?)(?: ?\((?P<variant>[^()]*)\))?")
OTHER_WORDS = {"male": "plug", "female": "jack", "m": "plug", "f": "jack", "socket": "jack", "pin": "plug"}
"""Words for gender that are not accepted, since they name the contact in some families and the shell in others."""

F_LEAST_MM, F_THICK_MM, F_THIN_MM = 0.5, 1.05, 0.9
"""Conductor under which an F jack does not hold it, over which it spreads the jack, and under which it counts as thin."""


def parse_connector(text: str, library: Library | None = None) -> Connector:
    """Read the name of a connector.

    Parameters
    ----------
    text : `family gender`, with a variant in brackets where it matters.
    library : whose families are known; the built-in ones if left out.

    Returns
    -------
    Connector.

    Raises
    ------
    LibraryError : not such a name, or an unknown family, gender or variant; `near` holds what may have been meant.

    Examples
    --------
    >>> parse_connector("BNC-75 jack")
    Connector(family='BNC-75', gender='jack', variant='')
    >>> parse_connector("F-75 plug (push-on)").variant
    'push-on'
    >>> parse_connector("BNC jack")
    Traceback (most recent call last):
    ...
    library.errors.LibraryError: 'BNC jack': there is no connector family 'BNC'; did you mean BNC-50 jack or BNC-75 jack?

    Source
    ------
    `library/data/families.toml`.
    """
    library = library or load_library()
    found = NAME.fullmatch(" ".join(text.split()))
    if not found:
        raise LibraryError(f"'{text}' is no connector: a family and a gender are needed, such as 'BNC-75 jack'")
    family, gender, variant = found["family"], found["gender"], found["variant"] or ""
    if gender not in GENDERS:
        words = (OTHER_WORDS.get(gender.casefold()),) if gender.casefold() in OTHER_WORDS else near_names(gender, GENDERS)
        near = tuple(f"{family} {word}" for word in words)
        raise LibraryError(f"'{text}': '{gender}' is no gender; plug (turns or pushes on) and jack are", near)
    try:
        known = library.family(family).variants
    except LibraryError as fault:
        starts = [name for name in library.families if name.casefold().startswith(f"{family.casefold()}-")]
        near = tuple(f"{name} {gender}" for name in starts or fault.near)
        raise LibraryError(f"'{text}': there is no connector family '{family}'", near) from None
    if variant and variant not in known:
        near = tuple(f"{family} {gender} ({each})" for each in near_names(variant, known) or known)
        raise LibraryError(f"'{text}': nothing is known of the variant '{variant}'", near)
    return Connector(family, gender, variant)


def mate(a: Connector, b: Connector, library: Library | None = None) -> MatedPair:
    """Say whether two connectors mate, and what comes of it.

    Parameters
    ----------
    a, b : the two, in either order.
    library : whose rules hold; the built-in ones if left out.

    Returns
    -------
    MatedPair : one of the six verdicts, and the reason.

    Examples
    --------
    >>> mate(Connector("N-50", "plug"), Connector("N-75", "jack")).verdict
    'destructive'
    >>> mate(Connector("F-75", "jack"), Connector("F-75", "plug"))
    MatedPair(verdict='ok', reason='Plug and jack of one family.')

    Source
    ------
    `library/data/mating.toml`; where no rule fits, plug and jack of one family mate and nothing else does.
    """
    library = library or load_library()
    if a.family == b.family and a.gender == b.gender:
        other = "jack" if a.gender == "plug" else "plug"
        return MatedPair("no-mate", f"Both are {a.gender}s: a piece with two {other}s would join them.")
    for rule in library.rules:
        if (_fits(rule.a, a) and _fits(rule.b, b)) or (_fits(rule.a, b) and _fits(rule.b, a)):
            return MatedPair(rule.verdict, rule.reason)
    if a.family == b.family:
        return MatedPair("ok", "Plug and jack of one family.")
    return MatedPair("no-mate", f"{a.family} and {b.family} do not couple: an adapter is needed.")


def _fits(pattern: str, connector: Connector) -> bool:
    words, _, variant = pattern.partition(" (")
    family, _, gender = words.rpartition(" ")
    return (
        family in ("*", connector.family)
        and gender in ("any", connector.gender)
        and variant.rstrip(")") in ("", connector.variant)
    )


def f_plug_variant(coax: Coax) -> str:
    """What a mating rule must know of an F plug on a cable whose own conductor is the pin.

    Parameters
    ----------
    coax : the cable.

    Returns
    -------
    str, a variant of `F-75 plug`, or empty where the conductor suits the jack or is not known.

    Examples
    --------
    >>> library = load_library()
    >>> [f_plug_variant(library.part(name)) for name in ("rg6", "rg59", "series11", "rg58")]
    ['', 'RG-59 conductor', 'RG-11 conductor', 'stranded conductor']

    Source
    ------
    A jack takes 0.64 mm (published, SCTE 146) to about 1.05 mm (memory); RG-59 with 0.58 mm is in common use, and below
    0.5 mm is taken as too thin (practice).
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
