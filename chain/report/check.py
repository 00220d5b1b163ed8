"""Does it fit, is anything about to be damaged: every joint with its verdict, and the remarks of all checks."""

from __future__ import annotations

from rich.console import Console

from chain.analyses.checks import CheckResult
from chain.report.tables import Column, notes, safe, say, show_table, title

__all__ = ["render", "verdict_line"]

STYLES = {"stop": "bold red", "caution": "yellow", "note": "dim"}
VERDICT_STYLES = {"ok": "green", "costed": "yellow", "caution": "yellow"}


def render(result: CheckResult, console: Console) -> None:
    """Print the answer of all checks."""
    title(console, result.title)
    say(console, verdict_line(result), style="bold" if result.fits else "bold red")
    console.print()
    rows = [
        [
            f"{joint.near}/{joint.far}",
            safe(joint.verdict, VERDICT_STYLES.get(joint.verdict, "bold red")),
            f"{joint.near_connector} to {joint.far_connector}: {joint.reason}",
        ]
        for joint in result.joints
    ]
    columns = [Column("joint", False), Column("verdict", False), Column("what meets, and why", False, wraps=True)]
    show_table(console, columns, rows)
    if result.findings:
        console.print()
    for finding in result.findings:
        remedy = f". Remedy: {finding.remedy}" if finding.remedy else ""
        where = f"{finding.where}: " if finding.where else ""
        label = safe(f"{finding.level}: ", STYLES[finding.level])
        say(console, label, where, finding.text.rstrip("."), remedy, indent=2)
    notes(console, result.warnings, result.assumed, whole=True)


def verdict_line(result: CheckResult) -> str:
    """Whether it fits, and how many remarks there are."""
    bad = [joint for joint in result.joints if not joint.fits]
    stops = sum(finding.level == "stop" for finding in result.findings) - len(bad)
    cautions = sum(finding.level == "caution" for finding in result.findings)
    if bad:
        text = f"Does not fit together: {len(bad)} of {len(result.joints)} joints."
        for joint in bad:
            if joint.missing:
                text += f" {joint.near}/{joint.far} needs {joint.missing[0]}."
    else:
        text = f"Fits together, {len(result.joints)} joints."
    if stops > 0:
        text += f" {stops} reason{'s' if stops > 1 else ''} not to connect it."
    if cautions:
        text += f" {cautions} caution{'s' if cautions > 1 else ''}."
    return text
