"""Indicators of the air: what the room and its rows are like, and what coil, leaks and gas do to it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.scene import (
    MINUTES,
    Mask,
    Scene,
    counted_by_hour,
    hourly,
    median_over,
    pace,
    quiet_after,
    settled,
    share,
)
from analytics.psychrometrics import dew_point_temperature

START_UP_MIN = 4  # after its start the coil is not what it will be; our choice, no source
SWING_MIN = 6  # our choice, no source
LEAST_SWING_K = 0.02  # below which swings say nothing: a sensor's noise
OUTDOOR_CO2_PPM = 420.0  # where neither the description nor a sensor tells; common practice, no source
LEAST_ABOVE_PPM = 120.0  # above outdoors, below which CO2's fall says nothing; our choice, no source


def air(scene: Scene) -> Iterator[Indicator]:
    """Yield what the air of the room and of each row is like."""
    room, rows = scene.room, scene.rows
    warmth = [one for row in rows if (one := scene.of(row, "air_temperature")) is not None]
    moist = [one for row in rows if (one := scene.vapour(row)) is not None]
    if room is not None:
        if (temperature := scene.of(room, "air_temperature")) is not None:
            yield Indicator("room_temperature", "", hourly(temperature))
            yield from _rests(scene, temperature)
        if (humidity := scene.of(room, "relative_humidity")) is not None:
            yield Indicator("room_humidity", "", hourly(humidity))
        if (vapour := scene.vapour(room)) is not None:
            yield Indicator("room_vapour", "", hourly(vapour))
            if len(moist) > 1:
                yield Indicator("room_vapour_against_rows", "", hourly(vapour - median_over(moist)))
    if warmth:
        yield Indicator("rows_temperature", "", hourly(median_over(warmth)))
    if moist:
        yield Indicator("rows_vapour", "", hourly(median_over(moist)))
    outside = scene.of(scene.outdoors, "air_temperature") if scene.outdoors is not None else None
    if outside is not None:
        yield Indicator("outdoor_temperature", "", hourly(outside))
    for row in rows:
        yield from _row(scene, row)


def _air_of(scene: Scene) -> Floats | None:
    """Return the vapour of the room, else of its rows."""
    own = scene.vapour(scene.room) if scene.room is not None else None
    several = [one for row in scene.rows if (one := scene.vapour(row)) is not None]
    return own if own is not None else median_over(several) if several else None


def _row(scene: Scene, row: str) -> Iterator[Indicator]:
    others = [one for one in scene.rows if one != row]
    if len(others) < 2 and scene.room is not None:
        others = [*others, scene.room]
    for name, of in (
        ("row_temperature", lambda zone: scene.of(zone, "air_temperature")),
        ("row_vapour", scene.vapour),
    ):
        own = of(row)
        siblings = [one for other in others if (one := of(other)) is not None]
        if own is not None and siblings:
            yield Indicator(name, row, hourly(own - median_over(siblings)))
    swings = {one: _swing(air) for one in (row, *others) if (air := scene.of(one, "air_temperature")) is not None}
    if row in swings and len(swings) > 1:
        usual = median_over([swing for one, swing in swings.items() if one != row])
        yield Indicator("row_swing", row, np.log((swings[row] + LEAST_SWING_K) / (usual + LEAST_SWING_K)))
    if (fan := scene.of(row, "fan_on")) is not None:
        yield Indicator("row_fan", row, hourly(fan))
    if (speed := scene.of(row, "air_speed")) is not None:
        yield Indicator("row_air_speed", row, hourly(speed))


def _swing(temperature: Floats) -> Floats:
    """Return by how much a temperature moves within a few minutes: fans carry the room's swings into a row. [K]."""
    moved = np.abs(temperature[SWING_MIN:] - temperature[:-SWING_MIN])
    return hourly(np.concatenate([np.full(SWING_MIN, np.nan), moved]), least=MINUTES // 2)


def _rests(scene: Scene, temperature: Floats) -> Iterator[Indicator]:
    running = scene.compressor
    if running is not None:
        yield Indicator("warmth_lost", "", -pace(temperature, settled(~running, START_UP_MIN)))


def coil(scene: Scene) -> Iterator[Indicator]:
    """Yield what the air conditioner does to the air that passes it, and how long it runs."""
    unit, running = scene.farm.equipment.air_conditioner, scene.compressor
    if unit is None or running is None:
        return
    known = scene.named(unit.compressor)
    yield Indicator("compressor_share", "", share(running, known))
    steady = settled(running, START_UP_MIN)
    inside, supply = unit.return_zone or scene.room, unit.supply_zone
    if inside is not None and supply is not None:
        before, behind = scene.of(inside, "air_temperature"), scene.of(supply, "air_temperature")
        if before is not None and behind is not None:
            yield Indicator("coil_cooling", "", hourly(before - behind, steady, 3))
        wet, dry = scene.vapour(inside), scene.vapour(supply)
        if wet is not None and dry is not None:
            yield Indicator("coil_drying", "", hourly(wet - dry, steady, 3))
        humidity = scene.of(inside, "relative_humidity")
        if before is not None and behind is not None and humidity is not None:
            dew = dew_point_temperature(before, humidity, "water")
            yield Indicator("supply_above_dew_point", "", hourly(behind - dew, steady, 3))
    drain = scene.farm.equipment.condensate
    key = unit.condensate or (drain.volume if drain is not None else None)
    if (counter := scene.named(key)) is not None:
        litres = counted_by_hour(counter)
        yield Indicator("condensate", "", litres)
        ran = share(running, known)
        per_run = np.where(ran >= 0.1, litres / np.maximum(ran, 0.1), np.nan)
        yield Indicator("condensate_per_run", "", per_run)
    vapour = _air_of(scene)
    if vapour is not None:
        yield Indicator("vapour_gain", "", pace(vapour, settled(~running, START_UP_MIN), 4))


def states(scene: Scene) -> Iterator[Indicator]:
    """Yield how long purge fan, doors and circulation fans are on, and the mains there."""
    for name, quantity, reduce in (
        ("purge_share", "purge_on", np.nanmax),
        ("door_share", "door_open", np.nanmax),
        ("fans_share", "fan_on", np.nanmin),
        ("mains_share", "power_present", np.nanmin),
    ):
        found = [hourly(scene.value[one]) for one in scene.series(None, quantity)]
        if found:
            stacked = np.stack(found)
            known = ~np.isnan(stacked).all(axis=0)
            value = np.full(stacked.shape[1], np.nan)
            value[known] = reduce(stacked[:, known], axis=0)
            yield Indicator(name, "", value)


def carbon_dioxide(scene: Scene) -> Iterator[Indicator]:
    """Yield the gas: its level, how it rises with the valve open and falls with the valve shut."""
    equipment = scene.farm.equipment.carbon_dioxide
    zone = equipment.zone if equipment is not None else scene.room
    level = scene.of(zone, "co2_mole_fraction") if zone is not None else None
    if level is None:
        level = scene.of(None, "co2_mole_fraction")
    if level is None:
        return
    yield Indicator("co2", "", hourly(level))
    shaped = level.reshape(-1, MINUTES)
    known = (~np.isnan(shaped)).any(axis=1)
    peak = np.full(len(shaped), np.nan)
    peak[known] = np.nanmax(shaped[known], axis=1)
    yield Indicator("co2_peak", "", peak)
    valves = scene.series(None, "co2_valve_open")
    if not valves:
        return
    state = scene.value[valves[0]]
    is_open: Mask = state > 0.5
    yield Indicator("co2_valve_share", "", share(is_open, state))
    yield Indicator("co2_rise", "", pace(level, settled(is_open, 1), 2) / MINUTES)
    outdoors = equipment.background_ppm if equipment is not None and equipment.background_ppm else OUTDOOR_CO2_PPM
    above = level - outdoors
    shut = quiet_after(is_open, 3) & ~np.isnan(state) & (above > LEAST_ABOVE_PPM)
    yield Indicator("co2_loss", "", -pace(np.log(np.where(above > 1.0, above, np.nan)), shut, 10))
