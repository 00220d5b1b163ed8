"""Parts, set-ups and two-ports for the tests: plain builders with every figure open, and hypothesis strategies on them.

Items are built plug towards the analyzer and jack towards the antenna, so that any two of them fit together.
"""

from dataclasses import replace

import numpy as np
from hypothesis import strategies as st

from chain.analyses.dc_feed import pad_arms
from chain.assembly.cascade import Chain
from chain.assembly.graph import item_ohm
from chain.rf.parts import elements_of
from chain.setups import Far, Item, Near, Setup, Sweep
from library.formulas import minimum_loss_db
from library.load import load_library
from library.records import Adapter, Coax, Connector, Evidence, Limit, Pad

OWN = Evidence("stated", "made up for a test")
LEAST_LOSS_DB = minimum_loss_db(75, 50)
DB_PER_NEPER = 20 / np.log(10)


def connector(ohm, gender):
    """A BNC connector for an impedance."""
    return Connector("BNC-75" if ohm == 75 else "BNC-50", gender)


def limit(return_loss_db, kind="disc"):
    """The same limit at every frequency, or none."""
    return None if return_loss_db is None else Limit((0.0,), (float(return_loss_db),), kind)


def item(part, name="part", **placed):
    """A part placed in a chain."""
    made = Item(name, part, Connector("BNC-50", "plug"), Connector("BNC-50", "jack"), **placed)
    near_ohm, far_ohm = item_ohm(made)
    return replace(made, near_connector=connector(near_ohm, "plug"), far_connector=connector(far_ohm, "jack"))


def pad(loss_db=LEAST_LOSS_DB, near_ohm=50.0, far_ohm=75.0, tolerance_db=0.0, near_db=None, far_db=None, kind="disc"):
    """A pad by its specification."""
    limits = limit(near_db, kind), limit(far_db, kind)
    ends = connector(near_ohm, "jack"), connector(far_ohm, "jack")
    return Pad("pad", "pad", *ends, near_ohm, far_ohm, OWN, loss_db, tolerance_db, *limits, ())


def minimum_loss_ohm(high_ohm, low_ohm):
    """Series and shunt resistor that the program gives a pad of the least loss."""
    found = dict(pad_arms(pad(minimum_loss_db(high_ohm, low_ohm), low_ohm, high_ohm)))
    return found["series"], found["shunt"]


def ladder(arms, near_ohm=50.0, far_ohm=75.0, tolerance=0.0, inductance_h=0.0, capacitance_f=0.0):
    """A pad by its resistors, near to far."""
    return replace(
        pad(0.0, near_ohm, far_ohm),
        arms=tuple(arms),
        model="resistors",
        arm_tolerance=tolerance,
        arm_inductance_h=inductance_h,
        arm_capacitance_f=capacitance_f,
    )


def adapter(ohm=50.0, length_m=0.05, loss_db=0.0, limit_db=None, length_tolerance_m=0.0, kind="disc"):
    """An adapter, its loss stated at 1 GHz."""
    ends = connector(ohm, "plug"), connector(ohm, "jack")
    return Adapter("adapter", "adapter", *ends, ohm, length_m, length_tolerance_m, loss_db, limit(limit_db, kind), OWN)


def coax(
    ohm=75.0,
    conductor_db=0.0,
    dielectric_db=0.0,
    velocity_factor=0.66,
    limit_db=None,
    tolerance_ohm=0.0,
    loss_tolerance=0.0,
):
    """A cable, its two losses stated in dB per 100 m at 1 MHz. Equal losses make its impedance real at that frequency."""
    losses = 0.0, conductor_db, dielectric_db
    return Coax(
        "coax",
        "coax",
        ohm,
        tolerance_ohm,
        velocity_factor,
        *losses,
        1.0,
        1e11,
        20.0,
        loss_tolerance,
        limit(limit_db),
        OWN,
        OWN,
    )


def lead(loss_db, freq_hz, length_m=1.0, ohm=75.0, velocity_factor=0.66, real=True):
    """A lead of known loss at one frequency; real: half of it in the dielectric, so that its impedance is real there."""
    mhz, per_100m = freq_hz / 1e6, loss_db / length_m * 100
    share = 0.5 if real else 0.0
    made = coax(ohm, (1 - share) * per_100m / np.sqrt(mhz), share * per_100m / mhz, velocity_factor)
    return item(made, "lead", length_m=length_m)


def quarter_waves(count, freq_hz, velocity_factor=0.66):
    """Length of that many quarter waves of line [m]."""
    return count * 299_792_458.0 * velocity_factor / freq_hz / 4


def chain_of(items, near_ohm, far_ohm, freq_hz):
    """Items joined without the mating rules, so that any impedance may meet any other."""
    freq = np.atleast_1d(np.asarray(freq_hz, dtype=float))
    return Chain(freq, near_ohm, far_ohm, tuple((each.id, elements_of(each, freq)) for each in items), ())


def setup_of(items, near_ohm=50.0, far_ohm=75.0, freq_hz=(200e6, 200e6, 1), limit_vswr=None, **near):
    """A whole set-up; freq_hz is (start, stop, points), further words are figures of the analyzer's port."""
    numbered = tuple(replace(each, id=f"{each.id} {index}") for index, each in enumerate(items))
    return Setup(
        "test",
        Sweep(*freq_hz),
        Near(connector(near_ohm, "jack"), near_ohm, **near),
        numbered,
        Far(connector(far_ohm, "plug"), far_ohm, limit_vswr),
    )


def largest_gain(s):
    """Largest singular value: above 1, more power comes out than goes in."""
    if s.shape[-1] != 2:
        return np.linalg.norm(s, 2, axis=(-2, -1)).max()
    # Of two ports the root of the larger eigenvalue of S^H S, written out: half the sum of its diagonal and what lies between.
    (one, two), across = (np.abs(s) ** 2).sum(axis=-2).T, (np.conj(s[..., 0]) * s[..., 1]).sum(axis=-1).T
    return np.sqrt((one + two) / 2 + np.hypot((one - two) / 2, np.abs(across))).max()


# Strategies


def floats(low, high):
    return st.floats(low, high, allow_nan=False, allow_infinity=False)


seeds = st.integers(0, 2**32 - 1)
references = st.sampled_from([50.0, 75.0, 93.0])
return_losses = floats(14.0, 40.0)
kinds = st.sampled_from(["disc", "ring"])


@st.composite
def reflections(draw, most=1.0):
    """A reflection inside the disc of radius `most`."""
    return most * draw(floats(0, 1)) * np.exp(2j * np.pi * draw(floats(0, 1)))


@st.composite
def two_ports(draw, count=3, reciprocal=True, largest=0.95):
    """Passive two-ports, shape (count, 2, 2): singular values below 1."""
    rng = np.random.default_rng(draw(seeds))
    return random_two_port(rng, count, reciprocal, largest)


def random_two_port(rng, count, reciprocal=True, largest=0.95):
    """U diag U^T with unitary U and singular values below `largest`: passive, and reciprocal by its symmetry."""
    raw = rng.standard_normal((2, count, 2, 2)) + 1j * rng.standard_normal((2, count, 2, 2))
    u, v = np.linalg.qr(raw)[0]
    sizes = rng.uniform(0, largest, (count, 2))
    return np.einsum("fik,fk,fjk->fij", u, sizes, u if reciprocal else v)


@st.composite
def pads(draw, near_ohm=50.0, far_ohm=75.0):
    """Pads of every description, the specified ones with loss to spare for their reflections."""
    if draw(st.booleans()):
        high, low = max(near_ohm, far_ohm), min(near_ohm, far_ohm)
        least = minimum_loss_db(high, low) if high > low else 1.0
        return pad(
            draw(floats(max(least, 2.5), 20)),
            near_ohm,
            far_ohm,
            draw(floats(0, 0.5)),
            draw(return_losses),
            draw(return_losses),
            draw(kinds),
        )
    arms = st.tuples(st.sampled_from(["series", "shunt"]), floats(20, 200))
    return ladder(
        draw(st.lists(arms, min_size=1, max_size=3)),
        near_ohm,
        far_ohm,
        draw(floats(0, 0.05)),
        draw(floats(0, 5e-9)),
        draw(floats(0, 3e-13)),
    )


@st.composite
def adapters(draw, ohm=50.0):
    length = draw(floats(0.01, 0.1))
    return adapter(
        ohm, length, draw(floats(0, 0.3)), draw(st.none() | return_losses), length * draw(floats(0, 0.3)), draw(kinds)
    )


@st.composite
def coaxes(draw, ohm=75.0):
    return coax(
        ohm,
        draw(floats(0, 3.0)),
        draw(floats(0, 0.02)),
        draw(floats(0.6, 0.95)),
        draw(st.none() | return_losses),
        draw(floats(0, 3)),
        draw(floats(0, 0.2)),
    )


@st.composite
def item_lists(draw, near_side=3, far_side=3):
    """Items of a chain from 50 to 75 ohm: adapters and leads on either side of one pad."""
    out = []
    for ohm, most in ((50.0, near_side), (75.0, far_side)):
        for _ in range(draw(st.integers(0, most))):
            if draw(st.booleans()):
                out.append(item(draw(adapters(ohm)), "adapter"))
            else:
                tolerance = draw(floats(0, 0.02))
                out.append(item(draw(coaxes(ohm)), "lead", length_m=draw(floats(0.1, 5)), length_tolerance_m=tolerance))
        if ohm == 50.0:
            flipped = draw(st.booleans()) and draw(st.booleans())
            pads_own = pads(75.0, 50.0) if flipped else pads()
            out.append(item(draw(pads_own), "pad", reversed=flipped))
    return [replace(each, id=f"{each.id} {index}") for index, each in enumerate(out)]


@st.composite
def library_items(draw, kinds=("pad", "adapter", "coax", "section", "transformer")):
    """A part of the library as an item, either way round."""
    library = load_library()
    names = [name for kind in kinds for name in library.ids(kind)]
    part = library.part(draw(st.sampled_from(names)))
    length = draw(floats(0.2, 20)) if part.kind == "coax" else 0.0
    return item(part, part.id, reversed=draw(st.booleans()), length_m=length)


def span_hz(part):
    """Frequencies a part may be computed at."""
    low = getattr(part, "valid_from_hz", getattr(part, "min_hz", 1e6))
    high = getattr(part, "valid_to_hz", getattr(part, "max_hz", 2e9))
    return max(low, 1e5), min(high, 3e9)
