"""What to do next where a change of the set-up helps, with what it gains, in a line."""

from __future__ import annotations

import re
from collections.abc import Sequence

from chain.reflection import magnitude_from_return_loss
from chain.reflection import vswr as ratio_of
from chain.setup_report.numbers import between, limit
from chain.setup_report.phrases import fitted

DETAIL = re.compile(": |, all else ")
"""Where what a next step changes in detail begins."""
RETURN_LOSS = re.compile(r"return loss ([\d.]+) dB")


GIVES = ("it narrows this to", "that gives", "then")
"""Between a change and the interval of a reading by it."""


def helping_step(what: str, low: float, high: float, gives: Sequence[str] = GIVES) -> str:
    """A change of the set-up, and what the interval narrows to by it.

    >>> helping_step("a better pad (return loss 32.3 dB) in place of 'pad'", 1.42, 2.76)
    "Next: a better pad (VSWR 1.05) in place of 'pad'; that gives 1.42 to 2.76."
    """
    ends = between(low, high)
    what = RETURN_LOSS.sub(lambda part: limit(_ratio(float(part[1]))), what)
    brief = DETAIL.split(what, maxsplit=1)[0]
    bare = brief.partition(" in place of ")[0]
    *plain, least = gives
    return fitted(
        *(f"Next: {text}; {word} {ends}." for text in (what, brief, bare) for word in plain),
        *(f"Next: {text}; {least} {ends}." for text in (what, brief)),
        f"Next: {what}.",
        f"Next: {brief}.",
    )


def _ratio(loss_db: float) -> float:
    return float(ratio_of(magnitude_from_return_loss(loss_db)))
