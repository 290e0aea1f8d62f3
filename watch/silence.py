"""When a series was silent: how long it may be, and the stretches in which it was longer."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import ReadingStore


@dataclass(frozen=True, slots=True)
class Gap:
    """A stretch without a reading, longer than the series may be silent.

    It begins at the last reading before it and ends at the first after it, or where the range that was
    asked for begins or ends; ``open`` if no reading has ended it yet. ``missed`` is about how many
    readings should have come in it.
    """

    start_us: int
    end_us: int
    open: bool
    missed: int


def expected_cadence_s(farm: Farm, series: Series) -> float | None:
    """Return how often a series should report; None for one that is derived or not described any more. [s]."""
    described = farm.described.get(series)
    return None if described is None else described.cadence_s


def silent_after_s(farm: Farm, series: Series) -> float | None:
    """Return how long a series may go without a reading; None where nothing described says it. [s]."""
    cadence_s = expected_cadence_s(farm, series)
    return None if cadence_s is None else cadence_s * SILENT_AFTER_CADENCES


def gaps(farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int, now_us: int) -> list[Gap]:
    """Return the stretches of ``[start_us, end_us)``, until now at most, in which a series was silent too long.

    Readings just outside the range count: a gap that only reaches into it is told, cut to it. Before a
    series' first reading it is silent too.

    Raises
    ------
    ValueError
        If nothing described says how often the series should report.
    """
    cadence_s = expected_cadence_s(farm, series)
    if cadence_s is None:
        raise ValueError(f"{series.key} is derived or not described: nothing says how often it should report")
    cadence_us = int(cadence_s * MICROSECONDS_PER_SECOND)
    longest_us = cadence_us * SILENT_AFTER_CADENCES
    end_us = min(end_us, now_us)
    if start_us >= end_us:
        return []
    before = store.last_before(series, start_us)
    # One reading after the range's end tells whether the last stretch was too long.
    columns = store.read(series, start_us, min(end_us + longest_us, now_us) + 1)
    at_us = columns.time_us[np.isfinite(columns.value)]
    ours = at_us[at_us < end_us]
    first_us = before.time_us if before is not None else start_us - longest_us - 1
    later = at_us[at_us >= end_us]
    last_us = int(later[0]) if len(later) else min(now_us, end_us + longest_us + 1)
    edges = np.concatenate([[first_us], ours, [last_us]]).astype(np.int64)
    silent = np.flatnonzero(np.diff(edges) > longest_us)
    found = []
    for place in silent.tolist():
        begin, end = int(edges[place]), int(edges[place + 1])
        is_open = place == len(edges) - 2 and not len(later) and end_us == now_us
        inside = max(begin, start_us), min(end, end_us)
        if inside[0] < inside[1]:
            found.append(Gap(*inside, is_open, max(1, (inside[1] - inside[0]) // cadence_us)))
    return found
