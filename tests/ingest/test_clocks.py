"""Wrong clocks are recognised, and nothing that only looks like one: a cut link, a backlog, a repeated message."""

from __future__ import annotations

import random

import pytest

from farm.flags import Flag
from ingest.clocks import MOST_DEVICES, ClockTrouble, DeviceClocks
from tests.conftest import SMALL_FARM, eventually

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
S = 1_000_000


def judged(messages, tolerance_s=120.0):
    """Return the trouble of each message, given as (arrival, stated time) in seconds from now; None where none."""
    clocks = DeviceClocks(tolerance_s)
    found = []
    for n, (arrived_s, time_s) in enumerate(messages):
        wrong = clocks.judged("t", NOW_US + int(time_s * S), NOW_US + int(arrived_s * S), b"%d" % n)
        found.append(wrong and wrong.trouble)
    return found


def test_a_good_clock_is_never_blamed():
    assert set(judged([(n * 10, n * 10 - 1.5) for n in range(500)])) == {None}
    wobbling = random.Random(1)
    assert set(judged([(n * 10, n * 10 - wobbling.uniform(-5, 30)) for n in range(500)])) == {None}


def test_ahead_is_said_at_once():
    assert judged([(0, 0), (10, 140), (20, 20)]) == [None, ClockTrouble.AHEAD, None]


def test_steadily_behind_is_said_after_five_messages_and_a_minute():
    found = judged([(n * 20, n * 20 - 3600) for n in range(8)])
    assert found == [None] * 4 + [ClockTrouble.BEHIND] * 4
    found = judged([(n * 2, n * 2 - 3600) for n in range(40)])
    assert found == [None] * 30 + [ClockTrouble.BEHIND] * 10


def test_a_jump_back_without_a_pause_is_called_one():
    found = judged([(n * 20, n * 20 - (7200 if n >= 10 else 0)) for n in range(20)])
    assert found == [None] * 14 + [ClockTrouble.JUMPED] * 6


def test_a_clock_that_is_set_right_is_not_blamed_any_more():
    found = judged([(n * 20, n * 20 - (3600 if n < 10 else 0)) for n in range(20)])
    assert set(found[10:]) == {None}


def test_a_clock_that_stands_still_is_said_after_five_messages_and_a_minute():
    found = judged([(n * 20, min(n * 20, 60)) for n in range(12)])
    assert found == [None] * 7 + [ClockTrouble.STANDS_STILL] * 5


def test_several_messages_of_one_snapshot_do_not_stand_still():
    assert set(judged([(minute * 60 + n / 10, minute * 60) for minute in range(5) for n in range(12)])) == {None}


@pytest.mark.parametrize("a_second", [1000, 50, 5, 2])
def test_a_cut_link_that_catches_up_is_no_wrong_clock(a_second):
    """Ten hours at a reading every 10 s, then all of it at so many a second, then live again."""
    live = [(n * 10, n * 10) for n in range(20)]
    back_s = 36_000
    backlog = [(back_s + 200 + n / a_second, 200 + n * 10) for n in range(back_s // 10)]
    end = backlog[-1][0]
    after = [(end + n * 10, end + n * 10 - 1) for n in range(1, 20)]
    assert set(judged(live + backlog + after)) == {None}


def test_a_backlog_sent_between_live_messages_is_no_wrong_clock():
    messages = []
    for n in range(200):
        messages += [(n * 10, n * 10), (n * 10 + 1, n * 100 - 50_000)]
    assert set(judged(messages)) == {None}


def test_two_devices_on_one_topic_blame_no_right_clock():
    messages = []
    for n in range(100):
        messages += [(n * 10, n * 10), (n * 10 + 5, n * 10 - 3600)]
    assert set(judged(messages)) == {None}


def test_the_same_message_again_says_nothing():
    clocks = DeviceClocks(120)
    assert {clocks.judged("t", NOW_US, NOW_US + n * 30 * S, b"the same") for n in range(20)} == {None}


def test_whole_hours_point_to_the_time_zone():
    clocks = DeviceClocks(120)
    for n in range(10):
        wrong = clocks.judged("t", NOW_US + n * 30 * S - 7200 * S, NOW_US + n * 30 * S, b"%d" % n)
    assert "7200 s behind: whole hours; does it send local time for UTC?" in wrong.detail
    assert wrong.behind_s == 7200


def test_devices_are_apart_and_bounded_in_number():
    clocks = DeviceClocks(120)
    for n in range(MOST_DEVICES + 100):
        clocks.judged(f"t/{n}", NOW_US, NOW_US, b"x")
    assert len(clocks._devices) == MOST_DEVICES
    assert "t/0" not in clocks._devices


class Clock:
    """Our own clock, put where the test wants it."""

    def __init__(self):
        self.now_us = NOW_US

    def __call__(self):
        return self.now_us


def record(time_us, value):
    dated = f'{{"n":"room/air_temperature","t":{time_us // S},"v":{value}}}'
    return f'[{dated},{{"n":"room/relative_humidity","v":60}}]'.encode()


def test_readings_of_a_wrong_clock_are_kept_and_flagged_and_the_reason_is_in_the_journal(receiving):
    clock = Clock()
    farm = receiving(SMALL_FARM, now_us=clock)
    for n in range(8):
        clock.now_us = NOW_US + n * 20 * S
        farm.send("leafweather/box", record(clock.now_us - 3600 * S, 20 + n))
        farm.took(n + 1)
    assert farm.values("room/air_temperature") == [20 + n for n in range(8)]
    assert farm.flags("room/air_temperature") == [Flag.NOT_EVALUATED] * 4 + [Flag.SUSPECT] * 4
    assert set(farm.flags("room/relative_humidity")) == {Flag.NOT_EVALUATED}, "it has our time, not the device's"
    [fault] = farm.journal.clock_faults("testfarm")
    assert (fault.device, fault.fault, fault.readings) == ("leafweather/box", "behind", 4)
    assert (fault.first_us, fault.last_us) == (NOW_US + 80 * S, NOW_US + 140 * S)
    assert farm.subscriber.counts.suspect == 4


def test_the_same_value_with_another_flag_is_a_duplicate_and_another_value_a_conflict(receiving):
    """As after a crash between commit and acknowledgement: the message comes again, its clock is judged anew."""
    clock = Clock()
    farm = receiving(SMALL_FARM, now_us=clock)
    farm.send("leafweather/box", record(NOW_US, 20))
    farm.took(1)
    clock.now_us = NOW_US - 150 * S  # now the same time is ahead of ours
    farm.send("leafweather/elsewhere", record(NOW_US, 20))
    farm.took(2)
    counts = farm.subscriber.counts
    assert (counts.duplicates, counts.conflicts) == (1, 0)
    farm.send("leafweather/elsewhere", record(NOW_US, 21))
    eventually(lambda: counts.conflicts == 1)
    assert farm.values("room/air_temperature") == [20]
    assert farm.flags("room/air_temperature") == [Flag.NOT_EVALUATED]
