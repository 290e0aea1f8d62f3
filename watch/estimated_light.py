"""PPFD of a zone without a sensor, estimated from the lamps' switch and their PPFD at commissioning."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analytics.light import ON
from farm.description import Farm
from farm.flags import Flag
from farm.readings import ESTIMATED, Columns, Series, microseconds
from store.contract import ReadingStore
from watch.bands import lights_series, max_age_us, usable, worse_flags


def commissioning_ppfd(farm: Farm, zone: str) -> float:
    """Return the PPFD of all lamps over a zone when new; 0 where there are none. [umol m-2 s-1]."""
    return sum(group.commissioning_ppfd for group in farm.lamps_over(zone))


def commissioned_us(farm: Farm, zone: str) -> int | None:
    """Return since when the lamps over a zone are those that the description has; None if it does not say."""
    since = [group.commissioned for group in farm.lamps_over(zone) if group.commissioned is not None]
    return max((microseconds(farm.moment(one)) for one in since), default=None)


@dataclass(frozen=True)
class EstimatedPpfd:
    """The lamps' commissioning PPFD while their switch is on, else 0, at the switch's own readings.

    The flag is the switch's, but never better than NOT_EVALUATED: no sensor saw this light.
    """

    output: Series
    switch: Series
    ppfd: float

    @property
    def inputs(self) -> tuple[Series, ...]:
        """The lights' switch."""
        return (self.switch,)

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return that a reading of the switch makes one estimate, at its own time."""
        return 0

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the estimates of ``[start_us, end_us)``."""
        since_us = commissioned_us(farm, self.output.zone)
        read = store.read(self.switch, start_us if since_us is None else min(max(start_us, since_us), end_us), end_us)
        value = usable(read)
        known = ~np.isnan(value)
        flag = worse_flags(read.flag[known], np.full(int(known.sum()), Flag.NOT_EVALUATED, np.uint8))
        return Columns(read.time_us[known], np.where(value[known] >= ON, self.ppfd, 0.0), flag)


def estimated_light(farm: Farm) -> list[EstimatedPpfd]:
    """Return an estimated PPFD for every zone that has lamps and their switch, but no PPFD sensor."""
    made = []
    for zone in farm.zones:
        switch, ppfd = lights_series(farm, zone), commissioning_ppfd(farm, zone)
        if switch is not None and ppfd > 0 and not farm.series_of(zone, "ppfd"):
            made.append(EstimatedPpfd(Series(farm.name, zone, "ppfd", ESTIMATED), switch, ppfd))
    return made


def light_series(farm: Farm) -> list[Series]:
    """Return every PPFD series of a farm, measured ones first."""
    measured = [one for one in farm.described if one.quantity == "ppfd"]
    return [*measured, *(one.output for one in estimated_light(farm))]


def light_hold_us(farm: Farm, ppfd: Series) -> int:
    """Return for how long a reading of a PPFD series speaks: three cadences of it, or of the switch it rests on."""
    if ppfd.sensor == ESTIMATED:
        switch = lights_series(farm, ppfd.zone)
        return max_age_us(farm, switch) if switch is not None else 1
    return max_age_us(farm, ppfd)
