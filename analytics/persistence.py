"""What lasts: a series that does not move, and a condition that must hold for a time before it counts."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import Floats, samples
from analytics.flagging import Flags, check_pair, finite_samples, seconds_as_us
from farm.flags import Flag


def flat_line_flags(
    time_us: ArrayLike,
    value: ArrayLike,
    tolerance: float,
    suspect_s: float,
    fail_s: float,
    gap_s: float,
    resting_value: float | None = None,
    since: int = 0,
) -> Flags:
    """Return whether each sample ends a stretch in which the series did not move.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples. A NaN is missing: it is looked past, within ``gap_s``. [the quantity's unit]
    tolerance : float
        Highest less lowest value below this is no movement; above 0. [the quantity's unit]
    suspect_s, fail_s : float
        So long without movement is suspect, or fails; infinite for never. [s]
    gap_s : float
        Samples further apart than this are two stretches. [s]
    resting_value : float, optional
        A value at which the quantity may rest for ever (no flow, no light): not tested. [the quantity's unit]
    since : int
        Position of the first sample that is asked about, 0 or more; those before only take part.

    Returns
    -------
    flags : numpy.ndarray of uint8
        Of the samples from ``since`` on: GOOD where it moved, SUSPECT, FAIL; NOT_EVALUATED where it did not, for
        less than ``suspect_s`` that are known, or at rest; MISSING for NaN.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a duration or the tolerance is not above 0, or
        suspect is above fail.

    Notes
    -----
    QARTOD's flat line test over time instead of over a count of samples: the window of a sample begins at the
    newest sample at or before ``suspect_s`` ago. A coarse sensor in a steady room repeats itself honestly for
    hours: choose the duration for that, since no tolerance below one step of the sensor helps. Reach:
    the longer finite duration plus ``gap_s``, before.

    Examples
    --------
    >>> minutes = [60_000_000 * n for n in range(6)]
    >>> flat_line_flags(minutes, [20.0, 20.1, 20.1, 20.1, 20.1, 20.2], 0.05, 120, 180, gap_s=180).tolist()
    [2, 1, 1, 3, 4, 1]
    """
    times, values = finite_samples(time_us, value)
    if not tolerance > 0.0:
        raise ValueError(f"tolerance is {tolerance:g}: a movement is never less than that; give a value above 0")
    check_pair("flat line duration", suspect_s, fail_s)
    gap_us = seconds_as_us("gap_s", gap_s)
    came = ~np.isnan(values)
    flags = np.full(values[since:].shape, Flag.MISSING, np.uint8)
    at, seen, asked = times[came], values[came], int(np.count_nonzero(came[:since]))
    found = np.full(seen[asked:].shape, Flag.NOT_EVALUATED, np.uint8)
    if len(found):
        begin = _newest(np.diff(at, prepend=at[:1]) > gap_us)[asked:]  # of the stretch
        for duration_s, flag in ((suspect_s, Flag.SUSPECT), (fail_s, Flag.FAIL)):
            if np.isfinite(duration_s):
                first = np.searchsorted(at, at[asked:] - seconds_as_us("duration", duration_s), side="right") - 1
                flat = _flat(seen, np.maximum(first, begin), tolerance)
                found[flat & (first >= begin)] = flag
                if flag is Flag.SUSPECT:
                    found[~flat] = Flag.GOOD
        if resting_value is not None:
            at_rest = np.abs(seen[asked:] - resting_value) < tolerance
            found[at_rest & (found != Flag.GOOD)] = Flag.NOT_EVALUATED
    flags[came[since:]] = found
    return flags


def held_flags(time_us: ArrayLike, wrong: ArrayLike, hold_s: float, gap_s: float) -> Flags:
    """Return whether something has been wrong at every sample for some time.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    wrong : array_like
        1 wrong, 0 not, NaN unknown. [1]
    hold_s : float
        For how long it must have been wrong. [s]
    gap_s : float
        Known samples further apart than this do not tell about the time between. [s]

    Returns
    -------
    flags : numpy.ndarray of uint8
        SUSPECT where it was wrong for ``hold_s`` up to this sample, GOOD where it is not wrong, NOT_EVALUATED
        where it is wrong for less, MISSING where unknown.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or a duration is not above 0.

    Notes
    -----
    Reach: ``hold_s`` plus ``gap_s``, before.

    Examples
    --------
    >>> minutes = [60_000_000 * n for n in range(5)]
    >>> held_flags(minutes, [0, 1, 1, 1, 0], hold_s=120, gap_s=60).tolist()
    [1, 2, 2, 3, 1]
    """
    times, values = samples(time_us, wrong)
    gap_us, hold_us = seconds_as_us("gap_s", gap_s), seconds_as_us("hold_s", hold_s)
    came = ~np.isnan(values)
    at, bad = times[came], values[came] > 0.5
    starts = bad & (np.diff(at, prepend=at[:1]) > gap_us)
    starts[1:] |= bad[1:] & ~bad[:-1]
    begin = np.maximum.accumulate(np.where(starts, np.arange(len(at)), 0))
    lasted = at - at[begin] >= hold_us
    flags = np.full(values.shape, Flag.MISSING, np.uint8)
    flags[came] = np.where(bad, np.where(lasted, Flag.SUSPECT, Flag.NOT_EVALUATED), Flag.GOOD)
    return flags


def _flat(values: Floats, first: NDArray[np.intp], tolerance: float) -> NDArray[np.bool_]:
    """Return whether ``values[first[n] : last + 1]`` moves by less than a tolerance, for each ``last`` of the end."""
    last = np.arange(len(values) - len(first), len(values))
    flat: NDArray[np.bool_] = first >= _newest(np.abs(np.diff(values, prepend=values[:1])) >= tolerance)[last[0] :]
    crept = np.flatnonzero(flat & (first < last))  # no two neighbours differ, but it may have crept
    if len(crept):
        begin, end = int(first[crept[0]]), int(last[crept[-1]]) + 1  # the windows' beginnings ascend, as their ends do
        flat[crept] = _spread(values[begin:end], first[crept] - begin, last[crept] - begin) < tolerance
    return flat


def _newest(true: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Return for each place the newest one up to it that is true; 0 where there is none."""
    if not true.any():
        return np.zeros(len(true), np.intp)
    return np.maximum.accumulate(np.where(true, np.arange(len(true)), 0))


def _spread(values: Floats, first: NDArray[np.intp], last: NDArray[np.intp]) -> Floats:
    """Return highest less lowest of ``values[first[n] : last[n] + 1]`` for each n, by windows of doubling length."""
    level = np.frexp(last - first + 1)[1] - 1  # 2**level is the longest such window that fits
    spread = np.empty(len(first))
    high = low = values
    for power in range(int(level.max(initial=0)) + 1):
        asked = np.flatnonzero(level == power)
        one, other = first[asked], last[asked] - (1 << power) + 1
        spread[asked] = np.maximum(high[one], high[other]) - np.minimum(low[one], low[other])
        half = 1 << power
        high, low = np.maximum(high[:-half], high[half:]), np.minimum(low[:-half], low[half:])
    return spread
