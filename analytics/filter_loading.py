"""Filter loading: the pressure drop across a filter at comparable flow, and when it was cleaned."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.alignment import Floats, Times, samples
from analytics.saturation import broadcast

COMPARABLE = (0.7, 1.3)  # of the reference flow; our choice, no source
NEIGHBOURS = 3  # points on each side whose medians are compared


def normalised_pressure_drop(
    pressure_before: ArrayLike, pressure_after: ArrayLike, flow_rate: ArrayLike, reference_flow: ArrayLike
) -> Floats:
    """Return the pressure drop that a filter would have at its reference flow.

    Parameters
    ----------
    pressure_before, pressure_after : array_like
        Line pressures on both sides, on one scale. [kPa]
    flow_rate : array_like
        Flow through the filter. [L/min]
    reference_flow : array_like
        The flow to refer to: the line's rating, above 0. [L/min]

    Returns
    -------
    pressure_drop : numpy.ndarray
        NaN where an input is NaN, or the flow is not comparable: below 0.7 or above 1.3 of the reference (our
        choice, no source). It may be a little negative: two sensors have two errors. [kPa]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``dp (q_ref / q)^2``: turbulent loss, as through a screen and its fittings. Through a fine bed or a caked
    screen the flow is laminar and the drop follows ``q`` alone; over the comparable range the two differ by the
    factor ``q / q_ref``, 0.7 to 1.3, and by nothing at the reference flow.

    Examples
    --------
    >>> float(normalised_pressure_drop(190.0, 182.0, 8.0, 10.0).round(2))
    12.5
    """
    before, after, flow, reference = broadcast(pressure_before, pressure_after, flow_rate, reference_flow)
    share = flow / np.where(reference > 0, reference, np.nan)
    comparable = (share >= COMPARABLE[0]) & (share <= COMPARABLE[1])
    drop: Floats = (before - after) / np.where(comparable, share, np.nan) ** 2
    return drop


def filter_cleanings(time_us: ArrayLike, pressure_drop: ArrayLike, least_fall: float) -> Times:
    """Return when a filter was cleaned: where its pressure drop fell for good.

    Parameters
    ----------
    time_us : array_like of int
        Strictly ascending: best one point an hour or a cycle. [µs since 1970 UTC]
    pressure_drop : array_like
        At comparable flow; a NaN counts as a point that never came. [kPa]
    least_fall : float
        A fall by less than this is no cleaning: above what the sensors' noise can do. [kPa]

    Returns
    -------
    cleanings : numpy.ndarray of int64
        The first point after each, ascending. [µs since 1970 UTC]

    Raises
    ------
    ValueError
        If the arrays do not fit together, times do not ascend, or ``least_fall`` is not positive.

    Notes
    -----
    A fall counts where the median of the three points before less that of the three from there on is at least
    ``least_fall``, and the largest among its neighbours. One wild point does not make a cleaning.

    Examples
    --------
    >>> filter_cleanings([0, 1, 2, 3, 4, 5, 6], [19.0, 20.0, 21.0, 8.0, 8.0, 9.0, 9.0], least_fall=5.0).tolist()
    [3]
    """
    times, values = samples(time_us, pressure_drop)
    if not least_fall > 0:
        raise ValueError(f"least_fall is {least_fall}: give the least fall that is a cleaning, above 0")
    came = ~np.isnan(values)
    times, values = times[came], values[came]
    if len(values) < 2 * NEIGHBOURS:
        return np.empty(0, np.int64)
    medians = np.median(np.lib.stride_tricks.sliding_window_view(values, NEIGHBOURS), axis=1)
    fall = medians[:-NEIGHBOURS] - medians[NEIGHBOURS:]  # at the point NEIGHBOURS further on
    step = np.diff(values, prepend=values[0])[NEIGHBOURS : NEIGHBOURS + len(fall)]
    cleanings: list[int] = []
    position = 0
    while position < len(fall):
        if fall[position] < least_fall:
            position += 1
            continue
        stretch = position
        while stretch < len(fall) and fall[stretch] >= least_fall:
            stretch += 1
        cleanings.append(position + int(np.argmin(step[position:stretch])))  # where the points themselves fell most
        position = stretch
    return times[np.array(cleanings, dtype=np.intp) + NEIGHBOURS]
