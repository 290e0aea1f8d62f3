"""Sensors that share the room's air, each against the others: over a day, and drifting over two weeks."""

from __future__ import annotations

from typing import Any

import numpy as np

from analytics.alignment import held_us
from analytics.drift import cumulative_sums
from analytics.persistence import held_flags
from analytics.siblings import difference_from_siblings, disagreement_limits
from farm.description import Farm
from farm.flags import Flag
from farm.quality_limits import SPREAD_IN_A_ROOM
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from watch.bands import max_age_us
from watch.day_data import DayData
from watch.room_air import Floats, aligned, plus_or_minus, shares_the_air

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
DAY_US = 24 * HOUR_US

# All our choice, no source.
HOLD_S = 1800.0  # a disagreement must last
LOOK_BACK_DAYS = 14  # over which drift is looked for
REFERENCE_DAYS = 4  # of those, the first ones say how far the places differ
LEAST_REFERENCE_H = 48
SLACK = 0.5  # accuracies: half of the shift that is to be found
DECISION_INTERVAL_H = 12.0  # accuracies times hours: a shift by one accuracy is found in a day


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
    """Return how each series' difference from its siblings has shifted since two weeks before the day's end."""
    farm = data.farm
    found = {}
    for group in sibling_groups(farm):
        accuracy = plus_or_minus(farm, group)
        hours, table = _hourly(data, group)
        for series, difference, unit in zip(group, difference_from_siblings(table), accuracy.tolist(), strict=True):
            reference_hours = difference[hours < hours[0] + REFERENCE_DAYS * DAY_US]
            reference_hours = reference_hours[~np.isnan(reference_hours)]
            last_day = difference[hours >= data.until_us - DAY_US]
            last_day = last_day[~np.isnan(last_day)]
            if len(reference_hours) < LEAST_REFERENCE_H or not len(last_day) or np.isnan(unit):
                continue
            reference = float(np.median(reference_hours))
            sums = cumulative_sums((difference - reference) / unit, 0.0, SLACK)
            beyond = max(sums.high[-1], sums.low[-1]) > DECISION_INTERVAL_H
            since = np.maximum(sums.high, sums.low) <= 0.0
            found[series] = {
                "reference_difference": reference,
                "shift": float(np.median(last_day)) - reference,
                "sum_high": float(sums.high[-1]),
                "sum_low": float(sums.low[-1]),
                "decision_interval": DECISION_INTERVAL_H,
                "drifts": bool(beyond),
                "since": iso_time(int(hours[np.flatnonzero(since)[-1] + 1 if since.any() else 0])) if beyond else None,
                "covered_h": int(np.sum(~np.isnan(difference))),
            }
    return found


def _hourly(data: DayData, group: list[Series]) -> tuple[np.ndarray[Any, np.dtype[np.int64]], Floats]:
    """Return the hours of two weeks up to the day's end, and each series' mean in them (NaN where there is none)."""
    last_us = data.until_us // HOUR_US * HOUR_US  # the hour under way is left out
    hours = np.arange(last_us - LOOK_BACK_DAYS * DAY_US, last_us, HOUR_US)
    table = np.full((len(group), len(hours)), np.nan)
    for row, series in zip(table, group, strict=True):
        buckets = data.store.aggregate(series, int(hours[0]), last_us, HOUR_US)
        row[(buckets.time_us - hours[0]) // HOUR_US] = buckets.mean
    return hours, table
