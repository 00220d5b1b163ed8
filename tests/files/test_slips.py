"""Slips of a first set-up file: each error has a remedy, and the file that follows it is read or leads on."""

import pytest
from uhf_bench import UHF_BENCH

from chain.errors import InputError
from chain.files.setup_file import parse_setup


def refused(old, new):
    """The one defect of the set-up with a slip in it."""
    assert old in UHF_BENCH
    with pytest.raises(InputError) as caught:
        parse_setup(UHF_BENCH.replace(old, new).encode(), "mine.toml")
    (defect,) = caught.value.defects
    return defect


@pytest.mark.parametrize(
    ("old", "new", "remedy", "mended"),
    [
        ('"21-48"', "21-48", 'write channels = "21-48"', '"21-48"'),
        ('"21-48"', "21,22,25", 'write channels = "21,22,25"', '"21,22,25"'),
        ('"21-48"', '"21 22 33 40"', 'write "21, 22, 33, 40"', '"21, 22, 33, 40"'),
        ('"21-48"', '"21,22,33 and 40"', 'write "21, 22, 33, 40"', '"21, 22, 33, 40"'),
        ('"21-48"', '"21-48   # mine', 'write channels = "21-48"', '"21-48"'),
        ("[[chain]]", "[chain]", "write [[chain]] before each item", "[[chain]]"),
        ("[far]", "[[chain]]\n[far]", "delete this line", "[far]"),
        ('"VSWR 2.0"', '"1,5"', "write 'VSWR 1.5'", '"VSWR 1.5"'),
        ('"1 m"', '"1,5"', "write '1.5 m'", '"1.5 m"'),
    ],
)
def test_a_slip_has_a_remedy_that_works(old, new, remedy, mended):
    assert remedy in refused(old, new).help
    parse_setup(UHF_BENCH.replace(old, mended).encode(), "mine.toml")


def test_an_item_left_empty_gets_an_id_that_is_free():
    assert 'id = "item"' in refused("[far]", "[[chain]]\n[far]").help
    taken = UHF_BENCH.replace('id = "pad"', 'id = "item"').replace("[far]", "[[chain]]\n[far]")
    with pytest.raises(InputError) as caught:
        parse_setup(taken.encode(), "mine.toml")
    assert 'id = "item2"' in caught.value.defects[0].help


def test_a_part_that_is_described_brings_parts_of_that_kind():
    found = refused('"min-loss-pad-n-f"', '"N to BNC adapter"')
    assert "'n-plug-bnc-plug'" in found.help
    assert "chain parts N to BNC adapter" in found.help
