"""The demo: every file says that it is invented, and the sweeps are what their script writes."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from chain.assembly.cascade import build
from chain.files.setup_file import load_setup
from chain.sweeps.read import read_sweep

DEMO = Path("demo")


def says_invented(path):
    return "invented" in "\n".join(path.read_text(encoding="utf-8").splitlines()[:4]).lower()


FIGURES = [path for path in sorted(DEMO.iterdir()) if path.is_file() and path.suffix != ".md"]
INVENTED = [path for path in FIGURES if path.suffix == ".toml" and says_invented(path)]


@pytest.mark.parametrize("path", FIGURES, ids=lambda path: path.name)
def test_every_file_says_that_it_is_invented(path):
    """Pages of text aside, whoever opens a file of the demo reads in its first lines that it is made up.

    A file that a command wrote says instead, in its first line, for which invented set-up of the demo.
    """
    head = path.read_text(encoding="utf-8").splitlines()[:4]
    if head[0].startswith("# Made by 'chain "):
        title = head[0].partition(" for: ")[2]
        assert title
        assert any(f'title = "{title}"' in each.read_text(encoding="utf-8") for each in INVENTED if each != path)
    else:
        assert says_invented(path)


MADE = [
    "boathouse.s1p",
    "boathouse.csv",
    "boathouse-german.csv",
    "boathouse-r-x.csv",
    "plane-after-pad.s1p",
    "plane-after-pad-before.s1p",
]


@pytest.mark.parametrize("name", MADE)
def test_sweeps_are_what_the_script_writes(tmp_path, name):
    """To a step of the last digit, for other processors round otherwise."""
    runpy.run_path(str(DEMO / "make_sweeps.py"))["main"](tmp_path)
    made, kept = (read_sweep(str(folder / name), plane_ohm=50.0) for folder in (tmp_path, DEMO))
    np.testing.assert_array_equal(made.freq_hz, kept.freq_hz)
    np.testing.assert_allclose(made.magnitude, kept.magnitude, atol=2e-3 if name.endswith("csv") else 3e-6)


OTHER_KINDS = ("[need]", "[[outlet]]", "[[network]]")
"""Tables of a need, an installation and a part file."""
SET_UPS = [
    path
    for path in sorted(DEMO.glob("*.toml"))
    if set(path.read_text(encoding="utf-8").splitlines()).isdisjoint(OTHER_KINDS)
]


@pytest.mark.parametrize("path", SET_UPS, ids=lambda path: path.name)
def test_set_ups_load_and_their_chains_build(path):
    setup = load_setup(path)
    assert len(build(setup).groups) == 2 * len(setup.items) + 1
