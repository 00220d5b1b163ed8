"""Absurd figures are refused at their place, and two ends that do not fit are reported with file, line, column and a remedy."""

import numpy as np
import pytest

from chain.assembly.budget import budget
from chain.assembly.cascade import build
from chain.errors import FitError, InputError
from chain.files.setup_file import load_setup, parse_setup
from chain.uncertainty.measurement import measurement_of, simulate
from library.load import load_library
from library.mating import bridging_adapters, parse_connector

TEXT = """[sweep]
start = "174 MHz"
stop = "240 MHz"
points = 3
[near]
connector = "N-50 jack"
[[chain]]
id = "adapter"
part = "n-plug-bnc-plug"
{adapter}
[[chain]]
id = "pad"
part = "min-loss-pad"
{pad}
[[chain]]
id = "lead"
part = "rg59"
near = "BNC-75 plug"
far = "F-75 plug"
{lead}
[far]
connector = "F-75 jack"
"""


def defects(adapter="", pad="", lead='length = "0.6 m"'):
    with pytest.raises(InputError) as caught:
        parse_setup(TEXT.format(adapter=adapter, pad=pad, lead=lead).encode())
    return [(each.line, each.column, each.message) for each in caught.value.defects]


@pytest.mark.parametrize(
    ("keys", "line", "words"),
    [
        ({"lead": 'length = "1e5 m"'}, 20, "out of range for a length"),
        ({"lead": 'length = "10001 m"'}, 20, ""),
        ({"lead": 'length = "0.6 m"\nlength_tolerance = "0.31 m"'}, 21, "more than half the length"),
        ({"lead": 'length = "0.6 m"\nlength_tolerance = "1e4 m"'}, 21, "more than half the length"),
        ({"pad": 'loss_tolerance = "200 dB"'}, 14, "out of range for a tolerance of loss"),
        ({"pad": 'loss_tolerance = "20.1 dB"'}, 14, "out of range for a tolerance of loss"),
        ({"adapter": 'electrical_length = "50 mm"\nlength_tolerance = "30 mm"'}, 11, "more than half the length"),
        ({"lead": 'length = "9000 m"'}, 20, "nothing comes back through it"),
    ],
)
def test_an_absurd_figure_is_refused_in_its_place(keys, line, words):
    (found,) = defects(**keys)
    assert found[0] == line
    assert words in found[2]


@pytest.mark.parametrize("key", ["tracking", "trace_noise"])
def test_an_error_of_the_analyzer_of_any_size_is_refused_in_its_place(key):
    """200 dB are ten thousand million times the reading, whose square no single precision holds."""
    text = TEXT.format(adapter="", pad="", lead='length = "0.6 m"')
    at = text.index("[near]") + len("[near]\n")
    with pytest.raises(InputError) as caught:
        parse_setup(f'{text[:at]}{key} = "20.1 dB"\n{text[at:]}'.encode())
    (found,) = caught.value.defects
    assert "out of range for an error of a reading" in found.message
    assert "0 to 20 dB" in found.help
    assert parse_setup(f'{text[:at]}{key} = "20 dB"\n{text[at:]}'.encode())


@pytest.mark.parametrize(
    "keys",
    [
        {"lead": 'length = "0.6 m"\nlength_tolerance = "0.3 m"'},
        {"pad": 'loss_tolerance = "20 dB"', "lead": 'length = "700 m"'},
        {"pad": 'loss = "140 dB"', "lead": 'length = "1 um"'},
    ],
)
@pytest.mark.filterwarnings("error")
def test_what_is_let_through_computes_without_nan(keys):
    setup = parse_setup(TEXT.format(**{"adapter": "", "pad": "", "lead": 'length = "0.6 m"'} | keys).encode())
    found = budget(setup)
    assert np.isfinite(found.transducer_loss_db).all()


def test_caps_of_a_part_file(tmp_path):
    from library.errors import LibraryError

    path = tmp_path / "mine.toml"
    path.write_text(
        '[[pad]]\nid = "p"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"\nnear_ohm = 50\nfar_ohm = 75\nloss_db = 6\n'
        "loss_tolerance_db = 21\n"
    )
    with pytest.raises(LibraryError, match="less than or equal to 20"):
        load_library([path])


def test_two_ends_that_do_not_fit_have_a_place_and_an_adapter(tmp_path):
    path = tmp_path / "set.toml"
    text = TEXT.format(adapter="", pad="", lead='length = "0.6 m"').replace('"BNC-75 plug"', '"F-75 plug"')
    path.write_text(text.replace("n-plug-bnc-plug", "n-plug-bnc-jack"))
    with pytest.raises(FitError) as caught:
        build(load_setup(path))
    # Every pair at once: jack on jack at the pad's part, F plug on a BNC jack at the lead's own key.
    assert [(each.line, each.column, each.path) for each in caught.value.defects] == [
        (13, 8, str(path)),
        (18, 8, str(path)),
    ]
    shown = str(caught.value)
    assert f"{path}:18:8: error: pad (BNC-75 jack) and lead (F-75 plug" in shown
    assert '18 | near = "F-75 plug"' in shown
    joining = bridging_adapters(parse_connector("BNC-75 jack"), parse_connector("F-75 plug"))[0]
    assert f"help: put {joining}" in shown
    assert joining in load_library().ids("adapter")


def test_without_a_file_the_ends_are_named_alone():
    from dataclasses import replace

    text = TEXT.format(adapter="", pad="", lead='length = "0.6 m"').replace('"BNC-75 plug"', '"F-75 plug"')
    setup = replace(parse_setup(text.encode()), locator=None, path="")
    with pytest.raises(FitError, match=r"^error: pad .* do not fit together"):
        build(setup)


def test_arm_of_a_splitter_is_no_plane():
    text = TEXT.format(adapter="", pad="", lead='length = "0.6 m"') + (
        '[[chain]]\nid = "split"\npart = "splitter-2"\npath = ["in", "out1"]\n[[chain.arm]]\nport = "out2"\n'
        'end = [{ id = "stub", part = "load-f-plug" }]\n[calibration]\nplane = "stub"\n'
    )
    with pytest.raises(InputError, match="no item has the id 'stub'"):
        parse_setup(text.encode())


def test_a_calibration_through_what_lets_nothing_back_is_refused():
    """A pad whose shunt is a short: ahead of the plane the standards would read alike."""
    text = TEXT.format(adapter="", pad='shunt = "0.001 ohm"', lead='length = "0.6 m"')
    text += '[calibration]\nplane = "{plane}"\n'
    with pytest.raises(InputError) as caught:
        parse_setup(text.format(plane="pad").encode())
    (found,) = caught.value.defects
    # V/50 through 1 mohm leaves 2e-5 V, 75/118.3 of it on 75 ohm: of V^2/200 that is 4.29e-10, or 93.7 dB (by hand).
    assert found.message == "94 dB one way lie ahead of this plane, 94 dB of them in 'pad'"
    assert parse_setup(text.format(plane="adapter").encode())


@pytest.mark.filterwarnings("error")
def test_an_adapter_of_hardly_any_length_is_drawn_without_a_fault():
    """The library's tolerance is no more than half a stated length, or the adapter would amplify."""
    setup = parse_setup(TEXT.format(adapter='electrical_length = "1e-9 m"', pad="", lead='length = "0.6 m"').encode())
    part = setup.items[0].part
    assert part.length_tolerance_m <= part.electrical_length_m / 2
    measurement = measurement_of(setup, build(setup))
    for single in (False, True):
        drawn = simulate(measurement, 0, 1, single=single)
        assert np.isfinite(drawn.p).all()
        assert np.isfinite(drawn.q).all()
