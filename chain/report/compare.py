"""Two sweeps compared: what changed in each channel, most first, beside what the set-up alone may show."""

from __future__ import annotations

from rich.console import Console
from rich.text import Text

from chain.analyses.compare import BandChange, SweepComparison
from chain.errors import plain
from chain.report.numbers import percent, vswr
from chain.report.tables import Column, notes, safe, say, show_table

__all__ = ["render"]

MOST_SHOWN = 12
STYLES = {"better": "green", "worse": "red", "moved": "yellow", "changed": "yellow"}
WORDS = {"no change shown": "no change"}
SENTENCES = {
    "no change shown": "No change shown",
    "better": "Better",
    "worse": "Worse",
    "moved": "Moved, though no worst point is better or worse",
    "changed": "Changed",
    "not judged": "Change not judged",
}


def render(result: SweepComparison, console: Console) -> None:
    """Print what changed between two sweeps."""
    console.print()
    say(console, safe(_sentence(result), STYLES.get(result.verdict, "")))
    console.print()
    columns = [
        Column("stretch" if result.bands[0].channel.endswith("MHz") else "channel", figures=False),
        Column("VSWR\nbefore"),
        Column("VSWR\nafter"),
        Column("worst by\n(repeats)"),
        Column("anywhere by\n(repeats)"),
        Column("verdict", figures=False),
    ]
    ordered = sorted(result.bands, key=_weight, reverse=True)
    show_table(console, columns, [_row(each) for each in ordered[:MOST_SHOWN]])
    if len(ordered) > MOST_SHOWN:
        say(console, f"The {MOST_SHOWN} most changed of {len(ordered)}; --json holds all.")
    console.print()
    say(console, _conditions(result))
    notes(console, result.warnings, ())


def _weight(band: BandChange) -> float:
    parts = [(abs(band.change), band.change_repeats), (band.moved, band.moved_repeats)]
    return max(size / limit if limit else size for size, limit in parts)


def _sentence(result: SweepComparison) -> str:
    text = SENTENCES[result.verdict]
    if result.processed:
        return f"{text}: one of the sweeps is {plain(result.processed)}, and nothing is told from what a gate has left."
    if result.verdict == "not judged":
        return f"{text}: the set-up states no noise, drift, repeatability or flex, so nothing says how well it repeats."
    changed = [each for each in result.bands if each.verdict != "no change shown"]
    if not changed:
        return f"{text}: every difference from the earlier sweep is within what this set-up repeats."
    most = max(changed, key=_weight)
    return (
        f"{text}: {len(changed)} of {len(result.bands)} differ from the earlier sweep by more than this set-up repeats; "
        f"most in {_place(most)}: worst VSWR {vswr(most.before_vswr)} before, {vswr(most.after_vswr)} after."
    )


def _place(band: BandChange) -> str:
    return band.channel if band.channel.endswith("MHz") else f"channel {band.channel}"


def _row(band: BandChange) -> list[object]:
    return [
        band.channel,
        vswr(band.before_vswr),
        vswr(band.after_vswr),
        f"{round(band.change, 3) + 0.0:+.3f} ({band.change_repeats:.3f})",
        f"{band.moved:.3f} ({band.moved_repeats:.3f})",
        Text(WORDS.get(band.verdict, band.verdict), style=STYLES.get(band.verdict, "")),
    ]


def _conditions(result: SweepComparison) -> str:
    """What the figures mean and what they rest on."""
    return (
        f"VSWR: the antenna's, at its worst point there. worst by: change of the largest reflection magnitude; anywhere "
        f"by: largest difference at one frequency, both of the {result.of}. In brackets: what an unchanged antenna stays "
        f"within in {percent(result.coverage).replace('.0', '')} of comparisons, all rows together, with the same chain "
        f"and calibration. The earlier sweep taken as {result.interpretation}. {result.points} points, {result.draws} "
        f"draws, seed {result.seed}."
    )
