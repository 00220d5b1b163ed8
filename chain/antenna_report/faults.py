"""Faults of the antenna's side: the suspect, what it rests on, and the reading that would decide."""

from __future__ import annotations

from rich.console import Console

from chain.setup_report.tables import Column, answer, notes, say, show_table
from chain.tuning.faults import AntennaFaults, Suspect

LONGEST = 80
CAUTION = (
    "Before you go up: switch off and unplug whatever feeds power up the lead, keep clear of power lines, do not work on a mast alone "
    "or in a storm. An ohmmeter only goes on a lead that carries no voltage."
)


def render(result: AntennaFaults, console: Console) -> None:
    """Print the suspects with their signs."""
    answer(console, three_lines(result), result.warnings, "yellow" if result.rivals else "")
    columns = [
        Column("fault", False, True),
        Column("signs", False, True),
        Column("the reading that decides", False, True),
    ]
    show_table(console, columns, [[each.name, _signs(each), each.decides] for each in result.suspects])
    console.print()
    for each in result.rivals:
        say(console, f"If it is {each.name}: {each.remedy}.")
    say(console, CAUTION)
    method = (
        f"Readings: {result.interpretation}. A sign is what moved by more than this set-up repeats; which fault shows which is trade "
        "practice, and no sign proves one. What lies before the calibration plane is the chain's: chain prove."
    )
    notes(console, result.assumed, [method])


def three_lines(result: AntennaFaults) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next: at most 80 characters each."""
    rivals = result.rivals
    if not rivals:
        blind = sum(each.seen is None for each in result.signs)
        more = f"{blind} of {len(result.signs)} signs were not read" if blind else "all signs were read"
        next_step = "Next: give --before and --handled sweeps, and more can be determined."
        return (
            "No sign of a fault of the antenna in what was read.",
            f"That is no proof: {more}.",
            next_step if blind else "Next: nothing; read it again after the winter.",
        )
    first = rivals[0]
    names = " or ".join(each.name for each in rivals)
    verdict = f"Suspected: {names}."
    if len(verdict) > LONGEST:
        verdict = f"Suspected: {first.name}, or another below."
    return verdict, _cut(f"Seen: {'; '.join(first.seen)}."), _cut(f"Next: {first.decides}.")


def _cut(text: str) -> str:
    return text if len(text) <= LONGEST else f"{text[: LONGEST - 3].rsplit(' ', 1)[0]}..."


def _signs(each: Suspect) -> str:
    reported = [f"seen: {text}" for text in each.seen]
    reported += [f"against: {text}" for text in each.against]
    reported += [f"not read: {text}" for text in each.not_read]
    return "; ".join(reported) or "none seen"
