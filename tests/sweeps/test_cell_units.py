"""Units in the cells of a table, as spreadsheets and people write them."""

import numpy as np
import pytest

from chain.errors import InputError
from chain.sweeps.read import read_sweep

PLAIN = "frequency_mhz;return_loss_db\n470;15.2\n480;16\n490;18\n"


def read(tmp_path, text, encoding="utf-8"):
    path = tmp_path / "sweep.csv"
    path.write_bytes(text.encode(encoding))
    return read_sweep(str(path))


@pytest.mark.parametrize(
    ("text", "encoding"),
    [
        ("Frequency;Return loss\n470.000 MHz;15.2 dB\n480.000 MHz;16 dB\n490.000 MHz;18 dB\n", "utf-8"),
        ("Frequency,Return loss\n0.47 GHz,15.2dB\n0.48 GHz,16dB\n0.49 GHz,18dB\n", "utf-8"),
        ("Frequency [MHz]\tReturn loss\n470 MHz\t15.2 dB\n480 MHz\t16 dB\n490 MHz\t18 dB\n", "utf-8"),
        (
            "Frequenz;R\u00fcckflussd\u00e4mpfung\r\n470,0 MHz;15,2 dB\r\n480,0 MHz;16,0 dB\r\n490,0 MHz;18,0 dB\r\n",
            "cp1252",
        ),
    ],
)
def test_a_table_with_units_in_its_cells_is_the_plain_one(tmp_path, text, encoding):
    found, plain = read(tmp_path, text, encoding), read(tmp_path, PLAIN)
    np.testing.assert_allclose(found.freq_hz, plain.freq_hz)
    np.testing.assert_allclose(found.magnitude, plain.magnitude)


def test_a_ratio_to_one_is_a_ratio(tmp_path):
    found = read(tmp_path, "Frequency;VSWR\n470 MHz;1.50:1\n480 MHz;2.0 :1\n490 MHz;1.2\n")
    np.testing.assert_allclose(found.magnitude, [0.2, 1 / 3, 0.2 / 2.2])


@pytest.mark.parametrize(
    "text",
    [
        "Frequency;VSWR\n470 MHz;1.5\n0.48 GHz;1.6\n490 MHz;1.4\n",
        "Frequency [kHz];VSWR\n470 MHz;1.5\n480 MHz;1.6\n490 MHz;1.4\n",
    ],
)
def test_a_column_keeps_to_one_unit(tmp_path, text):
    with pytest.raises(InputError, match="one unit in each column"):
        read(tmp_path, text)
