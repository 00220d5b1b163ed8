"""Laws of reading: harmless changes change nothing, and any input is a set-up or an input error."""

import random
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from chain.errors import InputError
from chain.files.setup_file import parse_setup

DEMO = Path(__file__).parent.parent.parent / "demo" / "boathouse.toml"
ENDS = """
[near]
connector = "N-50 jack"
[far]
connector = "F-75 jack"
[sweep]
start = "174 MHz"
stop = "240 MHz"
"""


def damaged(text, chance):
    """The same set-up written otherwise: comments, blanks, line ends, order of keys and of tables."""
    blocks = [block.strip().splitlines() for block in text.split("\n\n") if block.strip()]
    head = [block for block in blocks if not block[0].startswith("[")]
    items = [block for block in blocks if block[0].startswith("[[")]
    tables = [block for block in blocks if block[0].startswith("[") and not block[0].startswith("[[")]
    chance.shuffle(tables)
    place = chance.randint(0, len(tables))
    lines = []
    for block in head + tables[:place] + items + tables[place:]:
        keys = block[1:] if block[0].startswith("[") else block
        chance.shuffle(keys)
        lines += block[:1] if block[0].startswith("[") else []
        for key in keys:
            if "=" in key and not key.lstrip().startswith("#"):
                name, value = key.split("#")[0].split("=", 1)
                blank = chance.choice(["", " ", "\t", "  "])
                key = f"{blank}{name.strip()}{blank}={blank}{value.strip()}{chance.choice(['', ' # é', '#'])}"
            lines.append(key)
        lines += [""] * chance.randint(0, 2)
    return chance.choice(["\n", "\r\n"]).join(lines) + chance.choice(["", "\n"])


@given(st.integers(0, 10**6))
def test_harmless_changes_give_an_equal_set_up(seed):
    text = DEMO.read_text(encoding="utf-8")
    changed = damaged(text, random.Random(seed)).encode()
    if seed % 2:
        changed = b"\xef\xbb\xbf" + changed
    found = parse_setup(changed)
    plain = parse_setup(text.encode())
    assert set(found.assumed) == set(plain.assumed)
    assert (found.title, found.sweep, found.near, found.items, found.far, found.calibration) == (
        plain.title,
        plain.sweep,
        plain.near,
        plain.items,
        plain.far,
        plain.calibration,
    )


def outcome(raw):
    """A Setup or an InputError with at least one defect in place; anything else fails the test."""
    try:
        return parse_setup(raw, "a.toml")
    except InputError as error:
        found = error
    lines = raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace").split("\n")
    assert found.defects
    assert str(found).endswith("in a.toml")
    for defect in found.defects:
        assert 1 <= defect.line <= len(lines)
        assert 1 <= defect.column <= len(lines[defect.line - 1]) + 1
    return found


@given(st.binary(max_size=300))
def test_any_bytes_are_a_set_up_or_an_input_error(raw):
    outcome(raw)


@given(st.integers(0, 10**6), st.binary(min_size=1, max_size=6))
def test_a_damaged_file_is_a_set_up_or_an_input_error(seed, noise):
    raw = bytearray(DEMO.read_bytes())
    chance = random.Random(seed)
    start = chance.randrange(len(raw))
    raw[start : start + chance.randrange(12)] = noise
    outcome(bytes(raw))


NAMES = """
id part near far length loss reflection series reversed ideal path arm attenuation impedance plane
known start stop points region channels connector limit end port touchstone library title chain
sweep calibration x
"""
KEYS = st.sampled_from(NAMES.split())
LEAVES = st.one_of(
    st.sampled_from(
        ["rg59", "min-loss-pad", "splitter-2", "load-f-plug", "BNC-75 plug", "1 m", "5 dB", "VSWR 2", "in", "."]
    ),
    st.integers(-(2**70), 2**70),
    st.floats(),
    st.booleans(),
    st.text(max_size=8),
)
VALUES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(KEYS, inner, max_size=4)),
    max_leaves=12,
)


def toml_text(value):
    """A value as TOML, all on one line."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "{" + ", ".join(f"{key} = {toml_text(each)}" for key, each in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml_text, value)) + "]"
    if isinstance(value, str):
        return (
            '"' + "".join(f"\\U{ord(each):08x}" if not 0xD800 <= ord(each) <= 0xDFFF else "?" for each in value) + '"'
        )
    return repr(value)


@given(st.dictionaries(KEYS, VALUES, max_size=6))
def test_any_values_are_a_set_up_or_an_input_error(document):
    outcome("\n".join(f"{key} = {toml_text(value)}" for key, value in document.items()).encode())


PARTS = ["rg59", "min-loss-pad", "splitter-2", "load-f-plug", "n-plug-bnc-plug", "quarter-wave", "balun-300-75", "rg95"]
ITEMS = st.builds(
    lambda keys, name, part: keys | {"id": name, "part": part},
    st.dictionaries(KEYS, VALUES, max_size=4),
    st.sampled_from("abcd"),
    st.sampled_from(PARTS),
)


@given(st.lists(ITEMS, min_size=1, max_size=3))
def test_any_items_are_a_set_up_or_an_input_error(items):
    text = "".join(
        "[[chain]]\n" + "\n".join(f"{key} = {toml_text(value)}" for key, value in item.items()) + "\n" for item in items
    )
    outcome(f"{ENDS}{text}".encode())
