"""Where one amplifier helps, and with what gain: every place in the tree, side by side."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from chain.reception.checks import unfed_amplifiers
from chain.reception.formulas import T0_K, antenna_noise_k
from chain.reception.levels import Nominal, nominal_levels, rooms_db, without_item, words_of
from chain.reception.records import ANTENNA, Installation, InstalledItem, ReceivingAntenna
from chain.reception.tree import bypassed, followers_of, way_to
from chain.reception.trials import drawn_rooms, room_ends
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from library.frozen import dataclass
from library.reception import Amplifier, reception_part
from library.records import Coax

TYPICAL = ("masthead-amplifier", "distribution-amplifier")
MOST_PLACES = 60
GAIN_STEP_DB = 3.0
LEAST_DOWNLEAD_M = 3.0
"""A shorter lead does not come from a mast into the house (practice)."""


@dataclass(frozen=True)
class Score:
    """The worst of an installation, nominally: the least room to any limit, where, and to which limit."""

    room_db: float
    outlet: str
    channel: str
    limit: str


@dataclass(frozen=True)
class AmplifierPlace:
    """One amplifier at one place, at its best gain."""

    after: str
    words: str
    part: str
    gain_db: float
    score: Score
    noise_figure_db: float
    """System noise figure at the worst outlet and channel, referred to the antenna."""
    total_dbuv: float
    """Total at its output."""
    supply: str
    room_low_db: float | None = None
    """Ends that hold 95 % of the room at the worst outlet and channel; None where it was not drawn."""
    room_high_db: float | None = None
    holds: float | None = None
    """Share of the drawn installations in which everything works everywhere."""


@dataclass(frozen=True, repr=False)
class Placement(ResultTable):
    """Every place beside what is there now and no amplifier at all.

    First those that were drawn, by the low end of their room; the others by their nominal room.
    """

    title: str
    now: Score
    now_ends: tuple[float, float]
    """Ends that hold 95 % of the room now [dB]."""
    without: Score
    without_ends: tuple[float, float]
    """The same without any amplifier [dB]."""
    places: tuple[AmplifierPlace, ...]
    tried: int
    left_out: int
    """Places beyond the most that are tried."""
    remark: str
    warnings: tuple[str, ...]
    installation: Installation
    draws: int

    ROWS = "places"
    COLUMNS = ("after", "part", "gain_db", "noise_figure_db", "total_dbuv")

    def to_dict(self) -> dict[str, object]:
        """Give the result as plain values."""
        rows = [{**vars(each), "score": vars(each.score)} for each in self.places]
        document = {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(self.installation.assumed),
            "now": {**vars(self.now), "room_low_db": self.now_ends[0], "room_high_db": self.now_ends[1]},
            "draws": self.draws,
            "without": {
                **vars(self.without),
                "room_low_db": self.without_ends[0],
                "room_high_db": self.without_ends[1],
            },
            "place": rows,
            "tried": self.tried,
            "left_out": self.left_out,
            "remark": self.remark,
        }
        found = plain_values(document)
        assert isinstance(found, dict)
        return found


def score(installation: Installation, nominal: Nominal | None = None) -> Score:
    """The least nominal room to any limit, over all outlets with a receiver and all channels."""
    nominal = nominal or nominal_levels(installation)
    channels, ends, level = installation.channels, installation.outlets, nominal.level_dbuv
    rooms = rooms_db(installation, nominal.cni_db, level, level, nominal.total_dbuv)
    rooms[:, [bool(each.end) for each in ends]] = np.inf
    limit, outlet, channel = np.unravel_index(int(np.argmin(rooms)), rooms.shape)
    words = str(words_of(limit, nominal.cim_db[outlet, channel], nominal.cn_db[outlet, channel]))
    return Score(float(rooms[limit, outlet, channel]), ends[int(outlet)].id, channels[int(channel)].name, words)


def external_remark(
    installation: Installation, nominal: Nominal, worst: Score, room_low_db: float, noise_figure_db: float
) -> str:
    """Where noise from outside limits the worst outlet and channel, what an amplifier can bring at most; empty elsewhere.

    Source: `F_sys = f_a + F_chain - 1`: no amplifier makes the system quieter than the air.
    """
    antenna = installation.antenna
    column = [each.name for each in installation.channels].index(worst.channel)
    freq = installation.channels[column].centre_hz
    air_db = 10 * math.log10(float(antenna_noise_k(antenna.noise, antenna.noise_k, np.array([freq]))[0]) / T0_K)
    # A system far noisier than the air gains by an amplifier; one that works needs nothing.
    if room_low_db >= 0 or worst.limit != "noise" or air_db <= LOUD_DB or noise_figure_db - air_db > LOUD_DB:
        return ""
    listened = [not outlet.end for outlet in installation.outlets]
    most = float(nominal.noise_factor_db[listened, column].max()) - air_db
    offers = [each.name for each in installation.offers if isinstance(each.part, ReceivingAntenna)]
    larger = f"a larger antenna (on offer: {', '.join(offers)})" if offers else "a larger antenna"
    return (
        f"At {freq / 1e6:.0f} MHz the air's own noise is {air_db:.0f} dB: an amplifier brings at most {most:.1f} dB of C/N "
        f"there; {larger} or a better place brings all of its dB."
    )


def noise_at(installation: Installation, worst: Score, nominal: Nominal) -> float:
    """System noise figure at the worst outlet and channel, referred to the antenna [dB]."""
    outlet = [end.id for end in installation.outlets].index(worst.outlet)
    channel = [each.name for each in installation.channels].index(worst.channel)
    return float(nominal.noise_factor_db[outlet, channel])


LOUD_DB = 3.0
"""Noise from outside this far above 290 K rules over a good amplifier's own."""


def place_amplifier(
    installation: Installation,
    progress: Callable[[float], None] | None = None,
    seed: int = SEED,
) -> Placement:
    """Try one amplifier at every place of an installation, at its best gain.

    Parameters
    ----------
    installation : the receiving installation. Amplifiers in it are taken out first, and tried again at every place with
        those that are owned and on offer; a typical masthead and a typical distribution amplifier where there are none.
    progress : called with the finished share.
    seed : of the trials.

    Returns
    -------
    Placement: room is what is left, at the worst outlet and channel, to the nearest limit (margin asked for, level window,
    overload) [dB]. Gains and the best places are found nominally; these are then drawn, all in the same trials, and stand in
    the order of the low end of their 95 % interval.

    Examples
    --------
    >>> from chain import load_installation, place_amplifier
    >>> found = place_amplifier(load_installation("demo/outlets.toml"))
    >>> found.places[0].score.room_db > found.without.room_db
    True

    Source
    ------
    `chain.reception.levels`; gains in steps of 3 dB, then of 1 dB about the best.
    """
    bare = _without_amplifiers(installation)
    kinds = _amplifiers(installation)
    ports = [ANTENNA, *(port for item in bare.items for port in item.outputs)]
    followers = followers_of(bare.items, bare.outlets)
    ports = [port for port in ports if port in followers]
    found: list[tuple[AmplifierPlace, Amplifier]] = []
    chosen = ports[:MOST_PLACES]
    for number, port in enumerate(chosen):
        found += [(_best(bare, port, kind), kind) for kind in kinds if may_stand(bare, port, kind)]
        if progress:
            progress(0.8 * (number + 1) / len(chosen))
    # Trials are dear: only what comes out best with every unknown at zero is drawn.
    found.sort(key=lambda each: -each[0].score.room_db)
    nominal = nominal_levels(bare)
    best = [inserted(bare, each.after, kind, each.gain_db) for each, kind in found[:MOST_DRAWN]]
    # An amplifier that gets no feed brings nothing now.
    present = bypassed(installation, unfed_amplifiers(installation))
    now, none, *rooms = drawn_rooms([present, bare, *best], seed)
    drawn = []
    for (place, _), room in zip(found, rooms, strict=False):
        low, high = room_ends(room)
        drawn.append(replace(place, room_low_db=low, room_high_db=high, holds=float((room >= 0).mean())))
    # Rounded, so that what trials cannot resolve stands in the order of what is computed.
    drawn.sort(key=lambda each: (-round(each.room_low_db or 0.0, 1), -round(each.score.room_db, 1)))
    leading = drawn[0] if drawn else None
    if progress:
        progress(1.0)
    return Placement(
        installation.title,
        score(present),
        room_ends(now),
        score(bare, nominal),
        room_ends(none),
        (*drawn, *(each for each, _ in found[len(drawn) :])),
        len(found),
        len(ports) - len(chosen),
        external_remark(bare, nominal, leading.score, leading.room_low_db or 0.0, leading.noise_figure_db)
        if leading
        else "",
        installation.warnings,
        installation,
        now.size,
    )


MOST_DRAWN = 12
"""Best places that are drawn, and shown."""


def may_stand(installation: Installation, port: str, part: Amplifier) -> bool:
    """Whether an amplifier may stand at a port: one with a mains plug only indoors, in dry places.

    That is behind a lead long enough to come into the house, and not ahead of an amplifier that is fed up that lead.
    """
    if part.power_v or port == ANTENNA:
        return bool(part.power_v)
    home = port.partition(".")[0]
    way = {*way_to(installation, home), home}
    leads = (item.length_m for item in installation.items if item.id in way and isinstance(item.part, Coax))
    fed = (item.id for item in installation.items if isinstance(item.part, Amplifier) and item.part.power_v)
    return max(leads, default=0.0) >= LEAST_DOWNLEAD_M and not any(home in way_to(installation, each) for each in fed)


def _without_amplifiers(installation: Installation) -> Installation:
    bare = installation
    for item in installation.items:
        if isinstance(item.part, Amplifier):
            bare = without_item(bare, item.id, item.id)
    return bare


def _amplifiers(installation: Installation) -> tuple[Amplifier, ...]:
    """Kinds to try: those in place, owned or offered, or typical ones."""
    given = [item.part for item in installation.items] + [offer.part for offer in installation.offers]
    # Each kind once: an equal one would be tried at every place and gain again.
    found = dict.fromkeys(part for part in given if isinstance(part, Amplifier))
    if found:
        return tuple(found)
    typical = (reception_part(name) for name in TYPICAL)
    return tuple(part for part in typical if isinstance(part, Amplifier))


def inserted(installation: Installation, port: str, part: Amplifier, gain_db: float) -> Installation:
    """The installation with an amplifier between a port and what follows it."""
    name = next(each for each in (f"amplifier{number or ''}" for number in range(99)) if _free(installation, each))
    ends = part.input_connector, part.output_connector
    own = InstalledItem(name, replace(part, gain_db=gain_db), port, input_connector=ends[0], output_connector=ends[1])
    items = tuple(replace(item, after=name) if item.after == port else item for item in installation.items)
    outlets = tuple(replace(end, after=name) if end.after == port else end for end in installation.outlets)
    return replace(installation, items=(*items, own), outlets=outlets)


def _free(installation: Installation, name: str) -> bool:
    taken = [item.id for item in installation.items] + [outlet.id for outlet in installation.outlets]
    return name not in taken


def _best(bare: Installation, port: str, part: Amplifier) -> AmplifierPlace:
    """The gain at which the worst of the installation has most room."""
    tried: dict[float, tuple[Score, Nominal]] = {}

    def at(gain_db: float) -> float:
        if gain_db not in tried:
            changed = inserted(bare, port, part, gain_db)
            nominal = nominal_levels(changed)
            tried[gain_db] = score(changed, nominal), nominal
        return tried[gain_db][0].room_db

    # Room falls from either side of the best gain, noise below
    # and overload above: a coarse search and a fine one find it.
    best = max(_gains(part), key=at)
    around = [best + step for step in (-2, -1, 1, 2) if part.gain_from_db <= best + step <= part.gain_to_db]
    best = max([best, *around], key=at)
    found, nominal = tried[best]
    name = next(name for name in nominal.amplifier_total_dbuv if _free(bare, name))
    return AmplifierPlace(
        port,
        _words(bare, port),
        part.id,
        best,
        found,
        noise_at(bare, found, nominal),
        nominal.amplifier_total_dbuv[name],
        f"{part.power_v:g} V up the lead" if part.power_v else "mains",
    )


def _gains(part: Amplifier) -> Sequence[float]:
    low, high = part.gain_from_db, part.gain_to_db
    # The step need not meet the highest gain, which is one to try all the same.
    return [low] if high <= low else [*np.arange(low, high, GAIN_STEP_DB).tolist(), high]


def _words(bare: Installation, port: str) -> str:
    """A place in words: between what and what."""
    follower = followers_of(bare.items, bare.outlets)[port]
    if port == ANTENNA:
        return "at the antenna"
    return f"{port} to {follower.id}" if isinstance(follower, InstalledItem) else f"at {follower.id}"
