"""From a set-up to the elements of its chain, the part a calibration leaves in view, and sweeps in its reference."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from chain.arrays import Real
from chain.assembly.graph import (
    BLOCKING,
    Connection,
    connection_elements,
    setup_graph,
    with_arm_sections,
    without_adapter,
)
from chain.errors import Defect, FitError
from chain.results import Named, counted, span_words
from chain.rf.elements import Element
from chain.rf.parts import elements_of
from chain.setups import Setup
from chain.sweeps.options import DEFAULTS, SweepOptions
from library.frozen import dataclass
from library.mating import bridging_adapters
from library.parts import Library

if TYPE_CHECKING:
    from chain.sweeps.readings import Readings

JOINING = 2
"""Most adapters that are named for two ends that do not fit together."""


@dataclass(frozen=True, repr=False)
class Chain(Named):
    """A chain at given frequencies. `groups` pairs each item's or joint's name with its elements, near to far."""

    freq_hz: Real
    near_ohm: float
    far_ohm: float
    groups: tuple[tuple[str, tuple[Element, ...]], ...]
    joints: tuple[Connection, ...]

    def headline(self) -> str:
        """What it is made of, near to far, between which impedances and at which frequencies."""
        names = ", ".join(name for name, _ in self.groups)
        counts = f"{counted(self.freq_hz.size, 'point')}, {span_words(self.freq_hz)}"
        return f"{self.near_ohm:g} to {self.far_ohm:g} ohm at {counts}: {names}"

    @property
    def elements(self) -> tuple[Element, ...]:
        """Every element, near to far, without the ideal steps between unequal references."""
        return tuple(element for _, group in self.groups for element in group)


def sweep_hz(setup: Setup) -> Real:
    """Frequencies of the set-up's sweep [Hz]."""
    return np.linspace(setup.sweep.start_hz, setup.sweep.stop_hz, setup.sweep.points)


def build(setup: Setup, freq_hz: Real | None = None, library: Library | None = None, fit: bool = True) -> Chain:
    """Elements of every item and joint of a set-up.

    Parameters
    ----------
    setup : the set-up.
    freq_hz : shape (frequencies,); the set-up's own sweep if left out [Hz].
    library : mating rules and families; the set-up's own if left out.
    fit : refuse two ends that do not fit together.

    Returns
    -------
    Chain.

    Raises
    ------
    FitError : two ends that do not fit together.
    RangeError : a frequency outside what a part's model covers.

    Examples
    --------
    >>> from chain import build, load_setup
    >>> chain = build(load_setup("demo/boathouse.toml"))
    >>> [name for name, _ in chain.groups]
    ['near/adapter', 'adapter', 'adapter/pad', 'pad', 'pad/lead', 'lead', 'lead/far']

    Source
    ------
    Each part's own model; joints by the mating rules.
    """
    freq = sweep_hz(setup) if freq_hz is None else np.asarray(freq_hz, dtype=float)
    graph = setup_graph(setup, library)
    joints = tuple(graph.path_connections.values())
    apart = [each for each in joints if each.verdict in BLOCKING] if fit else []
    if apart:
        raise FitError("", defects=[_apart(setup, each, library or setup.library) for each in apart])
    groups: list[tuple[str, tuple[Element, ...]]] = []
    for found, item in zip(joints, (*setup.items, None), strict=True):
        groups.append((found.id, connection_elements(found, freq)))
        if item is not None:
            groups.append((item.id, elements_of(with_arm_sections(item, graph), freq)))
    return Chain(freq, setup.near.impedance_ohm, setup.far.impedance_ohm, tuple(groups), joints)


def _apart(setup: Setup, found: Connection, library: Library) -> Defect:
    """What is wrong with two ends that do not fit together, at the far one of them, and the adapters that would join them."""
    message = (
        f"{found.near.name} ({found.near.connector}) and {found.far.name} ({found.far.connector}) "
        f"do not fit together: {found.verdict}. {found.reason}"
    )
    joining = bridging_adapters(found.near.connector, found.far.connector, library)[:JOINING]
    remedy = f"put {' or '.join(joining)} between them" if joining else without_adapter(found)
    at = next((index for index, item in enumerate(setup.items) if item.id == found.far.name), None)
    keys: list[tuple[str | int, ...]] = [("far", "connector")]
    if at is not None:
        keys = [("chain", at, "near"), ("chain", at, "part"), ("chain", at)]
    return Defect(setup.path, 0, 0, message, remedy) if setup.locator is None else setup.locator(keys, message, remedy)


def in_view(setup: Setup, chain: Chain) -> tuple[tuple[Element, ...], float]:
    """Elements between the calibration plane and the antenna, and the reference the reading is in [ohm].

    Source: What lies before the plane is corrected; the reading is in the impedance of the calibration's load.
    """
    plane = setup.calibration.plane
    if plane == "near":
        return chain.elements, setup.near.impedance_ohm
    names = [name for name, _ in chain.groups]
    cut = names.index(plane) + 1
    elements = tuple(element for _, group in chain.groups[cut:] for element in group)
    own_ohm = chain.groups[cut - 1][1][-1].far_ohm
    return elements, setup.calibration.load_impedance_ohm or own_ohm


def plane_reference_ohm(setup: Setup) -> float:
    """Reference impedance of readings taken with a set-up [ohm]."""
    if setup.calibration.plane == "near":
        return setup.near.impedance_ohm
    return in_view(setup, build(setup, np.array([setup.sweep.start_hz])))[1]


def read_sweep_for(setup: Setup, path: str, options: SweepOptions = DEFAULTS) -> Readings:
    """Read a sweep that was taken with a set-up.

    Parameters
    ----------
    setup : the set-up.
    path : the file, as for `chain.sweeps.read.read_sweep`.
    options : what the user settles about it.

    Returns
    -------
    Readings, in the reference of the calibration plane; what contradicts it is among the warnings.

    Raises
    ------
    InputError : the file is at fault.
    FitError : see `chain.assembly.cascade.build`.

    Examples
    --------
    >>> from chain import load_setup, read_sweep_for
    >>> found = read_sweep_for(load_setup("demo/plane-after-pad.toml"), "demo/boathouse.s1p")
    >>> found.warnings[0][:43]
    "the sweep's header says 50 ohm, the set-up'"

    Source
    ------
    Own convention.
    """
    from chain.sweeps.read import read_sweep

    channels = {name: (low_hz, high_hz) for name, low_hz, high_hz in setup.sweep.channels}
    bare = "return_loss_db" if setup.near.shows == "return loss" else "" if setup.shows_db else "vswr"
    found = read_sweep(path, options, plane_reference_ohm(setup), channels, bare)
    if found.reflection is not None and not setup.near.has_phase:
        text = f"the set-up says that the analyzer shows {setup.near.shows} only; this sweep has a phase, which is used"
        found = replace(found, warnings=(*found.warnings, text))
    return found
