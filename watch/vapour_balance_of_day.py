"""Where the vapour of a room's air went in a day, and so what plants and wet surfaces gave to it."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.air_change import AirChangeRate
from analytics.air_states import AirState
from analytics.alignment import Floats, Times, hold_as_of, instants_of_any
from analytics.amounts import Amount
from analytics.integrals import TimeIntegral, time_integral
from analytics.moisture import (
    inferred_transpiration,
    moisture_removal_rate_uncertainty,
    moisture_stored,
    ventilation_moisture_loss,
)
from farm.description import ZoneKind
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.air_change import air_changes
from watch.air_conditioner import AirSensors, air_sensors
from watch.air_conditioner_of_day import UnitDay, amount_row, number
from watch.bands import max_age_us, usable
from watch.day_data import DayData
from watch.drying_of_weeks import ENOUGH_COVERAGE
from watch.pressure import air_pressure_of

SECONDS_PER_HOUR = 3600
AROUND_US = 5 * 60 * MICROSECONDS_PER_SECOND  # readings this near to a day's end are its air; our choice, no source


def vapour_balance(data: DayData, day: UnitDay | None) -> dict[str, Any] | None:
    """Return the day's vapour balance of the room whose air volume is described; None where a term has no series."""
    room = data.farm.equipment.carbon_dioxide
    inside = None if room is None else air_sensors(data.farm, room.zone)
    outside = _outdoors(data)
    if room is None or inside is None or outside is None or day is None:
        return None
    by_condensate = day.condensate is not None and day.condensate.coverage >= ENOUGH_COVERAGE
    removed = day.condensate if by_condensate else day.taken.water if day.taken else None
    rate = _best_rate(data)
    if removed is None:
        return None
    vented = _vented(data, inside, outside, rate, room.air_volume_m3)
    stored = _stored(data, inside, room.air_volume_m3)
    given_off = inferred_transpiration(removed, vented, stored)
    enough = min(removed.coverage, vented.coverage) >= ENOUGH_COVERAGE
    return {
        "removed": amount_row(removed, "kg"),
        "removed_by": "condensate" if by_condensate else "air",
        "air_changes_per_h": None if rate is None else rate.per_h,
        "vented": amount_row(vented, "kg"),
        "stored_kg": number(stored.value),
        "given_off": amount_row(given_off, "kg") if enough else None,
    }


def _outdoors(data: DayData) -> AirSensors | None:
    zones = [zone for zone, described in data.farm.zones.items() if described.kind is ZoneKind.OUTDOORS]
    return next((found for zone in zones if (found := air_sensors(data.farm, zone))), None)


def _best_rate(data: DayData) -> AirChangeRate | None:
    """Return the surest usable air-change rate of the decays that ended in the day."""
    found = [one.rate for leaks in air_changes(data.farm) for one in leaks.found(data.farm, data.store, *_whole(data))]
    return min((one for one in found if one.usable), key=lambda one: one.give_or_take_per_h / one.per_h, default=None)


def _whole(data: DayData) -> tuple[int, int]:
    return data.start_us, data.until_us


def _vented(
    data: DayData, inside: AirSensors, outside: AirSensors, rate: AirChangeRate | None, volume_m3: float
) -> Amount:
    """Return the water that leaked away with room air, less what outdoor air brought in. [kg]."""
    if rate is None:
        return Amount(math.nan, math.nan, 0.0)
    series = (*inside, *outside)
    gap_us = max(max_age_us(data.farm, one) for one in series)
    at_us, held = _held(data, series, data.start_us - gap_us, data.until_us + gap_us)
    pressure = air_pressure_of(data.farm, inside.temperature.zone).at(data.store, at_us)
    air = inside.state(data.farm, *held[:2]), outside.state(data.farm, *held[2:])
    flow, of_flow = rate.per_h * volume_m3, rate.give_or_take_per_h * volume_m3

    def day_of(per_h: Floats) -> TimeIntegral:
        return time_integral(at_us, per_h, data.start_us, data.until_us, gap_us)

    lost = day_of(ventilation_moisture_loss(*air, flow, pressure))
    give_or_take = day_of(moisture_removal_rate_uncertainty(*air, flow, pressure, of_flow))
    return Amount(lost.total / SECONDS_PER_HOUR, give_or_take.total / SECONDS_PER_HOUR, lost.coverage)


def _stored(data: DayData, inside: AirSensors, volume_m3: float) -> Amount:
    """Return what the room's air held more at the day's end; offsets of its sensors cancel. [kg]."""
    start, end = (_air_at(data, inside, at_us) for at_us in _whole(data))
    pressure = air_pressure_of(data.farm, inside.temperature.zone).at(data.store, np.array([data.start_us]))
    return Amount(float(moisture_stored(volume_m3, start, end, pressure[0])), 0.0)


def _air_at(data: DayData, sensors: AirSensors, at_us: int) -> AirState:
    """Return the mean air of the readings around an instant; NaN where there are none."""
    read = (data.store.read(one, at_us - AROUND_US, at_us + AROUND_US) for one in sensors)
    known = [value[~np.isnan(value)] for value in map(usable, read)]
    return AirState(*(float(value.mean()) if value.size else math.nan for value in known))


def _held(data: DayData, series: tuple[Series, ...], start_us: int, end_us: int) -> tuple[Times, list[Floats]]:
    """Return all instants at which one of some series has a reading, and the newest of each at them."""
    read = [data.store.read(one, start_us, end_us) for one in series]
    at_us = instants_of_any([columns.time_us for columns in read])
    ages = [max_age_us(data.farm, one) for one in series]
    held = [
        hold_as_of(columns.time_us, usable(columns), at_us, age).value for columns, age in zip(read, ages, strict=True)
    ]
    return at_us, held
