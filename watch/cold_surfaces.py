"""How cold surfaces were, are and may become tonight, and of how much water in the air that makes them wet."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

import numpy as np

from analytics.condensation import surface_temperature_by_factor
from analytics.humidity import humidity_ratio
from analytics.night_ahead import NIGHTS
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, instant, microseconds
from store.contract import ReadingStore
from watch.bands import longest_hold_us
from watch.derivation import accuracy
from watch.nights import Past, expected_margin
from watch.surfaces import SurfaceAir
from watch.surfaces_of_day import NIGHT_BEGINS, NIGHT_ENDS

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
DAY_US = 24 * HOUR_US
G_PER_KG = 1000.0


@dataclass(frozen=True, slots=True)
class ColdSurface:
    """How cold a surface was, is, and may become tonight: air of more water than the ratio beside it would wet it."""

    name: str
    label: str
    zone: str
    measured: bool
    give_or_take_k: float
    coldest_degc: float
    coldest_us: int | None
    coldest_g_kg: float
    now_degc: float
    now_g_kg: float
    tonight_degc: float
    tonight_give_or_take_k: float
    tonight_g_kg: float


def cold_surface(
    farm: Farm,
    store: ReadingStore,
    past: Past,
    air: SurfaceAir,
    span: tuple[int, int],
    pressure_kpa: float,
    now_us: int,
) -> ColdSurface:
    """Return how cold a surface was in a span, is now, and may become tonight, at a mean air pressure."""
    series = air.probe or air.at("surface_temperature")
    hours = store.aggregate(series, *span, HOUR_US)
    lowest = np.where(hours.count > 0, hours.low, np.nan)
    at = int(np.nanargmin(lowest)) if np.isfinite(lowest).any() else None
    newest = store.last_before(series, now_us + 1)
    fresh = newest is not None and now_us - newest.time_us <= longest_hold_us(farm, series)
    now_degc = (
        newest.value if newest is not None and fresh and newest.flag not in (Flag.FAIL, Flag.MISSING) else math.nan
    )
    coldest = float(lowest[at]) if at is not None else math.nan
    tonight, give = _tonight(farm, past, air, now_us)
    return ColdSurface(
        name=air.surface.name,
        label=air.surface.label,
        zone=air.surface.zone,
        measured=air.probe is not None,
        give_or_take_k=_give_or_take(farm, air),
        coldest_degc=coldest,
        coldest_us=int(hours.time_us[at]) if at is not None else None,
        coldest_g_kg=_wets(coldest, pressure_kpa),
        now_degc=now_degc,
        now_g_kg=_wets(now_degc, pressure_kpa),
        tonight_degc=tonight,
        tonight_give_or_take_k=give,
        tonight_g_kg=_wets(tonight, pressure_kpa),
    )


def _wets(surface_degc: float, pressure_kpa: float) -> float:
    """Return the humidity ratio of air whose dew point is a surface's temperature. [g/kg]."""
    return float(G_PER_KG * humidity_ratio(surface_degc, 100.0, pressure_kpa))


def _give_or_take(farm: Farm, air: SurfaceAir) -> float:
    if air.probe is not None:
        return accuracy(farm, air.probe)
    factor = math.nan if air.factor is None else air.factor
    return math.hypot(factor * accuracy(farm, air.temperature), (1.0 - factor) * accuracy(farm, air.inputs[2]))


def _tonight(farm: Farm, past: Past, air: SurfaceAir, now_us: int) -> tuple[float, float]:
    """Return how cold a surface may become in the night to come, and its give or take; NaN where it is not known.

    With the coldest hour outdoors as the last nights have it, and the room as it was in those nights, at the median.
    """
    start_us, end_us = night_from(farm, now_us)
    expected = expected_margin(past, air, start_us, end_us)
    if expected is None:
        return math.nan, math.nan
    inside = past.since(air.temperature, start_us - NIGHTS * DAY_US)
    at_night = (inside.time_us - start_us) % DAY_US < end_us - start_us
    room = float(np.median(inside.value[at_night])) if at_night.any() else math.nan
    coldest = surface_temperature_by_factor(room, expected.coldest.value, expected.factor)
    return float(coldest), (1.0 - expected.factor) * expected.coldest.give_or_take


def night_from(farm: Farm, now_us: int) -> tuple[int, int]:
    """Return the night that is under way, from now on, else the next one, as `watch.surfaces_of_day` has nights."""
    today = instant(now_us).astimezone(farm.farm.zone_info).date()

    def at(days: int, clock: time) -> int:
        moment = datetime.combine(today + timedelta(days=days), clock, farm.farm.zone_info)
        return microseconds(moment.astimezone(UTC))

    if now_us < at(0, NIGHT_ENDS):
        return now_us, at(0, NIGHT_ENDS)
    return max(now_us, at(0, NIGHT_BEGINS)), at(1, NIGHT_ENDS)
