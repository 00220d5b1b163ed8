"""What arrives at each outlet, with what margin and how sure, and what limits it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

import numpy as np

from chain.arrays import Real
from chain.errors import FitError
from chain.findings import Finding
from chain.reception.checks import SHORT_LEAD, blocking_joints, unfed_amplifiers, unpowered
from chain.reception.elements import Compiled, compile_tree, require_described
from chain.reception.formulas import mismatch_limits_db
from chain.reception.levels import (
    Nominal,
    Worth,
    amplifier_ports,
    cross_modulation,
    end_reflections,
    nominal_levels,
    nominal_source,
    rooms_db,
    words_of,
    worth_of,
)
from chain.reception.network import solve
from chain.reception.records import Installation
from chain.reception.sections import reflection_at
from chain.reception.tree import bypassed, way_to
from chain.reception.trials import DRAWS, DrawnMargins, draw_margins
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.rf.elements import limit_radius
from library.frozen import dataclass
from library.reception import Amplifier, default

VERDICTS = ("works", "not proven", "fails")
MER_CEILING_DB = 33.0
"""What a cheap set shows at most; practice."""
NONE_DB = 200.0
"""A ratio above this means that nothing disturbs."""


@dataclass(frozen=True)
class OutletChannel:
    """One channel at one outlet. Levels into 75 ohm, as a meter shows them; ends of intervals hold 95 %."""

    outlet: str
    channel: str
    freq_hz: float
    level_dbuv: float
    level_low: float
    level_high: float
    window: tuple[float | None, float | None]
    cn_db: float
    cim_db: float | None
    cni_db: float
    mer_db: float
    need_db: float
    asked_db: float
    margin_db: float
    margin_low_db: float
    margin_high_db: float
    probability: float
    limited_by: str
    verdict: str
    ripple_db: float
    """Highest less lowest nominal level within the channel."""
    tilt_db_per_mhz: float
    echo_ripple_db: float
    """Ripple that antenna and receiver, both at their limits, put on the channel with the loss between them."""


@dataclass(frozen=True, repr=False)
class Reception(ResultTable):
    """All outlets and channels; arrays of shape (outlets, channels) inside `nominal` and `drawn`."""

    title: str
    installation: Installation
    nominal: Nominal
    drawn: DrawnMargins
    verdicts: Any
    """Index into `VERDICTS`, shape (outlets, channels)."""
    limited_by: Any
    closest_db: Real
    """Room up to the limit that comes first, at the worse end of the interval; negative where it is not kept."""
    echo_ripple_db: Real
    slope_db: Real
    """Highest less lowest level of each outlet's services of one band."""
    isolation_db: Real
    isolation_room_db: Real
    worth: Worth
    warnings: tuple[str, ...]

    def order(self) -> list[tuple[int, int]]:
        """Outlet and channel of every row, worst first; ends without a receiver are left out."""
        listened = [row for row, outlet in enumerate(self.installation.outlets) if not outlet.end]
        places = [(row, column) for row in listened for column in range(len(self.installation.channels))]
        return sorted(places, key=lambda at: (-int(self.verdicts[at]), float(self.closest_db[at])))

    def row(self, outlet: int, channel: int) -> OutletChannel:
        """One channel at one outlet."""
        at = outlet, channel
        found, nominal, drawn = self.installation.channels[channel], self.nominal, self.drawn
        cni = float(nominal.cni_db[at])
        cim = float(nominal.cim_db[at])
        return OutletChannel(
            self.installation.outlets[outlet].id,
            found.name,
            found.centre_hz,
            float(nominal.level_dbuv[at]),
            float(drawn.level_dbuv[(0, *at)]),
            float(drawn.level_dbuv[(1, *at)]),
            (found.window_low_dbuv, found.window_high_dbuv),
            float(nominal.cn_db[at]),
            cim if cim < NONE_DB else None,
            cni,
            min(cni, MER_CEILING_DB),
            found.need_db,
            found.margin_db,
            cni - found.need_db,
            float(drawn.cni_db[(0, *at)]) - found.need_db,
            float(drawn.cni_db[(1, *at)]) - found.need_db,
            float(drawn.probability[at]),
            str(self.limited_by[at]),
            VERDICTS[int(self.verdicts[at])],
            float(nominal.ripple_db[at]),
            float(nominal.tilt_db_per_mhz[at]),
            float(self.echo_ripple_db[at]),
        )

    def count(self, verdict: str) -> int:
        """Rows with a verdict."""
        listened = np.array([not outlet.end for outlet in self.installation.outlets])
        return int(np.count_nonzero(self.verdicts[listened] == VERDICTS.index(verdict)))

    @cached_property
    def unpowered(self) -> tuple[Finding, ...]:
        """What the amplifiers' direct current lacks."""
        return unpowered(self.installation)

    @cached_property
    def unfed(self) -> tuple[str, ...]:
        """Amplifiers without their direct current: all levels are computed without them, by their bypasses."""
        return unfed_amplifiers(self.installation)

    @cached_property
    def silent(self) -> tuple[str, ...]:
        """Outlets without any level: behind an amplifier that has neither its direct current nor a bypass."""
        return tuple(each.id for each in self.installation.outlets if self.silent_at(each.id))

    def silent_at(self, place: str) -> bool:
        """Whether nothing arrives at an outlet, or behind an item (its id, or a port of it)."""
        home = place.partition(".")[0]
        return bool(self._dead) and bool(self._dead & {home, *way_to(self.installation, home)})

    @cached_property
    def _dead(self) -> frozenset[str]:
        """Amplifiers that pass nothing: they have neither their direct current nor a bypass."""
        parts = {item.id: item.part for item in self.installation.items}
        amplifiers = ((name, parts[name]) for name in self.unfed)
        return frozenset(name for name, part in amplifiers if isinstance(part, Amplifier) and not part.bypass_loss_db)

    @property
    def works(self) -> bool:
        """Whether every channel works at every outlet, and every amplifier is fed."""
        return not self.unpowered and self.count("works") == sum(
            not each.end for each in self.installation.outlets
        ) * len(self.installation.channels)

    def headline(self) -> str:
        """How many work, fail, or are open."""
        counts = ", ".join(f"{self.count(each)} {each}" for each in VERDICTS)
        return f"{self.title}: {counts}; everything works with a probability of {self.drawn.joint_probability:.0%}"

    def table(self) -> dict[str, Any]:
        """Every outlet and channel, worst first."""
        rows = [self.row(*at) for at in self.order()]
        names = ("outlet", "channel", "freq_hz", "level_dbuv", "cni_db", "margin_db", "margin_low_db", "margin_high_db")
        return {name: [getattr(row, name) for row in rows] for name in (*names, "verdict", "limited_by")}

    def to_dict(self) -> dict[str, object]:
        """Give the result as plain values."""
        installation, nominal = self.installation, self.nominal
        rows = []
        crossed = cross_modulation(nominal)
        for number, outlet in enumerate(installation.outlets):
            channels = []
            for column in range(len(installation.channels)):
                row = vars(self.row(number, column)).copy()
                row.pop("outlet")
                channels.append({**row, "window": list(row["window"])})
            rows.append(
                {
                    "id": outlet.id,
                    "end": outlet.end or "receiver",
                    "channels": channels,
                    "slope_db": float(self.slope_db[number]),
                    "isolation_db": float(self.isolation_db[number]),
                    "total_dbuv": float(nominal.total_dbuv[number]),
                    "cross_modulation_db": crossed[number],
                    "probability": float(self.drawn.outlet_probability[number]),
                }
            )
        document = {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(installation.assumed),
            "works": self.works,
            "joint_probability": self.drawn.joint_probability,
            "outlets": rows,
            "antenna": [
                {"channel": channel.name, "freq_hz": channel.centre_hz, "level_dbuv": float(level)}
                for channel, level in zip(installation.channels, nominal.antenna_dbuv, strict=True)
            ],
            "noise_figure_db": nominal.noise_factor_db,
            "amplifiers": [
                {"id": name, "total_dbuv": total, "least_distance_db": float(nominal.amplifier_distance_db[name].min())}
                for name, total in nominal.amplifier_total_dbuv.items()
            ],
            "worth": self.worth.to_dict(),
            "draws": self.drawn.draws,
            "end_error_db": self.drawn.end_error_db,
            "seed": self.drawn.seed,
        }
        found = plain_values(document)
        assert isinstance(found, dict)
        return found


def outlets(
    installation: Installation,
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Reception:
    """Compute what arrives at each outlet of an installation, with its margin, verdict and probability.

    Parameters
    ----------
    installation : the receiving installation, from `load_installation`.
    draws : simulated installations for every interval, at least 200.
    seed : of these trials.
    progress : called with the finished share.

    Returns
    -------
    Reception. Levels into 75 ohm; a margin is C/(N+I) less what the mode needs; a channel works where the low end of its
    95 % interval holds the margin asked for and the level keeps its window, fails where the high end does not.

    Raises
    ------
    FitError : two connectors do not fit together.
    RangeError : a channel lies outside what a part is described for.

    Examples
    --------
    >>> from chain import load_installation, outlets
    >>> found = outlets(load_installation("demo/outlets.toml"), draws=500)
    >>> worst = found.row(*found.order()[0])
    >>> worst.outlet, worst.verdict
    ('workshop', 'not proven')

    Source
    ------
    `C/N = U - kTB - F` with available gain and Bosma noise of passive parts; products of OFDM blocks by the threefold
    convolution of their spectra; JCGM 101 for the trials.
    """
    require_described(installation)
    for each in blocking_joints(installation):
        raise FitError(f"{each.above} and {each.below} do not fit together: {each.reason}", SHORT_LEAD)
    stated, unfed = installation, unfed_amplifiers(installation)
    # An amplifier that is not fed does not amplify: what arrives is what passes it.
    installation = bypassed(installation, unfed) if unfed else installation
    nominal = nominal_levels(installation)
    drawn = draw_margins(nominal, draws, seed, progress)
    verdicts, limits, closest = _judge(installation, nominal, drawn)
    listened = np.array([not outlet.end for outlet in installation.outlets])
    # A row that fails goes before every one that is only open, however little room that has.
    worst = np.where(listened[:, None], closest - 1000 * verdicts, np.inf)
    outlet, channel = np.unravel_index(int(np.argmin(worst)), worst.shape)
    worth = worth_of(installation, int(outlet), int(channel))
    isolation, room = worst_isolation_db(installation)
    slope = _slopes(installation, nominal)
    warnings = (*installation.warnings, *_remarks(installation, nominal, slope, isolation, room))
    return Reception(
        stated.title,
        stated,
        nominal,
        drawn,
        verdicts,
        limits,
        closest,
        _echo_ripple(installation, nominal),
        slope,
        isolation,
        room,
        worth,
        warnings,
    )


def _judge(installation: Installation, nominal: Nominal, drawn: DrawnMargins) -> tuple[Any, Any, Real]:
    """Verdict, what limits, and the room to that limit, for every outlet and channel."""
    # Each limit by the end of its interval that is worse for it.
    (level_low, level_high), (low, high) = drawn.level_dbuv, drawn.cni_db
    surely = rooms_db(installation, low, level_low, level_high, drawn.total_dbuv[1])
    perhaps = rooms_db(installation, high, level_high, level_low, drawn.total_dbuv[0])
    verdicts = np.where(surely.min(axis=0) >= 0, 0, np.where(perhaps.min(axis=0) < 0, 2, 1))
    words = words_of(np.argmin(surely, axis=0), nominal.cim_db, nominal.cn_db)
    return verdicts, words, surely.min(axis=0)


def _echo_ripple(installation: Installation, nominal: Nominal) -> Real:
    """Ripple by one echo between antenna and receiver; none where an amplifier stands between them [dB].

    Source: `20 log((1 + p)/(1 - p))`, p the product of both reflections and the loss between.
    """
    channels, ends = installation.channels, installation.outlets
    freq = np.array([channel.centre_hz for channel in channels])
    found, _ = reflection_at(installation.antenna.match, freq)
    # What the antenna's own reflection keeps back is no loss between the two.
    kept = 10 * np.log10(1 - np.abs(nominal_source(installation.antenna.match, freq)) ** 2)
    lost = nominal.antenna_dbuv + kept - nominal.level_dbuv
    ripple = np.zeros((len(ends), len(channels)))
    amplified = {int(port) for port in amplifier_ports(nominal.compiled).values()}
    for row, end in enumerate(ends):
        port = int(nominal.compiled.plan.outlets[row])
        way = set()
        while port > 0:
            way.add(port)
            port = int(nominal.compiled.plan.parent[port])
        limit = limit_radius(end.receiver.limit, freq) if end.receiver else None
        if limit is None or way & amplified:
            continue
        for column in range(len(channels)):
            sizes = (min(abs(complex(found[column])), 0.99), min(float(limit[column]), 0.99))
            low, high = mismatch_limits_db(*sizes, max(float(lost[row, column]), 0.0))
            ripple[row, column] = high - low
    return ripple


def _slope_limit(installation: Installation) -> float:
    high = max(channel.centre_hz for channel in installation.channels)
    return default("slope_950_2150_db" if high > 900e6 else "slope_15_862_db")


def _slopes(installation: Installation, nominal: Nominal) -> Real:
    """Highest less lowest nominal level among the services of one band, the widest band of each outlet [dB]."""
    bands: dict[int, list[int]] = {}
    for number, channel in enumerate(installation.channels):
        bands.setdefault(int(np.searchsorted([110e6, 300e6, 900e6], channel.centre_hz)), []).append(number)
    return np.asarray(np.max([np.ptp(nominal.level_dbuv[:, each], axis=1) for each in bands.values()], axis=0))


def _remarks(installation: Installation, nominal: Nominal, slope: Real, isolation: Real, room: Real) -> list[str]:
    remarks = []
    listened = np.array([not outlet.end for outlet in installation.outlets])
    uneven, most = np.where(listened[:, None], nominal.ripple_db, 0.0), 2 * default("channel_ripple_db")
    if uneven.max() > most:
        row, column = np.unravel_index(int(uneven.argmax()), uneven.shape)
        place = f"in channel {installation.channels[int(column)].name} at {installation.outlets[int(row)].id}"
        remarks.append(f"the level changes by {uneven.max():.1f} dB {place} (at most {most:g} asked)")
    limit = _slope_limit(installation)
    steep = [number for number, outlet in enumerate(installation.outlets) if not outlet.end and slope[number] > limit]
    if steep:
        worst = max(steep, key=lambda number: float(slope[number]))
        text = f"levels of one band differ by {slope[worst]:.0f} dB at {installation.outlets[worst].id} (at most {limit:g} asked)"
        remarks.append(text + (f"; {len(steep)} outlets lie above" if len(steep) > 1 else ""))
    poor = [number for number, outlet in enumerate(installation.outlets) if not outlet.end and room[number] < 0]
    if poor:
        worst = min(poor, key=lambda number: float(room[number]))
        asked = isolation[worst] - room[worst]
        name = installation.outlets[worst].id
        remarks.append(
            f"isolation between outlets {isolation[worst]:.0f} dB at {name} ({asked:.0f} dB asked between different users)"
            + (f"; {len(poor)} outlets lie below what is asked" if len(poor) > 1 else "")
        )
    return remarks


MOST_FREQUENCIES = 12


def isolation_limit_db(freq_hz: float) -> float:
    """Isolation that outlets of different users should have [dB]: RD 346/2011 (Spain), annex I, 4.4.4."""
    band = "47_300" if freq_hz < 300e6 else "300_862" if freq_hz < 900e6 else "950_2150"
    return default(f"isolation_{band}_db")


def worst_isolation_db(installation: Installation) -> tuple[Real, Real]:
    """Least isolation of each outlet from any other, and how far it lies above what is asked for [dB].

    The way up from one outlet, across the splitter where both meet, and down to the other, every other port in its stated
    end; nothing else comes into play on a tree. Infinite where an outlet is alone.

    Source: `Y = (I - S G)^-1 S` across the splitter; nominal losses of the two ways.
    """
    centres = np.array(sorted({channel.centre_hz for channel in installation.channels}))
    # Isolation changes slowly with frequency: that of every so many channels shows the worst.
    step = -(-centres.size // MOST_FREQUENCIES)
    freq = centres[::step]
    compiled = compile_tree(installation, freq)
    source = nominal_source(installation.antenna.match, freq)
    found = solve(compiled.plan, compiled.nominal(), source, np.full(freq.shape, 290.0), end_reflections(installation))
    down = 10 * np.log10(np.maximum(found.gain, 1e-30))
    across = _across(compiled, found.coupling)
    worst = _meetings(compiled, down, _backward(compiled, down), across)
    isolation = -worst
    limits = np.array([isolation_limit_db(each) for each in freq])
    room = isolation - limits
    # The limit changes with frequency, so the least isolation need not be where most is lacking.
    at = np.argmin(room, axis=1)
    rows = np.arange(len(installation.outlets))
    return isolation[rows, at], room[rows, at]


def _across(compiled: Compiled, coupling: object) -> dict[tuple[int, int], Real]:
    """Power from output to output of every splitter, by their ports [dB]; pairs without any are left out."""
    assert isinstance(coupling, dict)
    found: dict[tuple[int, int], Real] = {}
    for number, rows in coupling.items():
        outputs = compiled.plan.groups[number].outputs
        for i, row in enumerate(rows):
            for j, wave in enumerate(row):
                if i != j and wave is not None:
                    power = 10 * np.log10(np.maximum(np.abs(wave) ** 2, 1e-30))
                    for member in range(outputs.shape[0]):
                        found[int(outputs[member, i]), int(outputs[member, j])] = power[member]
    return found


def _backward(compiled: Compiled, down: Real) -> Real:
    """Gain from each port back to the antenna [dB]: that of the way down, but for amplifiers."""
    items, plan = compiled.installation.items, compiled.plan
    # A passive way loses the same either way; an amplifier loses its reverse isolation instead of giving its gain.
    up = down.copy()
    lost = np.zeros(down.shape[0])
    for port in range(1, len(plan.ports)):
        part = items[plan.owner[port]].part
        own = part.gain_db + part.reverse_loss_db if isinstance(part, Amplifier) else 0.0
        lost[port] = lost[plan.parent[port]] + own
    return np.asarray(up - lost[:, None])


def _meetings(compiled: Compiled, down: Real, up: Real, across: dict[tuple[int, int], Real]) -> Real:
    """Strongest way from any other listening outlet to each outlet [dB]."""
    plan, outlets = compiled.plan, compiled.installation.outlets
    best = np.full(down.shape, -np.inf)
    ways: list[list[int]] = []
    for outlet, end in zip(outlets, plan.outlets, strict=True):
        port, way = int(end), []
        while port >= 0:
            way.append(port)
            if not outlet.end:
                # The strongest way up from any outlet below each port,
                # walked once for each outlet and not for each pair.
                best[port] = np.maximum(best[port], up[end] - up[port])
            port = int(plan.parent[port])
        ways.append(way)
    meeting: dict[int, list[int]] = {}
    for into, out_of in across:
        meeting.setdefault(into, []).append(out_of)
    worst = np.full((len(outlets), down.shape[1]), -np.inf)
    for row, way in enumerate(ways):
        for port in way:
            for other in meeting.get(port, ()):
                # Up to the splitter, across it, and down from its other output.
                through = best[other] + across[port, other] + down[way[0]] - down[port]
                worst[row] = np.maximum(worst[row], through)
    return worst
