"""What a store of readings promises. Every engine keeps it; one conformance suite checks them all.

Times are whole microseconds since 1970 UTC. Ranges are half-open, ``[start_us, end_us)``.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import NamedTuple, Protocol, Self

import numpy as np
from numpy.typing import NDArray

from farm.readings import Columns, Reading, Series


class StoreUnavailable(Exception):
    """The store cannot serve now (disk full, locked, no permission): the same call may be repeated."""


class StoreUnusable(Exception):
    """The store cannot be used as it is (newer format, damaged, not ours): repeating does not help."""


class DayDamaged(StoreUnusable):
    """Readings of a day are kept in a file that is missing or damaged; all other readings can be read."""


class Origin(StrEnum):
    """Where a series' readings come from."""

    MEASURED = "measured"
    DERIVED = "derived"


@dataclass(frozen=True, slots=True)
class Appended:
    """What became of appended readings: every one is either stored, a duplicate or conflicting."""

    stored: int
    duplicate: int
    conflicting: tuple[Reading, ...]


class Known(NamedTuple):
    """A series that the store holds, with the span of its readings."""

    series: Series
    origin: Origin
    first_us: int
    last_us: int


class Touched(NamedTuple):
    """A note that stored measured readings changed between two instants, both included.

    ``version`` tells a note from a later one on the same window.
    """

    series: Series
    first_us: int
    last_us: int
    version: int


@dataclass(frozen=True, slots=True)
class Buckets:
    """Readings of one series summed up over equal stretches of time; empty stretches are left out.

    ``time_us`` is the start of each stretch, a whole multiple of its length since 1970 UTC.
    Readings flagged FAIL or MISSING, or with a NaN value, count in ``flag`` alone: ``count`` is the
    number of the others, and ``mean``, ``low``, ``high``, ``first`` and ``last`` (by time) are theirs (NaN
    where ``count`` is 0).
    ``flag`` is the worst flag of the readings that counted. Where none did it is the worst of FAIL and
    MISSING among them; a NaN under any other flag stands for MISSING.
    """

    time_us: NDArray[np.int64]
    count: NDArray[np.int64]
    mean: NDArray[np.float64]
    low: NDArray[np.float64]
    high: NDArray[np.float64]
    flag: NDArray[np.uint8]
    first: NDArray[np.float64]
    last: NDArray[np.float64]


class ReadingStore(Protocol):
    """Readings keyed by (series, time). Every method may raise StoreUnavailable.

    A call that needs readings which are damaged at rest raises StoreUnusable (DayDamaged where others are
    not affected): no answer is ever silently short of readings.
    """

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings durably before returning; on an error store none of them.

        Any order, any age. Repeating a call is harmless: an identical reading (same value and flag)
        counts as duplicate; one whose (series, time) already holds something else is left out and
        returned as conflicting, so that one bad reading cannot block a redelivered batch. The rule
        holds within one call too: the first of two stands. In the same commit, notes which windows
        changed, for ``touched``; duplicates and conflicts note nothing.

        Raises ValueError if a value is not finite, a flag is not one of QARTOD's, or a series is a
        derived one (a series stays what its first reading made it): nothing is stored.
        """

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in ``[start_us, end_us)``.

        All or nothing, and there if this program dies; it withstands a loss of power from the next ``settle`` on.
        NaN values are allowed (a gap that says why by its flag). Notes nothing. ``latest`` and ``known`` follow what
        remains.

        Raises ValueError if times are not strictly ascending and inside the range, a flag is not one
        of QARTOD's, or the series is a measured one.
        """

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range, ascending in time; empty for an unknown series."""

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant; None where there is none."""

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return a series' readings in a range, summed up over stretches of ``every_us``.

        An engine may keep sums of old readings for longer than the readings themselves.

        Raises ValueError if ``every_us`` is not positive.
        """

    def latest(self, farm: str) -> dict[Series, Reading]:
        """Return the newest reading by its own time of each series of a farm."""

    def known(self, farm: str) -> list[Known]:
        """Return the series that hold readings, in order of their keys."""

    def touched(self, farm: str, limit: int) -> list[Touched]:
        """Return up to ``limit`` notes that are not settled yet, oldest first.

        Notes on the same series and hour are merged: the list stays short however much arrives. A note
        that grew is as old as its last growth, so that none waits for ever behind busy ones.
        """

    def settle(self, notes: Collection[Touched]) -> None:
        """Forget notes that have been worked off; one that grew since it was read stays.

        What was replaced before is durable then, also where there are no notes to forget.
        """

    def close(self) -> None:
        """Release files and connections. Closing twice is harmless."""

    def __enter__(self) -> Self: ...

    def __exit__(self, *exc: object) -> None: ...
