"""Flood-and-drain shelves on the day sheet: how each flood filled and drained, and what did not."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.flood_and_drain import Floods, floods
from analytics.irrigation import CycleFault, Cycles, cycle_faults
from farm.readings import Series, iso_time
from farm.water_equipment import FloodShelf
from watch.day_data import DayData, day_range
from watch.figures import known_or_none
from watch.irrigation_lines import ON, SECONDS_PER_MINUTE, Course, course

EARLIER_DAYS = 7  # from which is learned what is usual; our choice, no source
ENOUGH_COVERAGE = 0.9  # of a pump's run, before it is said to have brought no water; our choice, no source


def flood_shelves(data: DayData) -> list[dict[str, Any]]:
    """Return how each shelf's floods went on a day."""
    return [_shelf(data, one) for one in data.farm.equipment.flood_shelves]


def _shelf(data: DayData, shelf: FloodShelf) -> dict[str, Any]:
    pump, runs = _course(data, shelf.pump, shelf.pump_above or ON)
    water, wet = _course(data, shelf.water, shelf.water_above or ON)
    found = floods(runs, wet)
    today = (found.start_us >= data.start_us) & (found.start_us < data.until_us)
    coverage = min(one.running(ON, data.start_us, data.until_us).coverage for one in (pump, water) if one is not None)
    usual_s = math.nan
    faults: list[dict[str, Any]] = []
    if water is not None and wet is not None:
        earlier = wet.start_seen & wet.end_seen & (wet.start_us < data.start_us)
        usual_s = _median(wet.duration_s[earlier])
        faults = _standing(data, shelf, wet, usual_s)
        faults += [] if runs is None else _dry(water, shelf, runs, found, today)
    return {
        "zone": shelf.zone,
        "label": data.farm.zone_label(shelf.zone),
        "floods": int(today.sum()) if coverage > 0 else None,
        "coverage": known_or_none(coverage),
        "fill_min": _minutes(found.fill_s[today]),
        "wet_min": _minutes(found.wet_s[today & found.drained & (found.wet_s > 0)]),
        "drain_min": _minutes(found.drain_s[today]),
        "usual_wet_min": known_or_none(usual_s / SECONDS_PER_MINUTE),
        "faults": sorted(faults, key=lambda fault: str(fault["at"])),
    }


def _course(data: DayData, key: str | None, above: float) -> tuple[Course, Cycles] | tuple[None, None]:
    """Return how a series ran over the day and the days before it."""
    if key is None:
        return None, None
    first_us, _ = day_range(data.farm, data.day - timedelta(days=EARLIER_DAYS))
    found = course(data.farm, data.store, Series.parse(data.farm.name, key), first_us, data.until_us)
    return found, found.cycles(above, data.until_us)


def _standing(data: DayData, shelf: FloodShelf, wet: Cycles, usual_s: float) -> list[dict[str, Any]]:
    """Return the water that stood far too long on the day, or still does."""
    longest_s = math.inf if shelf.longest_wet_minutes is None else shelf.longest_wet_minutes * SECONDS_PER_MINUTE
    resolution_s = data.farm.described[Series.parse(data.farm.name, str(shelf.water))].cadence_s
    rows = []
    for one in cycle_faults(wet, usual_s, math.nan, resolution_s, longest_s=longest_s):
        if one.fault is not CycleFault.STUCK or wet.end_us[one.position] <= data.start_us:
            continue
        found, limit = one.found / SECONDS_PER_MINUTE, one.limit / SECONDS_PER_MINUTE
        ended = "" if wet.end_seen[one.position] else " so far"
        reason = f"water up for {found:.0f} min{ended}, above {limit:.0f} min"
        rows.append(_fault(int(wet.start_us[one.position]), "not_draining", reason, found, limit))
    return rows


def _dry(
    water: Course, shelf: FloodShelf, runs: Cycles, found: Floods, today: NDArray[np.bool_]
) -> list[dict[str, Any]]:
    """Return the runs of the pump that brought no water."""
    rows = []
    for at in found.start_us[today & (found.wet_s == 0)].tolist():
        run = int(np.searchsorted(runs.start_us, at))
        end = int(runs.end_us[run])
        if runs.end_seen[run] and water.running(shelf.water_above or ON, at, end).coverage >= ENOUGH_COVERAGE:
            minutes = float(runs.duration_s[run]) / SECONDS_PER_MINUTE
            reason = f"the pump ran for {minutes:.0f} min and no water came up"
            rows.append(_fault(at, "no_water", reason, minutes, None))
    return rows


def _fault(at_us: int, fault: str, reason: str, found_min: float, limit_min: float | None) -> dict[str, Any]:
    return {
        "at": iso_time(at_us),
        "fault": fault,
        "found_min": found_min,
        "limit_min": limit_min,
        "reason": reason,
    }


def _median(seconds: NDArray[np.float64]) -> float:
    known = seconds[~np.isnan(seconds)]
    return float(np.median(known)) if len(known) else math.nan


def _minutes(seconds: NDArray[np.float64]) -> float | None:
    return known_or_none(_median(seconds) / SECONDS_PER_MINUTE)
