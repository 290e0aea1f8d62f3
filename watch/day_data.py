"""One local day's readings and entries, as every section of the day sheet takes them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series, microseconds
from store.contract import ReadingStore
from store.journal import Journal
from watch.derived import derived_series

# A sheet may look this far into the days before and after, at what goes on over midnight; a reading there renews it.
LOOK_AROUND_US = 2 * 3600 * MICROSECONDS_PER_SECOND
# A sheet looks back so many days from its own's end: at what is usual, at siblings, nights, doses; a change renews it.
LOOKS_BACK_DAYS = 16
TREND_DAYS = 366  # of lamps
WEARS = {"lamp_output": TREND_DAYS, "photoperiod": TREND_DAYS, "normalised_output": 92, "filter_pressure_drop": 30}
LOOKS_BACK_US = 12 * 3600 * MICROSECONDS_PER_SECOND  # before the day, for averages and stretches that reach into it


@dataclass(frozen=True)
class DayData:
    """A local day ``[start_us, end_us)`` of one farm; ``until_us`` is its end, or now while it lasts.

    A sheet rests on readings from at most ``LOOKS_BACK_DAYS`` before, of quantities in ``WEARS`` more, to
    ``LOOK_AROUND_US`` after ``end_us``: so far the watch renews sheets for late readings. ``known`` are the described
    and derived series that have readings around the day.
    """

    farm: Farm
    store: ReadingStore
    journal: Journal
    day: date
    start_us: int
    end_us: int
    until_us: int
    known: list[Series]


def day_range(farm: Farm, day: date) -> tuple[int, int]:
    """Return a local day as ``[start_us, end_us)``: 23, 24 or 25 hours, as the clocks go."""
    start, end = (
        microseconds(datetime.combine(midnight, time(), farm.farm.zone_info).astimezone(UTC))
        for midnight in (day, day + timedelta(days=1))
    )
    return start, end


def day_data(farm: Farm, store: ReadingStore, journal: Journal, day: date, now_us: int) -> DayData:
    """Return what a day's sheet is made from; of a day that still lasts, until now."""
    start_us, end_us = day_range(farm, day)
    until_us = min(end_us, max(now_us, start_us + 1))
    spans = {one.series: one for one in store.known(farm.name)}
    known = [
        series
        for series in (*farm.described, *derived_series(farm))
        if series in spans and spans[series].first_us < until_us and spans[series].last_us >= start_us
    ]
    return DayData(farm, store, journal, day, start_us, end_us, until_us, known)


def or_none(value: float, digits: int | None = None) -> float | None:
    """Return a number for a sheet: None for NaN, rounded where ``digits`` says so."""
    if math.isnan(value):
        return None
    return float(value) if digits is None else round(float(value), digits)
