"""Hostile and long set-ups for the tests of pages, and a reader of HTML that counts what a browser would make of it."""

import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

from chain.sweeps.read import read_sweep

BOATHOUSE = Path("demo/boathouse.toml")
SWEEP = Path("demo/boathouse.s1p")
HOSTILE = '</script><img src=x onerror=alert(1)> $title ${x} {{ 7*7 }} "&amp;'
VOID = {"meta", "input", "br", "img", "link", "hr"}

HEAD = """title = {title}
[sweep]
region = "europe"
channels = "21-48"
points = 15
[near]
connector = "N-50 jack"
directivity = "40 dB"
trace_noise = "0.02 dB"
max_power = "20 dBm"
max_dc = "0 V"
[[chain]]
id = {pad}
part = "min-loss-pad-n-f"
"""
LEAD = """[[chain]]
id = "lead {0}"
part = "rg6"
length = "1.5 m"
near = "F-75 plug"
far = "F-75 plug"
"""
SPLITTER = """[[chain]]
id = "splitter with a long name {0}"
part = "splitter-2"
path = ["in", "out1"]
[[chain.arm]]
port = "out2"
end = {1}
"""
ARM = (
    '[{ id = "stub", part = "rg6", length = "2 m", near = "F-75 plug", far = "F-75 plug" }, '
    '{ id = "cap", part = "load-f-jack" }]'
)
TAIL = """[far]
connector = "F-75 jack"
limit = "VSWR 2.5"
[calibration]
plane = {pad}
load = "32 dB"
"""


def short_boathouse(*changes):
    """Text of the boathouse at nine points, with pieces of it replaced: (old, new) each."""
    text = BOATHOUSE.read_text("utf-8")
    for old, new in [("points = 133", "points = 9"), *changes]:
        assert old in text
        text = text.replace(old, new)
    return text


def measured_setup(limit="VSWR 2.0"):
    """Text of the boathouse over channels 5 to 12, at few points."""
    span = 'region = "europe"\nchannels = "5-12"\n'
    return short_boathouse(('start = "174 MHz"\nstop = "240 MHz"\n', span), ("VSWR 2.0", limit))


def few_readings():
    """Every sixth reading of the boathouse's sweep."""
    return read_sweep(str(SWEEP)).at(slice(None, None, 6))


def thinned(name, folder):
    """A set-up of the demo and its sweeps with every fourth point: paths of the set-up and the sweep with a phase."""
    setup = folder / f"{name}.toml"
    setup.write_text(re.sub(r"(?m)^points = \d+", "points = 34", Path(f"demo/{name}.toml").read_text("utf-8")), "utf-8")
    for path in Path("demo").glob(f"{name}*.*"):
        if path.suffix != ".toml":
            lines = path.read_text("utf-8").splitlines()
            first = next(at for at, line in enumerate(lines) if line[:1].isdigit())
            (folder / path.name).write_text("\n".join([*lines[:first], *lines[first::4], ""]), "utf-8")
    return setup, folder / f"{name}.s1p"


def thin_demo(folder):
    """A copy of the demo in the folder whose benches have every fourth point, for what does not depend on how many there are."""
    shutil.copytree("demo", folder / "demo")
    for name in ("boathouse", "plane-after-pad", "ripple", "loops"):
        thinned(name, folder / "demo")
    return folder


def hostile_setup(splitters=5):
    """Text of a set-up of twelve items, its title and an id full of markup."""
    words = {"title": f"'{HOSTILE}'", "pad": "'</script><b>pad'"}
    elements = [HEAD.format(**words)]
    for number in range(splitters):
        elements += [LEAD.format(number), SPLITTER.format(number, '"75 ohm"' if number else ARM)]
    return "".join([*elements, LEAD.format("last"), TAIL.format(**words)])


class Reader(HTMLParser):
    """Elements of a page: their tags and attributes in order, text by tag, and whether every one is closed in its place."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.elements, self.texts, self.open, self.faults = [], {}, [], []
        self.feed(text)
        self.close()
        self.faults += [f"{tag} left open" for tag in self.open]

    def handle_starttag(self, tag, attrs):
        """Note an element."""
        self.elements.append((tag, dict(attrs)))
        self.texts.setdefault(tag, []).append("")
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        """Close the innermost element."""
        if not self.open or self.open[-1] != tag:
            self.faults.append(f"{tag} closed inside {self.open[-1:]}")
        else:
            self.open.pop()

    def handle_data(self, data):
        """Give the text to every element that is open."""
        for tag in set(self.open):
            self.texts[tag][-1] += data

    def tags(self, name):
        """Attributes of every element of one tag."""
        return [attrs for tag, attrs in self.elements if tag == name]
