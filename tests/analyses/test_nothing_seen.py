"""Behind a chain that next to nothing comes back through, readings say nothing of the antenna, and no word claims they do."""

import math

import pytest
from click.testing import CliRunner

import chain
from chain.cli.main import chain as command_line

pytestmark = pytest.mark.usefixtures("few_trials")


@pytest.fixture
def swallowed(tmp_path):
    """The boathouse's pad and 500 m of its cable: 80 dB one way."""
    path = tmp_path / "long.toml"
    path.write_text(
        '[sweep]\nstart = "174 MHz"\nstop = "240 MHz"\npoints = 12\n[near]\nconnector = "N-50 jack"\n'
        '[[chain]]\nid = "pad"\npart = "min-loss-pad"\nnear = "N-50 plug"\nfar = "F-75 jack"\n'
        '[[chain]]\nid = "lead"\npart = "rg59"\nlength = "500 m"\nnear = "F-75 plug"\nfar = "F-75 plug"\n'
        '[far]\nconnector = "F-75 jack"\nlimit = "VSWR 2.0"\n',
        encoding="utf-8",
    )
    return path


def test_more_than_any_antenna_shows_is_no_bad_antenna(swallowed):
    """A joint test rejects an antenna at the limit, and every other one as well: that is a doubt about the figures."""
    found = chain.recover(chain.load_setup(swallowed), ([180e6, 200e6, 220e6], [0.13, 0.09, 0.13]))
    assert (found.low.max(), found.high.min()) == (1, math.inf)
    assert found.verdict == "not proven"
    assert set(found.verdicts) == {"not proven"}


@pytest.mark.parametrize(("reading", "limit"), [("VSWR 1.3", True), ("0.10-0.20j", True), ("VSWR 1.3", False)])
def test_the_first_line_names_no_figure_of_an_antenna_that_is_not_seen(swallowed, reading, limit):
    """Not "about 1.00" or "above 1000", which are the errors' own."""
    if not limit:
        swallowed.write_text(
            swallowed.read_text(encoding="utf-8").replace('limit = "VSWR 2.0"\n', ""), encoding="utf-8"
        )
    done = CliRunner().invoke(command_line, ["recover", str(swallowed), "--reading", f"{reading} at 210 MHz"])
    first, second = done.stdout.splitlines()[:2]
    assert "nothing is seen of it" in first or "says nothing of" in first
    assert "1.0" not in first
    assert "1000" not in first
    assert "anything" in second
