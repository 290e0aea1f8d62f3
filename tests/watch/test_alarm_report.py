"""The figures of ISA-18.2 from a journal whose ten days are counted by hand."""

from __future__ import annotations

import pytest

from farm.alarm_words import Priority
from store.alarm_entries import AlarmEntry
from store.journal import Journal
from tests.conftest import MINUTE_US, T0_US
from watch.alarm_report import alarm_report

HOUR_US, DAY_US = 60 * MINUTE_US, 24 * 60 * MINUTE_US
END_US = T0_US + 10 * DAY_US


def alarm(name, day, hours=0.0, minutes=0.0, lasts_min=1.0, priority="medium", suppressed_by=None, **detail):
    at_us = T0_US + int(day * DAY_US + hours * HOUR_US + minutes * MINUTE_US)
    returned_us = None if lasts_min is None else at_us + int(lasts_min * MINUTE_US)
    words = {"what": name, "where": "Room"} | detail
    return AlarmEntry("testfarm", name, at_us, at_us, returned_us, Priority(priority), name, suppressed_by, 0, words)


@pytest.fixture
def journal(tmp_path):
    storm = [
        alarm(f"c{n}", 2, 12, minutes=n / 2, priority="high" if n == 11 else "medium") for n in range(12)
    ]  # each half minute
    several = [
        *storm,
        alarm("c0", 3), alarm("c0", 4), alarm("c0", 5), alarm("c1", 3, 6),
        alarm("valve", 6, times=5),
        alarm("silent", 1, lasts_min=None, priority="low"),
        alarm("old", -3, lasts_min=None, priority="highest"),
        alarm("over", -2),
        alarm("follows", 2, 13, suppressed_by="c0"),
        alarm("followed", -3, lasts_min=None, suppressed_by="c0"),
        alarm("freed", 7, lasts_min=24 * 60, released_us=T0_US + 7 * DAY_US + 6 * HOUR_US),
    ]  # fmt: skip
    changes = {one.condition: (0, [other for other in several if other.condition == one.condition]) for one in several}
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        opened.alarms.renew("testfarm", changes, 0)
        yield opened


def test_every_figure_of_ten_days(journal):
    figures, texts, suppressed = alarm_report(journal, "testfarm", T0_US, END_US)
    assert figures.alarms == 12 + 3 + 1 + 1 + 1 + 1  # the storm, c0, c1, the valve, what is silent, what was freed
    assert figures.per_day == pytest.approx(1.9)
    assert figures.per_hour == pytest.approx(19 / 240)
    assert (figures.most_in_ten_minutes, figures.most_in_an_hour) == (12, 12)
    [flood] = figures.floods  # from the eleventh, at 5 min, until four are left of the last ten minutes, at 13.5 min
    assert (flood.start_us, flood.end_us) == (
        T0_US + 2 * DAY_US + 12 * HOUR_US + 5 * MINUTE_US,
        T0_US + 2 * DAY_US + 12 * HOUR_US + int(13.5 * MINUTE_US),
    )
    assert figures.time_in_flood == pytest.approx(8.5 / (10 * 24 * 60))
    assert figures.chattering == (("valve", 5),)
    assert figures.stale == (("old", 13 * 24.0), ("silent", 9 * 24.0))
    names = ["c0", "c1", "c10", "c11", "c2", "c3", "c4", "c5", "c6", "c7"]  # ten of fifteen; those alike by name
    assert [name for name, _, _ in figures.most_frequent] == names
    assert [(times, share) for _, times, share in figures.most_frequent][:3] == [
        (4, pytest.approx(4 / 19)), (2, pytest.approx(2 / 19)), (1, pytest.approx(1 / 19))
    ]  # fmt: skip
    assert figures.by_priority == {"medium": 17, "high": 1, "low": 1}
    assert suppressed == 1, "one came within the ten days; the other was there before"
    assert texts["valve"] == "valve, Room"


@pytest.mark.parametrize(("first_h", "last_h", "alarms"), [(0, 3, 0), (3, 9, 1), (6, 7, 1), (7, 24, 0)])
def test_what_was_suppressed_counts_from_when_it_was_freed(journal, first_h, last_h, alarms):
    start_us = T0_US + 7 * DAY_US
    found = alarm_report(journal, "testfarm", start_us + first_h * HOUR_US, start_us + last_h * HOUR_US)
    assert found.figures.alarms == alarms
