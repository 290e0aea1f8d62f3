"""Sensors that share the room's air, each against the others: over a day, and drifting over two weeks."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import held_us
from analytics.drift import cumulative_sums
from analytics.persistence import held_flags
from analytics.siblings import difference_from_siblings, disagreement_limits, median_over_series
from farm.description import Farm
from farm.flags import Flag
from farm.quality_limits import SPREAD_IN_A_ROOM
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from watch.bands import max_age_us
from watch.day_data import DayData
from watch.room_air import Floats, Times, aligned, plus_or_minus, shares_the_air

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
DAY_US = 24 * HOUR_US

# All our choice, no source.
HOLD_S = 1800.0  # a disagreement must last
LOOK_BACK_DAYS = 14  # over which drift is looked for
REFERENCE_DAYS = 4  # of those, the first ones say how far the places differ
LEAST_REFERENCE_H = 48
SLACK = 0.5  # accuracies: half of the shift that is to be found
DECISION_INTERVAL_H = 12.0  # accuracies times hours: a shift by one accuracy is found in a day
MOST_AN_HOUR = 1.0  # accuracies that an hour counts for: what warms one place for some hours is no drift
HOURS_A_DAY = 24
LEAST_OF_AN_HOUR = 2  # days that an hour's own reference needs


def sibling_groups(farm: Farm) -> list[list[Series]]:
    """Return the groups of two or more series that should agree, by quantity."""
    groups = [
        [one for one in farm.described if one.quantity == quantity and shares_the_air(farm, one)]
        for quantity in SPREAD_IN_A_ROOM
    ]
    return [group for group in groups if len(group) > 1]


def disagreements(data: DayData) -> dict[Series, dict[str, Any]]:
    """Return how each series with siblings stood against their median in the day."""
    farm, start_us, until_us = data.farm, data.start_us, data.until_us
    found = {}
    for group in sibling_groups(farm):
        gap_us = max(max_age_us(farm, one) for one in group)
        from_us = start_us - int(HOLD_S * MICROSECONDS_PER_SECOND) - gap_us
        at_us, table = aligned(farm, data.store, group, from_us, until_us)
        limits = disagreement_limits(plus_or_minus(farm, group), SPREAD_IN_A_ROOM[group[0].quantity])
        held = held_us(at_us, start_us, until_us, gap_us)
        inside = at_us >= start_us
        for series, difference, limit in zip(group, difference_from_siblings(table), limits.tolist(), strict=True):
            known = ~np.isnan(difference)
            if not (known & inside).any() or np.isnan(limit):
                continue
            above, below = (
                held_flags(at_us, np.where(known, side > limit, np.nan), HOLD_S, gap_us / MICROSECONDS_PER_SECOND)
                for side in (difference, -difference)
            )
            wrong = (above == Flag.SUSPECT) | (below == Flag.SUSPECT)
            today = difference[known & inside]
            found[series] = {
                "count": len(group) - 1,
                "mean_difference": float(today.mean()),
                "greatest_difference": float(today[np.argmax(np.abs(today))]),
                "limit": limit,
                "disagrees_h": int(held[wrong].sum()) / HOUR_US,
                "covered_h": int(held[known].sum()) / HOUR_US,
            }
    return found


def drifts(data: DayData) -> dict[Series, dict[str, Any]]:
    """Return how each series' difference from its siblings has shifted since two weeks before the day's end.

    The first days say how far each place differs from all at each hour of the day, since lamps do not warm all places
    alike; that is taken off before siblings are compared, so that the median does not change over from one place to
    another.
    """
    found = {}
    for group in sibling_groups(data.farm):
        hours, table = _hourly(data, group)
        apart = table - median_over_series(table)
        places = [_reference(hours, one) for one in apart]
        differences = difference_from_siblings(table - np.array([_by_hour(hours, one) for one in apart]))
        accuracy = plus_or_minus(data.farm, group)
        for series, difference, place, unit in zip(group, differences, places, accuracy.tolist(), strict=True):
            shift = difference - _by_hour(hours, difference)
            known = ~np.isnan(shift)
            last_day = shift[known & (hours >= data.until_us - DAY_US)]
            if not len(last_day) or np.isnan(unit) or hours[known][0] >= data.until_us - (REFERENCE_DAYS + 1) * DAY_US:
                continue
            sums = cumulative_sums(np.clip(shift / unit, -MOST_AN_HOUR, MOST_AN_HOUR), 0.0, SLACK)
            sum_now = np.maximum(sums.high, sums.low)
            quiet = np.flatnonzero(sum_now <= 0.0)
            found[series] = {
                "place_difference": place,
                "shift": float(np.median(last_day)),
                "sum_high": float(sums.high[-1]),
                "sum_low": float(sums.low[-1]),
                "decision_interval": DECISION_INTERVAL_H,
                "drifts": bool(sum_now[-1] > DECISION_INTERVAL_H),
                "since": iso_time(int(hours[quiet[-1] + 1])) if sum_now[-1] > 0.0 and len(quiet) else None,
                "covered_h": int(known.sum()),
            }
    return found


def _reference(hours: Times, difference: Floats) -> float:
    """Return the median difference over the first days that a series has; NaN where they are too few hours."""
    first_days = difference[_of_first_days(hours, difference)]
    return float(np.median(first_days)) if len(first_days) >= LEAST_REFERENCE_H else float("nan")


def _by_hour(hours: Times, difference: Floats) -> Floats:
    """Return at each hour the median difference at that hour of the first days; with too few, that of all hours."""
    of_day = hours // HOUR_US % HOURS_A_DAY
    first_days = _of_first_days(hours, difference)
    found = np.full(HOURS_A_DAY, _reference(hours, difference))
    for hour in range(HOURS_A_DAY):
        of_hour = difference[first_days & (of_day == hour)]
        if len(of_hour) >= LEAST_OF_AN_HOUR and np.isfinite(found[hour]):
            found[hour] = np.median(of_hour)
    return found[of_day]


def _of_first_days(hours: Times, difference: Floats) -> NDArray[np.bool_]:
    known = ~np.isnan(difference)
    first: NDArray[np.bool_] = known & (hours < hours[np.argmax(known)] + REFERENCE_DAYS * DAY_US)
    return first


def _hourly(data: DayData, group: list[Series]) -> tuple[Times, Floats]:
    """Return the hours of two weeks up to the day's end, and each series' mean in them (NaN where there is none)."""
    last_us = data.until_us // HOUR_US * HOUR_US  # the hour under way is left out
    hours = np.arange(last_us - LOOK_BACK_DAYS * DAY_US, last_us, HOUR_US)
    table = np.full((len(group), len(hours)), np.nan)
    for row, series in zip(table, group, strict=True):
        buckets = data.store.aggregate(series, int(hours[0]), last_us, HOUR_US)
        row[(buckets.time_us - hours[0]) // HOUR_US] = buckets.mean
    return hours, table
