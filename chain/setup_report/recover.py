"""What the antenna truly is: screen and antenna side by side, worst first, with interval, bound and verdict."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from rich.console import Console
from rich.text import Text

from chain.analyses.recovery import WORST_SHOWN, ChannelResult, Recovery
from chain.setup_report.numbers import (
    about_words,
    between,
    db,
    figure,
    frequency,
    head,
    limit,
    match,
    percent,
    span,
    units,
)
from chain.setup_report.phrases import (
    CHECK_CHAIN,
    PORT_ONLY_LINE,
    draws_words,
    fitted,
    plane_words,
    takes_port_only,
    turn_step,
    verdict_word,
)
from chain.setup_report.steps import helping_step
from chain.setup_report.tables import Column, answer, notes, safe, say, show_table
from library.channels import runs

WIDE = 88
"""Columns of a console that has room for the loss beside the impedance."""
LOST = "mismatch\nloss, dB"
BOUND = "guaranteed\nbound"
APART_LINE = "A channel's interval holds for all its points together, a point's for itself."
LOW_ENOUGH, HIGH_ENOUGH = 1.005, 30.0
"""A bound from a perfect match to worse than this says nothing."""
LEANS = {"leans better": "It leans to good", "open": "It is undecided", "leans worse": "It leans to bad"}
CHANNEL_GROUPS = ("good", "leans good", "undecided", "leans bad", "bad", "impossible")
UNCERTAIN = ("leans good", "undecided", "leans bad")
OHM = "antenna\nohm"
POINT_COLUMNS = (
    Column("at", numeric=False),
    Column("screen\n{unit}"),
    Column("antenna\n{unit}"),
    Column("interval\n{share}"),
    Column(BOUND),
    Column(LOST),
    Column(OHM),
    Column("verdict", numeric=False),
)
SHARES_SHOWN = 3
NOTHING_THERE = 20.0
"""VSWR from which an antenna can hardly be distinguished from an open end."""
ENOUGH_TO_TUNE = 5
"""Points with phase from which a course over frequency shows; single readings have none."""
SLIGHT_SHARE = 0.005
"""A share that is none in whole percent."""
STYLES = {"pass": "green", "fail": "red", "not proven": "yellow", "impossible": "bold red"}


def render(result: Recovery, console: Console, every_point: bool = False) -> None:
    """Print the true match behind readings."""
    first, *more = opening(result)
    answer(console, [safe(first, STYLES.get(result.verdict, "")), *more], result.warnings)
    for _, reason in result.refused[:WORST_SHOWN]:
        say(console, safe("refused: ", STYLES["impossible"]), reason, indent=2)
    if len(result.refused) > WORST_SHOWN:
        say(console, f"refused: {len(result.refused) - WORST_SHOWN} more readings")
    if result.refused:
        console.print()
    if result.channels:
        _channels(result, console)
        console.print()
    _points(result, console, every_point)
    if result.verdict == "not proven" and takes_port_only(result.assumed):
        say(console, PORT_ONLY_LINE)
    if result.ripple is not None:
        say(console, f"{result.ripple} 'chain ripple' says more.")
    method = [
        line for line in (level_line(result), most_uncertain(result), _linear(result), _conditions(result)) if line
    ]
    notes(console, result.assumed, method)


def opening(result: Recovery) -> list[str]:
    """Verdict with its number; the worst place and what it rests on, or the channels by grade; the next step."""
    worst = worst_point(result)
    if worst is None:
        return [
            "Impossible: no antenna can give these readings through this chain.",
            "",
            CHECK_CHAIN,
        ]
    here, value = place(result, worst), float(result.true_vswr[worst])
    about, wanted = about_words(value), "" if result.limit_vswr is None else limit(result.limit_vswr)
    whole = result.freq_hz.size > 1
    at = "at worst" if whole else "it is"
    read, ends = _read(result, here), between(float(result.low[worst]), float(result.high[worst]))
    # Behind much loss a figure at the antenna is the errors' own: a sentence that named it would be believed.
    doubt = "; nothing is seen of it." if ends == "anything" else f"; {at} {about}."
    text = {
        "pass": fitted(
            f"Good: the antenna has {wanted} or better {read}; {at} {about}.",
            f"Good: {wanted} or better {read}; {at} {about}.",
        ),
        "fail": _bad(result, wanted, f"{here} {about}"),
        "not proven": fitted(
            f"Cannot decide if the antenna has {wanted} or better{doubt}",
            f"Cannot decide if it has {wanted} or better{doubt}",
        ),
        "impossible": "Impossible: some of the readings cannot come through this chain; see below.",
        "no limit": f"The reading at {here} says nothing of the antenna. No limit is stated."
        if ends == "anything"
        else f"The antenna has about {match(value)} at {here}. No limit is stated.",
    }[result.verdict]
    rests = f"{f'Worst, {here}' if whole else f'{here[:1].upper()}{here[1:]}'}: {ends} ({_share(result)}). "
    second = channel_line(result) or fitted(*(f"{rests}{each}" for each in _rests(result)))
    return [text, second, turn_step(result.turned) if result.turned else _next(result)]


def place(result: Recovery, index: int) -> str:
    """Where a reading is, as it was typed: its channel, else the frequency."""
    channel = _channel(result, index)
    return f"channel {channel}" if channel and result.named[index] else frequency(float(result.freq_hz[index]))


def _channel(result: Recovery, index: int) -> str:
    """Channel that a single reading is at the middle of."""
    return result.middle_of[index] if result.middle_of and not result.channels else ""


def both_places(result: Recovery, index: int) -> str:
    """Channel and frequency of a reading, that first which was typed."""
    channel, freq = _channel(result, index), frequency(float(result.freq_hz[index]))
    if not channel:
        return freq
    return f"ch {channel}, {freq}" if result.named[index] else f"{freq}, ch {channel}"


def worst_point(result: Recovery) -> int | None:
    """The point that the verdict names: the first of those that are possible, inside the channels if any is."""
    known = [at for at in result.worst_first() if not math.isnan(result.low[at])]
    judged = result.judged_points()
    return next((at for at in known if judged[at]), known[0] if known else None)


def _read(result: Recovery, here: str) -> str:
    """Where what is said was read: everywhere only where nothing of the set-up was left out."""
    count = result.freq_hz.size
    if count == 1:
        return f"on {here}" if here.startswith("channel") else f"at {here}"
    if result.whole:
        return "everywhere"
    words = channel_words(result)
    if not words:
        return f"at all {count} points read"
    channels = f"on all {len(words)} channels read" if len(words) > 1 else f"on channel {next(iter(words))}"
    return f"{channels} (of {len(result.setup_channels)})"


def _rests(result: Recovery) -> list[str]:
    """Whose figures the interval stands on: those of a stated analyzer, or of one that was assumed."""
    kind = next(
        (kind for kind in ("handheld", "bench") for text in result.assumed if f"typical of a {kind}" in text), None
    )
    if any(text.startswith("no set-up was given") for text in result.assumed):
        kind = "handheld"
    text = "Stated analyzer" if kind is None else f"A {kind} is assumed"
    if result.typical_share <= SLIGHT_SHARE:
        return [f"{text}."]
    share = f"{100 * result.typical_share:.0f} %"
    cause = f"typical figures cause {'all' if share == '100 %' else share} of"
    brief = [] if kind is None else [f"{kind.capitalize()} assumed; {cause} it."]
    return [f"{text}; {cause} it.", *brief, f"{cause.capitalize()} the range.", f"{cause.capitalize()} it."]


def _next(result: Recovery) -> str:
    found = result.improvement
    if result.verdict == "no limit" and any(text.startswith("no set-up was given") for text in result.assumed):
        return "Next: 'chain new -o mine.toml' begins a file of your own chain, with its limit."
    if result.verdict == "no limit":
        return 'Next: write limit = "VSWR 2.0" or the like under [far] to have it judged.'
    if result.verdict == "pass":
        return _rest_to_read(result)
    if result.verdict == "fail":
        if np.nanmedian(result.true_vswr) > NOTHING_THERE:
            return "Next: is the antenna on? Nothing connected shows as much; else 'chain prove'."
        if result.true_ohm is not None and result.freq_hz.size >= ENOUGH_TO_TUNE:
            return "Next: test the chain ('chain prove'), then tune the antenna ('chain tune')."
        if result.true_ohm is not None:
            return "Next: test the chain ('chain prove'); 'chain tune' needs a whole sweep."
        return f"Next: test the chain ('chain prove'); {'RL' if units().in_db else 'VSWR'} alone cannot say which way to tune."
    if result.verdict == "impossible":
        return CHECK_CHAIN
    if found is None:
        return "Next: 'chain planes' says where to calibrate."
    return helping_step(found.what, found.low, found.high)


def _rest_to_read(result: Recovery) -> str:
    """What of the set-up was not read, after a pass."""
    if result.whole:
        return "Next: nothing more to do here."
    if not result.setup_channels:
        return "Next: read the rest of the set-up's sweep as well."
    read = {each.channel for each in result.read_channels}
    rest = [name for name in result.setup_channels if name not in read]
    many = "channel" if len(rest) == 1 else "channels"
    return fitted(
        f"Next: read {many} {_runs(rest)} as well.", f"Next: read the other {len(rest)} {many} of the set-up as well."
    )


def level_line(result: Recovery) -> str:
    """How far what is not proven leans, by the chance that an antenna at the limit reads this or more."""
    if result.level is None or result.limit_vswr is None or result.verdict != "not proven":
        return ""
    word = LEANS[result.grade or "open"]
    chance = f"{100 * result.level:.0f} %"
    kind = "sweep" if len(result.verdicts) > 1 else "antenna"
    what = "its worst point" if kind == "sweep" else "this"
    return (
        f"{word}: an antenna just at {limit(result.limit_vswr)} would show {what} or worse with a chance of {chance}."
    )


def _bad(result: Recovery, wanted: str, worst: str) -> str:
    """That the antenna is bad, and on how many channels where it is not on all of them."""
    words = list(channel_words(result).values())
    bad = words.count("bad")
    if 0 < bad < len(words):
        return fitted(
            f"Bad on {bad} of {len(words)} channels{'' if result.whole else ' read'}: worse than {wanted}, at worst {worst}.",
            f"Bad on {bad} of {len(words)} channels: worse than {wanted}, {worst}.",
        )
    return f"Bad: the antenna is worse than {wanted}, at {worst}."


def channel_words(result: Recovery) -> dict[str, str]:
    """What each channel is called: by all its points, or by the one reading at its middle where every reading is at one."""
    if result.channels:
        return {each.channel: verdict_word(each.verdict, each.grade) for each in result.channels}
    if len(result.middle_of) < 2 or not all(result.middle_of):
        return {}
    judged = zip(result.middle_of, result.verdicts, result.grades, strict=True)
    return {channel: verdict_word(verdict, grade) for channel, verdict, grade in judged}


def channel_line(result: Recovery) -> str:
    """The good channels, the doubtful ones and the bad ones, each by number; of too many the good ones, else counts."""
    words = channel_words(result)
    if not words or result.limit_vswr is None:
        return ""
    groups = {group: [each for each in words if words[each] == group] for group in CHANNEL_GROUPS}
    named = {group: f"{group.capitalize()}: {_runs(found)}." for group, found in groups.items() if found}
    uncertain = [each for each in words if words[each] in UNCERTAIN]
    merged = {**named, "doubtful": f"Doubtful: {_runs(uncertain)}."} if uncertain else named
    brief = [text for group, text in merged.items() if group not in UNCERTAIN]
    counts = [f"{len(groups['good'])} good", f"{len(uncertain)} doubtful", f"{len(groups['bad'])} bad"]
    return fitted(
        " ".join(named.values()),
        " ".join(brief),
        f"{named.get('good', 'Good: none.')} {' and '.join(counts[1:])}; the table names the worst.",
        f"Of {len(words)} channels {', '.join(counts)}; --all names each.",
    )


def _runs(found: list[str]) -> str:
    """Names in the order of the channels, those that follow one another drawn together: 5-8, 10."""
    return ", ".join(
        run[0] if len(run) == 1 else f"{run[0]}{', ' if len(run) == 2 else '-'}{run[-1]}" for run in runs(found)
    )


def _share(result: Recovery) -> str:
    return percent(result.coverage).replace(".0", "")


def _channels(result: Recovery, console: Console) -> None:
    columns = [
        Column("channel", numeric=False),
        Column("worst at"),
        Column(f"screen\n{head()}"),
        Column(f"antenna\n{head()}"),
        Column(f"interval\n{_share(result)}"),
        Column("verdict", numeric=False),
    ]
    rows = [
        [
            each.channel,
            frequency(each.worst_hz),
            figure(each.reading_vswr),
            figure(each.vswr),
            span(each.low, each.high),
            _word(each.verdict, each.grade),
        ]
        for each in result.channels
    ]
    show_table(console, columns, rows)


def _word(verdict: str, grade: str | None = None) -> Text:
    return safe(verdict_word(verdict, grade), STYLES.get(verdict, ""))


def _points(result: Recovery, console: Console, every_point: bool) -> None:
    count = result.freq_hz.size
    order: Sequence[int] = range(count)
    if not every_point:
        order = result.worst_points()
    texts = [_point(result, index) for index in order]
    shown = [column for column in POINT_COLUMNS if _worth(column, result, console.width)]
    columns = [replace(column, header=column.header.format(share=_share(result), unit=head())) for column in shown]
    show_table(console, columns, [[text[column.header] for column in shown] for text in texts])
    if len(order) < count:
        kind = "worst point of each channel" if result.channels_apart else "worst places"
        what = (
            f"channels read, {len(order)} of {count}"
            if result.is_by_channel
            else f"{kind}, {len(order)} of {count} points"
        )
        say(console, f"The {'worst ' if result.is_by_channel else ''}{what}; --all shows every one.")
    if any(_apart(result, each) for each in result.channels):
        say(console, APART_LINE)


def _apart(result: Recovery, channel: ChannelResult) -> bool:
    """Whether a channel is called otherwise than its worst point, or has another interval."""
    at = result.at_worst_of(channel)
    point = verdict_word(result.verdicts[at], result.grades[at]), span(float(result.low[at]), float(result.high[at]))
    return (verdict_word(channel.verdict, channel.grade), span(channel.low, channel.high)) != point


def _worth(column: Column, result: Recovery, width: int) -> bool:
    """Whether a column has something to say, and room to say it."""
    if column.header == OHM:
        return result.true_ohm is not None
    if column.header == LOST:
        bounded = any(result.middle_of) and any(_is_bounded(result, index) for index in range(result.freq_hz.size))
        return (result.true_ohm is None and not bounded) or width >= WIDE
    if column.header == BOUND:
        return any(_is_bounded(result, index) for index in range(result.freq_hz.size))
    return column.header != "verdict" or len(set(zip(result.verdicts, result.grades, strict=True))) > 1


def _point(result: Recovery, index: int) -> dict[str, object]:
    known = not math.isnan(result.low[index])
    cells = (
        both_places(result, index),
        figure(float(result.reading_vswr[index])),
        figure(float(result.true_vswr[index])) if known else "none",
        span(float(result.low[index]), float(result.high[index])),
        bound_words(result, index),
        _lost(float(result.mismatch_loss_db[index])) if known else "none",
        "" if result.true_ohm is None else impedance(complex(result.true_ohm[index])),
        _word(result.verdicts[index], result.grades[index]),
    )
    return {column.header: cell for column, cell in zip(POINT_COLUMNS, cells, strict=True)}


def _lost(loss_db: float) -> str:
    return "all" if math.isinf(loss_db) else db(loss_db)


def _is_bounded(result: Recovery, index: int) -> bool:
    """Whether the guaranteed bound says anything."""
    return not (float(result.bound_low[index]) < LOW_ENOUGH and float(result.bound_high[index]) > HIGH_ENOUGH)


def bound_words(result: Recovery, index: int) -> str:
    """The guaranteed bound, or that it leaves anything open; NaN where nothing possible reads so."""
    low, high = float(result.bound_low[index]), float(result.bound_high[index])
    return span(low, high) if _is_bounded(result, index) else "anything"


def impedance(ohm: complex) -> str:
    """Resistance and reactance in a cell."""
    if not (math.isfinite(ohm.real) and math.isfinite(ohm.imag)):
        return "open"
    return f"{ohm.real:.0f}{'-' if ohm.imag < 0 else '+'}j{abs(ohm.imag):.0f}"


def most_uncertain(result: Recovery) -> str:
    """The items that cause most of the uncertainty."""
    most = [f"{each.id} {percent(each.share)}" for each in result.contributions[:SHARES_SHOWN]]
    return f"Most of the uncertainty: {', '.join(most)}." if most else ""


def _linear(result: Recovery) -> str:
    """What linear propagation says of the readings it holds for, and why it does not hold for the others."""
    found = result.linear
    if found is None:
        return "No GUM figure: it needs phase."
    count, valid = found.valid.size, int(found.valid.sum())
    why = Counter(reason for reason in found.reasons if reason).most_common(1)
    reason = why[0][0] if why else ""
    if not valid:
        return f"Linear propagation (GUM) is not valid here: {reason}. The interval is the answer."
    u = found.u_magnitude[found.valid]
    low, high = f"{u.min():.2g}", f"{u.max():.2g}"
    parts = {each.id: float((each.u_magnitude[found.valid] ** 2).sum() / (u**2).sum()) for each in found.contributions}
    most = sorted(parts, key=lambda name: -parts[name])[:SHARES_SHOWN]
    split = ", ".join(f"{name} {percent(parts[name])}" for name in most)
    where = "" if count == 1 else " at every reading" if valid == count else f" at {valid} of {count} readings"
    text = f"Linear propagation (GUM){where}: standard uncertainty of |reflection| {low if low == high else f'{low} to {high}'}"
    rest = f" Not valid elsewhere, mostly because {reason}." if reason else ""
    return f"{text}; share of the variance: {split}.{rest}"


def _conditions(result: Recovery) -> str:
    text = (
        f"Readings: {result.interpretation}. Screen in {result.reading_ohm:g} ohm, calibrated {plane_words(result.plane)}; "
        f"antenna in {result.far_ohm:g} ohm at its own connector; mismatch loss: of power that the antenna reflects. "
        "With nothing connected the screen shows about "
        f"{match(result.ceiling_vswr)}, by nominal parts; 'chain expect' says how far real ones may lift that. {draws_words(result)}."
    )
    if result.excluded_share > 0:
        text += f" {percent(result.excluded_share)} of the simulated chains would need more than a full reflection; none was left out."
    return f"{text} Not modelled: currents on the outside of the lead, and whatever stands near the antenna."
