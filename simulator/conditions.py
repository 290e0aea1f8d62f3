"""What acts on the farm at each minute: weather, lights by the plan, the keeper's day, and what is wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm, LampGroup
from farm.readings import microseconds
from simulator.building import Building, Climate
from simulator.compiled import Floats
from simulator.fault_kinds import FaultKind
from simulator.faults import Fault, FaultSlots
from simulator.frame import (
    ALL_CUT,
    BOTTLES_CHANGED,
    FILTER_CLEANED,
    HARVESTED,
    OLDEST_CUT,
    Forcing,
    Integers,
    acts_of,
    rows_of,
)
from simulator.weather import Weather

MINUTES_A_DAY = 1440
US = 1_000_000
LIGHT_DAY = (6 * 60, 16 * 60)  # minute of day, lit minutes: where the crop plan says nothing


class Conditions:
    """The forcing of one farm from its start on: a seed decides the weather, faults what goes wrong."""

    def __init__(
        self, farm: Farm, seed: int, start: datetime, faults: Sequence[Fault], building: Building, climate: Climate
    ) -> None:
        self._farm, self._building, self._climate = farm, building, climate
        self._weather = Weather(climate, seed, start.timestamp())
        self._slots = FaultSlots(farm)
        self._faults = tuple(faults)
        self._acts = {name: column for column, name in enumerate(acts_of(farm))}
        self._shifts = [self._slots.index(FaultKind.TIMER_SHIFT, one.name) for one in farm.equipment.lamp_groups]

    def take(self, faults: Sequence[Fault]) -> None:
        """Let other faults act from here on."""
        self._faults = tuple(faults)

    def block(self, time_us: NDArray[np.int64]) -> Forcing:
        """Return the forcing at instants a minute apart."""
        time_s = time_us // US
        outdoors = self._weather.at(time_s)
        minute_of_day, weekday = _local(self._farm, time_s)
        fault = self._slots.severities(self._faults, time_us)
        visits = self._building.visits
        door = np.isin(minute_of_day, visits.door_at).astype(np.float64)
        inside = np.zeros(len(time_s))
        if visits.door_at:
            inside[(minute_of_day >= visits.door_at[0]) & (minute_of_day < visits.door_at[-1])] = visits.people
        return Forcing(
            time_s,
            minute_of_day,
            weekday,
            outdoors.temperature,
            outdoors.humidity,
            np.full(len(time_s), self._climate.co2_ppm),
            outdoors.solar,
            outdoors.feed_temperature,
            inside,
            door,
            self._lit(time_us, minute_of_day, fault),
            self._act(time_s, minute_of_day, weekday),
            fault,
        )

    def _lit(self, time_us: NDArray[np.int64], minute_of_day: Integers, fault: Floats) -> Floats:
        """Return which lamp groups are commanded on: by their first zone's phase, shifted by a wrong timer."""
        found = np.zeros((len(time_us), len(self._farm.equipment.lamp_groups)))
        for column, group in enumerate(self._farm.equipment.lamp_groups):
            shift = np.rint(60.0 * fault[:, self._shifts[column]]).astype(np.int64)
            for part, (on_minute, lit_minutes) in self._light_days(group, time_us):
                since = (minute_of_day[part] - on_minute - shift[part]) % MINUTES_A_DAY
                found[part, column] = since < lit_minutes
        return found

    def _light_days(self, group: LampGroup, time_us: NDArray[np.int64]) -> list[tuple[slice, tuple[int, int]]]:
        """Return the light day that holds in each part of a block: it changes where a batch comes or goes."""
        zone = group.zones[0]
        moments = sorted(
            microseconds(self._farm.moment(moment))
            for batch in self._farm.batches
            for stay in batch.stays
            if stay.zone == zone
            for moment in (stay.entered, stay.left)
            if moment is not None
        )
        cuts = sorted({0, len(time_us), *np.searchsorted(time_us, moments).tolist()})
        found = []
        for first, end in pairwise(cuts):
            phase = self._farm.phase_at(zone, datetime.fromtimestamp(time_us[first] / US, UTC))
            on_minute, lit_minutes = LIGHT_DAY
            if phase is not None and phase.photoperiod_h is not None:
                lit_minutes = round(phase.photoperiod_h * 60)
            if phase is not None and phase.lights_on_at is not None:
                on_minute = phase.lights_on_at.hour * 60 + phase.lights_on_at.minute
            found.append((slice(first, end), (on_minute, lit_minutes)))
        return found

    def _act(self, time_s: Integers, minute_of_day: Integers, weekday: Integers) -> Floats:
        """Return what the keeper does."""
        visits, planting = self._building.visits, self._building.planting
        found = np.zeros((len(time_s), len(self._acts)))
        filter_day = (minute_of_day == visits.filter_at) & (weekday == visits.filter_weekday)
        found[:, self._acts[FILTER_CLEANED]] = filter_day
        found[:, self._acts[BOTTLES_CHANGED]] = minute_of_day == visits.bottles_at
        for row in rows_of(self._farm):
            column = found[:, self._acts[HARVESTED + row]]
            if not planting.by_batches:
                column[minute_of_day == visits.harvest_at] = OLDEST_CUT
                continue
            for batch in self._farm.batches:
                for stay in batch.stays:
                    if stay.zone == row:
                        entered = self._farm.moment(stay.entered).timestamp()
                        column[time_s // 60 == entered // 60] = 1.0
                        left = self._farm.moment(stay.left).timestamp() if stay.left else None
                        if left is not None:
                            gone = time_s // 60 == left // 60
                            column[gone & (column == 0.0)] = ALL_CUT
        return found


def _local(farm: Farm, time_s: Integers) -> tuple[Integers, Integers]:
    """Return local minute of day and weekday of instants, right across the clock changes."""
    zone = farm.farm.zone_info
    quarters, where = np.unique(time_s // 900, return_inverse=True)  # offsets change on a quarter of an hour
    offsets = [datetime.fromtimestamp(int(one) * 900, zone).utcoffset() for one in quarters]
    seconds = np.array([0 if one is None else int(one.total_seconds()) for one in offsets], dtype=np.int64)
    local = time_s + seconds[where]
    return local // 60 % MINUTES_A_DAY, (local // 86_400 + 3) % 7  # 1 January 1970 was a Thursday
