"""Indicators of light and power: what shines, when, and what it draws."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.scene import (
    HOUR_US,
    LEAST_MINUTES,
    MINUTE_US,
    MINUTES,
    Mask,
    Scene,
    hourly,
    median_over,
    settled,
    share,
)
from farm.description import LampGroup
from farm.readings import MICROSECONDS_PER_SECOND, instant

SHINES = 0.2  # of the commissioning PPFD; our choice, no source
WARM_UP_MIN = 5  # of lamps and sensor
STOPPED_MIN = 2  # after which a compressor draws nothing more; our choice, no source


def light(scene: Scene) -> Iterator[Indicator]:
    """Yield each group's light against new lamps, its siblings, its command and the crop plan."""
    outputs: dict[str, Floats] = {}
    told_on: dict[str, Mask] = {}  # where a command says so
    for group in scene.farm.equipment.lamp_groups:
        ppfd = _ppfd(scene, group)
        commanded = _commanded(scene, group)
        if ppfd is not None:
            outputs[group.name] = ppfd / group.commissioning_ppfd
            shines = outputs[group.name] > SHINES
            yield Indicator("light_hours", group.name, share(shines, ppfd))
            lit = settled(shines if commanded is None else commanded > 0.5, WARM_UP_MIN)
            yield Indicator("light_output", group.name, hourly(outputs[group.name], lit))
            if commanded is not None:
                told_on[group.name] = commanded > 0.5
                dark = np.where(np.isnan(ppfd), np.nan, outputs[group.name] < SHINES)
                yield Indicator("dark_commanded", group.name, hourly(dark, lit, MINUTES // 4))
        # Where the command is known it is held against the plan: lamps that stay dark under it shift no timer.
        seen = np.where(np.isnan(ppfd), np.nan, outputs[group.name] > SHINES) if ppfd is not None else None
        timed, planned = commanded if commanded is not None else seen, _planned(scene, group)
        if timed is not None and planned is not None:
            yield Indicator("light_against_plan", group.name, hourly(np.abs(timed - planned)))
    for name, own in outputs.items():
        others = [one for other, one in outputs.items() if other != name]
        if others:
            usual = median_over(others)
            both = settled(((own > 0.02) | told_on.get(name, False)) & (usual > SHINES), WARM_UP_MIN)
            ratio = np.divide(own, usual, out=np.full(len(own), np.nan), where=both)
            yield Indicator("light_sibling", name, hourly(ratio))


def power(scene: Scene) -> Iterator[Indicator]:
    """Yield the farm's power, and what of it the nameplates of what is on do not explain."""
    mains = scene.farm.equipment.mains
    meter = scene.named(mains.meter) if mains is not None and mains.meter else None
    if mains is not None and mains.meter and mains.meter.split("/")[1] != "electrical_power":
        meter = None
    if meter is None:
        unit = scene.farm.equipment.air_conditioner
        other = unit.compressor if unit is not None else None
        meters = [one for one in scene.series(None, "electrical_power") if one.key != other]
        rooms = [one for one in meters if one.zone == scene.room and not one.sensor] or meters[:1]
        meter = scene.value[rooms[0]] if rooms else None
    if meter is None:
        return
    yield Indicator("power", "", hourly(meter))
    rest = meter.copy()
    for group in scene.farm.equipment.lamp_groups:
        commanded = _commanded(scene, group)
        if commanded is None:
            planned = _planned(scene, group)
            commanded = planned if planned is not None else np.zeros(len(rest))
        rest -= group.power_w * commanded
    unit, running = scene.farm.equipment.air_conditioner, scene.compressor
    if unit is not None and running is not None:
        rest -= unit.power_w * running
    yield Indicator("power_unexplained", "", hourly(rest))
    quiet = np.ones(len(rest), bool) if running is None else settled(~running, STOPPED_MIN)
    yield Indicator("power_at_rest", "", _lowest(np.where(quiet, rest, np.nan)))


def _lowest(value: Floats) -> Floats:
    """Return what nine tenths of each hour's minutes lie above: what runs all the time, whatever comes and goes."""
    shaped = np.sort(value.reshape(-1, MINUTES), axis=1)  # NaN sorts last
    known = (~np.isnan(shaped)).sum(axis=1)
    lowest = shaped[np.arange(len(shaped)), known // 10]
    return np.where(known >= LEAST_MINUTES, lowest, np.nan)


def _ppfd(scene: Scene, group: LampGroup) -> Floats | None:
    found = [one for zone in group.zones if (one := scene.of(zone, "ppfd")) is not None]
    return median_over(found) if found else None


def _commanded(scene: Scene, group: LampGroup) -> Floats | None:
    """Return what the controller says of a group's lights."""
    for zone in group.zones:
        if zone in scene.farm.zones and (state := scene.named(scene.farm.zones[zone].lights)) is not None:
            return state
    return None


def _planned(scene: Scene, group: LampGroup) -> Floats | None:
    """Return whether the crop plan has a group lit, at each minute."""
    farm = scene.farm
    phase = farm.phase_at(group.zones[0], instant(scene.start_us + scene.minutes * MINUTE_US))
    if phase is None or phase.photoperiod_h is None or phase.lights_on_at is None:
        return None
    hours = np.arange(scene.minutes // 60)
    offsets = np.array([_local_minute(scene, int(hour)) for hour in hours])
    minute = (offsets[:, None] + np.arange(60)[None, :]).ravel()
    on = phase.lights_on_at.hour * 60 + phase.lights_on_at.minute
    lit: Mask = (minute - on) % 1440 < phase.photoperiod_h * 60
    return lit.astype(float)


def _local_minute(scene: Scene, hour: int) -> int:
    local = instant(scene.start_us + hour * HOUR_US + MICROSECONDS_PER_SECOND).astimezone(scene.farm.farm.zone_info)
    return local.hour * 60 + local.minute
