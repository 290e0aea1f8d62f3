"""CO2 of a zone: its readings, and their rolling averages as derived series."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.carbon_dioxide_exposure import (
    EIGHT_HOURS_US,
    ENOUGH_COVERAGE,
    FIFTEEN_MINUTES_US,
    eight_hour_average,
    fifteen_minute_average,
)
from analytics.rolling import RollingAverage
from farm.description import Farm, ZoneKind
from farm.flags import Flag
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable
from watch.derivation import accuracy_at
from watch.pressure import pressure_corrections

LEAST_COVERAGE = 0.5  # of a window, to give an average at all; our choice, no source

# Quantity -> the window's length and the average over it.
AVERAGES: dict[str, tuple[int, Callable[..., RollingAverage]]] = {
    "co2_average_8h": (EIGHT_HOURS_US, eight_hour_average),
    "co2_average_15min": (FIFTEEN_MINUTES_US, fifteen_minute_average),
}


def co2_limit(farm: Farm, quantity: str) -> float:
    """Return the occupational limit that an average of ``AVERAGES`` is held against. [ppm]."""
    limits = farm.occupational_limits
    return limits.eight_hours_ppm if quantity == "co2_average_8h" else limits.fifteen_minutes_ppm


def co2_accuracy(farm: Farm, series: Series, level_ppm: float) -> float:
    """Return the plus or minus of a CO2 sensor at a level: as described, else what is usual there. [ppm]."""
    return float(accuracy_at(farm, series, level_ppm))


def co2_columns(store: ReadingStore, series: Series, start_us: int, end_us: int) -> Columns:
    """Return a CO2 series' readings, NaN where unusable."""
    read = store.read(series, start_us, end_us)
    return Columns(read.time_us, usable(read), read.flag)


def co2_inputs(farm: Farm, series: Series) -> tuple[Series, ...]:
    """Return what a CO2 series' readings, as they are to be used, rest on."""
    correction = pressure_corrections(farm).get(series)
    pressure = None if correction is None else correction.pressure.series
    return (series, pressure) if pressure is not None else (series,)


@dataclass(frozen=True)
class Average:
    """A rolling average of a CO2 series, at each of its readings."""

    output: Series
    inputs: tuple[Series, ...]

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return the window, and for how long a reading of CO2 (and of the pressure before it) is held."""
        window_us, _ = AVERAGES[self.output.quantity]
        return window_us + sum(max_age_us(farm, one) for one in {self.inputs[0], series})

    def over(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> tuple[Columns, RollingAverage]:
        """Return the CO2 readings of ``[start_us, end_us)`` with their averages; flags are the window's worst."""
        window_us, average = AVERAGES[self.output.quantity]
        gap_us = max_age_us(farm, self.inputs[0])
        read = co2_columns(store, self.inputs[0], start_us - window_us - gap_us, end_us)
        found = average(read.time_us, read.value, gap_us)
        rank = _worst_rank(read, window_us + gap_us)
        kept = read.time_us >= start_us
        columns = Columns(read.time_us[kept], read.value[kept], FLAG_OF_RANK[rank[kept]])
        return columns, RollingAverage(found.value[kept], found.coverage[kept])

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the averages of ``[start_us, end_us)``; SUSPECT with gaps, none where over half is missing."""
        read, found = self.over(farm, store, start_us, end_us)
        gappy = found.coverage < ENOUGH_COVERAGE
        rank = np.maximum(FLAG_RANK[read.flag], np.where(gappy, FLAG_RANK[Flag.SUSPECT], 0))
        kept = found.coverage >= LEAST_COVERAGE
        return Columns(read.time_us[kept], found.value[kept], FLAG_OF_RANK[rank[kept]])


def _worst_rank(read: Columns, window_us: int) -> NDArray[np.uint8]:
    """Return the severity of the worst flag among the readings that count in the window before each reading."""
    rank = np.where(np.isnan(read.value), 0, FLAG_RANK[read.flag])
    first = np.searchsorted(read.time_us, read.time_us - window_us, side="right")
    worst = np.zeros(len(read), np.uint8)
    for severity in range(1, len(Flag)):
        so_far = np.concatenate(([0], np.cumsum(rank >= severity)))
        worst[so_far[1:] > so_far[first]] = severity
    return worst


def co2_averages(farm: Farm) -> list[Average]:
    """Return the rolling averages of every CO2 series indoors."""
    indoors = [
        one
        for one in farm.described
        if one.quantity == "co2_mole_fraction" and farm.zones[one.zone].kind != ZoneKind.OUTDOORS
    ]
    return [Average(one._replace(quantity=name), co2_inputs(farm, one)) for one in indoors for name in AVERAGES]
