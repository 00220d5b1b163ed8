"""Damaged and harmlessly changed files: seeds of every kind, a fuzzer whose seed decides everything, and what must come of it.

`python tests/helpers/fuzzer.py KIND FIRST COUNT` feeds COUNT damaged files of a kind (touchstone, table, toml, parts, offers) to the
readers and prints what came of them as JSON, with the longest time and the largest memory. Such a file gives a result or an error of
the input; anything else is a finding and is listed. `python tests/helpers/fuzzer.py all 1000000 STATE.json [WORKER OF]` goes on from
where the file of the state was left, with every kind; with the name of a kind instead of `all`, with that one.
"""

import json
import random
import re
import resource
import signal
import sys
import tempfile
import time
import unicodedata
import warnings
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
from extreme_commands import lay_out, through_commands
from sweep_seeds import TABLES, TOUCHSTONES

from chain.errors import ChainError, plain
from chain.files.setup_file import load_setup
from chain.selection.need_file import load_need
from chain.sweeps import touchstone
from chain.sweeps.options import QUANTITIES, SweepOptions
from chain.sweeps.read import read_sweep
from library.errors import LibraryError
from library.load import load_library

LONGEST_S = 5.0
QUICK = Path("/dev/shm")
"""A folder in memory, where there is one: a file opened on a disk takes longer than most cases."""
DEMO = Path(__file__).parent.parent.parent / "demo"

NASTY = [
    "nan", "inf", "-inf", "1e999", "-1e-999", "1e308", "-1", "0", "", " ", "\t", '"', "'", '""', ",", ";", ",,", "0,1", "1.234.567",
    "1.234", "12 345", "--", "1-2", "+", "1e", "0x1F", "1_000", "٣", "½", "Ω", "\u2212" "5", "\x00", "\x1b[31m", "\ufeff", "\u202e",
    "<script>alert(1)</script>", "[", "]", "[[", "{", "}", "=", "#", "!", "%", "//", "\\", "../../etc/passwd", "[Version] 2.0",
    "[Number of Ports] 99999", "[Network Data]", "[Reference]", "[Begin Information]", "# Hz Z DB R 0", "# MHz S RI R 50 R 75", "R",
    "! Port Impedance 75 0", "dB", "MHz", "VSWR", "S11", "1" * 400, "a" * 3000, "9" * 30 + "e9", "\r", "\n", "\r\n", "\x0b", "\x0c",
    "\x85", "\u2028", "VSWR 1e9", "1 dB 2", "-5 m", "true", "1979-05-27T07:32:00Z", '"""', "a.b.c.d = 1", "[[chain]]", "part = 1",
    'id = "near"', 'part = "no-such-part"', "length = [[1]]", 'touchstone = "../../x.s2p"', 'touchstone = "/dev/zero"', "reversed = true",
]  # fmt: skip


class TooSlow(BaseException):
    """A reader took longer than it may; no `except Exception` may swallow it."""


BESIDE = ("need.toml", "shop.csv", "matched-parts.toml")
"""Demo files that another demo file names, so that they must lie beside it."""
OFFERS = {"shop.csv": lambda: (DEMO / "shop.csv").read_text(encoding="utf-8")}


def toml_seeds():
    """The set-ups and the need of the demo, and the list of a shop that the need names."""
    paths = [path for path in DEMO.glob("*.toml") if path.name not in ("outlets.toml", "matched-parts.toml")]
    return {path.name: path.read_text(encoding="utf-8") for path in sorted([*paths, DEMO / "shop.csv"])}


@cache
def parts_seeds():
    """Part files as the program writes them: one learnt, and a matching network of the demo."""
    from click.testing import CliRunner

    from chain.cli.main import chain

    ends = ["--near", "N-50 jack", "--far", "N-75 jack", "--quiet", "--date", "2026-01-01"]
    words = ["learn", "two-port", str(DEMO / "pad.s2p"), *ends]
    network = "matched-parts.toml"
    return {
        "learnt.toml": CliRunner().invoke(chain, words).stdout,
        network: (DEMO / network).read_text(encoding="utf-8"),
    }


def seeds(kind):
    """Sound files of a kind: name to text."""
    return {
        "touchstone": lambda: TOUCHSTONES,
        "table": lambda: TABLES,
        "toml": toml_seeds,
        "parts": parts_seeds,
        "offers": lambda: {name: text() for name, text in OFFERS.items()},
    }[kind]()


def damaged(kind, number):
    """One damaged file: name and bytes."""
    rng = random.Random(f"{kind} {number}")
    known = seeds(kind)
    name = rng.choice(sorted(known))
    text = known[name]
    for _ in range(rng.choice([1, 1, 1, 2, 3, 8])):
        text = rng.choice(CHANGES)(text, rng, known)[:200_000]
    raw = text.encode(rng.choice(["utf-8"] * 6 + ["cp1252", "utf-16", "utf-8-sig"]), errors="replace")
    if rng.random() < 0.15:
        raw = _bytes_changed(raw, rng)
    return name, raw


def _bytes_changed(raw, rng):
    data = bytearray(raw)
    for _ in range(rng.choice([1, 2, 20])):
        if data:
            data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def _token(text, rng, _):
    spans = [found.span() for found in re.finditer(r"[^\s,;=]+", text)] or [(0, 0)]
    start, end = rng.choice(spans)
    return text[:start] + rng.choice(NASTY) + text[end:]


def _inserted(text, rng, _):
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice(NASTY) + text[at:]


def _cut(text, rng, _):
    first, last = sorted(rng.randrange(len(text) + 1) for _ in range(2))
    return text[:first] + text[min(last, first + rng.choice([1, 3, 40, 400])) :]


def _truncated(text, rng, _):
    return text[: rng.randrange(len(text) + 1)]


def _lines_changed(text, rng, _):
    lines = text.split("\n")
    one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    way = rng.randrange(5)
    if way == 0:
        lines[one], lines[other] = lines[other], lines[one]
    elif way == 1:
        del lines[one]
    elif way == 2:
        lines[one:one] = [lines[other]] * rng.choice([1, 2, 300])
    elif way == 3:
        rng.shuffle(lines)
    else:
        lines[one] = lines[one] + lines[other]
    return "\n".join(lines)


def _spliced(text, rng, known):
    other = known[rng.choice(sorted(known))]
    return text[: rng.randrange(len(text) + 1)] + other[rng.randrange(len(other) + 1) :]


def _swapped(text, rng, _):
    first, second = rng.sample([",", ";", "\t", " ", ".", "\n", "[", "]", "=", '"', "#"], 2)
    return text.replace(first, second)


def _nested(text, rng, _):
    depth = rng.choice([10, 60, 3000])
    at = rng.randrange(len(text) + 1)
    return text[:at] + rng.choice("[{(") * depth + text[at:]


CHANGES = [
    _token,
    _token,
    _token,
    _inserted,
    _inserted,
    _cut,
    _truncated,
    _lines_changed,
    _lines_changed,
    _spliced,
    _swapped,
    _nested,
]


def harmless(kind, number):
    """One file that means the same: name, the sound text and the changed bytes."""
    rng = random.Random(f"harmless {kind} {number}")
    known = seeds(kind)
    name = rng.choice(sorted(set(known) - ({"blocks.csv", "shop.csv"} if kind != "offers" else set())))
    same = {"touchstone": _same_touchstone, "table": _same_table, "offers": _same_offers}.get(kind, _same_toml)
    return name, known[name], same(known[name], rng)


def _same_offers(text, rng):
    """Remarks, blank lines and ends of lines; blanks behind a comma."""
    out = []
    for line in text.split("\n"):
        out += rng.choice([[], [], [], ["# an aside"], [""]]) if out else []
        out.append(line if '"' in line or line[:1] == "#" else line.replace(",", rng.choice([",", ", "])))
    return _ends(out, rng, ["utf-8", "utf-8-sig"])


def _ends(lines, rng, encodings):
    mark = rng.choice(["\n", "\r\n"])
    text = mark.join(lines)
    return (text.rstrip() + rng.choice(["", mark, mark * 3])).encode(rng.choice(encodings))


def _same_touchstone(text, rng):
    out = []
    for line in text.split("\n"):
        if rng.random() < 0.3:
            out.append(rng.choice(["", "  ", "! an aside", "!", "\t! # MHz S MA R 1"]))
        words = line.split("!")[0]
        if words.strip() and words.strip()[0] not in "[":
            gap = rng.choice([" ", "\t", "   "])
            line = rng.choice(["", " ", "\t"]) + gap.join(words.split()) + rng.choice(["", " ", " ! why not"])
            line = rng.choice([line, line.upper(), line.lower()]) if words.strip()[0] == "#" else line
        out.append(line)
    return _ends(out, rng, ["utf-8", "utf-8-sig", "utf-16"])


def _same_table(text, rng):
    lines, out = text.split("\n"), []
    for number, line in enumerate(lines):
        if number and rng.random() < 0.2:
            out.append(rng.choice(["", "   ", "# an aside", "! another"]) if number > 1 else "")
        mark = next((each for each in "\t;," if each in line and '"' not in line), "")
        if mark and line[:1] not in "!#":
            blanks = ["", " ", "  "]
            line = mark.join(rng.choice(blanks) + cell + rng.choice(blanks) for cell in line.split(mark))
        out.append(line)
    return _ends(out, rng, ["utf-8", "utf-8-sig", "utf-16", "cp1252"] if "Ω" not in text else ["utf-8", "utf-16"])


def _same_toml(text, rng):
    """Remarks, blanks, line ends, and another order of the keys within each table."""
    out, group = [], []

    def flush():
        rng.shuffle(group)
        out.extend(group)
        group.clear()

    for line in text.split("\n"):
        if re.match(r"\s*[A-Za-z_]+\s*=", line):
            key, _, value = line.partition("=")
            gap = rng.choice(["", " ", "\t "])
            group.append(f"{key.rstrip()}{gap}={gap}{value.strip()}{rng.choice(['', ' ', '  # why not'])}")
            continue
        flush()
        out.append(line)
        if rng.random() < 0.2:
            out.append(rng.choice(["", "# an aside", "   "]))
    flush()
    return _ends(out, rng, ["utf-8", "utf-8-sig"])


def outcome(kind, path, number=None):
    """What a reader makes of a file: the result, or the error of the input as text; with a number, in varied circumstances."""
    rng = random.Random(number)
    try:
        if kind == "parts":
            library = load_library([path])
            return [library.part(each) for each in sorted({*library.ids()} - {*load_library().ids()})]
        if kind == "offers":
            return load_need(str(Path(path).with_name("need.toml")))
        if kind == "toml":
            path = path.replace("shop.csv", "need.toml")
            return load_need(path) if path.endswith("need.toml") else load_setup(path)
        if kind == "touchstone" and path.endswith((".s2p", "order.ts")):
            return touchstone.read_two_port(path)
        every = 9 if kind == "touchstone" else 3
        if number is None:
            return read_sweep(path, plane_ohm=50.0)
        settled = options(rng) if number % every == 2 else SweepOptions()
        return read_sweep(path, settled, rng.choice([None, 50.0, 75.0]))
    except LibraryError as error:
        # The program's own sentence of it, which leaves out what would steer a terminal.
        return plain(str(error)) or "an error"
    except ChainError as error:
        if error.exit_code != 2:
            raise
        text = str(error)
        assert text.strip(), "an error without a word"
        assert not steers(text.replace("\n", "")), "an error that steers the terminal"
        assert len(text) < 60_000, "an error longer than anyone reads"
        return text


def steers(text):
    """Tell whether a terminal would take something in a text for an order."""
    return any(unicodedata.category(each)[0] == "C" or unicodedata.category(each) in ("Zl", "Zp") for each in text)


def options(rng):
    """Options as a user may give them."""
    return SweepOptions(
        columns=rng.choice([(), (), ("2",), ("2", "3"), ("3",), ("VSWR",), ("9",), ("S22",)]),
        quantity=rng.choice(["", "", *QUANTITIES]),
        frequency_unit=rng.choice(["", "", "MHz", "Hz"]),
        decimal=rng.choice(["", "", "point", "comma"]),
        impedance_ohm=rng.choice([None, 50.0]),
        block=rng.choice([None, None, 1, 2]),
    )


def sound(result):
    """Check that readings are what readings must be."""
    if isinstance(result, touchstone.TouchstoneFile):
        assert np.all(np.isfinite(result.freq_hz))
        assert np.all(np.isfinite(result.s))
        assert np.all(np.diff(result.freq_hz) > 0)
        assert result.freq_hz[0] > 0
        assert min(result.reference_ohm) > 0
    elif hasattr(result, "magnitude"):
        assert result.freq_hz.size
        assert np.all(np.diff(result.freq_hz) > 0)
        assert np.all((result.magnitude >= 0) & (result.magnitude <= 1.1))
        assert result.reflection is None or np.allclose(np.abs(result.reflection), result.magnitude)
        assert not steers(result.interpretation + "".join(result.warnings))


def alike(first, second):
    """Tell whether two results are one, to the last bit."""
    if isinstance(first, touchstone.TouchstoneFile):
        reported = first.reference_ohm == second.reference_ohm and first.notes == second.notes
        return reported and np.array_equal(first.freq_hz, second.freq_hz) and np.array_equal(first.s, second.s)
    if hasattr(first, "magnitude"):
        same = np.array_equal(first.freq_hz, second.freq_hz) and np.array_equal(first.magnitude, second.magnitude)
        phases = (first.reflection is None) == (second.reflection is None)
        same = same and phases and (first.reflection is None or np.array_equal(first.reflection, second.reflection))
        return same and first.interpretation == second.interpretation and first.warnings == second.warnings
    if hasattr(first, "offers"):
        # Lines move.
        first, second = (
            replace(each, offers=tuple(replace(offer, where="") for offer in each.offers)) for each in (first, second)
        )
    return first == second


def unchanged(kind, number, folder):
    """Read a sound file and the same file harmlessly changed; anything but one result is a finding."""
    name, text, raw = harmless(kind, number)
    path = Path(folder, name)
    path.write_text(text, encoding="utf-8", newline="")
    first = outcome(kind, str(path))
    path.write_bytes(raw)
    second = outcome(kind, str(path))
    assert not isinstance(first, str), f"a sound file is refused: {first[:200]}"
    assert not isinstance(second, str), f"a harmless change is refused: {second[:200]}"
    assert alike(first, second), "a harmless change changes the result"
    return first


def read_damaged(kind, number, folder):
    """Read a mutant."""
    name, raw = damaged(kind, number)
    path = Path(folder, name)
    path.write_bytes(raw)
    result = outcome(kind, str(path), number)
    sound(result)
    return result


def _alarm(*_):
    raise TooSlow


def own_peak_mb() -> float:
    """Largest resident memory of this process; on Linux without what it inherits from a large one that started it."""
    status = Path("/proc/self/status")
    lines = status.read_text(encoding="utf-8").splitlines() if status.exists() else []
    own = [int(line.split()[1]) for line in lines if line.startswith("VmHWM")]
    return (own or [resource.getrusage(resource.RUSAGE_SELF).ru_maxrss])[0] / 1024


def run(kind, first, count):
    """Feed mutants to the readers; a kind that begins with `same-` takes harmless changes instead."""
    # Time of the processor, so that a busy machine makes no finding.
    signal.signal(signal.SIGPROF, _alarm)
    warnings.simplefilter("error")
    reported = {"kind": kind, "count": count, "results": 0, "errors": 0, "longest_s": 0.0, "findings": []}
    begun = time.perf_counter()
    own = kind.removeprefix("same-")
    way = unchanged if own != kind else read_damaged
    beside = {other: (DEMO / other).read_bytes() for other in BESIDE if own in ("toml", "offers")}
    with tempfile.TemporaryDirectory(dir=QUICK if QUICK.is_dir() else None) as folder:
        for other, raw in beside.items():
            Path(folder, other).write_bytes(raw)
        if kind == "extreme":
            lay_out(folder)
        for number in range(first, first + count):
            start = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, 60.0 if kind == "extreme" else LONGEST_S)
            try:
                result = through_commands(number, folder) if kind == "extreme" else way(own, number, folder)
                reported["errors" if isinstance(result, str) else "results"] += 1
            except (Exception, TooSlow) as error:
                reported["findings"].append(f"{kind} {number}: {type(error).__name__}: {error}"[:300])
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
            reported["longest_s"] = max(reported["longest_s"], time.process_time() - start)
            # The next case finds the files that a mutant may have taken the place of.
            for other, raw in beside.items() if own == "toml" else ():
                Path(folder, other).write_bytes(raw)
        known = set() if kind == "extreme" else {*seeds(own), *BESIDE}
        reported["strays"] = [] if kind == "extreme" else sorted({each.name for each in Path(folder).iterdir()} - known)
    reported["seconds"] = time.perf_counter() - begun
    reported["memory_mb"] = own_peak_mb()
    return reported


SHARES = [("touchstone", 300), ("same-touchstone", 100), ("table", 300), ("same-table", 100), ("toml", 100), ("same-toml", 20),
          ("parts", 50), ("same-parts", 10), ("offers", 30), ("same-offers", 10), ("extreme", 1)]  # fmt: skip
"""Cases of each kind in one round, by what they cost."""


def go_on(wanted, count, path, worker=0, workers=1):
    """Try cases of all kinds, or of one, from where the file of the state was left; it is written after each round."""
    state = {"cases": 0, "round": 0, "seconds": 0.0, "by_kind": {}, "findings": [], "longest_s": 0.0}
    if path.exists():
        state = json.loads(path.read_text(encoding="utf-8"))
    while state["cases"] < count:
        for kind, share in SHARES if wanted == "all" else [(wanted, 10)]:
            found = run(kind, (state["round"] * workers + worker) * share, share)
            state["by_kind"][kind] = state["by_kind"].get(kind, 0) + share
            state["cases"] += share
            state["seconds"] += found["seconds"]
            state["longest_s"] = max(state["longest_s"], found["longest_s"])
            state["findings"] += [*found["findings"], *(f"{kind}: left {name}" for name in found["strays"])]
        state["round"] += 1
        path.with_suffix(".part").write_text(json.dumps(state, indent=1), encoding="utf-8")
        path.with_suffix(".part").replace(path)
    return state


if __name__ == "__main__":
    if sys.argv[3].endswith(".json"):
        print(json.dumps(go_on(sys.argv[1], int(sys.argv[2]), Path(sys.argv[3]), *map(int, sys.argv[4:])), indent=1))
    else:
        print(json.dumps(run(sys.argv[1], int(sys.argv[2]), int(sys.argv[3]))))
