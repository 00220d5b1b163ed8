"""Names for what ripples: a delay between two reflections becomes a length, an item of the set-up, or a surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from chain.echoes.detect import Found, FoundReflection
from chain.echoes.locate import Fitting, Stretch, fitting
from chain.echoes.records import Component, Length
from chain.reflection import return_loss_db, vswr
from library.formulas import LIGHT_M_PER_S
from library.frozen import dataclass

AIR = (1.0, "air")
MATERIALS = ((0.66, "solid polyethylene"), (0.82, "foamed polyethylene"), AIR)
"""Usual velocity factors, where no set-up names others."""
COARSE = 0.48
"""Turns from point to point beyond which a ripple may as well be a longer one folded back."""
RESOLUTION = 0.7
"""Periods within which a delay agrees with the sum or difference of two others."""
ROOM = 2.0
"""A reflection of reflections is the product of them; room for what that leaves out."""
PLANE_PERIODS = 1.0
SEVERAL_MINIMA = 2
CERTAIN = 3.0
COVERING = 1.96
"""Standard uncertainties either way that a 95 % interval spans."""
OWN_DELAY_S, OWN_TURN = 1e-9, 0.075
"""What an antenna's own way adds on the average, there and back: from none to 2 ns, to 0.15 of a ripple over the sweep at most;
practice. Without phase it passes for length: the interval of a lead lies so much below the length that is seen."""
BRAID_FACTORS = (0.93, 1.0)
"""Velocity factors of a wave on the outside of a jacketed lead; practice."""


@dataclass(frozen=True)
class Place:
    """What lengths count from: `main_s`, there and back from the plane; and the stretches and velocity factors there are.

    `gain` is how much of a reflection at the antenna the reading shows; `antenna_s` where the antenna is, to `slack_s`.
    """

    stretches: tuple[Stretch, ...]
    materials: tuple[tuple[float, str], ...]
    main_s: float
    counted_from: str
    gain: float = 1.0
    antenna_s: float = 0.0
    slack_s: float = 0.0


def components_of(found: Found, place: Place) -> tuple[Component, ...]:
    """Components of a sweep, with lengths and names (length = c vf delay/2)."""
    out: list[Component] = []
    for echo in (_at_plane(each, found) for each in found.echoes):
        relative = echo.delay_s - place.main_s if found.has_phase else echo.delay_s
        if relative == 0:
            continue
        uncertainty = (echo.delay_u_s**2 + found.main.delay_u_s**2) ** 0.5
        out.append(_component(found, place, FoundReflection(relative, uncertainty, echo.size), found.main.size))
    out = [_named(each, out, found) for each in out]
    out.sort(key=lambda each: each.kind != "echo")
    at_plane = any(abs(echo.delay_s) * found.span_hz < PLANE_PERIODS for echo in found.echoes)
    if found.resolved and not at_plane:
        out.append(_turn(found, place))
    return tuple(out)


def _at_plane(echo: FoundReflection, found: Found) -> FoundReflection:
    """What lies at the calibration plane as nearly as the sweep can resolve lies there: its place needs no measuring."""
    if found.resolved and abs(echo.delay_s) < CERTAIN * echo.delay_u_s:
        return replace(echo, delay_s=0.0, delay_u_s=0.0)
    return echo


def _lengths(place: Place, delay_s: float, uncertainty_s: float) -> tuple[Length, ...]:
    half = LIGHT_M_PER_S / 2
    return tuple(
        Length(factor, material, half * factor * abs(delay_s), half * factor * uncertainty_s)
        for factor, material in place.materials
    )


def _component(found: Found, place: Place, echo: FoundReflection, against: float) -> Component:
    delay, uncertainty = echo.delay_s, echo.delay_u_s
    order = "unknown" if not found.has_phase else "behind" if delay > 0 else "before"
    turns = abs(delay) * found.step_hz
    ahead = delay + place.main_s - place.antenna_s if found.has_phase and place.stretches else 0.0
    fits: tuple[Fitting, ...] = ()
    if ahead <= place.slack_s:
        at_antenna = found.has_phase and place.counted_from == "antenna"
        sweep = (found.span_hz, found.step_hz, found.has_phase)
        fits = fitting(place.stretches, abs(delay), uncertainty, sweep, at_antenna)
    lengths = _lengths(place, delay, uncertainty)
    chosen = _chosen(place, lengths, fits, abs(delay), uncertainty)
    own = 0.0 if found.has_phase else min(OWN_DELAY_S, OWN_TURN / found.span_hz)
    middle_m = chosen.length_m - LIGHT_M_PER_S / 2 * chosen.velocity_factor * own
    folded = bool(fits) and fits[0].folded
    braid = "" if fits else _braid(place, abs(delay), uncertainty)
    small, large = sorted((echo.size, against))
    outside = ahead > place.slack_s or (not found.has_phase and not fits)
    return Component(
        kind="echo",
        spacing_hz=1 / abs(delay),
        spacing_u_hz=uncertainty / delay**2,
        length_m=chosen.length_m,
        length_u_m=chosen.length_u_m,
        velocity_factor=chosen.velocity_factor,
        reflection=small,
        against=large,
        return_loss_db=float(return_loss_db(small)),
        low_vswr=float(vswr(large - small)),
        high_vswr=float(vswr(large + small)),
        far_reflection=small / place.gain if place.stretches and outside else None,
        delay_s=abs(delay),
        delay_u_s=uncertainty,
        order=order,
        periods=abs(delay) * found.span_hz,
        points_per_ripple=1 / turns,
        resolved=turns <= COARSE and not folded,
        lengths=lengths,
        matches=fits[0].stretch.items if fits else (),
        explanation=_explained(place, lengths, fits, braid, (ahead, order, turns)),
        length_low_m=max(middle_m - COVERING * chosen.length_u_m, 0.0),
        length_high_m=middle_m + COVERING * chosen.length_u_m,
        suspect=braid,
    )


def _chosen(
    place: Place, lengths: Sequence[Length], fits: Sequence[Fitting], delay_s: float, uncertainty_s: float
) -> Length:
    """Length at the velocity factor of what it matches; in air where a set-up has nothing so long; else the first."""
    if fits and not fits[0].folded:
        factor = fits[0].stretch.velocity_factor
        half = LIGHT_M_PER_S / 2 * factor
        return Length(factor, fits[0].stretch.words, half * delay_s, half * uncertainty_s)
    return lengths[-1] if place.stretches else lengths[0]


def _braid(place: Place, delay_s: float, uncertainty_s: float) -> str:
    """The lead whose outside a wave at about the speed of light would run along in this time, if there is one."""
    for each in place.stretches:
        outside = 2 * each.lead_m / (LIGHT_M_PER_S * delay_s) if each.lead_m else 0.0
        room = COVERING * uncertainty_s / delay_s
        if BRAID_FACTORS[0] - room <= outside <= BRAID_FACTORS[1] + room:
            return each.words
    return ""


def _more(place: Place, delay_s: float) -> str:
    """The longest way of the list that is shorter, and what is to be added to it."""
    shorter = [each for each in place.stretches if each.delay_s < delay_s]
    if not shorter:
        return ""
    longest = max(shorter, key=lambda each: (each.delay_s, -len(each.items)))
    more = LIGHT_M_PER_S / 2 * (delay_s - longest.delay_s)
    lead = (
        "" if place.materials[0] == AIR else f" ({_metres(more * place.materials[0][0])} m of {place.materials[0][1]})"
    )
    return f"{longest.words} + {_metres(more)} m more in air{lead}"


def _explained(
    place: Place, lengths: Sequence[Length], fits: Sequence[Fitting], braid: str, seen: tuple[float, str, float]
) -> str:
    ahead, order, turns = seen
    air = lengths[-1].length_m
    if turns > COARSE and not (fits and fits[0].folded):
        return "it may as well be a longer way that the coarse step shows as a short one; halve the step"
    if fits:
        return _fitted_words(fits)
    if place.stretches:
        return _unfitted(place, lengths, braid, ahead, order)
    lines = [f"{_metres(each.length_m)} m of {each.material}" for each in lengths[:-1]]
    if order == "before":
        return " or ".join(lines)
    return f"{', '.join(lines)}, or {_metres(air)} m of air in front of the antenna"


def _unfitted(place: Place, lengths: Sequence[Length], braid: str, ahead: float, order: str) -> str:
    """What a way may be that is as long as none of the list."""
    if braid:
        return (
            f"as long as the outside of {braid}, at about the speed of light: current on its braid? Hold the lead in a hand, "
            "or put a choke on it: if the dips move, it is that"
        )
    if ahead > place.slack_s:
        return f"{_metres(LIGHT_M_PER_S / 2 * ahead)} m of air in front of the antenna; no item is that long"
    if order != "unknown":
        return f"inside the chain, but no joint of your list lies {_metres(lengths[0].length_m)} m away"
    air = lengths[-1].length_m
    more = _more(place, 2 * air / LIGHT_M_PER_S)
    longer = f"{more}, or " if more else ""
    return f"{longer}{_metres(air)} m of air in front of the antenna; no item is that long"


def _fitted_words(fits: Sequence[Fitting]) -> str:
    stretch = fits[0].stretch
    if fits[0].folded:
        return f"likely {stretch.words} ({_metres(stretch.length_m)} m), too long for this step; halve the step"
    where = f"from {stretch.near} to {'the antenna' if stretch.to_antenna else stretch.far}"
    # A longer stretch that only adds what takes no time is no other answer.
    others = [
        each.stretch.words for each in fits[1:] if not each.folded and not set(stretch.items) <= set(each.stretch.items)
    ]
    also = f"; or {others[0]}" if others else ""
    return f"as long as {stretch.words} ({_metres(stretch.length_m)} m), {where}{also}"


def _metres(length_m: float) -> str:
    return f"{length_m:.2f}" if length_m < 10 else f"{length_m:.1f}"


def _named(made: Component, all_of_them: Sequence[Component], found: Found) -> Component:
    """The component, or what it follows from: two ways together, or one travelled twice."""
    others = [each for each in all_of_them if each is not made]
    for i, one in enumerate(others):
        for other in others[i + 1 :]:
            weaker = not found.has_phase or made.reflection < ROOM * one.reflection * other.reflection
            ways = [one.delay_s + other.delay_s]
            if found.has_phase:
                ways = [_signed(one) + _signed(other), _signed(one) - _signed(other)]
            if weaker and any(_agree(made, way, found) for way in ways):
                pair = " and ".join(f"{megahertz(each.spacing_hz)}" for each in (one, other))
                return replace(made, kind="beat", matches=(), explanation=f"the {pair} MHz ripples together")
        ways = [2 * _signed(one), -_signed(one)] if found.has_phase else [2 * one.delay_s]
        weaker = made.reflection < ROOM * one.reflection * made.against**2
        if weaker and any(_agree(made, way, found) for way in ways):
            text = f"second round trip of the {megahertz(one.spacing_hz)} MHz ripple"
            return replace(made, kind="repeat", matches=(), explanation=text)
    return made


def _signed(each: Component) -> float:
    return -each.delay_s if each.order == "before" else each.delay_s


def _agree(made: Component, delay_s: float, found: Found) -> bool:
    """Whether a component lies at a delay, or where the sweep's step folds that to."""
    near = RESOLUTION / found.span_hz + made.delay_u_s
    signs = (1,) if found.has_phase else (1, -1)
    off = [(_signed(made) - sign * delay_s) * found.step_hz for sign in signs]
    return min(abs(each - round(each)) for each in off) < near * found.step_hz


def _turn(found: Found, place: Place) -> Component:
    """The whole reflection away from the plane: R and X go round once a spacing, the VSWR does not."""
    whole = replace(place, main_s=0.0, counted_from="plane")
    made = _component(found, whole, replace(found.main, size=found.main.size), found.main.size)
    words = f"where the reflection itself lies: {made.explanation}" if made.explanation else ""
    return replace(made, kind="turn", explanation=words)


def sentence_of(verdict: str, components: Sequence[Component], found: Found, place: Place) -> str:
    """The verdict as a sentence or two."""
    if verdict == "ripple":
        first = next(each for each in components if each.resolved and each.kind == "echo")
        text = f"Ripple every {megahertz(first.spacing_hz)} MHz: {first.explanation}."
        return text.replace("?.", "?")
    if verdict == "too coarse":
        return (
            f"Cannot tell: each dip has only {components[0].points_per_ripple:.1f} points; {components[0].explanation}."
        )
    short = ", ".join(
        f"{_metres(LIGHT_M_PER_S * factor / (2 * found.widest_hz))} m of {name}" for factor, name in place.materials
    )
    if verdict == "too narrow" and found.minima >= SEVERAL_MINIMA:
        return (
            f"No length found: the trace dips {found.minima} times, but no more evenly than an antenna does. "
            f"Sweep wider{'' if found.has_phase else ', or with phase'}."
        )
    if verdict == "too narrow":
        return (
            "No periodic ripple: the trace changes as slowly as an antenna does by itself. "
            f"Lengths below {short} need a wider sweep."
        )
    return (
        f"No periodic ripple: nothing repeats every {megahertz(found.narrowest_hz)} to {megahertz(found.widest_hz)} MHz above the "
        "noise."
    )


def megahertz(freq_hz: float) -> str:
    """Frequency in MHz, four digits at most."""
    return f"{freq_hz / 1e6:.4g}" if freq_hz < 100e6 else f"{freq_hz / 1e6:.0f}"
