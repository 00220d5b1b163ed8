"""An ohmmeter held against the card, resistors that failed, known ends that are bad; a fault is named where it gives the readings."""

from math import inf

import numpy as np
import pytest
import strategies as made
from click.testing import CliRunner
from diagnosis_cases import BOATHOUSE, ideal_reading, prove, read
from further import wide

from chain.analyses.ohmmeter import dc_card, meaning_of
from chain.cli.main import chain
from chain.diagnosis.faults import BAD_END, LOSS, RESISTOR, kinds_of
from chain.diagnosis.records import CANT_TELL, NONE_OF_THESE, NOTHING_SHOWN
from chain.diagnosis.terminations import KnownTerminations, known_ends
from chain.files.setup_file import load_setup
from chain.setup_report.prove import verdict_lines

pytestmark = pytest.mark.usefixtures("trials")

FEWEST = 1
"""As many trials as one block has, few or the usual number."""
SOUND_ENDS = {"open": "1.73", "short": "1.71", "load": "1.05"}
CARD = dc_card(BOATHOUSE)[0]


def metered(ohm, **ends):
    """The ohmmeter's reading beside those of known ends, or by itself."""
    if ends:
        return read(ohms=ohm, draws=FEWEST, **ends)
    return prove(BOATHOUSE, KnownTerminations(np.array([207e6]), ()), ohm, draws=FEWEST)


def lines(*words):
    done = CliRunner(env={"COLUMNS": "200"}).invoke(chain, ["prove", "demo/boathouse.toml", *words])
    assert done.exit_code == 0, done.output
    first = done.stdout.splitlines()[:3]
    assert max(map(len, first)) <= 80
    return first


def share(found, what):
    return sum(each.share for each in found.hypotheses if each.what == what)


@pytest.mark.parametrize(
    ("ohm", "ends"),
    [
        *((ohm, {}) for ohm in (0.0, 28.9, 83.0, 92.0, 500.0, inf)),
        *((ohm, SOUND_ENDS) for ohm in (92.0, inf)),
        *wide(*((ohm, {}) for ohm in (20.0, 80.0, 95.0, 200.0, 1000.0)), *((ohm, SOUND_ENDS) for ohm in (0.0, 20.0))),
    ],
)
def test_what_the_card_excludes_is_no_sound_chain(ohm, ends):
    """The ranges are the card's: 83.1 to 91.1 ohm; outside them no verdict speaks for a sound chain."""
    found = metered(ohm, **ends)
    assert (found.ohms_low, found.ohms_high) == (CARD.low_ohm, CARD.high_ohm)
    assert not found.inside
    assert found.verdict not in ("right", NOTHING_SHOWN)
    assert share(found, "right") < 1e-6


@pytest.mark.parametrize("ohm", [83.1, 86.6, 91.1])
def test_what_the_card_calls_sound_is_sound(ohm):
    """To both ends of its range, as they are printed."""
    assert metered(ohm).verdict == NOTHING_SHOWN


@pytest.mark.parametrize("wrong", CARD.wrong, ids=lambda each: f"{each.ohm:.4g} ohm")
def test_a_figure_of_the_card_means_what_the_card_says(wrong):
    """Every row of its table, read by the meter alone: the same words, and the kind they speak of among those that may be."""
    found = metered(wrong.ohm)
    assert found.ohms_mean == wrong.means == meaning_of(BOATHOUSE, wrong.ohm)
    assert found.verdict != NONE_OF_THESE


def test_words_of_a_figure_are_those_of_the_card():
    assert lines("--ohms", "28.9")[0] == "Far connector poor (> 99.9 %): a short circuit at the far end."
    assert lines("--ohms", "0")[0].startswith("0 ohm: the pad's shunt resistor is bridged; or a short circuit at")
    assert lines("--ohms", "129.9")[0].startswith("Pad reversed (> 99.9 %): pad is turned round")
    assert lines("--ohms", "OL")[0].startswith("No DC: the pad is missing; or ")


@pytest.mark.parametrize("ohm", ["80", "92", *wide("20", "500")])
def test_a_figure_that_no_fault_gives_is_said_to_be_so_and_checked(ohm):
    """What a sound chain shows, and a look for volts and at the probes first."""
    assert lines("--ohms", ohm) == [
        f"None of these: no single fault known here gives {ohm} ohm.",
        "A sound chain shows 83.1 to 91.1 ohm, its far end open.",
        "Next: meter for volts, join the probes, meter again; then each pad by itself.",
    ]


def test_a_meter_against_sound_ends_is_doubted():
    """The ends speak for a sound chain, and 20 ohm for nothing that they would let pass."""
    first = lines("--open", "1.73", "--short", "1.71", "--load", "1.05", "--ohms", "20")
    assert first[0] == "None of these: no single fault known here gives such readings."
    assert first[1] == "The ends read as a sound chain's do; the ohmmeter should show 83.1 to 91.1 ohm."


# Resistors that failed: by hand from 86.60 ohm across and 43.30 ohm in series, the pad straight on the analyzer.
@pytest.mark.parametrize(
    ("detail", "expected"),
    [
        ("shunt resistor is burnt out", [inf, 50 / 43.3013, 118.3013 / 50]),
        ("shunt resistor is bridged", [inf, inf, inf]),
        ("series resistor is burnt out", [86.6025 / 50] * 3),
        ("series resistor is bridged", [86.6025 / 50, inf, 50 / 40.1924]),
    ],
)
def test_a_pad_with_a_failed_resistor_reads_as_its_network_does(detail, expected):
    """Ohm's law at every end, for a pad stated by its loss and for one stated by its resistors."""
    resistors = made.ladder([("shunt", 86.6025), ("series", 43.3013)])
    for part in (made.pad(), resistors):
        setup = made.setup_of([made.item(part, "pad")])
        shown = ideal_reading(setup, RESISTOR, detail=detail)[0][0, :3]
        assert np.where(shown > 1e4, inf, shown) == pytest.approx(expected, rel=2e-3)


def test_resistors_fail_where_it_is_known_which_there_are():
    """A pad of the least loss has two; of one of 10 dB stated by its loss it is not known."""
    for pad, count in ((made.pad(), 4), (made.pad(loss_db=5.75), 4), (made.pad(loss_db=10.0), 0)):
        setup = made.setup_of([made.item(pad, "pad")])
        kinds = kinds_of(setup, np.array([2e8]), {"load"}, False, False)
        assert sum(len(kind.faults) for kind in kinds if kind.what == RESISTOR) == count


def test_a_burnt_shunt_resistor_is_named_with_the_meter_and_without():
    """By hand 2.37, 1.15 and off the scale, through 2 m of lead whose electrical length is known to a few per cent."""
    setup = load_setup("tests/data/loft.toml")
    known = known_ends({"open": [">10"], "short": ["1.15"], "load": ["2.37"]}, 586e6)
    for ohms in (None, inf):
        found = prove(setup, known, ohms)
        assert found.verdict == RESISTOR
        assert found.hypotheses[0].detail == "shunt resistor is burnt out"


def test_a_dead_load_is_named_and_checked_by_itself():
    """A load that reads as an open does: it may be dead, or the far joint poor, which does not stand at 99.9 % any more."""
    ends = {"open": "1.62", "short": "1.75", "load": "1.63"}
    found = read(**ends)
    assert (found.hypotheses[0].what, found.hypotheses[0].item) == (BAD_END, "load")
    assert share(found, "far connector poor") > 0.01
    first = lines(*(word for end, text in ends.items() for word in (f"--{end}", text)))
    assert "the 75-ohm load is not what it is taken for" in first[0]
    assert first[2] == "Next: try another load, or meter this one by itself: 75 ohm is sound."


def test_where_several_faults_give_the_readings_a_load_is_checked_first():
    """1.7 at every end: a dead load, a poor far joint, or a pad whose series resistor is burnt out (86.6/50)."""
    first = lines("--open", "1.7", "--short", "1.7", "--load", "1.7")
    assert first[0] == "Cannot tell yet: not a sound chain, and several faults give such readings."
    assert first[2] == "Next: try another load, or meter this one by itself: 75 ohm is sound."


def test_a_dead_50_ohm_load_leaves_the_chain_sound():
    """Three ends as they should be, and a 50-ohm load that reads as an open does."""
    found = read(open="1.73", short="1.71", load="1.05", load50="1.72")
    assert found.verdict == BAD_END
    assert found.hypotheses[0].item == "load50"


# A fault is named only where it gives the readings.


def test_a_loss_far_from_the_stated_one_is_a_defect():
    """9.7 dB more than stated is not a figure for the file; half a decibel is."""
    far = read(open="1.0", short="1.0", load="1.0")
    assert far.hypotheses[0].what == LOSS
    assert far.hypotheses[0].is_defect
    first = lines("--open", "1.0", "--short", "1.0", "--load", "1.0")
    assert first[0].startswith("Pad's loss differs (")
    assert " dB, not what is stated." in first[0]
    assert first[2] == "Next: use another pad: it is defective, or something ahead of it is broken."
    near = read(open="1.61", short="1.61", load="1.02", load50="1.10", ohms=80.0)
    assert near.hypotheses[0].what == LOSS
    assert not near.hypotheses[0].is_defect


def test_a_fault_that_does_not_give_the_readings_is_the_nearest_and_not_named():
    """1.00 at every end lies outside all that a lossy pad shows together."""
    found = read(open="1.00", short="1.00", load="1.00")
    assert found.verdict == NONE_OF_THESE
    first = lines("--open", "1.00", "--short", "1.00", "--load", "1.00")
    assert first[0] == "None of these: no single fault known here gives such readings."
    assert first[1].startswith("Nearest: pad's loss differs")


@pytest.mark.parametrize("ends", [{"open": "2.20", "short": "2.25", "load": "1.67"}, {"load": "2.90", "short": "3.10"}])
def test_what_is_named_holds_every_reading_in_its_ranges(ends):
    found = read(**ends)
    assert found.verdict not in (CANT_TELL, NONE_OF_THESE, NOTHING_SHOWN)
    for each in found.readings:
        assert each.first_low <= each.reading_vswr <= each.first_high


def test_an_end_that_was_read_is_not_asked_for_again_where_it_tells_little():
    """All four ends and the meter speak for a sound chain: the antenna is next."""
    found = read(open="1.73", short="1.71", load="1.05", load50="1.12", ohms=86.6)
    assert found.verdict == NOTHING_SHOWN
    assert verdict_lines(found)[2].startswith("Next: measure the antenna")
