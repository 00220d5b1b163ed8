"""An independent world for the guaranteed bound: random chains, and the worst reading that an optimiser finds in them.

The evaluator below shares nothing with the engine: it follows one reflection from the antenna to the screen with the
admissible set written out as parameters, each of them between its limits.
"""

import numpy as np
from scipy.optimize import minimize
from strategies import adapter, coax, item, pad, setup_of

from chain.assembly.cascade import build
from chain.uncertainty.measurement import measurement_of

FREQ_HZ = 200e6
LIGHT_M_PER_S = 299_792_458.0
NEPER_PER_DB = np.log(10) / 20
MAGNITUDES = (0.0, 0.2, 1 / 3, 0.6, 1.0)


def random_chain(rng, middle="pad"):
    """Figures of a chain: residuals of the analyzer, up to two adapters, a pad, up to two leads of 75 ohm.

    In the middle stands a `pad`, a pad `reversed` (75 ohm towards the analyzer), or `none` at all.
    """
    chain = (
        [("residuals", rng.uniform(34, 46), rng.uniform(30, 40), rng.uniform(0, 0.15))] if rng.random() < 0.5 else []
    )
    for _ in range(rng.integers(0, 3)):
        chain.append(
            ("adapter", rng.uniform(20, 34), rng.uniform(0.02, 0.08), rng.uniform(0, 0.2), rng.uniform(0, 0.25))
        )
    attenuator = ("pad", rng.uniform(20, 32), rng.uniform(20, 32), rng.uniform(5.72, 7), rng.uniform(0, 0.5))
    step = ("step", 50.0, 75.0)
    chain += {"pad": [attenuator], "reversed": [step, ("turned pad", *attenuator[1:]), step], "none": [step]}[middle]
    for _ in range(rng.integers(0, 3)):
        chain.append(
            (
                "lead",
                rng.uniform(18, 30),
                rng.uniform(0.3, 3),
                rng.uniform(0.2, 1.2),
                rng.uniform(0, 0.15),
                rng.uniform(0, 3),
            )
        )
    return chain


def engine_pieces(chain):
    """The same chain as the engine knows it: pieces between the reading and the antenna."""
    items, near = [], {}
    for kind, *figures in chain:
        if kind == "residuals":
            near = dict(zip(("directivity_db", "source_match_db", "tracking_db"), figures, strict=True))
        elif kind == "adapter":
            rl, length, loss_db, spread = figures
            items.append(item(adapter(50, length, loss_db, rl, spread * length), "adapter"))
        elif kind == "pad":
            near_db, far_db, loss_db, tolerance = figures
            items.append(item(pad(loss_db, 50, 75, tolerance, near_db, far_db), "pad"))
        elif kind == "turned pad":
            near_db, far_db, loss_db, tolerance = figures
            items.append(item(pad(loss_db, 75, 50, tolerance, near_db, far_db), "pad"))
        elif kind == "lead":
            rl, length, per_root, loss_tolerance, ohm_tolerance = figures
            made = coax(75, per_root, 0.004, 0.66, rl, ohm_tolerance, loss_tolerance)
            items.append(item(made, "lead", length_m=length, length_tolerance_m=0.01))
    setup = setup_of(items, freq_hz=(FREQ_HZ, FREQ_HZ, 1), **near)
    return measurement_of(setup, build(setup)).after


class Parameters:
    """Columns of a batch of points in the space of angles; every figure within its limits is the sine of an angle."""

    def __init__(self, angles):
        self.angles, self.at = angles, 0

    def angle(self):
        self.at += 1
        return self.angles[:, self.at - 1]

    def between(self, low, high):
        return (low + high) / 2 + (high - low) / 2 * np.sin(self.angle())

    def disc(self, radius):
        return radius * np.sin(self.angle()) * np.exp(1j * self.angle())


def through_junction(r, seen):
    """A lossless reciprocal junction with S11 = r, S22 = -conj(r), S12 S21 = 1 - |r|^2."""
    return (r + seen) / (1 + np.conj(r) * seen)


def radius_of(return_loss_db):
    return 10 ** (-return_loss_db / 20)


def through_adapter(take, seen, rl, length, loss_db, spread):
    place, stretch = take.between(0, 1), take.between(1 - spread, 1 + spread)
    loss_np = loss_db * np.sqrt(FREQ_HZ / 1e9) * NEPER_PER_DB * stretch
    gamma = loss_np + 2j * np.pi * FREQ_HZ * length * stretch / LIGHT_M_PER_S
    seen = through_junction(take.disc(radius_of(rl)), seen * np.exp(-2 * gamma * (1 - place)))
    return seen * np.exp(-2 * gamma * place)


def through_pad(take, seen, near_db, far_db, loss_db, tolerance):
    s11, s22 = take.disc(radius_of(near_db)), take.disc(radius_of(far_db))
    product = 10 ** (-(loss_db + take.between(-tolerance, tolerance)) / 10)
    return s11 + product * seen / (1 - s22 * seen)


def through_lead(take, seen, rl, length, per_root, loss_tolerance, ohm_tolerance):
    mhz = FREQ_HZ / 1e6
    conductor, dielectric = (each / 100 * NEPER_PER_DB for each in (per_root * np.sqrt(mhz), 0.004 * mhz))
    beta = 2 * np.pi * FREQ_HZ / (LIGHT_M_PER_S * 0.66)
    angle = (conductor - dielectric) / beta
    own = abs((75 * (1 - 1j * angle) - 75) / (75 * (1 - 1j * angle) + 75))
    least = (conductor + dielectric) * length * (1 - loss_tolerance) * (1 - 0.01 / length)
    end = radius_of(rl) / (1 + np.exp(-2 * least))
    end = (end - own) / (1 - end * own)
    most = min(ohm_tolerance, 150 * end / (1 + end))
    change, more, stretch = (
        take.between(-most, most),
        take.between(1 - loss_tolerance, 1 + loss_tolerance),
        take.angle(),
    )
    off = np.abs(change) / (150 - np.abs(change))
    room = (end - off) / (1 - end * off)
    ohm = (75 + change) * (1 - 1j * angle * more)
    rho = (ohm - 75) / (ohm + 75)
    gamma = ((conductor + dielectric) * more + 1j * beta) * (length + 0.01 * np.sin(stretch))
    seen = through_junction(take.disc(room), seen)
    seen = (seen - rho) / (1 - rho * seen) * np.exp(-2 * gamma)
    return through_junction(take.disc(room), (seen + rho) / (1 + rho * seen))


def through_residuals(take, seen, directivity_db, source_match_db, tracking_db):
    d, m = take.disc(radius_of(directivity_db)), take.disc(radius_of(source_match_db))
    t = take.disc(10 ** (tracking_db / 20) - 1)
    return d + (1 + t) * seen / (1 - m * seen)


def through_step(take, seen, near_ohm, far_ohm):
    """The same end in another reference: Z = far (1 + G)/(1 - G), read in `near_ohm`."""
    rho = (far_ohm - near_ohm) / (far_ohm + near_ohm)
    return (seen + rho) / (1 + rho * seen)


STEPS = {
    "step": (through_step, 0),
    "turned pad": (through_pad, 5),
    "residuals": (through_residuals, 6),
    "adapter": (through_adapter, 4),
    "pad": (through_pad, 5),
    "lead": (through_lead, 7),
}


def screen(chain, magnitude, angles):
    """Magnitude on the screen for a batch of points, shape (points, angles)."""
    take = Parameters(angles)
    seen = magnitude * np.exp(1j * take.angle())
    for kind, *figures in reversed(chain):
        seen = STEPS[kind][0](take, seen, *figures)
    assert take.at == angles.shape[1]
    return np.abs(seen)


def worst_found(chain, magnitude, rng, starts=6):
    """Lowest and highest screen magnitude that a multi-start search finds."""
    count = 1 + sum(STEPS[kind][1] for kind, *_ in chain)
    cloud = rng.uniform(-np.pi, np.pi, (4000, count))
    # Reflections at the rim of their discs make the extremes, so start with many of them there.
    cloud[::2] = np.where(rng.random((2000, count)) < 0.7, np.pi / 2 * rng.choice([-1, 1], (2000, count)), cloud[::2])
    values = screen(chain, magnitude, cloud)
    order = np.argsort(values)
    ends = []
    shift = 1e-6 * np.vstack([np.zeros(count), np.eye(count)])
    for sign, chosen in ((1, order[:starts]), (-1, order[-starts:])):

        def climb(x, sign=sign):
            found = sign * screen(chain, magnitude, x + shift)
            return found[0], (found[1:] - found[0]) / 1e-6

        best = min(minimize(climb, cloud[index], jac=True, method="BFGS").fun for index in chosen)
        ends.append(sign * min(best, sign * values[chosen].min() if sign > 0 else -values[chosen].max()))
    return ends[0], ends[1]
