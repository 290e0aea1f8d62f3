"""What a reservoir's readings show about one day: its volume and salt, and what was done to it."""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from analytics.alignment import hold_as_of
from analytics.counters import counted
from analytics.events import Event, counted_events, joined, switched_events
from farm.description import Farm, Stock, ZoneKind
from farm.flags import Flag
from farm.readings import Series
from watch.at_rest import level_at_rest
from watch.bands import max_age_us, usable
from watch.day_data import LOOK_AROUND_US, DayData
from watch.derivation import accuracy_at
from watch.tracks import JOIN_US, LONGEST_DOSE_US, SETTLE_US, Track, steps_in

OF_SOLUTION = ("solution_ec", "solution_ph", "solution_volume", "solution_level", "dosed_volume", "doser_on")
LEAST_SHARE = 0.01  # of the reservoir's volume: smaller top-ups are not looked for; our choice, no source
LEAST_EC_SHARE = 0.02  # of the EC: smaller doses are not looked for in it; our choice, no source


@dataclass(frozen=True)
class Dose(Event):
    """Stocks given to a reservoir together; ``volumes_ml`` by the stock's name, ``source`` what tells of it.

    A doser that pulses on and on leaves no time to settle: such a dose comes in parts, each seen by the readings
    between its first pulse and ``runs_until_us``, the next part's.
    """

    volumes_ml: dict[str, float] = field(default_factory=dict)
    source: str = "counter"
    runs_until_us: int | None = None


@dataclass(frozen=True)
class ReservoirDay:
    """One reservoir over a day and the two hours before and after it."""

    data: DayData
    zone: str
    _tracks: dict[Series, Track] = field(default_factory=dict)

    @property
    def farm(self) -> Farm:
        """The farm's description."""
        return self.data.farm

    @property
    def described_volume_l(self) -> float:
        """The nameplate volume; NaN where the description gives none for this zone."""
        reservoir = self.farm.equipment.reservoir
        return reservoir.volume_l if reservoir is not None and reservoir.zone == self.zone else math.nan

    @property
    def feed_ec_ms_cm(self) -> float:
        """EC of the water that tops it up."""
        reservoir = self.farm.equipment.reservoir
        return reservoir.feed_ec_ms_cm if reservoir is not None and reservoir.zone == self.zone else 0.0

    def inside(self, event: Event) -> bool:
        """Whether an event counts for the day: its middle does."""
        return self.data.start_us <= (event.start_us + event.end_us) // 2 < self.data.until_us

    def series(self, quantity: str) -> Series | None:
        """Return the zone's first series of a quantity that is known; None without one."""
        return next((one for one in self.farm.series_of(self.zone, quantity) if one in self.data.known), None)

    def track(self, quantity: str) -> Track | None:
        """Return the readings of the zone's first series of a quantity; None without one."""
        series = self.series(quantity)
        return None if series is None else self._track(series)

    def _track(self, series: Series) -> Track:
        if series not in self._tracks:
            self._tracks[series] = self._read(series)
        return self._tracks[series]

    def _read(self, series: Series) -> Track:
        start_us, end_us = self.data.start_us - LOOK_AROUND_US, self.data.end_us + LOOK_AROUND_US
        columns = self.data.store.read(series, start_us, end_us)
        value = usable(columns)
        known = value[~np.isnan(value)]
        usual = float(np.median(known)) if len(known) else math.nan
        give_or_take = float(accuracy_at(self.farm, series, usual))
        return Track(columns.time_us, value, max_age_us(self.farm, series), give_or_take)

    @cached_property
    def ec(self) -> Track | None:
        """EC. [mS/cm at 25 degC]."""
        return self.track("solution_ec")

    @cached_property
    def ph(self) -> Track | None:
        """PH."""
        return self.track("solution_ph")

    @cached_property
    def volume(self) -> Track | None:
        """Volume at rest, measured or from the level and the nameplate; None where neither tells. [L]."""
        measured = self.track("solution_volume")
        if measured is not None:
            return level_at_rest(self.farm, self.data.store, self.zone, measured)
        level = self.track("solution_level")
        if level is None or math.isnan(self.described_volume_l):
            return None
        level = level_at_rest(self.farm, self.data.store, self.zone, level)
        per_percent = self.described_volume_l / 100.0
        return replace(level, value=level.value * per_percent, plus_or_minus=level.plus_or_minus * per_percent)

    @cached_property
    def salt(self) -> Track | None:
        """EC times volume, at the times of the EC; with the nameplate volume where none is measured. [mS/cm L]."""
        if self.ec is None:
            return None
        if self.volume is None:
            volume = np.full(len(self.ec.time_us), self.described_volume_l)
            return Track(self.ec.time_us, self.ec.value * volume, self.ec.gap_us)
        held = hold_as_of(self.volume.time_us, self.volume.value, self.ec.time_us, self.volume.gap_us)
        of_pause = self.volume.of_pause
        if of_pause is not None and len(of_pause):
            last = np.searchsorted(self.volume.time_us, self.ec.time_us, side="right") - 1
            of_pause = of_pause[np.maximum(last, 0)]
        gap_us = max(self.ec.gap_us, self.volume.gap_us)
        return Track(self.ec.time_us, self.ec.value * held.value, gap_us, of_pause=of_pause)

    @property
    def scale_accuracy(self) -> float:
        """Give or take of the scales of EC and volume together, as a share."""
        return math.hypot(*(one.relative_accuracy for one in (self.ec, self.volume) if one is not None))

    @cached_property
    def steps(self) -> list[Event]:
        """Top-ups (rises) and drains (falls) that the volume shows, their edges drawn wide."""
        if self.volume is None:
            return []
        capacity_l = self.described_volume_l
        known = self.volume.value[~np.isnan(self.volume.value)]
        if math.isnan(capacity_l):
            capacity_l = float(known.max()) if len(known) else math.nan
        return steps_in(self.volume, LEAST_SHARE * capacity_l)

    @property
    def top_ups(self) -> list[Event]:
        """Rises of the volume."""
        return [one for one in self.steps if one.amount > 0.0]

    @property
    def drains(self) -> list[Event]:
        """Falls of the volume."""
        return [one for one in self.steps if one.amount < 0.0]

    @cached_property
    def stocks(self) -> dict[str, tuple[Stock, Series]]:
        """The stocks whose pump is counted in this zone, with the counter."""
        stocks = {one.name: one for one in self.farm.equipment.stocks}
        counters = [one for one in self.farm.series_of(self.zone, "dosed_volume") if one in self.data.known]
        return {one.sensor: (stocks[one.sensor], one) for one in counters if one.sensor in stocks}

    @cached_property
    def doses(self) -> list[Dose]:
        """Every dose: of the stocks' counters, else of the doser's switch, else the rises that EC shows."""
        if self.stocks:
            by_stock = {name: self.counted(series) for name, (_, series) in self.stocks.items()}
            spans = joined([one for several in by_stock.values() for one in several], JOIN_US)
            return [one for span in spans for one in self._parts(span, by_stock)]
        switch = self.track("doser_on")
        if switch is not None:
            found = switched_events(switch.time_us, switch.value, JOIN_US)
            return [Dose(one.start_us, one.end_us, source="switch") for one in found]
        if self.ec is None:
            return []
        known = self.ec.value[~np.isnan(self.ec.value)]
        least = LEAST_EC_SHARE * float(np.median(known)) if len(known) else math.nan
        rises = [one for one in steps_in(self.ec, least) if one.amount > 0.0]
        return [Dose(one.start_us, one.end_us, source="readings") for one in rises]

    def _parts(self, span: Event, by_stock: dict[str, list[Event]]) -> list[Dose]:
        """Return a dose as one, or where it ran on in parts that the day's borders do not cut."""
        if span.end_us - span.start_us <= LONGEST_DOSE_US:
            return [_dose(span, by_stock)]
        start_us, end_us = self.data.start_us, self.data.end_us
        borders = [*range(start_us, end_us, LONGEST_DOSE_US), end_us]
        pulses = {one.start_us for several in by_stock.values() for one in several}
        inside = sorted(one for one in pulses if span.start_us <= one < span.end_us)
        first = [
            one
            for place, one in enumerate(inside)
            if place == 0 or _cell(one, borders) != _cell(inside[place - 1], borders)
        ]
        ends = [*first[1:], span.end_us]
        return [
            replace(
                _dose(Event(begin, end), by_stock),
                runs_until_us=end if end < span.end_us else end + SETTLE_US,
            )
            for begin, end in zip(first, ends, strict=True)
        ]

    def counted(self, series: Series) -> list[Event]:
        """Return when a pump's counter counted, pulse by pulse."""
        track = self._track(series)
        return counted_events(track.time_us, track.value, 0, self.farm.described[series].rolls_over)

    def counted_in(self, series: Series, start_us: int, end_us: int) -> float:
        """Return what a counter counted at its readings in a window; NaN where it had none."""
        before = self.data.store.last_before(series, start_us)
        columns = self.data.store.read(series, start_us, end_us)
        value = usable(columns)
        if before is not None and before.flag not in (Flag.FAIL, Flag.MISSING):
            value = np.concatenate([[before.value], value])
        return counted(value, self.farm.described[series].rolls_over)

    @cached_property
    def ec_doses(self) -> list[Dose]:
        """The doses that move EC: those with nutrient stock in them, and those of which no counter tells."""
        nutrients = {name for name, (stock, _) in self.stocks.items() if stock.role == "nutrient"}
        return [one for one in self.doses if one.source != "counter" or nutrients & one.volumes_ml.keys()]

    @property
    def paces_us(self) -> list[int]:
        """The instants of these changes."""
        return sorted({(one.start_us + one.end_us) // 2 for one in self.light_changes})

    @cached_property
    def light_changes(self) -> list[Event]:
        """When lights over its plants went on or off: from then on they drink at another pace."""
        kinds = (ZoneKind.GROWING_ROW, ZoneKind.SEEDLING_SHELF)
        equipment = self.farm.equipment
        watered = {row.zone for row in equipment.drip_rows} | {shelf.zone for shelf in equipment.flood_shelves}
        of_it = {name: zone for name, zone in self.farm.zones.items() if not watered or name in watered}
        keys = {zone.lights for zone in of_it.values() if zone.kind in kinds and zone.lights}
        found = []
        for key in sorted(keys):
            series = Series.parse(self.farm.name, key)
            if series not in self.data.known:
                continue
            track = self._track(series)
            at = np.flatnonzero(np.diff(track.value >= 0.5))
            found += [Event(int(track.time_us[place]), int(track.time_us[place + 1])) for place in at.tolist()]
        return found


def reservoir_days(data: DayData) -> list[ReservoirDay]:
    """Return the reservoirs with readings of their solution or doses about a day; feed water has none of these."""
    zones = [name for name, zone in data.farm.zones.items() if zone.kind is ZoneKind.RESERVOIR]
    return [
        ReservoirDay(data, zone)
        for zone in zones
        if any(one.zone == zone and one.quantity in OF_SOLUTION for one in data.known)
    ]


def _cell(at_us: int, borders: list[int]) -> int:
    return bisect_right(borders, at_us)


def _dose(span: Event, by_stock: dict[str, list[Event]]) -> Dose:
    """Return the pulses of all stocks within a span as one dose."""
    volumes = {
        name: sum(one.amount for one in several if span.start_us <= one.start_us and one.end_us <= span.end_us)
        for name, several in by_stock.items()
    }
    given = {name: volume for name, volume in volumes.items() if volume > 0.0}
    return Dose(span.start_us, span.end_us, sum(given.values()), given)
