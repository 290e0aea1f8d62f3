"""Keeps the quality marks of measured series true to their readings, whatever order they came in."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import asdict

import numpy as np
from numpy.typing import NDArray

from analytics.quality import ROLLED_UP, QualityLimits, reach_s, verdicts
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series
from store.contract import Origin
from store.entries import QualityMark
from store.journal import Journal
from watch.bands import usable
from watch.judged import JudgedReadings

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
AT_ONCE_US = 30 * 24 * HOUR_US  # of one series in memory
QUALITY = "quality"  # the kind of basis in the journal

END_OF_TIME_US = 2**62

Stretch = tuple[int, int]
Alone = Callable[[str], AbstractContextManager[None]]


class QualityKeeper:
    """Tests readings that changed and keeps what the tests doubt in the journal.

    Whole hours are tested at once, with as many readings around them as the tests look at: so the marks are
    the same to the bit whether readings came in order, late, or all at once.
    """

    def __init__(
        self, farm: str, limits: Mapping[Series, QualityLimits], readings: JudgedReadings, journal: Journal
    ) -> None:
        self._farm, self._limits, self._readings, self._journal = farm, dict(limits), readings, journal
        self._tested_with = journal.bases(farm, QUALITY)
        self._retested: dict[str, str] = {}
        for known in readings.known(farm):
            if known.series.key in self._tested_with:
                readings.note_judged(known.series, known.last_us)

    def retest(self, alone: Alone = lambda _: nullcontext()) -> dict[Series, list[Stretch]]:
        """Test all that is stored of series whose limits are not those they were tested with.

        Returns each such series with the stretch that its readings span, until `settle`.
        """
        tested: dict[Series, list[Stretch]] = {}
        known = {one.series: one for one in self._readings.known(self._farm)}
        for series, text in self.outdated().items():
            with alone(f"the quality of {series.key}"):
                if series in known:
                    self.renew(series, known[series].first_us, known[series].last_us)
                    tested[series] = [(known[series].first_us, known[series].last_us)]
                self._retested[series.key] = text
        return tested

    def outdated(self) -> dict[Series, str]:
        """Return the series whose limits are not those they were tested with, and with what to test them."""
        known = {one.series: one for one in self._readings.known(self._farm)}
        if not self._tested_with and not any(one.origin is Origin.DERIVED for one in known.values()):
            # Nothing was ever worked out: the store's notes lead to all there is.
            self._tested_with = {series.key: self._text(series) for series in self._limits}
            self._journal.note_bases(self._farm, QUALITY, self._tested_with)
        texts = {series: self._text(series) for series in {**known, **self._limits}}
        return {series: text for series, text in texts.items() if text != self._tested_with.get(series.key, "")}

    def settle(self) -> None:
        """Note that all that follows from the tests of `retest` is worked out."""
        if self._retested:
            self._journal.note_bases(self._farm, QUALITY, self._retested)
            self._tested_with |= self._retested
            self._retested = {}

    def _text(self, series: Series) -> str:
        limits = self._limits.get(series)
        return json.dumps(asdict(limits)) if limits is not None else ""

    def renew(
        self, series: Series, first_us: int, last_us: int, until_us: int = END_OF_TIME_US, *, again: bool = False
    ) -> list[Stretch]:
        """Test readings again whose verdict a change between two instants can reach; returns what changed by it.

        Hours after the change from that of ``until_us`` on are left for a later call with them, which must come.
        ``again`` says that it may have been done before, and what follows not: then all marks within reach count.
        """
        before_us, after_us = self._reach_us(series)
        start_us = (first_us - after_us) // HOUR_US * HOUR_US
        end_us = (last_us + before_us) // HOUR_US * HOUR_US + HOUR_US
        end_us = min(end_us, max(until_us // HOUR_US * HOUR_US, last_us // HOUR_US * HOUR_US + HOUR_US))
        changed = []
        for from_us in range(start_us, end_us, AT_ONCE_US):
            until_us = min(from_us + AT_ONCE_US, end_us)
            known = self._readings.marks(series, from_us, until_us)
            found = self._marks(series, from_us, until_us)
            different = {*known} ^ {*found}
            if different:
                self._readings.replace_marks(series, from_us, until_us, found)
            if again:
                different |= {*found}
            if different:
                changed.append((min(one.first_us for one in different), max(one.last_us for one in different)))
        if series in self._limits:
            self._readings.note_judged(series, last_us)
        return changed

    def _reach_us(self, series: Series) -> tuple[int, int]:
        if series not in self._limits:
            return 0, 0
        before_s, after_s = reach_s(self._limits[series])
        return int(before_s * MICROSECONDS_PER_SECOND), int(after_s * MICROSECONDS_PER_SECOND)

    def _marks(self, series: Series, start_us: int, end_us: int) -> list[QualityMark]:
        """Return the marks of ``[start_us, end_us)``, which are whole hours, by time and test."""
        limits = self._limits.get(series)
        if limits is None:
            return []
        before_us, after_us = self._reach_us(series)
        columns = self._readings.as_arrived.read(series, start_us - before_us, end_us + after_us)
        first, last = np.searchsorted(columns.time_us, [start_us, end_us])
        found = verdicts(columns.time_us, usable(columns), limits, int(first)).tests
        time_us = columns.time_us[first:last]
        marks = [
            one
            for test in limits.tests
            if test in ROLLED_UP
            for one in _runs(test, time_us, found[test][: len(time_us)])
        ]
        return sorted(marks, key=lambda one: (one.first_us, one.test))


def _runs(test: str, time_us: NDArray[np.int64], flags: NDArray[np.uint8]) -> list[QualityMark]:
    """Return the runs of doubted readings within each hour."""
    doubted = (flags == Flag.SUSPECT) | (flags == Flag.FAIL)
    if not doubted.any():
        return []
    hour = time_us // HOUR_US
    begins = np.append(True, (flags[1:] != flags[:-1]) | (hour[1:] != hour[:-1]))
    firsts = np.flatnonzero(begins)
    lasts = np.append(firsts[1:], len(time_us)) - 1
    return [
        QualityMark(test, int(flags[first]), int(time_us[first]), int(time_us[last]), int(last - first + 1))
        for first, last in zip(firsts, lasts, strict=True)
        if doubted[first]
    ]
