"""Learn a part from sweeps of it: a lead by its open and short ends, a two-port by its file or known terminations, two pads as a pair."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np

from chain.arrays import Complex, Real
from chain.characterize.checks import believable, coming_back, enough, passing
from chain.characterize.error_box_part import two_port_part
from chain.characterize.error_model import Analyzer, disturbed_one_port, disturbed_two_port
from chain.characterize.intervals import DRAWS, SEED, Interval, Traces, intervals
from chain.characterize.lead import DB_PER_NEPER, LeadFit
from chain.characterize.lead_part import LeadKnown, lead_part
from chain.characterize.part_making import About, MeasuredFit, PartEnds, asked_hz, cropped, decimated, inside
from chain.characterize.records import Learnt
from chain.characterize.sweeps import Sweeps
from chain.characterize.two_port import BoxFit, box_of_ends, boxes_near
from chain.errors import RangeError
from chain.reflection import magnitude_from_return_loss
from chain.rf import twoport
from chain.uncertainty.streams import unit_reflections
from library.formulas import LIGHT_M_PER_S
from library.records import Coax

Draw = tuple[np.random.Generator, int, bool]
"""Random numbers, how many trials, and whether the part was measured once."""

COURSES = {"pad": "smooth", "adapter": "root", "coax": "line"}
USUAL_OHM = (50.0, 75.0, 93.0)
NEAR_USUAL = 0.06
"""Largest relative departure of a measured impedance from the usual one that it is taken for."""
FAR_OFF = 0.15
VELOCITY_TOLERANCE = 0.01


def learn_lead(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    length_m: float | None = None,
    velocity_factor: float | None = None,
    impedance_ohm: float | None = None,
    length_tolerance_m: float = 0.0,
    draws: int = DRAWS,
    seed: int = SEED,
    like: Coax | None = None,
    like_named: bool = True,
) -> Learnt:
    """A lead from sweeps with its far end open and shorted.

    Parameters
    ----------
    sweeps : traces `open` and `short`, with or without phase.
    about : id, date and the like.
    analyzer : sizes of the analyzer's errors.
    length_m, velocity_factor : one of the two at least; both where the sweeps have no phase [m, -].
    impedance_ohm : nominal impedance of the cable; if left out, the usual one next to what is measured [ohm].
    length_tolerance_m : half-width of the stated length [m].
    draws, seed : of the simulated errors; at least 200 draws.
    like : type of cable whose loss is kept where it is known better and the sweeps do not contradict it.
    like_named : the cable is known to be of that type, so that a velocity factor 10 % away is refused and not only doubted.

    Returns
    -------
    Learnt of kind `coax`.

    Raises
    ------
    RangeError : length or velocity is lacking, the span is too short or too coarse, or the sweeps contradict the figures.

    Examples
    --------
    >>> from chain import About, Analyzer, learn_lead, one_port_sweeps
    >>> sweeps = one_port_sweeps({"open": ["demo/lead-open.s1p"], "short": ["demo/lead-short.s1p"]})
    >>> found = learn_lead(sweeps, About("my-lead", "2026-05-01"), Analyzer(tracking=0.01), length_m=0.6)
    >>> round(found.row["velocity_factor"], 2), found.row["impedance_ohm"]
    (0.66, 75.0)

    Source
    ------
    Loss one way: mean in dB of the return losses of open and short, halved; what the impedance of the line reflects is taken
    out of it first: with w what comes back of a wave inside, open = (p + w)/(1 + p w), short = (p - w)/(1 - p w).
    """
    enough(sweeps.has_phase, length_m, velocity_factor, impedance_ohm)
    whole, warnings = decimated(sweeps)
    coming_back(whole.traces)
    both = length_m is not None and velocity_factor is not None
    # Where both are stated they count the whole turns of the phase, which a sweep that begins high up cannot.
    seconds = length_m / LIGHT_M_PER_S / velocity_factor if length_m and velocity_factor and both else None
    at_hz = asked_hz(whole.freq_hz, about)
    span = inside(whole.freq_hz, at_hz)
    sweeps = cropped(whole, span)
    reference, traces = sweeps.reference_ohm[0], sweeps.traces

    def fit_of(ohm: float) -> LeadFit:
        begun = LeadFit.of(whole.freq_hz, whole.traces, (reference, ohm), at_hz, seconds, sweeps.has_phase)
        return begun.within(traces, span)

    fit = fit_of(impedance_ohm or reference)
    nominal, assumed = _nominal_ohm(fit, traces, impedance_ohm)
    # A first fit finds the impedance that the reflections of the second are stated in.
    fit = fit_of(nominal)
    believable(fit)

    def figures(drawn: Traces) -> dict[str, Real]:
        found = fit.figures(drawn)
        if "delay_s" in found:
            # The error of the stated length passes into what is made of the delay, not into the delay.
            stretched = 1 + drawn.get("length", np.zeros(1)).real
            if length_m is not None:
                found["velocity_factor"] = length_m * stretched / LIGHT_M_PER_S / found["delay_s"]
            else:
                assert velocity_factor is not None
                found["length_m"] = found["delay_s"] * LIGHT_M_PER_S * velocity_factor * stretched
        return found

    def disturb(mean: Traces, rng: np.random.Generator, count: int, single: bool) -> Mapping[str, Complex]:
        trace = dict(mean)
        if not sweeps.has_phase:
            # Only the size was read. Errors act on what a line of that impedance shows in the reference: by its step
            # directivity and source match no longer cancel between open and short, and the sizes ripple.
            off = VELOCITY_TOLERANCE / (velocity_factor or 1.0) + length_tolerance_m / (length_m or 1.0)
            trace = fit.seen(1 + rng.uniform(-off, off, (count, 1)))
        drawn = disturbed_one_port(sweeps.freq_hz, trace, analyzer, nominal, rng, count, single)
        # Whichever of length and velocity was stated makes the other from the delay, and its error with it.
        spread = length_tolerance_m / length_m if length_m else VELOCITY_TOLERANCE / (velocity_factor or 1.0)
        return {**drawn, "length": rng.uniform(-spread, spread, count).astype(complex)}

    found = intervals(figures, traces, disturb, draws, seed)
    measured = MeasuredFit(sweeps, found, draws, seed, (*about.assumed, *sweeps.assumed, *assumed), warnings)
    lead = LeadKnown(nominal, length_m, velocity_factor, length_tolerance_m, like, like_named)
    return lead_part(measured, about, fit, lead, analyzer.noise)


def _nominal_ohm(fit: LeadFit, traces: Traces, stated: float | None) -> tuple[float, tuple[str, ...]]:
    """Nominal impedance of the cable, and the words for it where it was not stated."""
    if not fit.fit_ohm:
        if stated is None:
            raise RangeError(
                "the impedance of the lead cannot be found from this span",
                "state it: --impedance '75 ohm', or sweep wider",
            )
        return stated, ()
    mean = {end: trace.mean(axis=0) for end, trace in traces.items()}
    own = float(fit.solved(mean["open"], mean["short"])[2])
    if stated is None:
        # Reflections are stated in the nominal impedance; in the measured one a line of the wrong impedance would look matched.
        usual = min(USUAL_OHM, key=lambda ohm: abs(ohm - own))
        nominal = usual if abs(own / usual - 1) < NEAR_USUAL else float(f"{own:.3g}")
        return nominal, (f"impedance {nominal:g} ohm (the usual one next to the {own:.1f} ohm measured)",)
    if abs(own / stated - 1) > FAR_OFF:
        raise RangeError(
            f"the sweeps show a line of {own:.1f} ohm, not one of {stated:g} ohm, if they are in {fit.reference_ohm:g} ohm",
            "state the impedance that the analyzer was calibrated in (--reference), or correct --impedance",
        )
    return stated, ()


def learn_two_port(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    kind: str = "pad",
    seconds: float | None = None,
    length_m: float | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    length_tolerance_m: float = 0.0,
) -> Learnt:
    """A pad, an adapter or a lead from its two-port sweeps.

    Parameters
    ----------
    sweeps : trace `through`.
    about : id, date and the like.
    analyzer : sizes of the analyzer's errors.
    ends : connectors and nominal impedances of the part.
    kind : `pad`, `adapter` or `coax`.
    seconds : delay as far as it is known [s].
    length_m : length of a lead [m].
    draws, seed : of the simulated errors; at least 200 draws.
    length_tolerance_m : half-width of that length [m].

    Returns
    -------
    Learnt.

    Raises
    ------
    RangeError : a lead without a length, or a phase whose turns cannot be counted.

    Examples
    --------
    >>> from chain import About, Analyzer, PartEnds, learn_two_port, two_port_sweeps
    >>> ends = PartEnds("BNC-50 jack", "BNC-75 jack", 50.0, 75.0)
    >>> found = learn_two_port(two_port_sweeps(["demo/pad.s2p"]), About("my-pad", "2026-05-01"), Analyzer(), ends)
    >>> found.kind, round(found.mean_loss.value, 1)
    ('pad', 5.8)

    Source
    ------
    Loss -20 log10 |S21| in the part's own impedances, both ways averaged.
    """
    reference = (sweeps.reference_ohm[0], sweeps.reference_ohm[-1])
    own = (ends.near_ohm, ends.far_ohm)

    def boxes(traces: Traces) -> Complex:
        return twoport.renormalise(np.asarray(traces["through"]), reference, own)

    def disturb(freq_hz: Real, mean: Traces, draw: Draw) -> Mapping[str, Complex]:
        # Errors act in the analyzer's reference and figures are of the part's own impedances, so the sweep is disturbed first.
        return {"through": disturbed_two_port(mean["through"], analyzer, *draw)}

    recipe = Recipe("the two-port itself", lambda span: boxes, disturb, lambda s: NOISE_THROUGH / np.abs(s[:, 1, 0]))
    return _learnt(
        sweeps,
        about,
        ends,
        PartAsked(kind, seconds, (length_m, length_tolerance_m)),
        recipe,
        analyzer.noise,
        draws,
        seed,
    )


def learn_ends(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    kind: str = "pad",
    seconds: float | None = None,
    length_m: float | None = None,
    load_ohm: float | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    length_tolerance_m: float = 0.0,
) -> Learnt:
    """A pad, an adapter or a lead from sweeps with an open, a short and a load at its far end.

    Parameters
    ----------
    sweeps : traces `open`, `short` and `load`, with phase.
    about, analyzer, ends, kind, seconds, length_m : as of `learn_two_port`.
    load_ohm : impedance of the load; that of the far end if left out [ohm].
    draws, seed : of the simulated errors; at least 200 draws.
    length_tolerance_m : half-width of the length of a lead [m].

    Returns
    -------
    Learnt. Near port in the near end's impedance, far port in the far end's.

    Raises
    ------
    RangeError : the sweeps have no phase, the ends read alike, or as of `learn_two_port`.

    Examples
    --------
    >>> from chain import About, Analyzer, PartEnds, learn_ends, one_port_sweeps
    >>> sweeps = one_port_sweeps({end: [f"demo/pad-{end}.s1p"] for end in ("open", "short", "load")})
    >>> ends = PartEnds("BNC-50 jack", "BNC-75 jack", 50.0, 75.0)
    >>> round(learn_ends(sweeps, About("my-pad", "2026-05-01"), Analyzer(), ends).mean_loss.value, 1)
    5.8

    Source
    ------
    `chain.characterize.two_port`. An error of the load leaves the loss alone to first order, and adds to the reflections.
    """
    if not sweeps.has_phase:
        raise RangeError(
            "these sweeps have no phase; open, short and load need it to determine a two-port",
            "export them with their phase (.s1p)",
        )
    sweeps = decimated(sweeps)[0]
    mean = {end: trace.mean(axis=0) for end, trace in sweeps.traces.items()}
    # Once, of the mean: the turns of the phase need the whole sweep, and drawn sweeps keep its branch.
    raw = box_of_ends(sweeps.freq_hz, mean, seconds)
    solved_in = (sweeps.reference_ohm[0], load_ohm or ends.far_ohm)
    own = (ends.near_ohm, ends.far_ohm)

    def boxes(span: slice) -> Callable[[Traces], Complex]:
        return lambda traces: twoport.renormalise(boxes_near(traces, raw[span]), solved_in, own)

    def disturb(freq_hz: Real, mean: Traces, draw: Draw) -> Mapping[str, Complex]:
        return disturbed_one_port(freq_hz, mean, analyzer, solved_in[1], *draw)

    method = "open, short and load at its far end"
    recipe = Recipe(method, boxes, disturb, lambda s: NOISE_BACK / np.abs(s[:, 1, 0]) ** 2)
    return _learnt(
        sweeps,
        about,
        ends,
        PartAsked(kind, seconds, (length_m, length_tolerance_m)),
        recipe,
        analyzer.noise,
        draws,
        seed,
    )


def learn_back_to_back(
    sweeps: Sweeps,
    about: About,
    analyzer: Analyzer,
    ends: PartEnds,
    difference_db: float,
    inner_return_loss_db: float,
    between_db: float = 0.0,
    draws: int = DRAWS,
    seed: int = SEED,
) -> Learnt:
    """Either of two equal pads that were measured joined at their far ends.

    Parameters
    ----------
    sweeps : trace `through` of the pair.
    about, analyzer, ends : as of `learn_two_port`; ends are of one pad.
    difference_db : largest difference of the two pads' losses [dB].
    inner_return_loss_db : least return loss of the ends that face one another [dB].
    between_db : loss of an adapter between them [dB].
    draws, seed : of the simulated errors; at least 200 draws.

    Returns
    -------
    Learnt of kind `pad`.

    Raises
    ------
    RangeError : less is lost than the adapter between takes.

    Examples
    --------
    >>> from chain import About, Analyzer, PartEnds, learn_back_to_back, two_port_sweeps
    >>> ends = PartEnds("BNC-50 jack", "BNC-75 jack", 50.0, 75.0)
    >>> pair = two_port_sweeps(["demo/pads-back-to-back.s2p"])
    >>> found = learn_back_to_back(pair, About("my-pad", "2026-05-01"), Analyzer(), ends, 0.2, 26.0)
    >>> round(found.mean_loss.high - found.mean_loss.low, 1)
    0.2

    Source
    ------
    Half the loss of the pair. Each pad departs from it by half their difference; the ends that face one another change the
    pair's loss by 8.686 Re(r1 r2) dB.
    """
    reference = (sweeps.reference_ohm[0], sweeps.reference_ohm[-1])
    outer = (ends.near_ohm, ends.near_ohm)
    inner = float(magnitude_from_return_loss(inner_return_loss_db))

    def boxes(traces: Traces) -> Complex:
        return twoport.renormalise(np.asarray(traces["through"]), reference, outer)

    def of_one(found: dict[str, Real], traces: Traces) -> dict[str, Real]:
        # The adapter's loss is shared by both halves, as the pair's is.
        apart = traces.get("apart", np.zeros(1)).real - between_db / 2
        # Both outer ends of the pair are the near end of a pad; the worse stands for either.
        outer_ends = {
            name: np.maximum(found[f"near_{name}"], found[f"far_{name}"])
            for name in ("reflection", "reflection_turned", "reflection_apart")
        }
        return {
            "mean_loss_db": found["mean_loss_db"] + apart,
            "loss_db": found["loss_db"] + apart[..., None],
            **{f"near_{name}": worse for name, worse in outer_ends.items()},
        }

    def disturb(freq_hz: Real, mean: Traces, draw: Draw) -> Mapping[str, Complex]:
        rng, count, _ = draw
        drawn = disturbed_two_port(mean["through"], analyzer, *draw)
        facing = [inner * unit_reflections(rng, count, "disc")[:, 0] for _ in range(2)]
        apart = (
            # One pad's share: half the difference, and half of 8.686 Re(r1 r2) dB; whether it is the better or the worse pad is not
            # known.
            rng.uniform(-difference_db / 2, difference_db / 2, count) + DB_PER_NEPER / 2 * (facing[0] * facing[1]).real
        )
        return {"through": drawn, "apart": apart.astype(complex)}

    method = "two equal pads joined at their far ends"
    noise = lambda s: NOISE_THROUGH / np.abs(s[:, 1, 0]) / 2  # noqa: E731
    recipe = Recipe(method, lambda span: boxes, disturb, noise, of_one, inner)
    return _learnt(sweeps, about, ends, PartAsked("pad", None), recipe, analyzer.noise, draws, seed)


NOISE_THROUGH, NOISE_BACK = DB_PER_NEPER / np.sqrt(2), DB_PER_NEPER / 2 * np.sqrt(0.5)
"""Standard deviation of a loss over that of the noise, times |S21| or its square: one way, and there and back [dB]."""


@dataclass(frozen=True)
class PartAsked:
    """What is to be made of a two-port: kind, delay as far as it is known [s], length of a lead with its tolerance [m]."""

    kind: str
    seconds: float | None
    length: tuple[float | None, float] = (None, 0.0)


@dataclass(frozen=True)
class Recipe:
    """What sets one way to a two-port apart from another.

    `boxes` gives, for a part of the sweep, what turns traces into two-ports in the part's own impedances; `disturb` the traces
    as they might have come out instead; `noise_db` the noise of the loss over that of a trace. Of two equal parts end to end,
    `of_one` makes the figures of one from those of the pair, whose inner ends reflect `inner` at most.
    """

    method: str
    boxes: Callable[[slice], Callable[[Traces], Complex]]
    disturb: Callable[[Real, Traces, Draw], Mapping[str, Complex]]
    noise_db: Callable[[Complex], Real]
    of_one: Callable[[dict[str, Real], Traces], dict[str, Real]] | None = None
    inner: float = 0.0


def _learnt(
    sweeps: Sweeps,
    about: About,
    ends: PartEnds,
    asked: PartAsked,
    recipe: Recipe,
    noise: float,
    draws: int,
    seed: int,
) -> Learnt:
    """A part from its two-port, however that was measured."""
    whole, warnings = decimated(sweeps)
    at_hz = asked_hz(whole.freq_hz, about)
    span = inside(whole.freq_hz, at_hz)
    sweeps, of_one = cropped(whole, span), recipe.of_one
    s = recipe.boxes(slice(None))({name: trace.mean(axis=0) for name, trace in whole.traces.items()})
    passing(s)
    pairs = 1 if of_one is None else 2
    course, boxes = COURSES[asked.kind], recipe.boxes(span)
    # Turns of the phase are counted over the whole sweep, figures stated for the span alone.
    fit = BoxFit.of(whole.freq_hz, s, course, boxes, at_hz, asked.seconds, pairs, span)

    def figures(traces: Traces) -> dict[str, Real]:
        found = fit.figures(traces)
        return found if of_one is None else of_one(found, traces)

    def disturb(mean: Traces, rng: np.random.Generator, count: int, single: bool) -> Mapping[str, Complex]:
        return recipe.disturb(sweeps.freq_hz, mean, (rng, count, single))

    found = intervals(figures, sweeps.traces, disturb, draws, seed)
    if of_one is not None:
        level = np.full(found["near_reflection"].value.shape, recipe.inner)
        found["far_reflection"] = Interval(np.zeros_like(level), np.zeros_like(level), level)
    measured = MeasuredFit(sweeps, found, draws, seed, (*about.assumed, *sweeps.assumed), warnings)
    noise_db = noise * recipe.noise_db(fit.s)
    return two_port_part(measured, about, fit, ends, asked.kind, asked.length, noise_db, recipe.method)
