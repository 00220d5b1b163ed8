"""Needs, installations, part files, sweeps: what an error proposes, put in its place, is taken or leads further."""

import re
from itertools import islice
from pathlib import Path

import pytest
from further import wide
from suggestions import lines_with, proposed

from chain.errors import InputError
from chain.reception.installation_file import parse_installation
from chain.selection.need_file import parse_need
from chain.sweeps.options import SweepOptions
from chain.sweeps.read import read_sweep
from library.errors import LibraryError
from library.files.ownfile import read_rows

DEMO = Path(__file__).parent.parent.parent / "demo"
LINE = re.compile(r"^(\w+)( *= *)(.+?)( *#.*)?$")
LEAST = 25
"""Damages of each file whose error proposes something."""


def damaged(text):
    """The file with one line damaged at a time: a key or a value misspelt, a unit lost, a number in place of a text, a value of nothing."""
    lines = text.splitlines()
    for row, line in enumerate(lines):
        found = LINE.match(line)
        if not found:
            continue
        key, sign, value, _ = found.groups()
        texts = [f"{key[:-2]}{key[-1]}{sign}{value}"]
        if value.startswith('"') and len(value) > 4:
            inner = value[1:-1]
            texts += [
                f'{key}{sign}"{inner[: len(inner) // 2]}{inner[len(inner) // 2 + 1 :]}"',
                f'{key}{sign}"xyzzy"',
                f"{key}{sign}5",
            ]
            texts += [f'{key}{sign}"{inner.split()[0]}"'] if " " in inner else []
        for each in texts:
            yield "\n".join([*lines[:row], each, *lines[row + 1 :]]) + "\n"


def read_need(text):
    parse_need(text.encode(), "need.toml", DEMO)


def read_installation(text):
    parse_installation(text.encode(), "outlets.toml", DEMO)


def faults(read, text):
    try:
        read(text)
    except InputError as error:
        return error.defects
    return ()


@pytest.mark.parametrize(
    ("name", "read", "every"),
    [
        ("need.toml", read_need, 2),
        ("outlets.toml", read_installation, 7),
        *wide(("need.toml", read_need, 1), ("outlets.toml", read_installation, 1)),
    ],
)
def test_what_a_file_s_error_proposes_works(name, read, every):
    proposing = 0
    for text in islice(damaged((DEMO / name).read_text(encoding="utf-8")), 0, None, every):
        for defect in faults(read, text):
            proposals = proposed(defect.help)
            proposing += bool(proposals)
            for proposal in proposals:
                after = faults(read, "\n".join(lines_with(defect, text, proposal)))
                reported = [(each.message, each.line) for each in after]
                assert (defect.message, defect.line) not in reported, (
                    defect.source,
                    defect.message,
                    defect.help,
                    proposal,
                )
    assert proposing >= LEAST


def part_faults(path, text):
    path.write_text(text, encoding="utf-8")
    try:
        read_rows(path)
    except LibraryError as error:
        return dict(error.defects)
    return {}


def test_what_a_part_file_s_error_proposes_works(tmp_path):
    """The places are keys, not lines: a proposal takes the place of the word that the message quotes."""
    proposing, path = 0, tmp_path / "own.toml"
    for text in damaged((DEMO / "matched-parts.toml").read_text(encoding="utf-8")):
        for where, what in part_faults(path, text).items():
            found = re.search(r"did you mean '([^']+)'", what)
            if not found:
                continue
            proposing += 1
            quoted = re.search(r"'([^']+)'", what.replace(found[0], ""))
            key = rf"^{re.escape(str(where[-1]))}(?= *=)"
            fixed = re.sub(key, found[1], text, count=1, flags=re.MULTILINE)
            if quoted and quoted[1] in text:
                fixed = text.replace(f'"{quoted[1]}"', f'"{found[1]}"', 1)
            assert part_faults(path, fixed).get(where) != what, (where, what)
    assert proposing >= 3


SWEEPS = {
    "no header": "174,1.5\n175,1.6\n176,1.7\n",
    "no unit": "frequency,vswr\n174,1.5\n175,1.6\n",
    "three kinds": "frequency_mhz,vswr,vswr,vswr\n174,1.5,1.6,1.7\n175,1.6,1.7,1.8\n",
    "both signs": "frequency_mhz,return loss dB\n174,-14\n175,-13\n",
    "a bare size": "frequency_mhz,s11\n174,0.2\n175,0.3\n",
    "an angle": "frequency_mhz,s11 dB,phase\n174,-14,1.2\n175,-13,1.1\n",
    "impedances": "frequency_mhz,R,X\n174,50,10\n175,55,12\n",
    "decimal sign": "frequency_mhz;vswr\n174,500;1,300\n175,500;1,400\n",
    "two tables": "frequency_mhz,vswr\n174,1.5\n175,1.6\n\nfrequency_mhz,vswr\n174,1.7\n175,1.8\n",
    "below zero": "frequency_mhz,s11 magnitude\n174,-14\n175,-13\n",
}
FIELDS = {
    "--quantity": "quantity",
    "--frequency-unit": "frequency_unit",
    "--decimal": "decimal",
    "--block": "block",
    "--impedance": "impedance_ohm",
}
GIVEN = re.compile(r"(--[a-z-]+)(?: ('[^']+'|[\w.-]+))?")


def options_of(clause):
    """Options of one clause of a help line, as `read_sweep` takes them; None where one of them stands without its value."""
    given, columns = {}, []
    for name, value in GIVEN.findall(clause):
        value = value.strip("'")
        if not value or value in ("takes", "settles", "changes"):
            return None
        if name == "--column":
            columns.append(value)
        elif name in FIELDS:
            given[FIELDS[name]] = (
                int(value) if name == "--block" else float(value.split()[0]) if name == "--impedance" else value
            )
    return SweepOptions(**given, columns=tuple(columns))


def sweep_faults(path, options):
    try:
        read_sweep(str(path), options)
    except InputError as error:
        return [(each.message, each.help) for each in error.defects]
    return []


@pytest.mark.parametrize("name", SWEEPS)
def test_what_a_sweep_s_error_proposes_works(name, tmp_path):
    path = tmp_path / "sweep.csv"
    path.write_text(SWEEPS[name], encoding="utf-8")
    for message, remedy in sweep_faults(path, SweepOptions()):
        for clause in re.split(r" or |, or |; ", remedy):
            options = options_of(clause)
            if options is not None and "--" in clause:
                after = [each for each, _ in sweep_faults(path, options)]
                assert message not in after, (message, remedy, clause)
