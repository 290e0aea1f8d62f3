"""What the sensors of a farm report during a block of minutes, and on its way to whoever listens."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.flags import Flag
from farm.readings import Columns, Series, instant


class Snapshot(NamedTuple):
    """What was reported at one instant: (key, value) in the description's order, in the registry's units.

    ``stamps`` holds each value's own time where a clock is wrong, else nothing.
    """

    time_us: int
    values: list[tuple[str, float]]
    stamps: list[int] | None = None

    @property
    def time(self) -> datetime:
        """The instant, aware, in UTC."""
        return instant(self.time_us)


class Readings(NamedTuple):
    """Every described series' readings of a block, a row a series and a column a minute.

    Where ``came`` is False there is no reading. ``stamp_us`` is the time that a reading carries, of the
    same shape as ``value``; None while every clock is right and it is ``time_us``.
    """

    keys: tuple[str, ...]
    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    came: NDArray[np.bool_]
    stamp_us: NDArray[np.int64] | None = None

    @property
    def minutes(self) -> int:
        """How many instants there are."""
        return len(self.time_us)

    def between(self, first: int, last: int) -> Readings:
        """Return the instants from number ``first`` up to, not including, ``last``."""
        part = slice(first, last)
        stamps = None if self.stamp_us is None else self.stamp_us[:, part]
        return Readings(self.keys, self.time_us[part], self.value[:, part], self.came[:, part], stamps)

    def only(self, came: NDArray[np.bool_]) -> Readings:
        """Return the same with fewer readings: those that ``came`` says too."""
        return self._replace(came=self.came & came)

    def stamps(self, row: int) -> NDArray[np.int64]:
        """Return the times that a series' readings carry."""
        return self.time_us if self.stamp_us is None else self.stamp_us[row]

    def snapshots(self) -> Iterator[Snapshot]:
        """Yield what was reported at each instant at which something was."""
        values, came = self.value.T.tolist(), self.came.T.tolist()
        stamps = None if self.stamp_us is None else self.stamp_us.T.tolist()
        for minute, time_us in enumerate(self.time_us.tolist()):
            here = came[minute]
            if all(here):
                chosen = list(zip(self.keys, values[minute], strict=True))
                own = None if stamps is None else stamps[minute]
            else:
                chosen = [
                    one for one, there in zip(zip(self.keys, values[minute], strict=True), here, strict=True) if there
                ]
                own = (
                    None if stamps is None else [one for one, there in zip(stamps[minute], here, strict=True) if there]
                )
            if chosen:
                yield Snapshot(time_us, chosen, own)


def columns_by_series(farm: str, blocks: Sequence[Readings]) -> dict[Series, Columns]:
    """Return readings by series, in ascending time, as a store would hold them.

    Of several readings of one series that carry the same time (a clock was put back), the first to arrive
    stays. The flag is "not evaluated" throughout: nobody has tested them.
    """
    found: dict[Series, Columns] = {}
    if not blocks:
        return found
    straight = all(block.stamp_us is None for block in blocks)
    for row, key in enumerate(blocks[0].keys):
        came = np.concatenate([block.came[row] for block in blocks])
        time_us = np.concatenate([block.stamps(row) for block in blocks])[came]
        value = np.concatenate([block.value[row] for block in blocks])[came]
        if not straight or (len(time_us) > 1 and (np.diff(time_us) <= 0).any()):
            time_us, first = np.unique(time_us, return_index=True)
            value = value[first]
        flag = np.full(len(time_us), Flag.NOT_EVALUATED, np.uint8)
        found[Series.parse(farm, key)] = Columns(time_us, value, flag)
    return found
