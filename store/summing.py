"""Readings summed up over equal stretches of time: from readings, and from shorter stretches to longer ones.

A mean is a sum over a count, and a floating-point sum depends on the order of its terms. So that a kept
rollup answers to the last bit what the readings themselves would, sums always climb the same ladder: readings
to minutes, minutes to hours, hours to what was asked for, as far as the lengths divide each other.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from farm.flags import Flag
from farm.readings import Columns
from store.contract import Buckets

MINUTE_US = 60_000_000
HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
RUNGS = (MINUTE_US, HOUR_US)


@dataclass(frozen=True, slots=True)
class Sums:
    """Stretches in ascending time, as parallel arrays; see `store.contract.Buckets` for what counts.

    ``total`` is the sum of the readings that count; it, ``low``, ``high``, ``first`` and ``last`` are NaN
    where ``count`` is 0.
    """

    time_us: NDArray[np.int64]
    count: NDArray[np.int64]
    flag: NDArray[np.uint8]
    total: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    first: NDArray[np.float64]
    last: NDArray[np.float64]

    def __len__(self) -> int:
        return len(self.time_us)

    def between(self, start_us: int, end_us: int) -> Sums:
        """Return the stretches that begin in ``[start_us, end_us)``."""
        inside = slice(*np.searchsorted(self.time_us, (start_us, end_us)))
        return Sums(*(getattr(self, name)[inside] for name in SUMS))

    def without(self, stretches_us: NDArray[np.int64]) -> Sums:
        """Return all but the stretches that begin at the given instants."""
        keep = ~np.isin(self.time_us, stretches_us)
        return Sums(*(getattr(self, name)[keep] for name in SUMS))


SUMS = tuple(field.name for field in fields(Sums))


def joined(parts: Sequence[Sums]) -> Sums:
    """Return stretches of several parts, none of them in two, as one in ascending time."""
    whole = Sums(*(np.concatenate([getattr(part, name) for part in parts]) for name in SUMS))
    order = np.argsort(whole.time_us, kind="stable")
    return Sums(*(getattr(whole, name)[order] for name in SUMS))


def rung_below(every_us: int) -> int | None:
    """Return the longest kept stretch that ``every_us`` is a whole multiple of; None where there is none."""
    return max((rung for rung in RUNGS if every_us % rung == 0), default=None)


def summed(readings: Columns, every_us: int) -> Sums:
    """Return readings, in ascending time, summed up over stretches of ``every_us``."""
    counts = (readings.flag < Flag.FAIL) & ~np.isnan(readings.value)
    value = np.where(counts, readings.value, np.nan)
    missing = np.where(readings.flag < Flag.FAIL, np.uint8(Flag.MISSING), readings.flag)
    flag = np.where(counts, readings.flag, missing)
    return climbed(Sums(readings.time_us, counts.astype(np.int64), flag, value, value, value, value, value), every_us)


def climbed(sums: Sums, every_us: int) -> Sums:
    """Return stretches summed up over longer ones, of a length that theirs divides."""
    for rung in RUNGS:
        if rung < every_us and every_us % rung == 0:
            sums = _step(sums, rung)
    return _step(sums, every_us)


@np.errstate(over="ignore", invalid="ignore")  # values near the largest number sum up to infinity
def _step(sums: Sums, every_us: int) -> Sums:
    """Return stretches summed up once, in their order."""
    if not len(sums):
        return sums
    begin = sums.time_us // every_us * every_us
    new = np.append(True, begin[1:] != begin[:-1])
    if new.all():  # nothing to add together
        return Sums(begin, *(getattr(sums, name) for name in SUMS[1:]))
    firsts = np.flatnonzero(new)
    flag = np.maximum.reduceat(sums.flag, firsts)
    count = np.add.reduceat(sums.count, firsts)
    good = np.flatnonzero(sums.count)
    numbers = [np.full(len(firsts), np.nan) for _ in range(5)]
    if len(good):
        group = np.cumsum(new)[good] - 1
        starts = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
        ends = np.append(starts[1:], len(group)) - 1
        place = group[starts]
        flag[place] = np.maximum.reduceat(sums.flag[good], starts)
        for column, filled in zip(
            numbers,
            (
                np.add.reduceat(sums.total[good], starts),
                np.minimum.reduceat(sums.low[good], starts),
                np.maximum.reduceat(sums.high[good], starts),
                sums.first[good[starts]],
                sums.last[good[ends]],
            ),
            strict=True,
        ):
            column[place] = filled
    return Sums(begin[firsts], count, flag, *numbers)


def as_buckets(sums: Sums) -> Buckets:
    """Return stretches as the contract gives them."""
    mean = np.divide(sums.total, sums.count, out=np.full(len(sums), np.nan), where=sums.count > 0)
    return Buckets(sums.time_us, sums.count, mean, sums.low, sums.high, sums.flag, sums.first, sums.last)
