"""The Python surface: whatever a caller has is taken, what is no such thing ends in an error of ours."""

import inspect
import json
import pickle
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path, PurePosixPath

import numpy as np
import pytest
from click.testing import CliRunner

import chain
from chain.calls.given import TAKEN
from chain.calls.readings_given import readings_given
from chain.cli.main import chain as command_line
from chain.errors import ChainError, InputError, RangeError
from chain.results import ResultTable

pytestmark = pytest.mark.usefixtures("answered_once")

ROOT = Path(__file__).parent.parent.parent
SETUP = ROOT / "demo" / "boathouse.toml"
SWEEP = ROOT / "demo" / "boathouse.s1p"
LEAD = {"part": "rg59", "length": "0.6 m", "near": "BNC-75 plug", "far": "F-75 plug"}


@pytest.fixture(scope="module")
def setup():
    found = chain.load_setup(SETUP)
    return replace(found, sweep=replace(found.sweep, points=3))


@pytest.fixture(scope="module")
def few():
    """Three readings of the demo's sweep, with phase."""
    whole = chain.read_sweep(SWEEP)
    return whole.freq_hz[::60], whole.reflection[::60]


@pytest.mark.parametrize(
    "table",
    [
        {"Frequency (MHz)": [200, 210], "SWR": [1.5, 3.0]},
        {"freq_hz": [200e6, 210e6], "VSWR": [1.5, 3.0]},
        {"freq_ghz": [0.2, 0.21], "RL": [13.9794, 6.0206]},
        {"freq_mhz": [200, 210], "s11_db": [-13.9794, -6.0206]},
        {"freq_mhz": [200, 210], "S11": [0.2 + 0j, 0.5 + 0j]},
        {"freq_mhz": [200, 210], "swr": [1.5, 3.0]},
        {"freq_mhz": [200, 210], "return_loss": [13.9794, 6.0206]},
        {"freq_mhz": [200, 210], "rl_db": [13.9794, 6.0206]},
        {"freq_mhz": [200, 210], "Return loss [dB]": [13.9794, 6.0206]},
        {"freq_mhz": [200, 210], "|S11|": [0.2, 0.5]},
        {"freq_mhz": [200, 210], "mag": [0.2, 0.5]},
        {"freq_mhz": [200, 210], "gamma": [0.2, 0.5]},
    ],
)
def test_headers_of_a_table_count_as_those_of_a_file(table):
    found = readings_given(table, None)
    np.testing.assert_allclose(found.freq_hz, [200e6, 210e6])
    np.testing.assert_allclose(found.magnitude, [0.2, 0.5], rtol=1e-5)


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"freq_mhz": [200], "s11": [0.2]}, "no figure to read"),
        ({"freq": [200], "vswr": [1.2]}, "no freq_hz"),
        ({"freq_mhz": [200], "vswr": [1.2], "SWR": [1.3]}, "two columns mean the same"),
        ({"freq_mhz": [200], "s11_db": [-12.0], "phase_deg": [10.0]}, "holds a phase"),
        (([0.1 + 0.2j], [200e6]), "freq_hz holds complex figures"),
        (([200.0, 210.0], [0.1 + 0j, 0.2 + 0j]), "frequencies are in hertz"),
        ("1.3", "names no frequency"),
    ],
)
def test_what_may_mean_two_things_is_asked_back(given, message):
    with pytest.raises(ChainError, match=message):
        readings_given(given, None)


BY_CHANNEL = b"""
[sweep]
region = "europe"
channels = "5-12, 21-48"
[near]
connector = "BNC-50 plug"
[[chain]]
id = "pad"
part = "min-loss-pad"
[far]
connector = "BNC-75 plug"
"""


@pytest.mark.parametrize("names", [[21, 7, 30], ["E21", "ch 7", "30"], [21.0, 7.0, 30.0], ["21", "K7", "channel 30"]])
@pytest.mark.parametrize("ratio", ["vswr", "SWR"])
@pytest.mark.parametrize("by_index", [False, True])
def test_a_table_may_name_channels(names, ratio, by_index):
    """A column or an index of them, as numbers or as people write them, in any order: each at its middle."""
    from pandas import DataFrame

    frame = DataFrame({"channel": names, ratio: [1.5, 3.0, 1.2]})
    setup = chain.parse_setup(BY_CHANNEL)
    found = readings_given(frame.set_index("channel") if by_index else frame, setup)
    assert found.freq_hz.tolist() == [191.5e6, 474e6, 546e6] == list(found.channel_hz)
    np.testing.assert_allclose(found.magnitude, [0.5, 0.2, 1 / 11])
    typed = readings_given([f"{figure} on channel {name}" for figure, name in ((1.5, 21), (3.0, 7), (1.2, 30))], setup)
    assert (typed.freq_hz.tolist(), typed.channel_hz) == (found.freq_hz.tolist(), found.channel_hz)
    if not by_index and ratio == "vswr":
        one, other = (chain.recover(setup, each, draws=1000) for each in (frame, typed))
        np.testing.assert_allclose(one.true_vswr, other.true_vswr)
        assert len(one.read_channels) == len(other.read_channels) == 3


@pytest.mark.parametrize(
    ("names", "setup", "message"),
    [
        ([21, 60], BY_CHANNEL, "'60' is none of the set-up's channels"),
        ([21, 21], BY_CHANNEL, "named twice"),
        ([21, None], BY_CHANNEL, "'None' is none"),
        ([21, 22], b"", "channels of which region.*with a set-up"),
        ([21, 22], SETUP.read_bytes(), "channels of which region.*under .sweep."),
    ],
)
def test_a_channel_that_is_none_is_asked_back(names, setup, message):
    with pytest.raises(RangeError, match=message):
        readings_given({"channel": names, "vswr": [1.5, 1.6]}, chain.parse_setup(setup) if setup else None)


def test_arrays_by_name_are_told_where_they_go(setup, few):
    """The call that is proposed works."""
    with pytest.raises(TypeError, match=r"readings=\(freq_hz, reflection\)"):
        chain.recover(setup, freq_hz=few[0], reflection=few[1])
    assert chain.recover(setup, readings=few, draws=1000).freq_hz.size == few[0].size


def recovered(setup, given):
    return chain.recover(setup, given, draws=1000)


def test_a_reading_may_be_handed_over_in_any_form(setup, few):
    """Arrays, a Network, a mapping and a DataFrame of the same figures are the same readings; one is recovered."""
    import skrf
    from pandas import DataFrame

    freq_hz, gamma = few
    network = skrf.Network(f=freq_hz, s=gamma.reshape(-1, 1, 1), z0=50, f_unit="Hz")
    frame = DataFrame({"freq_hz": freq_hz, "reflection": gamma})
    for given in (
        (freq_hz, gamma),
        (list(freq_hz[::-1]), list(gamma[::-1])),
        network,
        {"freq_hz": freq_hz, "reflection": gamma},
        {"freq_hz": freq_hz, "ohm": 50 * (1 + gamma) / (1 - gamma)},
        frame,
        frame.set_index("freq_hz"),
    ):
        found = readings_given(given, setup)
        np.testing.assert_allclose(found.reflection, gamma, rtol=1e-9)
        np.testing.assert_allclose(found.freq_hz, freq_hz)
    truth, other = recovered(setup, chain.readings_of(freq_hz, reflection=gamma)), recovered(setup, network)
    np.testing.assert_array_equal(truth.high, other.high)


def test_magnitudes_may_be_handed_over_in_any_form(setup, few):
    freq_hz, gamma = few
    size = np.abs(gamma)
    for given in (
        (freq_hz, size),
        {"freq_hz": freq_hz, "vswr": (1 + size) / (1 - size)},
        {"freq_hz": freq_hz, "return_loss_db": 20 * np.log10(size)},
        {"freq_hz": freq_hz, "magnitude": size},
    ):
        found = readings_given(given, setup)
        assert found.reflection is None
        np.testing.assert_allclose(found.magnitude, size, rtol=1e-9)


def test_texts_are_readings_or_paths(setup):
    one = recovered(setup, "VSWR 1.30 at 210 MHz")
    assert one.reading_vswr[0] == pytest.approx(1.3)
    assert recovered(setup, ["1.3 at 210 MHz", "1.2 at 200 MHz"]).freq_hz.tolist() == [200e6, 210e6]
    assert readings_given(str(ROOT / "demo" / "boathouse.csv"), setup).freq_hz.size == 133
    with pytest.raises(InputError):
        recovered(setup, "no-such-sweep.s1p")


def test_one_true_value_is_enough(setup):
    assert [row.true_vswr for row in chain.expect(setup, 2.0, draws=1000).rows] == [2.0]
    for given in (2, "VSWR 2.0", np.float64(2), [2.0], np.array([2.0]), ("SWR 2",)):
        assert TAKEN["Sequence[float]"](given, "true_vswr", setup) == [2.0]


@pytest.mark.usefixtures("few_trials")
@pytest.mark.usefixtures("few_trials")
def test_paths_stand_for_records_everywhere():
    """Every public function that takes a set-up, a need or an installation takes the path of its file."""
    need, house = ROOT / "demo" / "need.toml", ROOT / "demo" / "outlets.toml"
    assert chain.check(SETUP).fits == chain.check(str(SETUP)).fits
    assert len(chain.budget(SETUP).freq_hz) == 133
    assert chain.choose(need).chains
    assert chain.check_installation(house).title == chain.installer_card(str(house)).title
    settled = 0
    for name in chain.__all__[1:]:
        function = getattr(chain, name)
        if not inspect.isfunction(function):
            continue
        for argument in inspect.signature(inspect.unwrap(function)).parameters.values():
            if argument.annotation in ("Setup", "Readings", "Need", "Installation"):
                settled += 1
                assert hasattr(function, "__wrapped__"), name
                assert argument.annotation in TAKEN
    assert settled > 25


@pytest.mark.parametrize(
    "call",
    [
        lambda setup: chain.recover(setup, 5),
        lambda setup: chain.recover(setup, None),
        lambda setup: chain.recover(setup, object()),
        lambda setup: chain.recover(setup, ([1e8], [3.0])),
        lambda setup: chain.recover(setup, ([1e8, 2e8], [0.1])),
        lambda setup: chain.recover(setup, (["x"], [0.1])),
        lambda setup: chain.recover(setup, ([1e8], [float("nan")])),
        lambda setup: chain.recover(setup, ([1e8, 1e8], [0.1, 0.1])),
        lambda setup: chain.recover(setup, ([0.0], [0.1])),
        lambda setup: chain.recover(setup, {"frequency": [1e8]}),
        lambda setup: chain.recover(setup, {"freq_hz": [1e8], "loss": [3]}),
        lambda setup: chain.recover(setup, {"freq_hz": [1e8], "vswr": [0.5]}),
        lambda setup: chain.recover(setup, {"freq_hz": [1e8, 2e8], "return_loss_db": [-5, 5]}),
        lambda setup: chain.recover(setup, "VSWR 1.3"),
        lambda setup: chain.recover(setup, "VSWR 1.3 at 210 MHz", draws="many"),
        lambda setup: chain.recover(setup, "VSWR 1.3 at 210 MHz", draws=1.5),
        lambda setup: chain.recover(3, "VSWR 1.3 at 210 MHz"),
        lambda setup: chain.recover(Path("none.toml"), "VSWR 1.3 at 210 MHz"),
        lambda setup: chain.expect(setup, 0.5),
        lambda setup: chain.expect(setup, "two"),
        lambda setup: chain.expect(setup, [None]),
        lambda setup: chain.expect(setup, float("nan")),
        lambda setup: chain.expect(setup, 2.0, seed=-1),
        lambda setup: chain.expect(setup.items),
        lambda setup: chain.check(None),
        lambda setup: chain.choose(setup),
        lambda setup: chain.read_sweep(7),
        lambda setup: chain.compare_antennas(setup, 1, 2),
        lambda setup: chain.check(setup).plot(),
        lambda setup: chain.expect(setup, 2.0, draws=1000).plot(ax=3),
        lambda setup: chain.setup_of("min-loss-pad"),
        lambda setup: chain.setup_of([3]),
        lambda setup: chain.setup_of(["min-loss-pad"], sweep=5),
        lambda setup: chain.setup_of([{"part": "rg59", "length": object()}]),
        lambda setup: chain.setup_of(["min-loss-pad"], sweep=(float("nan"), 2e8)),
    ],
)
def test_a_wrong_type_is_a_clear_error_of_ours(setup, call):
    with pytest.raises(ChainError) as reported:
        call(setup)
    assert len(str(reported.value)) > 15


def test_a_set_up_in_code_is_the_one_of_the_file(setup):
    """Items, ends and sweep of the demo, given in code, make the same records; ids are made where none are given."""
    made = chain.setup_of(
        [{"id": "adapter", "part": "n-plug-bnc-plug"}, {"id": "pad", "part": "min-loss-pad"}, {"id": "lead", **LEAD}],
        near={
            "connector": "N-50 jack",
            "impedance": "50 ohm",
            "directivity": "40 dB",
            "source_match": "36 dB",
            "tracking": "0.1 dB",
            "trace_noise": "0.02 dB",
            "repeatability": "50 dB",
            "drift": "50 dB",
            "max_power": "20 dBm",
            "max_dc": "0 V",
        },
        far={"connector": "F-75 jack", "impedance": "75 ohm", "limit": "VSWR 2.0", "dc_feed": "0 V"},
        sweep=(174e6, 240e6, 133),
        title=setup.title,
    )
    assert made.sweep == replace(setup.sweep, points=133)
    assert (made.near, made.items) == (setup.near, setup.items)
    assert made.far == setup.far
    assert chain.check(made).fits
    assert [each.id for each in chain.setup_of(["min-loss-pad", LEAD, LEAD]).items] == [
        "min-loss-pad",
        "rg59",
        "rg59 2",
    ]


def test_a_set_up_in_code_has_every_value_checked():
    """All faults at once, each with the key it is at, as in a file."""
    with pytest.raises(InputError) as reported:
        chain.setup_of([{"part": "rg95"}, {**LEAD, "length": "0.6"}], near="N male", far={"conector": "F-75 jack"})
    text = str(reported.value)
    assert len(reported.value.defects) >= 4
    for words in ("no part 'rg95'", "'0.6' has no unit", "50 or 75 ohm?", "'conector' is not a key"):
        assert words in text
    with pytest.raises(InputError):
        chain.setup_of([{"part": "min-loss-pad", 'x" = 1\ny': "z"}])
    splitter = {
        "part": "splitter-2",
        "path": ["in", "out1"],
        "arm": [{"port": "out2", "end": [{"id": "load", "part": "load-f-plug"}]}],
    }
    assert chain.setup_of([splitter]).items[0].arms[0].items[0].part.id == "load-f-plug"


def test_a_dataframe_runs_over_frequency_with_its_units(setup, few):
    frame = recovered(setup, few).to_dataframe()
    assert frame.index.name == "freq_hz"
    named = {"true_reflection", "true_ohm", "true_return_loss_db", "reading_return_loss_db", "return_loss_low_db"}
    assert named <= {*frame}
    assert frame["true_reflection"].dtype.kind == "c"
    # The lower end of a return loss is the smaller one, as in the records' table: that of the larger VSWR.
    assert (frame["return_loss_low_db"] <= frame["true_return_loss_db"]).all()
    assert (frame["bound_return_loss_low_db"] <= frame["return_loss_low_db"]).all()
    size = np.abs(frame["true_reflection"])
    np.testing.assert_allclose(frame["true_return_loss_db"], -20 * np.log10(size), rtol=1e-9)
    np.testing.assert_allclose(frame["true_ohm"], 75 * (1 + frame["true_reflection"]) / (1 - frame["true_reflection"]))
    units = frame.attrs["units"]
    assert (units["freq_hz"], units["true_ohm"], units["true_return_loss_db"], units["high"]) == (
        "Hz",
        "ohm",
        "dB",
        "VSWR",
    )


def test_every_result_type_is_public_and_turns_into_plain_values(setup):
    named = {getattr(chain, name) for name in chain.__all__[1:]}
    for kind in ResultTable.__subclasses__():
        if kind.__module__.startswith("chain."):
            assert kind in named, kind
            assert callable(kind.to_dict)
    for found in (setup, chain.budget(setup), chain.readings_of([1e8], vswr=[2.0])):
        assert json.loads(json.dumps(found.to_dict()))["title"] == found.headline()
        assert len(repr(found)) < 300


def test_answers_are_drawn_on_axes_of_ones_own(setup, few):
    figure = pytest.importorskip("matplotlib.figure").Figure(figsize=(8, 4))
    ax = figure.add_subplot()
    assert chain.expect(setup, 2.0, draws=1000).plot(ax=ax) is ax
    assert ax.lines
    assert ax.get_xlabel()
    own = recovered(setup, few).plot()
    assert own.lines or own.collections
    assert own.figure is not figure


@pytest.mark.process
def test_an_answer_read_back_elsewhere_says_what_draws_it(setup):
    pytest.importorskip("matplotlib")
    command = "import pickle, sys; pickle.load(sys.stdin.buffer).plot()"
    kept = pickle.dumps(chain.expect(setup, 2.0, draws=1000))
    for first, wrong in (
        (command, "write 'from chain import recover' first"),
        (f"from chain import recover; {command}", ""),
    ):
        done = subprocess.run([sys.executable, "-c", first], input=kept, capture_output=True, check=False)
        assert (done.returncode != 0) == bool(wrong), done.stderr.decode()
        assert wrong in done.stderr.decode()


def test_a_path_of_any_kind_is_a_path():
    assert chain.read_sweep(PurePosixPath(SWEEP.as_posix())).freq_hz.size == 133
    with pytest.raises(RangeError):
        chain.read_levels(3)


@pytest.mark.usefixtures("few_trials")
def test_a_limit_in_db_is_the_unit_of_prints_and_plots(setup, few):
    """What is printed and drawn is return loss; figures by name stay what their names say."""
    from matplotlib.figure import Figure

    in_db = replace(setup, far=replace(setup.far, limit_vswr=1.92495, limit_in_db=True))
    expected = chain.expect(in_db, draws=1000)
    for found in (recovered(in_db, few), expected):
        text = f"{found!r} {found}"
        assert "vswr" not in text.lower()
        assert "return_loss_db" in text
        panel = Figure().add_subplot()
        assert "return loss" in found.plot(ax=panel).get_ylabel()
    rows = expected.rows
    assert len({round(row.true_vswr, 4) for row in rows}) == len(rows)
    losses = [-20 * np.log10((row.true_vswr - 1) / (row.true_vswr + 1)) for row in rows[1:-1]]
    np.testing.assert_allclose(losses, np.round(losses), atol=1e-3)
    assert "return_loss" not in str(chain.expect(setup, draws=1000))


def test_what_the_command_would_warn_of_is_printed_in_python_too():
    """A reading outside the set-up's sweep: print and notebook say so under the table."""
    found = chain.recover("demo/boathouse.toml", "VSWR 1.3 at 300 MHz", draws=1000)
    assert found.warnings
    assert " ".join(str(found).splitlines()).endswith(f"warning: {found.warnings[-1]}")
    assert "<tfoot>" in found._repr_html_()


@pytest.mark.usefixtures("few_trials")
def test_a_network_is_in_the_reference_of_the_plane(setup):
    """A Network says what it is referred to: another reference than the plane's is refused, with both ways out of it."""
    skrf = pytest.importorskip("skrf")
    freq = skrf.Frequency.from_f(np.linspace(174e6, 240e6, 3), unit="hz")
    shown = np.array([0.1, 0.2j, -0.3]).reshape(-1, 1, 1)
    right = chain.recover(setup, skrf.Network(frequency=freq, s=shown, z0=50.0))
    converted = skrf.Network(frequency=freq, s=shown, z0=50.0)
    converted.renormalize(75.0)
    called = skrf.Network(frequency=freq, s=shown, z0=75.0)
    remedies = r"network\.renormalize\(50\) if it was converted to 75 ohm, network\.z0 = 50 if its figures"
    for given, ask in (
        (converted, chain.recover),
        (called, chain.recover),
        (called, chain.tune),
        (called, chain.ripple),
    ):
        with pytest.raises(RangeError, match=f"in 75 ohm, the set-up's plane in 50 ohm.*{remedies}"):
            ask(setup=setup, readings=given)
    converted.renormalize(50.0)
    called.z0 = 50.0
    for given in (converted, called):
        np.testing.assert_allclose(chain.recover(setup, given).reading_vswr, right.reading_vswr)
    with pytest.raises(RangeError, match=r"in 50\+5j ohm"):
        chain.recover(setup, skrf.Network(frequency=freq, s=shown, z0=[50.0, 50.0, 50.0 + 5j]))
    after_lead = replace(setup, calibration=replace(setup.calibration, plane="lead"))
    with pytest.raises(RangeError, match=r"in 50 ohm, the set-up's plane in 75 ohm.*renormalize\(75\)"):
        chain.recover(after_lead, converted)


def test_tables_of_pandas_are_readings():
    """What `to_dataframe()` gives, frequency in the index with and without a name, one column alone, and a table of a recovery."""
    from pandas import DataFrame, Index, Series

    setup = chain.load_setup("demo/boathouse.toml")
    whole = readings_given("demo/boathouse.s1p", setup)
    back = readings_given(whole.to_dataframe(), setup)
    assert np.array_equal(back.freq_hz, whole.freq_hz)
    assert np.allclose(back.reflection, whole.reflection)
    freq_hz, gamma = np.linspace(180e6, 200e6, 5), np.full(5, 0.1 + 0.1j)
    ratio = np.full(5, 1.25)
    for given, has_phase in (
        (DataFrame({"s11": gamma}, index=Index(freq_hz, name="freq_hz")), True),
        (DataFrame({"reflection": gamma}, index=freq_hz), True),
        (DataFrame({"VSWR": ratio}, index=freq_hz), False),
        (DataFrame({"SWR": ratio}, index=Index(freq_hz / 1e6, name="MHz")), False),
        (Series(gamma, index=freq_hz), True),
        (Series(ratio, index=freq_hz, name="vswr"), False),
        (chain.recover(setup, (freq_hz, np.full(5, 0.11)), draws=200).to_dataframe(), False),
    ):
        found = readings_given(given, setup)
        assert np.allclose(found.freq_hz, freq_hz)
        assert (found.reflection is not None) == has_phase
        assert np.allclose(found.magnitude, np.abs(gamma) if has_phase else found.magnitude[0])
    recovered = chain.recover(setup, (freq_hz, gamma), draws=200).to_dataframe()
    assert np.allclose(readings_given(recovered, setup).reflection, gamma)
    with pytest.raises(RangeError, match=r"index\.name = 'freq_hz'"):
        readings_given(DataFrame({"vswr": ratio}, index=freq_hz / 1e6), setup)


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("draws", [-1, 0, 199, 1_000_001, 2.5, "x"])
def test_the_limits_of_draws_are_those_of_the_command(draws):
    done = CliRunner().invoke(command_line, ["expect", "demo/boathouse.toml", "--draws", str(draws)])
    assert done.exit_code == 2
    with pytest.raises(RangeError) as refused:
        chain.expect("demo/boathouse.toml", draws=draws)
    for text in (done.stderr, refused.value.message):
        assert "takes a whole number from 200 to 1000000" in text
    setup = chain.load_setup("demo/boathouse.toml")
    few = replace(setup, sweep=replace(setup.sweep, points=2))
    chain.expect(few, draws=int(re.search(r"draws=(\d+)", refused.value.help)[1]))
