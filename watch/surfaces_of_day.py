"""The day sheet's surfaces: how near to wet each was, for how long, what mould made of it, and the night to come."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time, timedelta
from typing import Any

import numpy as np

from analytics.mould import MOULD_LIMIT
from analytics.wet_hours import wet_time
from farm.readings import iso_time, microseconds
from watch.bands import longest_hold_us, usable
from watch.day_data import DayData
from watch.nights import Expected, Past, expected_margin, wet_probability
from watch.surfaces import SurfaceAir, margin_of, surface_air

SECONDS_PER_HOUR = 3600
NIGHT_BEGINS, NIGHT_ENDS = time(18), time(9)  # local; our choice, no source: the coldest hours lie between


def surfaces_of_day(data: DayData) -> list[dict[str, Any]]:
    """Return a row a surface whose margin can be told; none where the farm describes no such surface."""
    past = Past(data.farm, data.store, data.until_us)
    return [
        {
            "surface": surface.name,
            "label": surface.label,
            "zone": surface.zone,
            **_margin(data, air),
            **_mould(data, air),
            "night": _night(data, past, air),
        }
        for surface in data.farm.surfaces
        if (air := surface_air(data.farm, surface)) is not None
    ]


def _margin(data: DayData, air: SurfaceAir) -> dict[str, Any]:
    """Return the day's lowest margin with its give or take, and the wet hours."""
    derivation = margin_of(data.farm, air)
    gap_us = longest_hold_us(data.farm, derivation.output)
    columns = data.store.read(derivation.output, data.start_us - gap_us, data.until_us)
    margin = usable(columns)
    give = derivation.give_or_take(data.farm, data.store, columns.time_us)
    wet = wet_time(columns.time_us, margin, give, data.start_us, data.until_us, gap_us)
    inside = np.where(columns.time_us >= data.start_us, margin, np.nan)
    at = int(np.nanargmin(inside)) if np.isfinite(inside).any() else None
    told = wet.covered_s > 0
    return {
        "lowest_margin_k": None if at is None else float(inside[at]),
        "lowest_margin_give_or_take_k": None if at is None else _finite(give[at]),
        "lowest_margin_at": None if at is None else iso_time(int(columns.time_us[at])),
        "wet_h": wet.wet_s / SECONDS_PER_HOUR if told else None,
        "surely_wet_h": wet.surely_s / SECONDS_PER_HOUR if told else None,
        "perhaps_wet_h": wet.perhaps_s / SECONDS_PER_HOUR if told else None,
        "coverage": wet.coverage,
    }


def _mould(data: DayData, air: SurfaceAir) -> dict[str, Any]:
    """Return the newest mould index told within the day, and how it moved since the newest one before the day."""
    series = air.at("mould_index")
    before = data.store.last_before(series, data.start_us)
    newest = data.store.last_before(series, data.until_us)
    index = newest.value if newest is not None and newest.time_us >= data.start_us else None
    return {
        "mould_class": air.surface.mould_class,
        "mould_index": index,
        "mould_index_change": None if index is None or before is None else index - before.value,
        "mould_limit": MOULD_LIMIT,
    }


def _night(data: DayData, past: Past, air: SurfaceAir) -> dict[str, Any] | None:
    """Return what the coming night may bring, seen from the day's end or from now; None where too little is known."""
    start_us = max(data.until_us, _local(data, 0, NIGHT_BEGINS))
    end_us = _local(data, 1, NIGHT_ENDS)
    expected = expected_margin(past, air, start_us, end_us)
    return None if expected is None else {"start": iso_time(start_us), "end": iso_time(end_us), **_told(expected)}


def _told(expected: Expected) -> dict[str, Any]:
    return {
        "coldest_outdoors_degc": expected.coldest.value,
        "coldest_give_or_take_k": expected.coldest.give_or_take,
        "margin_k": expected.margin.value,
        "margin_give_or_take_k": expected.margin.give_or_take,
        "wet_probability": wet_probability(expected.margin.value, expected.margin.give_or_take),
        "temperature_factor": expected.factor,
        "nights": min(expected.coldest.nights, expected.margin.nights),
    }


def _local(data: DayData, days: int, at: time) -> int:
    moment = datetime.combine(data.day + timedelta(days=days), at, data.farm.farm.zone_info)
    return microseconds(moment.astimezone(UTC))


def _finite(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None
