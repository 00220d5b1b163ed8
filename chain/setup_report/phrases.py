"""Sentences that several answers share, kept to the length of a line."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from chain.errors import plain

if TYPE_CHECKING:
    from chain.analyses.expect import Expectation
    from chain.analyses.planes import Planes
    from chain.analyses.recovery import Recovery

CHECK_CHAIN = "Next: check the pad and its connections, then test the chain ('chain prove')."
"""What to do about a reading that no antenna gives: neither another plane nor a better part makes it possible."""
PORT_ONLY_LINE = "Taken to calibrate at its port only: see 'chain planes' if it can elsewhere."
PORT_ONLY = "calibrates at its own port only"
"""In what a set-up assumes of an analyzer of which the file does not say where it can be calibrated."""
LONGEST = 80
"""Characters that each of the first three lines of an answer may have."""
CLAUSE = re.compile("; |, (?:or |then )?| if | before | that ")
"""Where a sentence may end early."""
GRADES = {"better": "leans good", "leans better": "leans good", "leans worse": "leans bad", "worse": "leans bad"}
VERDICTS = {"pass": "good", "fail": "bad", "better": "good", "worse": "bad", "no limit": "-"}


def fitted(*texts: str, most: int = LONGEST) -> str:
    """The first of some wordings that fits a line, else the last of them cut at a word."""
    for text in texts:
        if len(text) <= most:
            return text
    return f"{texts[-1][: most - 3].rsplit(' ', 1)[0]}..."


def line_of(lead: str, text: str, most: int = LONGEST) -> str:
    """A line that begins with `lead` and goes on with as many clauses of a text as it has room for."""
    mark = "?" if text.endswith("?") else "."
    text = text.rstrip(".?")
    ends = sorted((found.start() for found in CLAUSE.finditer(text)), reverse=True)
    return fitted(f"{lead}{text}{mark}", *(f"{lead}{text[:end]}." for end in ends), most=most)


def short(name: str, most: int = 16) -> str:
    """A name of the user's that leaves room for a sentence."""
    text = plain(name)
    return text if len(text) <= most else f"{text[: most - 3]}..."


def turn_step(names: Sequence[str]) -> str:
    """What to do about parts the wrong way round, which every reading suffers by."""
    which = " and ".join(f"'{short(each, 28)}'" for each in names)
    return fitted(
        f"Next: turn {which} round and read again; if it is the right way, correct the file.",
        f"Next: turn {which} round, or correct the file.",
    )


def takes_port_only(assumed: Sequence[str]) -> bool:
    """Whether an analyzer is taken to calibrate at its port only because nothing else is stated."""
    return any(PORT_ONLY in each for each in assumed)


def sentence(text: str) -> str:
    """Text with a capital at its start and one full stop at its end, or its question mark."""
    text = text.rstrip(".")
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith('?') else '.'}"


def verdict_word(verdict: str, grade: str | None = None) -> str:
    """A verdict as screens, plots and pages call it; what is not proven by its grade."""
    return GRADES.get(grade or "", "undecided") if verdict == "not proven" else VERDICTS.get(verdict, verdict)


def plane_words(plane: str) -> str:
    """Calibration plane in words."""
    return "at the analyzer's port" if plane == "near" else f"after {plane}"


def draws_words(result: Expectation | Planes | Recovery) -> str:
    """How many trials made the intervals, and how well their ends are known by them."""
    text, found = f"{result.draws} draws, seed {result.seed}", result.accuracy
    if found is None or not found.end_tolerance:
        return text
    most = "" if found.settled or found.digits == 1 else ", the most that is tried"
    return f"{text}{most}; another seed moves the limits by up to {upward(found.end_error)} in |reflection|"


def upward(value: float) -> str:
    """A difference to one digit, rounded up."""
    if value <= 0:
        return "0"
    unit = 10.0 ** math.floor(math.log10(value))
    return f"{math.ceil(value / unit - 1e-9) * unit:.1g}"
