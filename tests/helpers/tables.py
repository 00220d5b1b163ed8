"""Reader of the tables of check values under `published/`: rows of text and numbers, comments left out."""

import csv
from pathlib import Path

FOLDER = Path(__file__).parent.parent / "published"
EVIDENCE = ("published", "computed", "practice", "memory")
THROUGH = ("conversion", "budget", "expect", "recover", "model", "draws")


def rows(name):
    """Rows of one table, figures as float."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        lines = [line for line in file if line.strip() and not line.startswith("#")]
    return [{key: _figure(value) for key, value in row.items()} for row in csv.DictReader(lines)]


def names():
    """File names of every table."""
    return sorted(path.name for path in FOLDER.glob("*.csv"))


def label(row):
    """Name of a row in a test report: everything that sets it apart, without its evidence."""
    return ", ".join(
        f"{value:g}" if isinstance(value, float) else value for value in list(row.values())[:-4] if value != ""
    )


def _figure(text):
    try:
        return float(text)
    except ValueError:
        return text
