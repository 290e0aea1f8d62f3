"""The day sheet's section on quality: how many readings came, how good they are, and whom they contradict."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.flagging import Flags
from analytics.gaps import gaps
from analytics.outliers import noise_level
from analytics.quality import reach_s, verdicts
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series
from watch.day_data import DayData
from watch.impossible import impossible
from watch.judged import as_arrived
from watch.quality_limits import limits_of
from watch.siblings import disagreements, drifts

DAY_US = 86_400 * MICROSECONDS_PER_SECOND
NAMES = {"good": Flag.GOOD, "suspect": Flag.SUSPECT, "fail": Flag.FAIL, "not_evaluated": Flag.NOT_EVALUATED}


def quality(data: DayData) -> dict[str, Any]:
    """Return a row a described series, silent ones too, and what the day's readings say that cannot be."""
    disagreeing, drifting = disagreements(data), drifts(data)
    rows = [
        _row(data, series) | {"siblings": disagreeing.get(series), "drift": drifting.get(series)}
        for series in data.farm.described
    ]
    return {"series": rows, "impossible": impossible(data)}


def _row(data: DayData, series: Series) -> dict[str, Any]:
    """Return what the tests say of one series' readings as they arrived."""
    limits = limits_of(data.farm, series)
    reach_us = int(reach_s(limits)[0] * MICROSECONDS_PER_SECOND)
    has_noise = limits.spike_suspect < math.inf
    before_us = max(reach_us, DAY_US) if has_noise else reach_us
    columns = as_arrived(data.store).read(series, data.start_us - before_us, data.until_us)
    value = np.where(columns.flag == Flag.MISSING, np.nan, columns.value)
    within_reach = slice(int(np.searchsorted(columns.time_us, data.start_us - reach_us)), None)
    inside = columns.time_us >= data.start_us
    time_us = columns.time_us[within_reach]
    made = verdicts(time_us, value[within_reach], limits, int(np.searchsorted(time_us, data.start_us)))
    counts = _counts(made.flag)
    span_s = (data.until_us - data.start_us) / MICROSECONDS_PER_SECOND
    count = sum(counts.values())
    expected = max(count, int(span_s / data.farm.described[series].cadence_s))
    missing = expected - count
    silences = gaps(columns.time_us[~np.isnan(value)], data.start_us, data.until_us, limits.gap_s)
    before = (columns.time_us >= data.start_us - DAY_US) & ~inside
    noise, noise_before = (
        noise_level(columns.time_us[part], value[part], limits.gap_s) if has_noise else math.nan
        for part in (inside, before)
    )
    return {
        "key": series.key,
        "label": data.farm.label_of(series),
        "unit": series.registered.unit,
        "count": count,
        "expected_count": expected,
        "missing_count": missing,
        **{f"{name}_count": number for name, number in counts.items()},
        "missing_share": missing / expected if expected else None,
        **{f"{name}_share": number / expected if expected else None for name, number in counts.items()},
        "tests": {
            test: {name: count for name, count in _counts(made.tests[test]).items() if name != "not_evaluated"}
            for test in limits.tests
            if test != "gap"
        },
        "gap_count": silences.number,
        "longest_gap_s": silences.longest_s,
        "gaps_s": silences.total_s,
        "noise": None if math.isnan(noise) else noise,
        "noise_before": None if math.isnan(noise_before) else noise_before,  # in the 24 h before the day
    }


def _counts(flags: Flags) -> dict[str, int]:
    found = np.bincount(flags, minlength=int(Flag.MISSING) + 1).tolist()
    return {name: found[flag] for name, flag in NAMES.items()}
