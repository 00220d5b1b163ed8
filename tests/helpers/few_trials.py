"""Few trials where an answer names no number of its own: for tests of words, columns, keys and layout, not of figures."""

from importlib import import_module

LEAST = 1000
"""Trials of one batch, the fewest of which an interval is made."""
FEW = {
    "chain.analyses.bench_card": {"CARD_DRAWS": LEAST},
    "chain.analyses.expect": {"BLAME_DRAWS": LEAST, "draw_count": lambda points: LEAST},
    "chain.analyses.improvements": {"DRAWS": LEAST},
    "chain.analyses.planes": {"DRAWS": LEAST},
    "chain.characterize.intervals": {"DRAWS": 400},
    "chain.comparisons.antennas": {"BATCHES": 1},
    "chain.diagnosis.evidence": {"MOST_DRAWS": 20_000, "BLOCK": 5000},
    "chain.diagnosis.likelihood": {"BLOCK": 5000},
    "chain.reception.trials": {"DRAWS": 400, "MOST": 400},
    "chain.records.bench": {"BATCHES": 2},
    "chain.selection.choose": {"DRAWS": LEAST},
    "chain.selection.improve": {"DRAWS": LEAST},
    "chain.selection.ranking": {"DRAWS": LEAST},
    "chain.tuning.matching": {"BATCHES": 1},
    "chain.tuning.prediction": {"BATCHES": 1},
    "chain.tuning.tune": {"BATCHES": 1},
    "chain.uncertainty.intervals": {"draw_count": lambda points: LEAST},
    "chain.uncertainty.reading_ranges": {"draw_count": lambda points: LEAST},
    "chain.uncertainty.whole_sweep": {"DRAWS": LEAST, "DRAWS_OF_LONG": LEAST},
}
"""Usual numbers of trials, by the modules that look them up when they run, and what stands for them."""


def lower(monkeypatch):
    """Let the answers of one test take few trials where it names no number."""
    for home, numbers in FEW.items():
        for name, few in numbers.items():
            monkeypatch.setattr(import_module(home), name, few)


def in_force():
    """Whether few trials are taken now: an answer of few is none to a test that asks for the usual number."""
    return import_module("chain.uncertainty.intervals").draw_count is FEW["chain.uncertainty.intervals"]["draw_count"]
