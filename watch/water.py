"""Derived series of water: the pressure drop across filters, and what the reverse-osmosis unit makes of its rating."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import hold_as_of
from analytics.amounts import Amount
from analytics.filter_loading import normalised_pressure_drop
from analytics.irrigation import rated_flow
from analytics.reverse_osmosis import MINUTES_PER_DAY, normalised_output_share, running_output
from analytics.water_volumes import Litres, litres_from_flow, litres_from_meter
from farm.description import Farm, ReverseOsmosis
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series
from farm.water_equipment import Filter
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable
from watch.derivation import accuracy_at

MINUTE_US = 60 * MICROSECONDS_PER_SECOND
RUNS_FROM = 0.2  # of the rating; our choice, no source
STEPS_IN_A_BLOCK = 10  # steps of a meter at the rated output: then one step more or less is 10 %; our choice, no source
PER_CENT = 100.0
METER_SHARE = 0.02  # plus or minus of a water meter or doser, of what it counts; common practice, no source
ENOUGH_COVERAGE = 0.9  # of a flow, or the day's litres are unknown; our choice, no source


def rated_flow_of(farm: Farm, flow: str) -> float:
    """Return the rating of all drip rows on a flow series. [L/min]."""
    on_it = [row for row in farm.equipment.drip_rows if row.flow == flow]
    return float(sum(rated_flow(row.emitters, row.emitter_flow_l_h) for row in on_it))


def filter_series(farm: Farm, one: Filter) -> Series:
    """Return the derived series of a filter's pressure drop."""
    zone, *_ = one.before.split("/")
    return Series(farm.name, zone, "filter_pressure_drop", one.name)


@dataclass(frozen=True)
class FilterDrop:
    """The pressure drop across a filter at its reference flow, while comparable flow goes through.

    A reading at each reading of the flow, if the flow before it was comparable too: then the line had settled, and
    the two pressures, the newest at that instant, are of the same run.
    """

    output: Series
    before: Series
    after: Series
    flow: Series
    reference_l_min: float

    @property
    def inputs(self) -> tuple[Series, ...]:
        """Pressure before and after, and flow."""
        return self.before, self.after, self.flow

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return for how long a reading is held: three of its cadences."""
        return max_age_us(farm, series)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``, flagged with the worst of those they rest on."""
        flow = store.read(self.flow, start_us - max_age_us(farm, self.flow), end_us)
        litres, at_us = usable(flow), flow.time_us
        earlier = hold_as_of(at_us, litres, at_us - 1, max_age_us(farm, self.flow))
        settled = np.isfinite(normalised_pressure_drop(0.0, 0.0, earlier.value, self.reference_l_min))
        rank = np.maximum(FLAG_RANK[flow.flag], FLAG_RANK[flow.flag[earlier.position]])
        pressures = []
        for series in (self.before, self.after):
            read = store.read(series, start_us - max_age_us(farm, series), end_us)
            held = hold_as_of(read.time_us, usable(read), at_us, max_age_us(farm, series))
            pressures.append(held.value)
            found = held.position >= 0
            rank[found] = np.maximum(rank[found], FLAG_RANK[read.flag[held.position[found]]])
        drop = normalised_pressure_drop(pressures[0], pressures[1], litres, self.reference_l_min)
        kept = settled & np.isfinite(drop) & (at_us >= start_us)
        return Columns(at_us[kept], drop[kept], FLAG_OF_RANK[rank[kept]])


def filter_drops(farm: Farm) -> list[FilterDrop]:
    """Return the pressure drop across each filter of a farm."""
    made = []
    for one in farm.equipment.filters:
        before, after, flow = (Series.parse(farm.name, key) for key in (one.before, one.after, one.flow))
        reference = one.reference_flow_l_min or rated_flow_of(farm, one.flow)
        made.append(FilterDrop(filter_series(farm, one), before, after, flow, reference))
    return made


@dataclass(frozen=True)
class NormalisedOutput:
    """What a reverse-osmosis unit makes while it runs, of its rating at 25 degC.

    Time is cut into blocks by the clock, long enough for ten steps of its meter. A block that it ran through,
    as its neighbours did, gives one reading, dated when all that it rests on is there: after the block that
    follows, and as long again as a reading is held.
    """

    unit: ReverseOsmosis
    made: Series
    feed: Series

    @cached_property
    def output(self) -> Series:
        """The derived series, beside what the unit makes."""
        return self.made._replace(quantity="normalised_output")

    @property
    def inputs(self) -> tuple[Series, ...]:
        """What it makes, and the temperature of its feed."""
        return self.made, self.feed

    @property
    def rated_l_min(self) -> float:
        """The rating at 25 degC. [L/min]."""
        return self.unit.rated_l_per_day / MINUTES_PER_DAY

    def block_us(self, farm: Farm) -> int:
        """Return how long a block is: whole minutes, no shorter than readings of the output come."""
        cadence = farm.described[self.made].cadence_s * MICROSECONDS_PER_SECOND
        steps = STEPS_IN_A_BLOCK * self.unit.output_step_l / self.rated_l_min * MINUTE_US
        shortest = max(cadence, steps if self.made.quantity == "metered_volume" else 0.0)
        return math.ceil(shortest / MINUTE_US) * MINUTE_US

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return how far a reading reaches: into the blocks that its holding touches, and their neighbours."""
        return max_age_us(farm, series) + max_age_us(farm, self.made) + 3 * self.block_us(farm)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``, flagged with the worst of those they rest on."""
        block, age, feed_age = self.block_us(farm), max_age_us(farm, self.made), max_age_us(farm, self.feed)
        dated = 2 * block + age  # after the block's start
        edges = np.arange((start_us - dated) // block * block - block, end_us, block, dtype=np.int64)
        read = store.read(self.made, int(edges[0]) - age, end_us)
        feed = store.read(self.feed, int(edges[0]) - feed_age, end_us)
        blocks = self.blocks(farm, read, edges)
        ran = running_output(edges[:-1], blocks, RUNS_FROM * self.rated_l_min).blocks_us
        ran = ran[(ran + dated >= start_us) & (ran + dated < end_us)]
        output = blocks.litres[np.searchsorted(edges, ran)] / (block / MINUTE_US)
        held = hold_as_of(feed.time_us, usable(feed), ran, feed_age)
        value = PER_CENT * normalised_output_share(output, self.rated_l_min, held.value)
        kept = np.isfinite(value)
        flags = [_worst(read, at - block - age, at + dated) for at in ran[kept].tolist()]
        rank = np.maximum(np.array(flags, np.uint8), FLAG_RANK[feed.flag[held.position[kept]]])
        return Columns(ran[kept] + dated, value[kept], FLAG_OF_RANK[rank])

    def blocks(self, farm: Farm, read: Columns, edges: NDArray[np.int64]) -> Litres:
        """Return what was made between edges that follow each other.

        Where it may have run, each block is summed up from the readings around it alone: sums over a longer
        stretch round otherwise, and the same readings must give the same bits, whatever is read with them.
        """
        age = max_age_us(farm, self.made)
        found = litres_of(farm, self.made, read, edges[:-1], edges[1:])
        least = RUNS_FROM * self.rated_l_min * np.diff(edges) / MINUTE_US
        for place in np.flatnonzero(found.litres > least / 2).tolist():
            start, end = edges[place], edges[place + 1]
            around = slice(*np.searchsorted(read.time_us, [start - age, end + age + 1]))
            near = Columns(read.time_us[around], read.value[around], read.flag[around])
            one = litres_of(farm, self.made, near, [start], [end])
            found.litres[place], found.covered_s[place] = one.litres[0], one.covered_s[0]
        return found


def litres_of(farm: Farm, series: Series, read: Columns, starts: ArrayLike, ends: ArrayLike) -> Litres:
    """Return the litres within windows from readings of a flow or of a meter."""
    age = max_age_us(farm, series)
    if series.quantity == "flow_rate":
        return litres_from_flow(read.time_us, usable(read), starts, ends, age)
    return litres_from_meter(read.time_us, usable(read), starts, ends, age, farm.described[series].rolls_over)


def _worst(read: Columns, start_us: int, end_us: int) -> int:
    """Return the rank of the worst flag of usable readings in a stretch."""
    here = slice(*np.searchsorted(read.time_us, [start_us, end_us]))
    used = read.flag[here][~np.isnan(usable(read)[here])]
    return int(FLAG_RANK[used].max(initial=0))


def normalised_output_of(farm: Farm) -> NormalisedOutput | None:
    """Return the normalised output, where the description has a unit with its output and feed temperature."""
    unit = farm.equipment.reverse_osmosis
    if unit is None or unit.output is None or unit.feed_temperature is None:
        return None
    return NormalisedOutput(unit, Series.parse(farm.name, unit.output), Series.parse(farm.name, unit.feed_temperature))


def normalised_outputs(farm: Farm) -> Sequence[NormalisedOutput]:
    """Return the normalised output as a list, empty where there is none."""
    found = normalised_output_of(farm)
    return [] if found is None else [found]


def meter_share(farm: Farm, series: Series, flow_l_min: float) -> float:
    """Return a meter's or flow sensor's plus or minus as a share of a flow. [1]."""
    if series.quantity != "flow_rate":
        return METER_SHARE
    return float(accuracy_at(farm, series, flow_l_min)) / flow_l_min if flow_l_min > 0 else math.nan


def amount_of(farm: Farm, store: ReadingStore, series: Series, start_us: int, end_us: int) -> Amount:
    """Return what a flow or a counter brought over a window.

    Unknown where too little of a flow is covered, or where a counter's readings do not reach both ends of the
    window: what it counted through a gap in between it still counted.
    """
    age = max_age_us(farm, series)
    read = store.read(series, start_us - age, end_us + age)
    found = litres_of(farm, series, read, [start_us], [end_us])
    litres, coverage = float(found.litres[0]), float(found.covered_s[0] / found.span_s[0])
    if series.quantity == "flow_rate":
        known = coverage >= ENOUGH_COVERAGE
        flow = usable(read)
        errors = np.where(flow > 0, accuracy_at(farm, series, flow), 0.0)
        plus_or_minus = float(litres_from_flow(read.time_us, errors, [start_us], [end_us], age).litres[0])
    else:
        came = read.time_us[~np.isnan(usable(read))]
        known = len(came) > 1 and came[0] <= start_us + age and came[-1] >= end_us - age
        plus_or_minus = METER_SHARE * litres
    return Amount(litres, plus_or_minus, coverage) if known else Amount(math.nan, math.nan, coverage)
