"""What known terminations prove: verdict and remedy first, then readings beside what they should be, then every kind of fault."""

from __future__ import annotations

from math import isfinite, isinf

from rich.console import Console

from chain.diagnosis.faults import BAD_END, FAR_CONNECTOR, NEAR_CONNECTOR, NEAR_OR_STALE, RIGHT
from chain.diagnosis.next_reading import HARDLY, OHMMETER
from chain.diagnosis.records import (
    CANT_TELL,
    NONE_OF_THESE,
    NOTHING_SHOWN,
    Hidden,
    Hypothesis,
    Proof,
    ReadTermination,
)
from chain.diagnosis.session import LOAD50_OHM
from chain.reflection import vswr
from chain.results import counted
from chain.setup_report.numbers import between, db, figure, frequency, head, match, percent, span
from chain.setup_report.phrases import LONGEST, fitted, line_of, plane_words, short
from chain.setup_report.tables import Column, answer, notes, say, show_table

CAUTION = "Meter with analyzer, supplies and antenna off, volts before ohms (chain card)."
JOINTS = (NEAR_OR_STALE, NEAR_CONNECTOR, FAR_CONNECTOR)
PLACES = {NEAR_OR_STALE: "the analyzer's side"}
"""What is named where no single place of a kind is likely."""
MAY_BE = 0.1
"""Probability from which on a known end is checked before anything else."""
SHOWN = 0.002
"""Kinds of less probability are listed in one line."""
MEANINGS = {
    "right": ("the chain reads as the set-up says", ""),
    "pad reversed": (
        "{item} is turned round; its antenna end faces the analyzer",
        "turn {item} round and read the ends again",
    ),
    "pad missing": ("there is no sign of {item} in the readings", "put {item} in and read the ends again"),
    "pad's loss differs": (
        "{item} loses {size}, not what is stated",
        "state that loss for {item} in the file, or use another pad",
    ),
    "pad's resistor failed": (
        "{detail}",
        "use another pad; first find what burnt it (DC on the lead, a transmitter)",
    ),
    "near connector poor or calibration out of date": (
        "at {item}, or the calibration",
        "tighten and clean it, calibrate again, and read one end once more",
    ),
    "near connector poor": ("the joint {item} has {size}", "clean, tighten or replace the joint {item}"),
    "calibration out of date": ("readings stay off when connectors are made again, like {size}", "calibrate again"),
    "far connector poor": ("the joint {item} has {size}", "clean, tighten or replace the joint {item}"),
    "open end not open": (
        "something lies across the open end",
        "take off what hangs there, dry it, read it again",
    ),
    "load or short bad": ("the {item} is not what it is taken for", "{check}"),
    "wrong load (50 ohm)": ("a 50-ohm load was read as the other one", "read the right load"),
    "another lead than stated": (
        "{item} reads like another cable",
        "read the print on the jacket of {item}, or measure it (chain learn)",
    ),
    "pad blocks DC": (
        "{item} is right at radio frequency and passes no DC",
        "nothing for the antenna's match; no ohmmeter reads through {item}",
    ),
}
"""Each kind of fault: what it is, and what to do."""
DEFECTIVE = "use another pad: it is defective, or something ahead of it is broken"
"""What to do about a loss that no pad of the stated kind has."""
METER_AGAIN = "meter for volts, join the probes, meter again; then each pad by itself"
APART = "take the chain apart from its far end, and meter it again after each part"
STYLES = {"right": "green", NOTHING_SHOWN: "green", CANT_TELL: "yellow", NONE_OF_THESE: "bold red"}
HIDDEN = {
    "pad's loss differs": "a pad {size} off",
    "near connector poor": "a near joint of {size}",
    "far connector poor": "a far joint of {size}",
    "calibration out of date": "a calibration off like {size}",
    "open end not open": "an open end with {size} across it",
    "wrong load (50 ohm)": "a wrong load (50 ohm)",
    "another lead than stated": "another cable in place of {item}",
    "pad blocks DC": "a capacitor in {item}",
    "pad's resistor failed": "a failed resistor in {item}",
    "load or short bad": "a bad {item}",
    "pad missing": "no {item} at all",
    "pad reversed": "{item} turned round",
}
"""A fault that is not ruled out, up to its largest size."""
HIDDEN_SHOWN = 3
OPEN_END = "reflection of the end"
ANYTHING = 0.9
"""A reflection up to this or more may as well be any."""
LEAST_GAP = 1e-3
"""What an open end lacks of a full reflection, at least: 150 kohm across 75 ohm."""
NUMBERS = ("no", "one", "two", "three", "four", "five", "six")


def render(result: Proof, console: Console) -> None:
    """Print what readings of known terminations mean."""
    answer(console, verdict_lines(result), result.warnings, STYLES.get(result.verdict, "red"))
    _readings(result, console)
    # Probabilities of kinds that all lie far from the readings would only mislead.
    if result.verdict != NONE_OF_THESE:
        console.print()
        _kinds(result, console)
    if result.ohms is not None:
        say(console, CAUTION)
    method = [text for text in (_together(result), _conditions(result)) if text]
    notes(console, result.assumed, [*method, *(f"{what}: {text}" for what, text in result.ranges.items())])


def verdict_lines(result: Proof) -> list[str]:
    """What is found, what could be hidden or what it rests on, the next step."""
    return [_verdict(result), _rests(result), _next(result)]


def end_words(end: str, far_ohm: float) -> str:
    """Name of a known termination."""
    return {"load": f"{far_ohm:g}-ohm load", "load50": "50-ohm load"}.get(end, end)


def ohm_words(ohm: float) -> str:
    """Reading of an ohmmeter."""
    return "open" if isinf(ohm) else f"{ohm:.4g} ohm"


def _verdict(result: Proof) -> str:
    first = result.hypotheses[0]
    metered = "" if result.ohms is None else ohm_words(result.ohms)
    if _is_metered_alone(result) and result.ohms_mean and result.verdict in (CANT_TELL, NONE_OF_THESE):
        return line_of(f"{metered}: " if isfinite(result.ohms or 0) else "No DC: ", result.ohms_mean)
    if result.verdict == NONE_OF_THESE:
        what = "such readings" if result.readings else metered
        return f"None of these: no single fault known here gives {what}."
    if result.verdict == NOTHING_SHOWN:
        return f"No fault found: {_counted(result)} where a sound chain puts {_pronoun(result)}."
    if result.verdict == CANT_TELL:
        if first.what != RIGHT and not result.inside:
            return "Cannot tell yet: not a sound chain, and several faults give such readings."
        return "Cannot tell: a sound chain hardly gives such readings, nor does one fault."
    name = f"{first.what[:1].upper()}{first.what[1:]} ({_share(first.share)})"
    if _is_metered_alone(result) and first.what in JOINTS and result.ohms_mean:
        return line_of(f"{name}: ", result.ohms_mean)
    middle = "" if first.size is None else f"about {_amount(first.size, first.size_of, result.far_ohm)}"
    texts = [_meaning(first, result.far_ohm, size)[0] for size in (None, middle, "")]
    whole = [f"{name}: {text}." for text in texts]
    # What follows is shortened before it is left out.
    return next((each for each in whole if len(each) <= LONGEST), line_of(f"{name}: ", texts[1]))


def _meaning(found: Hypothesis, far_ohm: float, size: str | None = None) -> tuple[str, str]:
    """What a fault is and what to do about it, by its item and size."""
    size = _size(found, far_ohm) if size is None else size
    item = short(_place_words(found, far_ohm) or PLACES.get(found.what, "the pad"), 24)
    words = {
        "item": item,
        "size": size or "a worse match than it should",
        "detail": f"the {found.detail}" if found.detail else "a resistor of {item} is burnt out or bridged",
        "check": _check(found.item, far_ohm),
    }
    words["detail"] = words["detail"].format(item=item)
    meaning, remedy = MEANINGS[found.what]
    return meaning.format(**words), DEFECTIVE if found.is_defect else remedy.format(**words)


def _check(end: str, far_ohm: float) -> str:
    """How a known end that may be bad is checked."""
    if end not in ("load", "load50"):
        return "try another short"
    ohm = far_ohm if end == "load" else LOAD50_OHM
    return f"try another load, or meter this one by itself: {ohm:g} ohm is sound"


def _place_words(each: Hypothesis, far_ohm: float) -> str:
    """Where a fault sits: an item, a joint or one of the known ends."""
    return end_words(each.item, far_ohm) if each.what == BAD_END else each.item


def _rests(result: Proof) -> str:
    """What may be hidden behind a chain that shows no fault, or how firmly another verdict stands."""
    if result.verdict == NOTHING_SHOWN:
        return _hidden(result)
    if _is_metered_alone(result) and not result.is_ohms_sound:
        return f"A sound chain shows {_ohm_range(result)}, its far end open."
    if result.verdict == NONE_OF_THESE:
        return _nearest(result)
    if result.verdict == CANT_TELL:
        likely = [f"{each.what} {100 * each.share:.0f} %" for each in result.hypotheses if each.share >= 0.05]
        return fitted(*(f"Likeliest: {', '.join(likely[:most])}." for most in (4, 3, 2, 1)))
    if result.contradiction is not None:
        return "Each reading alone fits a sound chain; all together do not."
    others = [each for each in result.hypotheses[1:] if each.share >= SHOWN]
    rest = (
        f"Next likely: {_short(others[0].what)} ({_share(others[0].share)})." if others else "Nothing else comes near."
    )
    return fitted(f"Rests on {counted(_count(result), 'reading')}. {rest}")


def _nearest(result: Proof) -> str:
    """What comes nearest to readings that nothing known here gives, and where it fails."""
    first = result.hypotheses[0]
    if result.ohms is not None and _is_meter_odd(result):
        return f"The ends read as a sound chain's do; the ohmmeter should show {_ohm_range(result)}."
    lead = f"Nearest: {_short(first.what)}"
    return fitted(f"{lead}. A figure mistyped, ends mixed up, or two faults?", f"{lead}; mistyped, or two faults?")


def _is_metered_alone(result: Proof) -> bool:
    return result.ohms is not None and not result.readings


def _is_meter_odd(result: Proof) -> bool:
    """Whether a sound chain shows every reading but that of the ohmmeter."""
    return result.ohms is not None and not result.is_ohms_sound and all(each.is_sound for each in result.readings)


def _ohm_range(result: Proof) -> str:
    """What the card states of a sound chain."""
    if isinf(result.ohms_expected):
        return "open"
    return f"{result.ohms_low:.1f} to {result.ohms_high:.1f} ohm"


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
    words = [_hidden_words(each, result.far_ohm) for each in result.could_hide]
    lead = f"{'It' if _count(result) == 1 else 'They'} could hide"
    shown = [words[:most] for most in (HIDDEN_SHOWN, 2, 1)]
    return fitted(*(f"{lead} {' or '.join(each)}." for each in shown))


def _hidden_words(each: Hidden, far_ohm: float) -> str:
    text = HIDDEN.get(each.what, each.what)
    item = end_words(each.item, far_ohm) if each.what == BAD_END else each.item
    size = "" if each.size is None else _amount(each.size, each.size_of, far_ohm)
    if each.size is not None and each.size > ANYTHING and each.size_of not in ("loss_db", OPEN_END):
        size = "any match"
    return text.format(item=item or "the pad", size=size)


def _size(each: Hypothesis, far_ohm: float) -> str:
    if each.size is None or each.size_low is None or each.size_high is None:
        return ""
    kind = each.size_of
    if len(each.size_spans) > 1:
        spans = [f"{_range(e.low, e.high, kind, far_ohm)} ({e.share:.0%})" for e in each.size_spans]
        return f"{' or '.join(spans)}{_unit(kind)}"
    ends = _range(each.size_low, each.size_high, kind, far_ohm)
    return f"{_amount(each.size, kind, far_ohm)} ({ends})"


def _amount(size: float, kind: str, far_ohm: float) -> str:
    """A size with its unit: a loss in dB, what lies across an end in ohm, else a match in the user's unit."""
    if kind == "loss_db":
        return f"{db(size)} dB"
    return f"{_ohm(size, far_ohm)} ohm" if kind == OPEN_END else match(float(vswr(size)))


def _range(low: float, high: float, kind: str, far_ohm: float) -> str:
    if kind == "loss_db":
        return f"{db(low)} to {db(high)}"
    if kind == OPEN_END:
        return f"{_ohm(low, far_ohm)} to {_ohm(high, far_ohm)}"
    return between(float(vswr(low)), float(vswr(high)))


def _ohm(size: float, far_ohm: float) -> str:
    """What lies across an open end that reflects so much."""
    return f"{float(f'{far_ohm * (1 + size) / max(1 - size, LEAST_GAP):.2g}'):g}"


def _unit(kind: str) -> str:
    """Unit behind several ranges, whose ends have none."""
    return {"loss_db": " dB", OPEN_END: " ohm"}.get(kind, "")


def _next(result: Proof) -> str:
    """What to do next: the remedy of a named fault, else the reading that would settle most."""
    found, first = result.telling, result.hypotheses[0]
    if result.verdict == NONE_OF_THESE:
        odd = _is_meter_odd(result)
        return f"Next: {METER_AGAIN if odd else 'read each end once more, one at a time'}."
    doubtful = _is_metered_alone(result) and not result.is_ohms_sound
    if doubtful and (first.what in JOINTS or (found is not None and found.overlap > HARDLY)):
        return f"Next: {APART}."
    likely = [each for each in result.hypotheses[:3] if each.what == BAD_END and each.share >= MAY_BE]
    if result.verdict == CANT_TELL and likely and len({each.end for each in result.readings}) > 1:
        return line_of("Next: ", _check(likely[0].item, result.far_ohm))
    if result.verdict not in (NOTHING_SHOWN, CANT_TELL, "right"):
        return line_of("Next: ", _meaning(first, result.far_ohm)[1])
    if found is None:
        return "Next: measure the antenna." if result.verdict == "right" else ""
    if result.verdict == NOTHING_SHOWN and found.reseated and found.overlap > HARDLY:
        return "Next: measure the antenna; to read an end again would tell little more."
    if found.end == OHMMETER:
        if result.ohms is not None:
            return "Next: take the pad out and meter it by itself; 'chain card' has its ohms."
        return f"Next: meter the chain, its far end open: {ohm_words(result.ohms_expected)} is sound (--ohms)."
    end = end_words(found.end, result.far_ohm)
    article = "an" if end.startswith("open") else "a"
    read = f"make the near joints again and read the {end}" if found.reseated else f"read {article} {end} too"
    if found.first_low is None:
        return f"Next: {read}."
    one = f"{between(found.first_low, found.first_high)} if {_short(found.first or '')}"
    other = f"{between(found.second_low, found.second_high)} if {_short(found.second or '')}"
    return fitted(f"Next: {read}: {one}, {other}.", f"Next: {read}: {one}.", f"Next: {read}.")


def _together(result: Proof) -> str:
    """Why a chain is not right though each of its readings would do."""
    found = result.contradiction
    if found is None or found.given is None or found.other is None or found.low_vswr is None or found.high_vswr is None:
        return ""
    given, other = (result.readings[number] for number in (found.given, found.other))
    return (
        f"A right chain that shows {_named(given, result)} at {match(given.reading_vswr)} shows {_named(other, result)} at "
        f"{between(found.low_vswr, found.high_vswr)} (95 %), and {match(other.reading_vswr)} was read."
    )


def _named(each: ReadTermination, result: Proof) -> str:
    again = f", re-seated ({each.seating})," if each.seating else ""
    return f"the {end_words(each.end, result.far_ohm)}{again}"


def _readings(result: Proof, console: Console) -> None:
    first = result.hypotheses[0].what
    both = first != RIGHT and bool(result.readings)
    columns = [Column("termination", numeric=False), Column(f"screen\n{head()}"), Column("if right\n(95 %)")]
    if both:
        columns.append(Column(f"if {_short(first)}\n(99 %)"))
    rows = []
    for each in result.readings:
        name = end_words(each.end, result.far_ohm) + (f", re-seated ({each.seating})" if each.seating else "")
        row = [
            name,
            "off scale" if isinf(each.reading_vswr) else figure(each.reading_vswr),
            span(each.right_low, each.right_high),
        ]
        rows.append([*row, span(each.first_low, each.first_high)] if both else row)
    if result.ohms is not None:
        row = ["ohmmeter, near end", ohm_words(result.ohms), _ohm_range(result)]
        rows.append([*row, ""] if both else row)
    show_table(console, columns, rows)


def _short(what: str) -> str:
    return what.split(" or ")[0]


def _kinds(result: Proof, console: Console) -> None:
    columns = [
        Column("what it may be", numeric=False, wraps=True),
        Column("probability"),
        Column("where", numeric=False, wraps=True),
        Column("size (95 %)", numeric=False, wraps=True),
    ]
    shown = [each for each in result.hypotheses if each.share >= SHOWN]
    rows = [
        [
            each.what,
            _share(each.share),
            _where(each, result.far_ohm),
            _size(each, result.far_ohm) + (" loss" if each.size_of == "loss_db" else ""),
        ]
        for each in shown
    ]
    show_table(console, columns, rows)
    rest = [each.what for each in result.hypotheses if each.share < SHOWN]
    if rest:
        say(console, f"under {percent(SHOWN)}: {', '.join(rest)}")


def _where(each: Hypothesis, far_ohm: float) -> str:
    words = _place_words(each, far_ohm)
    words += f": {each.detail}" if each.detail else ""
    return f"{words} ({each.item_share:.0%})" if words and each.item_share < 0.8 else words


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
        f"count together; every fault is thought equally likely at first; a verdict needs {result.enough:.0%}. Of sound "
        f"chains 95 % show every reading inside its range. {result.draws} simulated chains for each kind of fault, seed "
        f"{result.seed}. Sizes are drawn evenly from ranges that reach zero, as follows."
    )


def _share(share: float) -> str:
    """A probability as a percentage; near certainty is never called certainty."""
    return "> 99.9 %" if share > 0.999 else percent(share)
