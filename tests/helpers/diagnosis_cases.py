"""Readings of known terminations on the boathouse set-up, held against its faults."""

import numpy as np
from answered_once import kept
from few_trials import in_force

from chain.diagnosis import diagnose
from chain.diagnosis.faults import kinds_of
from chain.diagnosis.sampling import plan, predict
from chain.diagnosis.session import draw_block, session
from chain.diagnosis.terminations import known_ends
from chain.files.setup_file import load_setup
from chain.reflection import vswr

BOATHOUSE = load_setup("demo/boathouse.toml")
ENDS = ("open", "short", "load", "load50")
IDEAL_DB = 400.0
prove = kept(diagnose.prove)


def read(setup=BOATHOUSE, draws=None, ohms=None, loads=(32.0, 26.0), **given):
    readings = {end: [value] if isinstance(value, str) else value for end, value in given.items()}
    return prove(
        setup, known_ends(readings, 207e6), ohms, *loads, draws=draws or (10_000 if in_force() else 40_000), seed=1
    )


def ideal_reading(setup, what, sizes=None, detail=""):
    """What an ideal chain shows of the four ends with one fault, the first of its kind or the one named, and its size; VSWR."""
    of = session(setup, np.array([2e8]), [(end, 0) for end in ENDS], IDEAL_DB, IDEAL_DB)
    (kind,) = [kind for kind in kinds_of(setup, of.measurement.freq_hz, set(ENDS), True, False) if kind.what == what]
    fault = next(fault for fault in kind.faults if detail in ("", fault.detail))
    shown = predict(of, plan(of, fault), draw_block(of, 0, 8, 1), window=sizes or (0.0, 1.0))
    return np.asarray(vswr(np.minimum(shown.magnitude, 1.0))), shown.size
