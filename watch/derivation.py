"""How one series follows from others, by a formula over their readings as they stand at each instant."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from farm.description import Farm
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Derivation:
    """How one derived series follows from measured ones.

    ``formula`` takes one array a series of ``inputs``, aligned in time, and returns the values. A
    value is made at every time at which any input has a reading, from the newest reading of each
    input that is not older than three of its cadences.
    """

    output: Series
    inputs: tuple[Series, ...]
    formula: Callable[..., Values]

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return for how long a reading of an input is held: three of its cadences."""
        return max_age_us(farm, series)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``; they depend on nothing but the inputs' readings.

        The flag is the worst of the inputs'. Where an input is missing there is no reading.
        """
        ages = [max_age_us(farm, series) for series in self.inputs]
        read = [store.read(series, start_us - age, end_us) for series, age in zip(self.inputs, ages, strict=True)]
        at_us = np.unique(np.concatenate([columns.time_us for columns in read]))
        at_us = at_us[at_us >= start_us]
        if len(at_us) == 0:
            return Columns.empty()
        held = [
            hold_as_of(columns.time_us, usable(columns), at_us, age) for columns, age in zip(read, ages, strict=True)
        ]
        value = self.formula(*(one.value for one in held))
        rank = np.zeros(len(at_us), np.uint8)
        for one, columns in zip(held, read, strict=True):
            found = one.position >= 0
            rank[found] = np.maximum(rank[found], FLAG_RANK[columns.flag[one.position[found]]])
        known = np.isfinite(value)
        return Columns(at_us[known], value[known], FLAG_OF_RANK[rank[known]])


class Derived(Protocol):
    """A series that follows from others: what it rests on, and its readings over a range."""

    @property
    def output(self) -> Series:
        """The derived series."""

    @property
    def inputs(self) -> tuple[Series, ...]:
        """The series that it rests on."""

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return how far after a reading of one of ``inputs`` there are derived readings that rest on it."""

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``."""


def partner(one: Series, others: Sequence[Series]) -> Series | None:
    """Return the series of the same sensor, or the only one there is; None where that leaves a choice."""
    same = [other for other in others if other.sensor == one.sensor]
    return same[0] if same else others[0] if len(others) == 1 else None
