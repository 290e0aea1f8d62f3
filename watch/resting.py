"""Series that have nothing to tell for now, since the machine whose work they tell of rests: not silent, at rest."""

from __future__ import annotations

import numpy as np

from analytics.filter_loading import normalised_pressure_drop
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore
from watch.bands import max_age_us, usable
from watch.water import FilterDrop, filter_drops

LOOKED_BACK_US = 24 * 3600 * MICROSECONDS_PER_SECOND  # for flow that was never followed by a reading


def is_at_rest(farm: Farm, store: ReadingStore, series: Series, newest_us: int | None, now_us: int) -> bool:
    """Return whether a series whose newest reading is old has had nothing to tell since.

    So it is with a filter's pressure drop while no comparable flow goes through it, as long as the flow and both
    pressures are heard from: then what is missing is the flow, not a sensor.

    Parameters
    ----------
    farm, store
        What is described, and read.
    series : Series
        The one whose readings are missing.
    newest_us : int or None
        When its newest reading was, None where it has none.
    now_us : int
        Seen from this instant.
    """
    drop = next((one for one in filter_drops(farm) if one.output == series), None)
    if drop is None or not all(_heard(farm, store, one, now_us) for one in drop.inputs):
        return False
    since_us = now_us - LOOKED_BACK_US if newest_us is None else max(newest_us + 1, now_us - LOOKED_BACK_US)
    return not _owed(farm, store, drop, since_us, now_us - max_age_us(farm, drop.flow))


def _heard(farm: Farm, store: ReadingStore, series: Series, now_us: int) -> bool:
    newest = store.last_before(series, now_us + 1)
    return newest is not None and now_us - newest.time_us <= max_age_us(farm, series)


def _owed(farm: Farm, store: ReadingStore, drop: FilterDrop, start_us: int, end_us: int) -> bool:
    """Return whether the flow of a stretch was comparable for two readings running, so that a drop should stand."""
    if start_us >= end_us:
        return False
    flow = store.read(drop.flow, start_us, end_us)
    comparable = np.isfinite(normalised_pressure_drop(0.0, 0.0, usable(flow), drop.reference_l_min))
    near = np.diff(flow.time_us) <= max_age_us(farm, drop.flow)
    return bool((comparable[1:] & comparable[:-1] & near).any())
