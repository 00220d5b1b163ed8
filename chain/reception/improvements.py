"""What would mend an installation: single changes and pairs of them, by decibels of the worst room and by money."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from itertools import combinations

import numpy as np

from chain.arrays import Real
from chain.reception.checks import blocking_joints, unfed_amplifiers
from chain.reception.levels import nominal_levels, without_item
from chain.reception.placing_amplifier import Score, external_remark, inserted, may_stand, noise_at, score
from chain.reception.records import ANTENNA, Installation, InstalledItem, PartOffer, ReceivingAntenna, Supply
from chain.reception.tree import bypassed, followers_of
from chain.reception.trials import drawn_rooms, room_ends
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from library.errors import LibraryError
from library.frozen import dataclass
from library.reception import Amplifier, Inline, reception_part
from library.records import Adapter, Coax, Splitter

PAIRED = 12
"""Best single changes whose pairs are tried."""
MOST_CHANGES = 400
SHOWN_GAIN_DB = 0.05
MOST_PORTS = 60
MOST_PROPOSED = 3
GAIN_STEPS_DB = (-21.0, -18.0, -15.0, -12.0, -9.0, -6.0, -3.0, 3.0, 6.0, 9.0)

Change = Callable[[Installation], Installation]


@dataclass(frozen=True)
class InstallationChange:
    """One change, or two together: what it costs in hundredths of the currency, and what it does."""

    words: tuple[str, ...]
    hundredths: int | None
    """None: the price is not stated."""
    score: Score
    gain_db: float
    """Of the worst room."""
    db_per_unit: float | None
    """Decibels for one unit of money; None where it is free or the price is not known."""
    gain_low_db: float | None = None
    """Ends that hold 95 % of the gain, trial by trial; None where it was not drawn."""
    gain_high_db: float | None = None
    room_low_db: float | None = None
    """Ends that hold 95 % of the room after the change."""
    room_high_db: float | None = None
    holds: float | None = None
    """Share of the drawn installations in which everything works everywhere."""


@dataclass(frozen=True, repr=False)
class Improvements(ResultTable):
    """Changes that help: first those that were drawn, by the low end of the room they leave; the others nominally."""

    title: str
    now: Score
    now_ends: tuple[float, float]
    """Ends that hold 95 % of the room now [dB]."""
    improvements: tuple[InstallationChange, ...]
    singles: int
    pairs: int
    currency: str
    remark: str
    warnings: tuple[str, ...]
    installation: Installation
    draws: int

    ROWS = "improvements"
    COLUMNS = ("words", "gain_db", "hundredths")

    def column_units(self) -> dict[str, str]:
        """Prices are in hundredths of the currency of the offers."""
        return {"hundredths": f"0.01 {self.currency or 'of the currency of the prices'}"}

    def to_dict(self) -> dict[str, object]:
        """Give the result as plain values."""
        document = {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(self.installation.assumed),
            "now": {**vars(self.now), "room_low_db": self.now_ends[0], "room_high_db": self.now_ends[1]},
            "draws": self.draws,
            "improvements": [{**vars(each), "score": vars(each.score)} for each in self.improvements],
            "singles": self.singles,
            "pairs": self.pairs,
            "currency": self.currency,
            "remark": self.remark,
        }
        found = plain_values(document)
        assert isinstance(found, dict)
        return found


@dataclass(frozen=True)
class _Option:
    words: str
    hundredths: int | None
    change: Change
    touches: str
    """Item or place it changes: two changes of one are not paired."""


def improve_reception(
    installation: Installation, progress: Callable[[float], None] | None = None, seed: int = SEED
) -> Improvements:
    """Try every single change out of what is owned and offered, and every pair of the best.

    Parameters
    ----------
    installation : the receiving installation, with its `have` and `offer`.
    progress : called with the finished share.
    seed : of the trials.

    Returns
    -------
    Improvements; nominally exact over all single changes (a lead of another type, fewer ways, an end terminated, a splice
    left out, another gain, an amplifier, a filter or another antenna) and all pairs of the best twelve. The best of them,
    singles and pairs, are drawn in the same trials and stand in the order of the low end of the room they leave.

    Examples
    --------
    >>> from chain import improve_reception, load_installation
    >>> found = improve_reception(load_installation("demo/outlets.toml"))
    >>> found.improvements[0].gain_db > 1
    True

    Source
    ------
    `chain.reception.levels`, nominally.
    """
    stated, unfed = installation, unfed_amplifiers(installation)
    # What is held against the changes is what the outlets get now: no more than a bypass passes where a feed is missing.
    installation = bypassed(stated, unfed)
    nominal = nominal_levels(installation)
    now = score(installation, nominal)
    options = [*_feeds(stated, unfed), *_options(installation, stated.supplies)][:MOST_CHANGES]
    singles = []
    for number, option in enumerate(options):
        singles.append((option, score(option.change(installation))))
        if progress:
            progress(0.6 * (number + 1) / len(options))
    best = sorted(singles, key=lambda each: -each[1].room_db)[:PAIRED]
    found = [_improvement((option,), reached, now) for option, reached in singles]
    changes: dict[tuple[str, ...], Installation] = {
        (option.words,): option.change(installation) for option, _ in singles
    }
    pairs = [pair for pair in combinations([option for option, _ in best], 2) if pair[0].touches != pair[1].touches]
    for number, (first, second) in enumerate(pairs):
        both = second.change(first.change(installation))
        reached = score(both)
        alone = max(each.room_db for option, each in singles if option in (first, second))
        if reached.room_db > alone + SHOWN_GAIN_DB:
            found.append(_improvement((first, second), reached, now))
            changes[first.words, second.words] = both
        if progress:
            progress(0.6 + 0.3 * (number + 1) / len(pairs))
    helpful = [each for each in found if each.gain_db > SHOWN_GAIN_DB]
    helpful.sort(key=lambda each: (-round(each.gain_db, 1), each.hundredths is None, each.hundredths or 0))
    chosen = _chosen(helpful)
    before, *after = drawn_rooms([installation, *(changes[each.words] for each in chosen)], seed)
    drawn = [_drawn(each, room, before) for each, room in zip(chosen, after, strict=True)]
    drawn.sort(key=lambda each: (-round(each.room_low_db or 0.0, 1), each.hundredths is None, each.hundredths or 0))
    if progress:
        progress(1.0)
    return Improvements(
        installation.title,
        now,
        room_ends(before),
        (*drawn, *(each for each in helpful if each not in chosen)),
        len(options),
        len(pairs),
        installation.currency,
        external_remark(installation, nominal, now, room_ends(before)[0], noise_at(installation, now, nominal)),
        installation.warnings,
        stated,
        before.size,
    )


MOST_DRAWN = 12
"""Changes that are drawn, and shown: half of them the best of all, the rest the best single ones."""


def _chosen(helpful: list[InstallationChange]) -> list[InstallationChange]:
    best = helpful[: MOST_DRAWN // 2]
    single = [each for each in helpful if len(each.words) == 1 and each not in best]
    return [*best, *single[: MOST_DRAWN - len(best)]]


def _drawn(change: InstallationChange, room_db: Real, before_db: Real) -> InstallationChange:
    """A change with what the trials say of it, the gain trial by trial."""
    gain, room = room_ends(room_db - before_db), room_ends(room_db)
    return replace(
        change,
        gain_low_db=gain[0],
        gain_high_db=gain[1],
        room_low_db=room[0],
        room_high_db=room[1],
        holds=float((room_db >= 0).mean()),
    )


def _improvement(options: tuple[_Option, ...], reached: Score, now: Score) -> InstallationChange:
    prices = [option.hundredths for option in options]
    cost = None if None in prices else sum(price or 0 for price in prices)
    gain = reached.room_db - now.room_db
    per_unit = gain / (cost / 100) if cost else None
    return InstallationChange(tuple(option.words for option in options), cost, reached, gain, per_unit)


def _feeds(installation: Installation, unfed: Sequence[str]) -> Iterator[_Option]:
    """Each amplifier without a feed, or with other volts, fed as it must be."""
    for item in installation.items:
        if item.id in unfed and isinstance(item.part, Amplifier):
            words = f"{item.id}: fed {_volts(item.part, installation.supplies)}"
            # One lead carries one supply: no other amplifier is put in beside it.
            yield _Option(words, None, _swapped(item.id, item.part), "amplifier")


def _volts(part: Amplifier, supplies: Sequence[Supply]) -> str:
    other = [f"{each.volts:g} V" for each in supplies if each.volts != part.power_v]
    return f"with {part.power_v:g} V" + f" in place of {' or '.join(other)}" * bool(other)


def _options(installation: Installation, supplies: Sequence[Supply]) -> Iterator[_Option]:
    """Every single change, given the sources of DC that the file states."""
    for item in installation.items:
        yield from _of_item(installation, item)
    for outlet in installation.outlets:
        if outlet.end == "open":
            yield _Option(f"end {outlet.id} in 75 ohm", None, _ended(outlet.id), outlet.id)
    apart = len(blocking_joints(installation))
    for offer in installation.offers:
        for option in _of_offer(installation, offer):
            yield from _built(option, installation, (offer.part, supplies, apart))


def _built(
    option: _Option, installation: Installation, needs: tuple[object, Sequence[Supply], int]
) -> Iterator[_Option]:
    """What a change takes besides the part, without which nothing of it would come true: its feed, and leads that join it.

    None where another amplifier would lose its feed by it. `needs`: the part, the sources of DC that the file states, and how
    many joints do not go together before.
    """
    part, supplies, apart = needs
    there = {item.id: item for item in installation.items}
    changed = replace(option.change(installation), supplies=tuple(supplies))
    unfed = set(unfed_amplifiers(changed))
    new = {item.id for item in changed.items if item != there.get(item.id)}
    if unfed - new:
        return
    words = option.words
    if unfed and isinstance(part, Amplifier):
        words += f", fed {_volts(part, supplies)}"
    leads = len(blocking_joints(changed)) - apart
    if leads > 0:
        words += f" (and {'a short lead' if leads == 1 else f'{leads} short leads'})"
    yield replace(option, words=words)


def _ended(name: str) -> Change:
    def change(house: Installation) -> Installation:
        ends = (replace(each, end="load", end_ohm=75.0) if each.id == name else each for each in house.outlets)
        return replace(house, outlets=tuple(ends))

    return change


def _swapped(name: str, part: Coax | Splitter | Amplifier) -> Change:
    def change(house: Installation) -> Installation:
        return replace(house, items=tuple(replace(e, part=part) if e.id == name else e for e in house.items))

    return change


def _of_item(installation: Installation, item: InstalledItem) -> Iterator[_Option]:
    part = item.part
    if isinstance(part, Coax):
        for offer in installation.offers:
            if isinstance(offer.part, Coax) and offer.part.id != part.id:
                cost = round(offer.hundredths * (item.length_m if offer.per_metre else 1))
                yield _Option(
                    f"{item.id}: {offer.part.id} instead of {part.id}", cost, _swapped(item.id, offer.part), item.id
                )
    elif isinstance(part, Amplifier):
        yield _Option(f"take {item.id} out", 0, lambda house: without_item(house, item.id, item.id), item.id)
        lowest, highest = _gain_span(part)
        for step in GAIN_STEPS_DB:
            if lowest <= part.gain_db + step <= highest:
                other = replace(part, gain_db=part.gain_db + step)
                yield _Option(f"{item.id}: gain {other.gain_db:g} dB", 0, _swapped(item.id, other), item.id)
    elif isinstance(part, Adapter):
        yield _Option(f"leave {item.id} out", 0, lambda house: without_item(house, item.id, item.id), item.id)
    elif isinstance(part, Splitter):
        yield from _fewer_ways(installation, item, part)


def _gain_span(part: Amplifier) -> tuple[float, float]:
    """Gains that an amplifier of its kind may be set to: a gain that is stated is where it stands, not all that it can."""
    kind = part
    with suppress(LibraryError):
        found = reception_part(part.id)
        kind = found if isinstance(found, Amplifier) else part
    # Less can be had with an attenuator in any case, more only where the part itself gives it.
    return min(kind.gain_from_db, part.gain_from_db), part.gain_to_db


def _fewer_ways(installation: Installation, item: InstalledItem, part: Splitter) -> Iterator[_Option]:
    """A splitter with idle outputs: one with as many ways as are used, or none at all."""
    ends = {outlet.after: outlet for outlet in installation.outlets}
    idle = [port for port in item.outputs if port in ends and ends[port].end]
    used = [port for port in item.outputs if port not in idle]
    if not idle or not used:
        return
    if len(used) == 1:
        yield _Option(f"take {item.id} out", 0, lambda house: without_item(house, item.id, used[0]), item.id)
        return
    try:
        smaller = installation.library.part(f"splitter-{len(used)}")
    except LibraryError:
        return
    if isinstance(smaller, Splitter):
        own = [offer for offer in installation.offers if offer.part == smaller]
        cost = own[0].hundredths if own else None
        words = f"{item.id}: {len(used)} ways instead of {len(item.outputs)}"
        yield _Option(words, cost, _narrowed(item.id, used, smaller), item.id)


def _narrowed(name: str, used: list[str], smaller: Splitter) -> Change:
    renamed = {port: f"{name}.{own}" for port, own in zip(used, smaller.ports[1:], strict=True)}

    def change(house: Installation) -> Installation:
        gone = {f"{name}.{port.partition('.')[2]}" for e in house.items if e.id == name for port in e.outputs} - {
            *renamed
        }
        items = tuple(
            replace(e, part=smaller) if e.id == name else replace(e, after=renamed.get(e.after, e.after))
            for e in house.items
        )
        ends = tuple(replace(e, after=renamed.get(e.after, e.after)) for e in house.outlets if e.after not in gone)
        return replace(house, items=items, outlets=ends)

    return change


def _of_offer(installation: Installation, offer: PartOffer) -> Iterator[_Option]:
    part = offer.part
    if isinstance(part, ReceivingAntenna):
        gain, tolerance = (part.gain_hz, part.gain_dbi), part.gain_tolerance_db

        def another(house: Installation) -> Installation:
            mine = replace(house.antenna, gain_hz=gain[0], gain_dbi=gain[1], gain_tolerance_db=tolerance)
            return _levels_raised(replace(house, antenna=mine), house.antenna)

        yield _Option(offer.name, offer.hundredths, another, ANTENNA)
    elif isinstance(part, Inline) and part.kind == "filter":
        amplified = [item.after for item in installation.items if isinstance(item.part, Amplifier)]
        for port in dict.fromkeys([ANTENNA, *amplified]):
            yield _Option(f"{offer.name} after {port}", offer.hundredths, _filtered(port, part), f"filter {port}")
    elif isinstance(part, Amplifier):
        for item in installation.items:
            if isinstance(item.part, Amplifier) and may_stand(installation, item.after, part):
                best = _best_gain(installation, item.id, part)
                if best != item.part:
                    words = f"{offer.name} in place of {item.id}"
                    words += f", gain {best.gain_db:g} dB" * (best.id == item.part.id)
                    yield _Option(words, offer.hundredths, _swapped(item.id, best), item.id)
        fed = any(isinstance(item.part, Amplifier) and item.part.power_v for item in installation.items)
        # One lead carries one supply: a second amplifier fed through it is not proposed.
        for gain_db, port in [] if fed and part.power_v else _best_ports(installation, part):
            words = f"{offer.name} of {gain_db:g} dB after {port}"
            yield _Option(words, offer.hundredths, _amplified(port, part, gain_db), "amplifier")


def _levels_raised(house: Installation, before: ReceivingAntenna) -> Installation:
    """An installation with another antenna: what was measured behind the old one rises by the difference of their gains."""
    sources, channels = list(house.sources), []
    for channel in house.channels:
        source = house.sources[channel.signal]
        if source.kind == "level":
            here, there = (
                float(np.interp(channel.centre_hz, each.gain_hz, each.gain_dbi)) for each in (house.antenna, before)
            )
            sources.append(replace(source, value=source.value + here - there))
            channel = replace(channel, signal=len(sources) - 1)
        channels.append(channel)
    return replace(house, sources=tuple(sources), channels=tuple(channels))


def _best_gain(installation: Installation, name: str, part: Amplifier) -> Amplifier:
    """An amplifier at the best of its least, usual and greatest gain in place of another."""
    kinds = [replace(part, gain_db=gain) for gain in sorted({part.gain_from_db, part.gain_db, part.gain_to_db})]
    return max(kinds, key=lambda kind: score(_swapped(name, kind)(installation)).room_db)


def _best_ports(installation: Installation, part: Amplifier) -> list[tuple[float, str]]:
    """The three best ports for an amplifier, each with the best of its least, usual and greatest gain."""
    found = []
    ports = [
        each for each in followers_of(installation.items, installation.outlets) if may_stand(installation, each, part)
    ]
    for port in ports[:MOST_PORTS]:
        gains = sorted({part.gain_from_db, part.gain_db, part.gain_to_db})
        rooms = [(score(inserted(installation, port, part, gain)).room_db, gain) for gain in gains]
        room, gain = max(rooms)
        found.append((room, gain, port))
    best: list[tuple[float, str]] = []
    seen: set[float] = set()
    for room, gain, port in sorted(found, key=lambda each: -each[0]):
        # Two places as good as each other are one proposal.
        if round(room, 1) not in seen:
            seen.add(round(room, 1))
            best.append((gain, port))
    return best[:MOST_PROPOSED]


def _filtered(port: str, part: Inline) -> Change:
    def change(house: Installation) -> Installation:
        name = f"filter-{port}".replace(".", "-")
        first, last = part.input_connector, part.output_connector
        own = InstalledItem(name, part, port, input_connector=first, output_connector=last)
        items = tuple(replace(e, after=own.id) if e.after == port else e for e in house.items)
        ends = tuple(replace(e, after=own.id) if e.after == port else e for e in house.outlets)
        return replace(house, items=(*items, own), outlets=ends)

    return change


def _amplified(port: str, part: Amplifier, gain_db: float) -> Change:
    return lambda house: inserted(house, port, part, gain_db)
