"""What each stock bottle gave in a day, and for how long it lasts."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.counters import counted
from analytics.due import DaysLeft, days_left
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from store.log_entries import LogEntry, Refill
from watch.day_data import day_range
from watch.finding_details import EMPTY
from watch.first_checks import is_likely
from watch.recurrence import began_us, ended_us
from watch.reservoir import ReservoirDay
from watch.root_zone_books import ML_PER_L, number

PAST_DAYS = 14  # whose use is taken for that of the days to come; our choice, no source
QUARTER_US = 15 * 60 * MICROSECONDS_PER_SECOND
HOUR_US = 4 * QUARTER_US


def stocks(day: ReservoirDay) -> list[dict[str, Any]]:
    """Return one row a stock whose pump is counted.

    What is left is known from the last refill that somebody wrote down, and from all pumps that draw on the bottle,
    those of other zones too; ``used_ml`` is what this zone's pump turned. A counter tells what the pump turned: where a
    line draws air, less came. Days on which the bottle was found empty are not of its usual use.
    """
    data = day.data
    entries = data.journal.log.entries(data.farm.name, end_us=data.until_us, kinds=("refill",))
    rows = []
    for name, (stock, counter) in day.stocks.items():
        drawing = [one for one in counters_of(data.farm, name) if one in data.known]
        used = np.sum([_past_use(day, one) for one in drawing], axis=0)
        used[_found_empty(day, name, stock.role)] = math.nan
        full = days_left(stock.bottle_l * ML_PER_L, used)
        refill = _last_refill(entries, name)
        remaining_ml = math.nan
        if refill is not None:
            at_us, holds_l = refill
            since = np.nansum([day.counted_in(one, at_us, data.until_us) for one in drawing])
            remaining_ml = max(0.0, holds_l * ML_PER_L - float(since))
        left = days_left(remaining_ml, used)
        if remaining_ml == 0.0:
            left = DaysLeft(0.0, 0.0, 0.0)  # whatever its use
        rows.append(
            {
                "stock": name,
                "label": stock.label,
                "key": counter.key,
                "used_ml": number(day.counted_in(counter, data.start_us, data.until_us)),
                "used_ml_per_day": number(float(np.nanmean(used)) if np.isfinite(used).any() else math.nan),
                "days_counted": int(np.isfinite(used).sum()),
                "refilled": None if refill is None else iso_time(refill[0]),
                "remaining_ml": number(remaining_ml),
                "days_left": number(left.days),
                "days_left_soonest": number(left.soonest),
                "days_left_latest": number(left.latest),
                "full_bottle_lasts_days": number(full.days),
            }
        )
    return rows


def counters_of(farm: Farm, stock: str) -> list[Series]:
    """Return the counters of all pumps that draw on a stock, one in each zone that it is dosed to."""
    return [one for one in farm.described if one.quantity == "dosed_volume" and one.sensor == stock]


def _past_days(day: ReservoirDay) -> list[tuple[int, int]]:
    """Return when each of the past days began and ended, this one first."""
    return [day_range(day.data.farm, day.data.day - timedelta(days=back)) for back in range(PAST_DAYS)]


def _past_use(day: ReservoirDay, counter: Series) -> np.ndarray:
    """Return what a counter counted in each of the past days and in this one where it is over; NaN if not known.

    By sums over hours, or quarters of one where days do not begin on the hour; a reset within one is not seen.
    """
    data = day.data
    days = _past_days(day)
    on_the_hour = all(start_us % HOUR_US == 0 for start_us, _ in days)
    sums = data.store.aggregate(counter, days[-1][0] - HOUR_US, days[0][1], HOUR_US if on_the_hour else QUARTER_US)
    known = sums.count > 0
    at_us, ends = sums.time_us[known], np.stack([sums.first[known], sums.last[known]], axis=1)
    used = np.full(len(days), math.nan)
    for place, (start_us, end_us) in enumerate(days):
        first, last = np.searchsorted(at_us, [start_us, end_us])
        if end_us > data.until_us or first == 0 or last == first:
            continue
        if at_us[first - 1] < start_us - HOUR_US or at_us[last - 1] < end_us - HOUR_US:
            continue  # an hour without counts at either end is let pass
        shown = np.concatenate([[ends[first - 1, 1]], ends[first:last].ravel()])
        used[place] = counted(shown, data.farm.described[counter].rolls_over)
    return used


def _found_empty(day: ReservoirDay, name: str, role: str) -> NDArray[np.bool_]:
    """Return whether findings tell that a stock's bottle was empty, for each of the past days: its pump turns idly."""
    data = day.data
    days = _past_days(day)
    told = [
        one
        for one in data.journal.findings.first_causes(data.farm.name, days[-1][0], data.until_us)
        if one.cause == EMPTY[role] and is_likely(one.probability) and name in (one.places or (name,))
    ]
    return np.array([
        any(began_us(one) < end_us and (ended_us(one) or data.until_us) > start_us for one in told)
        for start_us, end_us in days
    ])  # fmt: skip


def _last_refill(entries: list[LogEntry], stock: str) -> tuple[int, float] | None:
    """Return when a stock was last refilled and what it then held."""
    several = [(one.at_us, one.detail.holds_l) for one in entries
               if isinstance(one.detail, Refill) and one.detail.stock == stock]  # fmt: skip
    return several[-1] if several else None
