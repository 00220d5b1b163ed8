"""A measured two-port in a set-up: what its file holds is reported, and a pair of ports of a larger one is taken."""

import pytest

from chain.assembly.budget import budget
from chain.errors import InputError
from chain.files.setup_file import load_setup

SETUP = """[sweep]
start = "100 MHz"
stop = "200 MHz"
points = 3
[near]
connector = "N-50 jack"
[[chain]]
id = "box"
touchstone = "{}"
near = "N-50 plug"
far = "N-50 plug"
{}
[far]
connector = "N-50 jack"
impedance = "50 ohm"
"""
ROWS = ["0 0 0 1 0 1 0 0 0", "100 0.1 0 0.5 -0.1 0.5 -0.1 0.2 0", "150 0.1 0 0.4 -0.2 0.4 -0.2 0.2 0"]
LAST = "200 0.1 0 0.3 -0.3 0.3 -0.3 0.2 0"


def loaded(tmp_path, text, name="box.s2p", more=""):
    (tmp_path / name).write_text(text)
    (tmp_path / "setup.toml").write_text(SETUP.format(name, more))
    return load_setup(str(tmp_path / "setup.toml"))


def test_a_falling_file_with_a_point_at_zero_is_reported(tmp_path):
    """Turned round and without 0 Hz it is the same part, and the answer says both."""
    head = "# MHz S RI R 50\n"
    rising = loaded(tmp_path, head + "\n".join([*ROWS[1:], LAST]) + "\n")
    wanted = budget(rising).s
    falling = loaded(tmp_path, head + "\n".join([*ROWS, LAST][::-1]) + "\n")
    assert (budget(falling).s == wanted).all()
    reported = " ".join(falling.assumed)
    assert "box: the file falls in frequency and was turned round" in reported
    assert "box: the point at 0 Hz left out" in reported
    assert "turned round" not in " ".join(rising.assumed)


def test_a_pair_of_ports_of_a_larger_file(tmp_path):
    """Ports 3 and 1 of three; none named, or one that is not there, is said with the remedy."""
    rows = "\n".join(
        f"{f} 0.1 0 0 0 {a} 0\n0 0 0 0 0 0\n{a} 0 0 0 0.3 0" for f, a in ((100, 0.5), (150, 0.4), (200, 0.3))
    )
    text = f"# MHz S RI R 50\n{rows}\n"
    found = loaded(tmp_path, text, "three.s3p", 'path = ["3", "1"]')
    s = budget(found).s
    assert s[:, 0, 0] == pytest.approx(0.3)
    assert s[:, 1, 0] == pytest.approx([0.5, 0.4, 0.3])
    assert "box: ports 3 to 1 of the file, the others ended in its reference" in " ".join(found.assumed)
    for more, said in (("", "holds 3 ports where 2 ports are needed"), ('path = ["1", "4"]', "'1' to '4' is no pair")):
        with pytest.raises(InputError, match=said) as caught:
            loaded(tmp_path, text, "three.s3p", more)
        assert 'path = ["1", "3"]' in caught.value.defects[0].help
        assert caught.value.defects[0].line == 9
