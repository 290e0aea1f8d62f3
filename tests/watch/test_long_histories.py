"""Telling people takes no longer with the years, and forgets nothing that is older than what it looks at."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from store.journal import Journal
from store.log_entries import PlannedWork
from store.notice_entries import Notice, NoticeKind, NoticeState
from tests.conftest import MINUTE_US, T0_US
from tests.store.effort import Effort
from tests.watch.telling import NOW_US, alarm, farm_with, notifier_of, raise_alarms
from watch.planned_work import PLANNED_WORK, PlannedWorks
from watch.told import told_of

HOUR_US, DAY_US = 60 * MINUTE_US, 24 * 60 * MINUTE_US
OTHERS = 24  # alarms a day beside the one that lasts


class Clock:
    def __init__(self):
        self.now_us = NOW_US

    def __call__(self):
        return self.now_us


@pytest.fixture
def house(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        clock = Clock()
        yield journal, notifier_of(farm_with(1, "", ways="mail"), journal, 1, clock), clock


def days_of_others(journal, days):
    """Have other alarms come, be told, go, and be told to be over, each hour of some days from now on."""
    made, notices = [], []
    for number in range(days * OTHERS):
        at_us = NOW_US + (number + 1) * HOUR_US
        one = replace(alarm("other"), onset_us=at_us, alarm_us=at_us + 5, returned_us=at_us + 20 * MINUTE_US)
        made.append(one)
        for kind, told_us in ((NoticeKind.RAISED, at_us + 10), (NoticeKind.RETURNED, at_us + 21 * MINUTE_US)):
            told = told_of(replace(one, returned_us=None if kind is NoticeKind.RAISED else one.returned_us))
            notice = Notice("testfarm", kind, "ada", "mail 1", f"g{number}", 0, one.priority, (told,), told_us, "", "")
            notices.append(replace(notice, state=NoticeState.SENT))
    journal.outbox.add(notices)
    journal.alarms.replace("testfarm", made[0].condition, 0, made)
    return NOW_US + days * DAY_US + 30 * MINUTE_US


@pytest.mark.slow
def test_an_alarm_that_lasts_for_weeks_does_not_make_each_look_longer(house):
    journal, notifier, clock = house
    raise_alarms(journal, alarm())
    assert [one.kind for one in notifier.decide()] == [NoticeKind.RAISED]
    effort, steps = Effort(journal), []
    for days in (5, 40):
        clock.now_us = days_of_others(journal, days)
        assert notifier.decide() == [], "told already"
        steps.append(effort.of(notifier.decide))
    assert steps[1] < 1.3 * steps[0], steps
    raise_alarms(journal, replace(alarm(), returned_us=clock.now_us - MINUTE_US))
    assert [(one.kind, one.told[0].condition) for one in notifier.decide()] == [
        (NoticeKind.RETURNED, alarm().condition)
    ]
    assert notifier.decide() == []


@pytest.mark.parametrize("gone", [False, True])
def test_who_was_told_of_an_alarm_is_told_its_end_however_long_the_service_was_away(house, gone):
    journal, notifier, clock = house
    raise_alarms(journal, alarm())
    notifier.decide()
    over = replace(alarm(), returned_us=NOW_US + 2 * DAY_US)
    journal.alarms.replace("testfarm", over.condition, 0, [] if gone else [over])
    clock.now_us += 20 * DAY_US
    [told] = notifier.decide()
    assert told.kind is NoticeKind.RETURNED
    assert told.told[0].facts.get("taken_back", False) is gone
    assert notifier.decide() == []


def test_planned_work_is_read_once_and_again_when_it_was_edited(house, small_farm, monkeypatch):
    journal, _, _ = house
    begin = datetime.fromtimestamp(T0_US / 1e6, UTC)

    def work(hours):
        return PlannedWork(what="cleaning", until=begin + timedelta(hours=hours), zones=("room",))

    first = journal.log.add("testfarm", T0_US, "kim", work(1), T0_US)
    works, read = PlannedWorks(small_farm, journal), []
    entries = journal.log.entries
    monkeypatch.setattr(journal.log, "entries", lambda *words, **more: read.append(entries(*words, **more)) or read[-1])
    assert [one.name for one in works.look()] == [first.identity]
    assert works.look()[0].end_us == T0_US + HOUR_US
    second = journal.log.add("testfarm", T0_US + 5, "kim", work(2), T0_US + 1)
    assert {one.name for one in works.look()} == {first.identity, second.identity}
    edited = journal.log.edit("testfarm", first.identity, T0_US, "lee", work(3), T0_US - 5)  # a clock set back
    assert {one.name: one.end_us - T0_US for one in works.look()} == {
        first.identity: 3 * HOUR_US, second.identity: 2 * HOUR_US
    }  # fmt: skip
    assert read == [[first], [], [second], [edited]]
    assert works.reaches(first.identity, "out_of_band/room/air_temperature/high")
    journal.log.withdraw("testfarm", first.identity, "lee", T0_US)
    assert [one.name for one in works.look()] == [second.identity]
    assert not works.reaches(first.identity, "out_of_band/room/air_temperature/high")
    assert journal.log.newest_versions("testfarm", PLANNED_WORK) == {second.identity: 1}
