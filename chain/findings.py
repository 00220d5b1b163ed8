"""What a check has to say: one remark about one place of a set-up."""

from __future__ import annotations

from library.frozen import dataclass

LEVELS = ("stop", "caution", "note")
"""From "do not connect this" to "worth knowing"."""
REVERSED = "reversed"
"""Rule of a part the wrong way round."""


@dataclass(frozen=True)
class Finding:
    """One remark. `where` names the item or joint (`near` and `far` are the two outer ends; empty: the whole set-up).

    `rule` names the check that made it, for those who sort remarks by machine.
    """

    level: str
    where: str
    text: str
    remedy: str = ""
    rule: str = ""

    def to_dict(self) -> dict[str, str]:
        """The remark as plain values."""
        return {
            "level": self.level,
            "where": self.where,
            "text": self.text,
            "remedy": self.remedy,
            "rule": self.rule,
        }
