"""Indicators of water on its way: pump, filter, rows, return, trays, feed water and the tank's level."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.root_zone import MIXING_MIN, topped_up, volume_l
from analytics.findings.scene import (
    MINUTES,
    Mask,
    Scene,
    counted_by_hour,
    hourly,
    median_over,
    pace,
    per_minute,
    quiet_after,
    settled,
    share,
)
from analytics.reverse_osmosis import temperature_correction_factor
from farm.water_equipment import Filter

DAY_H = 24
FLOWS = 0.2  # of the rated flow; our choice, no source


def water(scene: Scene) -> Iterator[Indicator]:
    """Yield all indicators of water."""
    yield from _lines(scene)
    yield from _tank(scene)
    yield from _feed(scene)
    yield from _trays(scene)


def _rated_l_min(scene: Scene, key: str) -> float:
    rows = [one for one in scene.farm.equipment.drip_rows if one.flow == key]
    return sum(one.emitters * one.emitter_flow_l_h for one in rows) / 60.0


def _lines(scene: Scene) -> Iterator[Indicator]:
    equipment = scene.farm.equipment
    pump = scene.pump
    keys = dict.fromkeys(one.flow for one in equipment.drip_rows if one.flow)
    keys = keys or dict.fromkeys(one.flow for one in equipment.filters)
    flows = {key: flow for key in keys if (flow := scene.named(key)) is not None and key.split("/")[1] == "flow_rate"}
    if pump is not None:
        yield Indicator("pump_share", "", share(pump))
    if not flows:
        return
    total = np.sum(list(flows.values()), axis=0) if len(flows) > 1 else next(iter(flows.values()))
    rated = sum(_rated_l_min(scene, key) for key in flows) or float(np.nanpercentile(total, 98))
    runs = total > FLOWS * rated
    yield Indicator("watering_share", "", share(runs, total))
    running = settled(runs, 1)
    yield Indicator("flow", "", hourly(total, running, 2))
    if pump is not None:
        late = settled(pump, 1)
        commanded = late.reshape(-1, MINUTES).sum(axis=1)
        dry = (late & ~runs & ~np.isnan(total)).reshape(-1, MINUTES).sum(axis=1)
        yield Indicator("dry_pump", "", np.where(commanded > 1, dry / np.maximum(commanded, 1), np.nan))
    if len(flows) > 1:
        for row in equipment.drip_rows:
            if row.flow in flows and sum(one.flow == row.flow for one in equipment.drip_rows) == 1:
                own = flows[row.flow]
                others = median_over([flow for key, flow in flows.items() if key != row.flow])
                both = settled(others > 0.05, 1) & ~np.isnan(own)
                yield Indicator(
                    "row_flow",
                    row.zone,
                    hourly(np.divide(own, others, out=np.full(len(own), np.nan), where=both), least=2),
                )
    for one in equipment.filters[:1]:
        yield from _filter(scene, one, rated, total)
    back = dict.fromkeys(row.return_flow for row in equipment.drip_rows if row.return_flow)
    returned = [flow for key in back if (flow := scene.named(key)) is not None]
    if returned:
        sent = hourly(total, least=MINUTES // 2)
        came = hourly(np.sum(returned, axis=0), least=MINUTES // 2)
        yield Indicator(
            "return_share", "", np.divide(came, sent, out=np.full(len(sent), np.nan), where=sent > 0.01 * rated)
        )


def _filter(scene: Scene, one: Filter, rated: float, total: Floats) -> Iterator[Indicator]:
    flow, before, after = scene.named(one.flow), scene.named(one.before), scene.named(one.after)
    flow = flow if flow is not None else total
    running = settled(flow > FLOWS * rated, 1)
    if before is not None:
        yield Indicator("pressure_before", "", hourly(before, running, 2))
    if after is not None:
        yield Indicator("pressure_after", "", hourly(after, running, 2))
        squared = np.where(flow > 0.05, (flow / rated) ** 2, np.nan)
        yield Indicator("emitter_resistance", "", hourly(after / squared / 100.0, running, 2))
        if before is not None:
            yield Indicator("filter_resistance", "", hourly((before - after) / squared, running, 2))


def _tank(scene: Scene) -> Iterator[Indicator]:
    tank = scene.farm.equipment.reservoir
    volume, added = volume_l(scene), topped_up(scene)
    if tank is None or volume is None:
        return
    level = 100.0 * volume / tank.volume_l
    yield Indicator("level", "", hourly(level))
    if added is None:
        return
    clear = quiet_after(np.nan_to_num(added) > 0.0, MIXING_MIN // 3)
    yield Indicator("level_fall", "", -pace(level, clear & ~np.isnan(level), 10))
    by_hour = hourly(added, least=MINUTES // 2) * MINUTES
    yield Indicator("topped_up", "", by_hour)
    drunk = np.diff(hourly(np.nancumsum(added)) - hourly(volume), prepend=np.nan)
    drunk[np.isnan(by_hour)] = np.nan
    yield Indicator("drunk", "", drunk)
    unit, drain = scene.farm.equipment.air_conditioner, scene.farm.equipment.condensate
    key = (drain.volume if drain is not None else None) or (unit.condensate if unit is not None else None)
    if (counter := scene.named(key)) is not None and not (drain is not None and drain.returned):
        yield Indicator("condensed_beyond_drunk", "", counted_by_hour(counter) - drunk)


def _feed(scene: Scene) -> Iterator[Indicator]:
    unit = scene.farm.equipment.reverse_osmosis
    if unit is None:
        return
    feed = scene.named(unit.feed_temperature)
    if feed is not None:
        yield Indicator("feed_temperature", "", hourly(feed))
    meter = scene.named(unit.output)
    if meter is not None and unit.output is not None:
        litres = per_minute(meter) if unit.output.split("/")[1] == "metered_volume" else meter
        running = settled(litres > 0.02 * unit.rated_l_per_day / 1440.0, 1)
        made = hourly(litres, running, 5) * MINUTES
        yield Indicator("feed_output_raw", "", made)
        if feed is not None:
            yield Indicator("feed_output", "", made * temperature_correction_factor(hourly(feed)))
    tank = scene.farm.equipment.reservoir
    own = tank.zone if tank is not None else None
    ecs = [scene.value[one] for one in scene.series(None, "solution_ec") if one.zone != own]
    if ecs:
        yield Indicator("feed_ec", "", hourly(ecs[0]))


def _trays(scene: Scene) -> Iterator[Indicator]:
    wet: list[Floats] = []
    for shelf in scene.farm.equipment.flood_shelves:
        state = scene.named(shelf.water)
        if state is not None:
            above = shelf.water_above if shelf.water_above is not None else 0.5
            wet.append(share(state > above, state))
    if wet:
        stacked = np.stack(wet)
        known = ~np.isnan(stacked).all(axis=0)
        most = np.full(stacked.shape[1], np.nan)
        most[known] = np.nanmax(stacked[:, known], axis=0)
        yield Indicator("tray_wet_share", "", most)
    runs = [
        wet_minutes(state > (shelf.water_above if shelf.water_above is not None else 0.5))
        for shelf in scene.farm.equipment.flood_shelves
        if (state := scene.named(shelf.water)) is not None
    ]
    if runs:
        yield Indicator("tray_wet_minutes", "", np.max(runs, axis=0))


def wet_minutes(wet: Mask) -> Floats:
    """Return the longest stretch that a tray stood wet within the last day, as far as it lasts at each hour's end."""
    at = np.arange(len(wet))
    dry = np.maximum.accumulate(np.where(wet, -1, at))
    lasted = np.minimum(at - dry, DAY_H * MINUTES).astype(float)
    by_hour = lasted.reshape(-1, MINUTES).max(axis=1)
    padded = np.concatenate([np.zeros(DAY_H - 1), by_hour])
    longest: Floats = np.lib.stride_tricks.sliding_window_view(padded, DAY_H).max(axis=1)
    return longest
