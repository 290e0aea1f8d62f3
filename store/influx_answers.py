"""What InfluxDB 2 answers, made into readings, notes and sums."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.flags import Flag
from farm.readings import Columns, Reading, Series, microseconds
from store.contract import Buckets, Touched
from store.influx_text import GAP, READING

Row = Mapping[str, Any]
Part = tuple[int, int, float, float, float, int, float, float]  # start, count, mean, low, high, flag, first, last

SETTLED = "settled"
SUMS = ("count", "sum", "min", "max")  # asked for of each window and flag, with the window's start
ENDS = ("first", "last")  # the same, with the reading's own time: flags are put together by it
_FAULTY = (Flag.FAIL, Flag.MISSING)


class Stored(NamedTuple):
    """A reading as the bucket holds it; with a gap, the value is NaN."""

    time_us: int
    flag: int
    value: float

    @property
    def place(self) -> tuple[str, int, int]:
        """What identifies it in the bucket: measurement, flag and time."""
        return (GAP if math.isnan(self.value) else READING), self.flag, self.time_us


def stored(row: Row) -> Stored:
    """Return the reading of a row with ``_measurement``, ``_time``, ``_value`` and ``flag``."""
    value = math.nan if row["_measurement"] == GAP else row["_value"]
    return Stored(microseconds(row["_time"]), int(row["flag"]), value)


def series(row: Row) -> Series:
    """Return the series of a row with ``farm`` and ``series``."""
    return Series(row["farm"], *row["series"].split("/"))


def reading(row: Row) -> Reading:
    """Return a row as a reading."""
    one = stored(row)
    return Reading(series(row), one.time_us, one.value, one.flag)


def columns(readings: Iterable[Stored]) -> Columns:
    """Return readings as columns, in ascending time.

    Two readings of one time can only stand there while a derived stretch is being replaced, or after a
    crash then: the worse flag stands.
    """
    ordered = sorted(readings)
    return Columns.from_rows([
        (one.time_us, one.value, one.flag)
        for place, one in enumerate(ordered)
        if place + 1 == len(ordered) or ordered[place + 1].time_us != one.time_us
    ])  # fmt: skip


def window(version: int, first_us: int, last_us: int) -> str:
    """Return a note as the bucket holds it: its text sorts as its version does."""
    return f"{version:020d} {first_us} {last_us}"


def note(row: Row, of: Series) -> Touched | None:
    """Return the note of a row; None for one that is settled."""
    if row["_value"] == SETTLED:
        return None
    version, first_us, last_us = map(int, row["_value"].split(" "))
    return Touched(of, first_us, last_us, version)


def buckets(parts: Sequence[Part]) -> Buckets:
    """Return stretches as columns, in ascending time."""
    start, count, mean, low, high, flag, first, last = zip(*sorted(parts), strict=True) if parts else ((),) * 8
    return Buckets(
        np.array(start, np.int64),
        np.array(count, np.int64),
        np.array(mean, np.float64),
        np.array(low, np.float64),
        np.array(high, np.float64),
        np.array(flag, np.uint8),
        np.array(first, np.float64),
        np.array(last, np.float64),
    )


class _Stretch:
    """The sums of one stretch while they are put together from those of its flags."""

    def __init__(self) -> None:
        self.count, self.sum = 0, 0.0
        self.low, self.high = math.inf, -math.inf
        self.flag, self.faulty = 0, 0  # the worst of those that counted, and of the others
        self.first: tuple[float, int, float] = (math.inf, 0, math.nan)  # time and flag of a reading, and its value
        self.last: tuple[float, int, float] = (-math.inf, 0, math.nan)

    def add(self, name: str, flag: int, gap: bool, value: float, time_us: int) -> None:
        """Take in one sum, or the first or last, of the readings (or of the gaps) with one flag.

        Of two readings of one time, the worse flag's stands, as in `columns`.
        """
        if gap or flag in _FAULTY:
            self.faulty = max(self.faulty, flag if flag in _FAULTY else Flag.MISSING)
            return
        self.flag = max(self.flag, flag)
        if name == "count":
            self.count += int(value)
        elif name == "sum":
            self.sum += value
        elif name == "min":
            self.low = min(self.low, value)
        elif name == "max":
            self.high = max(self.high, value)
        elif name == "first":
            self.first = min(self.first, (time_us, -flag, value))
        else:
            self.last = max(self.last, (time_us, flag, value))

    def part(self, start_us: int) -> Part:
        """Return what `buckets` takes."""
        if not self.count:
            return start_us, 0, math.nan, math.nan, math.nan, self.faulty, math.nan, math.nan
        mean = self.sum / self.count
        return start_us, self.count, mean, self.low, self.high, self.flag, self.first[-1], self.last[-1]


def combined(rows: Iterable[Row], every_us: int) -> Buckets:
    """Return the buckets of what was asked of each window and flag: a result for each of `SUMS` and `ENDS`.

    A window that the range cuts starts with the range, so its start is moved back to the whole multiple.
    """
    stretches: dict[int, _Stretch] = {}
    for row in rows:
        time_us = microseconds(row["_time"])
        stretch = stretches.setdefault(time_us - time_us % every_us, _Stretch())
        stretch.add(row["result"], int(row["flag"]), row["_measurement"] == GAP, row["_value"], time_us)
    return buckets([stretch.part(start_us) for start_us, stretch in stretches.items()])


def summed(readings: Columns, every_us: int) -> Buckets:
    """Return the buckets of readings."""
    stretches: dict[int, _Stretch] = {}
    rows = zip(readings.time_us.tolist(), readings.value.tolist(), readings.flag.tolist(), strict=True)
    for time_us, value, flag in rows:
        stretch = stretches.setdefault(time_us - time_us % every_us, _Stretch())
        for name in SUMS + ENDS:
            stretch.add(name, flag, math.isnan(value), 1 if name == "count" else value, time_us)
    return buckets([stretch.part(start_us) for start_us, stretch in stretches.items()])


def joined(first: Buckets, second: Buckets) -> Buckets:
    """Return the buckets of two ranges that follow each other."""
    pairs: list[tuple[NDArray[Any], NDArray[Any]]] = [
        (getattr(first, name), getattr(second, name)) for name in Buckets.__slots__
    ]
    return Buckets(*map(np.concatenate, pairs))
