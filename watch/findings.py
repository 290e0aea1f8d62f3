"""Finds what may be behind each excursion and anything unusual, and keeps it in the journal.

Hour by hour; what is open, or only just begins, is looked at each quarter of an hour in between.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from importlib.resources import files
from typing import Any, NamedTuple

import numpy as np

from analytics.alignment import Floats
from analytics.findings.deviation import clock_of, deviations
from analytics.findings.episodes import SMOOTH_H, Episode, episodes, last_seen, led_since, told_at, wrong
from analytics.findings.explaining import can_lie_behind, explained
from analytics.findings.indicator import Indicator
from analytics.findings.model import Table, table_from_text
from analytics.findings.scene import HOUR_US, MINUTE_US, QUARTER_US
from analytics.findings.weighing import Weighing, weighed
from farm.causes import BY_NAME, HUMID
from farm.description import Farm
from farm.readings import Series, iso_time
from store.contract import ReadingStore
from store.entries import ExcursionEntry, FindingEntry
from store.journal import Journal
from watch.bands import DARK, LIT, lit_at
from watch.finding_details import EMPTY, LAST_SEEN, LEADS_SINCE, UNUSUAL, detail, of_excursion
from watch.first_checks import is_likely
from watch.indicators import DAY_US, IndicatorDays
from watch.night_findings import NIGHT, night_findings
from watch.quarter_looks import Hourly, QuarterLooks, looked_closer, no_longer_seen, sure_at_end
from watch.stretches import Stretch
from watch.written_indicators import written_indicators

FOUND_UNTIL = "found_until"  # the kind of basis in the journal
HISTORY_US = 15 * DAY_US  # that an hour is held against
BEFORE_US = 12 * HOUR_US  # the machine starts that long before what changed
FARTHEST_US = 40 * DAY_US  # a change longer ago leaves findings as they were; our choice, no source
AFTER_LIGHTS_OFF_US = 2 * HOUR_US


class Moved(NamedTuple):
    """The stretches over which findings changed; ``emptied`` those of findings that tell of an empty bottle."""

    stretches: list[Stretch]
    emptied: list[Stretch]


NOT_MOVED = Moved([], [])


@cache
def shipped_table() -> Table:
    """Return the table of likelihoods that is shipped."""
    return table_from_text(files("analytics.findings").joinpath("likelihoods.csv").read_text("utf-8"))


class FindingsKeeper:
    """Keeps a farm's findings in the journal true to its readings.

    ``arrived`` gives readings as they came: what quality tests doubt may be the very thing to find.
    """

    def __init__(
        self, farm: Farm, arrived: ReadingStore, judged: ReadingStore, journal: Journal, now_us: Callable[[], int]
    ) -> None:
        self._farm, self._journal, self._now_us = farm, journal, now_us
        self._arrived, self._judged = arrived, judged
        self._days = IndicatorDays(farm, arrived)
        self._quarters = QuarterLooks(farm, arrived, self._weighing)
        self._quarter_us = 0  # up to where it was looked between whole hours
        self._hourly: Hourly | None = None
        marked = journal.bases(farm.name, FOUND_UNTIL).get("", "0")
        self._until_us = int(marked)  # findings are true to the readings up to here
        self._noted_us = self._looked_us = 0  # the newest; and the whole hour up to which was looked in quiet

    @property
    def until_us(self) -> int:
        """Up to when findings are true to the readings."""
        return max(self._until_us, self._quarter_us)

    @property
    def outrun(self) -> bool:
        """Whether whole hours came that were not yet looked at in quiet, as many do with a backlog."""
        if _whole_hour(self._noted_us) <= self._looked_us:  # the store is asked only where it may be so
            return False
        return _whole_hour(self._measured_us()) > self._looked_us

    def _measured_us(self) -> int:
        """Return when was measured last; 0 where never. What is noted as changed may reach beyond it."""
        latest = self._arrived.latest(self._farm.name)
        return max((one.time_us for series, one in latest.items() if series in self._farm.described), default=0)

    def note(self, changed: Mapping[Series, Sequence[Stretch]], moved: Sequence[Stretch] = ()) -> None:
        """Note, durably, which readings changed and which excursions did: findings from there on are stale."""
        stretches = [one for series, several in changed.items() if series in self._farm.described for one in several]
        for first, last in stretches:
            self._days.touch(first, last)
            self._quarters.touch(first, last)
        self._noted_us = max([self._noted_us, *(last for _, last in stretches)])
        since = min((first for first, _ in [*stretches, *moved]), default=self.until_us + 1)
        if since <= self._quarter_us:
            self._quarter_us = 0
        if since < self._until_us:
            self._mark(since)

    def _mark(self, until_us: int) -> None:
        self._until_us = until_us
        self._journal.note_bases(self._farm.name, FOUND_UNTIL, {"": str(until_us)})

    def renew(self, *, busy: bool = False) -> Moved:
        """Work findings out anew from where they are stale, and return the stretches over which they changed.

        While ``busy`` only as far as readings have come; else until now, since silence counts too.
        """
        newest_us = self._measured_us()
        if not newest_us:
            return NOT_MOVED
        try:
            return self._renewed(newest_us, busy=busy)
        finally:
            if not busy:
                self._looked_us = _whole_hour(newest_us)

    def _renewed(self, newest_us: int, *, busy: bool) -> Moved:
        latest_us = newest_us if busy else min(max(newest_us, self._now_us()), newest_us + 2 * DAY_US)
        end_us = _whole_hour(latest_us)
        quarter_us = (latest_us - MINUTE_US) // QUARTER_US * QUARTER_US  # when what was measured at its end has come
        looking = self._now_us() - quarter_us < HOUR_US  # a backlog's past is told by whole hours alone
        if end_us <= self._until_us and not (looking and quarter_us > self._quarter_us):
            return NOT_MOVED
        first_us = min(one.first_us for one in self._arrived.known(self._farm.name))
        hourly = self._hourly
        if hourly is None or hourly.end_us != end_us or end_us > self._until_us:
            hourly = self._hourly = self._of_hours(first_us, end_us)
            if hourly is None:
                return NOT_MOVED
        before = self._journal.findings.between(self._farm.name, hourly.from_us)
        after = list(hourly.entries)
        if looking:
            looks = self._quarters.between(hourly.origin_us, end_us - HOUR_US, quarter_us, hourly.best_known)
            lasting = self._journal.excursions(self._farm.name, start_us=end_us, end_us=max(quarter_us, end_us))
            after = looked_closer(self._farm, hourly, looks, lasting, self._surge)
        after += no_longer_seen(before, after, self._quarters, hourly)
        self._journal.findings.replace(self._farm.name, hourly.from_us, after)
        self._mark(end_us)
        self._quarter_us = quarter_us if looking else 0
        return _moved(before, after)

    def _of_hours(self, first_us: int, end_us: int) -> Hourly | None:
        """Return what whole hours tell from where findings are stale until ``end_us``; None with less than an hour."""
        from_us = max(self._until_us, end_us - FARTHEST_US, first_us) // HOUR_US * HOUR_US
        from_us = min(from_us, end_us - HOUR_US)
        before = self._journal.findings.between(self._farm.name, from_us)
        begun = [one.onset_us for one in before if one.subject == UNUSUAL]
        start_us = max(min([from_us, *begun]) - BEFORE_US, end_us - FARTHEST_US)
        origin_us = max(start_us - HISTORY_US, first_us) // HOUR_US * HOUR_US
        if origin_us >= end_us:
            return None
        weighing = self._weighing(self._days, origin_us, end_us)
        probability = weighing.probabilities(SMOOTH_H)
        something = wrong(weighing, probability)
        nights = night_findings(self._farm, self._judged, end_us)
        told = {one.identity for one in nights}
        entries = (
            *self._unusual(
                weighing, probability, something, origin_us, max(start_us - origin_us, 0) // HOUR_US, from_us
            ),
            *self._of_excursions(weighing, probability, something, origin_us, from_us, end_us),
            *nights,
            *(one for one in before if one.subject.startswith(NIGHT) and one.identity not in told),
        )
        self._days.forget_before(end_us - HISTORY_US - DAY_US)
        self._quarters.forget_before(end_us - HISTORY_US - DAY_US)
        return Hourly(
            origin_us, from_us, end_us, entries, end_us - HOUR_US * sure_at_end(something),
            int(weighing.known_counts.max(initial=0)), weighing.days_known(weighing.hours - 1),
        )  # fmt: skip

    def _weighing(self, days: IndicatorDays, origin_us: int, end_us: int, since: int = 0) -> Weighing:
        written = written_indicators(self._farm, self._journal, self._arrived, origin_us, end_us)
        found = [*days.between(origin_us, end_us), self._clocks(origin_us, end_us), *written]
        clock_h = clock_of(self._farm, origin_us, (end_us - origin_us) // HOUR_US)
        return weighed(self._farm, shipped_table(), deviations(found, since, clock_h))

    def _clocks(self, origin_us: int, end_us: int) -> Indicator:
        """Return in which hours a device's clock was found wrong."""
        value = np.zeros((end_us - origin_us) // HOUR_US)
        for one in self._journal.clock_faults(self._farm.name):
            begin_us = one.first_us if one.last_us - one.first_us < 2 * DAY_US else one.last_us
            first, last = (begin_us - origin_us) // HOUR_US, (one.last_us - origin_us) // HOUR_US
            value[max(first, 0) : max(last + 1, 0)] = 1.0
        return Indicator("clock_wrong", "", value)

    def _unusual(
        self, weighing: Weighing, probability: Floats, something: Floats, origin_us: int, first: int, from_us: int
    ) -> list[FindingEntry]:
        entries = []
        for one in episodes(something, first):
            end_us = None if one.end is None else origin_us + (one.end + 1) * HOUR_US
            if end_us is not None and end_us <= from_us:
                continue
            hour = told_at(one, something, weighing)
            told = detail(self._farm, explained(weighing, hour, probability[:, hour]))
            if (since := led_since(one, hour, something, weighing)) > one.begin:
                told[LEADS_SINCE] = iso_time(origin_us + since * HOUR_US)
            behind = weighing.answers(probability[:, hour])[0].places
            if one.end is not None and (seen := last_seen(one, since, behind, something, weighing)) is not None:
                told[LAST_SEEN] = iso_time(origin_us + (seen + 1) * HOUR_US)
            at_us = origin_us + (hour + 1) * HOUR_US
            begin_us = origin_us + one.begin * HOUR_US
            entries.append(FindingEntry(self._farm.name, UNUSUAL, begin_us, end_us, at_us, told))
        return entries

    def _of_excursions(
        self, weighing: Weighing, probability: Floats, something: Floats, origin_us: int, from_us: int, end_us: int
    ) -> list[FindingEntry]:
        entries = []
        for one in self._journal.excursions(self._farm.name, start_us=from_us, end_us=end_us):
            # An hour that begins as the excursion ends is not of it: whenever it is looked at, the same hours count.
            until_us = min(one.last_us if one.end_us is None else one.end_us - 1, end_us)
            first, last = (
                max(one.onset_us - origin_us, 0) // HOUR_US,
                min((until_us - origin_us) // HOUR_US, weighing.hours - 1),
            )
            if last < first or origin_us + (last + 1) * HOUR_US <= one.onset_us:
                continue
            ended = None if one.end_us is None and last == weighing.hours - 1 else last
            behind = [can_lie_behind(self._farm, each, one.series, str(one.side)) for each in weighing.hypotheses]
            hour = told_at(Episode(first, first, ended), something, weighing, np.array(behind))
            found = explained(weighing, hour, probability[:, hour], one.series, str(one.side))
            entries.append(of_excursion(self._farm, one, origin_us + (hour + 1) * HOUR_US, found, self._surge))
        return entries

    def _surge(self, one: ExcursionEntry) -> str:
        """Return the headline of the usual rise after lights-off, where an excursion began within two hours of it."""
        if f"{one.series.quantity} {one.side}" not in HUMID:
            return ""
        at_us = np.arange(one.onset_us - AFTER_LIGHTS_OFF_US, one.onset_us + 1, HOUR_US // 6)
        lit = lit_at(self._farm, self._judged, one.series.zone, at_us)
        return f"{BY_NAME['lights_off_surge'].label}." if (lit == LIT).any() and lit[-1] == DARK else ""


def _whole_hour(at_us: int) -> int:
    return at_us - at_us % HOUR_US


def _moved(before: Sequence[FindingEntry], after: Sequence[FindingEntry]) -> Moved:
    """Return the stretches of findings that began, ended, vanished or changed.

    Of one that lasts, and that a newer instant tells otherwise, only the first cause counts, its places, and whether it
    is likely enough to be looked for: sheets of its former days keep the numbers as they were told.
    """
    was, now = ({one.identity: one for one in several} for several in (before, after))
    goes_on = {
        name
        for name in was.keys() & now.keys()
        if was[name].end_us is None and now[name].end_us is None and was[name].at_us != now[name].at_us
    }

    def shape(one: FindingEntry) -> tuple[str, int | None, str, str]:
        first = _first(one)
        told = [first.get("cause"), first.get("places"), is_likely(first.get("probability"))]
        whole = told if one.identity in goes_on else one.detail
        return one.identity, one.end_us, str(first.get("cause")), json.dumps(whole, sort_keys=True)

    changed = {shape(one) for one in before} ^ {shape(one) for one in after}
    moved = [one for one in (*before, *after) if shape(one) in changed]
    return Moved(
        [_stretch(one) for one in moved],
        [_stretch(one) for one in moved if _first(one).get("cause") in EMPTY.values()],
    )


def _first(one: FindingEntry) -> dict[str, Any]:
    first: dict[str, Any] = (one.detail.get("causes") or [{}])[0]
    return first


def _stretch(one: FindingEntry) -> Stretch:
    return one.onset_us, one.at_us if one.end_us is None else one.end_us
