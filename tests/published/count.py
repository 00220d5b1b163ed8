"""Checks against figures from outside, counted by kind: `python tests/published/count.py`.

Kinds: a worked figure, a data set (rows of one count as one), a library point, a transcription (a table typed in again from the source
that the library's own row was fitted to), a conversion. The last column counts formulas and data sets, not rows.
"""

from __future__ import annotations

import sys
from collections import Counter, defaultdict
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "helpers"))

import tables

from library.files.store import tomllib

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


IN_TESTS = {
    "reception/test_reception_checks.py::test_r5_noise_temperatures": ("worked figure", "practice", "cascade of noise temperatures"),
    "reception/test_reception_checks.py::test_r6_planning_contours": ("worked figure", "published", "field for planning, ISED BPR-10"),
    "reception/test_reception_checks.py::test_r7_both_forms_of_planning_agree": ("worked figure", "practice", "field for planning, GE06"),
    "reception/test_reception_checks.py::test_r11_cross_modulation_of_a_line_of_amplifiers": (
        "worked figure", "practice", "cross-modulation of a line of amplifiers"),
    "reception/test_reception_checks.py::test_noise_and_fields_of_the_books": (
        "worked figure", "published", "free space, Rec. ITU-R P.525-2, equation 1"),
    "reception/test_reception_checks.py::test_signal_page_of_an_instrument_maker": ("worked figure", "practice", "antenna factor"),
}  # fmt: skip
"""Figures of others that stand in a test and not in a table: kind, standing, formula."""
OUTSIDE = ("published", "practice")
"""Standings of what somebody else printed; computed and recalled figures are counted, and are no independent proof."""
OF_BOUNDS = ("residuals.csv", "two_mismatches.csv", "adapters_in_line.csv")
"""Tables whose figures are all ends of a range."""


def checks():
    """(kind, evidence, formula, whether it is of an interval or a bound) of every row."""
    for name in tables.names():
        for row in tables.rows(name):
            kind = row.get("kind") if name == "commands.csv" else OF_TABLES.get(name, "worked figure")
            quantity = str(row.get("quantity", ""))
            interval = "bound" in quantity or quantity.startswith(("least", "most")) or name in OF_BOUNDS
            yield kind, row["evidence"], row.get("formula") or f"{name}: {row['source']}", interval
    document = tomllib.loads((tables.FOLDER / "uncertainty.toml").read_text(encoding="utf-8"))
    for row in document["check"]:
        yield "worked figure", row["evidence"], f"{row['through']}: {row['source']}", True
    for reported in IN_TESTS.values():
        yield (*reported, False)
    for name, evidence in DATA_SETS.items():
        yield "data set", evidence, name, True


def counted():
    """Rows by kind and standing; formulas and data sets that others printed by kind; those of intervals or bounds."""
    rows, formulas, intervals = defaultdict(Counter), defaultdict(set), set()
    for kind, evidence, formula, interval in checks():
        rows[kind][evidence] += 1
        if evidence in OUTSIDE:
            formulas[kind].add(formula)
            intervals |= {formula} if interval else set()
    return rows, formulas, intervals


def main():
    """Print the count."""
    rows, formulas, intervals = counted()
    print(
        f"{'kind':16} {'rows':>5}  {'  '.join(f'{each:>9}' for each in tables.EVIDENCE)}  formulas or data sets of others"
    )
    for kind in KINDS:
        by = "  ".join(f"{rows[kind][each]:>9}" for each in tables.EVIDENCE)
        print(f"{kind:16} {sum(rows[kind].values()):>5}  {by}  {len(formulas[kind]):>31}")
    whole = set().union(*(formulas[kind] for kind in ("worked figure", "data set", "library point")))
    print(f"{len(whole)} worked figures, data sets and library points of others, independent of one another")
    print(f"{len(intervals)} of them of intervals or bounds")


if __name__ == "__main__":
    main()
