"""Files and names of other systems: line ends, code pages, drive letters; what can be tested of them here."""

import re
from dataclasses import fields
from pathlib import Path, PureWindowsPath

import pytest
from click.testing import CliRunner

from chain.cli.main import chain
from chain.cli.writing import kind_of
from chain.errors import InputError
from chain.files.setup_file import parse_setup
from chain.reception.installation_file import parse_installation
from chain.selection.need_file import parse_need

DEMO = Path("demo")
READERS = {"boathouse.toml": parse_setup, "outlets.toml": parse_installation, "need.toml": parse_need}


@pytest.mark.parametrize("name", READERS)
def test_line_ends_and_marks_of_other_systems_change_nothing(name):
    """Two-byte line ends, and the mark that some editors put first."""
    raw = (DEMO / name).read_bytes()
    plain, other = (READERS[name](each, name, DEMO) for each in (raw, b"\xef\xbb\xbf" + raw.replace(b"\n", b"\r\n")))
    for field in fields(plain):
        if field.name not in ("library", "locator"):
            assert getattr(plain, field.name) == getattr(other, field.name), field.name


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize("encoding", ["utf-16", "cp1252"])
def test_a_file_of_another_code_page_is_refused_with_what_to_do(name, encoding):
    """TOML is UTF-8 by its standard; nothing is guessed."""
    text = "# Frei für das Bootshaus\n" + (DEMO / name).read_text("utf-8")
    raw = text.encode(encoding, errors="replace")
    with pytest.raises(InputError) as caught:
        READERS[name](raw, name, DEMO)
    assert any("UTF-8" in f"{each.message} {each.help}" for each in caught.value.defects)


@pytest.mark.parametrize(("name", "kind"), [("ant.s1p", "touchstone"), ("page.HTML", "html"), ("a.b.csv", "csv")])
def test_the_ending_of_a_name_with_a_drive_says_what_is_written(name, kind):
    assert kind_of(str(PureWindowsPath("C:/aerials") / name)) == kind


def test_a_record_has_a_name_that_every_system_takes(tmp_path):
    """No colon of a time, no reserved character; what was typed as a name is kept in the record, not in the path."""
    words = ["log", "add", str(tmp_path / "log"), "demo/plane-after-pad.toml", "demo/plane-after-pad.s1p"]
    done = CliRunner().invoke(chain, [*words, "--name", 'con: "a/b" <1>?'])
    assert done.exit_code in (0, 2), done.output
    for path in (tmp_path / "log").rglob("*.toml"):
        assert re.fullmatch(r"[\w.-]+", path.name), path.name
        assert PureWindowsPath(path.name).name == path.name


def test_the_two_commands_are_reported_for_powershell_too():
    text = Path("README.md").read_text("utf-8")
    assert re.search(r"^py -m venv .*chain expect demo/boathouse\.toml$", text, flags=re.M)
    assert re.search(r"^py -m venv .*pytest$", text, flags=re.M)


@pytest.mark.parametrize(
    ("name", "tables"),
    [("boathouse.toml", ["[sweep]", "[near]", "[far]"]), ("outlets.toml", ["[antenna]"]), ("need.toml", ["[need]"])],
)
def test_a_table_that_must_be_there_is_asked_for_with_what_to_add(name, tables):
    """Whatever else is wrong; the remedy names the table."""
    with pytest.raises(InputError) as caught:
        READERS[name](b'title = "no more than that"', name, DEMO)
    reported = {each.message: each.help for each in caught.value.defects}
    for table in tables:
        assert f"add {table}" in reported[f"table {table} is missing"]
