"""Outdoor weather at a site with cold winters: a year, a day, and slow changes between."""

from __future__ import annotations

from datetime import datetime
from math import cos, exp, pi, sqrt
from typing import NamedTuple

import numpy as np

MEAN_C = 4.0  # invented climate
YEAR_SWING_K = 12.0
COLDEST_DAY = 20  # of the year
DAY_SWING_K = 2.5
COLDEST_HOUR_UTC = 5.0
NOISE_K = 3.5
NOISE_DAYS = 2.5  # memory of the slow changes
MEAN_HUMIDITY = 78.0
HUMIDITY_NOISE = 8.0
HUMIDITY_PER_K = 3.0  # it falls as the day warms

HOURS_A_BLOCK = 256


class Outdoors(NamedTuple):
    """Outdoor air temperature [degC] and relative humidity [%]."""

    temperature: float
    relative_humidity: float


class Weather:
    """Seeded weather from ``start`` on; ask for instants in ascending order."""

    def __init__(self, start: datetime, seed: int) -> None:
        self._start = start
        self._random = np.random.default_rng([seed, 1])
        self._keep = exp(-1.0 / (24.0 * NOISE_DAYS))
        self._temperature = [NOISE_K * 0.5 * float(self._random.standard_normal())]
        self._humidity = [0.0]

    def at(self, now: datetime) -> Outdoors:
        """Return the outdoor air at an instant not before the start."""
        hours = (now - self._start).total_seconds() / 3600.0
        hour = int(hours)
        while hour + 1 >= len(self._temperature):
            self._extend()
        share = hours - hour
        slow = self._temperature[hour] * (1.0 - share) + self._temperature[hour + 1] * share
        damp = self._humidity[hour] * (1.0 - share) + self._humidity[hour + 1] * share
        hour_of_day = now.hour + now.minute / 60.0
        day_of_year = now.timetuple().tm_yday + hour_of_day / 24.0
        day = -DAY_SWING_K * cos(2.0 * pi * (hour_of_day - COLDEST_HOUR_UTC) / 24.0)
        year = -YEAR_SWING_K * cos(2.0 * pi * (day_of_year - COLDEST_DAY) / 365.25)
        humidity = MEAN_HUMIDITY - HUMIDITY_PER_K * day + damp
        return Outdoors(MEAN_C + year + day + slow, min(98.0, max(30.0, humidity)))

    def _extend(self) -> None:
        """Add a block of hourly steps of first-order noise."""
        push = sqrt(1.0 - self._keep**2)
        for first, second in self._random.standard_normal((HOURS_A_BLOCK, 2)).tolist():
            self._temperature.append(self._keep * self._temperature[-1] + push * NOISE_K * first)
            self._humidity.append(self._keep * self._humidity[-1] + push * HUMIDITY_NOISE * second)
