"""The tables themselves: enough values from outside, each with its standing and its source."""

from collections import Counter

import pytest
import tables

TAIL = ["expected", "tolerance", "through", "evidence", "source"]
TAIL_OF = {
    "cables.csv": ["held_out", "tolerance", "through", "evidence", "source"],
    "commands.csv": ["quantity", "expected", "tolerance", "evidence", "source"],
}
"""Last columns of the tables that have others; a row of commands.csv goes through the command it names."""


@pytest.mark.parametrize("name", tables.names())
def test_every_row_names_its_source(name):
    rows = tables.rows(name)
    assert rows
    for row in rows:
        assert list(row)[-5:] == TAIL_OF.get(name, TAIL)
        assert isinstance(row["expected"], float)
        one_sided = str(row.get("quantity", "")).endswith((" above", " below"))
        assert row["tolerance"] > 0 or (one_sided and row["tolerance"] == 0)
        assert row["evidence"] in tables.EVIDENCE
        assert row["through"] in tables.THROUGH if "through" in row else row["command"]
        assert len(row["source"]) > 10


def test_share_of_plain_conversions():
    """At most 15 plain conversions among at least 60 values, 20 and more through the three answers of the tool."""
    rows = [row for name in tables.names() for row in tables.rows(name)]
    through = Counter(row["through"] if "through" in row else row["command"] for row in rows)
    assert sum(through.values()) >= 60
    assert through["conversion"] <= 15
    assert min(through["budget"], through["expect"], through["recover"]) >= 20
