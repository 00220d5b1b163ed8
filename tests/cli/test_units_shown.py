"""A match is shown in the user's unit on every screen of results: as VSWR or as return loss, nowhere as a bare magnitude."""

import json
import re

import pytest
from click.testing import CliRunner

from chain.cli.main import chain

COMPARE = ["compare", "demo/loops.toml", "demo/loops.s1p", "demo/loops-wet.s1p"]
RIPPLE = ["ripple", "demo/ripple.s1p", "demo/ripple.toml"]


def shown(words):
    done = CliRunner().invoke(chain, words, env={"COLUMNS": "80"})
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("words", [COMPARE, RIPPLE])
@pytest.mark.parametrize(("unit", "other"), [("vswr", "RL, dB"), ("rl", "VSWR")])
def test_no_column_holds_a_bare_magnitude(words, unit, other):
    text = shown([*words, "--units", unit])
    assert "|reflec" not in text
    assert other not in text


@pytest.mark.usefixtures("few_trials")
def test_what_an_antenna_turns_into_is_its_reflection_and_the_change():
    rows = re.findall(r"^(\d\d) .*?(\d\.\d\d) to (\d\.\d\d)", shown([*COMPARE, "--units", "vswr"]), re.M)
    channels = json.loads(shown([*COMPARE, "--json"]))["channels"]
    assert len(rows) == len(channels) == 7
    for (name, low, high), each in zip(rows, channels, strict=True):
        size = (each["first_vswr"] - 1) / (each["first_vswr"] + 1)
        ends = [min(max(size + each[by], 0.0), 1.0) for by in ("reflection_low", "reflection_high")]
        assert name == each["channel"]
        least, most = ((1 + end) / (1 - end) for end in ends)
        # What its own reading says of the second may be closer, and never further.
        assert float(low) >= least - 0.011
        assert float(high) <= most + 0.011
        assert [float(low), float(high)] == pytest.approx(
            [each["second_low_vswr"], each["second_high_vswr"]], abs=0.011
        )
