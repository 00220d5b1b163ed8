"""Every public function given every kind of nonsense: an error of ours that says what is needed, or an answer; nothing else."""

import inspect
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from public_results import result

import chain
from chain.errors import ChainError

BENCH, HOUSE = "demo/boathouse.toml", "demo/outlets.toml"
FREQ = np.array([200e6, 210e6])


class Strange:
    """Something that no function has ever seen."""


NONSENSE = {
    "None": None,
    "a number": 3.5,
    "a negative number": -1,
    "NaN": float("nan"),
    "infinity": float("inf"),
    "True": True,
    "an empty text": "",
    "a text": "17.3",
    "a path that is none": "none/such.toml",
    "bytes": b"\x00",
    "an empty list": [],
    "an empty tuple": (),
    "a list of None": [None],
    "a list of numbers": [1.0, 2.0],
    "an empty mapping": {},
    "a mapping": {"x": 1},
    "an empty array": np.array([]),
    "an array of texts": np.array(["1.5", "2"]),
    "a matrix": np.eye(2),
    "complex": 1 + 2j,
    "a duration": np.timedelta64(1),
    "an array of durations": np.array([1, 2], dtype="m8[s]"),
    "a masked array": np.ma.array([1.0, 2.0], mask=[0, 1]),
    "a stranger": Strange(),
    "a class": Strange,
    "a set-up": chain.load_setup(BENCH),
    "an answer": chain.budget(BENCH),
}


@cache
def sound():
    """Sound arguments of every public function."""
    lead = chain.one_port_sweeps({"open": "demo/lead-open.s1p", "short": "demo/lead-short.s1p"})
    readings = chain.readings_of(FREQ, vswr=[1.3, 1.2])
    return {
        "setup": chain.load_setup(BENCH), "readings": readings, "chain": BENCH, "need": "demo/need.toml",
        "installation": chain.load_installation(HOUSE),
        "first": readings, "second": readings, "path": "demo/boathouse.s1p", "source": BENCH, "found": result("Budget"),
        "raw": Path(BENCH).read_bytes(), "freq_hz": FREQ, "card": result("Card"), "page": result("Page"),
        "result": result("Reception"), "folder": "demo/log", "sweep": "demo/boathouse.s1p", "given": {"open": ["1.7"]},
        "default_hz": 200e6, "known": chain.known_ends({"open": ["1.7"]}, 2e8), "sweeps": lead,
        "paths": {"open": "demo/lead-open.s1p", "short": "demo/lead-short.s1p"},
        "table": chain.read_levels("demo/levels.csv"), "levels": chain.read_seen("demo/outlets-seen.csv", HOUSE),
        "start_hz": 174e6, "stop_hz": 240e6, "reading_db": 20.0, "site_db": 30.0, "below_db": 20.0,
        "sum_ab_db": 10.0, "sum_ac_db": 10.0, "sum_bc_db": 10.0,
    }  # fmt: skip


TEXTS = ("an empty text", "a text", "a path that is none")
NUMBERS = ("a number", "a negative number", "a whole number")
FITS = {
    "str": TEXTS,
    "bool": ("True",),
    "Path": TEXTS,
    "float": NUMBERS,
    "float | None": NUMBERS,
    "Setup": ("a set-up",),
    "Setup | None": ("a set-up",),
    "Chain | Setup": ("a set-up",),
    "Budget": ("an answer",),
    "Sequence[float]": (
        "a number",
        "infinity",
        "a list of numbers",
        "an empty list",
        "an empty tuple",
        "an empty array",
    ),
    "Mapping[str, Sequence[str]]": ("an empty mapping",),
    "Callable[[float], None] | None": ("a class",),
    "Mapping[str, tuple[float, float]] | None": ("an empty mapping", "a mapping"),
    "Channels | None": ("an empty mapping", "a mapping"),
    "Real | None": (),
}
"""Nonsense that an argument of an annotation may take."""
OF_ITSELF = {
    ("follow_folder", "log"): TEXTS,
    ("log_measurement", "short"): TEXTS,
    ("expect", "true_vswr"): ("an array of texts",),
    ("setup_of", "title"): TEXTS,
    ("prove", "ohms"): ("infinity",),
    ("compare_planes", "true_vswr"): ("infinity",),
    ("readings_of", "vswr"): ("a list of numbers", "an array of texts"),
    ("setup_of", "calibration"): ("an empty mapping",),
    ("compare_levels", "reference_dbi"): ("NaN",),
    ("setup_of", "antenna"): ("an empty mapping",),
    ("setup_of", "library"): ("an empty list", "an empty tuple"),
}
LEARNING = ("learn_back_to_back", "learn_ends", "learn_lead", "learn_two_port")
"""Functions whose sound arguments are tested where they live: a first argument that is none is enough here."""


def cases():
    for name in chain.__all__[1:]:
        function = getattr(chain, name)
        if not inspect.isfunction(function):
            continue
        for argument, each in inspect.signature(inspect.unwrap(function)).parameters.items():
            if each.kind is not each.VAR_POSITIONAL and (name not in LEARNING or argument == "sweeps"):
                yield name, argument


def call(name, argument, value):
    function = getattr(chain, name)
    needed = inspect.signature(inspect.unwrap(function)).parameters
    given = {
        key: sound().get(key)
        for key, each in needed.items()
        if each.default is each.empty and each.kind is not each.VAR_POSITIONAL
    }
    given |= {"chain": ["min-loss-pad"]} if name == "setup_of" else {}
    given |= {"vswr": [1.2, 1.3]} if name == "readings_of" else {}
    given |= {"card": result("InstallerCard")} if name == "installer_card_html" else {}
    given |= {"path": "demo/outlets-seen.csv"} if name == "read_seen" else {}
    given |= {"setup": "demo/plane-after-pad.toml"} if name in ("follow_folder", "log_measurement") else {}
    given[argument] = value
    answer = function(**given)
    return list(answer) if inspect.isgenerator(answer) else answer


@pytest.mark.parametrize(("name", "argument"), [*cases()])
def test_nonsense_ends_in_an_error_that_says_what_is_needed(name, argument, tmp_path):
    """Each kind of nonsense that the argument cannot take is refused with the name of what is wrong and a remedy."""
    parameter = inspect.signature(inspect.unwrap(getattr(chain, name))).parameters[argument]
    kind = str(parameter.annotation)
    fits = FITS.get(kind, FITS.get(kind.removesuffix(" | None"), ()))
    wrong = []
    for label, value in NONSENSE.items():
        if label in fits or label in OF_ITSELF.get((name, argument), ()) or (value is None and "None" in kind):
            continue
        if kind == "Any" and value is None:
            continue
        found = refused(name, argument, value)
        if found is not None:
            wrong.append(f"{label}: {found}")
    assert not wrong, "\n".join(wrong)


def refused(name, argument, value):
    """Nothing where an error of ours says what is needed; else what came instead."""
    try:
        answer = call(name, argument, value)
    except ChainError as error:
        return None if len(str(error)) > len("wrong argument.") else f"says only {error}"
    except Exception as error:
        return f"{type(error).__name__}: {error}"
    return f"an answer {answer!r:.80}"


@pytest.mark.parametrize(
    ("name", "argument", "value"),
    [
        ("bare_pad", "start_hz", 174),
        ("bare_pad", "stop_hz", 240.0),
        ("match_network", "wanted_low_hz", 600),
        ("tune", "wanted_high_hz", 600),
        ("known_ends", "default_hz", 207),
        ("known_ends", "at_hz", 207),
        ("build", "freq_hz", [600.0, 700.0]),
        ("recover", "readings", ([600.0, 700.0], [0.1, 0.1])),
        ("setup_of", "sweep", (174, 240)),
    ],
)
def test_megahertz_in_place_of_hertz_are_asked_back(name, argument, value):
    with pytest.raises(ChainError, match=r"hertz|MHz"):
        call(name, argument, value)


@pytest.mark.parametrize(
    "readings",
    [
        (FREQ, [0.1]),
        (FREQ, []),
        ([], []),
        (FREQ, np.ma.array([0.1, 0.2], mask=[0, 1])),
        (np.ma.array(FREQ, mask=[0, 1]), [0.1, 0.2]),
        (FREQ, [[0.1, 0.2], [0.1, 0.2]]),
        (FREQ, [[0.1], [0.2, 0.3]]),
        (FREQ, ["a", "b"]),
        (FREQ, None),
        (None, None),
        (FREQ, [None, 0.1]),
        (FREQ[::-1], {"x": 1}),
        {"freq_hz": FREQ, "vswr": [1.2]},
        {"freq_hz": FREQ, "vswr": None},
        {"freq_hz": None, "vswr": [1.2, 1.3]},
        {"freq_hz": FREQ, "vswr": "1.2"},
    ],
)
def test_readings_of_the_wrong_shape_are_refused_by_name(readings):
    with pytest.raises(ChainError):
        chain.recover(BENCH, readings)
