"""Legal set-ups whose figures are extreme, through the commands: an answer or an error of the input, never a fault."""

import random
import re
from pathlib import Path

DEMO = Path(__file__).parent.parent.parent / "demo"

EXTREMES = {
    "m": ["1 mm", "0.001 m", "9000 m", "3 km", "1e-9 m"],
    "dB": ["0 dB", "0.001 dB", "19 dB", "60 dB", "120 dB", "1e-9 dB"],
    "MHz": ["1 Hz", "0.1 MHz", "1 MHz", "3 GHz", "30 GHz"],
    "GHz": ["1 Hz", "3 GHz", "30 GHz"],
    "ohm": ["1 mohm", "0.1 ohm", "50 ohm", "1e5 ohm"],
    "V": ["0 V", "1e-6 V", "1000 V"],
    "dBm": ["-100 dBm", "0 dBm", "60 dBm"],
    "C": ["-40 C", "85 C"],
    "": ["1", "2", "3", "201"],
}
"""Figures at the ends of what is legal, by unit; some set-ups made of them are refused, which is no fault."""
QUANTITY = re.compile(r'= *"(-?[0-9.]+) ?(m|dB|MHz|GHz|ohm|V|dBm|C)"')
COMMANDS = {
    "check": (),
    "budget": (),
    "card": (),
    "expect": (),
    "planes": (),
    "recover": ("--reading", "VSWR 1.2 at 210 MHz"),
    "prove": ("--open", "VSWR 3.0"),
}


def extreme(number):
    """A set-up of the demo with one figure or a few at the ends of what is legal, and the command that it goes through."""
    rng = random.Random(f"extreme {number}")
    texts = {path.name: path.read_text(encoding="utf-8") for path in DEMO.glob("*.toml")}
    known = {name: text for name, text in texts.items() if "[[chain]]" in text}
    text = known[rng.choice(sorted(known))]
    for _ in range(rng.choice([1, 1, 2, 4])):
        found = rng.choice(list(QUANTITY.finditer(text)))
        text = f'{text[: found.start()]}= "{rng.choice(EXTREMES[found[2]])}"{text[found.end() :]}'
    name = rng.choice(sorted(COMMANDS))
    return text, name, COMMANDS[name]


def through_command(number, folder):
    """What a command makes of an extreme set-up: its exit status, where 3 and a traceback are findings."""
    from click.testing import CliRunner

    from chain.cli.main import chain

    text, name, words = extreme(number)
    for each in DEMO.glob("*.[st]*[2p]"):
        Path(folder, each.name).write_bytes(each.read_bytes())
    path = Path(folder, "extreme.toml")
    path.write_text(text, encoding="utf-8")
    done = CliRunner().invoke(chain, [name, str(path), *words, "--quiet"])
    path.unlink()
    assert done.exit_code in (0, 1, 2), f"{name}: {done.output[:200]}"
    assert "nan" not in done.stdout.lower().split(), f"{name}: a figure that is none"
    return done.stderr if done.exit_code == 2 else None
