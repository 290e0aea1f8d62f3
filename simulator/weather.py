"""Outdoor weather at an invented site: a year, a day, slow changes between, and the sun on the roof.

All of it follows from the seed and the instant alone, so that the length of the blocks changes nothing.
"""

from __future__ import annotations

from math import cos, radians, sin
from typing import NamedTuple
from zlib import crc32

import numpy as np
from numpy.typing import NDArray

from simulator.building import Climate
from simulator.compiled import Floats, compiled

HOUR_S = 3600.0
DAY_S = 86_400.0
YEAR_DAYS = 365.25
NEW_YEAR_S = 1_767_225_600.0  # 2026-01-01 UTC: days of the year are counted from there
CHUNK_HOURS = 8192
TILT = radians(23.44)  # of the earth's axis
SUMMER_DAY = 172.0  # of the year: solstice
CLEAR_W_M2 = 1000.0  # with the sun overhead; common practice, no source
LEAST_HUMIDITY, MOST_HUMIDITY = 30.0, 98.0
CLOUD_DAYS = 1.0  # memory of cloud; our choice


class Outdoors(NamedTuple):
    """Outdoor air and sun at some instants."""

    temperature: Floats  # [degC]
    humidity: Floats  # over water [%]
    solar: Floats  # on a level roof [W m-2]
    feed_temperature: Floats  # of raw water [degC]


@compiled
def _remembered(pushes: Floats, keep: float, start: float) -> Floats:
    """Return first-order noise: each value keeps a share of the one before."""
    found = np.empty_like(pushes)
    value = start
    for hour in range(pushes.size):
        value = keep * value + pushes[hour]
        found[hour] = value
    return found


@compiled
def cosines(angles: Floats) -> Floats:
    """Return cosines one by one: whole-array functions may round the last ones of an array otherwise."""
    found = np.empty_like(angles)
    for one in range(angles.size):
        found[one] = cos(angles[one])
    return found


class _Noise:
    """Hourly noise of unit spread with a memory, from the start on."""

    def __init__(self, seed: int, purpose: str, days: float) -> None:
        self._random = np.random.default_rng([seed, crc32(purpose.encode())])
        self._keep = float(np.exp(-1.0 / (24.0 * days)))
        self._values = np.array([0.5 * self._random.standard_normal()])

    def at(self, hours: Floats) -> Floats:
        """Return the noise at some hours since the start, even between its hourly values."""
        while hours[-1] + 1.0 >= len(self._values):
            pushes = np.sqrt(1.0 - self._keep**2) * self._random.standard_normal(CHUNK_HOURS)
            more = _remembered(pushes, self._keep, float(self._values[-1]))
            self._values = np.concatenate((self._values, more))
        whole = hours.astype(np.int64)
        share = hours - whole
        return self._values[whole] * (1.0 - share) + self._values[whole + 1] * share


class Weather:
    """Seeded weather from ``start_s`` on; ask for instants not before it."""

    def __init__(self, climate: Climate, seed: int, start_s: float) -> None:
        self._climate = climate
        self._start_s = start_s
        self._warmth = _Noise(seed, "outdoor temperature", climate.noise_days)
        self._damp = _Noise(seed, "outdoor humidity", climate.noise_days)
        self._cloud = _Noise(seed, "cloud", CLOUD_DAYS)

    def at(self, time_s: NDArray[np.int64]) -> Outdoors:
        """Return outdoor air and sun at instants [s since 1970 UTC]."""
        climate = self._climate
        at_s: Floats = time_s.astype(np.float64)
        hours: Floats = (at_s - self._start_s) / HOUR_S
        day: Floats = (at_s - NEW_YEAR_S) / DAY_S % YEAR_DAYS
        sun_hour: Floats = (at_s / HOUR_S + climate.longitude_deg / 15.0) % 24.0
        slow = climate.slow_noise_k * self._warmth.at(hours)
        daily = -climate.day_swing_k * cosines(2.0 * np.pi * (sun_hour - climate.coldest_hour) / 24.0)
        season = -cosines(2.0 * np.pi * (day - climate.coldest_day) / YEAR_DAYS)
        damp = climate.humidity_noise * self._damp.at(hours)
        humidity = climate.mean_humidity - climate.humidity_per_k * daily + damp
        cloud: Floats = np.clip(climate.clear_share + 0.3 * self._cloud.at(hours), 0.05, 1.0)
        return Outdoors(
            climate.mean_c + climate.year_swing_k * season + daily + slow,
            np.clip(humidity, LEAST_HUMIDITY, MOST_HUMIDITY),
            CLEAR_W_M2 * cloud * sine_of_sun(climate.latitude_deg, day, sun_hour),
            np.maximum(1.0, climate.feed_mean_c + climate.feed_swing_k * season),
        )


def sine_of_sun(latitude_deg: float, day: Floats, sun_hour: Floats) -> Floats:
    """Return the sine of the sun's height, 0 at night, by latitude, day of the year and the sun's time [h]."""
    declination = TILT * cosines(2.0 * np.pi * (day - SUMMER_DAY) / YEAR_DAYS)
    latitude = radians(latitude_deg)
    turn = cosines(2.0 * np.pi * (sun_hour - 12.0) / 24.0)
    height = sin(latitude) * cosines(np.pi / 2.0 - declination) + cos(latitude) * cosines(declination) * turn
    return np.maximum(0.0, height)
