"""Does it fit, is anything about to be damaged: every joint with its verdict, and the remarks of all checks."""

from __future__ import annotations

import re

from rich.console import Console

from chain.analyses.checks import CheckResult
from chain.findings import REVERSED, Finding
from chain.results import counted
from chain.setup_report.phrases import line_of, sentence, short, turn_step
from chain.setup_report.tables import Column, answer, detail_of, notes, safe, say, show_table

STYLES = {"stop": "bold red", "caution": "yellow", "note": "dim"}
SOURCE = re.compile(r" \([^()]*\)$")
"""Where the figures of an assumption are from."""
VERDICT_STYLES = {"ok": "green", "costed": "yellow", "caution": "yellow"}


def render(result: CheckResult, console: Console) -> None:
    """Print the answer of all checks."""
    answer(console, verdict_lines(result), result.warnings, "green" if result.sound else "bold red")
    rows = [
        [
            f"{joint.near}/{joint.far}",
            safe(joint.verdict, VERDICT_STYLES.get(joint.verdict, "bold red")),
            f"{joint.near_connector} to {joint.far_connector}",
        ]
        for joint in result.joints
    ]
    columns = [Column("joint", False), Column("verdict", False), Column("what meets", False, wraps=True)]
    show_table(console, columns, rows)
    show_details(result.findings, result.assumed, console)


def show_details(findings: tuple[Finding, ...], assumed: tuple[str, ...], console: Console) -> None:
    """Print remarks and assumptions: a table of each; where the assumed figures are from where that is asked for."""
    console.print()
    for level in dict.fromkeys(each.level for each in findings):
        rows = [_remark(each) for each in findings if each.level == level]
        show_table(console, [Column(level, False, True), Column("what, and what to do", False, True)], rows)
        console.print()
    if detail_of(console).assumed or not assumed:
        notes(console, assumed, whole=True)
        return
    columns = [Column("assumed", False), Column("what the file does not say", False, True)]
    show_table(console, columns, [list(each) for each in grouped(assumed).items()])
    console.print()
    say(console, "Where each of these figures is from: --assumed.", style="dim")


def grouped(assumed: tuple[str, ...]) -> dict[str, str]:
    """Assumptions by the place they are of, without where their figures are from.

    >>> grouped(("pad: loss 5.7 dB (library, evidence computed)", "pad: reflection 26 dB (default)", "no analyzer stated"))
    {'pad': 'loss 5.7 dB, reflection 26 dB', '': 'no analyzer stated'}
    """
    found: dict[str, list[str]] = {}
    for text in assumed:
        place, colon, rest = text.partition(": ")
        place, rest = (place, rest) if colon else ("", text)
        found.setdefault(place, []).append(SOURCE.sub("", rest))
    return {place: ", ".join(texts) for place, texts in found.items()}


def _remark(found: Finding) -> list[str]:
    """Where a remark is about, what is wrong and what to do; what always holds by its own name."""
    where, reason = _place(found.where), _reason(found)
    if found.rule == "safety" or not where:
        name, colon, rest = found.text.partition(": ")
        where = (name.split(" and ")[-1] if found.rule == "safety" else name) if colon else ""
        reason = rest if colon else reason
    remedy = f" {sentence(found.remedy)}" if found.remedy else ""
    return [where, f"{sentence(reason)}{remedy}"]


def show_findings(findings: tuple[Finding, ...], console: Console) -> None:
    """Print remarks, each with what to do about it."""
    for each in findings:
        # What holds for every lead needs no place; what meets at a joint stands in the table.
        where = f"{_place(each.where)}: " if each.where and each.rule != "safety" else ""
        remedy = f" {sentence(each.remedy)}" if each.remedy else ""
        say(
            console,
            safe(f"{each.level}: ", STYLES[each.level]),
            f"{where}{_reason(each).rstrip('.')}.{remedy}",
            indent=2,
        )


def verdict_lines(result: CheckResult) -> list[str]:
    """Whether it fits or must not be connected; what speaks against it, or what it rests on; the next step."""
    bad = [joint for joint in result.joints if not joint.fits]
    stops = [each for each in result.findings if each.level == "stop" and each.rule != "joint"]
    joints = counted(len(result.joints), "joint")
    if bad:
        one = bad[0]
        near, far = short(one.near), short(one.far)
        first = f"Does not fit together: {len(bad)} of {joints}, {near}/{far} for one."
        if len(bad) == 1:
            first = f"Does not fit together: the joint {near}/{far}."
        second = line_of(f"{one.near_connector} to {one.far_connector}: ", one.reason)
        step = f"put {one.missing[0]} between {near} and {far}" if one.missing else "change one of the two connectors"
        return [first, second, line_of("Next: ", step)]
    if stops:
        worst, *others = stops
        more = others[0] if others else worst
        return [
            line_of("Do not connect this yet: ", worst.text),
            line_of(_watch(more), more.text),
            line_of("Next: ", worst.remedy),
        ]
    cautions = [each for each in result.findings if each.level == "caution"]
    own = next((each for each in cautions if each.rule != "safety"), None)
    first = f"Fits together, {joints}; nothing stated here does damage."
    rests = f"Rests on {counted(len(result.assumed), 'assumption')} (below)." if result.assumed else "All is stated."
    reported = line_of(_watch(own), _reason(own)) if own else rests
    if own is not None and own.rule == REVERSED:
        # What an open and a short would read stands in the table.
        return [first, line_of(_watch(own), own.text.partition(". ")[0]), turn_step([own.where])]
    return [first, reported, f"Next: read the {counted(len(cautions), 'caution')} below, then 'chain expect'."]


def _reason(found: Finding) -> str:
    """What is wrong; of a joint without the connectors, which the table names."""
    if found.rule != "joint":
        return found.text
    text = found.text.partition(": ")[2] or found.text
    return f"{text[:1].lower()}{text[1:]}" if text[1:2].islower() else text


def _watch(found: Finding) -> str:
    level = found.level.capitalize()
    return f"{level}, {short(_place(found.where), 32)}: " if found.where else f"{level}: "


def _place(where: str) -> str:
    return {"near": "the analyzer", "far": "the antenna"}.get(where, where)
