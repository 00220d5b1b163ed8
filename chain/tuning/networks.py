"""Matching networks to choose from, by family: from preferred values and cable off the drum, all members at once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from chain.arrays import Complex, Real
from chain.rf.network import network_s
from library.formulas import LIGHT_M_PER_S
from library.records import Coax, NetworkArm

E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
E24 = tuple(sorted((*E12, 1.1, 1.3, 1.6, 2.0, 2.4, 3.0, 3.6, 4.3, 5.1, 6.2, 7.5, 9.1)))
"""Preferred values of a decade; source: IEC 60063 (memory)."""
LEAST_OHM, MOST_OHM = 4.0, 1500.0
"""Reactances worth trying in the middle of the span; outside these a part does nothing or shuts the way."""
STEPS = 48
"""Lengths of line tried over half a wavelength."""
CAPACITOR_Q = 300.0
LENGTH_TOLERANCE = 0.01


@dataclass(frozen=True)
class Stock:
    """What networks may be made of: the preferred values, the tolerance of coils and capacitors, the Q of coils, cables."""

    values: tuple[float, ...] = E24
    tolerance: float = 0.05
    coil_q: float = 80.0
    cables: tuple[Coax, ...] = ()


@dataclass(frozen=True)
class NetworkFamily:
    """Networks of one shape: arms of unit value, and for each arm the values (lengths) of all members, (members, 1)."""

    name: str
    arms: tuple[NetworkArm, ...]
    factors: tuple[Real, ...]

    def matrices(self, freq_hz: Real, ohm: float) -> Complex:
        """Matrices of all members, shape (members, frequencies, 2, 2)."""
        return network_s(self.arms, freq_hz, ohm, ohm, self.factors)

    def member(self, index: int) -> tuple[NetworkArm, ...]:
        """Arms of one member with its values; lengths to the millimetre."""
        out = []
        for arm, factor in zip(self.arms, self.factors, strict=True):
            size = float(factor[index, 0])
            if arm.what == "line":
                out.append(replace(arm, length_m=round(size, 3)))
            else:
                out.append(replace(arm, value=float(f"{arm.value * size:.4g}")))
        return tuple(out)


def preferred(series: Sequence[float], least: float, most: float) -> Real:
    """Preferred values between two limits."""
    decades = range(int(np.floor(np.log10(least))), int(np.ceil(np.log10(most))) + 1)
    found = np.array([value * 10.0**decade for decade in decades for value in series])
    return found[(found >= least) & (found <= most)]


def families(stock: Stock, middle_hz: float, lead_ohm: float) -> Iterator[NetworkFamily]:
    """Every family: single parts, L sections, quarter-wave and series sections, stubs."""
    omega = 2 * np.pi * middle_hz
    sizes = {
        # X is w L and 1/(w C): a capacitor's reactance falls with its value, and the limits change places.
        "inductor": preferred(stock.values, LEAST_OHM / omega, MOST_OHM / omega),
        "capacitor": preferred(stock.values, 1 / (omega * MOST_OHM), 1 / (omega * LEAST_OHM)),
    }
    quality = {"inductor": stock.coil_q, "capacitor": CAPACITOR_Q}

    def lumped(way: str, what: str) -> NetworkArm:
        return NetworkArm(way, what, 1.0, stock.tolerance, quality[what])

    kinds = ("inductor", "capacitor")
    for way, what in product(("series", "shunt"), kinds):
        yield NetworkFamily("one part", (lumped(way, what),), (sizes[what][:, None],))
    # Either order: the shunt arm belongs beside the larger of the two resistances, and which that is the antenna decides.
    for ways in (("series", "shunt"), ("shunt", "series")):
        for one, two in product(kinds, kinds):
            yield NetworkFamily(
                "L section", (lumped(ways[0], one), lumped(ways[1], two)), _pairs(sizes[one], sizes[two])
            )
    for cable in stock.cables:
        yield from _lines(stock, cable, middle_hz, lead_ohm)


def _lines(stock: Stock, cable: Coax, middle_hz: float, lead_ohm: float) -> Iterator[NetworkFamily]:
    """A piece of one cable between antenna and lead, alone, behind a piece of the lead's own impedance, or as a stub there."""
    piece = _line(cable)
    own = [each for each in stock.cables if abs(each.impedance_ohm - lead_ohm) < 1]
    lengths = _lengths(cable, middle_hz)
    # A piece of the lead's own impedance turns the reflection, and alone makes it no smaller.
    if abs(cable.impedance_ohm - lead_ohm) >= 1:
        yield NetworkFamily("quarter wave", (piece,), (lengths[:, None],))
    for other in own[:1]:
        between = _lengths(other, middle_hz)
        if cable is not other and abs(cable.impedance_ohm - lead_ohm) >= 1:
            yield NetworkFamily("series section", (piece, _line(other)), _pairs(lengths, between))
        # A stub adds susceptance alone: it matches where the conductance is right, at the antenna or some way down the lead.
        for end in ("open", "short"):
            stub = replace(piece, way="shunt", end=end)
            yield NetworkFamily(f"{end} stub", (stub, _line(other)), _pairs(lengths, between))
            yield NetworkFamily(f"{end} stub", (stub,), (lengths[:, None],))


def _line(cable: Coax) -> NetworkArm:
    """A metre of a cable as an arm; a cable known by points is taken by its coefficients where it has some."""
    return NetworkArm(
        "series",
        "line",
        cable.impedance_ohm,
        LENGTH_TOLERANCE,
        0.0,
        1.0,
        cable.velocity_factor,
        cable.per_sqrt_mhz_db_per_100m,
        cable.per_mhz_db_per_100m,
    )


def _lengths(cable: Coax, middle_hz: float) -> Real:
    # Another half wavelength does the same again, with more loss.
    half = LIGHT_M_PER_S * cable.velocity_factor / middle_hz / 2
    return half * np.arange(1, STEPS) / STEPS


def _pairs(one: Real, two: Real) -> tuple[Real, Real]:
    grid = np.meshgrid(one, two, indexing="ij")
    return grid[0].reshape(-1, 1), grid[1].reshape(-1, 1)


def arm_row(arm: NetworkArm) -> dict[str, float]:
    """An arm under the keys of a part file, units in their names."""
    percent = {"tolerance_percent": 100 * arm.tolerance}
    if arm.what == "line":
        key = "line_ohm" if arm.way == "series" else f"{arm.end}_stub_ohm"
        return {
            key: arm.value,
            "length_mm": round(1000 * arm.length_m, 1),
            "velocity_factor": arm.velocity_factor,
            "per_sqrt_mhz_db_per_100m": arm.per_sqrt_mhz_db_per_100m,
            "per_mhz_db_per_100m": arm.per_mhz_db_per_100m,
            **percent,
        }
    unit, scale = ("nh", 1e9) if arm.what == "inductor" else ("pf", 1e12)
    key = f"{arm.way}_{arm.what}_{unit}"
    return {key: float(f"{arm.value * scale:.4g}"), "quality_factor": arm.quality_factor, **percent}
