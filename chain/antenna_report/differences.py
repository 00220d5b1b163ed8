"""Two antennas compared: which is better, by how much, channel by channel; by match, and by received levels."""

from __future__ import annotations

import math

from rich.console import Console
from rich.text import Text

from chain.comparisons.antennas import AntennaComparison, ChannelDifference
from chain.comparisons.levels import LevelChannel, LevelComparison
from chain.errors import plain
from chain.results import IMPOSSIBLE, TOLD_APART_DB
from chain.setup_report.numbers import figure, figure_of, head, match, match_in_short, span
from chain.setup_report.phrases import CHECK_CHAIN, fitted, short
from chain.setup_report.tables import Column, answer, notes, say, show_table

STYLES = {"better": "green", "worse": "red", "mixed": "yellow", IMPOSSIBLE: "bold red"}
CHANGED = {
    "better": "Next: keep the change; sweep once more to see that it stays so.",
    "worse": "Next: undo the change, or look for what has come loose or wet.",
}
MOST_ROWS = 12
Grid = tuple[list[Column], list[list[object]]]


def render(
    result: AntennaComparison, console: Console, every: bool = False, files: tuple[str, str] | None = None
) -> None:
    """Print a comparison by match."""
    answer(console, match_lines(result), result.warnings)
    columns, rows = match_grid(result)
    shown = rows if every else rows[:MOST_ROWS]
    show_table(console, columns, shown)
    say(console, judged_line(result))
    if result.alone:
        what = _what(result, len(result.alone))
        text = f"Alone, {what} {', '.join(map(short, result.alone))} would differ"
        say(console, f"{text}; among {len(result.channels)} judged together that may be chance.")
    hidden = f"{len(rows) - len(shown)} more channels (--all)" if len(rows) > len(shown) else ""
    named = "" if files is None else f"{result.first_name} is {files[0]}, {result.second_name} {files[1]}. "
    method = (
        f"{named}Changes are {short(result.second_name)} less {short(result.first_name)}, with what holds for all rows "
        f"at once (95 %): of the reflection at the worst point (then: what {short(result.second_name)} may be, by its own reading and "
        f"by the change from what is shown of {short(result.first_name)}), and of the power that the channel loses to its match. "
        f"{_shared(result)} {result.points} points, {result.draws} draws, seed {result.seed}."
    )
    notes(console, (), [method], more=hidden)


def judged_line(result: AntennaComparison) -> str:
    """What the rows were judged as, in the same words for two antennas as for one before and after."""
    count = len(result.channels)
    rows = f"all {count} {_what(result, count)} judged together" if count > 1 else f"one {_what(result, 1)} judged"
    taken = "two antennas" if result.exchanged else "one antenna, joint left alone"
    if not result.has_phase:
        taken = "two antennas at any phases" if result.exchanged else "one antenna, its phase kept"
    return f"Taken for {taken}; {rows} (95 %)."


def _shared(result: AntennaComparison) -> str:
    if result.has_phase and not result.exchanged:
        return "Errors that both sweeps share cancel; the joint at the antenna is taken for undisturbed."
    if result.has_phase:
        return "Errors that both sweeps share cancel."
    if result.exchanged:
        return "No phase was read: each antenna may stand at any, so the errors that both share need not cancel."
    return "No phase was read: both readings are taken for one antenna at one phase, whichever that is."


def match_lines(result: AntennaComparison) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next."""
    first, second = short(result.first_name), short(result.second_name)
    count, better, worse = len(result.channels), result.count("better"), result.count("worse")
    what = _what(result, count)
    if result.verdict == "can't tell":
        surely = f"none of {count} {what} surely differs" if count > 1 else f"the one {what} does not surely differ"
        head = f"Cannot tell: {surely} between {first} and {second}."
    elif better and worse:
        head = f"{second}: better than {first} in {better}, worse in {worse} of {count} {what}."
    elif better:
        head = f"{second} is better than {first} in {better} of {count} {what}."
    elif worse:
        head = f"{second} is worse than {first} in {worse} of {count} {what}."
    else:
        head = f"{second} and {first} differ: better by one measure, worse by the other."
    if result.nothing_connected and result.verdict in CHANGED:
        return _nothing_lines(result, what)
    if result.lossier_lead_db is not None:
        gain = f"by about {result.lossier_lead_db:.1f} dB"
        return (
            head if result.exchanged else _since(head),
            fitted(
                f"All return losses are better alike, {gain}: a lossier lead or joint does that.",
                f"All are better alike, {gain}: a lossier lead or joint does that.",
            ),
            "Next: before you believe it, read the lead's open end ('chain prove --open').",
        )
    return (
        head if result.exchanged else _since(head),
        _rests_on(result, result.most),
        CHECK_CHAIN if result.count(IMPOSSIBLE) else _next(result),
    )


def _nothing_lines(result: AntennaComparison, what: str) -> tuple[str, str, str]:
    """Of two ends that turn back more than half of the power everywhere: no antenna is praised or blamed."""
    less = "less" if result.verdict == "better" else "more"
    count, changed = len(result.channels), result.count(result.verdict)
    pair = (f"{short(result.second_name)} returns", f"than {short(result.first_name)}")
    if not result.exchanged:
        pair = ("Now returns", "than before")
    return (
        fitted(f"{pair[0]} {less} {pair[1]} in {changed} of {count} {what}, but both more than half."),
        f"So does a lead with nothing at its end: {less} comes back when it loses {'more' if less == 'less' else 'less'}.",
        "Next: is an antenna connected? For a lead's own loss 'chain log add --lead'.",
    )


def _what(result: AntennaComparison, count: int) -> str:
    """What the rows are, for so many of them."""
    return ("channel" if result.in_channels else "stretch") + (
        "" if count == 1 else "s" if result.in_channels else "es"
    )


def _since(head: str) -> str:
    """The same of one antenna before and after a change."""
    return head.replace("between before and now", "since then", 1).replace("now", "Now", 1)


def _rests_on(result: AntennaComparison, most: ChannelDifference) -> str:
    name = f"Channel {short(most.channel)}" if result.in_channels else short(most.channel)
    change = most.loss_change_db
    interval = f"{_signed(most.loss_low_db)} to {_signed(most.loss_high_db)}"
    tail = f"then {figure_of(most.second_vswr)}; mismatch loss {_signed(change)} dB, {interval} (95 %)."
    brief = tail.replace("mismatch loss", "loss")
    first = match(most.first_vswr), match_in_short(most.first_vswr)
    return fitted(*(f"{name}: {each}, {rest}" for rest in (tail, brief) for each in first))


WITHOUT_PHASE = {
    True: "Next: save the sweeps with phase; then errors that both share cancel.",
    False: "Next: of one antenna 'chain recover SETUP B --before A' tells more.",
}
"""What shows more where no phase was read, by whether the analyzer could show one."""


def _next(result: AntennaComparison) -> str:
    open_rows = result.count("can't tell")
    if result.processed:
        return f"Next: compare sweeps as measured; one is {plain(result.processed)}, and nothing is concluded from it."
    if open_rows and not result.has_phase and (result.could_show_phase or result.exchanged):
        return WITHOUT_PHASE[result.could_show_phase]
    if not result.exchanged and result.verdict in CHANGED:
        return CHANGED[result.verdict]
    if result.verdict == "better":
        return f"Next: keep {short(result.second_name)}; sweep it once more to see that it stays so."
    if result.verdict == "worse":
        return f"Next: go back to {short(result.first_name)}."
    if result.verdict == "mixed":
        return "Next: decide by the channels you need; the table names them."
    if result.plane == "near" and result.could_move_plane:
        return "Next: calibrate at the end of the lead and sweep both again."
    if not result.has_phase:
        return "Next: without a phase only large changes show; try a larger one, or leave it."
    if not result.exchanged:
        return "Next: change it further, or take it for unchanged."
    return "Next: either will do; choose by gain, height and place."


def _signed(value: float) -> str:
    if abs(value) > TOLD_APART_DB:
        return f">{TOLD_APART_DB:.0f}" if value > 0 else f"<-{TOLD_APART_DB:.0f}"
    return f"{round(value, 2) + 0.0:+.2f}"


def match_grid(result: AntennaComparison) -> Grid:
    """Table of the channels."""
    columns = [
        Column("channel" if result.in_channels else "stretch,\nMHz", numeric=False),
        Column(f"{head()}\n{short(result.first_name)[:9]}"),
        Column(f"{head()}\n{short(result.second_name)[:9]}"),
        Column(f"{head()}\nthen, 95 %"),
        Column("mismatch\nloss, dB"),
        Column("\n95 %"),
        Column("verdict", numeric=False),
    ]
    rows = [
        [
            each.channel.removesuffix(" MHz"),
            figure(each.first_vswr),
            figure(each.second_vswr),
            *_change(each),
            Text(each.verdict, style=STYLES.get(each.verdict, "")),
        ]
        for each in result.channels
    ]
    return columns, rows


def _change(row: ChannelDifference) -> tuple[str, str, str]:
    """What the second may be, the change of loss and its interval; nothing of what is impossible."""
    if row.verdict == IMPOSSIBLE:
        return "none", "", ""
    interval = f"{_signed(row.loss_low_db)} to {_signed(row.loss_high_db)}"
    return span(row.second_low_vswr, row.second_high_vswr), _signed(row.loss_change_db), interval


def render_levels(result: LevelComparison, console: Console) -> None:
    """Print a comparison by received levels."""
    answer(console, level_lines(result), result.warnings)
    for number, grid in enumerate(level_grid(result)):
        if number:
            console.print()
        show_table(console, *grid)
    method = []
    if result.channels:
        method.append(
            f"Levels in {result.unit}, read {result.order}. Realised gain is what the receiver gets, match included; drift is "
            "taken out by the mean of neighbours. 95 % from repeatability, mismatch at the meter and the site's reflections; "
            f"each row by itself. {result.draws} draws, seed {result.seed}."
        )
    notes(console, result.assumed, method)


def level_lines(result: LevelComparison) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next."""
    if not result.channels:
        return _other_lines(result)
    first, second = short(result.first_name), short(result.second_name)
    reported = {word: [each for each in result.channels if each.verdict == word] for word in ("better", "worse")}
    span = f"{result.mean_low_db:.1f} to {result.mean_high_db:.1f} (95 %)"
    if result.verdict == "can't tell":
        head = f"Cannot tell {second} from {first} by level: {result.mean_db:+.1f} dB, {span}."
    else:
        head = f"{second} is {result.verdict} by {abs(result.mean_db):.1f} dB: {span}, mean of {len(result.channels)} channels."
    reference = ""
    if not math.isnan(result.reference_dbi):
        reference = f" Realised gain about {result.reference_dbi + result.mean_db:.1f} dBi."
    rests = f"Better in {len(reported['better'])}, worse in {len(reported['worse'])} of {len(result.channels)} channels.{reference}"
    if result.verdict != "can't tell" and not any(reported.values()):
        rests = f"No channel shows it alone, all {len(result.channels)} together do.{reference}"
    advice = "Next: read each again in turn, A-B-A-B; twice the readings narrow it most."
    if result.verdict != "can't tell":
        advice = f"Next: keep {second if result.verdict == 'better' else first}."
    return head, rests, advice


def _other_lines(result: LevelComparison) -> tuple[str, str, str]:
    if result.three:
        one = result.three[0]
        gains = ", ".join(f"{short(name)} {gain:.1f}" for name, gain in zip(one.antennas, one.gains_dbi, strict=True))
        return (
            f"Gains in dBi, channel {short(one.channel)}: {gains}.",
            "From the three pairs alone: no antenna of known gain was needed.",
            "Next: move the pair a little and read again; the site shows as a change.",
        )
    one_back = max(result.front_to_back, key=lambda each: each.reading_db)
    least = f"{one_back.low_db:.1f} dB or more" if math.isinf(one_back.high_db) else (
        f"{one_back.low_db:.1f} to {one_back.high_db:.1f} dB"
    )  # fmt: skip
    return (
        f"Front-to-back of {short(one_back.antenna)}, channel {short(one_back.channel)}: {least}.",
        f"It reads {one_back.reading_db:.1f} dB; reflections of the site may add to the back or take from it.",
        "Next: turn the antenna at another spot; a reading that stays is its own.",
    )


def level_grid(result: LevelComparison) -> list[Grid]:
    """Tables: channels, front-to-back, three antennas; those that the levels hold."""
    out: list[Grid] = []
    if result.channels:
        out.append((_level_columns(result), [_level_row(each, result) for each in result.channels]))
    if result.front_to_back:
        columns = [
            Column("antenna", numeric=False),
            Column("channel", numeric=False),
            Column("front-to-back\nread, dB"),
        ]
        rows: list[list[object]] = [
            [each.antenna, each.channel, f"{each.reading_db:.1f}", _ratio(each.low_db, each.high_db)]
            for each in result.front_to_back
        ]
        out.append(([*columns, Column("true, dB\n(site's floor)")], rows))
    if result.three:
        columns = [Column("channel", numeric=False), Column("antenna", numeric=False), Column("gain,\ndBi")]
        rows = [
            [each.channel, name, f"{gain:.2f}"]
            for each in result.three
            for name, gain in zip(each.antennas, each.gains_dbi, strict=True)
        ]
        out.append((columns, rows))
    return out


def _ratio(low: float, high: float) -> str:
    return f"{low:.1f} or more" if math.isinf(high) else f"{low:.1f} to {high:.1f}"


def _level_columns(result: LevelComparison) -> list[Column]:
    known = any(not math.isnan(each.gain_db) for each in result.channels)
    return [
        Column("channel", numeric=False),
        Column("readings"),
        Column("realised\ngain by, dB"),
        Column("\n95 %"),
        Column("drift,\ndB"),
        *([Column("no match:\ngain by, dB")] if known else []),
        Column("verdict", numeric=False),
    ]


def _level_row(each: LevelChannel, result: LevelComparison) -> list[object]:
    known = any(not math.isnan(one.gain_db) for one in result.channels)
    return [
        each.channel,
        str(each.readings),
        f"{each.realised_db:+.1f}",
        f"{each.low_db:+.1f} to {each.high_db:+.1f}",
        f"{each.drift_db + 0.0:+.1f}",
        *([f"{each.gain_db:+.1f}"] if known else []),
        Text(each.verdict, style=STYLES.get(each.verdict, "")),
    ]
