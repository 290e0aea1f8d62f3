"""Moving readings from one store to another, whatever their engines, and proof that they arrived."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns, Reading, Series
from store.contract import Known, Origin, ReadingStore

DAY_US = 86_400_000_000
BATCH = 5_000  # readings in one call; our choice, no source
EXAMPLES = 5  # conflicts of a series that are kept for the report

OnProgress = Callable[[int, int, Series], None]
"""Called with the days done, the days in all (copied, then verified) and the series under way."""


@dataclass(frozen=True, slots=True)
class Checksum:
    """How many readings there are, and a sum that hangs on every time, value and flag but not on their order."""

    count: int
    sum: int

    def __add__(self, other: Checksum) -> Checksum:
        return Checksum(self.count + other.count, (self.sum + other.sum) % 2**64)


@dataclass(frozen=True, slots=True)
class CopiedSeries:
    """What became of one series' readings.

    ``stored`` are new in the target, ``present`` were there already; ``conflicting`` could not be kept,
    because the target holds something else at their times (``examples`` has the first few). ``source`` and
    ``target`` are the checksums of both sides after copying, over the source's span within the range.
    """

    known: Known
    stored: int
    present: int
    conflicting: int
    examples: tuple[Reading, ...]
    source: Checksum
    target: Checksum

    @property
    def same(self) -> bool:
        """Whether both sides hold the same readings."""
        return self.source == self.target


def copy_readings(
    source: ReadingStore,
    target: ReadingStore,
    farm: str,
    start_us: int,
    end_us: int,
    on_progress: OnProgress = lambda done, total, series: None,
) -> list[CopiedSeries]:
    """Copy a farm's readings in ``[start_us, end_us)``, then read both sides and compare.

    Nothing in the target is altered or removed: where it holds something else, that stands and is
    reported. Repeating is harmless, and is how a copy that was cut off goes on: a day that is the same on
    both sides is left alone. The target notes what it stores, so its watch works it off; the source's
    notes and the journal are not copied.

    Parameters
    ----------
    source, target : ReadingStore
        From where, and to where.
    farm : str
        The farm's name.
    start_us, end_us : int
        Range of time. [us since 1970 UTC]
    on_progress : callable
        Told after each day of each series.

    Returns
    -------
    copied : list of CopiedSeries
        One for each series of the farm that has readings in the range, in order of their keys.

    Raises
    ------
    ValueError
        If the source holds no reading of the farm in the range, or the target holds a measured series as
        a derived one or the other way round.
    StoreUnavailable, StoreUnusable
        See the engines; the same call may be repeated.
    """
    spans = [
        one._replace(first_us=max(one.first_us, start_us), last_us=min(one.last_us, end_us - 1))
        for one in source.known(farm)
        if one.first_us < end_us and one.last_us >= start_us
    ]
    if not spans:
        raise ValueError(f"the source holds no readings of a farm {farm!r} in that range")
    _refuse_other_origins(spans, target.known(farm))
    total, done = 2 * sum(len(_days(one)) for one in spans), 0
    copied = []
    for one in spans:
        tally = _Tally()
        for day in _days(one):
            _copy_day(source, target, one, day, tally)
            done += 1
            on_progress(done, total, one.series)
        copied.append((one, tally))
    target.settle([])  # what was replaced is durable from here on
    results = []
    for one, tally in copied:
        sums = [Checksum(0, 0), Checksum(0, 0)]
        for day in _days(one):
            sums = [
                sum_ + checksum(side.read(one.series, *day)) for sum_, side in zip(sums, (source, target), strict=True)
            ]
            done += 1
            on_progress(done, total, one.series)
        results.append(CopiedSeries(one, tally.stored, tally.present, tally.conflicting, tuple(tally.examples), *sums))
    return results


def checksum(columns: Columns) -> Checksum:
    """Return the checksum of readings; those of parts may be added up.

    Each reading's time, value and flag go through SplitMix64's mixing function [1]_, and the results are
    added modulo 2**64. NaN is one value, and so are 0.0 and -0.0. It finds accidents; it is no proof
    against someone who means to deceive.

    References
    ----------
    .. [1] G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators," 2014,
       doi:10.1145/2660193.2660195.
    """
    value = np.where(np.isnan(columns.value), np.nan, columns.value + 0.0)
    mixed = _mixed(columns.flag.astype(np.uint64))
    mixed = _mixed(mixed ^ np.ascontiguousarray(value).view(np.uint64))
    mixed = _mixed(mixed ^ columns.time_us.astype(np.int64).view(np.uint64))
    return Checksum(len(columns), int(mixed.sum(dtype=np.uint64)))


def _mixed(word: NDArray[np.uint64]) -> NDArray[np.uint64]:
    word = word + np.uint64(0x9E3779B97F4A7C15)
    word = (word ^ (word >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    word = (word ^ (word >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return word ^ (word >> np.uint64(31))


class _Tally:
    """Counts of one series while it is copied."""

    def __init__(self) -> None:
        self.stored = self.present = self.conflicting = 0
        self.examples: list[Reading] = []

    def conflict(self, readings: Iterable[Reading]) -> None:
        """Count readings that the target does not keep."""
        for one in readings:
            self.conflicting += 1
            if len(self.examples) < EXAMPLES:
                self.examples.append(one)


def _days(one: Known) -> list[tuple[int, int]]:
    """Return the UTC days of a span, cut to it, as half-open ranges."""
    starts = range(one.first_us - one.first_us % DAY_US, one.last_us + 1, DAY_US)
    return [(max(start, one.first_us), min(start + DAY_US, one.last_us + 1)) for start in starts]


def _refuse_other_origins(spans: Iterable[Known], held: Iterable[Known]) -> None:
    origins = {one.series: one.origin for one in held}
    for series, origin, *_ in spans:
        if origins.get(series, origin) is not origin:
            raise ValueError(
                f"{series.farm}/{series.key} is {origin} in the source but {origins[series]} in the target"
            )


def _copy_day(source: ReadingStore, target: ReadingStore, one: Known, day: tuple[int, int], tally: _Tally) -> None:
    wanted, held = source.read(one.series, *day), target.read(one.series, *day)
    if not len(wanted):
        return
    if checksum(wanted) == checksum(held):
        tally.present += len(wanted)
    elif one.origin is Origin.MEASURED:
        rows = list(_readings(one.series, wanted))
        for place in range(0, len(rows), BATCH):
            result = target.append(rows[place : place + BATCH])
            tally.stored += result.stored
            tally.present += result.duplicate
            tally.conflict(result.conflicting)
    else:
        _copy_derived(target, one.series, wanted, held, tally)


def _copy_derived(target: ReadingStore, series: Series, wanted: Columns, held: Columns, tally: _Tally) -> None:
    """Put a day's derived readings in place, unless the target holds any that the source does not."""
    rows = {one.time_us: one for one in _readings(series, wanted)}
    there = {one.time_us: one for one in _readings(series, held)}
    others = [time_us for time_us, one in there.items() if not _alike(one, rows.get(time_us))]
    if others:
        # A derived stretch is replaced as a whole, so it is kept as a whole.
        tally.present += len(there) - len(others)
        tally.conflict(one for time_us, one in rows.items() if not _alike(one, there.get(time_us)))
        return
    target.replace(series, int(wanted.time_us[0]), int(wanted.time_us[-1]) + 1, wanted)
    tally.stored += len(rows) - len(there)
    tally.present += len(there)


def _alike(one: Reading, other: Reading | None) -> bool:
    """Whether two readings of one time agree; NaN agrees with NaN."""
    if other is None or one.flag != other.flag:
        return False
    return one.value == other.value or (math.isnan(one.value) and math.isnan(other.value))


def _readings(series: Series, columns: Columns) -> Iterator[Reading]:
    rows = zip(columns.time_us.tolist(), columns.value.tolist(), columns.flag.tolist(), strict=True)
    return (Reading(series, *row) for row in rows)
