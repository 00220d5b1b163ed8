"""Checks against figures from outside, counted by kind: `python tests/published/count.py`.

Kinds: a worked figure, a data set (rows of one count as one), a library point, a transcription (a table typed in again from the source
that the library's own row was fitted to), a conversion. `independent` counts formulas and data sets, not rows.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "helpers"))

import tables

from library.store import tomllib

KINDS = ("worked figure", "data set", "library point", "transcription", "conversion")
OF_TABLES = {
    "conversions.csv": "conversion",
    "foam_cable.csv": "transcription",
    "trunk_pairs.csv": "transcription",
    "uhf_pair.csv": "library point",
    "cables.csv": "library point",
}
"""Kind of the tables whose rows do not say it; every other one holds worked figures."""
DATA_SETS = {"antenna-behind-feeder": "published", "microstrip": "published"}


def checks():
    """(kind, evidence, formula, whether it is of an interval or a bound) of every row."""
    for name in tables.names():
        for row in tables.rows(name):
            kind = row.get("kind") if name == "commands.csv" else OF_TABLES.get(name, "worked figure")
            interval = "bound" in str(row.get("quantity", "")) or name == "residuals.csv"
            yield kind, row["evidence"], row.get("formula") or f"{name}: {row['source']}", interval
    document = tomllib.loads((tables.FOLDER / "uncertainty.toml").read_text(encoding="utf-8"))
    for row in document["check"]:
        yield "worked figure", row["evidence"], f"{row['through']}: {row['source']}", True
    for name, evidence in DATA_SETS.items():
        yield "data set", evidence, name, True


def main():
    """Print the count."""
    rows, formulas, intervals = defaultdict(Counter), defaultdict(set), set()
    for kind, evidence, formula, interval in checks():
        rows[kind][evidence] += 1
        formulas[kind].add(formula)
        if interval:
            intervals.add(formula)
    print(f"{'kind':16} {'rows':>5}  independent  {'  '.join(f'{each:>9}' for each in tables.EVIDENCE)}")
    for kind in KINDS:
        by = "  ".join(f"{rows[kind][each]:>9}" for each in tables.EVIDENCE)
        print(f"{kind:16} {sum(rows[kind].values()):>5}  {len(formulas[kind]):>11}  {by}")
    print(
        f"{sum(len(each) for each in formulas.values())} formulas and data sets, {len(intervals)} of intervals or bounds"
    )


if __name__ == "__main__":
    main()
