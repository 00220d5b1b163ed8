"""Linear propagation of uncertainty: standard uncertainties of a recovered reflection from exact sensitivities.

The second of three answers to "how sure", quick and additive, which is what a ranking of the unknowns needs. It holds for
small spreads only. Where it does not, `valid` is false with a reason, and `interval` gives nothing: the coverage
interval of `chain.uncertainty.intervals` is the answer there.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chain.arrays import Complex, Real
from chain.results import SCHEMA_VERSION, plain_values
from chain.rf.twoport import Maps, inverse, through
from chain.uncertainty.calibration import Standards, assumed_reflections, solve, standard_terms
from chain.uncertainty.measurement import Measurement, nominal_maps
from chain.uncertainty.sensitivity import Term, circle_sd, element_terms, expected, rematch_term, seen_and_slope
from library.frozen import dataclass

NEAR_ZERO = 3.0
"""Least distance of a reflection from zero, in standard uncertainties, at which its magnitude is still nearly linear."""

NEAR_ONE = 2.0
"""Least distance of a magnitude from a full reflection, in standard uncertainties."""

CURVED = 0.2
"""Largest second-order part, as a share of the standard uncertainty of the magnitude."""


@dataclass(frozen=True)
class Contribution:
    """One unknown's part of the uncertainty. Standard uncertainties over frequency; `share` is of the variance, over the band."""

    id: str
    share: float
    u_real: Real
    u_imag: Real
    u_magnitude: Real


@dataclass(frozen=True)
class Linear:
    """Standard uncertainty of a recovered reflection whose true value is `true_reflection`, in `far_ohm` at the antenna.

    `recovered` is what comes out with every unknown at its expectation; it differs from the true value where ranges are
    lopsided. `covariance` has shape (frequencies, 2, 2): real part, imaginary part.
    """

    freq_hz: Real
    far_ohm: float
    true_reflection: Complex
    recovered: Complex
    covariance: Real
    u_real: Real
    u_imag: Real
    u_magnitude: Real
    contributions: tuple[Contribution, ...]
    valid: NDArray[np.bool_]
    reasons: tuple[str, ...]
    """Why it is not valid, one text per frequency; empty where it is."""

    def interval(self, factor: float = 1.96) -> tuple[Real, Real]:
        """Ends of the magnitude `factor` standard uncertainties either way; NaN where linear propagation is not valid."""
        middle, half = np.abs(self.true_reflection), factor * self.u_magnitude
        return np.where(self.valid, middle - half, np.nan), np.where(self.valid, middle + half, np.nan)

    def to_dict(self) -> dict[str, object]:
        """Plain values; the interval's ends are null where linear propagation is not valid."""
        low, high = self.interval()
        own = {**vars(self), "contributions": [vars(each) for each in self.contributions]}
        ends = {"magnitude_low": low, "magnitude_high": high}
        return plain_values({"schema_version": SCHEMA_VERSION, **own, **ends})  # type: ignore[return-value]


def linear(measurement: Measurement, far_reflection: ArrayLike) -> Linear:
    """Propagate the unknowns of a measurement to the reflection it recovers.

    Source: JCGM 100:2008, 5.1.2, for complex quantities: covariance = sum of J C J^T (memory). Sensitivities:
    `chain.uncertainty.sensitivity`.
    """
    true = np.array(np.broadcast_to(np.asarray(far_reflection, dtype=complex), measurement.freq_hz.shape))
    known = nominal_maps(measurement)
    seen, slope, terms = _seen(measurement, true)
    reading, more = _read(measurement, seen, slope, terms)
    recovered = known.recovered(reading)[0]
    # Undone by the nominal map, as the user's reading is, wherever the expectations lie.
    back = _derivative(inverse(known), reading)
    terms = [term.scaled(back) for term in more]
    power = sum((term.power for term in terms), np.zeros(true.shape))
    pseudo = sum((term.pseudo for term in terms), np.zeros(true.shape, dtype=complex))
    u_magnitude = _along(power, pseudo, recovered)
    reasons = _reasons(recovered, power, pseudo, u_magnitude, _second_order(terms, known, recovered, power))
    return Linear(
        measurement.freq_hz,
        measurement.far_ohm,
        true,
        recovered,
        _covariance(power, pseudo),
        *_axes(power, pseudo),
        u_magnitude,
        _contributions(terms, recovered),
        np.array([not reason for reason in reasons]),
        reasons,
    )


def _derivative(maps: Maps, at: Complex) -> Complex:
    slope: Complex = ((maps.p - maps.q * maps.r) / (maps.r * at + 1) ** 2)[0]
    return slope


def _seen(measurement: Measurement, far: Complex) -> tuple[Complex, Complex, list[Term]]:
    """Reflection at the plane, how much of a change at the antenna arrives there, and the effects of the elements after it."""
    found: list[tuple[list[Term], Complex]] = []
    for element in reversed(measurement.after):
        own = element_terms(element, far)
        far, step = seen_and_slope(element, far)
        found.append((own, step))
    # From the near end each effect is scaled once, by all that stands before it: in proportion to the elements, not their square.
    slope, terms = np.ones_like(far), []
    for own, step in reversed(found):
        terms += [term.scaled(slope) for term in own]
        slope = slope * step
    return far, slope, terms


def _read(measurement: Measurement, seen: Complex, slope: Complex, terms: list[Term]) -> tuple[Complex, list[Term]]:
    """The reading and every effect on it, calibration included."""
    if measurement.mating:
        terms = [*terms, rematch_term(measurement.mating, seen, measurement.mating_kind)]
    if measurement.standards is None:
        return seen, terms + _additive(measurement, np.ones_like(seen), ("noise", "drift"))
    box = through([expected(element).nominal()[None] for element in measurement.before], (1, measurement.freq_hz.size))
    terms = terms + _additive(measurement, 1 / _derivative(box, seen), ("noise", "drift"))
    if measurement.turn_rad.any():
        # The lead turns the raw reading, there and back; divided by the chain's slope it is an effect at the plane.
        turned = -2j * box.reading(seen)[0] / _derivative(box, seen)
        # Rectangular: half-width over sqrt 3 (JCGM 100, 4.3.7).
        sd = measurement.turn_rad / np.sqrt(3)
        terms.append(Term("flex", "lead moved", turned, np.zeros_like(seen), sd, True, np.ones(seen.shape)))
    at_plane, own, shared = _standards_seen(measurement, measurement.standards)
    weights = _drag(at_plane, seen)
    for place, weight, found in zip(at_plane, weights, own, strict=True):
        found = found + _additive(measurement, 1 / _derivative(box, place), ("noise",))
        if measurement.mating:
            found.append(rematch_term(measurement.mating, place, measurement.mating_kind))
        terms += [term.scaled(weight) for term in found]
    # One adapter stood before all three standards: its effects on them add before they are squared.
    for triple in zip(*shared, strict=True):
        parts = [term.scaled(weight) for term, weight in zip(triple, weights, strict=True)]
        plain, mirrored = sum(part.plain for part in parts), sum(part.mirrored for part in parts)
        terms.append(replace(triple[0], id="swap", plain=np.asarray(plain), mirrored=np.asarray(mirrored)))
    assumed = assumed_reflections(measurement.standards, measurement.freq_hz)
    correction = inverse(solve([place[None] for place in at_plane], assumed))
    return correction.reading(seen)[0], [term.scaled(_derivative(correction, seen)) for term in terms]


def _additive(measurement: Measurement, slope: Complex, names: Iterable[str]) -> list[Term]:
    """Noise and drift of a raw reading, referred to where they act."""
    sizes = {"noise": np.asarray(measurement.noise), "drift": circle_sd(measurement.drift, measurement.drift_kind)}
    zero = np.zeros_like(slope)
    return [Term(name, name, slope, zero, sizes[name], False, zero.real) for name in names if sizes[name]]


def _standards_seen(
    measurement: Measurement, standards: Standards
) -> tuple[list[Complex], list[list[Term]], list[list[Term]]]:
    """Open, short and load as they stand at the plane: expected reflections, own effects, effects of a swapped adapter."""
    at_plane: list[Complex] = []
    own: list[list[Term]] = []
    shared: list[list[Term]] = []
    for true, terms in standard_terms(standards, measurement.freq_hz):
        if measurement.swap is None:
            at_plane.append(true)
            own.append(list(terms))
            shared.append([])
            continue
        nominal = through([measurement.swap.nominal()[None]], (1, measurement.freq_hz.size))
        seen, slope = seen_and_slope(measurement.swap, true)
        undone = _derivative(inverse(nominal), seen)
        at_plane.append(nominal.recovered(seen)[0])
        own.append([term.scaled(slope * undone) for term in terms])
        shared.append([term.scaled(undone) for term in element_terms(measurement.swap, true)])
    return at_plane, own, shared


def _drag(at_plane: list[Complex], seen: Complex) -> list[Complex]:
    """How an error of each standard moves what is seen: in full and backwards at that standard, not at all at the others."""
    weights = []
    for index, place in enumerate(at_plane):
        first, second = (value for other, value in enumerate(at_plane) if other != index)
        # Lagrange's polynomials over the three standards: to first order a
        # bilinear map changes by a quadratic in x, which three points fix.
        weights.append(-(seen - first) * (seen - second) / ((place - first) * (place - second)))
    return weights


def _covariance(power: Real, pseudo: Complex) -> Real:
    """From the mean squares of |e| and of e to the covariance matrix of real and imaginary part."""
    rows = [[power + pseudo.real, pseudo.imag], [pseudo.imag, power - pseudo.real]]
    return np.asarray(np.moveaxis(np.array(rows), (0, 1), (-2, -1)) / 2)


def _axes(power: Real, pseudo: Complex) -> tuple[Real, Real]:
    """Standard uncertainties of real and imaginary part."""
    return np.sqrt(np.maximum(power + pseudo.real, 0) / 2), np.sqrt(np.maximum(power - pseudo.real, 0) / 2)


def _along(power: Real, pseudo: Complex, direction: Complex) -> Real:
    """Standard uncertainty along a direction; along the widest axis where the direction is undefined."""
    size, circular = np.abs(direction), np.abs(pseudo)
    # The long axis of the ellipse of errors stands at half the argument of E e^2.
    widest = np.sqrt(pseudo / np.where(circular > 0, circular, 1))
    unit = np.where(size > 0, direction / np.where(size > 0, size, 1), widest)
    return np.asarray(np.sqrt(np.maximum(power + (pseudo * np.conj(unit) ** 2).real, 0) / 2))


def _contributions(terms: list[Term], recovered: Complex) -> tuple[Contribution, ...]:
    """Terms gathered by what they belong to, largest share of the variance first."""
    total = sum(float(term.power.sum()) for term in terms)
    found = []
    for name in dict.fromkeys(term.id for term in terms):
        own = [term for term in terms if term.id == name]
        power = np.asarray(sum(term.power for term in own))
        pseudo = np.asarray(sum(term.pseudo for term in own))
        u_real, u_imag = _axes(power, pseudo)
        share = float(power.sum()) / (total or 1.0)
        found.append(Contribution(name, share, u_real, u_imag, _along(power, pseudo, recovered)))
    return tuple(sorted(found, key=lambda each: -each.share))


def _second_order(terms: list[Term], known: Maps, recovered: Complex, power: Real) -> Real:
    """Size of what the linear form leaves out: the curvature of each effect, and that of the map that undoes the chain."""
    own = sum((term.power * (term.curve * term.sd) ** 2 for term in terms), np.zeros(recovered.shape))
    # Half the second derivative of a bilinear map over its first.
    bend = np.abs(known.r / (known.r * recovered + 1))[0]
    return np.asarray(np.sqrt(own) + bend * power)


def _reasons(recovered: Complex, power: Real, pseudo: Complex, u_magnitude: Real, second: Real) -> tuple[str, ...]:
    widest = np.sqrt((power + np.abs(pseudo)) / 2)
    size = np.abs(recovered)
    rules = (
        (size < NEAR_ZERO * widest, f"the reflection is within {NEAR_ZERO:g} standard uncertainties of zero"),
        (
            size + NEAR_ONE * u_magnitude > 1,
            f"the reflection is within {NEAR_ONE:g} standard uncertainties of a full one",
        ),
        (
            second > CURVED * u_magnitude,
            "the unknowns are too large for a linear form: second-order parts are not small",
        ),
    )
    return tuple("; ".join(text for broken, text in rules if broken[index]) for index in range(size.size))
