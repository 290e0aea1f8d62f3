"""Short words the store's tests share."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from farm.readings import Columns, Reading, Series

ROOT = Path(__file__).parents[2]  # where other processes find the packages

HOUR = 3_600_000_000
MINUTE = 60_000_000
DAY = 24 * HOUR
FAR = 1 << 62  # later than any reading of these tests

AIR = Series("north", "room", "air_temperature")
HUMIDITY = Series("north", "room", "relative_humidity", "probe-2")
VPD = Series("north", "room", "vapour_pressure_deficit")
SOUTH_AIR = Series("south", "room", "air_temperature")


def reading(time_us, value=20.0, flag=1, series=AIR):
    return Reading(series, time_us, value, flag)


def columns(*rows):
    return Columns.from_rows(list(rows))


def everything(store, series):
    """Return all rows of a series as tuples; None stands for NaN, so that they can be compared."""
    found = store.read(series, -FAR, FAR)
    assert (found.time_us.dtype, found.value.dtype, found.flag.dtype) == (np.int64, np.float64, np.uint8)
    values = (None if math.isnan(value) else value for value in found.value.tolist())
    return list(zip(found.time_us.tolist(), values, found.flag.tolist(), strict=True))


def windows(store, farm="north"):
    return [(note.series, note.first_us, note.last_us) for note in store.touched(farm, 1000)]
