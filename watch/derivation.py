"""How a derived series follows from others: what every such series has in common."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.alignment import hold_as_of, instants_of_any
from analytics.saturation import Phase
from farm.description import Farm
from farm.flags import Flag
from farm.quantities import ACCURACY_BY_LEVEL
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable

Values = NDArray[np.float64]

SATURATED = 100.0  # % RH


@dataclass(frozen=True)
class Derivation:
    """How one derived series follows from measured ones.

    ``formula`` takes one array a series of ``inputs``, aligned in time, and returns the values. A
    value is made at every time at which any input has a reading, from the newest reading of each
    input that is not older than three of its cadences. ``uncertainty``, where there is one, takes the
    same arrays and returns each value's give or take.
    """

    output: Series
    inputs: tuple[Series, ...]
    formula: Callable[..., Values]
    uncertainty: Callable[..., Values] | None = None

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return for how long a reading of an input is held: three of its cadences."""
        return max_age_us(farm, series)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``; they depend on nothing but the inputs' readings.

        The flag is the worst of the inputs', and at least SUSPECT where a relative humidity was over 100 %, which is
        worked with as 100 %. Where an input is missing there is no reading.
        """
        ages = [max_age_us(farm, series) for series in self.inputs]
        read = [store.read(series, start_us - age, end_us) for series, age in zip(self.inputs, ages, strict=True)]
        at_us = instants_of_any([columns.time_us for columns in read])
        at_us = at_us[at_us >= start_us]
        if len(at_us) == 0:
            return Columns.empty()
        held = [
            hold_as_of(columns.time_us, usable(columns), at_us, age) for columns, age in zip(read, ages, strict=True)
        ]
        value = self.formula(*(one.value for one in held))
        rank = np.zeros(len(at_us), np.uint8)
        for series, one, columns in zip(self.inputs, held, read, strict=True):
            found = one.position >= 0
            rank[found] = np.maximum(rank[found], FLAG_RANK[columns.flag[one.position[found]]])
            if series.quantity == "relative_humidity":
                over = one.value > SATURATED
                rank[over] = np.maximum(rank[over], FLAG_RANK[Flag.SUSPECT])
        known = np.isfinite(value)
        return Columns(at_us[known], value[known], FLAG_OF_RANK[rank[known]])

    def give_or_take(self, farm: Farm, store: ReadingStore, at_us: NDArray[np.int64]) -> Values:
        """Return the give or take of the values at some ascending instants; NaN where it is not known."""
        if self.uncertainty is None or len(at_us) == 0:
            return np.full(len(at_us), np.nan)
        held = []
        for series in self.inputs:
            age = max_age_us(farm, series)
            columns = store.read(series, int(at_us[0]) - age, int(at_us[-1]) + 1)
            held.append(hold_as_of(columns.time_us, usable(columns), at_us, age).value)
        return self.uncertainty(*held)


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


def accuracy(farm: Farm, series: Series) -> float:
    """Return a described series' plus or minus in its quantity's unit; NaN where neither sensor nor trade has one."""
    stated = farm.described[series].plus_or_minus
    return np.nan if stated is None else stated


def accuracy_at(farm: Farm, series: Series, level: ArrayLike) -> Values:
    """Return a described series' plus or minus at each of some levels: as stated, else what is usual there.

    NaN where the level is, and where neither sensor nor trade has one.
    """
    at = np.asarray(level, dtype=float)
    by_level = ACCURACY_BY_LEVEL.get(series.quantity)
    if farm.described[series].accuracy is not None or by_level is None:
        return np.where(np.isnan(at), np.nan, accuracy(farm, series))
    levels, accuracies = zip(*by_level, strict=True)
    return np.asarray(np.interp(at, levels, accuracies), dtype=float)


def phase_of(farm: Farm, humidity: Series) -> Phase:
    """Return what 100 % of a humidity sensor means below 0 degC, as the description says."""
    return "water" if farm.described[humidity].humidity_over == "water" else "auto"


def different(one: Columns, other: Columns) -> tuple[int, int] | None:
    """Return the first and last instant at which two columns of a series differ; None where they are the same."""
    at_us, count = np.unique(np.concatenate([one.time_us, other.time_us]), return_counts=True)
    moved = count == 1
    here, there = np.searchsorted(one.time_us, at_us[~moved]), np.searchsorted(other.time_us, at_us[~moved])
    moved[~moved] = (one.value[here] != other.value[there]) | (one.flag[here] != other.flag[there])
    moved_us = at_us[moved]
    return (int(moved_us[0]), int(moved_us[-1])) if len(moved_us) else None
