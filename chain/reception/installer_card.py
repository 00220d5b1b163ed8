"""The installer's card: what to expect at each test point, lines to fill in, and what to beware of."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from chain.arrays import Real
from chain.findings import Finding
from chain.reception.checks import check_installation
from chain.reception.levels import Nominal, amplifier_ports, on_the_way
from chain.reception.outlets import VERDICTS, Reception, outlets
from chain.reception.records import ANTENNA, Installation
from chain.reception.trials import DRAWS
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from library.frozen import dataclass
from library.reception import Amplifier

MOST_POINTS = 14


@dataclass(frozen=True)
class TestPoint:
    """One place where a meter may be put: level to expect into 75 ohm in each channel, and the 95 % about it [dBuV]."""

    place: str
    what: str
    level_dbuv: tuple[float, ...]
    low_dbuv: tuple[float, ...]
    high_dbuv: tuple[float, ...]
    verdict: str = ""
    __test__ = False


@dataclass(frozen=True, repr=False)
class InstallerCard(ResultTable):
    """Test points from the antenna to the outlets, channels of all of them, cautions."""

    title: str
    channels: tuple[tuple[str, float], ...]
    """Name and centre [Hz]."""
    points: tuple[TestPoint, ...]
    left_out: int
    cautions: tuple[Finding, ...]
    reception: Reception
    warnings: tuple[str, ...]

    ROWS = "points"
    COLUMNS = ("place", "what", "level_dbuv", "verdict")

    def to_dict(self) -> dict[str, object]:
        """Give the card as plain values."""
        points = [{key: value for key, value in vars(each).items() if not key.startswith("_")} for each in self.points]
        document = {
            "schema_version": SCHEMA_VERSION,
            "title": self.title,
            "warnings": list(self.warnings),
            "assumed": list(self.reception.installation.assumed),
            "channels": [{"channel": name, "freq_hz": freq} for name, freq in self.channels],
            "points": points,
            "left_out": self.left_out,
            "cautions": [each.to_dict() for each in self.cautions],
        }
        found = plain_values(document)
        assert isinstance(found, dict)
        return found


def installer_card(
    installation: Installation,
    draws: int = DRAWS,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> InstallerCard:
    """Make the card to take along: levels to expect at the antenna, behind each amplifier and at each outlet.

    Parameters
    ----------
    installation : the receiving installation.
    draws, seed : of the intervals; at least 200 draws.
    progress : called with the finished share.

    Returns
    -------
    InstallerCard.

    Examples
    --------
    >>> from chain import installer_card, load_installation
    >>> [point.place for point in installer_card(load_installation("demo/outlets.toml"), draws=400).points]
    ['antenna', 'mast', 'hall', 'workshop', 'loft']

    Source
    ------
    `chain.reception.outlets`; inside the tree the spreads of field, antenna and amplifiers alone.
    """
    return card_of(outlets(installation, draws, seed, progress))


def card_of(found: Reception) -> InstallerCard:
    """The card of an installation that has been computed."""
    installation, nominal = found.installation, found.nominal
    points = [_inside(nominal, 0, ANTENNA, "its terminals, into 75 ohm")]
    for number, port in amplifier_ports(nominal.compiled).items():
        item = installation.items[number]
        points.append(_inside(nominal, port, item.id, "amplifier's output"))
    for row, outlet in enumerate(installation.outlets):
        if not outlet.end:
            ends = found.drawn.level_dbuv[:, row]
            worst = VERDICTS[int(found.verdicts[row].max())]
            points.append(_point(outlet.id, "outlet", (nominal.level_dbuv[row], ends[0], ends[1]), worst))
    channels = tuple((channel.name, channel.centre_hz) for channel in installation.channels)
    checked = check_installation(installation)
    left_out = max(0, len(points) - MOST_POINTS)
    return InstallerCard(
        found.title, channels, tuple(points[:MOST_POINTS]), left_out, checked.findings, found, found.warnings
    )


def _inside(nominal: Nominal, port: int, place: str, what: str) -> TestPoint:
    """A point inside the tree: nominal level, twice the standard deviation of what lies before it either side."""
    installation = nominal.compiled.installation
    level = nominal.at_port[port]
    tolerances = [installation.antenna.gain_tolerance_db]
    for number in on_the_way(nominal.compiled, port):
        part = installation.items[number].part
        if isinstance(part, Amplifier) and not installation.items[number].ideal:
            tolerances.append(part.gain_tolerance_db)
    spread = np.array([installation.sources[channel.signal].spread_db for channel in installation.channels])
    half = 2 * np.sqrt(spread**2 + sum(each**2 for each in tolerances) / 3)
    return _point(place, what, (level, level - half, level + half))


def _point(place: str, what: str, rows: tuple[Real, Real, Real], verdict: str = "") -> TestPoint:
    level, low, high = (tuple(each.tolist()) for each in rows)
    return TestPoint(place, what, level, low, high, verdict)
