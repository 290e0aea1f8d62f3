"""Indicators of past days, worked out once from what arrived and kept until something in a day changes."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analytics.alignment import Floats
from analytics.findings.deviation import indicators
from analytics.findings.indicator import Indicator
from analytics.findings.scene import HOUR_US, MINUTE_US, scene_of
from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore

DAY_US = 24 * HOUR_US
DAY_H = 24
LEAD_US = 24 * HOUR_US  # before a day, that its first hours' indicators look back on

_Day = dict[tuple[str, str], tuple[Floats, float | None]]


class IndicatorDays:
    """A farm's indicators by UTC day. A day that changed is worked out again when it is asked for next.

    ``late_us`` is by how much later than whole hours its hours, and its days, begin.
    """

    def __init__(self, farm: Farm, store: ReadingStore, late_us: int = 0) -> None:
        self._farm, self._store, self._late_us = farm, store, late_us
        self._days: dict[int, _Day] = {}
        self._whole: dict[int, int] = {}  # day -> until when it was worked out

    def touch(self, first_us: int, last_us: int) -> None:
        """Note that readings changed between two instants."""
        for day in range(self._of(first_us), self._of(last_us + LEAD_US) + 1):
            self._days.pop(day, None)

    def between(self, start_us: int, end_us: int) -> list[Indicator]:
        """Return every indicator at each hour of ``[start_us, end_us)``, both begins of hours; NaN where unknown."""
        first, last = self._of(start_us), self._of(end_us - 1)
        days = [self._day(day, min(end_us, self._begin_us(day + 1))) for day in range(first, last + 1)]
        names = dict.fromkeys(name for one in days for name in one)
        skip, count = (start_us - self._begin_us(first)) // HOUR_US, (end_us - start_us) // HOUR_US
        found = []
        for name in names:
            value = np.full(DAY_H * len(days), np.nan)
            least = None
            for number, day in enumerate(days):
                if name in day:
                    part, least = day[name]
                    value[number * DAY_H : number * DAY_H + len(part)] = part
            found.append(Indicator(*name, value[skip : skip + count], least))
        return found

    def forget_before(self, start_us: int) -> None:
        """Let go of days that end before an instant."""
        for day in [day for day in self._days if self._begin_us(day + 1) <= start_us]:
            del self._days[day]

    def _of(self, at_us: int) -> int:
        """Return the day of an instant."""
        return (at_us - self._late_us) // DAY_US

    def _begin_us(self, day: int) -> int:
        return day * DAY_US + self._late_us

    def _day(self, day: int, end_us: int) -> _Day:
        if day not in self._days or self._whole[day] < end_us:
            self._days[day], self._whole[day] = self._worked_out(self._begin_us(day), end_us), end_us
        return self._days[day]

    def _worked_out(self, start_us: int, end_us: int) -> _Day:
        scene = scene_of(self._farm, self._arrived(start_us - LEAD_US, end_us), start_us - LEAD_US, end_us)
        if not scene.value:
            return {}
        lead = LEAD_US // HOUR_US
        return {(one.name, one.place): (one.value[lead:].copy(), one.least) for one in indicators(scene)}

    def _arrived(self, start_us: int, end_us: int) -> Iterator[tuple[Series, Columns]]:
        """Give what arrived of each described series that ever sent anything before the end."""
        began = {one.series: one.first_us for one in self._store.known(self._farm.name)}
        for series in self._farm.described:
            if series in began and began[series] < end_us:
                yield series, self._store.read(series, start_us - HOUR_US, end_us + MINUTE_US)
