"""What known terminations prove: verdict and remedy first, then readings beside what they should be, then every kind of fault."""

from __future__ import annotations

from math import isinf

from rich.console import Console

from chain.analyses.ohmmeter import CAUTION
from chain.diagnosis.next_reading import OHMMETER
from chain.diagnosis.records import (
    CANT_TELL,
    NONE_OF_THESE,
    NOTHING_SHOWN,
    Hidden,
    Hypothesis,
    Proof,
    ReadTermination,
)
from chain.report.numbers import db, frequency, percent, span, vswr
from chain.report.phrases import plane_words
from chain.report.tables import Column, notes, safe, say, show_table, title

__all__ = ["end_words", "ohm_words", "render"]

SHOWN = 0.002
"""Kinds of less probability are listed in one line."""
MEANINGS = {
    "right": "the chain reads as the set-up says",
    "pad reversed": "{item} is turned round; its far end faces the analyzer",
    "pad missing": "there is nothing like {item} in the way",
    "pad's loss differs": "{item} loses {size} instead of what is stated; state that loss, or take another pad",
    "near connector poor or calibration stale": (
        "something at the near side reflects, {item} or the analyzer's own calibration; tighten and clean it, calibrate again, "
        "and read one end once more"
    ),
    "near connector poor": "the joint {item} reflects {size} and changes when re-seated; clean, tighten or replace it",
    "calibration stale": "readings stay off when connectors are re-seated (residual error {size}); calibrate again",
    "far connector poor": "the joint {item} reflects {size}; clean, tighten or replace it",
    "open end not open": "what was read as an open reflects {size}; take off what hangs there, dry it",
    "50-ohm load taken for the other": "the load is a 50-ohm one; read the right one",
    "another lead than stated": "{item} reads like another cable or piece; read the print on its jacket, or measure it",
    "pad blocks DC": "{item} is right at radio frequency and has a capacitor inside, or its series resistor's contact is open to DC",
}
STYLES = {"right": "green", NOTHING_SHOWN: "green", CANT_TELL: "yellow", NONE_OF_THESE: "bold red"}
HIDDEN = {
    "pad's loss differs": "a pad {size} dB off",
    "near connector poor": "a near connector that reflects {size}",
    "far connector poor": "a far connector that reflects {size}",
    "calibration stale": "a calibration {size} off",
    "open end not open": "an open that reflects {size} only",
    "50-ohm load taken for the other": "a 50-ohm load taken for the other",
    "another lead than stated": "another lead at {item}",
    "pad blocks DC": "a capacitor in {item}",
    "pad missing": "no {item} at all",
    "pad reversed": "{item} turned round",
}
"""A fault that is not ruled out, up to its largest size."""
HIDDEN_SHOWN = 3
NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def render(result: Proof, console: Console) -> None:
    """Print what readings of known terminations mean."""
    title(console, result.title)
    say(console, safe(_sentence(result), STYLES.get(result.verdict, "red")))
    for text in (_hidden(result), _against_right(result), _next(result)):
        if text:
            say(console, text)
    console.print()
    _readings(result, console)
    console.print()
    # Probabilities of kinds that all lie far from the readings would only mislead.
    if result.verdict != NONE_OF_THESE:
        _kinds(result, console)
        console.print()
    say(console, _conditions(result))
    for what, text in result.ranges.items():
        say(console, f"  {what}: {text}", indent=4, style="dim")
    if result.ohms is not None:
        say(console, CAUTION)
    notes(console, result.warnings, result.assumed)


def end_words(end: str, far_ohm: float) -> str:
    """Name of a known termination."""
    return {"load": f"{far_ohm:g}-ohm load", "load50": "50-ohm load"}.get(end, end)


def ohm_words(ohm: float) -> str:
    """Reading of an ohmmeter."""
    return "open" if isinf(ohm) else f"{ohm:.3g} ohm"


def _sentence(result: Proof) -> str:
    first = result.hypotheses[0]
    if result.verdict == NONE_OF_THESE:
        return (
            "None of these: no chain with a single fault that is known here shows such readings. A figure mistyped, "
            "terminations mixed up, or more than one fault?"
        )
    if result.verdict == NOTHING_SHOWN:
        return f"No fault shown: {_counted(result)} where a sound chain puts {_pronoun(result)}."
    if result.verdict == CANT_TELL:
        likely = [f"{each.what} {percent(each.share)}" for each in result.hypotheses if each.share >= 0.05]
        return f"Cannot tell: a sound chain hardly shows such readings. {', '.join(likely[:4])}."
    meaning = MEANINGS[first.what].format(item=first.item or "the pad", size=_size(first) or "something")
    return f"{first.what[:1].upper()}{first.what[1:]} ({_share(first.share)}): {meaning}."


def _count(result: Proof) -> int:
    return len(result.readings) + (result.ohms is not None)


def _pronoun(result: Proof) -> str:
    return "it" if _count(result) == 1 else "them"


def _counted(result: Proof) -> str:
    count = _count(result)
    if count == 1:
        return "the reading lies"
    return f"{'both' if count == 2 else f'all {NUMBERS[count] if count < len(NUMBERS) else count}'} readings lie"


def _hidden(result: Proof) -> str:
    """What a chain that shows no fault may have all the same, the likeliest first."""
    if result.verdict != NOTHING_SHOWN or not result.could_hide:
        return ""
    words = [_hidden_words(each) for each in result.could_hide]
    shown = words[:HIDDEN_SHOWN]
    more = f" (and {len(words) - len(shown)} more: --json)" if len(words) > len(shown) else ""
    listed = " or ".join([", ".join(shown[:-1]), shown[-1]] if len(shown) > 1 else shown)
    return f"{'It' if _count(result) == 1 else 'They'} could still hide {listed}{more}."


def _hidden_words(each: Hidden) -> str:
    text = HIDDEN.get(each.what, each.what)
    size = "" if each.size is None else db(each.size) if each.size_of == "loss_db" else f"{each.size:.2f}"
    return text.format(item=each.item or "the pad", size=size)


def _size(each: Hypothesis) -> str:
    if each.size is None or each.size_low is None or each.size_high is None:
        return ""
    loss = each.size_of == "loss_db"
    if len(each.size_spans) > 1:
        spans = [f"{_amount(e.low, loss)} to {_amount(e.high, loss)} ({e.share:.0%})" for e in each.size_spans]
        return " or ".join(spans) + (" dB" if loss else "")
    unit = " dB" if loss else ""
    return f"{_amount(each.size, loss)}{unit} ({_amount(each.size_low, loss)} to {_amount(each.size_high, loss)})"


def _amount(size: float, loss: bool) -> str:
    return db(size) if loss else f"{size:.2f}"


def _next(result: Proof) -> str:
    """What to do next; a named fault brings its remedy with it."""
    found = result.telling
    if result.verdict == NONE_OF_THESE:
        return "Next: read each termination once more, one at a time."
    if found is None:
        return "Next: measure the antenna." if result.verdict == "right" else ""
    if found.end == OHMMETER:
        if result.ohms is not None:
            return "Next: take the pad out and meter it by itself; `chain card` states what it shows."
        return (
            "Next: meter the chain at its near end, its far end open and the analyzer off (--ohms): a sound one shows "
            f"{ohm_words(result.ohms_expected)}."
        )
    end = end_words(found.end, result.far_ohm)
    article = "an" if end.startswith("open") else "a"
    read = f"re-seat the near connectors and read the {end} again" if found.reseated else f"read {article} {end} too"
    if found.first_low is None:
        return f"Next: {read}."
    likely = f"{span(found.first_low, found.first_high)} if {found.first}"
    return f"Next: {read}: VSWR {likely}, {span(found.second_low, found.second_high)} if {found.second}."


def _against_right(result: Proof) -> str:
    """Why a chain is not right though each of its readings would do."""
    found = result.contradiction
    if found is None:
        return ""
    if found.given is None or found.other is None or found.low_vswr is None or found.high_vswr is None:
        return "Each reading alone would do for a right chain; all of them together do not."
    given, other = (result.readings[number] for number in (found.given, found.other))
    return (
        f"Each reading alone would do for a right chain; together they do not: one that shows {_named(given, result)} at VSWR "
        f"{vswr(given.reading_vswr)} shows {_named(other, result)} at {span(found.low_vswr, found.high_vswr)} (95 %), and "
        f"{vswr(other.reading_vswr)} was read."
    )


def _named(each: ReadTermination, result: Proof) -> str:
    again = f", re-seated ({each.seating})," if each.seating else ""
    return f"the {end_words(each.end, result.far_ohm)}{again}"


def _readings(result: Proof, console: Console) -> None:
    first = result.hypotheses[0].what
    both = first != "right" and result.verdict != NONE_OF_THESE
    columns = [Column("termination", figures=False), Column("screen\nVSWR"), Column("if right\n(95 %)")]
    if both:
        columns.append(Column(f"if {_short(first)}\n(95 %)"))
    rows = []
    for each in result.readings:
        name = end_words(each.end, result.far_ohm) + (f", re-seated ({each.seating})" if each.seating else "")
        row = [name, vswr(each.reading_vswr), span(each.right_low, each.right_high)]
        rows.append([*row, span(each.first_low, each.first_high)] if both else row)
    if result.ohms is not None:
        row = ["ohmmeter, near end", ohm_words(result.ohms), ohm_words(result.ohms_expected)]
        rows.append([*row, ""] if both else row)
    show_table(console, columns, rows)


def _short(what: str) -> str:
    return what.split(" or ")[0]


def _kinds(result: Proof, console: Console) -> None:
    columns = [
        Column("what it may be", figures=False, wraps=True),
        Column("probability"),
        Column("where", figures=False),
        Column("of size (95 %)", figures=False, wraps=True),
    ]
    shown = [each for each in result.hypotheses if each.share >= SHOWN]
    rows = [
        [each.what, _share(each.share), _where(each), _size(each) + (" loss" if each.size_of == "loss_db" else "")]
        for each in shown
    ]
    show_table(console, columns, rows)
    rest = [each.what for each in result.hypotheses if each.share < SHOWN]
    if rest:
        say(console, f"under {percent(SHOWN)}: {', '.join(rest)}")


def _where(each: Hypothesis) -> str:
    unsure = each.item and each.item_share < 0.8
    return f"{each.item} ({each.item_share:.0%})" if unsure else each.item


def _conditions(result: Proof) -> str:
    freq = result.freq_hz
    if not result.readings:
        return (
            f"The ohmmeter alone; every fault is thought equally likely at first, a verdict needs {result.enough:.0%}."
        )
    where = frequency(float(freq[0]))
    if freq.size > 1:
        where = f"{where} to {frequency(float(freq[-1]))}, means of {freq.size} frequencies"
    spans = "; ".join(f"{end_words(each.end, result.far_ohm)} as {each.told}" for each in result.readings)
    return (
        f"Read at {where} in {result.reading_ohm:g} ohm, calibrated {plane_words(result.plane)}; taken: {spans}. All readings "
        f"count together; of sound chains 95 % show every reading inside its range. Every fault is thought equally likely at "
        f"first; a verdict needs {result.enough:.0%}. {result.draws} trials each, seed {result.seed}. Sizes are drawn evenly "
        "from ranges that reach zero:"
    )


def _share(share: float) -> str:
    """A probability as a percentage; near certainty is never called certainty."""
    return "> 99.9 %" if share > 0.999 else percent(share)
