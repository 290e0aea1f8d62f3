"""The state of a zone's air now: what follows from its newest temperature and humidity and is kept as no series."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analytics.psychrometrics import absolute_humidity, air_density, enthalpy, wet_bulb_temperature
from analytics.saturation import TRIPLE_POINT
from farm.description import Farm
from farm.flags import Flag
from farm.readings import Reading, Series
from store.contract import ReadingStore
from watch.air_conditioner import air_sensors
from watch.bands import max_age_us
from watch.derivation import phase_of
from watch.pressure import air_pressure_of


@dataclass(frozen=True, slots=True)
class AirNow:
    """Moist air at its zone's pressure, as of the older of the two readings it follows from."""

    time_us: int
    air_pressure_kpa: float
    wet_bulb_degc: float
    absolute_humidity_g_m3: float
    enthalpy_kj_kg: float
    density_kg_m3: float


def air_now(farm: Farm, store: ReadingStore, latest: Mapping[Series, Reading], zone: str, now_us: int) -> AirNow | None:
    """Return the state of a zone's air; None without fresh, usable readings of both sensors.

    Below freezing it is worked out over ice: of a humidity sensor that counts over water, nothing is said there.
    """
    sensors = air_sensors(farm, zone)
    if sensors is None:
        return None
    newest = [latest.get(one) for one in sensors]
    air, humidity = newest
    if air is None or humidity is None or any(_stale(farm, one, now_us) for one in (air, humidity)):
        return None
    if air.value < TRIPLE_POINT and phase_of(farm, sensors.humidity) == "water":
        return None
    pressure = float(air_pressure_of(farm, zone).at(store, np.array([now_us]))[0])
    state = (air.value, humidity.value, pressure)
    found = (wet_bulb_temperature(*state), absolute_humidity(*state[:2]), enthalpy(*state), air_density(*state))
    if np.isnan(found).any():
        return None
    return AirNow(min(air.time_us, humidity.time_us), pressure, *map(float, found))


def _stale(farm: Farm, reading: Reading, now_us: int) -> bool:
    too_old = now_us - reading.time_us > max_age_us(farm, reading.series)
    return too_old or reading.flag in (Flag.FAIL, Flag.MISSING)
