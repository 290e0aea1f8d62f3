"""The root zone's books of one day, from readings: water and salt that came, went and are left."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from analytics.events import Event
from analytics.lines import NOTHING, Estimate, Line, change_between, value_at
from analytics.root_zone import Account, account
from farm.readings import MICROSECONDS_PER_SECOND, iso_time
from watch.reservoir import Dose, ReservoirDay
from watch.tracks import REACH_US, SETTLE_US, Track

SECONDS_PER_HOUR = 3600
ML_PER_L = 1000.0
ZERO = Estimate(0.0, 0.0)


class Water:
    """The day's water: start + dosed + topped up = drunk + drained + end. [L].

    Its estimates leave the level's scale (``scale``, a share) out, which all of them share: it cancels where
    they are compared, and is in what the row shows.
    """

    def __init__(self, day: ReservoirDay) -> None:
        self.day = day
        self.lines: list[Line] = []
        self.drunk = NOTHING
        self.covered_s = 0.0
        self.scale = 0.0
        self.sizes: list[tuple[Event, Estimate]] = []
        self.dosed_l = _dosed_l(day)
        if day.volume is None:
            return
        self.lines = day.volume.lines([*day.steps, *day.light_changes], 0)
        fall = change_between(self.lines, day.data.start_us, day.data.until_us, REACH_US, paces_us=day.paces_us)
        self.covered_s = fall.covered_s
        self.scale = day.volume.relative_accuracy
        self.drunk = Estimate(self.dosed_l - fall.amount, fall.plus_or_minus)  # small doses lie within the lines
        self.sizes = [(one, self._size(day.volume, one)) for one in day.steps if day.inside(one)]

    def _size(self, volume: Track, one: Event) -> Estimate:
        """Return how large a step was, from the level at rest where enough of it is there."""
        size = volume.step_at_rest(one, [each for each in (*self.day.steps, *self.day.light_changes) if each != one])
        return volume.step(one, self.day.steps, 0) if math.isnan(size.value) else size

    def at(self, at_us: int) -> Estimate:
        """Return the volume at an instant."""
        return value_at(self.lines, at_us, REACH_US)

    @property
    def topped_up(self) -> Estimate:
        """All rises together."""
        return _total([size for one, size in self.sizes if one.amount > 0.0])

    @property
    def drained(self) -> Estimate:
        """All falls together, as a figure above 0."""
        return _total([Estimate(-size.value, size.plus_or_minus) for one, size in self.sizes if one.amount < 0.0])

    def row(self) -> dict[str, Any] | None:
        """Return the books, None where nothing tells the volume."""
        if self.day.volume is None:
            return None
        data = self.day.data
        start, end = self.at(data.start_us), self.at(data.until_us)
        accuracy = self.day.volume.plus_or_minus  # of the sensor: cancels in the books, but not in what is shown
        books = account(start, end, [Estimate(self.dosed_l, 0.0), self.topped_up], [self.drunk, self.drained])
        written = data.journal.log.entries(
            data.farm.name, start_us=data.start_us, end_us=data.until_us, kinds=("topped_up", "drained")
        )
        return {
            **figure("start", _wider(start, accuracy), "l"),
            "dosed_l": self.dosed_l,
            **figure("topped_up", scaled(self.topped_up, self.scale), "l"),
            **figure("drunk", scaled(self.drunk, self.scale), "l"),
            **figure("drained", scaled(self.drained, self.scale), "l"),
            **figure("end", _wider(end, accuracy), "l"),
            **_closing(books, "l"),
            "covered_h": self.covered_s / SECONDS_PER_HOUR,
            "steps": [
                {
                    "start": iso_time(one.start_us),
                    "end": iso_time(one.end_us),
                    **figure("volume", scaled(size, self.scale), "l"),
                }
                for one, size in self.sizes
            ],
            "written": [
                {"time": iso_time(one.at_us), "kind": one.detail.kind, "volume_l": one.detail.volume_l}
                for one in written
                if one.detail.kind in ("topped_up", "drained")
            ],
        }


class Salt:
    """The day's salt as EC times volume: start + stock + feed = taken + drained + end. [mS/cm L].

    Its estimates leave the scales of EC and volume out, as those of ``Water``.
    """

    def __init__(self, day: ReservoirDay, water: Water) -> None:
        self.day = day
        self.water = water
        self.lines: list[Line] = []
        self.taken = NOTHING
        self.covered_s = 0.0
        self._measured: dict[int, Estimate] = {}
        feed = water.topped_up
        self.feed = Estimate(feed.value * day.feed_ec_ms_cm, feed.plus_or_minus * day.feed_ec_ms_cm)
        if day.salt is None:
            return
        self.lines = day.salt.lines([*day.ec_doses, *day.drains, *day.light_changes], SETTLE_US)
        fall = change_between(self.lines, day.data.start_us, day.data.until_us, REACH_US, paces_us=day.paces_us)
        self.covered_s = fall.covered_s
        taken = self.feed.value - fall.amount  # the feed's little salt lies within the lines
        self.taken = Estimate(taken, math.hypot(fall.plus_or_minus, self.feed.plus_or_minus))

    def expected(self, dose: Dose) -> float:
        """Return the salt that a dose brought if its stocks are what they should be; NaN where not known."""
        strengths = {name: stock.ec_per_ml_l for name, (stock, _) in self.day.stocks.items()}
        nutrients = {name for name, (stock, _) in self.day.stocks.items() if stock.role == "nutrient"}
        if dose.source != "counter" or any(strengths[name] is None for name in nutrients & dose.volumes_ml.keys()):
            return math.nan
        return sum(volume * (strengths[name] or 0.0) for name, volume in dose.volumes_ml.items())

    def measured(self, dose: Dose) -> Estimate:
        """Return the salt that a dose brought, as EC and volume show it; ``drunk_reach`` is not in its give or take."""
        if dose.start_us not in self._measured:
            self._measured[dose.start_us] = self._step(dose) if dose.runs_until_us is None else self._running(dose)
        return self._measured[dose.start_us]

    def drunk_reach(self, dose: Dose) -> float:
        """Return how much more, or less, salt than we say plants may have drunk while a dose ran on; 0 for another."""
        return 0.0 if dose.runs_until_us is None else abs(self._drunk_meanwhile(dose))

    def _drunk_meanwhile(self, dose: Dose) -> float:
        """Return the salt that plants drank while a dose ran on if they drank the solution as it is."""
        day, until_us = self.day, dose.runs_until_us or dose.end_us
        fall = change_between(self.water.lines, dose.start_us, until_us, REACH_US, paces_us=day.paces_us)
        if day.ec is None or fall.covered_s < (until_us - dose.start_us) / MICROSECONDS_PER_SECOND:
            return math.nan
        ec = day.ec.value[(day.ec.time_us >= dose.start_us) & (day.ec.time_us < until_us)]
        usual = float(np.nanmean(ec)) if np.isfinite(ec).any() else math.nan
        return (sum(dose.volumes_ml.values()) / ML_PER_L - fall.amount) * usual

    def _running(self, dose: Dose) -> Estimate:
        """Return the salt that a part of a dose brought which ran on: the rise meanwhile and what plants drank."""
        until_us = dose.runs_until_us or dose.end_us
        drained = any(one.start_us < until_us and dose.start_us < one.end_us for one in self.day.drains)
        if self.day.salt is None or drained:
            return NOTHING
        rise = self.day.salt.rise(dose.start_us, until_us)
        return (
            NOTHING
            if math.isnan(rise.value)
            else Estimate(rise.value + self._drunk_meanwhile(dose), rise.plus_or_minus)
        )

    def _step(self, event: Event) -> Estimate:
        others = [*self.day.ec_doses, *self.day.drains]
        return NOTHING if self.day.salt is None else self.day.salt.step(event, others, SETTLE_US)

    def row(self) -> dict[str, Any] | None:
        """Return the books; None where EC or volume is not known."""
        day = self.day
        if day.salt is None or day.volume is None:
            return None
        start, end = (value_at(self.lines, at, REACH_US) for at in (day.data.start_us, day.data.until_us))
        stock = sum(self.expected(one) for one in day.ec_doses if day.inside(one))
        dosed = Estimate(stock, day.scale_accuracy * stock)
        drained = _total([self._drained(one) for one in day.drains if day.inside(one)])
        books = account(start, end, [dosed, self.feed], [self.taken, drained])
        return {
            **figure("start", scaled(start, day.scale_accuracy), "ms_cm_l"),
            **figure("stock", dosed, "ms_cm_l"),
            **figure("feed", self.feed, "ms_cm_l"),
            **figure("taken", scaled(self.taken, day.scale_accuracy), "ms_cm_l"),
            **figure("drained", scaled(drained, day.scale_accuracy), "ms_cm_l"),
            **figure("end", scaled(end, day.scale_accuracy), "ms_cm_l"),
            **_closing(books, "ms_cm_l"),
            "covered_h": self.covered_s / SECONDS_PER_HOUR,
        }

    def _drained(self, one: Event) -> Estimate:
        step = self._step(one)
        return Estimate(-step.value, step.plus_or_minus)


def _dosed_l(day: ReservoirDay) -> float:
    """Return what the pumps turned within the day; where a line draws air, less came."""
    data = day.data
    each = [day.counted_in(counter, data.start_us, data.until_us) for _, counter in day.stocks.values()]
    return sum(one for one in each if not math.isnan(one)) / ML_PER_L


def _total(several: Sequence[Estimate]) -> Estimate:
    if not several:
        return ZERO
    return Estimate(sum(one.value for one in several), math.hypot(*(one.plus_or_minus for one in several)))


def _wider(estimate: Estimate, accuracy: float) -> Estimate:
    """Return an estimate with the accuracy of what measured it in its give or take."""
    return Estimate(estimate.value, math.hypot(estimate.plus_or_minus, 0.0 if math.isnan(accuracy) else accuracy))


def scaled(estimate: Estimate, share: float) -> Estimate:
    """Return an estimate with a scale's give or take, as a share of the value, in its own."""
    return _wider(estimate, share * estimate.value)


def figure(name: str, estimate: Estimate, unit: str = "") -> dict[str, float | None]:
    """Return a figure with its give or take as a sheet holds it, the unit in the keys."""
    end = f"_{unit}" if unit else ""
    return {
        f"{name}{end}": number(estimate.value),
        f"{name}_give_or_take{end}": number(estimate.plus_or_minus),
    }


def _closing(books: Account, unit: str) -> dict[str, float | bool | None]:
    error = books.error
    closes = None if math.isnan(error.value) else abs(error.value) <= error.plus_or_minus
    return {**figure("closing_error", error, unit), "closes": closes}


def number(value: float) -> float | None:
    """Return a number as JSON can hold it: None where it is not known."""
    return value if math.isfinite(value) else None
