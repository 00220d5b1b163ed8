"""Sweeps of thousands of points, with and without phase, with few digits or many, through every command that takes a sweep."""

import warnings

import numpy as np
import pytest
from click.testing import CliRunner
from extreme_commands import NAN, SCRIPT

from chain.cli.main import chain

pytestmark = pytest.mark.process

SETUP = "demo/boathouse.toml"
LONGEST = 20001
"""Sweeps so long only through what is quick at any length."""
COMMANDS = (
    ("recover", SETUP, "{sweep}", "--draws", "1000"),
    ("recover", SETUP, "{sweep}", "--draws", "1000", "--plot"),
    ("report", SETUP, "{sweep}", "--draws", "1000"),
    ("ripple", "{sweep}", SETUP),
    ("tune", SETUP, "{sweep}"),
    ("compare", SETUP, "{sweep}", "{sweep}"),
    ("follow", SETUP, "{folder}", "--once"),
    ("log", "add", "{log}", SETUP, "{sweep}"),
)


def written(folder, points, kind, digits):
    """A sweep of an antenna behind a lead that ripples."""
    freq = np.linspace(174e6, 240e6, points)
    seen = 0.2 + 0.05 * np.exp(-2j * np.pi * freq / 12.5e6)
    path = folder / f"many.{kind}"
    if kind == "s1p":
        rows = [f"{f:.3f} {g.real:.{digits}f} {g.imag:.{digits}f}" for f, g in zip(freq, seen, strict=True)]
        path.write_text("\n".join(["# Hz S RI R 50", *rows, ""]), encoding="utf-8")
    else:
        ratio = (1 + np.abs(seen)) / (1 - np.abs(seen))
        rows = [f"{f:.3f},{each:.{digits}f}" for f, each in zip(freq, ratio, strict=True)]
        path.write_text("\n".join(["Hz,VSWR", *rows, ""]), encoding="utf-8")
    return path


@pytest.mark.parametrize("kind", ["s1p", "csv"])
@pytest.mark.parametrize(("points", "digits"), [(2002, 2), (LONGEST, 3)])
def test_a_long_sweep_passes_through_every_command(points, digits, kind, tmp_path):
    """From 2,002 points on neighbours are averaged or left out, and every array of the readings with them."""
    folder = tmp_path / "sweeps"
    folder.mkdir()
    sweep = written(folder, points, kind, digits)
    for words in COMMANDS:
        if points == LONGEST and words[0] in ("recover", "report"):
            continue
        given = [each.format(sweep=sweep, folder=folder, log=tmp_path / "log") for each in words]
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            done = CliRunner().invoke(chain, given)
        assert done.exit_code in (0, 1), f"{given} {done.output[-300:]}"
        assert done.stdout.strip()
        assert not NAN.search(SCRIPT.sub("", done.stdout))
