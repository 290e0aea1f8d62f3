"""What will be empty soon: stocks by their count and pace, a reservoir by the fall of its level; hour by hour."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.counters import increments
from analytics.excursions import Excursion, Rule, excursions
from farm.alarm_words import AlarmKind
from farm.description import Farm, Stock
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.alarm_entries import AlarmEntry
from store.contract import ReadingStore
from store.journal import Journal
from store.log_entries import Refill
from watch.alarm_rules import rule_of
from watch.alarm_spells import alarms_of
from watch.alarm_texts import detail_of
from watch.stocks_of_day import counters_of
from watch.stretches import Stretch

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
WINDOW_US = 7 * 24 * HOUR_US  # worked out anew at a time
PACE_US = 3 * 24 * HOUR_US  # whose use is taken for that of the days to come; our choice, no source
LEAST_PACE_H = 24  # hours of counts without which no pace is known
FALL_H = 6  # over which a level's fall is taken; our choice, no source
ML_PER_L = 1000.0
BACK_SHARE = 0.25  # more than the limit by this counts as back
GAP_US = 6 * HOUR_US

Of = Callable[[str], list[AlarmEntry]]
Proposal = tuple[str, int, list[AlarmEntry]]
Floats = NDArray[np.float64]
Times = NDArray[np.int64]


@dataclass(frozen=True)
class _Watched:
    """A stock by the counters of all pumps that draw on it, or a reservoir by its level."""

    condition: str
    by: tuple[Series, ...]
    limit_h: float
    stock: Stock | None

    @property
    def series(self) -> Series:
        """The one that its alarms name."""
        return self.by[0]


class RunningOut:
    """Works out, for each hour that is over, how long each stock and the reservoir last."""

    def __init__(self, farm: Farm, store: ReadingStore, journal: Journal) -> None:
        self._farm, self._store, self._journal = farm, store, journal
        self._watched = _all_watched(farm)
        self._until_us: dict[str, int] = {}
        self._log_moved = True

    def note_log(self) -> None:
        """Look at the refills anew with the next readings."""
        self._log_moved = True

    def renew(self, changed: Mapping[Series, Sequence[Stretch]], newest_us: int, of: Of) -> list[Proposal]:
        """Return the alarms of what lasts too short a time, where an hour is over or an earlier one changed."""
        end_us = newest_us // HOUR_US * HOUR_US
        proposals = []
        for one in self._watched:
            done_us = self._until_us.get(one.condition, 0)
            first_us = min((first for series in one.by for first, _ in changed.get(series, ())), default=None)
            is_late = first_us is not None and first_us < done_us
            if not (end_us > done_us or is_late or (self._log_moved and one.stock is not None)):
                continue
            from_us = end_us - WINDOW_US
            if is_late and first_us is not None:
                from_us = min(from_us, first_us // HOUR_US * HOUR_US)
            proposals += self._renewed(one, from_us, end_us, of)
            self._until_us[one.condition] = end_us
        self._log_moved = False
        return proposals

    def _renewed(self, one: _Watched, from_us: int, end_us: int, of: Of) -> list[Proposal]:
        standing = [kept for kept in of(one.condition) if kept.returned_us is None or kept.returned_us >= from_us]
        from_us = min([from_us, *(kept.onset_us - HOUR_US for kept in standing)]) // HOUR_US * HOUR_US
        rule = rule_of(self._farm, AlarmKind.RUNNING_OUT)
        if end_us <= from_us or rule.off:
            return []
        at_us = np.arange(from_us + HOUR_US, end_us + 1, HOUR_US, dtype=np.int64)
        hours, left = self._stock(one, one.stock, at_us) if one.stock is not None else self._tank(one, at_us)
        known = ~np.isnan(hours)
        if not known.any():
            return []
        machine = Rule(0, 0, BACK_SHARE * one.limit_h, GAP_US)
        found, state = excursions(at_us[known], hours[known], one.limit_h, math.inf, machine)
        if state.open_excursion is not None:
            found.append(state.open_excursion)
        amounts = dict(zip(at_us.tolist(), left.tolist(), strict=True))

        def tell(_: Sequence[Excursion], worst: Excursion, __: int) -> dict[str, object]:
            return self._detail(one, worst, amounts.get(worst.extreme_us, math.nan))

        alarms = alarms_of(self._farm.name, one.condition, rule, found, end_us, tell, lambda _: (0, 0))
        return [(one.condition, from_us, alarms)]

    def _stock(self, one: _Watched, stock: Stock, at_us: Times) -> tuple[Floats, Floats]:
        """Return for each hour how long a stock lasts and what is left. [h, mL]."""
        refills = [
            (entry.at_us, entry.detail.holds_l * ML_PER_L)
            for entry in self._journal.log.entries(self._farm.name, end_us=int(at_us[-1]), kinds=["refill"])
            if isinstance(entry.detail, Refill) and entry.detail.stock == stock.name
        ]
        nothing = np.full(len(at_us), np.nan)
        if not refills:
            return nothing, nothing
        since_us = min(int(at_us[0]) - PACE_US, max((at for at, _ in refills if at <= at_us[0]), default=refills[0][0]))
        since_us = since_us // HOUR_US * HOUR_US
        counters = [_Counted.of(self._farm, self._store, series, since_us, int(at_us[-1])) for series in one.by]
        if not any(len(counter.ends_us) for counter in counters):
            return nothing, nothing
        paces = np.stack([counter.per_h(at_us) for counter in counters])
        per_h = np.where(np.isnan(paces).all(axis=0), np.nan, np.nansum(paces, axis=0))

        def counted(until_us: Times) -> Floats:
            return np.asarray(np.sum([counter.until(until_us) for counter in counters], axis=0), float)

        place = np.searchsorted(np.array([at for at, _ in refills]), at_us, side="right") - 1
        held = np.array([volume for _, volume in refills])[place]
        filled_us = np.array([at for at, _ in refills])[place]
        left = np.where(place >= 0, np.maximum(held - (counted(at_us) - counted(filled_us)), 0.0), np.nan)
        with np.errstate(divide="ignore", invalid="ignore"):
            hours = np.where(left <= 0.0, 0.0, left / per_h)
        return hours, left

    def _tank(self, one: _Watched, at_us: Times) -> tuple[Floats, Floats]:
        """Return for each hour how long a reservoir lasts by its level's fall, and the level. [h, its unit]."""
        back_us = FALL_H * HOUR_US
        sums = self._store.aggregate(one.series, int(at_us[0]) - back_us - HOUR_US, int(at_us[-1]), HOUR_US)
        level = np.full((int(at_us[-1] - at_us[0]) + back_us) // HOUR_US + 1, np.nan)
        place = (sums.time_us + HOUR_US - (at_us[0] - back_us)) // HOUR_US
        inside = (place >= 0) & (place < len(level)) & (sums.count > 0)
        level[place[inside]] = sums.mean[inside]
        now, then = level[FALL_H:], level[:-FALL_H]
        per_h = (then - now) / FALL_H
        with np.errstate(divide="ignore", invalid="ignore"):
            hours = np.where(np.isnan(per_h), np.nan, np.where(per_h > 0.0, now / per_h, math.inf))
        return np.minimum(hours, 1e6), now

    def _detail(self, one: _Watched, worst: Excursion, left: float) -> dict[str, object]:
        hours = "no longer" if worst.extreme < 1.0 else f"about {worst.extreme:.0f} h"
        if one.stock is not None:
            text = (
                f"{one.stock.label} runs out: {left / ML_PER_L:.1f} L left by its last refill and the doser's count, "
                f"for {hours} at the pace of the last three days."
            )
            step, what, unit = f"Fill {one.stock.label}, and write the refill down.", one.stock.label, "h"
        else:
            quantity = one.series.registered
            text = (
                f"{self._farm.zone_label(one.series.zone)} runs empty: {left:.0f} {quantity.display_unit} left, for "
                f"{hours} as it fell over the last {FALL_H} hours."
            )
            step, what, unit = "Look at the feed water, the drain valve and below the tank.", quantity.label, "h"
        return detail_of(
            self._farm, AlarmKind.RUNNING_OUT, worst.onset_us, text, series=one.series, what=what, limit=one.limit_h,
            worst=round(worst.extreme, 1), first_step=step,
        ) | {"unit": unit}  # fmt: skip


@dataclass(frozen=True)
class _Counted:
    """What a counter had counted by the ends of the hours in which it told anything. [mL]."""

    ends_us: Times
    total: Floats

    @classmethod
    def of(cls, farm: Farm, store: ReadingStore, series: Series, since_us: int, end_us: int) -> _Counted:
        sums = store.aggregate(series, since_us, end_us, HOUR_US)
        came = sums.count > 0
        shown = np.stack([sums.first[came], sums.last[came]], axis=1).ravel()
        steps = np.nan_to_num(increments(shown, farm.described[series].rolls_over)).reshape(-1, 2).sum(axis=1)
        return cls(sums.time_us[came] + HOUR_US, np.concatenate([[0.0], np.cumsum(steps)]))

    def until(self, at_us: Times) -> Floats:
        return np.asarray(self.total[np.searchsorted(self.ends_us, at_us, side="right")], float)

    def per_h(self, at_us: Times) -> Floats:
        """Return the pace of the last days; NaN while too few hours told anything. [mL/h]."""
        now, then = (np.searchsorted(self.ends_us, one, side="right") for one in (at_us, at_us - PACE_US))
        used = self.until(at_us) - self.until(at_us - PACE_US)
        return np.where(now - then >= LEAST_PACE_H, used / np.maximum(now - then, 1), np.nan)


def _all_watched(farm: Farm) -> list[_Watched]:
    found = [
        _Watched(f"{AlarmKind.RUNNING_OUT}/stock/{one.name}", tuple(drawing), farm.alarms.stock_lasts_h, one)
        for one in farm.equipment.stocks
        if (drawing := counters_of(farm, one.name))
    ]
    reservoir = farm.equipment.reservoir
    if reservoir is not None:
        levels = [*farm.series_of(reservoir.zone, "solution_volume"), *farm.series_of(reservoir.zone, "solution_level")]
        if levels:
            name = f"{AlarmKind.RUNNING_OUT}/tank/{reservoir.zone}"
            found.append(_Watched(name, (levels[0],), farm.alarms.tank_lasts_h, None))
    return found
