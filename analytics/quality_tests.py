"""The tests of QARTOD on one series: gross range, spike, rate of change, gap (flat line: ``persistence``).

Each returns one flag a sample (``farm.flags``) and looks no further than it states: its *reach*. So a
verdict over any stretch, worked out with the samples within reach of it, is the verdict over all. NaN and
infinite samples are missing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import MICROSECONDS
from analytics.flagging import Flags, check_pair, finite, finite_samples, graded, seconds_as_us
from farm.flags import Flag

SPIKE_METHODS = ("differential", "average")


def gross_range_flags(
    value: ArrayLike,
    fail_low: float = -np.inf,
    fail_high: float = np.inf,
    suspect_low: float = -np.inf,
    suspect_high: float = np.inf,
) -> Flags:
    """Return whether each sample lies in what the sensor can report, and in what is expected here.

    Parameters
    ----------
    value : array_like
        The samples, shape (n,); NaN is missing. [the quantity's unit]
    fail_low, fail_high : float
        Outside of these a sample fails; on them it does not. [the quantity's unit]
    suspect_low, suspect_high : float
        Outside of these it is suspect. [the quantity's unit]

    Returns
    -------
    flags : numpy.ndarray of uint8
        GOOD, SUSPECT, FAIL; MISSING for NaN.

    Raises
    ------
    ValueError
        If ``value`` is not one-dimensional or a limit stands on the wrong side of another.

    Notes
    -----
    QARTOD's gross range test. Reach: none, 0 s before and after.

    Examples
    --------
    >>> gross_range_flags([5.0, 11.0, 19.0, float("nan")], 10, 30, 12, 28).tolist()
    [4, 3, 1, 9]
    """
    values = finite(np.asarray(value, dtype=float))
    if values.ndim != 1:
        raise ValueError(f"value has shape {values.shape}: give a one-dimensional array")
    if not fail_low <= fail_high or not suspect_low <= suspect_high:
        raise ValueError(
            f"the ranges are {fail_low:g}..{fail_high:g} and {suspect_low:g}..{suspect_high:g}: put low before high"
        )
    flags = np.full(values.shape, Flag.GOOD, np.uint8)
    flags[(values < suspect_low) | (values > suspect_high)] = Flag.SUSPECT
    flags[(values < fail_low) | (values > fail_high)] = Flag.FAIL
    flags[np.isnan(values)] = Flag.MISSING
    return flags


def spike_flags(
    time_us: ArrayLike, value: ArrayLike, suspect: float, fail: float, gap_s: float, method: str = "differential"
) -> Flags:
    """Return whether each sample stands out from both of its neighbours.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples; NaN is missing. [the quantity's unit]
    suspect, fail : float
        A spike higher than this is suspect, or fails. [the quantity's unit]
    gap_s : float
        A neighbour further away than this is none. [s]
    method : {"differential", "average"}
        ``average``: the distance from the mean of the neighbours. ``differential``: the smaller of the
        distances from them, for a sample above both or below both; else 0.

    Returns
    -------
    flags : numpy.ndarray of uint8
        GOOD, SUSPECT, FAIL; NOT_EVALUATED where a neighbour is missing; MISSING for NaN.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a threshold is not above 0 or suspect is above
        fail, or the method is unknown.

    Notes
    -----
    QARTOD's spike test is ``average``. It also flags both samples beside a step of twice the threshold and the
    neighbours of a spike, so that a dose, a door or a lamp looks like a bad sensor. ``differential`` does not:
    what goes up and stays up is no spike. It equals the spike test of Argo's quality control manual,
    ``|x2 - (x1 + x3)/2| - |x3 - x1|/2`` (from memory). Reach: ``gap_s`` before and after.

    Examples
    --------
    >>> minutes = [60_000_000 * n for n in range(7)]
    >>> spike_flags(minutes, [1, 1, 9, 1, 1, 9, 9], 2, 5, gap_s=180).tolist()
    [2, 1, 4, 1, 1, 1, 2]
    >>> spike_flags(minutes, [1, 1, 9, 1, 1, 9, 9], 2, 5, gap_s=180, method="average").tolist()
    [2, 3, 4, 3, 3, 3, 2]
    """
    times, values = finite_samples(time_us, value)
    if method not in SPIKE_METHODS:
        raise ValueError(f"method is {method!r}: give one of {', '.join(SPIKE_METHODS)}")
    check_pair("spike height", suspect, fail)
    deviation = np.full(values.shape, np.nan)
    if len(values) > 2:
        before, after = values[1:-1] - values[:-2], values[1:-1] - values[2:]
        if method == "average":
            middle = np.abs(values[1:-1] - (values[:-2] + values[2:]) / 2.0)
        else:
            middle = np.minimum(np.abs(before), np.abs(after))
            middle[~np.isnan(middle) & (np.sign(before) != np.sign(after))] = 0.0
        near = np.diff(times) <= seconds_as_us("gap_s", gap_s)
        deviation[1:-1] = np.where(near[:-1] & near[1:], middle, np.nan)
    return graded(deviation, suspect, fail, values)


def rate_of_change_flags(
    time_us: ArrayLike, value: ArrayLike, suspect_per_s: float, fail_per_s: float, gap_s: float, allowance: float = 0.0
) -> Flags:
    """Return whether each sample changed faster since the one before than the quantity can.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples; NaN is missing. [the quantity's unit]
    suspect_per_s, fail_per_s : float
        A change faster than this is suspect, or fails. [the quantity's unit per s]
    gap_s : float
        A sample before that is further away than this is none. [s]
    allowance : float
        A change that noise and resolution make at any rate, 0 or more. [the quantity's unit]

    Returns
    -------
    flags : numpy.ndarray of uint8
        GOOD, SUSPECT, FAIL; NOT_EVALUATED where there is no sample just before; MISSING for NaN.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, a rate is not above 0, suspect is above fail,
        or the allowance is negative.

    Notes
    -----
    QARTOD's rate of change test, ``|x - x before| > allowance + rate (t - t before)``. Without the allowance
    the last digit of a sensor read every second would be a fast change. Reach: ``gap_s`` before.

    Examples
    --------
    >>> minutes = [60_000_000 * n for n in range(4)]
    >>> rate_of_change_flags(minutes, [20.0, 20.5, 23.0, 23.0], 1 / 60, 5 / 60, gap_s=180).tolist()
    [2, 1, 3, 1]
    """
    times, values = finite_samples(time_us, value)
    check_pair("rate", suspect_per_s, fail_per_s)
    if not allowance >= 0.0:
        raise ValueError(f"allowance is {allowance:g}: give 0 or more")
    rate = np.full(values.shape, np.nan)
    gap_us = seconds_as_us("gap_s", gap_s)
    if len(values) > 1:
        step_us = np.diff(times)
        beyond = np.maximum(np.abs(np.diff(values)) - allowance, 0.0)
        rate[1:] = np.where(step_us <= gap_us, beyond / (step_us / MICROSECONDS), np.nan)
    return graded(rate, suspect_per_s, fail_per_s, values)


def gap_flags(time_us: ArrayLike, value: ArrayLike, gap_s: float) -> Flags:
    """Return whether each sample came in time after the one before.

    Parameters
    ----------
    time_us : array_like of int
        Times of the samples, strictly ascending. [µs since 1970 UTC]
    value : array_like
        The samples; a NaN never came. [the quantity's unit]
    gap_s : float
        A sample with none in this time before it follows a gap. [s]

    Returns
    -------
    flags : numpy.ndarray of uint8
        GOOD, FAIL after a gap or at the beginning of the record, MISSING for NaN.

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``gap_s`` is not above 0.

    Notes
    -----
    QARTOD's time gap test. The flag speaks of the time before the sample, not of its value. Reach: ``gap_s``
    before.

    Examples
    --------
    >>> gap_flags([0, 60_000_000, 400_000_000], [1.0, 1.0, 1.0], gap_s=180).tolist()
    [4, 1, 4]
    """
    times, values = finite_samples(time_us, value)
    gap_us = seconds_as_us("gap_s", gap_s)
    came = ~np.isnan(values)
    flags = np.full(values.shape, Flag.MISSING, np.uint8)
    in_time = np.diff(times[came], prepend=times[came][:1] - gap_us - 1) <= gap_us
    flags[came] = np.where(in_time, Flag.GOOD, Flag.FAIL)
    return flags
