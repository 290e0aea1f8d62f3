"""Lines between events: slopes against scipy, intervals against random errors, changes against made-up truth."""

import math

import numpy as np
import pytest
from scipy import signal, stats

from analytics.lines import change_between, drift, lines_between, value_at

MINUTE = 60_000_000
DAY = 1440 * MINUTE
GAP = 5 * MINUTE


def minutes(count):
    return np.arange(count) * MINUTE


def test_one_stretch_is_ordinary_least_squares():
    at = minutes(60)
    noise = np.random.default_rng(1).normal(0, 0.01, 60)
    noise -= 0.6 * np.roll(noise, 1)  # neighbours that differ rather than resemble: nothing to widen
    value = 6.0 + 0.4 * at / DAY + noise
    oracle = stats.linregress(at / DAY, value)
    lines = lines_between(at, value, [], 0, GAP)
    found = drift(lines, 0, int(at[-1]), 0)
    assert found.per_day == pytest.approx(oracle.slope, rel=1e-9)
    assert found.plus_or_minus_per_day == pytest.approx(stats.t.ppf(0.975, 58) * oracle.stderr, rel=1e-4)
    assert (found.covered_s, found.stretches) == (59 * 60, 1)
    start = value_at(lines, 0, 0)
    assert start.value == pytest.approx(oracle.intercept, rel=1e-12)
    assert start.plus_or_minus == pytest.approx(stats.t.ppf(0.975, 58) * oracle.intercept_stderr, rel=1e-4)


def test_several_stretches_are_weighted_by_their_length():
    # Half a day at +1 a day and a quarter at -2: +0 over the covered time, whatever the steps between.
    at = minutes(1080)
    value = np.where(at < DAY // 2, at / DAY, 5.0 - 2 * at / DAY)
    edge = DAY // 2
    found = drift(lines_between(at, value, [(edge - MINUTE, edge)], 0, GAP), 0, DAY, 0)
    expected = (718 * 1.0 + 358 * -2.0) / (718 + 358)  # minutes from first to last sample of each stretch
    assert found.per_day == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize(("likeness", "least"), [(0.0, 0.93), (0.5, 0.91), (0.8, 0.87)])
def test_intervals_hold_the_truth_as_often_as_they_say(likeness, least):
    # Random errors, each like the one before by so much; 95 % is asked for, 1,000 trials scatter by 0.7 %. On short
    # stretches the likeness comes out too small (known of the method): less is let pass where it is high.
    trials, at = 1000, minutes(240)
    noise = signal.lfilter([1.0], [1.0, -likeness], np.random.default_rng(7).normal(size=(trials, 340)))[:, 100:]
    events = [(120 * MINUTE, 121 * MINUTE)]
    found = [drift(lines_between(at, row, events, 0, GAP), 0, 240 * MINUTE, 0) for row in noise]
    held = sum(abs(one.per_day) <= one.plus_or_minus_per_day for one in found) / trials
    assert least <= held <= 0.98
    if likeness == 0.8:  # what leaving the likeness out would give
        oracles = [stats.linregress(at / DAY, row) for row in noise[:300]]
        assert sum(abs(one.slope) <= 1.97 * one.stderr for one in oracles) / 300 < 0.7


def test_readings_during_an_event_and_until_it_has_settled_do_not_count():
    at = minutes(60)
    value = np.where(at <= 20 * MINUTE, 1.0, 2.0)
    value[21:35] = 99.0
    lines = lines_between(at, value, [(20 * MINUTE + 1, 25 * MINUTE)], 9 * MINUTE, GAP)
    assert [(one.start_us // MINUTE, one.end_us // MINUTE, one.mean) for one in lines] == [(0, 20, 1.0), (35, 59, 2.0)]


def test_an_event_between_two_readings_parts_them():
    lines = lines_between(minutes(20), [1.0] * 10 + [2.0] * 10, [(9 * MINUTE + 1, 9 * MINUTE + 2)], 0, GAP)
    assert [one.mean for one in lines] == [1.0, 2.0]


def test_gaps_and_missing_values_part_stretches():
    at, value = minutes(40), np.ones(40)
    value[10:20] = np.nan
    assert [one.count for one in lines_between(at, value, [], 0, GAP)] == [10, 20]
    kept = np.r_[0:10, 20:40]
    assert [one.count for one in lines_between(at[kept], value[kept], [], 0, GAP)] == [10, 20]
    value[:] = 1.0
    value[10:13] = np.nan  # four minutes: bridged
    assert [one.count for one in lines_between(at, value, [], 0, GAP)] == [37]


def falling(hours=24, per_day=-48.0, jumps=()):
    at = minutes(hours * 60)
    value = 216.0 + per_day * at / DAY
    for when, size in jumps:
        value = value + size * (at > when * MINUTE)
    return at, value


def test_the_change_over_a_day_leaves_the_steps_out():
    jumps = [(200, 7.0), (500, 7.5), (900, 6.0)]
    at, value = falling(jumps=jumps)
    events = [(when * MINUTE, (when + 1) * MINUTE) for when, _ in jumps]
    lines = lines_between(at, value, events, 3 * MINUTE, GAP)
    found = change_between(lines, 0, DAY, 30 * MINUTE)
    assert found.amount == pytest.approx(-48.0, abs=1e-6)
    assert found.covered_s == 86_400
    start, end = value_at(lines, 0, 30 * MINUTE), value_at(lines, DAY, 30 * MINUTE)
    assert end.value - start.value == pytest.approx(-48.0 + 20.5, abs=1e-6)


def test_silence_is_not_covered():
    at, value = falling()
    kept = (at < 6 * 60 * MINUTE) | (at >= 12 * 60 * MINUTE)
    found = change_between(lines_between(at[kept], value[kept], [], 0, GAP), 0, DAY, 120 * MINUTE)
    assert found.covered_s == pytest.approx(18 * 3600 + 240, abs=60)  # the last reading speaks for the longest gap
    assert found.amount == pytest.approx(-36.0, abs=0.2)
    lines = lines_between(at[kept], value[kept], [], 0, GAP)
    assert math.isnan(value_at(lines, 9 * 60 * MINUTE, 120 * MINUTE).value)


def test_a_window_cuts_the_lines():
    at, value = falling()
    lines = lines_between(at, value, [], 0, GAP)
    parts = [change_between(lines, a, b, 0).amount for a, b in ((0, DAY // 3), (DAY // 3, DAY - MINUTE))]
    assert parts[0] == pytest.approx(-16.0)
    assert sum(parts) == pytest.approx(change_between(lines, 0, DAY - MINUTE, 0).amount)


def test_the_interval_of_a_change_holds_the_truth():
    random, held = np.random.default_rng(3), 0
    at, value = falling(jumps=[(400, 7.0), (1000, 7.0)])
    events = [(400 * MINUTE, 401 * MINUTE), (1000 * MINUTE, 1001 * MINUTE)]
    for _ in range(200):
        lines = lines_between(at, value + random.normal(0, 0.4, len(at)), events, 0, GAP)
        found = change_between(lines, 0, DAY, 10 * MINUTE)
        held += abs(found.amount + 48.0) <= found.plus_or_minus
    assert 0.90 <= held / 200 <= 0.99  # 95 % is asked for; 200 trials scatter by 1.5 %


@pytest.mark.parametrize("count", [0, 1, 4])
def test_little_data_tells_nothing(count):
    lines = lines_between(minutes(count), np.ones(count), [], 0, GAP)
    assert lines == []
    assert math.isnan(drift(lines, 0, DAY, 0).per_day)
    assert math.isnan(change_between(lines, 0, DAY, 0).amount)
    assert change_between(lines, 0, DAY, 0).covered_s == 0
    assert math.isnan(value_at(lines, 0, 0).value)


def test_times_of_microseconds_are_kept():
    at = 1_772_323_200_000_000 + minutes(10)
    [line] = lines_between(at, 5.0 + np.arange(10.0), [], 0, GAP)
    assert line.per_s == pytest.approx(1 / 60, rel=1e-12)
    assert line.at(int(at[3])).value == pytest.approx(8.0, abs=1e-9)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: lines_between([0], [1.0], [], -1, GAP), "settle_us is -1"),
        (lambda: lines_between([0], [1.0], [], 0, 0), "max_gap_us 0"),
        (lambda: lines_between([0], [1.0], [], 0, GAP, 2), "least_samples 2: give 0 or more, above 0, and 3 or more"),
        (lambda: lines_between([1, 0], [1.0, 1.0], [], 0, GAP), "time_us must ascend"),
        (lambda: change_between([], 1, 0, 0), "window 1 to 0"),
        (lambda: change_between([], 0, 1, -1), "reach_us -1"),
        (lambda: change_between([], 0, 1, 0, 2.0), "confidence is 2.0"),
        (lambda: drift([], 0, 1, 0, 2.0), "confidence is 2.0"),
        (lambda: value_at([], 0, 0, 2.0), "confidence is 2.0"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_lines_go_on_through_events_but_not_into_silence():
    at, value = falling(hours=6)
    event = [(100 * MINUTE, 160 * MINUTE)]
    through = change_between(lines_between(at, value, event, 0, GAP), 0, 6 * 60 * MINUTE, 90 * MINUTE)
    assert through.covered_s == 6 * 3600
    assert through.amount == pytest.approx(-12.0, abs=1e-6)
    too_long = change_between(lines_between(at, value, event, 0, GAP), 0, 6 * 60 * MINUTE, 30 * MINUTE)
    assert too_long.covered_s == pytest.approx((6 * 60 - 62 + 30) * 60)  # half of the reach from either side
    silent = (at < 100 * MINUTE) | (at > 160 * MINUTE)
    lines = lines_between(at[silent], value[silent], [], 0, GAP)
    covered_s = change_between(lines, 0, 6 * 60 * MINUTE, 90 * MINUTE).covered_s
    assert covered_s == pytest.approx((6 * 60 - 62 + 5) * 60)  # a reading speaks for the longest gap at most


def test_a_pace_that_changes_unseen_is_in_the_give_or_take():
    # Four hours at 24 a day, four at 72, and an event of an hour at the change: its pace could be either's.
    at = minutes(480)
    value = -np.where(at < 240 * MINUTE, 24.0 * at, 72.0 * at - 48.0 * 240 * MINUTE) / DAY
    lines = lines_between(at, value, [(210 * MINUTE, 270 * MINUTE)], 0, GAP)
    found = change_between(lines, 0, 479 * MINUTE, 90 * MINUTE)
    assert found.amount == pytest.approx(-(24 * 240 + 72 * 239) / 1440, abs=1e-6)
    half_an_hour = (72 - 24) / 2 * 31 / 1440  # the slopes' standard deviation for each half of the event
    assert found.plus_or_minus == pytest.approx(1.965 * half_an_hour * math.sqrt(2), rel=0.02)


def test_lines_of_two_paces_are_compared_with_their_own_kind():
    # 1 an hour for 8 h, then 3 an hour for 16 h; every 2 h something lasts half an hour that hides it.
    at = np.arange(1440) * MINUTE
    value = 100.0 - np.where(at < 480 * MINUTE, 1.0, 3.0) * (at - 480 * MINUTE) / (60 * MINUTE)
    events = [(start * MINUTE, (start + 30) * MINUTE) for start in range(60, 1440, 120)]
    noisy = value + np.random.default_rng(2).normal(0, 0.05, len(at))
    pace = (480 * MINUTE, 480 * MINUTE)
    lines = lines_between(at, noisy, [*events, pace], 0, GAP)
    blind = change_between(lines, 0, DAY, 120 * MINUTE)
    told = change_between(lines, 0, DAY, 120 * MINUTE, paces_us=[480 * MINUTE])
    assert told.amount == pytest.approx(-56.0, abs=told.plus_or_minus)
    assert told.plus_or_minus < blind.plus_or_minus / 4
    assert told.covered_s == blind.covered_s


def test_a_line_goes_on_as_far_as_a_known_change_of_pace():
    # 1 an hour up to 6:00, then 5; from 5:50 to 7:00 nobody could see it. Half-way would be 6:25: 25 minutes too late.
    at = np.arange(721) * MINUTE
    value = np.where(at < 360 * MINUTE, 1.0, 5.0) * (at - 360 * MINUTE) / (60 * MINUTE)
    lines = lines_between(at, value, [(350 * MINUTE, 420 * MINUTE)], 0, GAP)
    found = change_between(lines, 0, 720 * MINUTE, 90 * MINUTE, paces_us=[360 * MINUTE])
    assert found.amount == pytest.approx(36.0, abs=0.1)  # 6 and 30; a minute at either end of the event
    assert change_between(lines, 0, 720 * MINUTE, 90 * MINUTE).amount == pytest.approx(36.0 - 4.0 * 25 / 60, abs=0.1)


def test_silence_is_sought_in_what_means_are_of():
    seen = np.concatenate([np.arange(0, 120), np.arange(300, 420)]) * MINUTE
    at = np.arange(10, 420, 20) * MINUTE
    at = at[(at < 120 * MINUTE) | (at > 300 * MINUTE)]
    lines = lines_between(at, at / MINUTE, [], 0, 10 * MINUTE, 3, seen_us=seen)
    assert [(one.count, one.run_us[0] // MINUTE, one.run_us[1] // MINUTE) for one in lines] == [
        (6, 0, 129),
        (6, 300, 429),
    ]
