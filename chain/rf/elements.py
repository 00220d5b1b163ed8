"""The elements every part is made of, with their nominal behaviour and the size of what is not known of them.

A `Line` covers leads, adapters and matching sections; a `Box` any two-port given by its matrix and limits; a `Ladder` a
network of resistors. Nominal values, random trials, sensitivities and guaranteed bounds all start from these elements, so
there is one description of the unknowns. Reflection limits of whole parts become their radii here. `near_ohm` and `far_ohm`
are the real references of an element's own matrix; where those of neighbours differ, an ideal step stands between them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.setups import ShortLine
from library.formulas import LIGHT_M_PER_S, ladder_abcd
from library.frozen import dataclass
from library.records import Limit


@dataclass(frozen=True)
class Line:
    """A length of line, with one junction of unknown reflection at either end or one somewhere inside.

    Arrays run over frequency. A radius is the largest magnitude of that junction's reflection. `length_low` and
    `length_high` are factors on the nominal length, rectangular between them; `loss_tolerance` is relative.
    """

    id: str
    near_ohm: float
    far_ohm: float
    impedance_ohm: Complex
    loss_np: Real
    phase_rad: Real
    near_radius: Real | None = None
    far_radius: Real | None = None
    inside_radius: Real | None = None
    shape: str = "disc"
    loss_tolerance: float = 0.0
    length_low: float = 1.0
    length_high: float = 1.0
    impedance_tolerance_ohm: float = 0.0

    def nominal(self) -> Complex:
        """Matrix with every unknown at zero, shape (frequencies, 2, 2), referred to `near_ohm` and `far_ohm`."""
        return line_s(self.impedance_ohm, self.loss_np + 1j * self.phase_rad, self.near_ohm)

    def flipped(self) -> Line:
        """The same element the other way round."""
        return replace(self, near_radius=self.far_radius, far_radius=self.near_radius)

    def known(self) -> Line:
        """The same element without its unknowns."""
        return replace(
            self,
            near_radius=None,
            far_radius=None,
            inside_radius=None,
            loss_tolerance=0.0,
            length_low=1.0,
            length_high=1.0,
            impedance_tolerance_ohm=0.0,
        )


@dataclass(frozen=True)
class Box:
    """A two-port given by its matrix `s`, shape (frequencies, 2, 2), with discs of unknown reflection at its ends.

    `loss_tolerance_db` is the half-width of its loss (rectangular); `product_radius` the radius of a complex relative
    error of S12*S21, such as a tracking residual, and `product_shape` how it is spread. A part is `passive`; the error terms of
    an analyzer need not be.
    """

    id: str
    near_ohm: float
    far_ohm: float
    s: Complex
    near_radius: Real | None = None
    far_radius: Real | None = None
    shape: str = "disc"
    loss_tolerance_db: float = 0.0
    product_radius: Real | None = None
    passive: bool = True
    far_shape: str = ""
    """As `shape`, which is then of the near end; empty: alike."""
    product_shape: str = "disc"

    @property
    def shapes(self) -> tuple[str, str]:
        """How reflections are spread at the near and at the far end."""
        return self.shape, self.far_shape or self.shape

    def nominal(self) -> Complex:
        """Matrix with every unknown at zero, shape (frequencies, 2, 2), referred to `near_ohm` and `far_ohm`."""
        return self.s

    def flipped(self) -> Box:
        """The same element the other way round."""
        return replace(
            self,
            near_ohm=self.far_ohm,
            far_ohm=self.near_ohm,
            s=twoport.flip(self.s),
            near_radius=self.far_radius,
            far_radius=self.near_radius,
            shape=self.shapes[1],
            far_shape=self.shape if self.far_shape else "",
        )

    def known(self) -> Box:
        """The same element without its unknowns."""
        return replace(self, near_radius=None, far_radius=None, loss_tolerance_db=0.0, product_radius=None)


@dataclass(frozen=True)
class Branch:
    """What hangs on one port of a `Tee`: joined elements from the port outwards, and the reflection that ends them."""

    port: int
    elements: tuple[Element, ...]
    end: Complex
    end_radius: Real
    end_shape: str = "disc"


@dataclass(frozen=True)
class Tee(Box):
    """A two-port of more ports than two: the matrix of all, of which `path` are the near and the far one, and their branches.

    As a box it holds the nominal two-port and discs that no branch leaves; drawn, each branch is one chain of its own.
    """

    full: Complex = field(default_factory=lambda: np.zeros((0, 0, 0), dtype=complex))
    path: tuple[int, int] = (0, 1)
    port_radius: Real | None = None
    branches: tuple[Branch, ...] = ()

    def flipped(self) -> Tee:
        """The same element the other way round."""
        turned = super().flipped()
        assert isinstance(turned, Tee)
        return replace(turned, path=self.path[::-1])

    def known(self) -> Tee:
        """The same element without its unknowns."""
        plain = super().known()
        assert isinstance(plain, Tee)
        return replace(plain, branches=())


@dataclass(frozen=True)
class Ladder:
    """Resistors in series and in shunt, near to far, each within a relative tolerance (rectangular), with parasitics.

    `arms` holds ("series" or "shunt", ohm); an inductance lies in each arm, a capacitance across each series arm.
    """

    id: str
    near_ohm: float
    far_ohm: float
    arms: tuple[tuple[str, float], ...]
    freq_hz: Real
    tolerance: float = 0.0
    inductance_h: float = 0.0
    capacitance_f: float = 0.0

    def arm_ohm(self, index: int, resistance_ohm: NDArray[np.float64] | float | None = None) -> Complex:
        """Impedance of one arm over frequency, its resistance replaced if one is given [ohm]."""
        kind, nominal = self.arms[index]
        omega = 2 * np.pi * self.freq_hz
        resistance = nominal if resistance_ohm is None else resistance_ohm
        impedance = resistance + 1j * omega * self.inductance_h
        if kind == "series" and self.capacitance_f:
            # The end caps lie across the whole body of a resistor, its inductance included.
            impedance = impedance / (1 + 1j * omega * self.capacitance_f * impedance)
        return np.asarray(impedance, dtype=complex)

    def matrix(self, resistances_ohm: tuple[NDArray[np.float64] | float, ...]) -> Complex:
        """Matrix with the given resistances, one per arm, each broadcast against the frequencies."""
        arms = [self.arm_ohm(index, value) for index, value in enumerate(resistances_ohm)]
        # Chain matrices know no reference, so one network serves any two impedances at its ends.
        a, b, c, d = ladder_abcd((kind, arm) for (kind, _), arm in zip(self.arms, arms, strict=True))
        shape = np.broadcast_shapes(*[np.shape(arm) for arm in arms])
        abcd = twoport.empty(shape)
        abcd[..., 0, 0], abcd[..., 0, 1], abcd[..., 1, 0], abcd[..., 1, 1] = a, b, c, d
        return twoport.from_abcd(abcd, self.near_ohm, self.far_ohm)

    def nominal(self) -> Complex:
        """Matrix with every resistor at its nominal value, shape (frequencies, 2, 2)."""
        return self.matrix(tuple(value for _, value in self.arms))

    def flipped(self) -> Ladder:
        """The same network the other way round."""
        return replace(self, near_ohm=self.far_ohm, far_ohm=self.near_ohm, arms=self.arms[::-1])

    def known(self) -> Ladder:
        """The same network without its tolerance."""
        return replace(self, tolerance=0.0)


Element = Line | Box | Ladder
"""A `Tee` is a `Box`."""


def line_s(impedance_ohm: Complex, gamma_length: Complex, reference_ohm: float) -> Complex:
    """Matrix of a line of any impedance between equal real references.

    Source: D = 2 Z Zr cosh + (Z^2 + Zr^2) sinh; S21 = 2 Z Zr/D, S11 = (Z^2 - Zr^2) sinh/D, with sinh and cosh of
    gamma l.
    """
    shape = np.broadcast_shapes(np.shape(impedance_ohm), np.shape(gamma_length))
    out = twoport.empty(shape)
    # e^-2x keeps long lossy lines finite where sinh and cosh would overflow.
    once = np.exp(-np.asarray(gamma_length))
    twice = once * once
    # The far junction is the near one turned round, -rho: without
    # length the two cancel (1 - twice), and their bounces carry rho^2.
    rho = (impedance_ohm - reference_ohm) / (impedance_ohm + reference_ohm)
    down = 1 - rho * rho * twice
    out[..., 0, 0] = out[..., 1, 1] = rho * (1 - twice) / down
    out[..., 0, 1] = out[..., 1, 0] = once * (1 - rho * rho) / down
    return out


def at_frequencies(element: Element, chosen: slice | NDArray[np.intp]) -> Element:
    """The same element at some of its frequencies."""
    arrays: dict[str, Any] = {
        name: value[chosen] for name, value in vars(element).items() if isinstance(value, np.ndarray)
    }
    if isinstance(element, Tee):
        arrays["branches"] = tuple(
            replace(
                each,
                elements=tuple(at_frequencies(inner, chosen) for inner in each.elements),
                end=each.end[chosen],
                end_radius=each.end_radius[chosen],
            )
            for each in element.branches
        )
    return replace(element, **arrays)


def limit_radius(limit: Limit | None, freq_hz: Real) -> Real | None:
    """Largest reflection magnitude that a limit allows, over frequency; None where nothing is limited.

    Source: 10^(-RL/20); linear in dB between the points of a table.
    """
    if limit is None:
        return None
    # Outside a table its end values hold, for no better limit was stated there.
    # Straight in decibels, as data sheets draw it; straight in reflection would promise less than they do.
    loss_db = np.interp(freq_hz, limit.freq_hz, limit.return_loss_db)
    return np.asarray(10 ** (-loss_db / 20))


def limit_shape(limit: Limit | None, unlimited: str = "disc") -> str:
    """How magnitudes are spread within a limit (`library.records.MAGNITUDE_KINDS`)."""
    return limit.kind if limit else unlimited


def end_radius(whole: Real | None, loss_np: Real) -> Real | None:
    """Radius of each of two equal junctions at the ends of a lead, so that the whole lead keeps its limit.

    Source: |r1| + |r2| e^(-2 a l) <= L with |r1| = |r2|.
    """
    # Sizes are added, not powers: at some frequency of a sweep the two ends come back in phase.
    return None if whole is None else np.asarray(whole / (1 + np.exp(-2 * loss_np)))


def impedance_room_ohm(radius: Real | None, reference_ohm: float) -> float:
    """Largest departure of a lead's impedance that its reflection limit leaves room for [ohm].

    Source: |r| = d/(2 Z - d) for an impedance lower by d, which leaves less room than a higher one: d = 2 Z r/(1 + r).
    """
    if radius is None:
        return float(np.inf)
    # A lead has one impedance at all frequencies, so the strictest limit sets its room.
    least = float(radius.min())
    return 2 * reference_ohm * least / (1 + least)


WRONG_HALF_M = 0.010
WRONG_HALF_LOW, WRONG_HALF_HIGH = 0.7, 1.5
"""Electrical length of a connector half of the wrong impedance, and its range as factors (7 to 15 mm)."""


def aligned(elements: Sequence[Element], near_ohm: float, far_ohm: float, freq_hz: Real) -> tuple[Element, ...]:
    """Elements with an ideal step wherever the references of two neighbours differ.

    Source: Exact for real references: the star product of a step and a matrix is that matrix in the other reference.
    """
    out: list[Element] = []
    ohm = near_ohm
    for element in elements:
        if element.near_ohm != ohm:
            out.append(_step(ohm, element.near_ohm, freq_hz))
        out.append(element)
        ohm = element.far_ohm
    if ohm != far_ohm:
        out.append(_step(ohm, far_ohm, freq_hz))
    return tuple(out)


def _step(near_ohm: float, far_ohm: float, freq_hz: Real) -> Box:
    matrix = np.broadcast_to(twoport.step(near_ohm, far_ohm), (*freq_hz.shape, 2, 2))
    return Box("", near_ohm, far_ohm, matrix)


def nominal(elements: Sequence[Element], near_ohm: float, far_ohm: float, freq_hz: Real) -> Complex:
    """Two-port of joined elements with every unknown at zero (star product of the elements' own matrices)."""
    joined = aligned(elements, near_ohm, far_ohm, freq_hz)
    if not joined:
        through = twoport.empty(freq_hz.shape)
        through[...] = np.eye(2)[::-1]
        return through
    return twoport.cascade([element.nominal() for element in joined])


def section_lines(name: str, sections: Sequence[ShortLine], freq_hz: Real) -> tuple[Line, ...]:
    """Lossless lines of a connection whose connectors are of another impedance than the lines they join.

    Source: 10 mm electrical per wrong half, 7 to 15 mm (rectangular); an unmatched pair by its own section.
    """
    lines = []
    for ohm, length_m in sections:
        # Only the typical half is uncertain in length; a section stated for its very pair is not.
        half = length_m == WRONG_HALF_M
        lines.append(
            Line(
                name,
                ohm,
                ohm,
                np.full(freq_hz.shape, ohm, dtype=complex),
                np.zeros(freq_hz.shape),
                2 * np.pi * freq_hz * length_m / LIGHT_M_PER_S,
                length_low=WRONG_HALF_LOW if half else 1.0,
                length_high=WRONG_HALF_HIGH if half else 1.0,
            )
        )
    return tuple(lines)
