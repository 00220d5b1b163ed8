"""Places of keys in a TOML text, and how a defect is shown."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chain.errors import Defect, InputError, plain, show
from chain.files.toml import PlacedDefect, closest, locate

TEXT = """\
a.b = 1 # one
"x y".z = { p = "q", r = [1, # two
  22] }
[[chain]] # first
id = "a"
[[chain.arm]]
port = "x"
[[chain.arm]]
port = "y"
end = [{ id = "Ω", length = 3 }, 5]
[[chain]]
\tlength = "µ" # tab
[ near ]
long = '''
two lines'''
"""


@pytest.mark.parametrize(
    ("where", "spot", "place"),
    [
        (("a", "b"), "key", (1, 1, 3)),
        (("a", "b"), "value", (1, 7, 1)),
        (("x y", "z", "p"), "value", (2, 17, 3)),
        (("x y", "z", "r", 1), "value", (3, 3, 2)),
        (("x y", "z", "r"), "value", (2, 26, 9)),
        (("chain", 0), "header", (4, 1, 9)),
        (("chain", 0, "id"), "value", (5, 6, 3)),
        (("chain", 0, "arm", 1), "header", (8, 1, 13)),
        (("chain", 0, "arm", 1, "port"), "key", (9, 1, 4)),
        # Columns count characters: the ohm sign before this key has two bytes.
        (("chain", 0, "arm", 1, "end", 0, "length"), "key", (10, 20, 6)),
        (("chain", 0, "arm", 1, "end", 0), "header", (10, 8, 24)),
        (("chain", 0, "arm", 1, "end", 1), "value", (10, 34, 1)),
        (("chain", 1), "header", (11, 1, 9)),
        (("chain", 1, "length"), "value", (12, 11, 3)),
        (("near",), "key", (13, 3, 4)),
        (("near",), "header", (13, 1, 8)),
        (("near", "long"), "value", (14, 8, 3)),
        # What is not there is shown at the table it belongs to.
        (("near", "connector"), "header", (13, 1, 8)),
        (("far", "connector"), "header", (1, 1, 1)),
    ],
)
def test_place_of_a_key(where, spot, place):
    found = locate([PlacedDefect(where, "odd", spot=spot)], TEXT, "a.toml")
    assert (found[0].line, found[0].column, found[0].width) == place


def test_windows_line_ends_are_no_part_of_a_line():
    found = locate([PlacedDefect(("b",), "odd")], 'a = 1\r\nb = """x\r\ny"""\r\n', "a.toml")
    assert (found[0].line, found[0].column, found[0].width, found[0].source) == (2, 5, 4, 'b = """x')


def test_defects_come_in_file_order():
    defects = [PlacedDefect(("near",), "second"), PlacedDefect(("a", "b"), "first"), PlacedDefect((), "none")]
    assert [each.message for each in locate(defects, TEXT, "a.toml")] == ["none", "first", "second"]


def test_of_very_many_defects_the_first_are_shown_and_the_rest_counted():
    text = "".join(f"k{number} = 1\n" for number in range(250))
    found = locate([PlacedDefect((f"k{number}",), "odd") for number in reversed(range(250))], text, "a.toml")
    assert [each.line for each in found] == [*range(1, 101), 0]
    assert found[-1].message == "150 more errors are not shown"
    assert str(InputError(found)).splitlines()[-1] == "250 errors in a.toml"


def test_shown_with_tabs_and_wide_characters_aligned():
    reported = show(Defect("a.toml", 12, 6, "odd", "even", "\tx = 広い", 2))
    assert reported.splitlines() == [
        "a.toml:12:6: error: odd",
        " 12 |     x = 広い",
        "    |         ^^^^",
        "help: even",
    ]


def test_nothing_in_a_line_steers_a_terminal():
    reported = show(Defect("a\x1b[1m.toml", 1, 5, "odd", "", 'a = "\x1b[31m\u202e\x07"', 3))
    assert reported.splitlines() == ["a?[1m.toml:1:5: error: odd", '  1 | a = "?[31m??"', "    |     ^^^"]


def test_a_long_line_is_shown_around_the_fault():
    reported = show(Defect("a.toml", 1, 501, "odd", "", "x" * 500 + "y" + "z" * 500, 1)).splitlines()
    assert all(len(line) < 130 for line in reported)
    assert reported[1][reported[2].index("^")] == "y"


def test_summary_counts_per_file():
    error = InputError([Defect("a.toml", 1, 1, "odd"), Defect("a.toml", 2, 1, "odd"), Defect("b.toml", 0, 0, "gone")])
    assert str(error).splitlines()[-2:] == ["2 errors in a.toml", "1 error in b.toml"]
    assert error.exit_code == 2


@given(st.text())
def test_plain_text_is_printable_and_as_long(text):
    assert len(plain(text)) == len(text)
    assert all(each.isprintable() or each.isspace() for each in plain(text))
    assert not set(plain(text)) & set("\0\t\n\r\x1b\x7f\x9b\u2028\u202e")


@pytest.mark.parametrize(
    ("word", "known", "hint"),
    [
        ("lenght", ["length", "loss", "part"], "did you mean 'length'?"),
        ("Length", ["length"], "did you mean 'length'?"),
        ("vf", ["velocity_factor", "part"], "did you mean 'velocity_factor'?"),
        ("qqq", ["a", "b"], "one of: a, b"),
        ("qqq", [f"k{number}" for number in range(9)], ""),
    ],
)
def test_closest(word, known, hint):
    assert closest(word, known, {"vf": "velocity_factor"}) == hint
