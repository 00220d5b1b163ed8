"""What was written is read again: tables of answers, readings as plain values, DataFrames, set-ups made in code."""

from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from pages import thinned

import chain
from chain.calls.readings_given import readings_given
from chain.cli.main import chain as command_line
from chain.errors import InputError, RangeError
from chain.sweeps.read import read_sweep

ROOT = Path(__file__).parent.parent.parent
SETUP = ROOT / "demo" / "boathouse.toml"
SWEEP = ROOT / "demo" / "boathouse.s1p"
MAGNITUDES = ROOT / "demo" / "boathouse.csv"


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A folder with the boathouse and its sweeps, every fourth point."""
    folder = tmp_path_factory.mktemp("bench")
    thinned("boathouse", folder)
    return folder


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", [SWEEP.name, MAGNITUDES.name])
def test_the_table_of_a_recovery_gives_its_readings_again(tmp_path, bench, name):
    written, sweep = tmp_path / "x.csv", bench / name
    found = CliRunner().invoke(command_line, ["recover", str(SETUP), str(sweep), "--draws", "1000", "-o", str(written)])
    assert found.exit_code == 0, found.output
    first, again = chain.read_sweep(str(sweep)), chain.read_sweep_for(chain.load_setup(SETUP), str(written))
    np.testing.assert_allclose(again.magnitude, first.magnitude, rtol=1e-12)
    assert (again.reflection is None) == (first.reflection is None)
    if first.reflection is not None:
        np.testing.assert_allclose(again.reflection, first.reflection, rtol=1e-12)


@pytest.mark.parametrize(
    "header",
    ["mismatch_loss_db", "Insertion loss (dB)", "Cable loss [dB]", "Loss [dB]", "Kabeldämpfung [dB]", "attenuation_db"],
)
def test_another_loss_is_no_reading(tmp_path, header):
    table = tmp_path / "a.csv"
    table.write_text(f"frequency_mhz,{header}\n174,12\n175,13\n", encoding="utf-8")
    with pytest.raises(InputError, match="neither VSWR nor return loss"):
        chain.read_sweep(str(table))
    table.write_text(f"frequency_mhz,{header},vswr\n174,12,1.5\n175,13,1.5\n", encoding="utf-8")
    assert chain.read_sweep(str(table)).magnitude == pytest.approx([0.2, 0.2])


@pytest.mark.usefixtures("few_trials")
@pytest.mark.parametrize("name", [SWEEP.name, MAGNITUDES.name])
def test_the_dataframe_of_a_recovery_gives_its_readings_again(bench, name):
    sweep = bench / name
    first = chain.read_sweep(str(sweep))
    again = readings_given(chain.recover(SETUP, sweep, draws=1000).to_dataframe(), None)
    np.testing.assert_allclose(again.magnitude, first.magnitude, rtol=1e-12)
    assert (again.reflection is None) == (first.reflection is None)


def test_tables_of_pandas_and_plain_values_count_as_files_do(tmp_path):
    import pandas as pd

    setup = chain.load_setup(SETUP)
    sweep = chain.read_sweep(str(SWEEP)).at(slice(0, 3))
    assert sweep.reflection is not None
    again = tmp_path / "again.csv"
    sweep.to_dataframe().to_csv(again)
    ohm = 50 * (1 + sweep.reflection) / (1 - sweep.reflection)
    for given in (
        sweep.to_dict(),
        sweep.to_dataframe(),
        pd.read_csv(again),
        pd.DataFrame({"freq_hz": sweep.freq_hz, "R (ohm)": ohm.real, "X (ohm)": ohm.imag}),
        pd.DataFrame({"freq_hz": sweep.freq_hz, "s11": [str(each) for each in sweep.reflection]}),
        {"freq_hz": sweep.freq_hz, "s11_real": sweep.reflection.real, "s11_imaginary": sweep.reflection.imag},
    ):
        found = readings_given(given, setup)
        assert found.reflection is not None
        np.testing.assert_allclose(found.reflection, sweep.reflection, rtol=1e-9)


@pytest.mark.usefixtures("few_trials")
def test_pandas_reads_the_table_of_a_recovery_with_its_phase(tmp_path, bench):
    import pandas as pd

    written, sweep = tmp_path / "x.csv", bench / SWEEP.name
    CliRunner().invoke(command_line, ["recover", str(SETUP), str(sweep), "--draws", "1000", "-o", str(written)])
    found = readings_given(pd.read_csv(written), chain.load_setup(SETUP))
    np.testing.assert_allclose(found.reflection, chain.read_sweep(str(sweep)).reflection, rtol=1e-12)


def test_a_column_named_twice_is_refused():
    import pandas as pd

    with pytest.raises(RangeError, match="two columns have one name"):
        readings_given(pd.DataFrame([[2e8, 1.2, 1.3]], columns=["freq_hz", "vswr", "vswr"]), None)


@pytest.mark.parametrize(
    ("column", "figures"),
    [
        ("vswr", [1.5, 3.0, 1.25]),
        ("vswr", [2, 3, 1]),
        ("return_loss_db", [9.5, 20.1, 14.0]),
        ("magnitude", [0.1, 0.25]),
    ],
)
def test_figures_of_a_dataframe_count_as_fine_as_those_of_the_same_file(tmp_path, column, figures):
    """Half a step of the last digit, as `read_csv` leaves it; arrays in code are exact."""
    import pandas as pd

    table = pd.DataFrame({"freq_hz": [2e8, 2.1e8, 2.2e8][: len(figures)], column: figures})
    path = tmp_path / "seen.csv"
    table.to_csv(path, index=False)
    of_file, of_frame = read_sweep(str(path)), readings_given(pd.read_csv(path), None)
    np.testing.assert_allclose(of_frame.rounding, of_file.rounding, rtol=1e-12)
    assert readings_given({name: table[name].to_numpy() for name in table}, None).rounding is None
