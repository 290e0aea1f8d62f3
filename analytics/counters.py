"""Running totals: what was counted between readings of a counter that may be reset or roll over."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

MICROSECONDS_PER_SECOND = 1e6


def counted(value: ArrayLike, rolls_over_at: float | None = None) -> float:
    """Return how much a counter counted over its readings, in order.

    Parameters
    ----------
    value : array_like
        The counter's readings in time order, shape (n,); NaN is no data. [the counter's unit]
    rolls_over_at : float, optional
        Where the counter begins again at 0; None for one that does not. [the counter's unit]

    Returns
    -------
    total : float
        What was counted from the first to the last reading; NaN with fewer than two. [the counter's unit]

    See Also
    --------
    increments : The same, reading by reading, and the rule for resets and roll-overs.

    Examples
    --------
    >>> counted([10.0, 12.5, 1.0, 2.0])
    4.5
    """
    steps = increments(value, rolls_over_at)
    known = ~np.isnan(steps)
    return float(steps[known].sum()) if known.any() else float("nan")


def increments(value: ArrayLike, rolls_over_at: float | None = None) -> NDArray[np.float64]:
    """Return what a counter counted from the reading before to each of its readings.

    A reading below the one before means that the counter rolled over or was reset to zero in between.
    It rolled over if it has a ``rolls_over_at`` and fell by more than half of that: then it counted up
    to there and on. Else it was reset: what it shows was counted since, and what it counted unseen
    before the reset is lost.

    Parameters
    ----------
    value : array_like
        The counter's readings in time order, shape (n,); NaN is no data. [the counter's unit]
    rolls_over_at : float, optional
        Where the counter begins again at 0; None for one that does not. [the counter's unit]

    Returns
    -------
    increment : numpy.ndarray
        Shape (n,); never negative. NaN where ``value`` is, and at the first reading. [the counter's unit]

    Raises
    ------
    ValueError
        If ``rolls_over_at`` is not positive.

    Notes
    -----
    The rule needs readings closer together than the time in which half a turn is counted; a meter read
    less often than that cannot be told from one that was reset.

    Examples
    --------
    >>> increments([9990.0, 9998.0, 3.0], rolls_over_at=10_000.0).tolist()
    [nan, 8.0, 5.0]
    >>> increments([10.0, 12.5, 1.0]).tolist()
    [nan, 2.5, 1.0]
    """
    if rolls_over_at is not None and not rolls_over_at > 0:
        raise ValueError(
            f"rolls_over_at is {rolls_over_at}: give the reading at which the counter begins again, above 0"
        )
    readings = np.asarray(value, dtype=float)
    increment = np.full(readings.shape, np.nan)
    known = np.flatnonzero(~np.isnan(readings))
    if len(known) < 2:
        return increment
    steps = np.diff(readings[known])
    after = readings[known[1:]]
    if rolls_over_at is None:
        turned = np.zeros(len(steps), bool)
    else:
        turned = steps < -rolls_over_at / 2
        steps = np.where(turned, np.maximum(steps + rolls_over_at, after), steps)
    increment[known[1:]] = np.where((steps < 0) & ~turned, after, steps)
    return increment


def rate(
    time_us: ArrayLike, value: ArrayLike, max_gap_us: float, rolls_over_at: float | None = None
) -> NDArray[np.float64]:
    """Return how fast a counter counted, on average since the reading before.

    Parameters
    ----------
    time_us : array_like
        Instants of the readings, ascending, shape (n,). [us]
    value : array_like
        The counter's readings, shape (n,); NaN is no data. [the counter's unit]
    max_gap_us : float
        Between readings further apart than this there is no rate: too much is unknown. [us]
    rolls_over_at : float, optional
        Where the counter begins again at 0; None for one that does not. [the counter's unit]

    Returns
    -------
    rate : numpy.ndarray
        Shape (n,); NaN where there is none. [the counter's unit per second]

    Raises
    ------
    ValueError
        If ``time_us`` and ``value`` are not of one length, or ``rolls_over_at`` is not positive.

    Examples
    --------
    >>> rate([0, 60_000_000, 600_000_000], [5.0, 11.0, 12.0], 180e6).round(3).tolist()
    [nan, 0.1, nan]
    """
    at_us, readings = np.asarray(time_us, dtype=float), np.asarray(value, dtype=float)
    if at_us.shape != readings.shape:
        raise ValueError(f"{at_us.shape} times and {readings.shape} values do not belong together: give one of each")
    passed_us = np.full(readings.shape, np.nan)
    known = np.flatnonzero(~np.isnan(readings))
    passed_us[known[1:]] = np.diff(at_us[known])
    passed_us[~(passed_us <= max_gap_us)] = np.nan
    per_second: NDArray[np.float64] = increments(readings, rolls_over_at) / passed_us * MICROSECONDS_PER_SECOND
    return per_second
