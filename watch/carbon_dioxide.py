"""CO2 of a zone: its readings corrected for air pressure, and their rolling averages as derived series."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from analytics.carbon_dioxide import pressure_corrected_mole_fraction
from analytics.carbon_dioxide_exposure import (
    EIGHT_HOURS_US,
    ENOUGH_COVERAGE,
    FIFTEEN_MINUTES_US,
    eight_hour_average,
    fifteen_minute_average,
)
from analytics.psychrometrics import air_pressure_at
from analytics.rolling import RollingAverage
from farm.description import Farm, ZoneKind
from farm.flags import Flag
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable

SHARE_OF_READING = 0.05  # plus or minus of an infrared sensor high up its range; common practice, no source
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
    """Return the plus or minus of a CO2 sensor at a level: as described, else the usual one, or 5 % if that is more.

    What is usual near 1000 ppm would say too much of readings near an occupational limit. [ppm].
    """
    described = farm.described[series]
    usual = described.plus_or_minus or 0.0
    return usual if described.accuracy is not None else max(usual, SHARE_OF_READING * level_ppm)


def pressure_series(farm: Farm, zone: str) -> Series | None:
    """Return the series that tells a zone's air pressure: its own, else any of the farm; None where there is none."""
    several = [one for one in farm.described if one.quantity == "air_pressure"]
    return min(several, key=lambda one: one.zone != zone, default=None)


def air_pressure_of(farm: Farm, store: ReadingStore, zone: str, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return a zone's air pressure at ascending instants: as measured, else as usual at the farm's elevation. [kPa]."""
    usual = np.full(len(at_us), float(air_pressure_at(farm.farm.elevation_m)))
    series = pressure_series(farm, zone)
    if series is None or len(at_us) == 0:
        return usual
    age = max_age_us(farm, series)
    read = store.read(series, int(at_us[0]) - age, int(at_us[-1]) + 1)
    held = hold_as_of(read.time_us, usable(read), at_us, age).value
    return np.where(np.isnan(held), usual, held)


def co2_columns(farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int) -> Columns:
    """Return a CO2 series' readings, NaN where unusable, corrected for pressure if its description asks for it."""
    read = store.read(series, start_us, end_us)
    value = usable(read)
    calibrated_at = farm.described[series].calibrated_at_kpa
    if calibrated_at is not None:
        pressure = air_pressure_of(farm, store, series.zone, read.time_us)
        value = pressure_corrected_mole_fraction(value, pressure, calibration_pressure=calibrated_at)
    return Columns(read.time_us, value, read.flag)


def co2_inputs(farm: Farm, series: Series) -> tuple[Series, ...]:
    """Return what a CO2 series' corrected readings rest on."""
    pressure = pressure_series(farm, series.zone) if farm.described[series].calibrated_at_kpa is not None else None
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
        read = co2_columns(farm, store, self.inputs[0], start_us - window_us - gap_us, end_us)
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
