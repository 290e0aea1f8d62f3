"""Where a zone's air was, on a psychrometric chart: its hours, the plan's bands, and what would wet a surface."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.air_chart import air_outline, humidity_ratio_at_deficit
from analytics.humidity import humidity_ratio
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.contract import ReadingStore
from watch.air_conditioner import air_sensors
from watch.bands import DARK, LIT, lit_at, longest_hold_us
from watch.cold_surfaces import ColdSurface, cold_surface
from watch.nights import Past
from watch.pressure import air_pressure_of
from watch.room_air import ROOM_KINDS
from watch.surfaces import surface_air

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
G_PER_KG = 1000.0
# What the chart shows: our choice, no source.
STEP_K = 0.5  # between the temperatures of a line
ROOM_K, ROOM_G_KG = 1.5, 1.0  # left free around what is shown
LEAST_WIDTH_K, LEAST_HEIGHT_G_KG = 8.0, 6.0
SURFACE_REACH_K = 8.0  # a surface colder than the air by more lies outside of the chart
HUMIDITIES_PERCENT = (10, 20, 30, 40, 50, 60, 70, 80, 90)
DEFICITS_KPA = (0.2, 0.4, 0.6, 0.8, 1.0, 1.2, 1.4, 1.6, 2.0, 2.5, 3.0, 4.0, 5.0)
TOGETHER = 0.5  # of an hour's temperatures, for which humidity told too, or its two means are not of one air
OPEN = (-math.inf, math.inf)

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Line:
    """One curve: what is the same along it, and its points. [degC], [g/kg]."""

    level: float
    temperature_degc: Floats
    humidity_ratio_g_kg: Floats


@dataclass(frozen=True, slots=True)
class Hours:
    """The means of hours in which both sensors told; ``lit`` 1, 0, or -1 where nothing tells. [degC], [g/kg], [kPa]."""

    time_us: NDArray[np.int64]
    temperature_degc: Floats
    humidity_ratio_g_kg: Floats
    relative_humidity_percent: Floats
    vpd_kpa: Floats
    lit: NDArray[np.int8]


@dataclass(frozen=True, slots=True)
class AirBand:
    """What the plan wants of a zone's air while lit or dark (None: always), and the outline of such air."""

    lit: bool | None
    temperature_degc: tuple[float, float]
    relative_humidity_percent: tuple[float, float]
    vpd_kpa: tuple[float, float]
    outline: Line


@dataclass(frozen=True, slots=True)
class AirNowOnChart:
    """The newest state of the air, while it is fresh."""

    time_us: int
    temperature_degc: float
    humidity_ratio_g_kg: float


@dataclass(frozen=True, slots=True)
class AirChart:
    """All that a psychrometric chart of one zone shows; the two windows hold all of it."""

    temperature: Series
    humidity: Series
    air_pressure_kpa: float
    pressure_measured: bool
    temperature_window_degc: tuple[float, float]
    humidity_ratio_window_g_kg: tuple[float, float]
    saturation: Line
    humidities: list[Line]
    deficits: list[Line]
    hours: Hours
    bands: list[AirBand]
    crop: str | None
    phase: str | None
    surfaces: list[ColdSurface]
    now: AirNowOnChart | None


def air_chart(farm: Farm, store: ReadingStore, zone: str, start_us: int, end_us: int, now_us: int) -> AirChart | None:
    """Return where a zone's air was in ``[start_us, end_us)``; None where it has no pair of air sensors.

    The bands and phase are those that hold at the range's end, the pressure its mean.
    """
    sensors = air_sensors(farm, zone)
    if sensors is None:
        return None
    temperature, humidity = sensors.temperature, sensors.humidity
    pressure = air_pressure_of(farm, zone)
    at_us = np.arange(start_us, min(end_us, max(now_us, start_us + 1)), HOUR_US)
    pressure_kpa = float(np.mean(pressure.at(store, at_us)))
    hours = _hours(farm, store, temperature, humidity, start_us, end_us)
    until_us = min(end_us, now_us)
    past = Past(farm, store, now_us)
    surfaces = [
        cold_surface(farm, store, past, air, (start_us, end_us), pressure_kpa, now_us)
        for one in farm.surfaces
        if _same_air(farm, zone, one.zone) and (air := surface_air(farm, one)) is not None
    ]
    now = _now(farm, store, temperature, now_us)
    window = _window(hours, _wanted_temperatures(farm, temperature, until_us), surfaces, now)
    bands = _bands(farm, temperature, until_us, pressure_kpa, window)
    low, high = window
    along = np.arange(low, high + STEP_K / 2, STEP_K)
    ratios = [hours.humidity_ratio_g_kg, *(one.outline.humidity_ratio_g_kg for one in bands)]
    ratios += [np.array([now.humidity_ratio_g_kg])] if now else []
    crop, phase = _phase(farm, zone, until_us)
    return AirChart(
        temperature=temperature,
        humidity=humidity,
        air_pressure_kpa=pressure_kpa,
        pressure_measured=pressure.series is not None,
        temperature_window_degc=window,
        humidity_ratio_window_g_kg=_height(np.concatenate(ratios), surfaces),
        saturation=_at_humidity(along, 100.0, pressure_kpa),
        humidities=[_at_humidity(along, float(one), pressure_kpa) for one in HUMIDITIES_PERCENT],
        deficits=[
            line for one in DEFICITS_KPA if len((line := _at_deficit(along, one, pressure_kpa)).temperature_degc) > 1
        ],
        hours=hours,
        bands=bands,
        crop=crop,
        phase=phase,
        surfaces=surfaces,
        now=now,
    )


def _same_air(farm: Farm, zone: str, other: str) -> bool:
    """Return whether two zones share the room's air; a surface is met by it wherever in the room it is."""
    return zone == other or all(farm.zones[one].kind in ROOM_KINDS for one in (zone, other))


def _at_humidity(air: Floats, percent: float, pressure_kpa: float) -> Line:
    return Line(percent, air, G_PER_KG * humidity_ratio(air, percent, pressure_kpa))


def _at_deficit(air: Floats, deficit_kpa: float, pressure_kpa: float) -> Line:
    ratio = G_PER_KG * humidity_ratio_at_deficit(air, deficit_kpa, pressure_kpa)
    known = np.isfinite(ratio)
    return Line(deficit_kpa, air[known], ratio[known])


def _hours(farm: Farm, store: ReadingStore, temperature: Series, humidity: Series, start_us: int, end_us: int) -> Hours:
    """Return the hours in which temperature and humidity ratio have means: of moments, not of one mean of both.

    An hour that was under way when the stretch began is left out: 24 hours are 24 marks, at any minute.
    """
    read = [
        store.aggregate(one, start_us, end_us, HOUR_US)
        for one in (
            temperature,
            temperature._replace(quantity="humidity_ratio"),
            humidity,
            temperature._replace(quantity="vapour_pressure_deficit"),
        )
    ]
    air, water = ({int(at): int(count) for at, count in zip(one.time_us, one.count, strict=True)} for one in read[:2])
    means = [{int(at): float(mean) for at, mean in zip(one.time_us, one.mean, strict=True)} for one in read]
    both = [at for at, count in air.items() if at >= start_us and water.get(at, 0) >= max(1.0, TOGETHER * count)]
    at_us = np.array(sorted(both), np.int64)
    columns = [np.array([mean.get(at, math.nan) for at in at_us.tolist()], float) for mean in means]
    return Hours(
        at_us, columns[0], G_PER_KG * columns[1], columns[2], columns[3], _lit(farm, store, temperature, at_us)
    )


def _lit(farm: Farm, store: ReadingStore, series: Series, at_us: NDArray[np.int64]) -> NDArray[np.int8]:
    """Return whether each hour was lit for the greater part: at 5, 15 ... 55 minutes past."""
    if len(at_us) == 0:
        return np.empty(0, np.int8)
    sixth = HOUR_US // 6
    moments = (at_us[:, None] + sixth // 2 + sixth * np.arange(6)).ravel()
    states = lit_at(farm, store, series.zone, moments).reshape(-1, 6)
    lit, dark = (states == LIT).sum(axis=1), (states == DARK).sum(axis=1)
    return np.where(lit + dark == 0, -1, np.where(lit >= dark, LIT, DARK)).astype(np.int8)


def _limits(farm: Farm, series: Series, at_us: int, lit: bool) -> tuple[float, float] | None:
    phase = farm.phase_at(series.zone, instant(at_us))
    band = phase.bands.get(series.quantity) if phase else None
    return band.limits(lit) if band else None


def _wanted_temperatures(farm: Farm, temperature: Series, at_us: int) -> list[float]:
    limits = [_limits(farm, temperature, at_us, lit) for lit in (True, False)]
    return [one for pair in limits if pair for one in pair if math.isfinite(one)]


def _bands(
    farm: Farm, temperature: Series, at_us: int, pressure_kpa: float, window: tuple[float, float]
) -> list[AirBand]:
    """Return the air that the plan wants, lit and dark; once where that is the same."""
    found: list[AirBand] = []
    for lit in (True, False):
        wanted = [
            _limits(farm, temperature._replace(quantity=quantity), at_us, lit)
            for quantity in ("air_temperature", "relative_humidity", "vapour_pressure_deficit")
        ]
        if not any(wanted):
            continue
        air, humidity, deficit = (pair or OPEN for pair in wanted)
        edges = max(air[0], window[0]), min(air[1], window[1])
        around = air_outline(edges, humidity, deficit, pressure_kpa)
        found.append(AirBand(lit, air, humidity, deficit, Line(math.nan, around[0], G_PER_KG * around[1])))
    if len(found) == 2 and found[0].temperature_degc == found[1].temperature_degc:
        one, other = found
        if (one.relative_humidity_percent, one.vpd_kpa) == (other.relative_humidity_percent, other.vpd_kpa):
            return [AirBand(None, one.temperature_degc, one.relative_humidity_percent, one.vpd_kpa, one.outline)]
    return found


def _phase(farm: Farm, zone: str, at_us: int) -> tuple[str | None, str | None]:
    standing = farm.phase_at(zone, instant(at_us))
    for crop in farm.crops.values():
        for name, phase in crop.phases.items():
            if phase is standing:
                return crop.label, name
    return None, None


def _now(farm: Farm, store: ReadingStore, temperature: Series, now_us: int) -> AirNowOnChart | None:
    pair = []
    for series in (temperature, temperature._replace(quantity="humidity_ratio")):
        newest = store.last_before(series, now_us + 1)
        if newest is None or now_us - newest.time_us > longest_hold_us(farm, series):
            return None
        pair.append(newest)
    if any(one.flag in (Flag.FAIL, Flag.MISSING) for one in pair):
        return None
    return AirNowOnChart(min(one.time_us for one in pair), pair[0].value, G_PER_KG * pair[1].value)


def _window(
    hours: Hours, wanted: Sequence[float], surfaces: Sequence[ColdSurface], now: AirNowOnChart | None
) -> tuple[float, float]:
    """Return the lowest and highest temperature to be shown, on whole degrees."""
    shown = [*hours.temperature_degc.tolist(), *wanted, *([now.temperature_degc] if now else [])]
    if not shown:
        shown = [15.0, 30.0]
    low, high = min(shown), max(shown)
    cold = [t for one in surfaces for t in (one.coldest_degc, one.tonight_degc) if low - SURFACE_REACH_K <= t]
    low = math.floor(min([low, *cold]) - ROOM_K)
    return float(low), float(max(math.ceil(high + ROOM_K), low + LEAST_WIDTH_K))


def _height(ratios: Floats, surfaces: Sequence[ColdSurface]) -> tuple[float, float]:
    """Return the lowest and highest humidity ratio to be shown, on whole grams."""
    lines = [ratio for one in surfaces for ratio in (one.coldest_g_kg, one.tonight_g_kg) if math.isfinite(ratio)]
    shown = [*ratios[np.isfinite(ratios)].tolist(), *lines] or [6.0, 14.0]
    low = max(0.0, math.floor(min(shown) - ROOM_G_KG))
    return float(low), float(max(math.ceil(max(shown) + ROOM_G_KG), low + LEAST_HEIGHT_G_KG))
