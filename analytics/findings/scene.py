"""A farm's measured series laid on whole minutes, and the sums over hours that indicators are made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import Floats, hold_as_of
from analytics.humidity import humidity_ratio
from analytics.psychrometrics import air_pressure_at
from farm.description import SILENT_AFTER_CADENCES, Farm, ZoneKind
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series

MINUTE_US = 60 * MICROSECONDS_PER_SECOND
HOUR_US = 60 * MINUTE_US
QUARTER_US = HOUR_US // 4
MINUTES = 60  # in an hour
LEAST_MINUTES = 5  # of an hour that a mean over it needs; our choice, no source
GRAMS = 1000.0

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Scene:
    """Every measured series of a farm at each whole minute from ``start_us`` on, NaN where nothing speaks.

    ``start_us`` is a full quarter of an hour; all arrays hold a whole number of hours from there.
    """

    farm: Farm
    start_us: int
    value: Mapping[Series, Floats] = field(repr=False)

    @property
    def minutes(self) -> int:
        """How many minutes it holds."""
        return len(next(iter(self.value.values()), ()))

    def series(self, zone: str | None, quantity: str) -> list[Series]:
        """Return the series of a quantity in a zone, or anywhere."""
        return [one for one in self.value if one.quantity == quantity and zone in (None, one.zone)]

    def of(self, zone: str | None, quantity: str) -> Floats | None:
        """Return a quantity in a zone, the mean of several sensors; None where there is none."""
        found = [self.value[one] for one in self.series(zone, quantity)]
        if not found:
            return None
        return found[0] if len(found) == 1 else _mean_over(found)

    def named(self, key: str | None) -> Floats | None:
        """Return the series of a key of the description; None where it is not measured."""
        return self.value.get(Series.parse(self.farm.name, key)) if key else None

    @cached_property
    def rows(self) -> list[str]:
        """Growing rows, in the description's order."""
        return [name for name, zone in self.farm.zones.items() if zone.kind is ZoneKind.GROWING_ROW]

    @cached_property
    def room(self) -> str | None:
        """The zone that the air conditioner draws from, else the first room."""
        unit = self.farm.equipment.air_conditioner
        rooms = [name for name, zone in self.farm.zones.items() if zone.kind is ZoneKind.ROOM_AIR]
        return unit.return_zone if unit is not None and unit.return_zone else rooms[0] if rooms else None

    @cached_property
    def pressure_kpa(self) -> float:
        """Air pressure by the farm's elevation."""
        return float(air_pressure_at(self.farm.farm.elevation_m))

    def vapour(self, zone: str) -> Floats | None:
        """Return the humidity ratio of a zone's air. [g/kg]."""
        if zone not in self._vapour:
            air, humidity = self.of(zone, "air_temperature"), self.of(zone, "relative_humidity")
            self._vapour[zone] = (
                None
                if air is None or humidity is None
                else humidity_ratio(air, humidity, self.pressure_kpa, "water") * GRAMS
            )
        return self._vapour[zone]

    @cached_property
    def _vapour(self) -> dict[str, Floats | None]:
        return {}

    @cached_property
    def outdoors(self) -> str | None:
        """The outdoor zone."""
        return next((name for name, zone in self.farm.zones.items() if zone.kind is ZoneKind.OUTDOORS), None)

    @cached_property
    def compressor(self) -> Mask | None:
        """Whether the compressor runs."""
        unit = self.farm.equipment.air_conditioner
        state = self.named(unit.compressor) if unit is not None else None
        if state is None or unit is None:
            return None
        return state > (unit.running_above_w if unit.running_above_w is not None else 0.5)

    @cached_property
    def pump(self) -> Mask | None:
        """Whether the drip pump is commanded, or draws power."""
        keys = dict.fromkeys(row.pump for row in self.farm.equipment.drip_rows if row.pump)
        found = [one for key in keys if (one := self.named(key)) is not None]
        return found[0] > 0.5 if found else None


def scene_of(farm: Farm, arrived: Iterable[tuple[Series, Columns]], start_us: int, end_us: int) -> Scene:
    """Return the scene of measured readings over the hours of ``[start_us, end_us)``, from a quarter of an hour on.

    What arrived is looked at series by series: of many readings a second only one series need be in memory.
    A reading speaks for three cadences; a counter's until the next. What failed its test of range is left out,
    what other tests doubt is not: a stuck or drifting sensor is what is looked for.
    """
    start_us -= start_us % QUARTER_US
    hours = (end_us - start_us) // HOUR_US
    at_us = start_us + MINUTE_US * np.arange(1, hours * MINUTES + 1, dtype=np.int64)
    value = {}
    for series, found in arrived:
        if series not in farm.described:
            continue
        age_us = int(farm.described[series].cadence_s * SILENT_AFTER_CADENCES * MICROSECONDS_PER_SECOND)
        usable = np.where(found.flag == Flag.MISSING, np.nan, found.value)
        value[series] = hold_as_of(found.time_us, usable, at_us, age_us).value
    return Scene(farm, start_us, {series: value[series] for series in farm.described if series in value})


def hourly(value: Floats, where: Mask | None = None, least: int = LEAST_MINUTES) -> Floats:
    """Return the mean over each hour, of the minutes where something holds; NaN with too few."""
    shaped = value.reshape(-1, MINUTES)
    good = ~np.isnan(shaped)
    if where is not None:
        good &= where.reshape(-1, MINUTES)
    count = good.sum(axis=1)
    total = np.where(good, shaped, 0.0).sum(axis=1)
    return np.where(count >= least, total / np.maximum(count, 1), np.nan)


def share(mask: Mask, known: Floats | None = None) -> Floats:
    """Return the share of each hour in which something holds; NaN where most of it is not known."""
    shaped: Floats = mask.reshape(-1, MINUTES).mean(axis=1)
    if known is None:
        return shaped
    heard = (~np.isnan(known)).reshape(-1, MINUTES).mean(axis=1)
    return np.where(heard > 0.5, shaped / np.maximum(heard, 1e-9), np.nan)


def counted_by_hour(counter: Floats) -> Floats:
    """Return what a counter counted in each hour; NaN where it was reset or not heard."""
    return hourly(per_minute(counter), least=MINUTES // 2) * MINUTES


def per_minute(counter: Floats) -> Floats:
    """Return what a counter counted in each minute; NaN where it was reset or not heard."""
    steps = np.diff(counter, prepend=counter[:1])
    return np.where(steps < 0, np.nan, steps)


def pace(value: Floats, where: Mask, least: int = LEAST_MINUTES) -> Floats:
    """Return the mean pace in each hour over the minutes where something holds at both ends. [per hour]."""
    steps = np.diff(value, prepend=value[:1])
    both = where & np.concatenate([[False], where[:-1]])
    return hourly(steps, both, least) * MINUTES


def settled(mask: Mask, minutes: int) -> Mask:
    """Return where something has held for more than some minutes."""
    padded = np.concatenate([np.zeros(minutes, bool), mask])
    seen = np.concatenate([[0], np.cumsum(padded)])
    found: Mask = (seen[minutes + 1 :] - seen[: -minutes - 1]) == minutes + 1
    return found


def quiet_after(events: Mask, minutes: int) -> Mask:
    """Return where for some minutes nothing happened."""
    padded = np.concatenate([np.zeros(minutes, bool), events])
    seen = np.concatenate([[0], np.cumsum(padded)])
    found: Mask = (seen[minutes + 1 :] - seen[: -minutes - 1]) == 0
    return found


def median_over(several: list[Floats] | Floats) -> Floats:
    """Return the median of several arrays at each instant, of those that are known."""
    stacked = np.sort(np.asarray(several), axis=0)  # NaN sorts last
    count = (~np.isnan(stacked)).sum(axis=0)
    last = np.maximum(count - 1, 0)
    low, high = last // 2, np.minimum(count // 2, last)
    at = np.arange(stacked.shape[1])
    return np.where(count > 0, (stacked[low, at] + stacked[high, at]) / 2, np.nan)


def _mean_over(several: list[Floats]) -> Floats:
    stacked = np.stack(several)
    known = ~np.isnan(stacked)
    return np.where(
        known.any(axis=0), np.where(known, stacked, 0).sum(axis=0) / np.maximum(known.sum(axis=0), 1), np.nan
    )
