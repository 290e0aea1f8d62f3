"""Looks at the hour that just passed each quarter of an hour: whole hours tell a fast fault later."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np

from analytics.alignment import Floats
from analytics.findings.deviation import DAY_H
from analytics.findings.episodes import AT_ONCE_AT, OPENS_AT, SMOOTH_H, Episode, told_at, wrong
from analytics.findings.explaining import can_lie_behind, explained
from analytics.findings.scene import HOUR_US, QUARTER_US, Mask
from analytics.findings.weighing import Weighing
from farm.description import Farm
from farm.readings import iso_time
from store.contract import ReadingStore
from store.entries import ExcursionEntry, FindingEntry
from watch.finding_details import LEADS_SINCE, UNUSUAL, IfUsual, detail, of_excursion
from watch.indicators import IndicatorDays

TELLS_FOR_US = 2 * HOUR_US  # the first sure look of a finding is no longer before its newest: see `between`

# Of some days' indicators, from, until, since which hour.
WeighingOf = Callable[[IndicatorDays, int, int, int], Weighing]


class Look(NamedTuple):
    """The hour that ends at ``at_us``: the last of a day that is weighed, since what is over still shows in it.

    ``probability`` of each cause, and ``something``, that anything is wrong, are of that hour.
    """

    at_us: int
    weighing: Weighing
    probability: Floats
    something: float

    @property
    def hour(self) -> int:
        """Which of the weighed hours it is."""
        return self.weighing.hours - 1

    def echoes(self, since_us: int, behind: Mask | None = None) -> bool:
        """Whether it names but what a fast fault left that was clearer in an hour since an instant: see `told_at`."""
        first = max(self.hour + 1 + (since_us - self.at_us) // HOUR_US, 0)
        sure = np.ones(self.hour + 1)
        return told_at(Episode(first, first, None), sure, self.weighing, behind) != self.hour


@dataclass(frozen=True)
class Hourly:
    """What whole hours until ``end_us`` tell, of readings from ``origin_us`` on: what looks in between add to.

    ``begin_us`` is when something began that may be unusual but is not told yet; ``best_known`` how many features are
    known at best; ``days_known`` how many earlier days.
    """

    origin_us: int
    from_us: int
    end_us: int
    entries: tuple[FindingEntry, ...]
    begin_us: int
    best_known: int
    days_known: int


class QuarterLooks:
    """A farm's looks between whole hours; each is worked out once, and again when readings before its end change.

    An hour is held against the same quarters of earlier days: its indicators are those of days that begin as late.
    """

    def __init__(self, farm: Farm, arrived: ReadingStore, weighing_of: WeighingOf) -> None:
        self._days = {
            late_us: IndicatorDays(farm, arrived, late_us) for late_us in range(QUARTER_US, HOUR_US, QUARTER_US)
        }
        self._weighing_of = weighing_of
        self._looks: dict[int, Look] = {}

    def touch(self, first_us: int, last_us: int) -> None:
        """Note that readings changed between two instants."""
        for one in self._days.values():
            one.touch(first_us, last_us)
        self._looks = {at_us: look for at_us, look in self._looks.items() if at_us < first_us}

    def forget_before(self, start_us: int) -> None:
        """Let go of days that end before an instant."""
        for one in self._days.values():
            one.forget_before(start_us)

    def between(self, origin_us: int, first_us: int, end_us: int, best_known: int) -> list[Look]:
        """Return the looks that end within ``(first_us, end_us]`` and at no whole hour, in order.

        Readings from ``origin_us`` on count, a whole hour; ``best_known`` features are known at best.
        """
        ends = [
            at_us
            for at_us in range(first_us + QUARTER_US, end_us + 1, QUARTER_US)
            if at_us % HOUR_US
            and at_us - HOUR_US >= origin_us + at_us % HOUR_US  # in a farm's first hour there is none
        ]
        self._looks = {at_us: look for at_us, look in self._looks.items() if at_us > first_us - TELLS_FOR_US}
        return [self._looked(origin_us, at_us, best_known) for at_us in ends]

    def last_telling_us(self, origin_us: int, one: FindingEntry, until_us: int, best_known: int) -> int | None:
        """Return when the last look was that tells, by the readings there are now, a finding at once; None if none is.

        Those until ``until_us`` count, and until the finding was last worked out.
        """
        since_us = max(one.onset_us, one.at_us - TELLS_FOR_US, origin_us + 2 * HOUR_US)
        for at_us in range(min(one.at_us, until_us) // QUARTER_US * QUARTER_US, since_us, -QUARTER_US):
            if at_us % HOUR_US and self._looked(origin_us, at_us, best_known).something >= AT_ONCE_AT:
                return at_us
        return None

    def _looked(self, origin_us: int, at_us: int, best_known: int) -> Look:
        if at_us not in self._looks:
            self._looks[at_us] = self._look(origin_us, at_us, best_known)
        return self._looks[at_us]

    def _look(self, origin_us: int, at_us: int, best_known: int) -> Look:
        late_us = at_us % HOUR_US
        hours = (at_us - late_us - origin_us) // HOUR_US
        weighing = self._weighing_of(self._days[late_us], origin_us + late_us, at_us, max(hours - DAY_H, 0))
        probability = weighing.probabilities(SMOOTH_H)
        return Look(at_us, weighing, probability[:, -1], float(wrong(weighing, probability, best_known)[-1]))


def looked_closer(
    farm: Farm, hourly: Hourly, looks: Sequence[Look], lasting: Sequence[ExcursionEntry], if_usual: IfUsual
) -> list[FindingEntry]:
    """Return what whole hours found with what looks in between add: each is told by the newest look that is sure.

    Unless that look names but an echo. Something unusual that only a look is sure enough of stands for an hour at
    least, and then as whole hours see it. ``lasting`` are the excursions after the last whole hour; ``if_usual`` gives
    one's headline where nothing differs.
    """
    entries = {one.identity: one for one in hourly.entries}
    newer = [one for one in looks if one.at_us > hourly.end_us]

    def put(subject: str, onset_us: int, look: Look) -> None:
        told = detail(farm, explained(look.weighing, look.hour, look.probability, days_known=hourly.days_known))
        made = FindingEntry(farm.name, subject, onset_us, None, look.at_us, told)
        before = entries.get(made.identity)
        if before is not None:
            same = before.detail["causes"][0]["cause"] == told["causes"][0]["cause"]
            since = before.detail.get(LEADS_SINCE) if same else iso_time(look.at_us - HOUR_US)
            told |= {LEADS_SINCE: since} if since else {}
        entries[made.identity] = made

    standing = next((one for one in hourly.entries if one.subject == UNUSUAL and one.end_us is None), None)
    first = next((one for one in looks if one.something >= AT_ONCE_AT), None)
    if standing is not None and (look := _newest_sure(newer, standing.onset_us)) is not None:
        put(UNUSUAL, standing.onset_us, look)
    elif standing is None and first is not None:
        onset_us = min(hourly.begin_us, first.at_us // HOUR_US * HOUR_US)
        look = _newest_sure([one for one in looks if one.at_us >= first.at_us], onset_us) or first
        put(UNUSUAL, onset_us, look)
    for one in lasting:
        until_us = one.last_us if one.end_us is None else one.end_us
        during = [look for look in newer if one.onset_us < look.at_us <= until_us + QUARTER_US]
        if not during:
            continue
        hypotheses = during[-1].weighing.hypotheses
        behind = np.array([can_lie_behind(farm, each, one.series, str(one.side)) for each in hypotheses])
        look = _newest_sure(during, one.onset_us, behind)
        if look is None and one.identity in entries:
            continue
        look = look or during[-1]
        found = explained(
            look.weighing, look.hour, look.probability, one.series, str(one.side), days_known=hourly.days_known
        )
        made = of_excursion(farm, one, look.at_us, found, if_usual)
        entries[made.identity] = made
    return list(entries.values())


def no_longer_seen(
    before: Sequence[FindingEntry], after: Sequence[FindingEntry], looks: QuarterLooks, hourly: Hourly
) -> list[FindingEntry]:
    """Return what looks in between alone found unusual and is not any more: with its end, so that it stays told.

    It ends with the hour from which no look tells it at once, or where what else is told begins. What none of its
    looks before that tells any more, since readings came late, goes; so does what another tells from its beginning on.
    """
    found = {one.identity for one in after}
    others = [one for one in after if one.subject == UNUSUAL]
    ended: list[FindingEntry] = []
    for one in reversed(before):
        if one.subject != UNUSUAL or one.identity in found or one.at_us % HOUR_US == 0:
            continue
        if any(
            other.onset_us <= one.onset_us and (other.end_us or one.onset_us + 1) > one.onset_us for other in others
        ):
            continue
        later = [other.onset_us for other in (*others, *ended) if other.onset_us > one.onset_us]
        # A look tells of the hour before it: one whose hour begins where the next finding does is that one's.
        until_us = min(later, default=one.at_us) + HOUR_US - 1
        last_us = looks.last_telling_us(hourly.origin_us, one, until_us, hourly.best_known)
        if last_us is None:
            continue
        end_us = min([(last_us // HOUR_US + 2) * HOUR_US, *later])
        ended.append(replace(one, end_us=end_us if end_us <= hourly.end_us else None))
    return ended


def _newest_sure(looks: Sequence[Look], since_us: int, behind: Mask | None = None) -> Look | None:
    """Return the newest look that is sure that anything is wrong; None without, or if it echoes what was since then."""
    newest = next((one for one in reversed(looks) if one.something >= OPENS_AT), None)
    return None if newest is None or newest.echoes(since_us, behind) else newest


def sure_at_end(something: Floats) -> int:
    """Return for how many hours in a row, up to the last, it is likely that anything is wrong."""
    unsure = np.flatnonzero(something < OPENS_AT)
    return len(something) - 1 - int(unsure[-1]) if len(unsure) else len(something)
