"""What a day's readings say together that cannot be: which sensor to look at, or which drain."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

import numpy as np

from analytics.alignment import held_us
from analytics.condensation import condensation_margin_uncertainty
from analytics.flagging import Flags
from analytics.light import ON
from analytics.persistence import held_flags
from analytics.plausibility import (
    dew_point_above_dry_bulb,
    humidity_of_the_same_vapour,
    light_integral_above_lamps,
    stuck_wet_flags,
    supply_above_room_dew_point,
)
from analytics.psychrometrics import air_pressure_at, dew_point_temperature, vapour_pressure
from analytics.siblings import difference_from_siblings, median_over_series
from farm.description import ZoneKind
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from watch.bands import lights_series, max_age_us
from watch.day_data import DayData
from watch.derivation import accuracy_at
from watch.light_days import lit_days
from watch.room_air import AirPair, Floats, Times, air_pairs, aligned, plus_or_minus, shares_the_air

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
HOURS_OF_A_DAY = 24.0

# All our choice, no source.
HOLD_S = 1800.0  # it must last; also longer than a coil takes to become cold
DARK_UP_TO = 10.0  # umol m-2 s-1 of stray light
WEATHER_SHARE = 0.05  # of the standard pressure at the farm's elevation: more is not weather, but for a hurricane's eye
LAMPS_BETTER_BY = 0.25  # a sensor nearer to the lamps than at commissioning, and the sensor's own error


def impossible(data: DayData) -> list[dict[str, Any]]:
    """Return each thing that could not be, with the series to doubt and for how long it lasted."""
    checks = (_air_of_the_room, _pressure, _behind_the_coil, _light_in_the_dark, _more_light_than_lamps)
    return [one for check in checks for one in check(data)]


class _Air(NamedTuple):
    """Air at several pairs of sensors, aligned: a row a pair."""

    at_us: Times
    temperature: Floats
    dew_point: Floats
    vapour: Floats
    humidity: Floats
    uncertainty: Floats  # of the dew point, K
    others: Floats  # further series asked for
    gap_us: int


def _air(data: DayData, pairs: Sequence[AirPair], others: Sequence[Series] = ()) -> _Air:
    temperatures, humidities = [pair.temperature for pair in pairs], [pair.humidity for pair in pairs]
    several = [*temperatures, *humidities, *others]
    gap_us = max(max_age_us(data.farm, one) for one in several)
    from_us = data.start_us - int(HOLD_S * MICROSECONDS_PER_SECOND) - gap_us
    at_us, table = aligned(data.farm, data.store, several, from_us, data.until_us)
    air, humidity, rest = np.split(table, [len(pairs), 2 * len(pairs)])
    of_air = plus_or_minus(data.farm, temperatures)[:, np.newaxis] * np.ones_like(air)
    of_humidity = np.stack([accuracy_at(data.farm, *one) for one in zip(humidities, humidity, strict=True)])
    uncertainty = condensation_margin_uncertainty(air, humidity, of_air, of_humidity, 0.0)
    dew_point, vapour = dew_point_temperature(air, humidity), vapour_pressure(air, humidity)
    return _Air(at_us, air, dew_point, vapour, humidity, uncertainty, rest, gap_us)


def _air_of_the_room(data: DayData) -> Iterator[dict[str, Any]]:
    """Yield humidity sensors that stay wet, and air that would be below the room's dew point."""
    pairs = [pair for pair in air_pairs(data.farm) if shares_the_air(data.farm, pair.temperature)]
    if len(pairs) < 2:
        return
    air = _air(data, pairs)
    vapour_of_all = air.vapour - difference_from_siblings(air.vapour)  # of two places: that of the other one
    dew_of_all = air.dew_point - difference_from_siblings(air.dew_point)
    worst = np.fmax.reduce(air.uncertainty, axis=0)
    gap_s = air.gap_us / MICROSECONDS_PER_SECOND
    for row, (pair, own) in enumerate(
        zip(pairs, plus_or_minus(data.farm, [pair.temperature for pair in pairs]), strict=True)
    ):
        expected = humidity_of_the_same_vapour(air.temperature[row], vapour_of_all[row])
        wet = stuck_wet_flags(air.at_us, air.humidity[row], expected, HOLD_S, gap_s)
        yield from _lasted(data, "humidity_sensor_stuck_wet", pair.humidity, air.at_us, wet, air.gap_us)
        excess = dew_point_above_dry_bulb(air.temperature[row], dew_of_all[row], np.hypot(worst, own))
        cold = held_flags(air.at_us, _wrong(excess), HOLD_S, gap_s)
        yield from _lasted(data, "air_below_the_rooms_dew_point", pair.temperature, air.at_us, cold, air.gap_us)


def _pressure(data: DayData) -> Iterator[dict[str, Any]]:
    """Yield pressures that are not of the farm's elevation: most weather services reduce theirs to sea level."""
    usual = float(air_pressure_at(data.farm.farm.elevation_m))
    for series in data.farm.described:
        if series.quantity != "air_pressure":
            continue
        gap_us = max_age_us(data.farm, series)
        from_us = data.start_us - int(HOLD_S * MICROSECONDS_PER_SECOND) - gap_us
        at_us, (pressure,) = aligned(data.farm, data.store, [series], from_us, data.until_us)
        excess = np.abs(pressure - usual) - WEATHER_SHARE * usual
        flags = held_flags(at_us, _wrong(excess), HOLD_S, gap_us / MICROSECONDS_PER_SECOND)
        yield from _lasted(data, "pressure_not_of_this_elevation", series, at_us, flags, gap_us)


def _behind_the_coil(data: DayData) -> Iterator[dict[str, Any]]:
    """Yield supply air that is moister than the room's while the compressor runs."""
    farm = data.farm
    room = [pair for pair in air_pairs(farm) if shares_the_air(farm, pair.temperature)]
    compressors = [one for one in farm.described if one.quantity == "compressor_on"]
    if not room or len(compressors) != 1:  # of several nobody says which serves which duct
        return
    for supply in air_pairs(farm):
        if farm.zones[supply.temperature.zone].kind is ZoneKind.SUPPLY_DUCT:
            air = _air(data, [supply, *room], compressors)
            of_room = median_over_series(air.dew_point[1:])
            allowance = np.hypot(air.uncertainty[0], np.fmax.reduce(air.uncertainty[1:], axis=0))
            excess = supply_above_room_dew_point(air.dew_point[0], of_room, air.others[0], allowance)
            moist = held_flags(air.at_us, _wrong(excess), HOLD_S, air.gap_us / MICROSECONDS_PER_SECOND)
            yield from _lasted(data, "supply_air_moister_than_the_room", supply.humidity, air.at_us, moist, air.gap_us)


def _light_in_the_dark(data: DayData) -> Iterator[dict[str, Any]]:
    """Yield light that goes on while its lamps are said to be off: a sensor that stands, or lamps that do not obey."""
    farm = data.farm
    for ppfd in farm.described:
        lights = lights_series(farm, ppfd.zone)
        if ppfd.quantity != "ppfd" or lights is None:
            continue
        gap_us = max(max_age_us(farm, one) for one in (ppfd, lights))
        from_us = data.start_us - int(HOLD_S * MICROSECONDS_PER_SECOND) - gap_us
        at_us, (light, on) = aligned(farm, data.store, [ppfd, lights], from_us, data.until_us)
        allowance = DARK_UP_TO + plus_or_minus(farm, [ppfd])[0]
        wrong = np.where(np.isnan(light) | np.isnan(on), np.nan, (light > allowance) & (on < ON))
        flags = held_flags(at_us, wrong, HOLD_S, gap_us / MICROSECONDS_PER_SECOND)
        yield from _lasted(data, "light_while_the_lamps_are_off", ppfd, at_us, flags, gap_us)


def _more_light_than_lamps(data: DayData) -> Iterator[dict[str, Any]]:
    """Yield light days that began in the day with more light than the lamps have, lit for 24 hours."""
    for ppfd in data.farm.described:
        lamps = [one.commissioning_ppfd for one in data.farm.equipment.lamp_groups if ppfd.zone in one.zones]
        if ppfd.quantity != "ppfd" or not lamps:
            continue
        for lit in lit_days(data.farm, data.store, ppfd, data.start_us, data.end_us):
            day = lit.day
            if not data.start_us <= day.start_us < data.end_us:
                continue
            hours = min((day.end_us - day.start_us) / HOUR_US, HOURS_OF_A_DAY)
            excess = float(light_integral_above_lamps(lit.integral.mol, sum(lamps), hours, LAMPS_BETTER_BY))
            if excess > 0.0:
                yield {
                    "what": "more_light_than_the_lamps_have",
                    "key": ppfd.key,
                    "label": data.farm.label_of(ppfd),
                    "since": iso_time(day.start_us),
                    "lasted_h": hours,
                    "excess_mol": excess,
                }


def _wrong(excess: Floats) -> Floats:
    return np.where(np.isnan(excess), np.nan, excess > 0.0)


def _lasted(
    data: DayData, what: str, series: Series, at_us: Times, flags: Flags, gap_us: int
) -> Iterator[dict[str, Any]]:
    """Yield one row if something lasted in the day; its hours count from when it had lasted long enough."""
    bad = (flags == Flag.SUSPECT) & (at_us >= data.start_us)
    if bad.any():
        held = held_us(at_us, data.start_us, data.until_us, gap_us)
        yield {
            "what": what,
            "key": series.key,
            "label": data.farm.label_of(series),
            "since": iso_time(int(at_us[np.argmax(bad)])),
            "lasted_h": int(held[bad].sum()) / HOUR_US,
        }
