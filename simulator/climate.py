"""Where an invented farm stands: what its weather is drawn from."""

from __future__ import annotations

from typing import NamedTuple


class Climate(NamedTuple):
    """Outdoor weather as a year, a day and slow changes between (invented; of no real place).

    Temperatures [degC] and swings [K] are of the air; a swing is half of highest less lowest.
    """

    mean_c: float = 4.0
    year_swing_k: float = 12.0
    coldest_day: float = 20.0  # of the year
    day_swing_k: float = 2.5
    slow_k: float = 3.5  # standard deviation of what comes and goes over days
    slow_days: float = 2.5  # memory of that
    mean_humidity: float = 78.0  # % over water
    latitude_deg: float = 60.0  # for the sun
    cloud_share: float = 0.6  # of the sun's light that clouds keep, on average
    raw_water_mean_c: float = 11.0  # of the water that comes to the farm
    raw_water_swing_k: float = 5.0
    outdoor_co2_ppm: float = 425.0
