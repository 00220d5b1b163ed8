"""A number of draws that is given: it is said where another one is drawn, and it denies nothing that the usual one shows."""

from dataclasses import replace

import pytest
from click.testing import CliRunner
from further import wide
from pages import short_boathouse

from chain.analyses.expect import expect
from chain.analyses.page import page
from chain.analyses.planes import compare
from chain.analyses.recover import recover
from chain.cli.main import chain
from chain.files.new_setup import Wish, new_setup_text
from chain.files.setup_file import parse_setup
from chain.sweeps.readings import typed_readings

BOATHOUSE = parse_setup(short_boathouse().encode())
READING = typed_readings("VSWR 1.30 at 210 MHz")
HANDHELD = parse_setup(new_setup_text(Wish(purpose="vhf-tv", shows="vswr", limit="VSWR 1.8")).encode())
HANDHELD = replace(HANDHELD, sweep=replace(HANDHELD.sweep, points=21))
FURTHER = (1000, 1), (1000, 2), (2000, 0), (2000, 1), (4000, 0), (4000, 1), (4000, 2)


@pytest.fixture(scope="module")
def usual():
    """The reading to aim for that the usual number of trials proves."""
    aim = expect(HANDHELD, [2.0]).aim_reading.vswr
    assert aim is not None
    return aim


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize(
    "answer",
    [
        lambda draws: expect(BOATHOUSE, [2.0], draws),
        lambda draws: recover(BOATHOUSE, READING, draws),
        lambda draws: compare(BOATHOUSE, draws=draws),
        lambda draws: page(BOATHOUSE, draws=draws),
    ],
)
def test_a_number_that_is_rounded_up_is_said(answer):
    assert any("500 draws: rounded up to 1000" in each for each in answer(500).warnings)
    assert not any("draws" in each for each in answer(2000).warnings)


@pytest.mark.parametrize("words", [["expect"], ["planes"], ["recover", "--reading", "VSWR 1.30 at 210 MHz"]])
def test_the_commands_say_it_too(words, tmp_path):
    setup = tmp_path / "short.toml"
    setup.write_text(short_boathouse(), encoding="utf-8")
    done = CliRunner().invoke(chain, [words[0], str(setup), *words[1:], "--draws", "500"])
    assert "500 draws: rounded up to 1000" in " ".join(done.output.split())


@pytest.mark.parametrize(("draws", "seed"), [(1000, 0), (2000, 2), *wide(*FURTHER)])
def test_few_draws_do_not_deny_what_more_of_them_show(draws, seed, usual):
    """Ends that few trials set scatter: the second look, with those of a single reading, is taken for any number."""
    found = expect(HANDHELD, [2.0], draws, seed)
    assert found.aim_reading.vswr is not None
    assert found.aim_reading.vswr <= usual + 0.03
