"""The day sheet's lamps: output of each group with its trend and losses, and how even the rows of a phase are."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.alignment import Floats
from analytics.evenness import evenness
from analytics.lamp_loss import OutputStep, block_medians, output_steps, ratio_to_siblings
from analytics.lamp_trend import OutputTrend, output_reaches, output_trend
from analytics.lamps import lamp_hours, settled_light
from analytics.light import DAY_US
from analytics.lux import ppfd_uncertainty
from farm.description import Farm, LampGroup
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant, iso_time
from store.contract import ReadingStore
from watch.bands import max_age_us, usable
from watch.day_data import TREND_DAYS, DayData
from watch.derivation import accuracy_at
from watch.estimated_light import light_series
from watch.lamp_outputs import SETTLE_US, OutputOfDay, lamp_sensors, lights_beside, outputs_of_days
from watch.light_days import light_days
from watch.light_of_day import known, lux_error

PER_CENT = 100.0
BLOCK_US = 600 * MICROSECONDS_PER_SECOND
STEPS_LOOK_BACK_US = 2 * DAY_US
TOLD_FOR_US = DAY_US  # a step late on the day before may be found only now
SHARE_ASKED = 90.0  # "L90", common practice, no source
CONFIDENCE = 0.95
FEWEST_DAYS = 14  # light days a trend rests on; our choice, no source
SOUND = (Flag.GOOD, Flag.NOT_EVALUATED)


def lamps(data: DayData) -> list[dict[str, Any]]:
    """Return one row for each PPFD sensor under a lamp group: output, trend, and steps against its siblings."""
    sensors = lamp_sensors(data.farm)
    steps = _steps(data, [ppfd for _, ppfd in sensors])
    return [_row(data, group, ppfd, steps.get(ppfd)) for group, ppfd in sensors]


def _row(data: DayData, group: LampGroup, ppfd: Series, steps: list[OutputStep] | None) -> dict[str, Any]:
    farm = data.farm
    days = light_days(farm, data.store, ppfd.zone, data.start_us, data.end_us)
    days = [day for day in days if data.start_us <= day.start_us < data.end_us]
    found = outputs_of_days(farm, data.store, ppfd, days)
    row: dict[str, Any] = {
        "group": group.name,
        "key": ppfd._replace(quantity="lamp_output").key,
        "zones": group.zones,
        "label": farm.zones[ppfd.zone].label + (f", {ppfd.sensor}" if ppfd.sensor else ""),
        "commissioning_ppfd": group.commissioning_ppfd,
    }
    row |= _output(farm, group, ppfd, found[-1] if found else None)
    row["trend"] = _trend(farm, data.store, ppfd, data.end_us)
    row["steps"] = None if steps is None else [_step(one) for one in steps]
    return row


def _output(farm: Farm, group: LampGroup, ppfd: Series, of_day: OutputOfDay | None) -> dict[str, Any]:
    if of_day is None:
        keys = ("output_percent", "plus_or_minus_percent", "full_light_h", "dimmed_h", "ramp_h", "flag")
        return dict.fromkeys(keys) | {"complete": False}
    found, per_cent = of_day.output, PER_CENT / group.commissioning_ppfd
    error = ppfd_uncertainty(found.ppfd, accuracy_at(farm, ppfd, found.ppfd), lux_error(farm, ppfd))
    return {
        "output_percent": found.ppfd * per_cent,
        "plus_or_minus_percent": known(float(error) * per_cent),
        "full_light_h": found.full_s / 3600,
        "dimmed_h": found.dimmed_s / 3600,
        "ramp_h": found.ramp_s / 3600,
        "flag": int(of_day.flag),
        "complete": of_day.day.complete,
    }


def _trend(farm: Farm, store: ReadingStore, ppfd: Series, end_us: int) -> dict[str, Any] | None:
    """Return how the output changes with the hours burnt; None from fewer than two weeks of sound light days."""
    start_us = end_us - TREND_DAYS * DAY_US
    output = store.read(ppfd._replace(quantity="lamp_output"), start_us, end_us)
    sound = np.isin(output.flag, SOUND)
    if np.count_nonzero(sound) < FEWEST_DAYS:
        return None
    burnt = store.read(Series(farm.name, ppfd.zone, "photoperiod"), start_us, end_us)
    hours_of = np.where(np.isin(burnt.flag, SOUND), burnt.value, np.nan)
    same = np.isin(burnt.time_us, output.time_us[sound])
    first = int(np.argmax(same)) if same.any() else 0
    at_us, hours = burnt.time_us[first:], lamp_hours(burnt.time_us[first:], hours_of[first:])
    place = np.searchsorted(at_us, output.time_us[sound])
    there = (place < len(at_us)) & (at_us[np.minimum(place, len(at_us) - 1)] == output.time_us[sound])
    trend = output_trend(hours[place[there]], output.value[sound][there], CONFIDENCE)
    a_day = np.diff(hours) / np.diff(at_us) * DAY_US if len(at_us) > 1 else np.array([math.nan])
    return _trend_row(trend, int(at_us[0]), float(np.median(a_day)))


def _trend_row(trend: OutputTrend, first_us: int, hours_a_day: float) -> dict[str, Any]:
    reached = output_reaches(trend, SHARE_ASKED)

    def on_day(hours: float) -> str | None:
        days = hours / hours_a_day if hours_a_day > 0 else math.nan
        return instant(first_us + int(days * DAY_US)).date().isoformat() if math.isfinite(days) else None

    return {
        "percent_per_1000_h": known(trend.per_1000_h),
        "low": known(trend.low),
        "high": known(trend.high),
        "confidence": CONFIDENCE,
        "significant": trend.significant,
        "days": trend.days,
        "span_h": trend.span_h,
        "lit_h_a_day": known(hours_a_day),
        "reaches_percent": SHARE_ASKED,
        "reaches_on": on_day(reached.hours) if reached else None,
        "reaches_earliest": on_day(reached.earliest_h) if reached else None,
        "reaches_latest": on_day(reached.latest_h) if reached else None,
    }


def _steps(data: DayData, sensors: list[Series]) -> dict[Series, list[OutputStep]]:
    """Return the steps of the day and the day before, of each sensor that has enough siblings to compare with."""
    farm = data.farm
    found: dict[Series, list[OutputStep]] = {}
    kinds = {ppfd: farm.zones[ppfd.zone].kind for ppfd in sensors}
    start_us = data.start_us - STEPS_LOOK_BACK_US
    for kind in dict.fromkeys(kinds.values()):
        siblings = [ppfd for ppfd in sensors if kinds[ppfd] is kind]
        levels = [_blocks(farm, data.store, one, start_us, data.until_us) for one in siblings]
        at_us = start_us + BLOCK_US * np.arange(len(levels[0]), dtype=np.int64)
        for ppfd, level, ratio in zip(siblings, levels, ratio_to_siblings(levels), strict=True):
            if not np.isnan(ratio).all():
                steps = output_steps(at_us, ratio, accuracy=_relative_accuracy(farm, ppfd, level))
                found[ppfd] = [one for one in steps if one.after_us >= data.start_us - TOLD_FOR_US]
    return found


def _relative_accuracy(farm: Farm, ppfd: Series, level: Floats) -> float:
    """Return a sensor's give or take as a share of its usual level; a lux factor's error is one of scale."""
    usual = float(np.nanmedian(level))
    return float(accuracy_at(farm, ppfd, usual)) / usual


def _blocks(farm: Farm, store: ReadingStore, ppfd: Series, start_us: int, end_us: int) -> Floats:
    gap = max_age_us(farm, ppfd)
    columns = store.read(ppfd, start_us - gap - SETTLE_US, end_us)
    on = lights_beside(farm, store, ppfd, columns)
    steady = settled_light(columns.time_us, usable(columns), on, gap, SETTLE_US)
    return block_medians(columns.time_us, steady, start_us, end_us, BLOCK_US)


def _step(step: OutputStep) -> dict[str, Any]:
    return {
        "between": iso_time(step.before_us),
        "and": iso_time(step.after_us + BLOCK_US),
        "change_percent": step.change * PER_CENT,
        "plus_or_minus_percent": known(step.plus_or_minus * PER_CENT),
        "confidence": step.confidence,
    }


def light_evenness(data: DayData) -> list[dict[str, Any]]:
    """Return how even light fell on the zones of each phase, over the light days that begin within the day."""
    farm = data.farm
    together: dict[tuple[str, str], list[str]] = {}
    for zone in dict.fromkeys(one.zone for one in light_series(farm)):
        phase = farm.phase_at(zone, instant(data.start_us))
        for crop, described in farm.crops.items():
            for name, one in described.phases.items():
                if one is phase:
                    together.setdefault((crop, name), []).append(zone)
    return [_evenness(data, crop, phase, zones) for (crop, phase), zones in together.items() if len(zones) > 1]


def _evenness(data: DayData, crop: str, phase: str, zones: list[str]) -> dict[str, Any]:
    integrals = [_mean_integral(data, zone) for zone in zones]
    found = evenness(integrals)
    lowest = zones[int(np.nanargmin(integrals))] if found.count else None
    return {
        "crop": crop,
        "phase": phase,
        "zones": zones,
        "zones_known": found.count,
        "mean_mol": known(found.mean),
        "min_over_mean": known(found.uniformity),
        "coefficient_of_variation": known(found.coefficient_of_variation),
        "lowest_zone": lowest,
    }


def _mean_integral(data: DayData, zone: str) -> float:
    """Return the light of a zone's sound light day, the mean over its sensors; NaN where there is none."""
    found: list[float] = []
    for ppfd in light_series(data.farm):
        if ppfd.zone == zone:
            integral = data.store.read(ppfd._replace(quantity="daily_light_integral"), data.start_us, data.end_us)
            found += integral.value[np.isin(integral.flag, SOUND)].tolist()
    return float(np.mean(found)) if found else math.nan
