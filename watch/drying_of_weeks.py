"""Drying per hour of compressor run against the farm's first healthy weeks, from the sheets of the days before."""

from __future__ import annotations

import math
from typing import Any

from analytics.amounts import Amount
from analytics.drying_baseline import BASELINE_DAYS, RECENT_DAYS, against_baseline
from watch.day_data import DayData

SEARCHED_DAYS = 2 * BASELINE_DAYS  # in so many first days the healthy ones are looked for; our choice, no source
ENOUGH_COVERAGE = 0.95  # below it a day says too little; our choice, no source

UNITS, COMPLETE = ("climate", "air_conditioners"), ("complete",)  # where in a sheet they stand

Found = tuple[float, bool]  # kg an hour of run, and whether the day may be part of the baseline


def drying_against_first_weeks(data: DayData, today: Amount) -> dict[str, Any] | None:
    """Return how the last days' drying compares with the first healthy weeks'; None until there is enough of both.

    Of a day that is over only: part of a day is not like a whole one. Days before count as their sheets stand: one
    that late readings change later is not followed.
    """
    if data.until_us < data.end_us:
        return None
    before = [day for day in data.journal.days(data.farm.name) if day < data.day]
    parts = data.journal.day_sheet_parts(
        data.farm.name, {*before[:SEARCHED_DAYS], *before[1 - RECENT_DAYS :]}, UNITS, COMPLETE
    )
    first: list[Found] = []
    for day in before[:SEARCHED_DAYS]:
        if sum(healthy for _, healthy in first) == BASELINE_DAYS:
            break
        first.append(_found(*parts[day]))
    last = [_found(*parts[day]) for day in before[len(first) :][1 - RECENT_DAYS :]]
    days = [*first, *last, (today.value if today.coverage >= ENOUGH_COVERAGE else math.nan, True)]
    found = against_baseline([value for value, _ in days], [healthy for _, healthy in days])
    if math.isnan(found.ratio.value):
        return None
    return {
        "baseline_kg_per_h": found.baseline.value,
        "baseline_give_or_take": found.baseline.give_or_take,
        "now_kg_per_h": found.now.value,
        "now_give_or_take": found.now.give_or_take,
        "ratio": found.ratio.value,
        "ratio_give_or_take": found.ratio.give_or_take,
    }


def _found(units: list[dict[str, Any]] | None, complete: bool) -> Found:
    """Return a day's drying as its sheet has it; healthy where the drain and the air agree on the water."""
    drying = units[0]["water"]["per_run_hour"] if units else None
    if not units or drying is None or (drying["coverage"] or 0.0) < ENOUGH_COVERAGE:
        return math.nan, False
    compared = units[0]["water"]["agreement"]
    return drying["kg_per_h"], complete and (compared is None or compared["agree"] is not False)
