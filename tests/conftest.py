"""What tests share: seedless profiles for hypothesis, and the folder of shared helpers on the import path."""

import gc
import os
import sys
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# As the program itself does: on a busy machine threads of linear algebra wait for one another longer than they work.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parent / "helpers")]

# Programs, not tests; they find one another beside themselves.
collect_ignore_glob = ["benchmarks/*"]

# .ci/run asks for the thorough one (--hypothesis-profile).
for name, examples in {"repeatable": 40, "thorough": 200}.items():
    settings.register_profile(
        name,
        max_examples=examples,
        derandomize=True,
        deadline=None,
        database=None,
        suppress_health_check=[HealthCheck.too_slow],
    )
settings.load_profile("repeatable")


def _keep_to_own_processors():
    """Threads of one worker do not take the processors of another: a sixth of the time of all goes into their waiting."""
    worker, workers = os.environ.get("PYTEST_XDIST_WORKER"), int(os.environ.get("PYTEST_XDIST_WORKER_COUNT", "1"))
    if worker and hasattr(os, "sched_setaffinity"):
        allowed = sorted(os.sched_getaffinity(0))
        os.sched_setaffinity(0, allowed[int(worker[2:]) % workers :: workers] or allowed)


_keep_to_own_processors()


def pytest_configure(config):
    """Leave out what only .ci/run or a person asks for by its marker, unless markers were asked for."""
    config.option.markexpr = config.option.markexpr or "not (slow or statistical or replay or process or wide)"


@pytest.hookimpl(wrapper=True)
def pytest_collection():
    """What collecting makes lasts to the end of the run: looking it over for garbage took a third of the time of collecting."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


@pytest.fixture
def answered_once(monkeypatch):
    """Commands of tests that ask for this take answers that are there already: what one asks as text, another asks as JSON.

    A test that must see an answer computed anew calls it.
    """
    import answered_once as kept

    return kept.keep(monkeypatch)


@pytest.fixture
def few_trials(monkeypatch):
    """Answers take few trials where the test names no number: for words, columns, keys and layout, never for figures."""
    import few_trials as few

    few.lower(monkeypatch)


@pytest.fixture(params=["few", pytest.param("usual", marks=pytest.mark.wide)])
def trials(request):
    """Few trials in the default run, the usual number where .ci/run asks again: for figures that hold of either."""
    if request.param == "few":
        request.getfixturevalue("few_trials")
