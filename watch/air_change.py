"""How fast a room leaks, as a derived series: one reading at the end of each decay of CO2 that tells."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.air_change import AirChangeRate, Doubt, air_change_rate, air_change_rate_with_source
from analytics.alignment import hold_as_of
from analytics.tracer_decays import LONGEST_US, SETTLING_US, Switch, decays, may_have_ended
from farm.description import Farm, ZoneKind
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable
from watch.carbon_dioxide import co2_columns, co2_inputs

BACKGROUND_ACCURACY_PPM = 20.0  # of a stated outdoor level, and of how it changes; our choice, no source

# Quantity of a switch -> the doubts it raises when on and when unknown.
DISTURBS = {
    "co2_valve_open": (Doubt.DOSING, Doubt.DOSING_UNKNOWN),
    "purge_on": (Doubt.PURGE, Doubt.PURGE_UNKNOWN),
    "door_open": (Doubt.DOOR, Doubt.DOOR_UNKNOWN),
    "lights_on": (Doubt.LIT, Doubt.LIT_UNKNOWN),
}
MUST_BE_KNOWN = ("co2_valve_open", "lights_on")  # a farm need not have a purge fan, or a switch on its door


@dataclass(frozen=True, slots=True)
class FoundDecay:
    """A decay in a room's record: ``[start_us, end_us]``, when its end was seen, and its worst flag.

    ``rate`` is the one to use: it allows for plants that breathe in the dark. ``without_source`` supposes that
    nothing does, as a tracer-gas test in an empty room may.
    """

    start_us: int
    end_us: int
    seen_us: int
    rate: AirChangeRate
    without_source: AirChangeRate
    rank: int


@dataclass(frozen=True)
class AirChanges:
    """The air-change rates of one room that can be used; each stands at the CO2 reading that ended its decay."""

    output: Series
    inputs: tuple[Series, ...]

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return how long the longest decay is, with what is before it and what is held into it."""
        return LONGEST_US + SETTLING_US + 2 * max(max_age_us(farm, one) for one in self.inputs)

    def found(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> list[FoundDecay]:
        """Return the decays whose end was seen in ``[start_us, end_us)``, usable or not."""
        co2 = self.inputs[0]
        offset, gap_us = offset_accuracy(farm, co2), max_age_us(farm, co2)
        near_us = start_us - 2 * max(max_age_us(farm, one) for one in self.inputs)
        read, background, switches = _read(farm, store, co2, near_us, end_us)
        if not may_have_ended(read.time_us, read.value, background, switches, gap_us, offset, start_us):
            return []
        read, background, switches = _read(farm, store, co2, start_us - self.reach_us(farm, co2), end_us)
        found = []
        for one in decays(read.time_us, read.value, background, switches, gap_us, offset):
            if one.seen_us < start_us:
                continue
            here = slice(one.first, one.last + 1)
            times, value = read.time_us[here], read.value[here]
            rate = air_change_rate_with_source(times, value, one.doubts)
            without_source = air_change_rate(times, value, background[here], offset, one.doubts)
            rank = int(FLAG_RANK[read.flag[here]][~np.isnan(value)].max())
            found.append(FoundDecay(int(times[0]), int(times[-1]), one.seen_us, rate, without_source, rank))
        return found

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the usable rates of ``[start_us, end_us)``, each with the worst flag of its CO2 readings."""
        usable_ones = [one for one in self.found(farm, store, start_us, end_us) if one.rate.usable]
        return Columns.from_rows([(one.seen_us, one.rate.per_h, int(FLAG_OF_RANK[one.rank])) for one in usable_ones])


def _read(
    farm: Farm, store: ReadingStore, co2: Series, from_us: int, end_us: int
) -> tuple[Columns, NDArray[np.float64], list[Switch]]:
    """Return the CO2 indoors, that outdoors at the same instants, and what may disturb a decay."""
    read = co2_columns(store, co2, from_us, end_us)
    switches = [switch for quantity in DISTURBS for switch in _switches(farm, store, quantity, from_us, end_us)]
    return read, background_at(farm, store, read.time_us), switches


def _switches(farm: Farm, store: ReadingStore, quantity: str, from_us: int, end_us: int) -> list[Switch]:
    """Return the switches of one quantity; one that is never known where it must be known and there is none."""
    several = [one for one in farm.described if one.quantity == quantity]
    if not several and quantity in MUST_BE_KNOWN:
        return [Switch(np.empty(0, np.int64), np.empty(0), 0, *DISTURBS[quantity])]
    made = []
    for one in several:
        read = store.read(one, from_us, end_us)
        made.append(Switch(read.time_us, usable(read), max_age_us(farm, one), *DISTURBS[quantity]))
    return made


def outdoor_co2(farm: Farm) -> Series | None:
    """Return the series that tells the CO2 outdoors; None where there is none."""
    outdoors = [zone for zone, described in farm.zones.items() if described.kind == ZoneKind.OUTDOORS]
    several = [one for zone in outdoors for one in farm.series_of(zone, "co2_mole_fraction")]
    return several[0] if several else None


def background_at(farm: Farm, store: ReadingStore, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
    """Return the CO2 outdoors at ascending instants: as measured, else as stated, else NaN. [ppm]."""
    enrichment = farm.equipment.carbon_dioxide
    stated = enrichment.background_ppm if enrichment is not None else None
    level = np.full(len(at_us), math.nan if stated is None else stated)
    series = outdoor_co2(farm)
    if series is None or len(at_us) == 0:
        return level
    age = max_age_us(farm, series)
    read = co2_columns(store, series, int(at_us[0]) - age, int(at_us[-1]) + 1)
    held = hold_as_of(read.time_us, read.value, at_us, age).value
    return np.where(np.isnan(held), level, held)


def offset_accuracy(farm: Farm, co2: Series) -> float:
    """Return the plus or minus of the difference between CO2 indoors and outdoors. [ppm]."""
    outdoors = outdoor_co2(farm)
    background = farm.described[outdoors].plus_or_minus if outdoors is not None else None
    return math.hypot(farm.described[co2].plus_or_minus or 0.0, background or BACKGROUND_ACCURACY_PPM)


def air_changes(farm: Farm) -> list[AirChanges]:
    """Return the air-change rate of the room with CO2 enrichment, if a farm has one."""
    enrichment = farm.equipment.carbon_dioxide
    if enrichment is None:
        return []
    several = farm.series_of(enrichment.zone, "co2_mole_fraction")
    if not several:
        return []
    co2, outdoors = several[0], outdoor_co2(farm)
    background = co2_inputs(farm, outdoors) if outdoors is not None else ()
    switches = [one for one in farm.described if one.quantity in DISTURBS]
    inputs = dict.fromkeys((*co2_inputs(farm, co2), *background, *switches))
    return [AirChanges(co2._replace(quantity="air_change_rate"), tuple(inputs))]
