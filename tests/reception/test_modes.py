"""Names of modes: taken however they are spelt, and answered with modes of their own standard where they are misspelt."""

import pytest

from library.errors import LibraryError
from library.reception import mode


@pytest.mark.parametrize(
    ("text", "service"),
    [
        ("DVB-T2 256QM 2/3", "DVB-T2 "),
        ("DVB-T2 64QAM 7/8", "DVB-T2 "),
        ("DVB-T2 1024QAM 2/3", "DVB-T2 "),
        ("T2 256QAM 2/5", "DVB-T2 "),
        ("DVB-T 256QAM 2/3", "DVB-T "),
        ("DVBT 64QAM 1/3", "DVB-T "),
        ("DVB-S2 QPSK 7/9", "DVB-S2 "),
    ],
)
def test_a_misspelt_mode_is_answered_with_modes_of_its_own_standard(text, service):
    with pytest.raises(LibraryError) as caught:
        mode(text)
    assert caught.value.near
    assert all(each.startswith(service) for each in caught.value.near)
    assert all(mode(each).id == each for each in caught.value.near)


@pytest.mark.parametrize("text", ["DVBT2 256QAM 2/3", "dvb-t2 256 qam 2/3", "DVB-T2 256-QAM 2/3", "DVB-T2  256qam 2/3"])
def test_a_mode_is_known_however_it_is_spelt(text):
    assert mode(text).id == "DVB-T2 256QAM 2/3"
