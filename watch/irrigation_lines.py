"""The lines that water drip rows, as a description has them, and what is read from each."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta

import numpy as np
from numpy.typing import NDArray

from analytics.counters import rate
from analytics.irrigation import Cycles, irrigation_cycles
from analytics.time_in_band import TimeInBand, time_in_band
from farm.description import DripRow, Farm
from farm.readings import Series, instant, microseconds
from farm.water_equipment import IrrigationPlan
from store.contract import ReadingStore
from watch.bands import max_age_us, usable
from watch.water import RUNS_FROM

SECONDS_PER_MINUTE = 60.0
ON = 0.5  # a switch series reads 0 or 1


@dataclass(frozen=True)
class Course:
    """How a series ran: its samples, each of which holds until the next, at most ``gap_us``."""

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    gap_us: int

    def cycles(self, threshold: float, until_us: int) -> Cycles:
        """Return the stretches at or above a threshold, up to an instant."""
        return irrigation_cycles(self.time_us, self.value, threshold, until_us, self.gap_us)

    def running(self, threshold: float, start_us: int, end_us: int) -> TimeInBand:
        """Return for how long it ran within a window: the time inside, and what is covered."""
        return time_in_band(self.time_us, self.value, threshold, np.inf, start_us, end_us, self.gap_us)


def course(farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int) -> Course:
    """Return the course of a series over a range; of a meter, its flow from each reading to the next. [L/min]."""
    gap_us = max_age_us(farm, series)
    read = store.read(series, start_us - gap_us, end_us)
    time_us, value = read.time_us, usable(read)
    if series.quantity == "metered_volume":
        came = ~np.isnan(value)
        flow = rate(time_us[came], value[came], gap_us, farm.described[series].rolls_over) * SECONDS_PER_MINUTE
        return Course(time_us[came], np.append(flow, np.nan)[1:], gap_us)
    return Course(time_us, value, gap_us)


@dataclass(frozen=True)
class Line:
    """Drip rows that one flow, pressure or pump waters together; cycles are found from the first of these three."""

    rows: tuple[DripRow, ...]
    found_from: Series
    threshold: float
    flow: Series | None
    pump: Series | None
    return_flow: Series | None
    plan: IrrigationPlan
    rated_l_min: float

    @property
    def unit(self) -> str:
        """Unit of what the cycles are found from."""
        return "L/min" if self.flow else self.found_from.registered.unit

    @property
    def plant_sites(self) -> int | None:
        """Plants on the line; None where one of its rows does not say."""
        sites = [row.plant_sites for row in self.rows]
        return None if None in sites else sum(site or 0 for site in sites)


def lines_of(farm: Farm) -> list[Line]:
    """Return a farm's lines, in the order of their first rows; rows without any series of their line are left out."""
    by_series: dict[tuple[str | None, ...], list[DripRow]] = {}
    for row in farm.equipment.drip_rows:
        if row.flow or row.pressure or row.pump:
            by_series.setdefault((row.flow, row.pressure, row.pump), []).append(row)
    return [_line(farm, rows) for rows in by_series.values()]


def _line(farm: Farm, rows: list[DripRow]) -> Line:
    first = rows[0]

    def parsed(key: str | None) -> Series | None:
        return Series.parse(farm.name, key) if key else None

    found_from = parsed(first.flow or first.pressure or first.pump)
    if found_from is None:
        raise ValueError(f"the drip row of {first.zone} names no flow, pressure or pump: it belongs to no line")
    rated = sum(row.emitters * row.emitter_flow_l_h for row in rows) / 60.0
    threshold = RUNS_FROM * rated if first.flow else ON
    plans = [row.irrigation for row in rows if row.irrigation != IrrigationPlan()]
    return Line(
        rows=tuple(rows),
        found_from=found_from,
        threshold=next((row.running_above for row in rows if row.running_above), threshold),
        flow=parsed(first.flow),
        pump=parsed(first.pump),
        return_flow=parsed(next((row.return_flow for row in rows if row.return_flow), None)),
        plan=plans[0] if plans else IrrigationPlan(),
        rated_l_min=rated,
    )


def clock_seconds(farm: Farm, day: date, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return instants as seconds of a local day by the wall clock: below 0 the day before, from 86400 the day after."""
    midnight = datetime.combine(day, time())
    walls = [instant(at).astimezone(farm.farm.zone_info).replace(tzinfo=None) for at in at_us.tolist()]
    return np.array([(wall - midnight).total_seconds() for wall in walls])


def instant_of_clock(farm: Farm, day: date, seconds: float) -> int | None:
    """Return the instant of a wall clock's time on a local day, the first of two; None where the clocks skip it."""
    wall = datetime.combine(day, time()) + timedelta(seconds=seconds)
    at = wall.replace(tzinfo=farm.farm.zone_info).astimezone(UTC)
    there = at.astimezone(farm.farm.zone_info).replace(tzinfo=None) == wall
    return microseconds(at) if there else None
