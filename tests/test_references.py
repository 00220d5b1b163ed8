"""Pages and tables made from the code are in step with it."""

import re

import make_references
import pytest
from rooms import ROOMS

from chain.cli.main import COMMANDS
from chain.files.schema_export import setup_schema

REMEDY = "out of step: run 'python tests/make_references.py {0}' and look at what changed"


@pytest.mark.parametrize("name", make_references.PAGES)
def test_a_made_page_is_what_the_code_makes_today(name):
    """Regenerating changes nothing."""
    path = make_references.ROOT / "demo" / name
    assert path.read_text(encoding="utf-8") == make_references.PAGES[name](), REMEDY.format(name)


def test_the_contributors_guide_shows_the_rooms_as_they_are():
    """The picture of rooms in DEVELOPERS.md is that of tests/rooms.toml, every room above those it may import."""
    text = (make_references.ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert text == make_references.with_rooms(text), REMEDY.format("DEVELOPERS.md")
    places = {
        room: re.search(rf"^\| (chain/)?{room}/? ", text.replace("| chain/ ", "| chain/top "), flags=re.MULTILINE)
        for room in ROOMS
    }
    for room, below in ROOMS.items():
        assert all(places[room].start() < places[each].start() for each in below), room


def test_the_reference_tells_every_key_and_every_command():
    """Nothing of the schema and no command is left out of the pages."""
    page = make_references.setup_page()
    for table in setup_schema()["$defs"].values():
        for key, reported in table["properties"].items():
            assert re.search(rf"^\| (\*\*)?`{key}`(\*\*)? \|", page, flags=re.MULTILINE), key
            assert " ".join(reported["description"].split()) in page
    commands = make_references.commands_page()
    for name in (each for section in COMMANDS.values() for each in section):
        assert f"### chain {name}\n" in commands


def test_a_schema_that_changed_would_be_noticed(monkeypatch):
    """The page follows the schema: a key more is a row more."""
    changed = setup_schema()
    changed["$defs"]["far"]["properties"]["height"] = {"type": "number", "minimum": 0, "description": "Invented key."}
    monkeypatch.setattr("chain.files.schema_export.setup_schema", lambda: changed)
    assert "| `height` | Invented key. | number from 0 |  |" in make_references.setup_page()
