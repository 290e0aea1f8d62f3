"""Indicators that only people can give: samples by hand, and what a bottle should still hold since it was refilled."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analytics.findings.indicator import Indicator
from analytics.findings.scene import HOUR_US
from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store import log_entries
from store.contract import ReadingStore
from store.journal import Journal
from watch.stocks_of_day import counters_of

SAMPLE_HOLDS_US = 7 * 24 * HOUR_US  # a sample tells of its sensor for so long; our choice, no source
NOTICED = 0.5  # of both instruments' give or take together; our choice, no source
MOST_LEFT = 0.15  # of a bottle: above, it is of no interest how much there is; our choice, no source


def written_indicators(
    farm: Farm, journal: Journal, arrived: ReadingStore, origin_us: int, end_us: int
) -> Iterator[Indicator]:
    """Yield what the journal's samples and refills say at each hour of ``[origin_us, end_us)``, both full hours."""
    hours = (end_us - origin_us) // HOUR_US
    samples: dict[Series, list[tuple[int, float, float]]] = {}
    refilled: dict[str, tuple[int, float]] = {}
    entries = journal.log.entries(farm.name, end_us=end_us, kinds=("grab_sample", "refill"))
    for entry in entries:
        if isinstance(entry.detail, log_entries.GrabSample):
            series = Series.parse(farm.name, entry.detail.series)
            if series in farm.described and entry.at_us >= origin_us - SAMPLE_HOLDS_US:
                by_hand = entry.detail.plus_or_minus or series.registered.accuracy or 0.0
                samples.setdefault(series, []).append((entry.at_us, entry.detail.value, by_hand))
        elif isinstance(entry.detail, log_entries.Refill):
            refilled[entry.detail.stock] = entry.at_us, entry.detail.holds_l
    for series, several in samples.items():
        yield _gap(farm, arrived, series, several, origin_us, hours)
    yield from _left(farm, arrived, refilled, origin_us, hours)


def _gap(
    farm: Farm,
    arrived: ReadingStore,
    series: Series,
    samples: list[tuple[int, float, float]],
    origin_us: int,
    hours: int,
) -> Indicator:
    """Return a sensor's reading less the newest sample, from that sample on until the next or for a week."""
    described = farm.described[series]
    age_us = int(described.cadence_s * SILENT_AFTER_CADENCES * MICROSECONDS_PER_SECOND)
    accuracy = described.plus_or_minus or series.registered.accuracy or 0.0
    value = np.full(hours, np.nan)
    least = 0.0
    for at_us, by_hand, give_or_take in samples:
        read = arrived.read(series, at_us - age_us, at_us + 1)
        usable = read.value[read.flag != Flag.MISSING]
        first = max((at_us - origin_us) // HOUR_US, 0)
        if len(usable):
            value[first : max((at_us + SAMPLE_HOLDS_US - origin_us) // HOUR_US, 0)] = usable[-1] - by_hand
            least = max(least, NOTICED * math.hypot(accuracy, give_or_take))
    return Indicator("sample_gap", series.key, value, least or 1.0)


def _left(
    farm: Farm, arrived: ReadingStore, refilled: dict[str, tuple[int, float]], origin_us: int, hours: int
) -> Iterator[Indicator]:
    """Yield what the emptiest bottle of each role should still hold, as a share of it."""
    by_role: dict[str, list[np.ndarray]] = {}
    ends_us = origin_us + HOUR_US * np.arange(1, hours + 1)
    for stock in farm.equipment.stocks:
        if stock.name not in refilled:
            continue
        since_us, holds_l = refilled[stock.name]
        drawing = [_counted(arrived, one, since_us, ends_us) for one in counters_of(farm, stock.name)]
        taken_ml = [one for one in drawing if one is not None]
        if not taken_ml:
            continue
        left = 1.0 - np.sum(taken_ml, axis=0) / 1000.0 / holds_l
        by_role.setdefault(stock.role, []).append(np.where(ends_us > since_us, np.minimum(left, MOST_LEFT), np.nan))
    for role, several in by_role.items():
        yield Indicator(f"{role}_left", "", np.fmin.reduce(several))


def _counted(
    arrived: ReadingStore, counter: Series, since_us: int, ends_us: NDArray[np.int64]
) -> NDArray[np.float64] | None:
    """Return what a counter counted since an instant until each of some hours' ends; None where it told nothing."""
    sums = arrived.aggregate(counter, since_us - since_us % HOUR_US, int(ends_us[-1]), HOUR_US)
    known = sums.count > 0
    if not known.any():
        return None
    counts = sums.last[known]
    counted_ml = np.maximum(np.diff(counts, prepend=sums.first[known][0]), 0.0).cumsum()  # a reset counts nothing
    at = np.searchsorted(sums.time_us[known], ends_us, side="left") - 1
    return np.where(at >= 0, counted_ml[np.maximum(at, 0)], 0.0)
