"""JSON Schema of a set-up file, and the starter."""

import json
import re
from pathlib import Path

import jsonschema
import pytest

import chain
from chain.errors import UnitError
from chain.files.new_setup import starter_text
from chain.files.quantities import pattern, read_shows
from chain.files.schema_export import setup_schema
from chain.files.setup_file import parse_setup
from chain.files.tables import Refused
from chain.files.toml import read_toml
from chain.money import parse_price
from chain.selection.need_schema import PRICE
from chain.units import KINDS, UNIT_WORDS, parse_quantity

FOLDER = Path(chain.__file__).parent / "files" / "schemas"
DEMO = Path(__file__).parent.parent.parent / "demo"


def refused(text):
    """Paths that the schema finds fault with."""
    document, faults, _ = read_toml(text, "a.toml")
    assert faults == []
    found = jsonschema.Draft202012Validator(setup_schema()).iter_errors(document)
    return sorted(".".join(map(str, each.absolute_path)) for each in found)


def test_the_shipped_schema_is_the_exported_one():
    assert json.loads((FOLDER / "setup.schema.json").read_text(encoding="utf-8")) == setup_schema()


def test_the_schema_is_a_json_schema():
    jsonschema.Draft202012Validator.check_schema(setup_schema())


def test_every_key_has_a_description_and_an_example():
    schema = setup_schema()
    tables = {"": schema} | schema["$defs"]
    for name, table in tables.items():
        assert table["description"]
        for key, reported in table["properties"].items():
            if "$ref" in reported and name == "":
                continue
            assert reported["description"].endswith("."), (name, key)
            assert reported.get("examples") or key == "chain", (name, key)


@pytest.mark.parametrize("name", ["near", "far", "sweep", "calibration", "item"])
def test_every_example_is_a_value_that_the_schema_takes(name):
    schema = setup_schema()
    for key, reported in schema["$defs"][name]["properties"].items():
        whole = {"$ref": f"#/$defs/{name}/properties/{key}", "$defs": schema["$defs"]}
        for example in reported["examples"]:
            assert not list(jsonschema.Draft202012Validator(whole).iter_errors(example)), (key, example)


def test_examples_of_the_schema_are_read():
    keys = setup_schema()["$defs"]
    lines = []
    for name in ("sweep", "near", "far"):
        lines.append(f"[{name}]")
        lines += [
            f"{key} = {json.dumps(reported['examples'][0])}"
            for key, reported in keys[name]["properties"].items()
            if key not in ("region", "channels")
        ]
    setup = parse_setup("\n".join([*lines, "[[chain]]", 'id = "x"', 'part = "min-loss-pad"']).encode())
    assert (setup.sweep.points, setup.near.drift_db, setup.far.limit_vswr) == (133, 50.0, 2.0)


@pytest.mark.parametrize("path", sorted(DEMO.glob("*.toml")), ids=lambda path: path.name)
def test_demo_files_keep_to_the_schema(path):
    text = path.read_text(encoding="utf-8")
    if "\n[near]" in text and "\n[far]" in text:
        assert refused(text) == []


@pytest.mark.parametrize(
    ("line", "where"),
    [
        ('titel = "x"', ""),
        ('[near]\nconnector = "N-50 jack"\nimpedance = 50', "near.impedance"),
        ('[near]\nconnector = "N-50 jack"\nimpedance = "50"', "near.impedance"),
        ('[near]\nconnector = "N-50 jack"\nimpedance = "50 MHz"', "near.impedance"),
        ('[calibration]\nload = "VSWR1.1 dB"', "calibration.load"),
        ("[sweep]\npoints = 0", "sweep.points"),
        ('[[chain]]\nid = "x"', "chain.0"),
        ('[[chain]]\nid = "x"\npart = "rg59"\nlenght = "1 m"', "chain.0"),
        ('[[chain]]\nid = "x"\npart = "rg59"\nattenuation = { flat = -1 }', "chain.0.attenuation.flat"),
        ('[[chain]]\nid = "x"\npart = "splitter-2"\n[[chain.arm]]\nport = "out1"\nend = 3', "chain.0.arm.0.end"),
    ],
)
def test_the_schema_refuses_what_the_reader_refuses(line, where):
    assert where in refused(line)


def test_starter_loads_as_it_stands_and_names_its_schema():
    text = starter_text()
    assert text.startswith("#:schema ./setup.schema.json\n")
    setup = parse_setup(text.encode())
    assert [item.part.id for item in setup.items] == ["n-plug-bnc-plug", "min-loss-pad", "rg59"]
    assert refused(text) == []


def test_what_the_starter_suggests_in_comments_loads_too():
    lines = []
    for line in starter_text().splitlines():
        bare = line.removeprefix("# ")
        suggested = line.startswith("# ") and " = " in bare and bare.split(" = ")[0].isidentifier()
        if suggested and not bare.startswith("library"):
            lines.append(bare)
        elif not line.startswith(("start", "stop")):
            lines.append(line)
    setup = parse_setup("\n".join(lines).encode())
    assert setup.sweep.region == "europe"
    assert setup.items[1].reversed
    assert setup.items[1].part.loss_db == 5.75


def test_starter_and_demo_describe_the_same_chain():
    demo = parse_setup((DEMO / "boathouse.toml").read_bytes())
    starter = parse_setup(starter_text().encode())
    assert (starter.sweep, starter.near, starter.items, starter.far) == (demo.sweep, demo.near, demo.items, demo.far)


def spellings(unit):
    """A unit as people write it: letters of any case, in words, of several, the signs of other keyboards."""
    words = [word for word, known in UNIT_WORDS.items() if known == unit]
    yield from (
        unit,
        unit.lower(),
        unit.upper(),
        unit.replace("u", "µ"),
        unit.replace("ohm", "Ω"),
        unit.replace("°C", "℃"),
    )
    yield from (text for word in words for text in (word, word.capitalize(), f"{word}s"))


NUMBERS = ("26", "+26", "26.", ".5", "1e1", "\u22123", "1.5")
REFLECTIONS = (
    "VSWR 2",
    "swr 2.0",
    "SWR: 1.5",
    "VSWR2",
    "vswr of 2",
    "1.5:1",
    "1.5 : 1",
    "RL 15",
    "rl15",
    "RL 15 dB",
    "S11 -17 dB",
)
REFLECTIONS += ("|S11| -17", "return loss 15 dB", "Return loss = 15 dB", "15 DB", "VSWR 1.5:1", "-0 dB")


@pytest.mark.parametrize("kind", list(KINDS))
def test_the_schema_rejects_nothing_that_is_read(kind):
    """Whatever the reader takes fits the pattern, in whatever spelling."""
    rule, tried = re.compile(pattern(kind)["pattern"]), 0
    texts = [
        f"{number}{gap}{each}"
        for number in NUMBERS
        for unit in KINDS[kind].units
        for each in spellings(unit)
        for gap in ("", " ", "\u00a0")
    ]
    for text in (*texts, *REFLECTIONS):
        try:
            parse_quantity(text, kind)
        except UnitError:
            continue
        tried += 1
        assert rule.search(text), text
    assert tried > 10


@pytest.mark.parametrize(
    "text", ["6.50 EUR", "6,50 €", "€ 6.50", "EUR 6", "$5", "0.80 EUR/m", "1 eur", "1'000.00 CHF", "6.50EUR / m"]
)
def test_a_price_that_is_read_fits_its_pattern(text):
    assert parse_price(text).hundredths
    assert re.search(PRICE, text)


@pytest.mark.parametrize("text", ["vswr", "VSWR", "return loss", "RL", "complex", "SWR"])
def test_what_a_screen_shows_is_taken_in_any_letters(text):
    whole = setup_schema()
    document = {"near": {"shows": text}}
    rule = whole["$defs"]["near"]["properties"]["shows"]
    try:
        read_shows(text)
    except Refused:
        return
    assert not list(jsonschema.Draft202012Validator(rule).iter_errors(document["near"]["shows"])), text
