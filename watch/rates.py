"""Rates that follow from counters: power from energy, flow from litres."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.counters import rate
from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import max_age_us, usable, worse_flags

# Counter -> the quantity that its rate is, and what one of the counter's unit a second is in its unit.
RATES = {
    "electrical_energy": ("electrical_power", 3.6e6),  # 1 kWh is 3.6e6 W s
    "metered_volume": ("flow_rate", 60.0),  # L/s to L/min
    "condensate_volume": ("flow_rate", 60.0),
}


@dataclass(frozen=True)
class Rate:
    """A series that says how fast a counter counts: at each of its readings, since the one before."""

    output: Series
    counter: Series
    per_second: float

    @property
    def inputs(self) -> tuple[Series, ...]:
        """The counter."""
        return (self.counter,)

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return the longest gap over which there is a rate: three cadences."""
        return max_age_us(farm, series)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the rates of ``[start_us, end_us)``, flagged with the worse of the two readings they rest on.

        Across a gap of more than three cadences there is none, so a reading reaches no further than that.
        """
        gap_us = max_age_us(farm, self.counter)
        read = store.read(self.counter, start_us - gap_us, end_us)
        value = usable(read)
        found = rate(read.time_us, value, gap_us, farm.described[self.counter].rolls_over) * self.per_second
        flag = read.flag.copy()
        known = np.flatnonzero(~np.isnan(value))
        flag[known[1:]] = worse_flags(read.flag[known[1:]], read.flag[known[:-1]])
        kept = ~np.isnan(found) & (read.time_us >= start_us)
        return Columns(read.time_us[kept], found[kept], flag[kept])


def rates(farm: Farm) -> list[Rate]:
    """Return every rate that a farm's counters allow and that no sensor of its own measures."""
    made = []
    for counter in farm.described:
        if counter.quantity in RATES:
            quantity, per_second = RATES[counter.quantity]
            output = counter._replace(quantity=quantity)
            if counter.quantity == "condensate_volume" and not counter.sensor:
                output = output._replace(sensor="condensate")  # a zone's flow is rather its irrigation
            if output not in farm.described:
                made.append(Rate(output, counter, per_second))
    return made
