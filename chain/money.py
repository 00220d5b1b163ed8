"""Prices as people write them, `6.50 EUR` or `0.80 EUR/m`, and as whole hundredths, so that sums are exact."""

from __future__ import annotations

import re
from functools import lru_cache

from chain.errors import UnitError, quoted
from library.frozen import dataclass

DEAREST = 10**9
"""Highest price that is taken for one [units of currency]."""
THREE = 3
"""Digits in a group of thousands."""
CURRENCY = re.compile(r"[A-Z]{3}")
SIGNS = {"\u20ac": "EUR", "$": "USD", "\u00a3": "GBP"}
"""Signs of currencies; $ is taken for the most common of those that it may mean, and the price names it."""
AMOUNT = r"(?P<amount>[+-]?[0-9][0-9.,' ]*)"
CODE = r"(?P<code>[A-Za-z]{3}|[\u20ac$\u00a3])"
METRE = r"(?P<metre>\s*/\s*m)?"
FORMS = (
    re.compile(rf"{AMOUNT}\s*(?:{CODE})?{METRE}"),
    re.compile(rf"(?P<minus>-?){CODE}\s*{AMOUNT}{METRE}"),
)
PLAIN = re.compile(r"([0-9]{1,9})(?:\.([0-9]{1,2}))?")
"""What most prices of a table are, their currency in a column of its own."""
EXAMPLE = 'write it as in "6.50 EUR"'


@dataclass(frozen=True)
class Price:
    """An amount in hundredths of a currency (its three-letter code, empty if not stated), for a piece or for a metre."""

    hundredths: int
    currency: str = ""
    per_metre: bool = False


@lru_cache(maxsize=4096)
def parse_price(text: str, currency: str | None = None) -> Price:
    """Read a price: point or comma before the hundredths, the currency before or behind, as a code or a sign.

    Source: Currency codes: ISO 4217, three capital letters.
    """
    usual = PLAIN.fullmatch(text)
    if usual and currency and CURRENCY.fullmatch(currency):
        whole, part = usual.groups("")
        return Price(100 * int(whole) + int((part + "00")[:2]), currency)
    words = text.replace("\u00a0", " ").replace("\u202f", " ").replace("\u2212", "-").strip()
    found = next(filter(None, (form.fullmatch(words) for form in FORMS)), None)
    if not words or not found:
        raise UnitError(*((f"{quoted(words)} is not a price", EXAMPLE) if words else ("the price is missing", EXAMPLE)))
    whole, part = _values(found.groupdict().get("minus", "") + found["amount"].strip(), words, found["code"] or "")
    stated = SIGNS.get((currency or "").strip(), (currency or "").strip().upper())
    code, metre = SIGNS.get(found["code"] or "", (found["code"] or "").upper()), bool(found["metre"])
    if len(part.rstrip("0")) > len("00"):
        raise UnitError(f"{quoted(words)} has parts of a hundredth", "round it to two decimals")
    if code and stated and code != stated:
        raise UnitError(f"{quoted(words)} is in {code}, and {stated} is stated beside it", "state the currency once")
    if not (code or stated) or (stated and not CURRENCY.fullmatch(stated)):
        if currency:
            raise UnitError(f"{quoted(currency)} is no currency", "write three capital letters, as in 'EUR'")
        example = f"'{whole[:10]}.{part[:2]:0<2} EUR'"
        raise UnitError(f"{quoted(words)} names no currency", f"write three capital letters, as in {example}")
    if whole.startswith("-") and (int(whole) or int(part or "0")):
        raise UnitError(f"{quoted(words)} is below zero", "a price is zero or more; what you own goes under [[have]]")
    hundredths = 100 * int(whole[:20]) + int((part + "00")[:2])
    if hundredths > 100 * DEAREST:
        raise UnitError(f"{quoted(words)} is more than anything here costs", EXAMPLE)
    return Price(hundredths, code or stated, metre)


def _values(amount: str, words: str, code: str) -> tuple[str, str]:
    """Whole part and decimals of an amount. The last point or comma parts the decimals; what stands before parts thousands."""
    sign, digits = ("-", amount[1:]) if amount.startswith("-") else ("", amount.lstrip("+"))
    whole, mark, part = re.fullmatch(r"(.*?)(?:([.,])([^.,' ]*))?", digits).groups("")  # type: ignore[union-attr]
    groups = re.split(r"[.,' ]", whole)
    apart = set(re.findall(r"[.,' ]", whole))
    thousands = len(groups) > 1 and all(len(each) == THREE for each in groups[1:]) and 0 < len(groups[0]) <= THREE
    if len(groups) > 1 and (not thousands or len(apart) > 1 or mark in apart):
        raise UnitError(f"{quoted(words)} is not a price", EXAMPLE)
    if mark == "," and len(part) == THREE and not apart:
        both = [" ".join(filter(None, (each, code))) for each in (f"{whole}.{part[:2]}", whole + part)]
        raise UnitError(f"{quoted(words)}: thousands, or decimals?", f"write {quoted(both[0])} or {quoted(both[1])}")
    return sign + "".join(groups), part


def money_text(hundredths: int, currency: str) -> str:
    """Amount as text."""
    return f"{hundredths // 100}.{hundredths % 100:02d} {currency}".strip()
