"""Readings remembered for one round of work, in which the same stretches are asked for again and again."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.layer import Layer

MOST_READINGS = 2_000_000  # kept at once; our choice, no source: about 35 MB


@dataclass(frozen=True, slots=True)
class _Stretch:
    start_us: int
    end_us: int
    columns: Columns


class Remembered(Layer):
    """A store that reads each stretch once, until told to forget; what is written to it is read anew.

    For one thread. What arrives in the meantime may not show before ``forget``; the store's own notes
    lead to it then.
    """

    def __init__(self, store: ReadingStore) -> None:
        super().__init__(store)
        self._held: dict[Series, _Stretch] = {}
        self._readings = 0

    def forget(self) -> None:
        """Read everything anew from now on."""
        self._held.clear()
        self._readings = 0

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range."""
        if start_us >= end_us:
            return Columns.empty()
        held = self._held.get(series)
        if held is None or start_us > held.end_us or end_us < held.start_us:
            held = _Stretch(start_us, end_us, self.beneath.read(series, start_us, end_us))
            self._hold(series, held)
        elif start_us < held.start_us or end_us > held.end_us:
            parts = [held.columns]
            if start_us < held.start_us:
                parts.insert(0, self.beneath.read(series, start_us, held.start_us))
            if end_us > held.end_us:
                parts.append(self.beneath.read(series, held.end_us, end_us))
            held = _Stretch(min(start_us, held.start_us), max(end_us, held.end_us), _joined(parts))
            self._hold(series, held)
        columns = held.columns
        here = slice(*np.searchsorted(columns.time_us, [start_us, end_us]))
        return Columns(columns.time_us[here], columns.value[here], columns.flag[here])

    def _hold(self, series: Series, stretch: _Stretch) -> None:
        if self._readings > MOST_READINGS:
            self.forget()
        self._held[series] = stretch
        self._readings += len(stretch.columns)

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range."""
        self._held.pop(series, None)
        self.beneath.replace(series, start_us, end_us, columns)


def _joined(parts: list[Columns]) -> Columns:
    return Columns(
        np.concatenate([part.time_us for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.flag for part in parts]),
    )
