"""Readings of the analyzer as people type them: a figure and where it was read."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import replace
from decimal import Decimal
from difflib import get_close_matches
from types import MappingProxyType

from chain.errors import UnitError, plain, quoted
from chain.units import KINDS, LOSS, NUMBER, RATIO, SPELLINGS, parse_quantity, ratio_of
from library.frozen import dataclass

ENDLESS = re.compile(r"(?:inf|infinity|infinite|open|\u221e)", re.IGNORECASE)
IN_DB = re.compile(r"\bd\s*b\b|\brl|return|[0-9]\s*db\b|s11", re.IGNORECASE)
"""Whether whoever wrote a reading thinks in return loss."""
BEYOND = re.compile(
    rf"(vswr|swr|rl|return loss|\|?s11\|?)?\s*(?:(>=?|<=?|\u2265|\u2264|above|over|below|under|more than|less than)\s*"
    rf"({NUMBER.pattern})\s*(dB)?|off(?: the)?[ -]?scale|over ?range|overflow|o\.?l\.?|-{{2,}})(?:\s*:\s*1)?",
    re.IGNORECASE,
)
"""What a screen shows where a reading lies beyond its scale."""
Channels = Mapping[str, tuple[float, float]]
HERTZ = rf"{NUMBER.pattern}\s*[kMG]?Hz"
CHANNEL = r"(?:(?:channel|chan|ch|kanal|canale|canal|uhf|vhf)(?:\b\.?\s*|(?=[0-9]))|[eck](?=[0-9]{1,2}\b))\S+"
JOINED = re.compile(r"\s+(?:at|on)\s+|\s*@\s*", re.IGNORECASE)
BEHIND = re.compile(rf"(.*\S)[\s,;]+({HERTZ}|{CHANNEL})", re.IGNORECASE)
AHEAD = re.compile(rf"({HERTZ}|{CHANNEL}(?<![:,;]))\s*[:,;]?\s+(\S.*)", re.IGNORECASE)
COMMA = re.compile(r"(?<![0-9.])([0-9]+),([0-9]+)(?![0-9]*[.,][0-9])")


@dataclass(frozen=True)
class Reading:
    """One figure read off the screen, and where: `vswr`, `return_loss` (positive dB), `complex` (a reflection) or `ohm`.

    `half_step` is half a step of the last digit, in the unit of the value; for a pair, of either part.
    """

    kind: str
    value: float | complex
    freq_hz: float
    half_step: float = 0.0
    by_channel: bool = False
    """The place was named as a channel."""


def is_return_loss_reading(text: str) -> bool:
    """Whether a reading of the screen is written as a return loss."""
    return bool(LOSS.match(text.strip()))


def parse_reading(text: str, channels: Channels = MappingProxyType({}), shows_db: bool = False) -> Reading:
    """Reading of the analyzer written as one text; `channels` gives the edges [Hz] of those that may be named instead.

    On a screen that `shows_db` a bare number may be either: it is asked back, and one in dB is a return loss.
    """
    figure, where = _figure_and_place(text, channels, shows_db)
    beyond = BEYOND.fullmatch(figure)
    if beyond:
        raise _bound(figure, beyond, where, shows_db)
    if ENDLESS.fullmatch(figure) and not shows_db:  # a return loss without end is a perfect match
        figure = f"VSWR {figure}"
    found = _read(figure, where, frequency_of(where, channels), shows_db)
    return replace(found, by_channel=bool(re.fullmatch(CHANNEL, where, re.IGNORECASE)))


def figure_read(figure: str) -> Reading:
    """Reading of a figure alone, its frequency left at zero."""
    return _read(figure, "", 0.0, False)


def placed_figure(text: str, channels: Channels) -> tuple[str, float | None]:
    """A figure, and the frequency that stands with it [Hz], if any."""
    words = COMMA.sub(point_for_comma, text.translate(SPELLINGS).strip())
    if len(JOINED.split(words)) == 1 and not BEHIND.fullmatch(words) and not AHEAD.fullmatch(words):
        return text, None
    figure, where = _figure_and_place(text, channels)
    return figure, frequency_of(where, channels)


def _read(figure: str, where: str, freq_hz: float, shows_db: bool) -> Reading:
    """Reading of a figure at a frequency."""
    ratio, loss = RATIO.fullmatch(figure), LOSS.fullmatch(figure)
    if ratio:
        if ENDLESS.fullmatch(ratio[1]):
            return Reading("vswr", math.inf, freq_hz)
        return Reading("vswr", parse_quantity(f"VSWR {ratio[1]}", "vswr"), freq_hz, _half_step(ratio[1]))
    polar = POLAR.fullmatch(figure)
    if polar:
        return _polar(figure, polar, freq_hz)
    if loss:
        return Reading("return_loss", parse_quantity(f"RL {loss[1]}", "return_loss"), freq_hz, _half_step(loss[1]))
    if NUMBER.fullmatch(re.sub(r"\s*:\s*1$", "", figure)):
        if shows_db and NUMBER.fullmatch(figure):
            raise either_kind(figure)
        return Reading("vswr", _bare_ratio(figure), freq_hz, _half_step(figure))
    if re.fullmatch(rf"{NUMBER.pattern}\s*dB", figure, re.IGNORECASE):
        if shows_db:
            return _read(f"RL {figure.lstrip('-+')}", where, freq_hz, shows_db)
        raise UnitError(f"{quoted(figure)}: of what?", f"write 'RL {figure.lstrip('-+')}' if it is a return loss")
    if re.fullmatch(rf"\|\s*z\s*\|.*|z\s*[:=]?\s*{NUMBER.pattern}\s*(?:ohms?)?", figure, re.IGNORECASE):
        raise UnitError(
            f"{quoted(figure)}: the size of an impedance alone does not tell a reflection",
            "read its R and X, or its angle, too, and write it as in 'R 68 X -12' or '|Z| 70 angle -10 deg'",
        )
    return _pair(figure, freq_hz)


def _bound(figure: str, found: re.Match[str], where: str, shows_db: bool) -> UnitError:
    """The error of a screen that only says beyond which figure a reading lies.

    The figure itself is a reading, and bounds the antenna on one side: what reads more than another one is no better.
    """
    kind, sign, number, unit = found.groups()
    in_db = bool(unit) or (kind or "").casefold().startswith(("r", "s", "|")) or (shows_db and not kind)
    if number is None:
        last = "RL 1 dB" if in_db or shows_db else "VSWR 10"
        remedy = f"write the last figure of its scale, as in '{last} at {plain(where)}': of the interval only the {{}} end then holds"
        return UnitError(f"{quoted(figure)} is a bound, and no reading", remedy.format("better"))
    above = sign.casefold() in (">", ">=", "\u2265", "above", "over", "more than")
    end = "better" if above != in_db else "worse"
    last = f"RL {number} dB" if in_db else f"VSWR {number}"
    remedy = f"write '{last} at {plain(where)}': of the interval only the {end} end then holds"
    return UnitError(f"{quoted(figure)} is a bound, and no reading", remedy)


def either_kind(figure: str) -> UnitError:
    """The error of a bare number where the screen shows return loss."""
    return UnitError(
        f"{quoted(figure)}: VSWR or return loss?", f"write 'RL {figure.lstrip('-+')} dB' or 'VSWR {figure}'"
    )


def _figure_and_place(text: str, channels: Channels, shows_db: bool = False) -> tuple[str, str]:
    """What was read, and where: joined by `at`, `on` or `@`, or the one behind the other."""
    words = COMMA.sub(point_for_comma, text.translate(SPELLINGS).strip())
    parts = JOINED.split(words)
    if len(parts) > len(("figure", "place")):
        raise UnitError(f"reading {quoted(text)} names more than one frequency", "give each reading by itself")
    if len(parts) > 1:
        return parts[0], parts[1]
    behind, ahead = BEHIND.fullmatch(words), AHEAD.fullmatch(words)
    if behind:
        return behind[1], behind[2]
    if ahead:
        return ahead[2], ahead[1]
    figure = words if re.search("[0-9]", words) else _sample(words)
    first, _, rest = words.partition(" ")
    two = bool(NUMBER.fullmatch(first) and NUMBER.fullmatch(rest))
    figure = rest if two else figure
    if shows_db and NUMBER.fullmatch(figure):
        # A bare number would be asked back on such a screen.
        figure = f"RL {figure} dB"
    if two and (first in channels or not channels):
        where = f"on channel {first}" if channels else f"at {first} MHz"
        raise UnitError(f"reading {quoted(text)} names no frequency", f"write '{figure} {where}' if that is meant")
    named = "".join(f" or '{plain(figure)} on channel {name}'" for name in list(channels)[:1])
    raise UnitError(f"reading {quoted(text)} names no frequency", f"write it as in '{plain(figure)} at 210 MHz'{named}")


def _sample(words: str) -> str:
    """A reading in the unit of what was written."""
    return "RL 17.7 dB" if IN_DB.search(words) else "VSWR 1.30"


def point_for_comma(found: re.Match[str]) -> str:
    """A decimal comma as a point; before three digits it might part thousands, and is asked back."""
    whole, part = found.groups()
    if len(part) == len("000") and whole != "0":
        either = f"write {quoted(f'{whole}.{part}')} or {quoted(whole + part)}"
        raise UnitError(f"{quoted(found[0])}: thousands, or decimals?", either)
    return f"{whole}.{part}"


def _bare_ratio(figure: str) -> float:
    number = float(NUMBER.match(figure)[0])  # type: ignore[index]
    if 0 < number < 1:
        raise UnitError(
            f"{quoted(figure)} is below 1, and no VSWR",
            f"if it is the size of a reflection write 'RL {-20 * math.log10(number):.1f} dB'",
        )
    return ratio_of(figure, figure, KINDS["vswr"])


def frequency_of(where: str, channels: Channels) -> float:
    """Frequency of a reading [Hz]: a quantity, or the middle of a channel."""
    where = COMMA.sub(point_for_comma, where.translate(SPELLINGS).strip())
    if not re.fullmatch(CHANNEL, where, re.IGNORECASE):
        return parse_quantity(where, "frequency")
    from library.channels import listed, named_channel

    words = where.split()
    edges = channels.get(named_channel(where, channels) or words[-1].upper())
    if edges is not None:
        return sum(edges) / 2
    if not channels:
        raise UnitError(
            f"{quoted(where)}: channels of which region?",
            "state region and channels under [sweep], or write a frequency as in '210 MHz'",
        )
    raise UnitError(f"{quoted(where)} is none of the set-up's channels", f"it has {listed(channels)}")


def _half_step(figure: str) -> float:
    """Half a step of a figure's last digit, as it was typed."""
    found = NUMBER.search(figure)
    if not found:
        return 0.0
    exponent = Decimal(found.group()).as_tuple().exponent
    return 0.5 * 10.0**exponent if isinstance(exponent, int) else 0.0


POLAR = re.compile(
    rf"(?P<of>\|?\s*(?:z|s11|gamma|\u0393)\s*\|?)?\s*[:=]?\s*(?P<size>{NUMBER.pattern})\s*(?P<ohm>ohms?)?\s*"
    rf"(?:,?\s*(?:angle|phase|\u2220)\s*[:=]?)\s*(?P<angle>{NUMBER.pattern})\s*(?:deg(?:rees?)?|\u00b0)?",
    re.IGNORECASE,
)


def _polar(figure: str, found: re.Match[str], freq_hz: float) -> Reading:
    """Reflection or impedance written as size and angle."""
    size, turn = float(found["size"]), math.radians(float(found["angle"]))
    is_ohm = bool(found["ohm"]) or "z" in (found["of"] or "").casefold()
    half_step = max(_half_step(found["size"]), size * math.radians(_half_step(found["angle"])))
    return _complex(figure, complex(size * math.cos(turn), size * math.sin(turn)), freq_hz, half_step, is_ohm)


def _pair(figure: str, freq_hz: float) -> Reading:
    """Reflection written as `a+bj`, or impedance as `a+bj ohm` or `R a X b`."""
    number = NUMBER.pattern
    named = re.match(r"\|?z\|?\s*[:=]?\s*", figure, re.IGNORECASE)
    ohms = re.sub(r"\s*ohms?\b", "", figure[named.end() if named else 0 :], flags=re.IGNORECASE)
    both = re.fullmatch(
        rf"R\s*[:=]?\s*({number})\s*[,;]?\s*X\s*[:=]?\s*([+-]?)\s*j?\s*({number})\s*j?", ohms, re.IGNORECASE
    )
    if both:
        tight = f"{both[1]}{both[2] or ('' if both[3][0] in '+-' else '+')}{both[3]}j"
    else:
        # The imaginary unit may stand first, as in 68-j12, and be written i.
        tight = re.sub(r"i(?![a-z])", "j", ohms.replace(" ", ""), flags=re.IGNORECASE)
        tight = re.sub(rf"([+-]?)j({number})$", r"\1\2j", tight, flags=re.IGNORECASE)
    is_ohm = bool(both or named) or ohms != figure
    known = rf"(?:{number})?(?:{number.replace('[+-]?', '[+-]', 1)})?j|{number}j" + (f"|{number}" if is_ohm else "")
    if not re.fullmatch(known, tight) or tight == "j":
        first, second = ("RL 17.7 dB", "VSWR 1.30") if IN_DB.search(figure) else ("VSWR 1.30", "RL 17.7 dB")
        remedy = f"write it as in '{first}', '{second}', '0.10-0.20j' or '68-12j ohm'"
        word = re.match(r"[a-z]+", figure, re.IGNORECASE)
        near = get_close_matches(word[0].upper(), ("VSWR", "SWR", "RL"), 1, 0.7) if word else []
        if word and near:
            remedy = f"did you mean {quoted(near[0] + figure[word.end() :])}?"
        raise UnitError(f"{quoted(figure)} is no reading", remedy)
    half_step = max(_half_step(each) for each in NUMBER.findall(tight))
    return _complex(figure, complex(tight), freq_hz, half_step, is_ohm)


def _complex(figure: str, value: complex, freq_hz: float, half_step: float, is_ohm: bool) -> Reading:
    if is_ohm:
        if value.real < -1e-9 * abs(value):
            raise UnitError(f"{quoted(figure)}: a resistance below zero", "nothing passive has one; check the sign")
        return Reading("ohm", value, freq_hz, half_step)
    if not abs(value) <= 1:
        raise UnitError(
            f"reflection {quoted(figure)} has magnitude {abs(value):.4g}",
            f"nothing passive reflects more than 1; if it is an impedance write '{figure} ohm'",
        )
    return Reading("complex", value, freq_hz, half_step)
