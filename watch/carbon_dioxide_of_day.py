"""CO2 on the day sheet: in band while lit, exposure against limits, how fast the room leaks, and where the gas went."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.carbon_dioxide_exposure import LimitStanding, limit_standing
from analytics.rolling import RollingAverage
from analytics.time_in_band import time_in_band
from farm.readings import Series, iso_time
from watch import cautions
from watch.air_change import AirChanges, air_changes
from watch.bands import LIT, limits_at, max_age_us, usable
from watch.carbon_dioxide import LEAST_COVERAGE, Average, co2_accuracy, co2_averages, co2_columns, co2_limit
from watch.carbon_dioxide_balance import balance
from watch.day_data import DayData, or_none
from watch.judged import as_arrived

SECONDS_PER_HOUR = 3600.0


def carbon_dioxide(data: DayData) -> list[dict[str, Any]]:
    """Return one row for each CO2 series indoors that has readings around the day."""
    averages: dict[Series, list[Average]] = {}
    for one in co2_averages(data.farm):
        averages.setdefault(one.inputs[0], []).append(one)
    leaks = {one.inputs[0]: one for one in air_changes(data.farm)}
    return [
        _row(data, series, several, leaks.get(series)) for series, several in averages.items() if series in data.known
    ]


def _row(data: DayData, series: Series, averages: list[Average], leaks: AirChanges | None) -> dict[str, Any]:
    described = data.farm.described[series]
    ends = _reads_its_end(data, series)
    row: dict[str, Any] = {
        "key": series.key,
        "zone": series.zone,
        "label": data.farm.label_of(series),
        "pressure_corrected": described.calibrated_at_kpa is not None,
        "reads_up_to_ppm": described.limits[1],
        "read_its_end": ends,
        "lit": _in_band_while_lit(data, series),
        "highest": _highest_reading(data, series, ends),
    }
    for one in averages:
        row[one.output.quantity.removeprefix("co2_")] = _highest_average(data, one, ends)
    enrichment = data.farm.equipment.carbon_dioxide
    row["enrichment"] = None if leaks is None or enrichment is None else balance(data, series, leaks, enrichment)
    row["limits_by"] = data.farm.occupational_limits.source
    row["caution"] = cautions.CO2 if _near_a_limit(row) else None
    return row


def _near_a_limit(row: dict[str, Any]) -> bool:
    near = (LimitStanding.NEAR, LimitStanding.ABOVE)
    stuck = row["enrichment"] and row["enrichment"]["valve_stuck_open_ppm"]
    return bool(
        any(row[name]["standing"] in near for name in ("highest", "average_8h", "average_15min"))
        or (stuck and stuck > row["average_8h"]["limit_ppm"])
    )


def _reads_its_end(data: DayData, series: Series) -> bool:
    """Return whether the sensor showed the end of its range: the true level may then be any above it."""
    read = as_arrived(data.store).read(series, data.start_us, data.until_us)
    return bool(np.any(usable(read) >= data.farm.described[series].limits[1]))


def _in_band_while_lit(data: DayData, series: Series) -> dict[str, float] | None:
    """Return how long CO2 was below, inside and above its band while the lights were on; None without a band."""
    gap_us = max_age_us(data.farm, series)
    read = co2_columns(data.store, series, data.start_us - gap_us, data.until_us)
    limits = limits_at(data.farm, data.store, series, read.time_us)
    lit = limits.lit == LIT
    low, high = (np.where(lit, side, np.nan) for side in (limits.low, limits.high))
    if np.isnan(low).all():
        return None
    hours = time_in_band(read.time_us, read.value, low, high, data.start_us, data.until_us, gap_us)
    return {
        "below_h": hours.below_s / SECONDS_PER_HOUR,
        "inside_h": hours.inside_s / SECONDS_PER_HOUR,
        "above_h": hours.above_s / SECONDS_PER_HOUR,
        "covered_h": hours.covered_s / SECONDS_PER_HOUR,
    }


def _highest_reading(data: DayData, series: Series, ends: bool) -> dict[str, Any]:
    read = co2_columns(data.store, series, data.start_us, data.until_us)
    gap_us = max_age_us(data.farm, series)
    held = time_in_band(read.time_us, read.value, -np.inf, np.inf, data.start_us, data.until_us, gap_us)
    known = np.flatnonzero(~np.isnan(read.value))
    place = int(known[np.argmax(read.value[known])]) if known.size else None
    value = math.nan if place is None else float(read.value[place])
    give_or_take = co2_accuracy(data.farm, series, value)
    limit = data.farm.occupational_limits.danger_ppm
    return {
        "ppm": or_none(value),
        "at": None if place is None else iso_time(int(read.time_us[place])),
        "give_or_take_ppm": or_none(give_or_take),
        "coverage": held.coverage,
        "limit_ppm": limit,
        "standing": _standing(value, held.coverage, limit, give_or_take, ends),
    }


def _highest_average(data: DayData, average: Average, ends: bool) -> dict[str, Any]:
    """Return the day's highest average of windows half covered or more, and what is sure of any window."""
    read, found = average.over(data.farm, data.store, data.start_us, data.until_us)
    limit = co2_limit(data.farm, average.output.quantity)
    place = _place_of_highest(found)
    value, coverage = (math.nan, 0.0) if place is None else (float(found.value[place]), float(found.coverage[place]))
    at_least = float(found.at_least.max()) if len(read) else math.nan
    give_or_take = co2_accuracy(data.farm, average.inputs[0], value)
    standing = _standing(value, coverage, limit, give_or_take, ends)
    if at_least - co2_accuracy(data.farm, average.inputs[0], at_least) > limit:
        standing = LimitStanding.ABOVE
    return {
        "ppm": or_none(value),
        "end": None if place is None else iso_time(int(read.time_us[place])),
        "give_or_take_ppm": or_none(give_or_take),
        "coverage": coverage,
        "at_least_ppm": or_none(at_least),
        "limit_ppm": limit,
        "standing": standing,
    }


def _place_of_highest(found: RollingAverage) -> int | None:
    half = found.coverage >= LEAST_COVERAGE
    return int(np.argmax(np.where(half, found.value, -np.inf))) if half.any() else None


def _standing(value: float, coverage: float, limit: float, give_or_take: float, ends: bool) -> LimitStanding:
    standing = limit_standing(value, coverage, limit, give_or_take)
    return LimitStanding.UNKNOWN if ends and standing is LimitStanding.BELOW else standing
