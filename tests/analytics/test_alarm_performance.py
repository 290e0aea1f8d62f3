"""ISA-18.2's figures on histories counted by hand."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.alarm_performance import Raised, floods_in, performance

MINUTE = 60_000_000
HOUR = 60 * MINUTE
DAY = 24 * HOUR


def test_rates_priorities_and_what_comes_most():
    raised = [
        *(Raised("a", n * HOUR, n * HOUR + MINUTE, "low") for n in range(6)),
        Raised("b", 30 * MINUTE, 40 * MINUTE, "high", times=4),
        Raised("c", 31 * MINUTE, None, "highest"),
        Raised("before", -DAY, -DAY + 1, "low"),
        Raised("after", 2 * DAY, None, "low"),
    ]
    found = performance(raised, 0, 2 * DAY)
    assert found.alarms == 8
    assert found.per_day == 4.0
    assert found.per_hour == pytest.approx(8 / 48)
    assert found.most_in_ten_minutes == 2  # b and c
    assert found.most_in_an_hour == 3  # a at 0 or at 60 min, with b and c
    assert found.by_priority == {"low": 6, "high": 1, "highest": 1}
    assert found.most_frequent[0] == ("a", 6, 0.75)
    assert found.chattering == (("b", 4),)
    assert found.stale == (("c", 48 - 31 / 60),)
    assert found.floods == ()
    assert found.time_in_flood == 0.0


def test_a_flood_begins_with_the_eleventh_in_ten_minutes_and_ends_below_five():
    at_us = np.arange(12, dtype=np.int64) * 30_000_000  # one every half minute: the eleventh at minute 5
    [flood] = floods_in(at_us, DAY)
    assert flood.start_us == 5 * MINUTE
    # At minute 13:30 the eighth drops out: four are left.
    assert flood.end_us == 13.5 * MINUTE
    assert flood.alarms == 12
    assert floods_in(at_us[:10], DAY) == []
    found = performance([Raised("a", int(at), None, "low") for at in at_us], 0, HOUR)
    assert found.time_in_flood == pytest.approx(8.5 / 60)
    assert found.most_in_ten_minutes == 12


def test_nothing_raised():
    found = performance([], 0, DAY)
    assert (found.alarms, found.per_day, found.most_in_ten_minutes, found.most_frequent) == (0, 0.0, 0, ())


def test_what_stands_less_than_a_day_is_not_stale():
    raised = [Raised("a", DAY, None, "low"), Raised("b", DAY - 1, 3 * DAY, "low"), Raised("c", 0, DAY, "low")]
    assert performance(raised, 0, 2 * DAY).stale == (("b", pytest.approx(24.0)), ("a", 24.0))


def test_an_empty_range_is_refused():
    with pytest.raises(ValueError, match="empty"):
        performance([], 5, 5)
