"""Two chains of an answer side by side, item by item: where the difference in cost, loss, reflection and interval comes from."""

from __future__ import annotations

from difflib import SequenceMatcher

from chain.errors import RangeError
from chain.results import SCHEMA_VERSION, plain_values
from chain.selection.choose import Choice, Chosen
from library.frozen import dataclass


@dataclass(frozen=True)
class ComparedStep:
    """One line of the comparison: what either chain has there (empty: nothing), and the second less the first."""

    first: str
    second: str
    cost: float
    loss_db: float
    reflection: float


@dataclass(frozen=True)
class ChainComparison:
    """Two chains compared. The differences of the steps add up to those of the chains."""

    first: Chosen
    second: Chosen
    steps: tuple[ComparedStep, ...]
    currency: str

    def to_dict(self) -> dict[str, object]:
        """Plain values."""
        chains = {"first": self.first.to_dict(), "second": self.second.to_dict()}
        steps = [vars(each) for each in self.steps]
        own = {"schema_version": SCHEMA_VERSION, "title": self.first.setup.title, "currency": self.currency}
        return plain_values({**own, **chains, "steps": steps})  # type: ignore[return-value]


def comparison(answer: Choice, first: int, second: int) -> ChainComparison:
    """Compare two chains of an answer.

    Source: Longest common run of items (`difflib`); the joints' own loss and reflection are one line.
    """
    chains = {each.number: each for each in answer.chains}
    for number in (first, second):
        if number not in chains:
            known = f"they are numbered 1 to {len(chains)}" if chains else "there is none"
            raise RangeError(f"the answer has no chain {number}", known)
    one, two = chains[first], chains[second]
    steps = []
    keys = [[(item.part, item.where) for item in each.items] for each in (one, two)]
    for _, start, stop, begin, end in SequenceMatcher(None, keys[0], keys[1], autojunk=False).get_opcodes():
        steps += _paired(one, range(start, stop), two, range(begin, end))
    left = [
        (two.loss_db - one.loss_db) - sum(step.loss_db for step in steps),
        (two.sum_reflection - one.sum_reflection) - sum(step.reflection for step in steps),
    ]
    joints = ComparedStep(f"{one.joints} joints", f"{two.joints} joints", 0.0, *left)
    return ChainComparison(one, two, (*steps, joints), answer.need.currency)


def _paired(one: Chosen, left: range, two: Chosen, right: range) -> list[ComparedStep]:
    found = []
    for place in range(max(len(left), len(right))):
        a = one.items[left[place]] if place < len(left) else None
        b = two.items[right[place]] if place < len(right) else None
        cost, loss, reflection = (
            (getattr(b, name) if b else 0.0) - (getattr(a, name) if a else 0.0)
            for name in ("cost", "loss_db", "reflection")
        )
        words = [f"{item.part}{', owned' if item.owned else ''}" if item else "" for item in (a, b)]
        found.append(ComparedStep(words[0], words[1], cost, loss, reflection))
    return found
