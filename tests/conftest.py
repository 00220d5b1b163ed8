"""What every test shares: seedless profiles for hypothesis, and the folder of shared helpers on the import path."""

import sys
from pathlib import Path

from hypothesis import HealthCheck, settings

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


def pytest_configure(config):
    """Leave out what only .ci/run or a person asks for by its marker, unless markers were asked for."""
    config.option.markexpr = config.option.markexpr or "not (slow or statistical or replay or process)"
