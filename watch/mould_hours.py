"""The mould index of a surface as a derived series: told once an hour, carried on from hour to hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.hourly import HOUR_US, hourly_means
from analytics.mould import HOURS_OF_MEMORY, MouldState, Sensitivity, mould_index
from farm.description import Farm
from farm.flags import Flag
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, longest_hold_us, usable, worse_flags
from watch.derivation import Values

ENOUGH_COVERAGE = 0.5  # of an hour; our choice, no source
TO_THE_NEWEST_US = 100 * 366 * 24 * HOUR_US  # a change reaches as far as there are readings


@dataclass(frozen=True)
class MouldIndex:
    """The mould growth index of a surface, at the first reading of its humidity in each hour.

    The value holds what all hours before have done; an hour of which less than half is known leaves it as it was.
    It goes on from the newest value before, with the decline's clock from a day's look back: so any stretch can be
    worked out by itself, with the same bits as from the beginning, as long as all before it stands.
    """

    output: Series
    inputs: tuple[Series, Series]  # temperature of the face, relative humidity at it
    sensitivity: Sensitivity
    decline: float

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return that a change reaches to the newest reading, however far that is."""
        return TO_THE_NEWEST_US

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the index of ``[start_us, end_us)``, going on from the value stored before it.

        The flag is the worst of the hour before; SUSPECT where too little of that is known, as at the very beginning.
        """
        humidity = self.inputs[1]
        recent = store.read(humidity, _hour(start_us), end_us)
        first_of_hour = np.flatnonzero(np.diff(recent.time_us // HOUR_US, prepend=-1))
        at_us = recent.time_us[first_of_hour]
        at_us = at_us[at_us >= start_us]
        if len(at_us) == 0:
            return Columns.empty()
        before = store.last_before(self.output, start_us)
        from_us = _hour(int(at_us[0]) if before is None else before.time_us)
        look_back_us = from_us - HOURS_OF_MEMORY * HOUR_US
        until_us = _hour(int(at_us[-1]))
        means, flags = zip(*(self._hours(farm, store, one, look_back_us, until_us) for one in self.inputs), strict=True)
        past, coming = slice(HOURS_OF_MEMORY), slice(HOURS_OF_MEMORY, None)
        dry_h = mould_index(means[0][past], means[1][past], self.sensitivity, self.decline).state.dry_h
        state = MouldState(0.0 if before is None else before.value, dry_h)
        found = mould_index(means[0][coming], means[1][coming], self.sensitivity, self.decline, state).mould_index
        # The value at a reading in some hour is the index after the hours before it.
        after = np.concatenate([[state.mould_index], found])
        place = (at_us - from_us) // HOUR_US
        flag = worse_flags(flags[0], flags[1])[HOURS_OF_MEMORY + place - 1]
        return Columns(at_us, after[place], flag)

    def _hours(
        self, farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int
    ) -> tuple[Values, NDArray[np.uint8]]:
        """Return a series' mean in each hour and the worst flag in it; NaN and SUSPECT where too little is known."""
        columns = store.read(series, start_us, end_us)
        value = usable(columns)
        means = hourly_means(columns.time_us, value, start_us, end_us, longest_hold_us(farm, series))
        known = means.coverage >= ENOUGH_COVERAGE
        rank = np.where(known, FLAG_RANK[Flag.GOOD], FLAG_RANK[Flag.SUSPECT])
        came = ~np.isnan(value)
        np.maximum.at(rank, (columns.time_us[came] - start_us) // HOUR_US, FLAG_RANK[columns.flag[came]])
        return np.where(known, means.mean, np.nan), FLAG_OF_RANK[rank]


def _hour(time_us: int) -> int:
    return time_us - time_us % HOUR_US
