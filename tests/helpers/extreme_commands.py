"""Extreme set-ups through every command that takes one: an answer or an error of the input, never a fault."""

import cmath
import importlib
import itertools
import pkgutil
import random
import re
import sys
from contextlib import ExitStack
from functools import cache
from pathlib import Path
from shutil import rmtree
from unittest.mock import patch

from click.testing import CliRunner
from extreme_setups import DEMO, extreme_installation, extreme_need, extreme_setup

import chain as package
from chain.cli.main import chain

NAN = re.compile(r"\bnan\b", re.IGNORECASE)
SCRIPT = re.compile(r"<script.*?</script>", re.DOTALL)
WHOLE_EVERY = 200
"""One case in so many through all commands with all the draws of an answer, on threads."""
FEWER = (
    ("chain.uncertainty.intervals", "draw_count", lambda points: 1000),
    ("chain.uncertainty.one_sided_tests", "PHASES", 4),
    ("chain.uncertainty.whole_sweep", "DRAWS", 1000),
    ("chain.analyses.expect", "BLAME_DRAWS", 1000),
    ("chain.analyses.bench_card", "CARD_DRAWS", 1000),
    ("chain.analyses.improvements", "DRAWS", 1000),
    ("chain.analyses.loss_range", "DRAWS", 200),
    ("chain.analyses.planes", "DRAWS", 1000),
    ("chain.characterize.intervals", "DRAWS", 400),
    ("chain.selection.ranking", "DRAWS", 1000),
    ("chain.reception.trials", "FEWEST", 50),
    ("chain.reception.trials", "MOST", 100),
    ("chain.tuning.trials", "BATCHES", 2),
    ("chain.records.watching", "SETTLED_S", 0.0),
    ("chain.records.watching", "POLL_EVERY_S", 0.0),
    ("chain.records.following", "PATIENCE_S", 0.0),
    ("chain.diagnosis.likelihood", "BLOCK", 500),
    ("chain.diagnosis.evidence", "MOST_DRAWS", 2000),
    ("chain.diagnosis.evidence", "HOPELESS_DRAWS", 1000),
    ("chain.diagnosis.next_reading", "BLOCKS", 1),
    ("chain.uncertainty.parallel", "in_order", lambda work, items, **_: map(work, items)),
)
"""Fewer draws than an answer takes, on one thread: a fault does not wait for the second digit."""
SOME = (
    ("chain.uncertainty.contributions", "largest", 2),
    ("chain.analyses.improvements", "improvements", 2),
    ("chain.selection.improve", "_ideas", 3),
)
"""What gives many candidates of which each is drawn: some of them, others in each case."""
REMEMBERED = (
    ("chain.files.setup_file", "parse_setup", lambda raw, path="", *_, **__: (raw, path)),
    ("chain.analyses.expect", "expect", lambda setup, true=(), *_, **__: (id(setup), tuple(true))),
    (
        "chain.analyses.recover",
        "recover",
        lambda setup, readings, *_, **__: (id(setup), *map(repr, vars(readings).values())),
    ),
)
"""Answers that several commands ask for: made once in a case; and what tells one from another."""
READINGS = ["VSWR 1.2", "VSWR 1e5", "RL 0 dB", "0.1-0.2j", "R 0 X -1e5", "VSWR 1"]
KNOWN = [("--open", "VSWR 3.0"), ("--open", "VSWR 100000", "--short", "VSWR 1"), ("--load", "VSWR 1.5", "--open", "1"),
         ("--short", "0.1 dB", "--load", "60 dB")]  # fmt: skip
DEAR, NEED, INSTALLATION = 0.2, 0.05, 0.2
"""Shares of cases in which a dear command takes part, so that more set-ups are tried; a need and an installation, files of their own."""
LONG_EVERY = 60
"""One case in so many also takes a sweep of 2,002 points, where neighbours begin to be averaged, or of 20,001."""
SEEN = "place,channel,level_dbuv\nhall,21,60.1\nloft,40,45\n"


def forms(rng, folder, ids, span):
    """Forms of every command that takes a set-up, a need or an installation, and the share of cases that it takes part in."""
    named = (
        "extreme.toml",
        "need.toml",
        "outlets.toml",
        "a.s1p",
        "b.s1p",
        "long.s1p",
        "a.csv",
        "long.csv",
        "seen.csv",
        "sweeps",
    )
    setup, need, installation, short, other, long, sizes, dip, seen, sweeps = (
        str(Path(folder, name)) for name in named
    )
    chain_file, log = (str(Path(folder, "out", name)) for name in ("chain.ts", "log"))
    reading = f"{rng.choice(READINGS)} at {span[0] / 1e6:.9g} MHz"
    part = ["two-port", str(DEMO / "pad.s2p"), "--near", "N-50 jack", "--far", "N-75 jack", "--in", setup, "--item"]
    house, few = [installation], ["--draws", "200"]
    return (
        ("check", 1, [[setup]]),
        ("budget", 1, [[setup], [setup, "--touchstone", chain_file], [setup, "--plot"]]),
        ("card", DEAR, [[setup], [setup, short], [setup, short, other]]),
        ("expect", DEAR, [[setup], [setup, "--true", "VSWR 1"], [setup, "--plot"]]),
        ("planes", DEAR, [[setup], [setup, "--true", "VSWR 1e5"]]),
        ("recover", DEAR, [[setup, "--reading", reading], [setup, short], [setup, short, "--before", other],
                           [setup, short, "--plot"], [setup, sizes]]),
        ("prove", DEAR, [[setup, *each] for each in KNOWN]),
        ("report", DEAR, [[setup], [setup, short]]),
        ("ripple", 1, [[long, setup]]),
        ("tune", DEAR, [*[[setup, long]] * 5, *[[setup, dip]] * 5, [setup, long, "--faults"], [setup, long, "--match"]]),
        ("compare", 1, [[setup, short, other]]),
        ("follow", 1, [[setup, sweeps, "--once"]]),
        ("log", 1, [["add", log, setup, short]]),
        ("choose", DEAR, [["--improve", setup], ["--improve", setup, need]]),
        ("choose", NEED, [[need]]),
        ("learn", DEAR, [[*part, each] for each in ids]),
        ("outlets", INSTALLATION, [*[house + few] * 6, *[[*house, "--tree", *few]] * 4, *[[*house, "--seen", seen, *few]] * 4,
                                   [*house, "--place"], [*house, "--improve"]]),
    )  # fmt: skip


def commands(rng, *given, whole):
    """Words of the commands of a case; all commands take part in a whole one."""
    for name, share, words in forms(rng, *given):
        found = [name, *rng.choice(words)]
        # No chart has a place in JSON, and a page has no other form.
        only = name == "report" or "--plot" in found
        found.append(
            rng.choice(["--quiet", "--verbose" if name != "report" else "--quiet", *([] if only else ["--json"])])
        )
        if whole or rng.random() < share:
            yield found


def long_sweep(number, folder, span):
    """A long sweep with its digits, with or without phase, and the words of a command that takes it; numbers of its own."""
    rng = random.Random(f"long {number}")
    points = rng.choice([2002, 20001])
    text = sweep(rng, rng.choice([0.1, 0.5, 0.999]), points, span, rng.choice([2, 3, 9]))
    setup, log, followed = (str(Path(folder, name)) for name in ("extreme.toml", "out/many", "out/followed"))
    Path(followed).mkdir()
    many = str(Path(followed, rng.choice(["many.s1p", "many.csv"])))
    Path(many).write_text(text if many.endswith("s1p") else magnitudes(text, rng.choice([3, 6])), encoding="utf-8")
    every = [["ripple", many], ["ripple", many, setup], ["tune", setup, many], ["compare", setup, many, many],
             ["follow", setup, followed, "--once"], ["log", "add", log, setup, many]]  # fmt: skip
    if points == 2002:
        every += [["recover", setup, many], ["recover", setup, "--plot", many], ["report", setup, many]]
    return [[*rng.choice(every), "--quiet"]]


def lay_out(folder):
    """Put down what the set-ups name, once."""
    for each in DEMO.iterdir():
        if each.suffix in (".s1p", ".s2p") or each.name in ("matched-parts.toml", "shop.csv"):
            Path(folder, each.name).write_bytes(each.read_bytes())


def lay_down(rng, folder):
    """Put down the files of a case, sweeps that any antenna may have given among them; their names, ids of items, span in Hz."""
    text, ids, span = extreme_setup(rng)
    put = {"extreme.toml": text, "need.toml": extreme_need(rng), "outlets.toml": extreme_installation(rng)}
    points = rng.choice([1, 2, 3])
    size = rng.choice([0.0, 1e-6, 0.1, 0.5, 0.9, 0.999999, 1.0, 1.05])
    other = rng.choice([size, 0.2])
    put |= {"seen.csv": SEEN, "a.s1p": sweep(rng, size, points, span), "b.s1p": sweep(rng, other, points, span)}
    put |= {"long.s1p": sweep(rng, size, 24, span)}
    put |= {name.replace("s1p", "csv"): magnitudes(put[name]) for name in ("a.s1p", "long.s1p")}
    for name, text in put.items():
        Path(folder, name).write_text(text, encoding="utf-8")
    for name in ("out", "sweeps"):
        # A case that took too long has left its own behind.
        rmtree(Path(folder, name), ignore_errors=True)
        Path(folder, name).mkdir()
    Path(folder, "sweeps", "a.s1p").write_text(put["a.s1p"], encoding="utf-8")
    return [*put, "out", "sweeps"], ids, span


def sweep(rng, size, count, span, digits=9):
    """A sweep in Touchstone of reflections of about one size, at phases that turn."""
    turn = rng.choice([0.0, 0.3, 2.0])
    values = (cmath.rect(size * rng.choice([1, 1, 0.9]), turn * number) for number in range(count))
    first, step = span[0], (span[1] - span[0]) / max(count - 1, 1)
    rows = [
        f"{first + number * step:.9g} {each.real:.{digits}f} {each.imag:.{digits}f}"
        for number, each in enumerate(values)
    ]
    return "\n".join(["# Hz S RI R 50", *rows, ""])


def magnitudes(text, digits=6):
    """The same sweep as a table of VSWR alone."""
    rows = []
    for line in text.splitlines()[1:]:
        freq, real, imag = map(float, line.split())
        size = min(abs(complex(real, imag)), 0.999999)
        rows.append(f"{freq},{(1 + size) / (1 - size):.{digits}g}")
    return "\n".join(["Hz,VSWR", *rows, ""])


@cache
def modules():
    """Every module of the program, imported: what one imports later would keep a patched figure for good."""
    names = [
        each.name for each in pkgutil.walk_packages(package.__path__, "chain.") if not each.name.endswith("__main__")
    ]
    return [importlib.import_module(name) for name in names]


@cache
def fewer():
    """Where each figure of `FEWER` is known, under its own name."""
    every = modules()
    found = [(getattr(sys.modules[home], name), name, value) for home, name, value in FEWER]
    return [(module, name, value) for was, name, value in found for module in every if vars(module).get(name) is was]


def remembered(function, keys):
    """A function that makes an answer once in a case, so that commands which ask for the same need not wait for it again."""
    made = {}

    def asked(*args, **given):
        key = keys(*args, **given)
        if key not in made:
            # The set-up is kept with the answer, so that no other takes its place in memory.
            made[key] = (args, function(*args, **given))
        return made[key][1]

    return asked


def some(function, rng, most):
    """A function that gives so many of its candidates at most, chosen at random, in their order."""

    def asked(*args, **given):
        every = list(function(*args, **given))
        chosen = set(rng.sample(range(len(every)), min(most, len(every))))
        return tuple(each for number, each in enumerate(every) if number in chosen)

    return asked


def faster(stack, rng):
    """Patch what makes answers slow and no fault rarer."""
    for module, name, value in fewer():
        stack.enter_context(patch.object(module, name, value))
    for home, name, most in SOME:
        was = vars(sys.modules[home])[name]
        for module in modules():
            if vars(module).get(name) is was:
                stack.enter_context(patch.object(module, name, some(was, rng, most)))
    for home, name, keys in REMEMBERED:
        was = vars(sys.modules[home])[name]
        asked = remembered(was, keys)
        for module in modules():
            if vars(module).get(name) is was:
                stack.enter_context(patch.object(module, name, asked))


def through_commands(number, folder):
    """What the commands make of an extreme case; a status of 3, a traceback and a NaN are findings. Returns a refusal, or None."""
    rng = random.Random(f"extreme {number}")
    (made, *known), refused, faults = lay_down(rng, folder), None, []
    with ExitStack() as stack:
        if number % WHOLE_EVERY:
            faster(stack, rng)
        every = commands(rng, folder, *known, whole=number % WHOLE_EVERY == 0)
        for words in itertools.chain(every, long_sweep(number, folder, known[1]) if number % LONG_EVERY == 1 else ()):
            done = CliRunner().invoke(chain, words)
            if done.exit_code not in (0, 1, 2) or not isinstance(done.exception, (SystemExit, type(None))):
                faults.append(f"{' '.join(words)}: {done.exit_code} {done.stderr[-300:]} {done.exception!r}")
            elif NAN.search(SCRIPT.sub("", done.stdout)):
                faults.append(f"{' '.join(words)}: a figure that is none")
            refused = done.stderr if done.exit_code == 2 and words[0] == "check" else refused
    for each in made:
        path = Path(folder, each)
        rmtree(path) if path.is_dir() else path.unlink()
    assert not faults, "\n".join(faults)
    return refused
