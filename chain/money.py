"""Prices as people write them, `6.50 EUR` or `0.80 EUR/m`, and as whole hundredths, so that sums are exact."""

from __future__ import annotations

import re
from dataclasses import dataclass

from chain.errors import UnitError, quoted

__all__ = ["Price", "money_text", "parse_price"]

DEAREST = 10**9
"""Highest price that is taken for one [units of currency]."""
CURRENCY = re.compile(r"[A-Z]{3}")
FORM = re.compile(r"([+-]?[0-9]+)(?:\.([0-9]*))?\s*([A-Z]{3})?\s*(/\s*m)?")
COMMA = re.compile(r"([+-]?[0-9]+),([0-9]+)(.*)")
EXAMPLE = 'write it as in "6.50 EUR"'


@dataclass(frozen=True)
class Price:
    """An amount in hundredths of a currency (its three-letter code, empty if not stated), for a piece or for a metre."""

    hundredths: int
    currency: str = ""
    per_metre: bool = False


def parse_price(text: str, currency: str | None = None) -> Price:
    """Read a price.

    Source: Currency codes: ISO 4217, three capital letters.
    """
    words = text.replace("\u00a0", " ").replace("\u2212", "-").strip()
    found = FORM.fullmatch(words)
    comma = COMMA.fullmatch(words)
    if comma:
        raise UnitError(f"decimal comma in {quoted(words)}", f"write {quoted('.'.join(comma.groups()[:2]) + comma[3])}")
    if not words or not found:
        raise UnitError(*(_no_price(words) if words else ("the price is missing", EXAMPLE)))
    whole, part, code, metre = found[1], found[2] or "", found[3] or "", bool(found[4])
    if len(part.rstrip("0")) > len("00"):
        raise UnitError(f"{quoted(words)} has parts of a hundredth", "round it to two decimals")
    if code and currency and code != currency:
        raise UnitError(f"{quoted(words)} is in {code}, and {currency} is stated beside it", "state the currency once")
    if not (code or currency) or (currency and not CURRENCY.fullmatch(currency)):
        what = f"{quoted(currency)} is no currency" if currency else f"{quoted(words)} names no currency"
        raise UnitError(what, f"write three capital letters, as in '{whole[:10]}.{part[:2]:0<2} EUR'")
    if whole.startswith("-") and (int(whole) or int(part or "0")):
        raise UnitError(f"{quoted(words)} is below zero", "a price is zero or more; what you own goes under [[have]]")
    hundredths = 100 * int(whole[:20]) + int((part + "00")[:2])
    if hundredths > 100 * DEAREST:
        raise UnitError(f"{quoted(words)} is more than anything here costs", EXAMPLE)
    return Price(hundredths, code or currency or "", metre)


def _no_price(words: str) -> tuple[str, str]:
    sign = re.fullmatch(r"([€$£])\s*([0-9.]+)|([0-9.]+)\s*([€$£])", words)
    if sign:
        code = {"€": "EUR", "$": "USD", "£": "GBP"}[sign[1] or sign[4]]
        return (
            f"{quoted(words)}: the sign of a currency may mean several",
            f"write '{sign[2] or sign[3]} {code}' if that is meant",
        )
    small = re.fullmatch(r"([0-9.]+)\s*([A-Za-z]{3})", words)
    if small:
        return f"{quoted(words)} is not a price", f"currencies are capitals: '{small[1]} {small[2].upper()}'"
    return f"{quoted(words)} is not a price", EXAMPLE


def money_text(hundredths: int, currency: str) -> str:
    """Amount as text."""
    return f"{hundredths // 100}.{hundredths % 100:02d} {currency}".strip()
