"""The ohmmeter card: what a meter shows of a sound chain and of its pads by themselves, and what each wrong figure means.

Leads and adapters count as perfect conductors, the meter as exact. DC says nothing of a pad's behaviour at radio frequency.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from math import inf, isinf
from typing import TypeVar

from chain.analyses.dc_feed import pad_arms, resistance_ohm
from chain.arrays import Real
from chain.assembly.graph import setup_graph
from chain.results import Named, plain_values
from chain.setups import Item, Setup
from library.frozen import dataclass
from library.records import Coax, Pad

Ohm = TypeVar("Ohm", float, Real)
WHOLE_CHAIN = "whole chain"
CAUTION = (
    "Meter only with the analyzer, every supply and the antenna taken off: the meter's own current can harm an input, and "
    "volts on the lead make every figure false. Meter for volts before ohms."
)
BURNT_OHM, BRIDGED_OHM = 1e13, 1e-6
"""Stand for a resistor that is open or shorted."""
CONTACT_OHM = 1.0
"""Plugs and test leads add up to this much; practice."""
MOST_TOLERANCE = 0.10
SAME = 0.03
"""Figures this close to one another are one figure on a meter; practice."""
STATED_OHM = 0.1
"""Ranges are stated to this step, and hold what lies within half of it."""
OR = "; or "
DC_BLOCKED = ", or a capacitor blocks DC inside (good at radio frequency, open for the meter)"


@dataclass(frozen=True)
class DcMeaning:
    """One wrong figure (`ohm`, infinity for no reading at all) and what it means."""

    ohm: float
    means: str


@dataclass(frozen=True, repr=False)
class DcReading(Named):
    """One reading between centre and shield. `low_ohm` to `high_ohm` is what a sound one may show; infinity: an open."""

    item: str
    """Id of the item that is measured by itself, or `WHOLE_CHAIN`."""
    probe: str
    other_end: str
    expected_ohm: float
    low_ohm: float
    high_ohm: float
    wrong: tuple[DcMeaning, ...]

    def headline(self) -> str:
        """What is measured where, and what a sound one shows."""
        span = f"{self.low_ohm:.4g} to {self.high_ohm:.4g}"
        return f"{self.item}, {self.probe}, {self.other_end}: {self.expected_ohm:.4g} ohm ({span})"

    def to_dict(self) -> dict[str, object]:
        """Plain values; an open reading is null."""
        own = {**vars(self), "wrong": [vars(each) for each in self.wrong], "open": isinf(self.expected_ohm)}
        return plain_values(own)  # type: ignore[return-value]


def dc_reading(setup: Setup, end_ohm: float) -> float:
    """What an ohmmeter shows at the chain's near end [ohm]."""
    return resistance_ohm(setup_graph(setup), end_ohm)


def figure_range(ohm: Ohm, spread: float) -> tuple[Ohm, Ohm]:
    """What a meter may show of a resistance whose resistors have a relative tolerance [ohm]."""
    return ohm * (1 - spread), ohm * (1 + spread) + CONTACT_OHM


def lies_within(seen_ohm: float, low_ohm: float, high_ohm: float) -> bool:
    """Whether a reading lies in a range as it is stated; an open in that of an open."""
    return low_ohm - STATED_OHM / 2 <= seen_ohm <= high_ohm + STATED_OHM / 2


def whole_chain(setup: Setup) -> DcReading:
    """The first row of the card: the whole chain from its near end, nothing at the far one."""
    return _whole(setup, inf, "open")


def meaning_of(setup: Setup, seen_ohm: float) -> str:
    """What the card's first row says of a reading that is not a sound chain's; empty where it has no such figure."""
    spread = largest_tolerance(setup)
    for each in whole_chain(setup).wrong:
        if lies_within(seen_ohm, *figure_range(each.ohm, spread)):
            return each.means
    return ""


def dc_card(setup: Setup) -> tuple[DcReading, ...]:
    """Readings of an ohmmeter to expect from a set-up, with what each wrong one means.

    Parameters
    ----------
    setup : the set-up.

    Returns
    -------
    tuple of DcReading: the whole chain from its near end, then each pad by itself from either end, then each lead.

    Examples
    --------
    >>> from chain import dc_card, load_setup
    >>> card = dc_card(load_setup("demo/boathouse.toml"))
    >>> [(each.item, each.other_end, round(each.expected_ohm, 1)) for each in card[:4]]
    [('whole chain', 'open', 86.6), ('whole chain', 'shorted', 28.9), ('whole chain', '75-ohm load', 50.0), ('pad', 'open', 129.9)]
    >>> card[0].wrong[0].means
    'the pad is turned round: its far end faces the analyzer'

    Source
    ------
    Ohm's law on the resistors of `chain.analyses.dc_feed.pad_arms`. Every resistance seen grows with every resistor, so the
    extremes lie where all are at their tolerance.
    """
    pads = [item for item in setup.items if isinstance(item.part, Pad)]
    leads = [item for item in setup.items if isinstance(item.part, Coax)]
    ends = ((inf, "open"), (0.0, "shorted"), (setup.far.impedance_ohm, f"{setup.far.impedance_ohm:g}-ohm load"))
    card = [_whole(setup, end_ohm, words) for end_ohm, words in ends]
    for item in pads:
        ohms = (item.part.near_ohm, item.part.far_ohm)  # type: ignore[union-attr]
        order = sorted((False, True), key=lambda flip: -ohms[flip])
        card += [_alone(setup, item, flip, end_ohm, words) for end_ohm, words in ends[:2] for flip in order]
    for item in leads:
        card.append(_lead(item, inf, "open", DcMeaning(0.0, "a strand of the braid touches the centre")))
        card.append(
            _lead(item, 0.0, "shorted", DcMeaning(inf, "the centre or the shield is broken, or a plug not made"))
        )
    return tuple(card)


Fault = tuple[str, Callable[[Setup, float], float]]


def _whole(setup: Setup, end_ohm: float, words: str) -> DcReading:
    faults: list[Fault] = []
    for item in (each for each in setup.items if isinstance(each.part, Pad)):
        name = _named(setup, item)
        if item.part.near_ohm != item.part.far_ohm:  # type: ignore[union-attr]
            turned = _changing(item, replace(item, reversed=not item.reversed))
            faults.append((f"{name} is turned round: its far end faces the analyzer", turned))
        faults.append((f"{name} is missing", _changing(item, None)))
        faults += [(f"{name}'s {what}", _changing(item, changed)) for what, changed in broken_pads(item)]
    faults += [
        ("the centre is broken at the near end, or something in the way blocks DC", lambda setup, end: inf),
        (
            "the centre is broken at the far end, or nothing is connected there",
            lambda setup, end: dc_reading(setup, inf),
        ),
        ("a short circuit at the near end", lambda setup, end: 0.0),
        ("a short circuit at the far end", lambda setup, end: dc_reading(setup, 0.0)),
    ]
    return _reading((WHOLE_CHAIN, "near end", words), setup, end_ohm, largest_tolerance(setup), faults)


def _alone(setup: Setup, item: Item, flip: bool, end_ohm: float, words: str) -> DcReading:
    """A pad off the chain, measured at one of its ends."""
    pad = item.part
    assert isinstance(pad, Pad)
    held = replace(item, reversed=flip)
    bare = replace(setup, items=(held,))
    faults: list[Fault] = [(f"the {what}", _changing(held, changed)) for what, changed in broken_pads(held)]
    if pad.near_ohm != pad.far_ohm:
        swapped = _changing(held, replace(held, reversed=not flip))
        faults.insert(0, ("this is the other end: its ends are marked wrong or mistaken for one another", swapped))
    own_ohm = pad.far_ohm if flip else pad.near_ohm
    probe = f"{own_ohm:g}-ohm end"
    if pad.near_ohm == pad.far_ohm:
        probe = "far end" if flip else "near end"
    return _reading((item.id, probe, words), bare, end_ohm, resistor_tolerance(pad), faults)


def _lead(item: Item, ohm: float, words: str, wrong: DcMeaning) -> DcReading:
    return DcReading(item.id, "either end", words, ohm, ohm, ohm + CONTACT_OHM, (wrong,))


def _named(setup: Setup, item: Item) -> str:
    alone = sum(isinstance(each.part, Pad) for each in setup.items) == 1
    return "the pad" if alone else f"pad {item.id}"


def _changing(item: Item, changed: Item | None) -> Callable[[Setup, float], float]:
    def read(setup: Setup, end_ohm: float) -> float:
        items = tuple(changed if each is item else each for each in setup.items)
        return dc_reading(replace(setup, items=tuple(each for each in items if each is not None)), end_ohm)

    return read


def broken_pads(item: Item) -> Iterable[tuple[str, Item]]:
    """The item with each of its resistors burnt out or bridged, in words."""
    pad = item.part
    assert isinstance(pad, Pad)
    if pad.dc == "block":
        yield "capacitor is missing or leaks: DC passes", replace(item, part=replace(pad, dc="pass"))
        return
    arms = pad_arms(pad)
    kinds = [kind for kind, _ in arms]
    for place, (kind, ohm) in enumerate(arms):
        name = f"{kind} resistor" if kinds.count(kind) == 1 else f"{ohm:.3g}-ohm {kind} resistor"
        for value, what in ((BURNT_OHM, "burnt out"), (BRIDGED_OHM, "bridged")):
            changed = tuple((each, value if index == place else own) for index, (each, own) in enumerate(arms))
            words = f"{name} is {what}"
            if kind == "series" and value == BURNT_OHM:
                words += DC_BLOCKED
            yield words, replace(item, part=replace(pad, arms=changed))


def resistor_tolerance(pad: Pad) -> float:
    """Relative tolerance of the resistors; of a specified pad, what its tolerance of loss leaves room for.

    Two resistors off by 1 % in opposite directions change the loss of a minimum-loss pad by 0.05 dB.
    """
    if pad.model == "resistors":
        return pad.arm_tolerance
    return min(pad.loss_tolerance_db / 0.05 * 0.01, MOST_TOLERANCE)


def largest_tolerance(setup: Setup) -> float:
    """Largest relative tolerance of the resistors of a set-up's pads."""
    return max((resistor_tolerance(item.part) for item in setup.items if isinstance(item.part, Pad)), default=0.0)


def _reading(
    place: tuple[str, str, str], setup: Setup, end_ohm: float, spread: float, faults: Sequence[Fault]
) -> DcReading:
    """Expected figure with its range, and the figures of the faults that a meter can distinguish from it."""
    expected = dc_reading(setup, end_ohm)
    low, high = figure_range(expected, spread)
    found: list[tuple[float, list[str]]] = []
    for words, read in faults:
        ohm = read(setup, end_ohm)
        ohm = 0.0 if ohm < CONTACT_OHM / 2 else ohm
        if ohm == expected or low <= ohm <= high:
            continue
        same = next((texts for other, texts in found if other == ohm or abs(other - ohm) <= SAME * ohm < inf), None)
        if same is None:
            found.append((ohm, [words]))
        else:
            same.append(words)
    wrong = tuple(DcMeaning(ohm, OR.join(texts)) for ohm, texts in found)
    return DcReading(*place, expected, low, high, wrong)
