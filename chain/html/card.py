"""What the HTML of the bench card is filled with, and how large it may be set to stay on one sheet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from chain.analyses.bench_card import Card, EndReading
from chain.analyses.ohmmeter import WHOLE_CHAIN, DcReading
from chain.findings import Finding
from chain.setup_report.card import card_lines, example_reading, measured_remark
from chain.setup_report.recover import impedance

ENDS = {"near": "analyzer", "far": "antenna"}
"""What the two outer ends are called on the bench."""
RECORD_LINES = 12
"""Lines of the table to fill in, at least."""
WRONG_SHOWN = 3
SHEET_MM = 250.0
"""Height of a column of the printed card."""
LEFT_MM, RIGHT_MM, LINE_MM, ROW_MM, PLACE_MM, SMALL_MM = 42.0, 64.0, 3.75, 4.9, 5.4, 3.1
"""Heights as printed, measured on the page: headings, a line of text, a row, a line to fill in, a line of small text."""
CAUTION_LETTERS, NAME_LETTERS, JOINT_LETTERS, WRONG_LETTERS = 56, 20, 26, 78
"""Letters that a printed line holds."""


@dataclass(frozen=True)
class _CardStep:
    """One joint in the order of wiring."""

    near: str
    near_connector: str
    far: str
    far_connector: str
    remark: str
    calibrate: bool


def card_values(card: Card) -> dict[str, Any]:
    """What the template of the card is filled with."""
    wiring, alone = _steps(card), _alone(card.dc)
    return {
        "own": card,
        "lines": card_lines(card),
        "steps": wiring,
        "readings": _readings(card),
        "whole": [each for each in card.dc if each.item == WHOLE_CHAIN],
        "alone": alone,
        "cautions": _ordered(card.cautions),
        "wrong_shown": WRONG_SHOWN,
        "size": _size(card, wiring, alone),
        "measured": [(each, "" if each.true_ohm is None else impedance(each.true_ohm)) for each in card.measured],
        "ohm": card.has_phase or any(each.true_ohm is not None for each in card.measured),
        "example": example_reading(card),
        "remark": measured_remark(card),
        "spare": max(0, RECORD_LINES - len(card.places)),
    }


def _size(card: Card, steps: Sequence[_CardStep], alone: Sequence[tuple[str, DcReading]]) -> str:
    """Size that lets the card fit on one printed sheet: `full`, `short` without what wrong ohms mean, or `tiny`."""
    cautions = LINE_MM * sum(_lines(f"{each.where}{each.text}{each.remedy}", CAUTION_LETTERS) for each in card.cautions)
    whole = [each for each in card.dc if each.item == WHOLE_CHAIN]
    left = LEFT_MM + cautions + ROW_MM * (2 * len(whole) + sum(_lines(name, NAME_LETTERS) for name, _ in alone))
    items = _lines("".join(f"{each.id}{each.what}  " for each in card.items), CAUTION_LETTERS)
    joints = sum(max(_lines(step.near + step.near_connector, JOINT_LETTERS), 1 + bool(step.remark)) for step in steps)
    places = max(RECORD_LINES, len(card.places))
    right = RIGHT_MM + ROW_MM * (joints + 1 + len(card.ends)) + LINE_MM * items + PLACE_MM * places
    wrong = SMALL_MM * sum(
        _lines("".join(f"{case.means} ohm 100" for case in each.wrong[:WRONG_SHOWN]), WRONG_LETTERS) for each in whole
    )
    if max(left + wrong, right) <= SHEET_MM:
        return "full"
    return "short" if max(left, right) <= SHEET_MM else "tiny"


def _lines(text: str, letters: int) -> int:
    return 1 + len(text) // letters


def _steps(card: Card) -> list[_CardStep]:
    """Joints in the order of wiring. A joint's remark is its verdict, where it is not simply good: the cautions say why."""
    return [
        _CardStep(
            ENDS.get(each.near, each.near),
            each.near_connector,
            ENDS.get(each.far, each.far),
            each.far_connector,
            "" if each.verdict == "ok" else each.verdict,
            each.near == card.plane,
        )
        for each in card.checked.joints
    ]


def _readings(card: Card) -> list[tuple[str, list[EndReading]]]:
    """Known terminations with their readings over frequency."""
    names = dict.fromkeys(each.end for each in card.ends)
    return [(name, [each for each in card.ends if each.end == name]) for name in names]


def _alone(readings: Sequence[DcReading]) -> list[tuple[str, DcReading]]:
    """Readings of single items; those that are the same for several items, such as leads, reported once."""
    same: dict[tuple[object, ...], tuple[list[str], DcReading]] = {}
    for each in readings:
        if each.item == WHOLE_CHAIN:
            continue
        key = (each.probe, each.other_end, round(each.low_ohm, 3), round(each.high_ohm, 3))
        same.setdefault(key, ([], each))[0].append(each.item)
    return [(", ".join(names), each) for names, each in same.values()]


def _ordered(found: Sequence[Finding]) -> list[Finding]:
    return sorted(found, key=lambda each: ("stop", "caution", "note").index(each.level))
