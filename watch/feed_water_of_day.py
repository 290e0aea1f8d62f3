"""Feed water on the day sheet: what the reverse-osmosis unit made, against its rating at its feed's temperature."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.alignment import hold_as_of
from analytics.due import days_until_worn
from analytics.reverse_osmosis import (
    expected_output,
    normalised_output_share,
    normalised_output_share_uncertainty,
    running_output,
)
from analytics.wear import wear
from farm.description import ReverseOsmosis
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.bands import max_age_us, usable
from watch.day_data import DayData
from watch.figures import due_columns, known_or_none, trend_columns
from watch.water import (
    MINUTE_US,
    PER_CENT,
    RUNS_FROM,
    NormalisedOutput,
    amount_of,
    meter_share,
    normalised_output_of,
)

DAY_US = 24 * 3600 * MICROSECONDS_PER_SECOND
LOOKED_BACK_US = 90 * DAY_US  # a membrane wears over months; our choice, no source


def feed_water(data: DayData) -> list[dict[str, Any]]:
    """Return what the reverse-osmosis unit made; empty where none is described."""
    unit = data.farm.equipment.reverse_osmosis
    return [] if unit is None else [_unit(data, unit)]


def _unit(data: DayData, unit: ReverseOsmosis) -> dict[str, Any]:
    row: dict[str, Any] = {"rated_l_per_day": unit.rated_l_per_day}
    if unit.output is None:
        return row | {"litres_l": None, "unknown": ["output: no series of it is described"]}
    made = Series.parse(data.farm.name, unit.output)
    litres = amount_of(data.farm, data.store, made, data.start_us, data.until_us)
    row |= {
        "litres_l": known_or_none(litres.value),
        "litres_give_or_take_l": known_or_none(litres.give_or_take),
        "coverage": litres.coverage,
    }
    normalised = normalised_output_of(data.farm)
    if normalised is None:
        return row | {"unknown": ["feed temperature: no series of it is described"]}
    return row | _normalised(data, normalised)


def _normalised(data: DayData, one: NormalisedOutput) -> dict[str, Any]:
    farm, store = data.farm, data.store
    block, age = one.block_us(farm), max_age_us(farm, one.made)
    edges = np.arange(-(-data.start_us // block) * block, data.until_us + 1, block, dtype=np.int64)
    read = store.read(one.made, data.start_us - age, data.until_us + age)
    ran = running_output(edges[:-1], one.blocks(farm, read, edges), RUNS_FROM * one.rated_l_min)
    feed_age = max_age_us(farm, one.feed)
    feed_read = store.read(one.feed, data.start_us - feed_age, data.until_us)
    feed = hold_as_of(feed_read.time_us, usable(feed_read), ran.blocks_us, feed_age).value
    feed_c = float(np.mean(feed[~np.isnan(feed)])) if np.isfinite(feed).any() else math.nan
    share = float(normalised_output_share(ran.output, one.rated_l_min, feed_c))
    accuracy_k = farm.described[one.feed].plus_or_minus or 0.0
    of_output = meter_share(farm, one.made, ran.output)
    give_or_take = float(normalised_output_share_uncertainty(share, feed_c, of_output, accuracy_k))
    days = store.aggregate(one.output, data.until_us - LOOKED_BACK_US, data.until_us, DAY_US)
    known = days.count > 0
    trend = wear(days.time_us[known], days.mean[known])
    limit = one.unit.clean_below_percent
    unknown = []
    if math.isnan(ran.output):
        unknown.append("output while running: it did not run for three stretches on end that readings cover")
    elif math.isnan(feed_c):
        unknown.append("feed temperature: no reading while it ran")
    return {
        "running_min": len(ran.blocks_us) * block / MINUTE_US,
        "output_l_min": known_or_none(ran.output),
        "feed_temperature_degc": known_or_none(feed_c),
        "expected_l_min": known_or_none(float(expected_output(one.rated_l_min, feed_c))),
        "normalised_output_percent": known_or_none(PER_CENT * share),
        "normalised_output_give_or_take_percent": known_or_none(PER_CENT * give_or_take),
        **trend_columns(trend, "percent"),
        "trend_from_days": trend.count,
        "clean_below_percent": limit,
        **due_columns(None if limit is None else days_until_worn(trend, limit, rising=False)),
        "unknown": unknown,
    }
