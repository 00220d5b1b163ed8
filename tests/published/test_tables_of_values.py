"""The tables themselves: enough values from outside, each with its standing and its source."""

from collections import Counter

import pytest
import tables

TAIL = ["expected", "tolerance", "through", "evidence", "source"]


@pytest.mark.parametrize("name", tables.names())
def test_every_row_names_its_source(name):
    rows = tables.rows(name)
    assert rows
    for row in rows:
        assert list(row)[-5:] == TAIL
        assert isinstance(row["expected"], float)
        assert row["tolerance"] > 0
        assert row["evidence"] in tables.EVIDENCE
        assert row["through"] in tables.THROUGH
        assert len(row["source"]) > 10


def test_share_of_plain_conversions():
    """At most 15 plain conversions among at least 60 values, 20 and more through the three answers of the tool."""
    through = Counter(row["through"] for name in tables.names() for row in tables.rows(name))
    assert sum(through.values()) >= 60
    assert through["conversion"] <= 15
    assert min(through["budget"], through["expect"], through["recover"]) >= 20
