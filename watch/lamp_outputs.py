"""Lamp output by the light day: the PPFD of full light over that at commissioning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from analytics.lamps import LitOutput, lit_output
from farm.description import Farm, LampGroup
from farm.flags import Flag, worst_flag
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series
from store.contract import ReadingStore
from watch.bands import lights_series, max_age_us, usable
from watch.estimated_light import commissioned_us
from watch.light_days import LightDay
from watch.photoperiods import light_source

SETTLE_US = 600 * MICROSECONDS_PER_SECOND  # lamps ramp for less; our choice, no source
FEWEST_FULL_S = 3600.0  # a day with less full light is suspect; our choice, no source


@dataclass(frozen=True, slots=True)
class OutputOfDay:
    """What lamps gave in a light day at one sensor; SUSPECT while it runs, or where little of it was full light."""

    day: LightDay
    output: LitOutput
    flag: Flag


def lamp_sensors(farm: Farm) -> list[tuple[LampGroup, Series]]:
    """Return every PPFD sensor that stands under one lamp group alone, with the group."""
    found = []
    for one in farm.described:
        groups = farm.lamps_over(one.zone)
        if one.quantity == "ppfd" and len(groups) == 1:
            found.append((groups[0], one))
    return found


def lights_beside(farm: Farm, store: ReadingStore, ppfd: Series, columns: Columns) -> NDArray[np.float64]:
    """Return at each reading of a PPFD sensor whether its zone's lights were on: 1, 0, or NaN for unknown."""
    switch, source = lights_series(farm, ppfd.zone), light_source(farm, ppfd.zone)
    if switch is None or not len(columns):
        level = usable(columns)
        lit = (level >= (source.threshold if source else np.inf)).astype(float)
        return np.where(np.isnan(level), np.nan, lit)
    age = max_age_us(farm, switch)
    state = store.read(switch, int(columns.time_us[0]) - age, int(columns.time_us[-1]) + 1)
    return hold_as_of(state.time_us, usable(state), columns.time_us, age).value


def outputs_of_days(farm: Farm, store: ReadingStore, ppfd: Series, days: list[LightDay]) -> list[OutputOfDay]:
    """Return what lamps gave at a sensor in some light days, in order; days before their commissioning left out."""
    since_us = commissioned_us(farm, ppfd.zone)
    days = [day for day in days if since_us is None or day.start_us >= since_us]
    if not days:
        return []
    gap = max_age_us(farm, ppfd)
    columns = store.read(ppfd, days[0].start_us - gap, days[-1].end_us)
    on, level, found = lights_beside(farm, store, ppfd, columns), usable(columns), []
    for day in days:
        output = lit_output(columns.time_us, level, on, day.start_us, day.end_us, gap, SETTLE_US)
        if not np.isnan(output.ppfd):
            inside = slice(*np.searchsorted(columns.time_us, [day.start_us, day.end_us]))
            flag = worst_flag(np.unique(columns.flag[inside]).tolist())
            sound = day.complete and output.full_s >= FEWEST_FULL_S and output.full_s >= output.dimmed_s
            found.append(OutputOfDay(day, output, flag if sound else worst_flag([flag, Flag.SUSPECT])))
    return found
