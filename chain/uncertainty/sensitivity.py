"""First-order effect of every unknown of an element on the reflection in front of it, derived exactly.

An effect is linear in a real unknown u (`plain * u`) or in a complex one and its conjugate (`plain * u + mirrored *
conj(u)`): a lossless junction r in front of x gives (r + x)/(1 + conj(r) x), so r moves it by r - conj(r) x^2. Sizes come
from the elements themselves.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chain.arrays import Complex, Real
from chain.rf import twoport
from chain.rf.elements import Box, Element, Ladder, Line, Tee
from chain.uncertainty.sampling import junction_room
from library.frozen import dataclass

DB = float(np.log(10) / 10)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(16)


@dataclass(frozen=True)
class Term:
    """Effect of one unknown, whose standard uncertainty is `sd` (on each axis, if complex).

    `curve` is the second-order part of its effect, relative to the first and to the unknown itself.
    """

    id: str
    what: str
    plain: Complex
    mirrored: Complex
    sd: Real
    is_real: bool
    curve: Real

    def scaled(self, slope: Complex) -> Term:
        """The same effect seen through a further map of that slope."""
        return replace(self, plain=self.plain * slope, mirrored=self.mirrored * slope)

    @property
    def power(self) -> Real:
        """Mean square of the effect's magnitude."""
        axes = 1 if self.is_real else 2
        return np.asarray(axes * (np.abs(self.plain) ** 2 + np.abs(self.mirrored) ** 2) * self.sd**2)

    @property
    def pseudo(self) -> Complex:
        """Mean square of the effect itself, which shows how far it is from circular."""
        # Of a complex unknown without a preferred phase E u^2 = 0, and only the mixed product 2 a b E|u|^2 is left.
        square = self.plain**2 if self.is_real else 4 * self.plain * self.mirrored
        return np.asarray(square * self.sd**2)


def circle_sd(radius: Real | float, shape: str = "disc") -> Real:
    """Standard uncertainty on each axis of a complex number of unknown phase.

    Source: Second moments of a uniform disc, of a circle and of a uniform radius: r/2, r/sqrt 2 and r/sqrt 6.
    """
    spread = {"ring": 2.0, "uniform-radius": 6.0}.get(shape, 4.0)
    return np.asarray(radius / np.sqrt(spread))


def expected(element: Element) -> Element:
    """The element at the expectation of its unknowns, which differs from its nominal one where a range is lopsided.

    Source: Mean of a rectangular distribution; discs, rings and the other ranges are centred on the nominal value.
    """
    if not isinstance(element, Line):
        return element.known()
    mean = (element.length_low + element.length_high) / 2
    return replace(element.known(), loss_np=element.loss_np * mean, phase_rad=element.phase_rad * mean)


def seen_and_slope(element: Element, far: Complex) -> tuple[Complex, Complex]:
    """Reflection in front of an element at its expectation, and how much of a change behind it arrives there.

    Source: S11 + S12 S21 x/(1 - S22 x) and its derivative S12 S21/(1 - S22 x)^2.
    """
    s = expected(element).nominal()
    slope = s[..., 0, 1] * s[..., 1, 0] / (1 - s[..., 1, 1] * far) ** 2
    return np.asarray(twoport.input_reflection(s, far)), np.asarray(slope)


def element_terms(element: Element, far: Complex) -> list[Term]:
    """Effects of an element's unknowns on the reflection in front of it.

    Source: Derivatives of the element's own two-port at the expectation of its unknowns.
    """
    if isinstance(element, Line):
        return _line_terms(element, far)
    if isinstance(element, Tee) and element.branches:
        return _tee_terms(element, far)
    return _box_terms(element, far) if isinstance(element, Box) else _ladder_terms(element, far)


def real_term(name: str, what: str, effect: Complex, sd: Real | float, curve: Real | float) -> Term:
    """Effect of a real unknown."""
    return Term(name, what, effect, np.zeros_like(effect), np.asarray(sd), True, np.asarray(curve))


def _line_terms(line: Line, far: Complex) -> list[Term]:
    mean = expected(line)
    assert isinstance(mean, Line)
    rho = (mean.impedance_ohm - line.near_ohm) / (mean.impedance_ohm + line.near_ohm)
    own = (far - rho) / (1 - rho * far)
    wave = np.exp(-(mean.loss_np + 1j * mean.phase_rad))
    turned = own * wave**2
    # Derivative of (rho + t)/(1 + rho t), the step out of the line's impedance.
    out = (1 - rho**2) / (1 + rho * turned) ** 2
    by_loss = -2 * turned * mean.loss_np * out
    if line.inside_radius is not None:
        # Its place is anywhere in the line; a disc or ring turned by an unknown phase is the same disc or ring.
        sd = circle_sd(line.inside_radius, line.shape)
        middle = (wave * out, -wave * own**2 * wave**2 * out)
        terms = [Term(line.id, "reflection, inside", *middle, sd, False, np.abs(own))]
    else:
        terms = _end_terms(line, far)
        by_ohm = _by_impedance(line, far, rho, wave)
        # The reactance of a line goes with its loss, so a loss that is off moves the impedance as well.
        by_loss = by_loss + 1j * mean.impedance_ohm.imag * by_ohm
    if line.loss_tolerance:
        terms.append(real_term(line.id, "loss", by_loss, line.loss_tolerance / np.sqrt(3), mean.loss_np))
    if line.length_high != line.length_low:
        each = line.loss_np + 1j * line.phase_rad
        # A whole range over sqrt 12, half of one over sqrt 3: rectangular either way (JCGM 100, equations 6 and 7).
        sd = np.asarray((line.length_high - line.length_low) / np.sqrt(12))
        terms.append(real_term(line.id, "length", -2 * turned * each * out, sd, np.abs(each)))
    if line.impedance_tolerance_ohm and line.inside_radius is None:
        # Resistance and reactance are off by the same share.
        effect = by_ohm * mean.impedance_ohm / mean.impedance_ohm.real
        sd = np.asarray(line.impedance_tolerance_ohm / np.sqrt(3))
        terms.append(real_term(line.id, "impedance", effect, sd, 1 / (2 * line.near_ohm)))
    return terms


def _by_impedance(line: Line, far: Complex, rho: Complex, wave: Complex) -> Complex:
    """Derivative of the reflection in front of a line by its impedance; its reactance goes with resistance and loss."""
    turned = (far - rho) / (1 - rho * far) * wave**2
    far_side = (1 - rho**2) * wave**2 * (far**2 - 1) / (1 - rho * far) ** 2
    by_rho = (1 - turned**2 + far_side) / (1 + rho * turned) ** 2
    return np.asarray(by_rho * 2 * line.near_ohm / (line.impedance_ohm + line.near_ohm) ** 2)


def _end_terms(line: Line, far: Complex) -> list[Term]:
    near, slope = seen_and_slope(line, far)
    # A Gauss rule over the upper half of the impedance's range, which the lower half mirrors.
    changes = line.impedance_tolerance_ohm * (NODES[:, None] + 1) / 2
    found = []
    for place, radius, at, factor in (
        ("near", line.near_radius, near, np.ones_like(far)),
        ("far", line.far_radius, far, slope),
    ):
        if radius is not None:
            room = np.sqrt(WEIGHTS @ junction_room(radius, changes, line.near_ohm) ** 2 / 2)
            sd = circle_sd(room, line.shape)
            found.append(Term(line.id, f"reflection, {place}", factor, -(at**2) * factor, sd, False, np.abs(at)))
    return found


def _box_terms(box: Box, far: Complex) -> list[Term]:
    seen, slope = seen_and_slope(box, far)
    own = seen - box.s[..., 0, 0]
    zero = np.zeros_like(far)
    terms = []
    if box.near_radius is not None:
        sd = circle_sd(box.near_radius, box.shapes[0])
        terms.append(Term(box.id, "reflection, near", zero + 1, zero, sd, False, np.zeros(far.shape)))
    if box.far_radius is not None:
        curve = np.abs(far / (1 - box.s[..., 1, 1] * far))
        sd = circle_sd(box.far_radius, box.shapes[1])
        terms.append(Term(box.id, "reflection, far", slope * far**2, zero, sd, False, curve))
    if box.loss_tolerance_db:
        terms.append(real_term(box.id, "loss", -DB * own, box.loss_tolerance_db / np.sqrt(3), DB / 2))
    if box.product_radius is not None:
        sd = circle_sd(box.product_radius, box.product_shape)
        terms.append(Term(box.id, "transmission", own, zero, sd, False, np.zeros(far.shape)))
    return terms


def _tee_terms(tee: Tee, far: Complex) -> list[Term]:
    """Effects of every port's reflection, of the loss between each pair, and of what hangs on the ports off the path.

    With a unit wave into the near port and a the waves into all, d(reflection) = a^T dS a + sum of b_k^2 dG_k for a reciprocal
    part: the waves are their own adjoint.
    """
    ports = tee.full.shape[-1]
    ends = np.zeros((*far.shape, ports), dtype=complex)
    ends[..., tee.path[1]] = far
    behind: list[tuple[int, list[Term]]] = []
    for branch in tee.branches:
        seen, own = branch.end, []
        if np.any(branch.end_radius):
            sd = circle_sd(branch.end_radius, branch.end_shape)
            unit, zero = np.ones_like(far), np.zeros_like(far)
            own.append(Term(tee.id, f"end of arm {branch.port}", unit, zero, sd, False, zero.real))
        for element in reversed(branch.elements):
            more = element_terms(element, seen)
            seen, step = seen_and_slope(element, seen)
            own = [replace(term, id=tee.id) for term in more] + [term.scaled(step) for term in own]
        ends[..., branch.port] = seen
        behind.append((branch.port, own))
    near = tee.path[0]
    loop = np.linalg.inv(np.eye(ports) - ends[..., :, None] * tee.full)
    into = loop[..., near]
    out = (tee.full @ into[..., None])[..., 0]
    again = np.abs(np.diagonal(loop, axis1=-2, axis2=-1) * ends)
    terms = [term.scaled(out[..., port] ** 2) for port, own in behind for term in own]
    for first in range(ports):
        if tee.port_radius is not None:
            sd = circle_sd(tee.port_radius, tee.shape)
            effect = np.asarray(into[..., first] ** 2)
            terms.append(
                Term(tee.id, f"reflection, port {first}", effect, np.zeros_like(far), sd, False, again[..., first])
            )
        for second in range(first):
            if tee.loss_tolerance_db and np.any(tee.full[..., first, second]):
                effect = np.asarray(-DB * into[..., first] * into[..., second] * tee.full[..., first, second])
                terms.append(real_term(tee.id, "loss", effect, tee.loss_tolerance_db / np.sqrt(3), DB / 2))
    return terms


def _ladder_terms(ladder: Ladder, far: Complex) -> list[Term]:
    """Arms from the far end, each a two-port of its own in the near reference, where opens and shorts stay finite."""
    if not ladder.tolerance:
        return []
    ohm = ladder.near_ohm
    seen = np.asarray(twoport.input_reflection(twoport.step(ohm, ladder.far_ohm), far))
    terms: list[Term] = []
    omega = 2 * np.pi * ladder.freq_hz
    for index in reversed(range(len(ladder.arms))):
        kind, resistance = ladder.arms[index]
        impedance = ladder.arm_ohm(index)
        arm = replace(ladder, far_ohm=ohm, arms=(ladder.arms[index],))
        seen, slope = seen_and_slope(arm, seen)
        if kind == "series":
            bare = resistance + 1j * omega * ladder.inductance_h
            # d G = (1 - G)^2 dz/2 for an impedance in series, and Z =
            # Zi/(1 + j w C Zi) has the derivative 1/(1 + j w C Zi)^2.
            by_ohm = (1 - seen) ** 2 / (2 * ohm) / (1 + 1j * omega * ladder.capacitance_f * bare) ** 2
        else:
            by_ohm = (1 + seen) ** 2 * ohm / (2 * impedance**2)
        terms = [term.scaled(slope) for term in terms]
        sd = resistance * ladder.tolerance / np.sqrt(3)
        terms.insert(0, real_term(ladder.id, f"resistor {index + 1}", by_ohm, sd, 1 / resistance))
    return terms


def rematch_term(radius: float, at: Complex, shape: str = "disc") -> Term:
    """Effect of a joint opened and closed again on the reflection in front of it. Source: (r + x)/(1 + conj(r) x), first order in r."""
    return Term(
        "re-mating", "joint opened again", np.ones_like(at), -(at**2), circle_sd(radius, shape), False, np.abs(at)
    )
