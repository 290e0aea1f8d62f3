"""The photoperiod of a zone's light days: from the lights' switch, else from PPFD."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

import numpy as np

from analytics.light import ON
from analytics.photoperiod import Photoperiod, photoperiod
from farm.crops import Phase
from farm.description import Farm
from farm.flags import Flag, worst_flag
from farm.readings import Series, instant, microseconds
from store.contract import ReadingStore
from watch.bands import lights_series, max_age_us, usable
from watch.estimated_light import commissioning_ppfd
from watch.light_days import ENOUGH_COVERAGE, LightDay

LIT_PPFD = 10.0  # above a sensor's error in the dark and a neighbour's stray light; our choice, no source
LIT_SHARE = 0.1  # of the commissioning PPFD; our choice, no source


class LightSource(NamedTuple):
    """The series that tells whether a zone is lit, and from which value on it says so."""

    series: Series
    threshold: float


def light_source(farm: Farm, zone: str) -> LightSource | None:
    """Return what tells whether a zone is lit: its switch, else its first PPFD sensor; None where nothing does."""
    if (switch := lights_series(farm, zone)) is not None:
        return LightSource(switch, ON)
    ppfd = farm.series_of(zone, "ppfd")
    return LightSource(ppfd[0], lit_from_ppfd(commissioning_ppfd(farm, zone))) if ppfd else None


def lit_from_ppfd(commissioning_ppfd: float) -> float:
    """Return from which PPFD on a place under lamps counts as lit, from what they gave it when new. [umol m-2 s-1]."""
    return max(LIT_PPFD, LIT_SHARE * commissioning_ppfd)


@dataclass(frozen=True, slots=True)
class LitPart:
    """A light day with its photoperiod; SUSPECT while it still runs or where too much is missing."""

    zone: str
    day: LightDay
    found: Photoperiod
    flag: Flag


def photoperiods(farm: Farm, store: ReadingStore, zone: str, days: list[LightDay]) -> list[LitPart]:
    """Return the photoperiods of some light days of a zone, in order; of those without a reading, none."""
    source = light_source(farm, zone)
    if source is None or not days:
        return []
    gap = max_age_us(farm, source.series)
    columns = store.read(source.series, days[0].start_us - gap, days[-1].end_us)
    level, parts = usable(columns), []
    for day in days:
        inside = slice(*np.searchsorted(columns.time_us, [day.start_us, day.end_us]))
        flag = worst_flag(np.unique(columns.flag[inside]).tolist())
        if flag is not Flag.MISSING:
            found = photoperiod(columns.time_us, level, day.start_us, day.end_us, gap, source.threshold)
            whole = day.complete and found.coverage >= ENOUGH_COVERAGE
            parts.append(LitPart(zone, day, found, flag if whole else worst_flag([flag, Flag.SUSPECT])))
    return parts


def planned_lights_on(farm: Farm, phase: Phase, around_us: int) -> list[int]:
    """Return the plan's lights-on of the local day of an instant and of both its neighbours."""
    if phase.lights_on_at is None:
        return []
    day = instant(around_us).astimezone(farm.farm.zone_info).date()
    days = [day + timedelta(days=n) for n in (-1, 0, 1)]
    return [microseconds(datetime.combine(one, phase.lights_on_at, farm.farm.zone_info)) for one in days]
