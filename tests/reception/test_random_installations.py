"""Installations made up at random, extreme figures among them: no number is missing, no line too long, no warning raised."""

from __future__ import annotations

import json
import random
import warnings
from contextlib import suppress

import numpy as np
import pytest
from further import wide

from chain.errors import ChainError
from chain.html.installation import installation_html
from chain.outlet_report import mending, placement
from chain.outlet_report.outlets import verdict_lines
from chain.reception.checks import check_installation
from chain.reception.drawn_network import solve_trials
from chain.reception.elements import RandomPool, compile_tree
from chain.reception.improvements import improve_reception
from chain.reception.installation_file import parse_installation
from chain.reception.levels import nominal_levels
from chain.reception.outlets import outlets
from chain.reception.placing_amplifier import place_amplifier
from chain.setup_report.phrases import LONGEST

OUTPUTS = {"splitter-2": 2, "splitter-2-resistive": 2, "splitter-3": 3, "splitter-4": 4}
KINDS = ("rg6", "rg59", "masthead-amplifier", "distribution-amplifier", "outlet-end", "dc-block", "twelfth-wave")
SHOP = (
    '[[offer]]\npart = "rg11"\nprice = "1 EUR/m"\n[[offer]]\nantenna_gain = "15 dBi"\nprice = "48 EUR"\n'
    '[[have]]\npart = "masthead-amplifier-5v"\n'
)


def signal(rng, number):
    mhz = rng.choice([98, 226, 474, 600, 690]) + 3 * number
    return (
        f'[[signal]]\nfrequency = "{mhz} MHz"\nbandwidth = "1 MHz"\nneed = "{rng.choice([-5, 12, 40])} dB"\n'
        f'window = "{rng.choice(["none", "45 to 74 dBuV", "up to 60 dBuV", "from 47 dBuV"])}"\n'
        f'field = "{rng.choice([-40, 20, 60, 110, 160])} dBuV/m"\nfield_spread = "{rng.choice([0, 5.5, 30])} dB"\n'
    )


def item(rng, number, after):
    kind = rng.choice([*KINDS, *OUTPUTS])
    text = f'[[item]]\nid = "l{number}"\npart = "rg6"\nafter = "{after}"\nlength = "1 m"\n'
    text += f'[[item]]\nid = "i{number}"\npart = "{kind}"\nafter = "l{number}"\n'
    if kind.startswith("rg"):
        text += f'length = "{rng.choice([0.1, 5, 100, 3000])} m"\n'
    if "amplifier" in kind and rng.random() < 0.5:
        text += f'gain = "{rng.choice([0, 20, 60])} dB"\nmax_output = "{rng.choice([60, 103, 140])} dBuV at 60 dB"\n'
    ways = [f"i{number}.out{way + 1}" for way in range(OUTPUTS.get(kind, 0))]
    return text, ways or [f"i{number}"]


def house(seed):
    rng = random.Random(seed)
    noise = rng.choice(["city", "rural", "290 K"])
    text = f'[antenna]\ngain = "{rng.choice([-30, 12, 40])} dBi"\nnoise = "{noise}"\n'
    text += f'match = "VSWR {rng.choice([1.0, 2, 50, 1000])}"\nmatch_kind = "{rng.choice(["disc", "ring"])}"\n'
    text += "".join(signal(rng, number) for number in range(rng.randint(1, 3)))
    text += '[[interferer]]\nfrequency = "806 MHz"\nlevel = "120 dBuV"\n' if rng.random() < 0.5 else ""
    ports = ["antenna"]
    for number in range(rng.randint(0, 6)):
        more, after = item(rng, number, ports.pop(rng.randrange(len(ports))))
        text, ports = text + more, ports + after
    for number, port in enumerate(ports):
        end = "" if number == 0 else rng.choice(["", 'end = "open"\n', 'end = "1 ohm"\n', 'receiver = "radio"\n'])
        text += f'[[outlet]]\nid = "o{number}"\nafter = "{port}"\n{end}'
    return text + SHOP


def all_of(seed):
    found = parse_installation(house(seed).encode())
    check_installation(found)
    answer = outlets(found, draws=200)
    lines = verdict_lines(answer)
    results = [answer]
    if seed % 3 == 0:
        place, mend = place_amplifier(found), improve_reception(found)
        lines += placement.verdict_lines(place) + mending.verdict_lines(mend)
        results += [place, mend]
    for each in results:
        json.dumps(each.to_dict(), allow_nan=False)
    assert max(map(len, lines)) <= LONGEST, max(lines, key=len)
    assert "nan" not in installation_html(answer).split()


@pytest.mark.parametrize(
    "seed", [*range(3), *wide(3), *(pytest.param(seed, marks=pytest.mark.statistical) for seed in range(4, 43))]
)
def test_any_installation_has_an_answer_or_a_reason(seed):
    with warnings.catch_warnings(), suppress(ChainError):
        warnings.simplefilter("error")
        all_of(seed)


def test_most_of_them_have_an_answer():
    answered = 0
    for seed in range(12):
        with suppress(ChainError):
            outlets(parse_installation(house(seed).encode()), draws=200)
            answered += 1
    assert answered >= 6


WARM = """
[antenna]
gain = "12 dBi"
match = "VSWR 1"
noise = "290 K"
[[signal]]
frequency = "600 MHz"
bandwidth = "1 MHz"
need = "20 dB"
field_spread = "30 dB"
"""
LEAD = '[[item]]\nid = "{}"\npart = "rg6"\nafter = "{}"\nlength = "{} m"\ntemperature = "290 K"\nideal = true\n'
OUTLET = '[[outlet]]\nid = "o{0}"\nafter = "{0}"\nreceiver = "tv"\n'
FULL = ['"0.001 dB"', '{ magnitude = "0 dB", known = "uniform-radius" }']


def way(name, after, length_m):
    """A lead with an outlet behind it."""
    return LEAD.format(name, after, length_m) + OUTLET.format(name)


@pytest.mark.parametrize("part", ["splitter-3", "splitter-4", "splitter-2-resistive", "mobile-filter-694", "dc-block"])
@pytest.mark.parametrize("reflection", FULL)
def test_no_trial_of_a_passive_part_gives_out_more_than_goes_in(part, reflection):
    """Conservation of power: a loss stated with the mismatch it holds makes no gain of a part that may reflect everything."""
    text = f'{WARM}field = "60 dBuV/m"\n{LEAD.format("tail", "antenna", 1)}'
    text += f'[[item]]\nid = "all"\npart = "{part}"\nafter = "tail"\nreflection = {reflection}\n'
    ports = [f"all.out{number + 1}" for number in range(OUTPUTS.get(part, 0))] or ["all"]
    text += "".join(way(f"fly{number}", port, 4 + 3 * number) for number, port in enumerate(ports))
    found = nominal_levels(parse_installation(text.encode()))
    compiled, count = compile_tree(found.compiled.installation, np.array([600e6])), 4000
    block = RandomPool(count, len(compiled.installation.items), len(compiled.types), 1).block(slice(0, count))
    nothing = np.zeros((1, 1), dtype=np.complex64)
    others = found.other_k[:, :1].astype(np.float32)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        warm = np.full(count, 290, dtype=np.float32)
        drawn = solve_trials(compiled.plan, compiled.drawn(0, block), nothing, warm, nothing, others)
    assert drawn.gain.min() >= 0
    assert drawn.gain.max() <= 1
    assert drawn.rest.min() > 0
    assert drawn.rest.max() <= 1
    # At one temperature with all that hangs on it, whatever it reflects.
    assert drawn.kelvin == pytest.approx(290, rel=1e-3)


def test_a_level_where_nothing_arrives_has_an_answer():
    """Single precision ends at 10^38: 140 dBuV taken back through 9 km of cable, at places that differ by 30 dB."""
    text = f'{WARM}level = "140 dBuV at ofar"\n[[item]]\nid = "boost"\npart = "masthead-amplifier"\nafter = "antenna"\ngain = "60 dB"\n'
    text += LEAD.format("trunk", "boost", 1)
    text += '[[item]]\nid = "split"\npart = "splitter-2"\nafter = "trunk"\n'
    text += way("far", "split.out1", 9000) + way("near", "split.out2", 1)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        json.dumps(outlets(parse_installation(text.encode()), draws=200).to_dict(), allow_nan=False)
