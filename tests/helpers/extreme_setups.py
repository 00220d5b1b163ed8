"""Legal set-ups whose figures are extreme, through every command: an answer or an error of the input, never a fault."""

import random
import re
from pathlib import Path

DEMO = Path(__file__).parent.parent.parent / "demo"

EXTREMES = {
    "m": ["1 mm", "0.001 m", "9000 m", "10000 m", "1e-9 m"],
    "dB": ["0 dB", "0.001 dB", "19 dB", "60 dB", "120 dB", "1e-9 dB"],
    "MHz": ["1 Hz", "0.1 MHz", "1 MHz", "3 GHz", "30 GHz"],
    "GHz": ["1 Hz", "3 GHz", "30 GHz"],
    "ohm": ["1 mohm", "0.1 ohm", "50 ohm", "1e5 ohm"],
    "V": ["0 V", "1e-6 V", "1000 V"],
    "dBm": ["-100 dBm", "0 dBm", "60 dBm"],
    "C": ["-40 C", "85 C"],
}
"""Figures at the ends of what is legal, by unit; some set-ups made of them are refused, which is no fault."""
QUANTITY = re.compile(r'= *"(-?[0-9.]+) ?(m|dB|MHz|GHz|ohm|V|dBm|C)"')
NAN = re.compile(r"\bnan\b", re.IGNORECASE)
SCRIPT = re.compile(r"<script.*?</script>", re.DOTALL)
POINTS = re.compile(r"points = \d+")
COMMANDS = {
    "check": (),
    "budget": (),
    "card": (),
    "expect": (),
    "planes": (),
    "recover": ("--reading", "VSWR 1.2 at 210 MHz"),
    "prove": ("--open", "VSWR 3.0"),
    "report": ("--draws", "1000"),
}
FEWER = {
    "chain.uncertainty.intervals.draw_count": lambda points: 1000,
    "chain.uncertainty.reading_ranges.draw_count": lambda points: 1000,
    "chain.analyses.expect.draw_count": lambda points: 1000,
    "chain.uncertainty.whole_sweep.DRAWS": 1000,
    "chain.analyses.expect.BLAME_DRAWS": 1000,
    "chain.analyses.bench_card.CARD_DRAWS": 1000,
    "chain.diagnosis.evidence.MOST_DRAWS": 40_000,
    "chain.diagnosis.evidence.HOPELESS_DRAWS": 20_000,
}
"""Fewer draws than an answer takes: a fault does not wait for the second digit."""


def seeds():
    """Set-ups of the demo, on three points."""
    texts = {path.name: path.read_text(encoding="utf-8") for path in sorted(DEMO.glob("*.toml"))}
    return {name: POINTS.sub("points = 3", text) for name, text in texts.items() if "[[chain]]" in text}


def extreme(number, known):
    """A set-up of the demo with one figure or a few at the ends of what is legal."""
    rng = random.Random(f"extreme {number}")
    text = known[rng.choice(sorted(known))]
    for _ in range(rng.choice([1, 1, 2, 4])):
        found = rng.choice(list(QUANTITY.finditer(text)))
        text = f'{text[: found.start()]}= "{rng.choice(EXTREMES[found[2]])}"{text[found.end() :]}'
    return text


def lay_out(folder):
    """Put down what the set-ups name, once."""
    for each in DEMO.iterdir():
        if each.suffix in (".s1p", ".s2p") or each.name == "matched-parts.toml":
            Path(folder, each.name).write_bytes(each.read_bytes())


def through_commands(number, folder):
    """What the commands make of an extreme set-up: their exit status, where 3, a traceback and a NaN are findings."""
    from unittest.mock import patch

    from click.testing import CliRunner

    from chain.cli.main import chain

    path, known = Path(folder, "extreme.toml"), seeds()
    path.write_text(extreme(number, known), encoding="utf-8")
    patches = [patch(name, value) for name, value in FEWER.items()]
    for each in patches:
        each.start()
    refused = None
    try:
        for name, words in COMMANDS.items():
            done = CliRunner().invoke(chain, [name, str(path), *words, "--quiet"])
            why = f"{name}: {done.output[:200]} {done.exception!r}"
            assert done.exit_code in (0, 1, 2), why
            assert done.exception is None or isinstance(done.exception, SystemExit), why
            assert not NAN.search(SCRIPT.sub("", done.stdout)), f"{name}: a figure that is none"
            refused = done.stderr if done.exit_code == 2 else refused
    finally:
        for each in patches:
            each.stop()
        path.unlink()
    return refused
