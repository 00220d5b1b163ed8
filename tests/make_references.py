"""Make what the documents repeat of the code: reference pages, the picture of rooms, and the output of console blocks.

`python tests/make_references.py` writes all of it; `tests/test_references.py` and `tests/test_docs.py` see that the files are
what it would write. A console block is run by bash in a copy of `demo/`, one shell per document, its blocks in order.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

from public_stub import STUB, stub_text

from library.files.rows import PART_KINDS
from library.files.store import tomllib

ROOT = Path(__file__).parent.parent
MADE = "<!-- Made by tests/make_references.py: change the code it is made from, then run that again. -->"
MARK = "\x1e"
LONGEST_S = 900
CONSOLE = re.compile(r"```console\n(.*?)```", flags=re.DOTALL)
FILE_TABLES = {
    "sweep": "[sweep]",
    "near": "[near]",
    "item": "[[chain]]",
    "attenuation": "attenuation = { ... }",
    "arm": "[[chain.arm]]",
    "far": "[far]",
    "antenna": "[antenna]",
    "calibration": "[calibration]",
}


def documents() -> list[Path]:
    """README and the pages of the demo, those that are made left out."""
    return [ROOT / "README.md", *(path for path in sorted((ROOT / "demo").glob("*.md")) if path.name not in PAGES)]


def blocks(text: str) -> list[list[tuple[str, str]]]:
    """Console blocks of a document, each a list of (command, output) pairs; a command goes on in lines after `> `."""
    found = []
    for block in CONSOLE.findall(text):
        pairs = []
        for part in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]:
            lines = part.split("\n")
            more = 1
            while more < len(lines) and lines[more].startswith("> "):
                more += 1
            command = "\n".join([lines[0], *(line[2:] for line in lines[1:more])])
            pairs.append((command, "\n".join(lines[more:]).rstrip()))
        found.append(pairs)
    return found


def workspace(folder: Path) -> dict[str, str]:
    """Give a folder a copy of the demo and the program's name on its path; returns the settings to run with."""
    shutil.copytree(ROOT / "demo", folder / "demo")
    (folder / ".bin").mkdir()
    for name, words in {"chain": "-m chain", "python": ""}.items():
        program = folder / ".bin" / name
        program.write_text(f'#!/bin/sh\nexec "{sys.executable}" {words} "$@"\n', encoding="utf-8")
        program.chmod(0o755)
    return {
        **os.environ,
        "PATH": f"{folder / '.bin'}{os.pathsep}{os.environ['PATH']}",
        "PYTHONPATH": str(ROOT),
        "COLUMNS": "80",
        "NO_COLOR": "1",
        "PYTHONIOENCODING": "utf-8",
        "LC_ALL": "C.UTF-8",
    }


def run(commands: list[str], folder: Path, settings: Mapping[str, str]) -> list[str]:
    """Output of each command, standard error too, all in one bash; `$?` is that of the command before."""
    steps = "".join(f"printf '{MARK}'\n(exit $__status)\n{command}\n__status=$?\n" for command in commands)
    done = subprocess.run(
        ["bash", "--norc", "-c", f"exec 2>&1\n__status=0\n{steps}"],
        cwd=folder,
        env=dict(settings),
        stdin=subprocess.DEVNULL,
        capture_output=True,
        timeout=LONGEST_S,
        encoding="utf-8",
        check=False,
    )
    outputs = done.stdout.split(MARK)[1:]
    return ["\n".join(line.rstrip() for line in each.rstrip().splitlines()) for each in outputs]


def replayed(text: str) -> list[tuple[str, str, str]]:
    """Each command of a document with the output it shows and the output it gives now."""
    shown = [pair for block in blocks(text) for pair in block]
    with tempfile.TemporaryDirectory() as name:
        settings = workspace(Path(name))
        now = run([command for command, _ in shown], Path(name), settings)
    assert len(now) == len(shown), "a command ended the shell"
    return [(command, old, new) for (command, old), new in zip(shown, now, strict=True)]


def with_outputs(text: str) -> str:
    """The document with the output of every console block as it is now."""
    outputs = iter(replayed(text)) if CONSOLE.search(text) else iter(())

    def reported(found: re.Match[str]) -> str:
        out = []
        for _ in blocks(found[0])[0]:
            command, _, now = next(outputs)
            out.append("\n".join([f"$ {command}".replace("\n", "\n> "), *([now] if now else [])]))
        return "```console\n" + "\n".join(out) + "\n```"

    return CONSOLE.sub(reported, text)


def commands_page() -> str:
    """Reference of the command line, from the help of each command."""
    from click.testing import CliRunner

    from chain.cli.main import COMMANDS, chain

    def helped(*words: str) -> str:
        done = CliRunner().invoke(chain, [*words, "--help"], prog_name="chain", terminal_width=100)
        assert done.exit_code == 0, done.output
        return "\n".join(line.rstrip() for line in done.output.rstrip().splitlines())

    lines = [MADE, "# Command line", "", "What `chain --help` and `chain COMMAND --help` print.", ""]
    lines += ["```text", helped(), "```", ""]
    for section, commands in COMMANDS.items():
        lines += [f"## {section}", ""]
        for name in commands:
            lines += [f"### chain {name}", "", "```text", helped(name), "```", ""]
            subcommands = getattr(chain.get_command(None, name), "commands", {})
            for each in subcommands:
                lines += [f"#### chain {name} {each}", "", "```text", helped(name, each), "```", ""]
    return "\n".join(lines).rstrip() + "\n"


def setup_page() -> str:
    """Reference of the keys of a set-up file, from its schema and the table of keys of each kind of part."""
    from chain.files.schema import ALWAYS, KEYS_OF
    from chain.files.schema_export import setup_schema

    schema = setup_schema()
    lines = [MADE, "# Keys of a set-up file", "", schema["description"], ""]
    lines += [
        "`chain new` writes a commented file to start from; `chain schema setup` gives the JSON Schema that this page is made",
        "from, for editors. Keys in bold are required. A bare number is a count, a ratio or a coefficient; everything else is a",
        "text with its unit. What is left out of an item comes from the library; what is left out elsewhere counts as absent.",
        "",
        "## At the top of the file",
        "",
    ]
    top = {
        name: reported for name, reported in schema["properties"].items() if "$ref" not in reported and name != "chain"
    }
    lines += [*_keys(top, ()), ""]
    for name, title in FILE_TABLES.items():
        table = schema["$defs"][name]
        lines += [f"## `{title}`", "", " ".join([*table["description"].split(), *_either(table)]), ""]
        lines += [*_keys(table["properties"], table.get("required", ())), ""]
    lines += ["## Which keys an item takes, by its kind of part", ""]
    lines += [f"Every item: {_names(ALWAYS)}.", ""]
    lines += ["| kind | further keys |", "|---|---|"]
    lines += [f"| {kind} | {_names(keys)} |" for kind, keys in KEYS_OF.items()]
    return "\n".join(lines).rstrip() + "\n"


def need_page() -> str:
    """Reference of the keys of a need file, from its schema."""
    from chain.selection.need_schema import need_schema

    schema = need_schema()
    lines = [MADE, "# Keys of a need file", "", schema["description"], ""]
    lines += ["`chain schema need` gives the JSON Schema that this page is made from. Keys in bold are required.", ""]
    plain = {name: schema["properties"][name] for name in ("title", "library", "offers")}
    lines += ["## At the top of the file", "", *_keys(plain, ()), ""]
    tables = {
        "[need]": schema["properties"]["need"],
        **{f"[[{name}]]": schema["$defs"][name] for name in ("have", "offer")},
    }
    for title, table in tables.items():
        own = {
            name: reported
            for name, reported in table["properties"].items()
            if name not in _item_figures() or title == "[need]"
        }
        reported = " ".join(table.get("description", "").split())
        lines += [f"## `{title}`", "", reported, "", *_keys(own, table.get("required", ())), ""]
        if title != "[need]":
            lines += ["And the figures of an item, as in a [set-up file](reference-setup.md).", ""]
    return "\n".join(lines).rstrip() + "\n"


def installation_page() -> str:
    """Reference of the keys of an installation file, from its schema."""
    from chain.reception.schema import installation_schema

    schema = installation_schema()
    lines = [MADE, "# Keys of an installation file", "", schema["description"], ""]
    lines += [
        "`chain schema installation` gives the JSON Schema that this page is made from. Keys in bold are required.",
        "",
    ]
    plain = {name: schema["properties"][name] for name in ("title", "library")}
    lines += ["## At the top of the file", "", *_keys(plain, ()), ""]
    shared = set(schema["$defs"]["item"]["properties"])
    for name, table in schema["$defs"].items():
        if name == "attenuation":
            continue
        title = "[antenna]" if name == "antenna" else f"[[{name}]]"
        own = {key: reported for key, reported in table["properties"].items() if name == "item" or key not in shared}
        own = own if name in ("have", "offer") else table["properties"]
        reported = " ".join(table.get("description", "").split())
        lines += [f"## `{title}`", "", reported, "", *_keys(own, table.get("required", ())), ""]
        if name in ("have", "offer"):
            lines += ["And the keys of an item, but for `id` and `after`.", ""]
    return "\n".join(lines).rstrip() + "\n"


def parts_page() -> str:
    """Reference of the keys of a file of parts, from the schema of the library."""
    from library.files.schema import library_schema

    schema = library_schema()
    lines = [MADE, "# Keys of a file of parts", "", "Parts of your own: a file that a set-up names under `library`."]
    lines += [
        "`chain schema library` gives the JSON Schema that this page is made from. Keys in bold are required; unlike in a",
        "set-up file figures are bare numbers, in the unit that ends their key.",
        "",
    ]
    for name in PART_KINDS:
        table = _inside(schema["properties"][name], schema)
        lines += [
            f"## `[[{name}]]`",
            "",
            table["description"],
            "",
            *_keys(table["properties"], table.get("required", ())),
            "",
        ]
    limit = schema["$defs"]["Reflection"]
    lines += ["## Limits of a reflection", "", limit["description"], "", *_keys(limit["properties"], ())]
    return "\n".join(lines).rstrip() + "\n"


def _inside(reported: Mapping[str, Any], schema: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = schema["$defs"][reported["items"]["$ref"].rpartition("/")[2]]
    return found


def _item_figures() -> set[str]:
    from chain.files.schema_export import setup_schema

    return set(setup_schema()["$defs"]["item"]["properties"]) - {"part", "id", "near", "far", "reversed", "touchstone"}


def _names(keys: Any) -> str:
    return ", ".join(f"`{key}`" for key in sorted(keys)) or "none"


def _either(table: Mapping[str, Any]) -> list[str]:
    ways = [" and ".join(f"`{key}`" for key in each["required"]) for each in table.get("oneOf", ())]
    return [f"Either {', or '.join(ways)}."] if ways else []


def _keys(properties: Mapping[str, Any], required: Any) -> Iterator[str]:
    yield "| key | what it is | takes | example |"
    yield "|---|---|---|---|"
    for name, reported in properties.items():
        key = f"**`{name}`**" if name in required else f"`{name}`"
        examples = ", ".join(f"`{_toml(each)}`" for each in reported.get("examples", ())[:3])
        left_out = (
            "" if reported.get("default") in (None, "", [], {}) else f"; `{_toml(reported['default'])}` if left out"
        )
        yield f"| {key} | {' '.join(reported.get('description', '').split())} | {_takes(reported)}{left_out} | {examples} |"


def _takes(reported: Mapping[str, Any]) -> str:
    """What a key takes, in words."""
    if "anyOf" in reported:
        others = [each for each in reported["anyOf"] if each != {"type": "null"}]
        # A list of words that are also taken in other letters is reported as the words.
        words = [each for each in others if "enum" in each]
        return " or ".join(dict.fromkeys(_takes(each) for each in words or others))
    if "const" in reported:
        return f"`{reported['const']}`"
    if "enum" in reported:
        return ", ".join(f"`{each}`" for each in reported["enum"])
    if "$ref" in reported:
        return "a table"
    if reported.get("pattern", "").startswith(r"^\s*"):
        return f"text in {reported['$comment']}" if "$comment" in reported else "text with a currency"
    bounds = [
        f"{word} {reported[key]:,.15g}" for key, word in _BOUNDS.items() if isinstance(reported.get(key), (int, float))
    ]
    kind = {"integer": "whole number", "number": "number", "boolean": "true or false", "array": "list"}
    return " ".join(
        [
            kind.get(reported.get("type", ""), "text"),
            *(["of"] if reported.get("type") == "array" else []),
            *bounds,
            *_of(reported),
        ]
    )


_BOUNDS = {
    "minimum": "from",
    "exclusiveMinimum": "above",
    "maximum": "to",
    "exclusiveMaximum": "below",
}


def _of(reported: Mapping[str, Any]) -> list[str]:
    if reported.get("type") != "array":
        return []
    inner = reported.get("items") or {"anyOf": reported["prefixItems"]}
    if inner.get("type") == "array":
        return ["lists: " + ", ".join(_takes(each) for each in inner["prefixItems"])]
    return [{"text": "texts", "a table": "tables"}.get(_takes(inner), _takes(inner))]


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{key} = {_toml(each)}" for key, each in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_toml(each) for each in value) + "]"
    return json.dumps(value, ensure_ascii=False)


def rooms_picture() -> str:
    """Picture of the rooms for the contributor's guide, from tests/rooms.toml: a room stands above all that it may import."""
    rooms = tomllib.loads((ROOT / "tests" / "rooms.toml").read_text(encoding="utf-8"))["rooms"]
    floors: dict[str, int] = {}
    while len(floors) < len(rooms):
        ready = [name for name, room in rooms.items() if name not in floors and set(room["may_import"]) <= set(floors)]
        assert ready, "rooms.toml lets two rooms import each other"
        floors |= {name: 1 + max((floors[below] for below in rooms[name]["may_import"]), default=-1) for name in ready}
    widest = max(map(len, rooms))
    lines = []
    for floor in range(max(floors.values()), -1, -1):
        for name in (each for each, own in floors.items() if own == floor):
            folder = {"library": "library/", "top": "chain/"}.get(name, f"{name}/")
            lines.append(f"| {folder:<{widest + 2}}{rooms[name]['holds']}")
        lines.append("+" + "-" * 90)
    return "\n".join(["```text", lines[-1], *lines, "  imports run downwards", "```"])


def with_rooms(text: str) -> str:
    """The contributor's guide with the picture of the rooms as it is now."""
    pattern = r"(<!-- rooms[^>]*-->\n\n).*?(?:\n\n)?(<!-- end of rooms -->)"
    assert re.search(pattern, text, flags=re.DOTALL), "DEVELOPERS.md has lost the marks of its picture of rooms"
    return re.sub(pattern, lambda found: f"{found[1]}{rooms_picture()}\n\n{found[2]}", text, flags=re.DOTALL)


PAGES: dict[str, Callable[[], str]] = {
    "reference-commands.md": commands_page,
    "reference-setup.md": setup_page,
    "reference-need.md": need_page,
    "reference-installation.md": installation_page,
    "reference-parts.md": parts_page,
}


def schemas() -> dict[str, Any]:
    """The JSON Schemas that are kept beside the code, for editors that look for a file."""
    from chain.files.schema_export import setup_schema
    from chain.reception.schema import installation_schema
    from chain.selection.need_schema import need_schema

    return {
        "chain/files/schemas/setup.schema.json": setup_schema(),
        "chain/files/schemas/need.schema.json": need_schema(),
        "chain/reception/installation.schema.json": installation_schema(),
    }


def main() -> None:
    """Write everything; names given as arguments limit it to these files."""
    wanted = set(sys.argv[1:])

    def write(path: Path, make: Callable[[], str]) -> None:
        if not wanted or path.name in wanted:
            text = make()
            changed = not path.exists() or path.read_text(encoding="utf-8") != text
            path.write_text(text, encoding="utf-8")
            print(f"{'changed' if changed else 'as it was'}: {path.relative_to(ROOT)}")

    for path, schema in schemas().items():
        write(ROOT / path, lambda schema=schema: json.dumps(schema, indent=2) + "\n")
    for name, page in PAGES.items():
        write(ROOT / "demo" / name, page)
    write(STUB, stub_text)
    guide = ROOT / "DEVELOPERS.md"
    write(guide, lambda: with_rooms(guide.read_text(encoding="utf-8")))
    for path in documents():
        write(path, lambda path=path: with_outputs(path.read_text(encoding="utf-8")))


if __name__ == "__main__":
    main()
