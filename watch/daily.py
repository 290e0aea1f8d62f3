"""Derived series with one value a light day, at the day's start: light integral, photoperiod, lamp output."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from analytics.light import LONGEST_DAY_US
from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import lights_series
from watch.derivation import different
from watch.estimated_light import light_hold_us, light_series
from watch.lamp_outputs import lamp_sensors, outputs_of_days
from watch.light_days import LightDay, integrals_of_days, light_days
from watch.photoperiods import light_source, photoperiods
from watch.stretches import Stretch

Row = tuple[int, float, int]  # time, value and flag
SECONDS_PER_HOUR = 3600
PER_CENT = 100.0


@dataclass(frozen=True)
class Daily:
    """A derived series of light days, and what makes its readings from whole days."""

    output: Series
    rows: Callable[[Farm, ReadingStore, list[LightDay]], list[Row]]


@dataclass(frozen=True)
class ZoneDailies:
    """The series of one zone's light days; a reading of an input reaches ``hold_us`` beyond its own light day."""

    zone: str
    inputs: tuple[Series, ...]
    hold_us: int
    series: tuple[Daily, ...]


def dailies(farm: Farm) -> list[ZoneDailies]:
    """Return every derived series of light days that a farm's description allows, zone by zone."""
    light, under_lamps = light_series(farm), lamp_sensors(farm)
    made = []
    for zone in dict.fromkeys(ppfd.zone for ppfd in light):
        ppfds = [one for one in light if one.zone == zone]
        series = [Daily(one._replace(quantity="daily_light_integral"), _integral_rows(one)) for one in ppfds]
        if light_source(farm, zone) is not None:
            series.append(Daily(Series(farm.name, zone, "photoperiod"), _photoperiod_rows(zone)))
        for group, one in under_lamps:
            if one.zone == zone:
                rows = _output_rows(one, group.commissioning_ppfd)
                series.append(Daily(one._replace(quantity="lamp_output"), rows))
        inputs = _inputs(farm, zone, ppfds)
        hold_us = max(light_hold_us(farm, one) for one in inputs)
        made.append(ZoneDailies(zone, inputs, hold_us, tuple(series)))
    return made


def _inputs(farm: Farm, zone: str, ppfds: list[Series]) -> tuple[Series, ...]:
    """Return what the light days of a zone rest on: its switch, and all PPFD, since the newest of it ends them."""
    switch = lights_series(farm, zone)
    return (*([switch] if switch is not None else []), *ppfds)


def _integral_rows(ppfd: Series) -> Callable[[Farm, ReadingStore, list[LightDay]], list[Row]]:
    def rows(farm: Farm, store: ReadingStore, days: list[LightDay]) -> list[Row]:
        found = integrals_of_days(farm, store, ppfd, days)
        return [(one.day.start_us, one.integral.mol, int(one.flag)) for one in found]

    return rows


def _photoperiod_rows(zone: str) -> Callable[[Farm, ReadingStore, list[LightDay]], list[Row]]:
    def rows(farm: Farm, store: ReadingStore, days: list[LightDay]) -> list[Row]:
        found = photoperiods(farm, store, zone, days)
        return [(one.day.start_us, one.found.lit_s / SECONDS_PER_HOUR, int(one.flag)) for one in found]

    return rows


def _output_rows(ppfd: Series, commissioning: float) -> Callable[[Farm, ReadingStore, list[LightDay]], list[Row]]:
    def rows(farm: Farm, store: ReadingStore, days: list[LightDay]) -> list[Row]:
        found = outputs_of_days(farm, store, ppfd, days)
        return [(one.day.start_us, one.output.ppfd / commissioning * PER_CENT, int(one.flag)) for one in found]

    return rows


def renew(
    farm: Farm, store: ReadingStore, dailies: ZoneDailies, first_us: int, last_us: int, *, again: bool = False
) -> list[tuple[Series, Stretch]]:
    """Bring the series of a zone's light days up to date for inputs' readings that changed.

    Returns which of them moved, and over what stretch; with ``again``, which says that it may have been done
    before and what follows not, all of them over all of it.
    """
    reach = dailies.hold_us + LONGEST_DAY_US
    around = light_days(farm, store, dailies.zone, first_us - dailies.hold_us, last_us + reach)
    start_us = min([day.start_us for day in around], default=first_us)
    end_us = max([day.end_us for day in around], default=last_us + 1)
    found = []
    for one in dailies.series:
        columns = Columns.from_rows(one.rows(farm, store, around))
        moved = different(store.read(one.output, start_us, end_us), columns)
        if moved:
            store.replace(one.output, start_us, end_us, columns)
        if again:
            moved = (start_us, end_us - 1)
        if moved:
            found.append((one.output, moved))
    return found
