"""Plain conversions against printed tables."""

import pytest
import tables

from chain import reflection as ratios

FROM = {"return_loss_db": ratios.magnitude_from_return_loss, "vswr": ratios.magnitude_from_vswr}
TO = {"return_loss_db": ratios.return_loss_db, "vswr": ratios.vswr, "mismatch_loss_db": ratios.mismatch_loss_db}


@pytest.mark.parametrize("row", tables.rows("conversions.csv"), ids=tables.label)
def test_printed_conversions(row):
    """Two published tables of VSWR, return loss and mismatch loss (see the table's source column)."""
    found = TO[row["asked"]](FROM[row["given"]](row["value"]))
    assert found == pytest.approx(row["expected"], abs=row["tolerance"])
