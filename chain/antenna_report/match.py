"""What a network at the antenna could do: the best of each family, with what the parts and the sweep leave uncertain."""

from __future__ import annotations

from rich.console import Console

from chain.setup_report.numbers import between, figure, figure_of, head, match, short_limit, span
from chain.setup_report.phrases import fitted, plane_words
from chain.setup_report.tables import Column, answer, notes, say, show_table
from chain.tuning.crossings import Estimate
from chain.tuning.matching import Matching

DIRECT = {"block": "blocked", "short": "shorted", "pass": "passes"}
CAUTIONS = (
    "Outdoors: build it at the antenna's own terminals, in a dry box with a hole downwards; water in it is worse than no network. "
    "It is meant for reception: coils and capacitors of this size are no match for a transmitter.",
    "Before you open the box: switch off and unplug whatever feeds power up the lead; keep clear of power lines.",
)
DC = {
    "block": "It blocks direct current: no masthead amplifier behind it gets its feed, and static cannot run off. Put 100 kohm across "
    "the antenna's side, and earth the mast as the local code asks.",
    "short": "It is a short for direct current, which lets static run off: never feed power up a lead that ends in it.",
    "pass": "It passes direct current, so it does nothing about static: earth the mast and the braid as the local code asks.",
}


def render(result: Matching, console: Console) -> None:
    """Print the networks, best first."""
    answer(console, three_lines(result), result.warnings, "green" if result.networks else "")
    if result.networks:
        columns, rows = grid(result)
        show_table(console, columns, rows)
        console.print()
        say(console, DC[result.networks[0].dc])
        for text in CAUTIONS:
            say(console, text)
    notes(console, result.assumed, [conditions(result)])


def grid(result: Matching) -> tuple[list[Column], list[list[object]]]:
    """Columns and rows: the best of each family, and no network last."""
    columns = [
        Column("family", False),
        Column("from lead to antenna", False, wraps=True),
        Column(f"worst\n{head()}"),
        Column("95 %"),
        Column("delivered\ndB"),
        Column("DC", False),
    ]
    rows: list[list[object]] = [
        [
            each.family,
            each.words,
            figure(each.worst_vswr.value),
            _ends(each.worst_vswr),
            f"{each.delivered_db:.2f}",
            DIRECT[each.dc],
        ]
        for each in result.networks
    ]
    now = result.now.vswr
    return columns, [*rows, ["none", "", figure(now.value), _ends(now), f"{result.now_delivered_db:.2f}", ""]]


PERFECT = 1.005
"""What is printed as VSWR 1.00."""


def three_lines(result: Matching) -> tuple[str, str, str]:
    """Verdict, what it rests on, what to do next: at most 80 characters each."""
    now = figure_of(result.now.vswr.value)
    if not result.networks:
        return (
            f"No network helps: none brings more to the antenna than the plain {now}.",
            f"{_floor(result)}.",
            "Next: leave it. Gain, place and lead matter more now.",
        )
    best = result.networks[0]
    heads = [
        f"A network makes the worst channel {each(best.worst_vswr.value)} instead of {now}"
        for each in (match, figure_of)
    ]
    first = fitted(f"{heads[0]}: {best.words}.", *(f"{head}{end}" for head in heads for end in ("; see below.", ".")))
    gain = best.delivered_db - result.now_delivered_db
    ends = between(best.worst_vswr.low, best.worst_vswr.high)
    floor = "" if result.floor_vswr < PERFECT else f" No network beats {figure_of(result.floor_vswr)}."
    second = f"95 %: {ends}; that channel gains {gain:.1f} dB.{floor}"
    if result.now.vswr.value <= result.limit_vswr:
        return (
            first,
            second,
            f"Next: hardly worth it; the limit of {short_limit(result.limit_vswr)} is met without a network.",
        )
    if best.worst_vswr.value > result.limit_vswr:
        return (
            first,
            second,
            f"Next: none reaches {short_limit(result.limit_vswr)}; change the antenna first (chain tune).",
        )
    return first, second, "Next: --write NAME gives a set-up with it; build it, and read the antenna again."


def _floor(result: Matching) -> str:
    """What no network can better, or that nothing says so."""
    if result.floor_vswr < PERFECT:
        return "The width of this span alone forbids no network a perfect match"
    return f"No lossless network can leave less than {match(result.floor_vswr)} over this span"


def _ends(found: Estimate) -> str:
    return span(found.low, found.high)


def conditions(result: Matching) -> str:
    """What the networks are made of, and what the figures mean."""
    low, high = result.wanted.low_hz / 1e6, result.wanted.high_hz / 1e6
    return (
        f"Wanted: {low:g} to {high:g} MHz, {result.freq_hz.size} frequencies. Coils and capacitors of {100 * result.tolerance:g} %, "
        f"coils of Q {result.coil_q:g}; cable lengths to 1 %. Delivered: to the antenna at its worst wanted frequency, loss of the "
        f"network included, against what the lead offers. {_floor(result)} (Bode and Fano, antenna "
        f"taken as one resonance of Q {result.quality_factor:.2g}). Calibrated "
        f"{plane_words(result.plane)}. {result.draws} draws, seed {result.seed}. Leads and strays of the parts are not in it: above "
        "300 MHz a millimetre of wire is about 1 nH."
    )
