"""When a reservoir's level speaks for all of its water: while no pump has part of it under way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analytics.at_rest import at_rest, settling_time
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from watch.irrigation_lines import ON, course, lines_of
from watch.tracks import MINUTE_US, Track

# Our choices, no source:
SETTLES_US = 5 * MINUTE_US  # where too few pauses tell how long the water takes to come back
LONGEST_SETTLING_US = 10 * MINUTE_US
LEAST_REST = 0.2  # of the readings; a pump that rests less circulates, and its level is read as it comes
LONGEST_BRIDGED_US = 60 * MINUTE_US  # a longer run is silence of the level, not a pause in it


def level_at_rest(farm: Farm, store: ReadingStore, zone: str, level: Track) -> Track:
    """Return a level or volume with NaN while a pump of its reservoir ran and until the water had come back.

    Parameters
    ----------
    farm, store
        What is described, and read.
    zone : str
        The reservoir's.
    level : Track
        As it came.

    Returns
    -------
    level : Track
        The same where no pump's state or flow is known, or one rests too little. Its gap spans the runs left out.
    """
    times = level.time_us
    if not len(times):
        return level
    moving = np.zeros(len(times), bool)
    for series, threshold in _pumps(farm, zone):
        moving |= _moving(farm, store, series, threshold, level)
    return level if not moving.any() else _without(level, moving)


def _moving(farm: Farm, store: ReadingStore, series: Series, threshold: float, level: Track) -> NDArray[np.bool_]:
    """Return which readings fall into a pump's runs or the time after them; none for one that hardly ever rests."""
    times = level.time_us
    until_us = int(times[-1]) + 1
    runs = course(farm, store, series, int(times[0]), until_us).cycles(threshold, until_us)
    cadence_us = round(farm.described[series].cadence_s * MICROSECONDS_PER_SECOND)
    step_us = max(MINUTE_US, level.gap_us // 3, cadence_us)
    found = settling_time(times, level.value, runs.start_us, runs.end_us, step_us, LONGEST_SETTLING_US)
    settle_us = SETTLES_US if found is None else found
    moving: NDArray[np.bool_] = ~at_rest(times, runs.start_us, runs.end_us, cadence_us, settle_us)
    return moving if float(np.mean(~moving)) >= LEAST_REST else np.zeros(len(times), bool)


def _pumps(farm: Farm, zone: str) -> list[tuple[Series, float]]:
    """Return what tells that a pump draws from a reservoir, each with the value from which it runs.

    The switches in its zone, and, of the reservoir that the description gives a volume, all lines and flood shelves.
    """
    found = dict.fromkeys(farm.series_of(zone, "pump_on"), ON)
    reservoir = farm.equipment.reservoir
    if reservoir is not None and reservoir.zone == zone:
        found |= {line.found_from: line.threshold for line in lines_of(farm)}
        found |= {
            Series.parse(farm.name, shelf.pump): shelf.pump_above or ON
            for shelf in farm.equipment.flood_shelves
            if shelf.pump is not None
        }
    return list(found.items())


def _without(level: Track, moving: NDArray[np.bool_]) -> Track:
    """Return a level without the readings that moved, its gap wide enough for the longest pause that this leaves."""
    times = level.time_us
    rests = np.flatnonzero(~moving & ~np.isnan(level.value))
    apart = [
        int(times[after] - times[before])
        for before, after in zip(rests[:-1].tolist(), rests[1:].tolist(), strict=True)
        if moving[before + 1 : after].any()
    ]
    bridged = max([one for one in apart if one <= LONGEST_BRIDGED_US], default=0)
    of_pause = np.cumsum(np.concatenate([[False], np.diff(moving.astype(int)) > 0]))
    return replace(level, value=np.where(moving, np.nan, level.value), gap_us=level.gap_us + bridged, of_pause=of_pause)
