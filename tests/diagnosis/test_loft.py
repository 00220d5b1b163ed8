"""A chain of unlike connectors read with VSWR alone: what stands far outside, what cannot be placed, a scale that ends early."""

import pytest
from click.testing import CliRunner
from further import wide

from chain.cli.main import chain
from chain.diagnosis.diagnose import prove
from chain.diagnosis.terminations import known_ends, typed_span
from chain.files.setup_file import load_setup

pytestmark = pytest.mark.usefixtures("answered_once")

LOFT = "tests/data/loft.toml"


def found(**ends):
    given = {end: [text] for end, text in ends.items()}
    return prove(load_setup(LOFT), known_ends(given, 586e6))


def share(result, what):
    (own,) = [each for each in result.hypotheses if each.what == what]
    return own.share


@pytest.mark.usefixtures("trials")
def test_what_lies_far_outside_all_that_a_sound_chain_shows_is_no_sound_chain():
    """Open and short at 40 and 50 where it shows 1.9 at most; 75 ohm without a pad in 50 is 1.5."""
    result = found(open="40", short="50", load="1.5")
    assert result.verdict == "pad missing"
    assert share(result, "pad missing") > 0.95
    for each in result.readings[:2]:
        assert each.right_high < 2.0
    # Off the scale twice, not even a load mistaken for another explains.
    assert share(result, "right") < 1e-6
    assert share(result, "wrong load (50 ohm)") < 1e-6


@pytest.mark.usefixtures("trials")
def test_a_pad_that_fits_one_way_only_is_not_turned_round():
    """From BNC to F; turned round, neither joint can be made."""
    assert "pad reversed" not in [each.what for each in found(load50="1.6").hypotheses]
    turned = found(open="3.00", short="3.00", load="1.5")
    assert "pad reversed" not in [each.what for each in turned.hypotheses]


@pytest.mark.usefixtures("trials")
@pytest.mark.parametrize("shown", ["9.99", *wide("inf", "30")])
def test_a_screen_at_the_end_of_its_scale_speaks_for_a_missing_pad(shown):
    """A lead of 2.5 m keeps an open below full reflection, and many scales end at 9.99."""
    result = found(open=shown)
    assert result.hypotheses[0].what == "pad missing"
    assert share(result, "pad missing") > 0.5
    assert found(open=shown, load="1.5").verdict == "pad missing"


@pytest.mark.usefixtures("trials")
def test_a_reading_is_taken_as_it_is_written_elsewhere():
    """A decimal comma as `recover` takes it; a frequency is named once, for all; off the scale in either command."""
    assert typed_span("1,6") == typed_span("1.6")
    assert typed_span("11,4 dB") == typed_span("11.4 dB")
    run = CliRunner().invoke
    placed, apart = (
        run(chain, ["prove", LOFT, "--open", *words]) for words in (["1.6 at 600 MHz"], ["1.6", "--at", "600 MHz"])
    )
    assert (placed.exit_code, placed.output) == (apart.exit_code, apart.output) == (0, placed.output)
    twice = run(chain, ["prove", LOFT, "--open", "1.6 at 600 MHz", "--short", "1.6 at 610 MHz"])
    assert twice.exit_code == 2
    assert "--short: '1.6 at 610 MHz' is of another frequency than 600 MHz" in twice.stderr
    plain = run(chain, ["recover", LOFT, "--reading", "VSWR inf at 600 MHz"])
    bare = run(chain, ["recover", LOFT, "--reading", "inf at 600 MHz"])
    assert (bare.exit_code, bare.output) == (plain.exit_code, plain.output)
