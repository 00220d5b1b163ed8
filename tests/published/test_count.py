"""The count of outside checks: enough of them that do not rest on one another, and every one is run."""

from pathlib import Path

from published import count

TESTS = Path(__file__).parent.parent


def test_the_outside_checks_are_enough_and_run():
    """At least 40 formulas or data sets that others printed, at least 10 of intervals or bounds; each named test exists."""
    _, formulas, intervals = count.counted()
    assert len(set().union(*(formulas[kind] for kind in ("worked figure", "data set", "library point")))) >= 40
    assert len(intervals) >= 10
    for name in count.IN_TESTS:
        path, _, function = name.partition("::")
        assert f"def {function}(" in (TESTS / path).read_text(encoding="utf-8"), name
