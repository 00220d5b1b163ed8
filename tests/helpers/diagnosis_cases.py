"""Readings of known terminations on the boathouse set-up, held against its faults."""

from answered_once import kept
from few_trials import in_force

from chain.diagnosis import diagnose
from chain.diagnosis.terminations import known_ends
from chain.files.setup_file import load_setup

BOATHOUSE = load_setup("demo/boathouse.toml")
prove = kept(diagnose.prove)


def read(setup=BOATHOUSE, draws=None, ohms=None, loads=(32.0, 26.0), **given):
    readings = {end: [value] if isinstance(value, str) else value for end, value in given.items()}
    return prove(
        setup, known_ends(readings, 207e6), ohms, *loads, draws=draws or (10_000 if in_force() else 40_000), seed=1
    )
