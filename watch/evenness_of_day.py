"""How the air behaved in a day: how soon it was back after lights-on, and how evenly the growing rows had it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from analytics.light import light_day_starts
from analytics.recovery import recovery_time, settled_value
from analytics.uncertainty import air_vapour_pressure_deficit_uncertainty
from analytics.zone_spread import ZoneSpread, zone_spread
from farm.description import Farm, ZoneKind
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from watch.air_conditioner import AirSensors, air_sensors
from watch.air_conditioner_of_day import SECONDS_PER_HOUR, number
from watch.bands import DARK, LIT, lights_series, limits_at, lit_at, longest_hold_us, max_age_us, usable
from watch.day_data import DayData
from watch.derivation import accuracy, accuracy_at
from watch.light_days import SHORTEST_NIGHT_US

QUANTITIES = ("air_temperature", "vapour_pressure_deficit")
SETTLED_WITHIN = {"air_temperature": 1.0, "vapour_pressure_deficit": 0.15}  # K, kPa: where no band holds; our choice
DIFFERENCE_UNITS = {"air_temperature": "K", "vapour_pressure_deficit": "kPa"}
WINDOW_US = 3 * SECONDS_PER_HOUR * MICROSECONDS_PER_SECOND  # after lights-on; our choice, no source
STAY_S = 1200.0  # so long it must be back at the end of the window; our choice, no source
STEP_US = 60 * MICROSECONDS_PER_SECOND  # between the instants at which rows are compared


def recovery(data: DayData) -> list[dict[str, Any]]:
    """Return how long each zone's air took to come back after each lights-on of the day."""
    rows = []
    for zone in data.farm.zones:
        series = [one for one in data.known if one.zone == zone and one.quantity in QUANTITIES]
        for on_us in _lights_on(data, zone) if series else ():
            rows += [_recovery_row(data, one, on_us) for one in series]
    return rows


def _lights_on(data: DayData, zone: str) -> list[int]:
    lights = lights_series(data.farm, zone)
    if lights is None:
        return []
    gap_us = max_age_us(data.farm, lights)
    state = data.store.read(lights, data.start_us - SHORTEST_NIGHT_US - gap_us, data.until_us)
    found = light_day_starts(state.time_us, usable(state), SHORTEST_NIGHT_US, gap_us)
    return [one for one in found.tolist() if one >= data.start_us]


def _recovery_row(data: DayData, series: Series, on_us: int) -> dict[str, Any]:
    gap_us = longest_hold_us(data.farm, series)
    end_us = min(on_us + WINDOW_US, max(data.until_us, on_us))
    read = data.store.read(series, on_us - gap_us, end_us)
    value = usable(read)
    limits = limits_at(data.farm, data.store, series, read.time_us)
    low, high = limits.low, limits.high
    settled = None
    if np.isnan(low).all():
        settled = settled_value(read.time_us, value, on_us, end_us)
        within = SETTLED_WITHIN[series.quantity]
        low, high = np.full(len(read), settled - within), np.full(len(read), settled + within)
    found = recovery_time(read.time_us, value, low, high, on_us, end_us, gap_us, STAY_S)
    return {
        "zone": series.zone,
        "key": series.key,
        "lights_on": iso_time(on_us),
        "until": "band" if settled is None else "settled value",
        "settled": None if settled is None else number(settled),
        "settled_unit": series.registered.unit,
        "settled_within": None if settled is None else SETTLED_WITHIN[series.quantity],
        "settled_within_unit": DIFFERENCE_UNITS[series.quantity],
        "recovery_h": None if found.seconds is None else found.seconds / SECONDS_PER_HOUR,
        "window_h": (end_us - on_us) / MICROSECONDS_PER_SECOND / SECONDS_PER_HOUR,
        "coverage": number(found.coverage),
        "complete": end_us == on_us + WINDOW_US,
    }


def evenness(data: DayData) -> list[dict[str, Any]]:
    """Return how far the growing rows' air lay apart, while all were lit and while all were dark."""
    farm = data.farm
    rows = [zone for zone, described in farm.zones.items() if described.kind is ZoneKind.GROWING_ROW]
    sensed = {zone: sensors for zone in rows if (sensors := air_sensors(farm, zone)) is not None}
    sensed = {zone: sensors for zone, sensors in sensed.items() if sensors.temperature in data.known}
    if len(sensed) < 2:
        return []
    at_us = np.arange(data.start_us, data.until_us, STEP_US, dtype=np.int64)
    light = np.stack([lit_at(farm, data.store, zone, at_us) for zone in sensed])
    air, humidity, deficit = (
        np.stack([_held(data, one, at_us) for one in several])
        for several in (
            [one.temperature for one in sensed.values()],
            [one.humidity for one in sensed.values()],
            [one.temperature._replace(quantity="vapour_pressure_deficit") for one in sensed.values()],
        )
    )
    found = []
    for quantity, values in zip(QUANTITIES, (air, deficit), strict=True):
        for state, name in ((LIT, "lit"), (DARK, "dark")):
            chosen = (light == state).all(axis=0)
            accuracies = [
                _accuracy(data.farm, sensors, quantity, air[place, chosen], humidity[place, chosen])
                for place, sensors in enumerate(sensed.values())
            ]
            spread = zone_spread(values[:, chosen], accuracies)
            if spread.instants:
                found.append(_spread_row(quantity, name, list(sensed), spread))
    return found


def _spread_row(quantity: str, light: str, zones: list[str], spread: ZoneSpread) -> dict[str, Any]:
    return {
        "quantity": quantity,
        "unit": DIFFERENCE_UNITS[quantity],
        "light": light,
        "zones": zones,
        "range_median": spread.range_median,
        "range_p95": spread.range_p95,
        "deviation_median": spread.deviation_median,
        "deviation_p95": spread.deviation_p95,
        "range_of_sensors": number(spread.range_of_sensors),
        "distinguishable": spread.distinguishable,
        "coverage": number(spread.coverage),
    }


def _held(data: DayData, series: Series, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
    gap_us = longest_hold_us(data.farm, series)
    read = data.store.read(series, data.start_us - gap_us, data.until_us)
    return hold_as_of(read.time_us, usable(read), at_us, gap_us).value


def _accuracy(
    farm: Farm, sensors: AirSensors, quantity: str, air: NDArray[np.float64], humidity: NDArray[np.float64]
) -> float:
    """Return plus or minus of a zone's air temperature, or of its deficit at the air it usually had [K or kPa]."""
    of_air = accuracy(farm, sensors.temperature)
    known = ~(np.isnan(air) | np.isnan(humidity))
    if not known.any():
        return math.nan
    if quantity == "air_temperature":
        return of_air
    usual_air, usual_humidity = float(np.median(air[known])), float(np.median(humidity[known]))
    of_humidity = accuracy_at(farm, sensors.humidity, usual_humidity)
    return float(air_vapour_pressure_deficit_uncertainty(usual_air, usual_humidity, of_air, of_humidity))
