"""What a help line proposes, and the file with it put where the defect is."""

import re

PROPOSES = re.compile(r"did you mean|write |add |one of")
TEXTS = re.compile(r"'([^']+)'|\"([^\"]+)\"")


def proposed(help_line):
    """Texts that a help line proposes, those in brackets behind left out: they are reasons."""
    if not PROPOSES.search(help_line) or "..." in help_line:
        return []
    return [one or other for one, other in TEXTS.findall(re.sub(r" \((?:male|m, cm|ohm|Hz).*\)", "", help_line))]


def lines_with(defect, text, proposal):
    """The file with a proposal put where the defect is: a value, a key, or a line more under a heading."""
    lines = text.splitlines()
    row = defect.line - 1
    table = re.match(r"add (\[\[\w+\]\]) (.+?)(?: \(|$)", defect.help)
    if table:
        return [*lines, table[1], *re.findall(r'\w+ = "[^"]*"', table[2])]
    if defect.help.startswith("add "):
        key = re.match(r"add (\w+ = .*?)(?: or | \(|$)", defect.help)
        return [*lines[: row + 1], key[1] if key else "", *lines[row + 1 :]]
    line, at = lines[row], defect.column - 1
    marked = line[at : at + defect.width]
    whole = re.match(r"write (\w+ = .*)$", defect.help)
    if whole:
        return [*lines[:row], whole[1], *lines[row + 1 :]]
    table = re.match(r"write ([\[{].*[\]}])", defect.help)
    value = table[1] if table else f'"{proposal}"' if "=" in line[:at] else proposal
    return [*lines[:row], line[:at] + value + line[at + len(marked) :], *lines[row + 1 :]]
