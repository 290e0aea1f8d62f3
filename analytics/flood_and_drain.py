"""Flood and drain: how fast a shelf fills, how long it stands wet, and whether it drains."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import MICROSECONDS, Floats, Times
from analytics.irrigation import Cycles


@dataclass(frozen=True, slots=True, eq=False)
class Floods:
    """Floods in order of time; arrays of one length, NaN where nothing tells.

    ``fill_s`` from pump on to water up, ``wet_s`` from water up to drained (so far, where that was not seen),
    ``drain_s`` from pump off to drained. ``drained`` is False while the water stands, or where data end first.
    ``start_us`` is the pump's start where a pump is known, else when the water was up. [µs], [s], [s], [s].
    """

    start_us: Times
    fill_s: Floats
    wet_s: Floats
    drain_s: Floats
    drained: NDArray[np.bool_]

    def __len__(self) -> int:
        return len(self.start_us)


def floods(pump: Cycles | None, wet: Cycles | None) -> Floods:
    """Return a shelf's floods from its pump's runs and from when its float switch or level told of water.

    Parameters
    ----------
    pump : Cycles, optional
        Runs of the pump, from ``irrigation_cycles``; None where no series tells.
    wet : Cycles, optional
        Stretches with water up, likewise from a float switch or a level; None where no series tells.

    Returns
    -------
    floods : Floods
        One for each run of the pump, and one for each stretch of water that none brought.

    Raises
    ------
    ValueError
        If neither is given.

    Notes
    -----
    Water belongs to the last run of the pump that began before it and before the next run; a run without water
    has ``wet_s`` 0, or NaN where the water of an earlier run still stood. Several stretches of water in one run
    count together, from the first to the last. Where a start or an end was not seen (a gap), the times that
    rest on it are NaN.

    Examples
    --------
    >>> from analytics.irrigation import irrigation_cycles
    >>> minute = 60_000_000
    >>> at = [n * minute for n in range(10)]
    >>> pump = irrigation_cycles(at, [0, 1, 1, 1, 0, 0, 0, 0, 0, 0], 0.5, 10 * minute, 3 * minute)
    >>> water = irrigation_cycles(at, [0, 0, 0, 1, 1, 1, 1, 0, 0, 0], 0.5, 10 * minute, 3 * minute)
    >>> found = floods(pump, water)
    >>> found.fill_s.tolist(), found.wet_s.tolist(), found.drain_s.tolist()
    ([120.0], [240.0], [180.0])
    """
    if wet is None:
        if pump is None:
            raise ValueError("floods needs the pump's runs or the water's stretches: give at least one of them")
        unknown = np.full(len(pump), np.nan)
        return Floods(pump.start_us, unknown, unknown, unknown, np.zeros(len(pump), bool))
    starts = np.empty(0, np.int64) if pump is None else pump.start_us
    belongs = np.searchsorted(starts, wet.start_us, side="right") - 1
    rows = [_flood(None, -1, wet, np.array([stretch])) for stretch in np.flatnonzero(belongs < 0)]
    rows += [_flood(pump, run, wet, np.flatnonzero(belongs == run)) for run in range(len(starts))]
    rows.sort(key=lambda row: row[0])
    start, fill, wet_s, drain, drained = zip(*rows, strict=True) if rows else ((),) * 5
    return Floods(
        np.array(start, np.int64),
        np.array(fill, float),
        np.array(wet_s, float),
        np.array(drain, float),
        np.array(drained, bool),
    )


def _flood(
    pump: Cycles | None, run: int, wet: Cycles, water: NDArray[np.intp]
) -> tuple[int, float, float, float, bool]:
    """Return one flood's row: start, fill, wet and drain times, and whether it drained."""
    if pump is not None and not water.size:
        start = int(pump.start_us[run])
        stands = bool(np.any((wet.start_us <= start) & (start < wet.end_us)))
        return start, np.nan, np.nan if stands else 0.0, np.nan, not stands
    first, last = int(water[0]), int(water[-1])
    up, down = int(wet.start_us[first]), int(wet.end_us[last])
    drained = bool(wet.end_seen[last])
    stood = (down - up) / MICROSECONDS
    if pump is None:
        return up, np.nan, stood, np.nan, drained
    on, off = int(pump.start_us[run]), int(pump.end_us[run])
    filled = (up - on) / MICROSECONDS if pump.start_seen[run] and wet.start_seen[first] else np.nan
    emptied = (down - off) / MICROSECONDS if pump.end_seen[run] and drained else np.nan
    return on, filled, stood, emptied, drained
