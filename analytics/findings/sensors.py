"""Indicators of each sensor by itself and of the data as a whole: steps, stuck values, scatter, silence."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.indicator import Indicator
from analytics.findings.root_zone import MIXING_MIN, doses_known, dosing
from analytics.findings.scene import MINUTES, Mask, Scene, hourly, median_over, quiet_after, share
from analytics.saturation import saturation_vapour_pressure
from farm.description import ZoneKind
from farm.quantities import Kind
from farm.readings import Series

NOTICED = 0.5  # of a sensor's accuracy is the smallest change of its own worth noticing; our choice, no source
NOTICED_APART = 0.3  # the same of a step within minutes, and of a change against others of its kind
AIR = (ZoneKind.ROOM_AIR, ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF)
SATURATED = 99.3  # %, our choice, no source
LEAST_CHANGE = 1e-9
STEP_MIN = 10  # before and after a sudden step; our choice, no source
DOSED = ("solution_ec", "solution_ph")  # steps of which may be a dose's
DAY_H = 24
LONGEST_UNCHANGED_H = 12.0  # counted; longer tells no more


def sensors(scene: Scene) -> Iterator[Indicator]:
    """Yield how each measured level behaves by itself, and what share of all readings came."""
    heard = []
    busy, counted = dosing(scene), doses_known(scene)
    for series, value in scene.value.items():
        came = (~np.isnan(value)).reshape(-1, MINUTES).mean(axis=1)
        heard.append(came)
        key = series.key
        yield Indicator("series_heard", key, came)
        yield Indicator("series_unchanged", key, _unchanged_h(value))
        if series.registered.kind is not Kind.LEVEL:
            continue
        described = scene.farm.described[series]
        accuracy = described.plus_or_minus or 1.0
        least = NOTICED * accuracy
        own = hourly(value)
        gap = _gap(scene, series)
        looked_at = own if gap is None else hourly(gap)
        if gap is not None:
            yield Indicator("series_gap", key, looked_at, NOTICED_APART * accuracy)
        elif scene.farm.zones[series.zone].kind is not ZoneKind.OUTDOORS:  # there, weather hides all else
            yield Indicator("series_own", key, own, least)
        yield Indicator("series_jump", key, _largest_step(looked_at), least)
        moved = value if gap is None else gap
        dosed = series.quantity in DOSED
        if counted or not dosed:  # else a dose or a top-up looks like a step
            yield Indicator("series_step", key, _sudden(moved, busy if dosed else None), NOTICED_APART * accuracy)
        yield Indicator("series_scatter", key, _scatter(value, accuracy))
        if series.quantity == "relative_humidity":
            yield Indicator("series_saturated", key, share(value >= SATURATED, value))
    if heard:
        yield Indicator("heard", "", np.mean(heard, axis=0))


def _largest_step(value: Floats) -> Floats:
    """Return the largest step within the last day that the same hours of the day before did not have, with its sign."""
    apart = value - np.concatenate([np.full(DAY_H, np.nan), value[:-DAY_H]])[: len(value)]
    step = apart - np.concatenate([[np.nan], apart[:-1]])
    days = np.stack([np.concatenate([np.full(lag, np.nan), step])[: len(step)] for lag in range(DAY_H)])
    size = np.where(np.isnan(days), -1.0, np.abs(days))
    found: Floats = np.take_along_axis(days, size.argmax(axis=0)[None, :], axis=0)[0]
    return found


def _sudden(value: Floats, busy: Mask | None) -> Floats:
    """Return the largest step in each hour from ten minutes to the next ten, with its sign.

    Where ``busy`` tells that something is dosed, nothing is looked at until that has mixed.
    """
    known = ~np.isnan(value)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, value, 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    if busy is not None:
        known &= quiet_after(busy, MIXING_MIN)
        count = np.concatenate([[0], np.cumsum(known)])
        total = np.concatenate([[0.0], np.cumsum(np.where(known, value, 0.0))])
    at = np.arange(len(value))
    first, end = np.maximum(at - STEP_MIN, 0), np.minimum(at + STEP_MIN, len(value))
    behind, ahead = count[at] - count[first], count[end] - count[at]
    step = (total[end] - total[at]) / np.maximum(ahead, 1) - (total[at] - total[first]) / np.maximum(behind, 1)
    step = np.where((behind >= STEP_MIN) & (ahead >= STEP_MIN), step, 0.0)
    step = np.concatenate([np.zeros(STEP_MIN), step[:-STEP_MIN]])  # told once the ten minutes after it are over
    hours = step.reshape(-1, MINUTES)
    found: Floats = np.take_along_axis(hours, np.abs(hours).argmax(axis=1)[:, None], axis=1)[:, 0]
    return found


def _unchanged_h(value: Floats) -> Floats:
    """Return for how many hours a series has not changed, at the end of each hour; silence does not count. [h]."""
    known = ~np.isnan(value)
    before = np.concatenate([[np.nan], value[:-1]])
    moved = known & ~(np.abs(value - before) < LEAST_CHANGE)
    at = np.arange(len(value))
    last = np.maximum.accumulate(np.where(moved, at, -1))
    hours = np.where(known & (last >= 0), (at - last) / MINUTES, np.nan)
    ends = hours.reshape(-1, MINUTES)[:, -1]
    return np.minimum(ends, LONGEST_UNCHANGED_H)


def _scatter(value: Floats, accuracy: float) -> Floats:
    """Return the logarithm of the scatter from minute to minute, in shares of the accuracy, trend taken out."""
    second = np.abs(value[2:] - 2 * value[1:-1] + value[:-2]) / accuracy
    mean = hourly(np.concatenate([[np.nan, np.nan], second]), least=MINUTES // 2)
    return np.log(mean + 0.01)


def _gap(scene: Scene, series: Series) -> Floats | None:
    """Return a sensor's value against what others of its kind in like places say; None without two others."""
    kind = scene.farm.zones[series.zone].kind
    if kind not in AIR:
        return None
    value = scene.value[series]
    others = [
        one
        for one in scene.value
        if one.quantity == series.quantity and one != series and scene.farm.zones[one.zone].kind in AIR
    ]
    if len(others) < 2:
        return None
    if series.quantity == "relative_humidity":
        pressures = []
        for one in others:
            air = scene.of(one.zone, "air_temperature")
            if air is not None:
                pressures.append(scene.value[one] * saturation_vapour_pressure(air, "water"))
        own = scene.of(series.zone, "air_temperature")
        if own is None or len(pressures) < 2:
            return None
        return value - median_over(pressures) / saturation_vapour_pressure(own, "water")
    if series.quantity in ("air_temperature", "co2_mole_fraction", "leaf_temperature"):
        return value - median_over([scene.value[one] for one in others])
    return None
