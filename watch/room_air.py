"""The places that share a room's air, and their readings aligned in time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of, instants_of_any
from farm.description import Farm, ZoneKind
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series
from store.contract import ReadingStore
from watch.bands import max_age_us, usable
from watch.derived import derivations

OFTEN_ENOUGH_US = 10 * MICROSECONDS_PER_SECOND  # our choice, no source
ROOM_KINDS = (ZoneKind.ROOM_AIR, ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF)  # one container, one room

Floats = NDArray[np.float64]
Times = NDArray[np.int64]


class AirPair(NamedTuple):
    """A temperature and a humidity sensor in the same air."""

    temperature: Series
    humidity: Series


def shares_the_air(farm: Farm, series: Series) -> bool:
    """Return whether a series' zone lies in the room's air."""
    return series.zone in farm.zones and farm.zones[series.zone].kind in ROOM_KINDS


def air_pairs(farm: Farm) -> list[AirPair]:
    """Return the pairs of sensors that make a dew point, anywhere on the farm."""
    made = [one.inputs for one in derivations(farm) if one.output.quantity == "dew_point_temperature"]
    return [AirPair(temperature, humidity) for temperature, humidity in made]


def aligned(
    farm: Farm, store: ReadingStore, several: Sequence[Series], start_us: int, end_us: int
) -> tuple[Times, Floats]:
    """Return instants at which any of some series has a reading, and each series' newest reading then.

    Of several instants within ten seconds of the clock the first stands for all: a device that reports a hundred
    times a second tells no more of a room's air. A row a series; NaN where it has none that still speaks for the
    instant.
    """
    ages = [max_age_us(farm, one) for one in several]
    read = [_firsts_and_lasts(store.read(one, start_us - age, end_us)) for one, age in zip(several, ages, strict=True)]
    at_us = instants_of_any([columns.time_us for columns in read])
    at_us = at_us[at_us >= start_us]
    at_us = at_us[_begins(at_us)]
    rows = [hold_as_of(one.time_us, usable(one), at_us, age).value for one, age in zip(read, ages, strict=True)]
    return at_us, np.stack(rows)


def _firsts_and_lasts(columns: Columns) -> Columns:
    """Return the readings that can be the newest at the first instant of any ten seconds."""
    begins = _begins(columns.time_us)
    if begins.all():
        return columns
    kept = begins | np.append(begins[1:], True)
    return Columns(columns.time_us[kept], columns.value[kept], columns.flag[kept])


def _begins(time_us: Times) -> NDArray[np.bool_]:
    """Return whether an instant is the first of its ten seconds."""
    slot = time_us // OFTEN_ENOUGH_US
    return np.append(True, slot[1:] != slot[:-1])[: len(slot)]


def plus_or_minus(farm: Farm, several: Sequence[Series]) -> Floats:
    """Return the sensors' accuracies; NaN where nothing tells."""
    given = [farm.described[one].plus_or_minus for one in several]
    return np.array([np.nan if one is None else one for one in given])
