"""Gains from received levels: three antennas in pairs, what a reflecting site does to a level, and front-to-back ratios."""

from __future__ import annotations

import math

from chain.errors import RangeError


def three_antenna_gains(sum_ab_db: float, sum_ac_db: float, sum_bc_db: float) -> tuple[float, float, float]:
    """Gains of three antennas from the gain sums of their three pairs.

    Parameters
    ----------
    sum_ab_db, sum_ac_db, sum_bc_db : received over transmitted power of each pair, the loss of the path taken off [dB].

    Returns
    -------
    Gains of A, B and C [dBi].

    Raises
    ------
    RangeError : a sum is not a finite number.

    Examples
    --------
    >>> from chain import three_antenna_gains
    >>> three_antenna_gains(13.0, 15.0, 18.0)
    (5.0, 8.0, 10.0)

    Source
    ------
    Three equations G_i + G_j = S_ij, the three-antenna method (IEEE Std 149, memory of its title only).
    """
    if not all(math.isfinite(each) for each in (sum_ab_db, sum_ac_db, sum_bc_db)):
        raise RangeError("a sum of two gains is not a finite number", "give all three in dB")
    return (
        (sum_ab_db + sum_ac_db - sum_bc_db) / 2,
        (sum_ab_db + sum_bc_db - sum_ac_db) / 2,
        (sum_ac_db + sum_bc_db - sum_ab_db) / 2,
    )


def multipath_error(below_db: float) -> tuple[float, float]:
    """How far a reflection may lower and raise a received level.

    Parameters
    ----------
    below_db : how far the reflected wave lies below the direct one at the antenna's terminals [dB].

    Returns
    -------
    Lowest and highest error of the level [dB]; the lowest is minus infinity where both waves are equal.

    Raises
    ------
    RangeError : the reflected wave would be stronger than the direct one.

    Examples
    --------
    >>> from chain import multipath_error
    >>> [round(each, 2) for each in multipath_error(20)]
    [-0.92, 0.83]

    Source
    ------
    Sum of two waves, 20 log10(1 +- r) with r = 10^(-R/20).
    """
    if not below_db >= 0:
        raise RangeError(
            f"a site's reflection of {below_db:g} dB is stronger than the direct wave", "give 0 dB or more"
        )
    ratio = 10 ** (-below_db / 20)
    return (20 * math.log10(1 - ratio) if ratio < 1 else -math.inf, 20 * math.log10(1 + ratio))


def front_to_back(reading_db: float, site_db: float) -> tuple[float, float]:
    """True front-to-back ratios that a reading may come from, at a site that reflects.

    Parameters
    ----------
    reading_db : level with the antenna's front to the transmitter, less the level with its back to it [dB].
    site_db : how far the site's reflections, arriving at the front, lie below the direct wave [dB].

    Returns
    -------
    Least and largest true ratio [dB]; the largest is infinite where the back may receive nothing but reflections.

    Raises
    ------
    RangeError : the site's reflections are stronger than the direct wave.

    Examples
    --------
    >>> from chain import front_to_back
    >>> [round(each, 2) for each in front_to_back(10, 20)]
    [7.61, 13.3]
    >>> front_to_back(22, 20)[1]
    inf

    Source
    ------
    With its back to the transmitter the antenna adds the direct wave, b = 10^(-F/20) of the front's, and reflections of
    r = 10^(-R/20) that its front receives: it reads |b e^j + r|. So b lies within r of what is read. The reflections at
    the front's own reading are left out, being that much smaller beside the whole direct wave.
    """
    if not site_db >= 0:
        raise RangeError(f"a site's reflection of {site_db:g} dB is stronger than the direct wave", "give 0 dB or more")
    read, site = 10 ** (-reading_db / 20), 10 ** (-site_db / 20)
    # Triangle inequality: |b - read| <= r. Where r may be all that was read, the back may receive nothing.
    return -20 * math.log10(read + site), -20 * math.log10(read - site) if read > site * (1 + 1e-12) else math.inf
