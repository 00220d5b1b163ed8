"""Everything that one page shows of a set-up: fit, losses, what to expect, what a sweep proves, and the card for the bench."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chain.analyses.bench_card import Card, card
from chain.analyses.checks import CheckResult, check
from chain.analyses.expect import Expectation, ExpectedReading, expect
from chain.analyses.recover import recover
from chain.analyses.recovery import Recovery
from chain.arrays import Real, distinct, median
from chain.assembly.power import Account, account
from chain.reflection import magnitude_from_vswr, vswr
from chain.results import SCHEMA_VERSION, SEED, ResultTable, plain_values
from chain.setups import Setup
from chain.sweeps.readings import Readings
from library.frozen import dataclass

LEAST_STEP = 1e-4
GRID = distinct(
    np.concatenate([np.linspace(0, 0.2, 17), np.linspace(0.2, 0.6, 25), np.linspace(0.6, 1.0, 21)]).round(6)
)
"""True magnitudes of the page's curves; closer together where a good antenna lies."""
MOST_FREQUENCIES = 201
READINGS = ("reading_vswr", "reading_low", "reading_high")
EXPECT_SHARE = 0.5
"""Share of the progress that the readings to expect take, where a sweep follows."""


@dataclass(frozen=True)
class ChannelOutlook:
    """What an antenna just at the limit reads anywhere in a channel: nominal range, interval, ceiling; all VSWR."""

    channel: str
    low_hz: float
    high_hz: float
    reading_vswr: float
    reading_low: float
    reading_high: float
    ceiling_vswr: float


@dataclass(frozen=True, repr=False)
class Page(ResultTable):
    """Answer of `report`."""

    ROWS = "rows"
    COLUMNS = Expectation.COLUMNS

    setup: Setup
    checked: CheckResult
    account: Account
    expectation: Expectation
    recovery: Recovery | None
    card: Card
    setup_text: str
    setup_name: str
    sweep_name: str

    @property
    def title(self) -> str:
        """Title of the set-up."""
        return self.setup.title

    @property
    def warnings(self) -> tuple[str, ...]:
        """What to beware of in the set-up and the sweep."""
        return self.expectation.warnings if self.recovery is None else self.recovery.warnings

    @property
    def proves(self) -> bool:
        """Whether the sweep proves the limit, or without a sweep, whether some reading would; true without a limit."""
        if self.recovery is not None:
            return self.recovery.verdict in ("pass", "no limit")
        return self.expectation.limit_vswr is None or self.expectation.aim_reading.vswr is not None

    @property
    def rows(self) -> tuple[ExpectedReading, ...]:
        """True values worth printing, with what the screen shows for them."""
        return self.expectation.rows

    @cached_property
    def grid(self) -> dict[str, Real]:
        """Readings as reflection magnitudes, shape (magnitudes, frequencies) each, at no more than `MOST_FREQUENCIES` + 1.

        `freq_hz` and `ceiling`, shape (frequencies,), and `true`, shape (magnitudes,), belong to them. The page draws straight lines
        from row to row; a value that is already among the rows would make a strip of no width.
        """
        freq_hz = self.expectation.freq_hz
        shown = np.array([row.true_vswr for row in self.rows])
        far = np.abs(GRID[:, None] - np.asarray(magnitude_from_vswr(shown))).min(axis=1) > LEAST_STEP
        # The rows' own values stay to the last digit: only they get every trial, and the page agrees with its table.
        wanted = np.sort([*shown, *np.asarray(vswr(GRID[far]))])
        step = np.linspace(0, freq_hz.size - 1, min(freq_hz.size, MOST_FREQUENCIES))
        # A long sweep is thinned for the drawing; the place that the table is made for is kept whatever the step.
        worst = np.argmin(np.abs(freq_hz - self.expectation.worst_hz))
        columns = distinct(np.append(step.round().astype(int), worst))
        names = ("reading_vswr", "reading_low", "reading_high", "bound_low", "bound_high")
        sweep = self.expectation.grid(wanted, columns)
        found = {name: np.asarray(magnitude_from_vswr(sweep[name])) for name in names}
        true, ceiling = (np.asarray(magnitude_from_vswr(sweep[name])) for name in ("true_vswr", "ceiling_vswr"))
        return {"freq_hz": freq_hz[columns], "true": true, "ceiling": ceiling, **found}

    @cached_property
    def channels(self) -> tuple[ChannelOutlook, ...]:
        """Readings of an antenna at the limit (or VSWR 2) over each channel of the set-up."""
        wanted, known = self.setup.sweep.channels, self.expectation
        if not wanted:
            return ()
        limit = self.setup.far.limit_vswr or 2.0
        # Channels are judged by every frequency, and the grid of a long sweep has left some out.
        if known.freq_hz.size > MOST_FREQUENCIES:
            found = known.over_sweep(limit)
            sweep, ceiling = {name: found[name][0] for name in READINGS}, found["ceiling_vswr"]
        else:
            row = int(np.argmin(np.abs(self.grid["true"] - magnitude_from_vswr(limit))))
            sweep = {name: np.asarray(vswr(self.grid[name][row])) for name in READINGS}
            ceiling = np.asarray(vswr(self.grid["ceiling"]))
        return tuple(
            ChannelOutlook(
                name,
                low_hz,
                high_hz,
                float(median(sweep["reading_vswr"][inside])),
                float(sweep["reading_low"][inside].min()),
                float(sweep["reading_high"][inside].max()),
                float(ceiling[inside].max()),
            )
            for name, low_hz, high_hz in wanted
            for inside in [_inside(known.freq_hz, low_hz, high_hz)]
        )

    def to_dict(self) -> dict[str, Any]:
        """Plain values: the answers of the commands that the page is made of, each under its command's name."""
        known = self.expectation
        expected = {
            key: value for key, value in known.to_dict().items() if key not in ("sweep", "schema_version", "curve")
        }
        return plain_values(  # type: ignore[return-value]
            {
                "schema_version": SCHEMA_VERSION,
                "title": self.title,
                "warnings": self.warnings,
                "assumed": self.setup.assumed,
                "check": self.checked.to_dict(),
                "expect": {**expected, "rows": [vars(row) for row in self.rows]},
                "recover": None if self.recovery is None else self.recovery.to_dict(),
                "channels": [vars(each) for each in self.channels],
                "card": self.card.to_dict(),
                "setup": self.setup_text,
                "sweep": self.sweep_name or None,
                "null_means": {"recover": "no sweep was given", "sweep": "no sweep was given"},
            }
        )


def page(
    setup: Setup,
    setup_text: str = "",
    readings: Readings | None = None,
    names: tuple[str, str] = ("", ""),
    draws: int | None = None,
    seed: int = SEED,
    progress: Callable[[float], None] | None = None,
) -> Page:
    """Everything that one page shows of a set-up, and of a sweep taken with it.

    Parameters
    ----------
    setup : the set-up.
    setup_text : the file it was read from, for reproduction.
    readings : a sweep, in the plane's reference.
    names : names of the files of set-up and sweep.
    draws : simulated measurements for every interval, rounded up to whole thousands, at least 1000; as many as `expect` and
        `recover` take by themselves if left out.
    seed : seed of every simulation.
    progress : called with the finished share, 0 to 1.

    Returns
    -------
    Page.

    Raises
    ------
    FitError, RangeError : see `chain.assembly.cascade.build` and `chain.analyses.recover.recover`.

    Examples
    --------
    >>> from chain import load_setup, page
    >>> found = page(load_setup("demo/boathouse.toml"), draws=1000)
    >>> found.checked.fits, round(found.expectation.ceiling_vswr, 2), found.recovery is None
    (True, 1.71, True)
    >>> found.grid["reading_vswr"].shape
    (66, 133)

    Source
    ------
    `chain.analyses.checks`, `chain.assembly.power`, `chain.analyses.expect`, `chain.analyses.recover`, `chain.analyses.bench_card`.
    """
    report = progress or _silent
    share = EXPECT_SHARE if readings is not None else 1.0
    expectation = expect(setup, (), draws, seed, lambda done: report(done * share))
    recovery = None
    if readings is not None:
        recovery = recover(setup, readings, draws, seed, lambda done: report(share + done * (1 - share)))
    # Made once and handed on, so that page and card cannot differ.
    checked = check(setup)
    return Page(
        setup,
        checked,
        account(setup),
        expectation,
        recovery,
        card(setup, expectation, checked, seed, recovery=recovery),
        setup_text,
        *names,
    )


def _silent(share: float) -> None:
    """Show nothing of the progress."""


def _inside(freq_hz: Sequence[float] | Real, low_hz: float, high_hz: float) -> NDArray[np.bool_]:
    """Points of the sweep inside a channel; the nearest one where none is."""
    freq = np.asarray(freq_hz)
    found = (freq >= low_hz) & (freq <= high_hz)
    if not found.any():
        # A sweep of few points may step over a narrow channel; the nearest reading says more than none.
        found[int(np.argmin(np.abs(freq - (low_hz + high_hz) / 2)))] = True
    return found
