"""Where a day's CO2 went: what was dosed, what leaked, what the room holds more, and the rest."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.air_change import AirChangeRate
from analytics.alignment import Floats
from analytics.carbon_dioxide import carbon_dioxide_mass, leak_rate, steady_mole_fraction
from analytics.integrals import time_integral
from analytics.light import lit_seconds
from farm.description import CarbonDioxide
from farm.readings import Columns, Series, iso_time
from watch.air_change import DISTURBS, AirChanges, FoundDecay, background_at, offset_accuracy
from watch.bands import max_age_us, usable
from watch.carbon_dioxide import co2_columns
from watch.day_data import DayData, or_none
from watch.pressure import air_pressure_of

USUAL_TEMPERATURE = 22.0  # degC, where no sensor tells; 1 K is 0.3 % of the gas; our choice, no source
ENOUGH_COVERAGE = 0.9  # of the day, to strike a balance; our choice, no source
SECONDS_PER_HOUR = 3600.0
GRAMS_PER_KG = 1000.0


def balance(data: DayData, co2: Series, leaks: AirChanges, enrichment: CarbonDioxide) -> dict[str, Any]:
    """Return the day's decays and the balance of the gas: dosed, leaked, stored and the rest."""
    farm, store = data.farm, data.store
    found = leaks.found(farm, store, data.start_us, data.until_us)
    best = min(
        (one.rate for one in found if one.rate.usable),
        key=lambda rate: rate.give_or_take_per_h / rate.per_h,
        default=None,
    )
    gap_us = max_age_us(farm, co2)
    read = co2_columns(store, co2, data.start_us - gap_us, data.until_us)
    background = background_at(farm, store, read.time_us)
    temperature = _temperature(data, co2.zone)
    pressure = air_pressure_of(farm, co2.zone).at(store, read.time_us)
    dosed_g, dosed_u, dosed_coverage, open_h = _dosed(data, enrichment)
    leaked_g, leaked_u, leak_coverage = _leaked(data, co2, read, background, best, (temperature, pressure), enrichment)
    at_ends = _at_ends(data, read, gap_us)
    per_ppm = float(carbon_dioxide_mass(1.0, enrichment.air_volume_m3, temperature, _middle(pressure)))
    stored_g = math.nan if at_ends is None else (at_ends[1] - at_ends[0]) * per_ppm
    covered = min(dosed_coverage, leak_coverage) >= ENOUGH_COVERAGE
    rest_g = dosed_g - leaked_g - stored_g if covered else math.nan
    changes = math.nan if best is None else best.per_h
    stuck = steady_mole_fraction(
        _middle(background), enrichment.valve_flow_g_h or math.nan, changes, enrichment.air_volume_m3, temperature,
        _middle(pressure),
    )  # fmt: skip
    price = math.nan if enrichment.price_per_kg is None else enrichment.price_per_kg / GRAMS_PER_KG
    return {
        "decays": [_decay(one) for one in found],
        "not_watched": [name for name in DISTURBS if not any(one.quantity == name for one in farm.described)],
        "air_changes_per_h": or_none(changes),
        "air_changes_give_or_take_per_h": None if best is None else or_none(best.give_or_take_per_h),
        "background_ppm": or_none(_middle(background)),
        "background_give_or_take_ppm": offset_accuracy(farm, co2),
        "valve_open_h": or_none(open_h),
        "dosed_g": or_none(dosed_g),
        "dosed_give_or_take_g": or_none(dosed_u),
        "dosed_coverage": dosed_coverage,
        "leaked_g": or_none(leaked_g),
        "leaked_give_or_take_g": or_none(leaked_u),
        "leaked_coverage": leak_coverage,
        "leaked_share": or_none(leaked_g / dosed_g) if covered and dosed_g > 0.0 else None,
        "stored_g": or_none(stored_g),
        "rest_g": or_none(rest_g),  # taken up by the crop, out with purge and doors, or error
        "rest_give_or_take_g": or_none(math.hypot(dosed_u, leaked_u)) if covered else None,
        "dosed_cost": or_none(dosed_g * price),
        "leaked_cost": or_none(leaked_g * price),
        "currency": farm.farm.currency,
        "valve_stuck_open_ppm": or_none(float(stuck)),
    }


def _decay(one: FoundDecay) -> dict[str, Any]:
    return {
        "start": iso_time(one.start_us),
        "end": iso_time(one.end_us),
        **_rate(one.rate),
        "without_source": _rate(one.without_source),
    }


def _rate(rate: AirChangeRate) -> dict[str, Any]:
    return {
        "air_changes_per_h": or_none(rate.per_h),
        "give_or_take_per_h": or_none(rate.give_or_take_per_h),
        "standard_error_per_h": or_none(rate.standard_error_per_h),
        "r_squared": or_none(rate.r_squared),
        "tends_to_ppm": or_none(rate.tends_to),
        "samples": rate.samples,
        "duration_h": rate.duration_s / SECONDS_PER_HOUR,
        "usable": rate.usable,
        "doubts": [str(doubt) for doubt in rate.doubts],
    }


def _dosed(data: DayData, enrichment: CarbonDioxide) -> tuple[float, float, float, float]:
    """Return grams dosed, their plus or minus, the covered share of the day, and hours open."""
    valves = data.farm.series_of(enrichment.zone, "co2_valve_open")
    if not valves:
        return math.nan, math.nan, 0.0, math.nan
    gap_us = max_age_us(data.farm, valves[0])
    read = data.store.read(valves[0], data.start_us - gap_us, data.until_us)
    opened = lit_seconds(read.time_us, usable(read), data.start_us, data.until_us, gap_us)
    open_h = opened.lit_s / SECONDS_PER_HOUR if opened.covered_s else math.nan
    grams = open_h * (enrichment.valve_flow_g_h or math.nan)
    return grams, grams * enrichment.flow_accuracy_pct / 100.0, opened.coverage, open_h


def _leaked(
    data: DayData, co2: Series, read: Columns, background: Floats, rate: AirChangeRate | None,
    air: tuple[float, Floats], enrichment: CarbonDioxide,
) -> tuple[float, float, float]:  # fmt: skip
    """Return grams leaked in the covered part of the day, their plus or minus, and that part's share."""
    if rate is None:
        return math.nan, math.nan, 0.0
    temperature, pressure = air
    gap_us = max_age_us(data.farm, co2)
    per_h = leak_rate(read.value, background, rate.per_h, enrichment.air_volume_m3, temperature, pressure)
    total = time_integral(read.time_us, per_h, data.start_us, data.until_us, gap_us)
    grams = total.total / SECONDS_PER_HOUR
    offset_g_h = float(
        leak_rate(
            offset_accuracy(data.farm, co2), 0.0, rate.per_h, enrichment.air_volume_m3, temperature, _middle(pressure)
        )
    )
    by_rate = grams * rate.give_or_take_per_h / rate.per_h
    return grams, math.hypot(by_rate, offset_g_h * total.covered_s / SECONDS_PER_HOUR), total.coverage


def _at_ends(data: DayData, read: Columns, gap_us: int) -> tuple[float, float] | None:
    """Return the levels at the day's start and end, each of a reading still held; None if one is missing."""
    known = ~np.isnan(read.value)
    times, values = read.time_us[known], read.value[known]
    first, last = np.searchsorted(times, [data.start_us, data.until_us], side="right") - 1
    if first < 0 or data.start_us - times[first] > gap_us or data.until_us - times[last] > gap_us:
        return None
    return float(values[first]), float(values[last])


def _temperature(data: DayData, zone: str) -> float:
    several = data.farm.series_of(zone, "air_temperature")
    value = usable(data.store.read(several[0], data.start_us, data.until_us)) if several else np.empty(0)
    value = value[~np.isnan(value)]
    return float(value.mean()) if value.size else USUAL_TEMPERATURE


def _middle(value: Floats) -> float:
    known = value[~np.isnan(value)]
    return float(np.median(known)) if known.size else math.nan
