"""Set-up files that cannot be read at all, and faults in the files that a set-up names."""

import io

import pytest
from sound_file import SOUND, changed

from chain.errors import InputError
from chain.files.setup_file import load_setup, parse_setup
from chain.files.toml import LARGEST
from chain.sweeps.read import read_sweep


@pytest.mark.parametrize(
    ("raw", "place", "message"),
    [
        (b"", (1, 1), "the file is empty"),
        (b" \n\t\n", (1, 1), "the file is empty"),
        (b"\xef\xbb\xbf", (1, 1), "the file is empty"),
        (b"\xff\xfet\x00", (1, 1), "the file is UTF-16; UTF-8 is needed"),
        (b'title = "\xe9"\n', (1, 10), "the file is not UTF-8: byte 9 is 0xe9"),
        ("\ufeffa = 1\n# Ω ".encode() + b"\x80\n", (2, 5), "the file is not UTF-8: byte 14 is 0x80"),
        (b"# " + b"x" * LARGEST, (0, 0), None),
        (b"a = " + b"[" * 51 + b"]" * 51, (1, 55), "nested more than 50 levels deep"),
        (b"b = 1\na" + b".a" * 51 + b" = 1", (2, 102), "nested more than 50 levels deep"),
        (b"a = " + b"{a=" * 60 + b"1" + b"}" * 60, (1, 155), "nested more than 50 levels deep"),
        (b"a = " + b"9" * 5000, (1, 1), "not TOML: a whole number with more digits than can be read"),
    ],
)
def test_file_as_a_whole(tmp_path, raw, place, message):
    path = tmp_path / "a.toml"
    path.write_bytes(raw)
    with pytest.raises(InputError) as caught:
        load_setup(path)
    found = caught.value.defects
    assert len(found) == 1
    assert (found[0].line, found[0].column) == place
    assert found[0].message == (message or "the file is over 1 MB (1000000 bytes); a set-up is a page of text")


def test_brackets_in_texts_and_comments_are_no_nesting():
    deep = "[" * 60
    assert parse_setup(SOUND.replace('"t"', f'"{deep}" # {deep}\n').encode()).title == deep


def test_no_such_file_names_those_that_are_there(tmp_path):
    (tmp_path / "boathouse.toml").write_text(SOUND)
    with pytest.raises(InputError) as caught:
        load_setup(tmp_path / "boathose.toml")
    assert (caught.value.defects[0].message, caught.value.defects[0].help) == (
        "there is no such file",
        f"did you mean '{tmp_path / 'boathouse.toml'}'?",
    )
    with pytest.raises(InputError) as caught:
        read_sweep(str(tmp_path / "boathouse.tml"))
    assert caught.value.defects[0].help == f"did you mean '{tmp_path / 'boathouse.toml'}'?"
    with pytest.raises(InputError, match="not a plain file"):
        load_setup(tmp_path)


def test_standard_input_is_read_for_a_dash(monkeypatch):
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(SOUND.encode())))
    assert load_setup("-").title == "t"
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(b"")))
    with pytest.raises(InputError, match="empty") as caught:
        load_setup("-")
    assert str(caught.value).startswith("<stdin>:1:1: error: the file is empty")


def test_control_characters_of_the_file_never_reach_the_terminal():
    text = changed(13, 'id = "\\u001b[31m"').replace("points", "p\\u009b")
    with pytest.raises(InputError) as caught:
        parse_setup(text.encode(), "a\x1b.toml")
    assert "\x1b" not in str(caught.value)


def test_defects_of_a_part_file_are_shown_in_that_file(tmp_path):
    (tmp_path / "mine.toml").write_text('[[pad]]\nid = "my-pad"\nname = "n"\nlos_db = 5\n')
    path = tmp_path / "set.toml"
    path.write_text('library = ["mine.toml"]\n' + SOUND.replace("min-loss-pad", "my-pad"))
    with pytest.raises(InputError) as caught:
        load_setup(path)
    assert {each.path for each in caught.value.defects} == {str(tmp_path / "mine.toml")}
    misspelt = [each for each in caught.value.defects if each.line == 4]
    assert [(each.column, each.width) for each in misspelt] == [(1, 6)]


def test_defects_of_a_measured_file_are_shown_at_its_name(tmp_path):
    (tmp_path / "pad.s2p").write_text("1 2 3\n")
    path = tmp_path / "set.toml"
    keys = 'touchstone = "pad.s2p"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"'
    path.write_text(changed(11, keys))
    with pytest.raises(InputError) as caught:
        load_setup(path)
    found = caught.value.defects
    assert [(each.line, each.column) for each in found] == [(11, 14)]
    assert found[0].message.startswith("pad.s2p: ")


def test_a_measured_file_must_cover_the_sweep(tmp_path):
    (tmp_path / "pad.s2p").write_text("# MHz S RI R 50\n180 0 0 1 0 1 0 0 0\n220 0 0 1 0 1 0 0 0\n")
    path = tmp_path / "set.toml"
    path.write_text(changed(11, 'touchstone = "pad.s2p"\nnear = "BNC-50 jack"\nfar = "BNC-75 jack"'))
    with pytest.raises(InputError) as caught:
        load_setup(path)
    assert [(each.line, each.message) for each in caught.value.defects] == [
        (3, "below what 'pad' (pad.s2p) holds for: 180 MHz to 220 MHz"),
        (4, "above what 'pad' (pad.s2p) holds for: 180 MHz to 220 MHz"),
    ]
