"""Filters on the day sheet: how loaded each is at comparable flow, how fast that grows, and when it is due."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.due import days_until_worn
from analytics.filter_loading import filter_cleanings
from analytics.outliers import NORMAL_PER_MAD
from analytics.wear import wear
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from farm.water_equipment import Filter
from watch.day_data import DayData
from watch.figures import due_columns, trend_columns
from watch.water import filter_series, rated_flow_of

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
LOOKED_BACK_US = 28 * 24 * HOUR_US  # our choice, no source
CLEANED_NOISE = 4.0  # a fall by this many times the hourly scatter, and ...
CLEANED_SHARE = 0.2  # ... by this share of the usual drop is a cleaning; our choice, no source
LEAST_FALL_KPA = 0.5  # whatever the scatter; our choice, no source


def filters(data: DayData) -> list[dict[str, Any]]:
    """Return how each filter stands at the end of a day."""
    return [_filter(data, one) for one in data.farm.equipment.filters]


def _filter(data: DayData, one: Filter) -> dict[str, Any]:
    farm = data.farm
    from_us = data.until_us - LOOKED_BACK_US
    hours = data.store.aggregate(filter_series(farm, one), from_us - from_us % HOUR_US, data.until_us, HOUR_US)
    known = hours.count > 0
    at_us, drop = hours.time_us[known], hours.mean[known]
    today = drop[at_us >= data.start_us]
    cleanings = filter_cleanings(at_us, drop, _least_fall(drop))
    since = at_us >= (cleanings[-1] if len(cleanings) else from_us)
    trend = wear(at_us[since], drop[since])
    reached = None if one.limit_kpa is None else days_until_worn(trend, one.limit_kpa, rising=True)
    return {
        "name": one.name,
        "label": one.label or one.name,
        "reference_flow_l_min": one.reference_flow_l_min or rated_flow_of(farm, one.flow),
        "drop_kpa": float(np.median(today)) if len(today) else None,
        "drop_give_or_take_kpa": _give_or_take(data, one),
        "hours_with_flow": len(today),
        "cleaned": iso_time(int(cleanings[-1])) if len(cleanings) else None,
        **trend_columns(trend, "kpa"),
        "limit_kpa": one.limit_kpa,
        **due_columns(reached),
    }


def _least_fall(drop: NDArray[np.float64]) -> float:
    if len(drop) < 2:
        return LEAST_FALL_KPA
    scatter = NORMAL_PER_MAD * float(np.median(np.abs(np.diff(drop)))) / math.sqrt(2.0)
    return max(CLEANED_NOISE * scatter, CLEANED_SHARE * float(np.median(drop)), LEAST_FALL_KPA)


def _give_or_take(data: DayData, one: Filter) -> float | None:
    """Return what the two sensors together may be off by: the same for weeks, so that it leaves the trend alone."""
    stated = [data.farm.described[Series.parse(data.farm.name, key)].plus_or_minus for key in (one.before, one.after)]
    return None if None in stated else math.hypot(*(part for part in stated if part is not None))
