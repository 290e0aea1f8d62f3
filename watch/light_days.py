"""Light days of a zone, and the light integral of each."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from analytics.light import LightIntegral, held_light_integral, light_integral
from analytics.light import light_days as starts_of_light_days
from farm.description import Farm
from farm.flags import Flag, worst_flag
from farm.readings import ESTIMATED, MICROSECONDS_PER_SECOND, Columns, Series
from store.contract import ReadingStore
from watch.bands import lights_series, local_midnights, max_age_us, usable
from watch.estimated_light import light_hold_us

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
SHORTEST_NIGHT_US = HOUR_US  # lights off for less does not end a light day; our choice, no source
LOOK_AROUND_US = 4 * 24 * HOUR_US  # so that days at the ends of a range are found whole
ENOUGH_COVERAGE = 0.9  # below this an integral is suspect; our choice, no source


@dataclass(frozen=True, slots=True)
class LightDay:
    """One light day, ``[start_us, end_us)``; while it lasts, ``end_us`` is the newest reading's time."""

    start_us: int
    end_us: int
    complete: bool


def light_days(farm: Farm, store: ReadingStore, zone: str, start_us: int, end_us: int) -> list[LightDay]:
    """Return the light days of a zone that overlap ``[start_us, end_us)``, as far as readings tell.

    A light day runs from lights-on to the next lights-on after at least an hour of darkness. Where
    the lights stay off, or no series tells, local midnights cut the days.
    """
    from_us, until_us = start_us - LOOK_AROUND_US, end_us + LOOK_AROUND_US
    newest = _newest(store, farm.series_of(zone, "ppfd"), until_us)
    state, gap_us = Columns.empty(), HOUR_US
    if (lights := lights_series(farm, zone)) is not None:
        state, gap_us = store.read(lights, from_us, until_us), max_age_us(farm, lights)
        newest = max(newest, int(state.time_us[-1])) if len(state) else newest
    if newest < from_us:
        return []
    midnights = local_midnights(farm, from_us, newest + 1)
    found = starts_of_light_days(state.time_us, usable(state), newest, SHORTEST_NIGHT_US, gap_us, midnights)
    starts = found.tolist()
    days = [LightDay(begin, end, complete=True) for begin, end in pairwise(starts)]
    if starts:
        days.append(LightDay(starts[-1], newest + 1, complete=False))
    return [day for day in days if day.end_us > start_us and day.start_us < end_us]


def _newest(store: ReadingStore, several: list[Series], before_us: int) -> int:
    newest = [reading.time_us for one in several if (reading := store.last_before(one, before_us))]
    return max(newest, default=-(2**62))


@dataclass(frozen=True, slots=True)
class LitDay:
    """A light day of one PPFD series with its light integral.

    ``flag`` is that of the derived reading: SUSPECT while the day still runs or where too much is missing.
    """

    day: LightDay
    integral: LightIntegral
    flag: Flag


def lit_days(farm: Farm, store: ReadingStore, ppfd: Series, start_us: int, end_us: int) -> list[LitDay]:
    """Return the light days that overlap a range, each with its integral from one PPFD series."""
    return integrals_of_days(farm, store, ppfd, light_days(farm, store, ppfd.zone, start_us, end_us))


def integrals_of_days(farm: Farm, store: ReadingStore, ppfd: Series, days: list[LightDay]) -> list[LitDay]:
    """Return some light days, in order, each with its integral from one PPFD series; none where it has no reading."""
    if not days:
        return []
    gap = light_hold_us(farm, ppfd)
    columns = store.read(ppfd, days[0].start_us - gap, days[-1].end_us + gap)
    integral_of = held_light_integral if ppfd.sensor == ESTIMATED else light_integral
    found = []
    for day in days:
        integral = integral_of(columns.time_us, usable(columns), day.start_us, day.end_us, gap)
        inside = slice(*np.searchsorted(columns.time_us, [day.start_us, day.end_us]))
        flag = worst_flag(np.unique(columns.flag[inside]).tolist())
        if flag is not Flag.MISSING:
            whole = day.complete and integral.coverage >= ENOUGH_COVERAGE
            found.append(LitDay(day, integral, flag if whole else worst_flag([flag, Flag.SUSPECT])))
    return found
