"""A computer with more processors gives the same answer, to the last byte."""

import pytest
from click.testing import CliRunner

from chain.cli.main import chain as command_line
from chain.uncertainty import parallel

BENCH, LOOPS, HOUSE = "demo/boathouse.toml", "demo/loops.toml", "demo/outlets.toml"


def answer(words, threads, monkeypatch):
    with monkeypatch.context() as patch:
        patch.setattr(parallel, "thread_count", lambda: threads)
        done = CliRunner().invoke(command_line, [*words, "--json"])
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.mark.parametrize(
    "words",
    [
        # Readings that the first trials do not settle.
        ("prove", BENCH, "--load", "2.33"),
        *(
            pytest.param(each, marks=pytest.mark.wide)
            for each in (
                ("prove", BENCH, "--open", "1.71", "--ohms", "300"),
                ("expect", BENCH),
                ("recover", BENCH, "demo/boathouse.s1p"),
                ("recover", BENCH, "demo/boathouse.csv"),
                ("recover", BENCH, "--reading", "VSWR 1.3 at 210 MHz"),
                ("planes", BENCH),
                ("choose", "demo/need.toml", "--improve", BENCH),
                ("ripple", "demo/ripple.s1p"),
                ("tune", LOOPS, "demo/loops.s1p", "--match"),
                ("compare", LOOPS, "demo/loops.s1p", "demo/loops-wet.s1p", "--levels", "demo/levels.csv"),
                ("outlets", HOUSE),
                ("outlets", HOUSE, "--improve"),
                ("card", BENCH, "demo/boathouse.s1p"),
                ("report", BENCH, "demo/boathouse.s1p"),
            )
        ),
    ],
    ids=" ".join,
)
def test_an_answer_does_not_depend_on_how_many_processors_there_are(words, monkeypatch):
    """On one and on five at work."""
    assert answer(words, 1, monkeypatch) == answer(words, 5, monkeypatch)
