"""Readings as they are to be used: corrected by calibrations and for air pressure, with the flags of quality tests.

What arrived is never altered: this is a layer over the store, made anew from the journal at every change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, fields, replace
from functools import partial
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from analytics.probes import Correction, corrected
from farm.flags import Flag
from farm.readings import Columns, Reading, Series
from store.contract import Buckets, ReadingStore
from store.entries import QualityMark
from store.journal import Journal
from store.summing import as_buckets, summed
from watch.bands import worse_flags
from watch.layer import Layer
from watch.pressure import PressureCorrection


@dataclass
class Judgement:
    """What is known of a farm's readings: which have marks, how they are corrected, how far they were tested.

    One thread writes it, others read.
    """

    marked: frozenset[Series]
    corrections: Mapping[Series, Sequence[Correction]]
    judged_us: dict[Series, int]


class JudgedReadings(Layer):
    """A store of readings as they are to be used; it keeps the contract of the store beneath it.

    Reading gives corrected values and the worse of the stored flag and the quality tests'. Writing goes
    through as it is. Several threads may read one.
    """

    def __init__(
        self,
        farm: str,
        store: ReadingStore,
        journal: Journal,
        by_pressure: Mapping[Series, PressureCorrection] = MappingProxyType({}),
    ) -> None:
        super().__init__(store)
        self._by_pressure = by_pressure
        self._journal = journal
        self._known = Judgement(frozenset(journal.marks.marked(farm)), {}, {})

    def over(self, store: ReadingStore) -> JudgedReadings:
        """Return the same judgement over another store of the same readings: what one learns the other knows."""
        other = copy(self)
        other.beneath = store
        return other

    @property
    def as_arrived(self) -> ReadingStore:
        """Readings as they arrived."""
        return self.beneath

    def correct_by(self, corrections: Mapping[Series, Sequence[Correction]]) -> None:
        """Take these corrections from now on, in place of all former ones."""
        self._known.corrections = {series: tuple(several) for series, several in corrections.items() if several}

    def corrections(self, series: Series) -> Sequence[Correction]:
        """Return the corrections of a series, in order; empty where it was never calibrated."""
        return self._known.corrections.get(series, ())

    @property
    def judgement(self) -> Judgement:
        """What is known by now, for the same readings elsewhere."""
        return Judgement(self._known.marked, self._known.corrections, dict(self._known.judged_us))

    def judge_by(self, judgement: Judgement) -> None:
        """Take what is known elsewhere of the same readings from now on."""
        self._known.marked, self._known.corrections = judgement.marked, judgement.corrections
        self._known.judged_us = judgement.judged_us

    def note_judged(self, series: Series, until_us: int) -> None:
        """Note that a series' readings up to an instant have been tested: those without a mark are good."""
        self._known.judged_us[series] = max(until_us, self._known.judged_us.get(series, until_us))

    def replace_marks(self, series: Series, start_us: int, end_us: int, marks: Sequence[QualityMark]) -> None:
        """Make these the only quality marks of a series that begin in ``[start_us, end_us)``."""
        if not marks and series not in self._known.marked:
            return
        self._known.marked |= {series}
        self._journal.marks.replace(series, start_us, end_us, marks)

    def marks(self, series: Series, start_us: int, end_us: int) -> list[QualityMark]:
        """Return the quality marks that overlap ``[start_us, end_us)``."""
        return self._journal.marks.between(series, start_us, end_us) if series in self._known.marked else []

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range, corrected and flagged."""
        return self._judged(series, self.beneath.read(series, start_us, end_us))

    def _judged(self, series: Series, columns: Columns) -> Columns:
        corrections, by_pressure = self._known.corrections.get(series), self._by_pressure.get(series)
        judged_us = self._known.judged_us.get(series)
        untouched = corrections is None and by_pressure is None and judged_us is None
        if len(columns) == 0 or (untouched and series not in self._known.marked):
            return columns
        value, flag = columns.value, columns.flag.copy()
        if corrections is not None or by_pressure is not None:
            value = self._right(series, columns.time_us, value)
        if judged_us is not None:
            flag[(flag == Flag.NOT_EVALUATED) & (columns.time_us <= judged_us)] = Flag.GOOD
        marks = self.marks(series, int(columns.time_us[0]), int(columns.time_us[-1]) + 1)
        for level in {one.flag for one in marks}:
            at_it = _inside([one for one in marks if one.flag == level], columns.time_us)
            flag[at_it] = worse_flags(flag[at_it], np.array([level], np.uint8))
        return Columns(columns.time_us, value, flag)

    def _right(self, series: Series, time_us: NDArray[np.int64], value: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return values of a series made right by its calibrations and for air pressure."""
        value = corrected(time_us, value, self.corrections(series))
        by_pressure = self._by_pressure.get(series)
        return value if by_pressure is None else by_pressure.corrected(self, time_us, value)

    def as_sent(self, series: Series, at_us: int, value: Sequence[float]) -> list[float]:
        """Return what a sensor sends at an instant where these values are right: correction is by scale and offset."""
        if not self.corrections(series) and series not in self._by_pressure:
            return list(value)
        at_0, at_1 = self._right(series, np.array([at_us, at_us + 1]), np.array([0.0, 1.0])).tolist()
        return [(one - at_0) / (at_1 - at_0) for one in value]

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant, corrected and flagged."""
        found = self.beneath.last_before(series, before_us)
        return None if found is None else self._judged_reading(found)

    def _judged_reading(self, one: Reading) -> Reading:
        columns = self._judged(one.series, Columns.from_rows([(one.time_us, one.value, one.flag)]))
        return one._replace(value=float(columns.value[0]), flag=int(columns.flag[0]))

    def latest(self, farm: str) -> dict[Series, Reading]:
        """Return the newest reading of each series, corrected and flagged."""
        return {series: self._judged_reading(one) for series, one in self.beneath.latest(farm).items()}

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return readings summed up over equal stretches, corrected and flagged.

        Stretches that judgement touches are summed up from the readings themselves. Where kept sums have
        outlived the readings, the correction at a stretch's start stands for all of it, for air pressure too.
        """
        found = self.beneath.aggregate(series, start_us, end_us, every_us)
        corrections, judged_us = self._known.corrections.get(series), self._known.judged_us.get(series)
        if corrections is not None or series in self._by_pressure:
            right = partial(self._right, series, found.time_us)
            mean, low, high = right(found.mean), right(found.low), right(found.high)
            found = replace(found, mean=mean, low=low, high=high, first=right(found.first), last=right(found.last))
            anew = [(start_us, end_us)]
        else:
            if judged_us is not None:
                good = (found.flag == Flag.NOT_EVALUATED) & (found.time_us + every_us <= judged_us)
                found = replace(found, flag=np.where(good, np.uint8(Flag.GOOD), found.flag))
            anew = _stretches(self.marks(series, start_us, end_us), start_us, end_us, every_us)
        for first_us, until_us in anew:
            buckets = as_buckets(summed(self.read(series, first_us, until_us), every_us))
            found = _with(found, buckets)
        return found


def _inside(marks: Sequence[QualityMark], time_us: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Return which readings lie in any of the marks."""
    firsts = np.searchsorted(time_us, [one.first_us for one in marks])
    afters = np.searchsorted(time_us, [one.last_us for one in marks], side="right")
    changes = np.bincount(firsts, minlength=len(time_us) + 1) - np.bincount(afters, minlength=len(time_us) + 1)
    inside: NDArray[np.bool_] = np.cumsum(changes[:-1]) > 0
    return inside


def _stretches(marks: Sequence[QualityMark], start_us: int, end_us: int, every_us: int) -> list[tuple[int, int]]:
    """Return the runs of whole stretches within a range that marks lie in, in order and apart."""
    runs: list[tuple[int, int]] = []
    for mark in sorted(marks, key=lambda one: one.first_us):
        first_us = mark.first_us - mark.first_us % every_us
        until_us = mark.last_us - mark.last_us % every_us + every_us
        if runs and first_us <= runs[-1][1]:
            runs[-1] = (runs[-1][0], max(runs[-1][1], until_us))
        else:
            runs.append((first_us, until_us))
    return [(max(first_us, start_us), min(until_us, end_us)) for first_us, until_us in runs]


def _with(buckets: Buckets, anew: Buckets) -> Buckets:
    """Return stretches with some of them in place of the same ones before."""
    kept = ~np.isin(buckets.time_us, anew.time_us)
    order = np.argsort(np.concatenate([buckets.time_us[kept], anew.time_us]), kind="stable")
    columns = (
        np.concatenate([getattr(buckets, one.name)[kept], getattr(anew, one.name)])[order] for one in fields(Buckets)
    )
    return Buckets(*columns)


def as_arrived(store: ReadingStore) -> ReadingStore:
    """Return what lies beneath the judgement of a store that has one: readings as they arrived."""
    while isinstance(store, Layer):
        if isinstance(store, JudgedReadings):
            return store.beneath
        store = store.beneath
    return store
