"""Light integrals, photoperiods and light days."""

import itertools
import math
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.light import DAY_US, held_light_integral, light_day_starts, light_days, light_integral, lit_seconds

SECOND = 1_000_000
MINUTE, HOUR = 60 * SECOND, 3600 * SECOND


def every(step, start, end):
    return np.arange(start, end + 1, step, dtype=np.int64)


# --- light integral -----------------------------------------------------------------------------


def test_constant_light_table(reference):
    for row in reference("daily_light_integral"):
        times = every(MINUTE, 0, int(row["hours"]) * HOUR)
        got = light_integral(times, np.full(len(times), row["ppfd"]), 0, int(times[-1]), 5 * MINUTE)
        assert got.mol == pytest.approx(row["integral"], abs=0.005 + 1e-9)  # two decimals printed
        assert got.coverage == 1.0


def test_switched_light_is_the_table_exactly(reference):
    for row in reference("daily_light_integral"):
        length = int(row["hours"]) * HOUR
        got = held_light_integral([0, length], [row["ppfd"], 0.0], 0, 24 * HOUR, 24 * HOUR)
        assert got.mol == pytest.approx(row["integral"], abs=0.005 + 1e-9)  # two decimals printed
        assert got.coverage == 1.0
        per_minute = every(MINUTE, 0, 24 * HOUR - MINUTE)
        held = held_light_integral(per_minute, row["ppfd"] * (per_minute < length), 0, 24 * HOUR, MINUTE)
        assert held.mol == pytest.approx(got.mol, rel=1e-9)


def test_switched_light_that_nobody_saw_is_not_darkness():
    got = held_light_integral([0, HOUR, 5 * HOUR], [200.0, math.nan, 0.0], 0, 6 * HOUR, 2 * HOUR)
    assert got.mol == pytest.approx(200 * 2 * 3600 / 1e6)
    assert got.covered_s == 3 * 3600.0
    assert math.isnan(held_light_integral([], [], 0, HOUR, MINUTE).mol)


def test_half_sine_day():
    # The integral of a half sine over its length is 2/pi of peak times length (calculus); trapezoids over N steps
    # fall short of it by (pi/N)^2/12, 1.6e-6 for 720 minutes.
    length = 12 * HOUR
    times = every(MINUTE, 0, length)
    ppfd = 1000 * np.sin(np.pi * times / length)
    expected = 1000 * 12 * 3600 * 2 / math.pi / 1e6
    assert light_integral(times, ppfd, 0, length, 2 * MINUTE).mol == pytest.approx(expected, rel=1.7e-6)


def test_ramp_is_cut_by_interpolation():
    # PPFD rises 0..100 over 100 s; between 25 s and 75 s its mean is 50: 2500 umol.
    got = light_integral([0, 100 * SECOND], [0.0, 100.0], 25 * SECOND, 75 * SECOND, 100 * SECOND)
    assert got.mol == pytest.approx(2500e-6, rel=1e-12)
    assert (got.covered_s, got.span_s) == (50.0, 50.0)


def test_a_long_gap_is_neither_integrated_nor_covered():
    times = [0, MINUTE, 20 * MINUTE, 21 * MINUTE]
    got = light_integral(times, [100.0] * 4, 0, 21 * MINUTE, 5 * MINUTE)
    assert got.mol == pytest.approx(2 * 60 * 100e-6)
    assert got.covered_s == 120.0
    assert got.coverage == pytest.approx(2 / 21)


def test_a_gap_of_exactly_the_limit_is_bridged():
    assert light_integral([0, MINUTE], [100.0, 100.0], 0, MINUTE, MINUTE).covered_s == 60.0
    assert light_integral([0, MINUTE], [100.0, 100.0], 0, MINUTE, MINUTE - 1).covered_s == 0.0


def test_nan_is_a_sample_that_never_came():
    times = every(MINUTE, 0, 4 * MINUTE)
    ppfd = np.array([100.0, 100.0, np.nan, 100.0, 100.0])
    kept = ~np.isnan(ppfd)
    for longest in (MINUTE, 2 * MINUTE):
        assert light_integral(times, ppfd, 0, 4 * MINUTE, longest) == light_integral(
            times[kept], ppfd[kept], 0, 4 * MINUTE, longest
        )
    assert light_integral(times, ppfd, 0, 4 * MINUTE, MINUTE).covered_s == 120.0


def test_no_data_is_not_darkness():
    nothing = light_integral([], [], 0, HOUR, MINUTE)
    assert math.isnan(nothing.mol)
    assert nothing.coverage == 0.0
    dark = light_integral([0, HOUR], [0.0, 0.0], 0, HOUR, HOUR)
    assert dark.mol == 0.0
    assert dark.coverage == 1.0
    assert math.isnan(light_integral([0], [100.0], 0, HOUR, HOUR).mol)  # one sample spans no time
    assert math.isnan(light_integral([0, HOUR], [1.0, 1.0], 5, 5, HOUR).coverage)  # nor does an empty window


samples_of_light = st.lists(
    st.tuples(st.integers(1, 30 * MINUTE), st.one_of(st.floats(0, 2000), st.just(math.nan))), max_size=30
)


@given(samples_of_light, st.lists(st.integers(0, 4 * HOUR), min_size=3, max_size=3))
def test_adjoining_windows_sum_to_the_whole(steps, edges):
    times = np.cumsum([step for step, _ in steps], dtype=np.int64)
    ppfd = [value for _, value in steps]
    start, middle, end = sorted(edges)
    whole, first, second = (
        light_integral(times, ppfd, *window, 20 * MINUTE) for window in ((start, end), (start, middle), (middle, end))
    )
    assert first.covered_s + second.covered_s == pytest.approx(whole.covered_s, abs=1e-6)
    assert np.nansum([first.mol, second.mol]) == pytest.approx(np.nansum([whole.mol]), rel=1e-9, abs=1e-9)
    assert 0 <= whole.covered_s <= whole.span_s


# --- lit time -----------------------------------------------------------------------------------


def test_photoperiod_from_a_switch_and_from_ppfd():
    times = every(MINUTE, 0, 24 * HOUR)
    on = (times >= 6 * HOUR) & (times < 22 * HOUR)
    by_switch = lit_seconds(times, on, 0, 24 * HOUR, 3 * MINUTE)
    by_light = lit_seconds(times, on * 250.0, 0, 24 * HOUR, 3 * MINUTE, threshold=10.0)
    assert by_switch == by_light
    assert by_switch.lit_s == 16 * 3600.0
    assert by_switch.coverage == 1.0


def test_lit_time_does_not_count_what_nobody_saw():
    got = lit_seconds([0, HOUR], [1, 1], 0, 2 * HOUR, max_gap_us=10 * MINUTE)
    assert (got.lit_s, got.covered_s, got.span_s) == (1200.0, 1200.0, 7200.0)
    assert math.isnan(lit_seconds([], [], 0, 0, HOUR).coverage)


# --- light days ---------------------------------------------------------------------------------


def schedule(days, on_hour=6, off_hour=22, step=MINUTE):
    times = every(step, 0, days * DAY_US)
    hour = (times // HOUR) % 24
    return times, ((hour >= on_hour) & (hour < off_hour)).astype(float)


def test_days_begin_at_lights_on():
    times, on = schedule(3)
    starts = light_day_starts(times, on, 2 * HOUR, 3 * MINUTE)
    assert (starts // HOUR).tolist() == [6, 30, 54]


def test_a_flicker_begins_no_day():
    times, on = schedule(2)
    on[(times >= 12 * HOUR) & (times < 12 * HOUR + 20 * MINUTE)] = 0
    assert (light_day_starts(times, on, 2 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6, 30]
    assert len(light_day_starts(times, on, 10 * MINUTE, 3 * MINUTE)) == 3  # unless it is as long as asked for


def test_many_flickers_do_not_add_up():
    times = every(MINUTE, 0, 10 * HOUR)
    on = (times // MINUTE) % 10 == 0  # one minute on, nine off
    assert light_day_starts(times, on, 10 * MINUTE, 3 * MINUTE).size == 0


def test_missing_samples_are_not_darkness():
    times, on = schedule(2)
    seen = (times < 12 * HOUR) | (times >= 16 * HOUR)  # four hours lost in the middle of the day
    assert (light_day_starts(times[seen], on[seen], 2 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6, 30]
    on[~seen] = np.nan
    assert (light_day_starts(times, on, 2 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6, 30]
    all_night = (times < 22 * HOUR) | (times >= 30 * HOUR)  # the night itself lost: nobody saw it was dark
    assert (light_day_starts(times[all_night], on[all_night], 2 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6]


def test_darkness_on_both_sides_of_a_gap_adds_up():
    times, on = schedule(2)
    seen = (times < 24 * HOUR) | (times >= 28 * HOUR)  # dark was seen for 2 h before the gap and 2 h after it
    assert (light_day_starts(times[seen], on[seen], 4 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6, 30]
    assert (light_day_starts(times[seen], on[seen], 5 * HOUR, 3 * MINUTE) // HOUR).tolist() == [6]


def test_a_record_that_begins_lit_has_no_start_there():
    assert light_day_starts([0, MINUTE], [1, 1], MINUTE, HOUR).size == 0
    assert light_day_starts([], [], MINUTE, HOUR).size == 0
    assert light_day_starts([0, MINUTE], [np.nan, np.nan], MINUTE, HOUR).size == 0


def test_light_day_is_not_cut_by_a_clock_change():
    # Berlin, 29 March 2026: clocks go forward at 01:00 UTC. A timer without daylight saving lights 17:00-09:00 UTC.
    begin = int(datetime(2026, 3, 27, tzinfo=UTC).timestamp()) * SECOND
    times = begin + every(MINUTE, 0, 4 * DAY_US)
    hour = (times // HOUR) % 24
    on = (hour >= 17) | (hour < 9)
    local = [datetime(2026, 3, 28, tzinfo=ZoneInfo("Europe/Berlin")) + timedelta(days=day) for day in range(3)]
    midnights = [int(one.timestamp()) * SECOND for one in local]
    days = light_days(times, on, int(times[-1]), 2 * HOUR, 3 * MINUTE, midnights)
    assert (np.diff(days) == DAY_US).all()
    for start, end in itertools.pairwise(days):
        assert lit_seconds(times, on, int(start), int(end), 3 * MINUTE).lit_s == 16 * 3600.0


def test_midnights_serve_where_there_are_no_lights():
    midnights = [0, DAY_US, 2 * DAY_US]
    assert light_days([], [], 2 * DAY_US - 1, HOUR, HOUR, midnights).tolist() == [0, DAY_US]
    assert light_days([], [], DAY_US, HOUR, HOUR).size == 0
    always = every(MINUTE, 0, DAY_US)
    assert light_days(always, np.ones(len(always)), DAY_US, HOUR, HOUR, midnights).tolist() == [0, DAY_US]


MIDNIGHTS = np.arange(8, dtype=np.int64) * DAY_US


def test_lights_on_is_preferred_to_midnights():
    times, on = schedule(2)
    assert (light_days(times, on, 2 * DAY_US, HOUR, HOUR, MIDNIGHTS[1:]) // HOUR).tolist() == [6, 30]


def test_midnights_go_on_when_the_lights_stay_off():
    times, on = schedule(6)
    on[(times >= DAY_US) & (times < 4 * DAY_US)] = 0  # on at 6 h of day 0, then not before 6 h of day 4
    days = light_days(times, on, 5 * DAY_US, HOUR, HOUR, MIDNIGHTS) // HOUR
    # Not at 24 h, within the day that lights began; not at 96 h, six hours before lights-on.
    assert days.tolist() == [6, 48, 72, 102]


def test_midnights_serve_before_the_first_lights_on():
    times, on = schedule(3)
    on[times < 2 * DAY_US] = 0
    assert (light_days(times, on, 3 * DAY_US - 1, HOUR, HOUR, MIDNIGHTS) // HOUR).tolist() == [0, 24, 54]


@pytest.mark.parametrize(("until", "expected"), [(42, [6]), (47, [6]), (48, [6, 48]), (80, [6, 48, 72])])
def test_the_running_day_ends_at_a_midnight_if_no_lights_on_comes(until, expected):
    times = every(MINUTE, 0, until * HOUR)
    days = light_days(times, times >= 6 * HOUR, until * HOUR, HOUR, HOUR, MIDNIGHTS[1:])
    assert (days // HOUR).tolist() == expected


def test_what_was_seen_earlier_changes_no_later_day():
    times, on = schedule(7)
    on[(times >= DAY_US) & (times < 5 * DAY_US)] = 0
    whole = light_days(times, on, 7 * DAY_US, HOUR, HOUR, MIDNIGHTS)
    late = times >= 3 * DAY_US
    part = light_days(times[late], on[late], 7 * DAY_US, HOUR, HOUR, MIDNIGHTS[3:])
    assert part.tolist() == whole[whole >= 3 * DAY_US].tolist()


def test_nothing_begins_after_until():
    times, on = schedule(3)
    assert (light_days(times, on, 40 * HOUR, HOUR, HOUR) // HOUR).tolist() == [6, 30]


# --- wrong calls --------------------------------------------------------------------------------


@pytest.mark.parametrize("function", [light_integral, lit_seconds])
def test_wrong_calls(function):
    with pytest.raises(ValueError, match=r"time_us has shape \(2,\) and the values \(1,\)"):
        function([0, 1], [1.0], 0, 1, 1)
    with pytest.raises(ValueError, match="time_us must ascend, but 5 follows 5 at position 1"):
        function([5, 5], [1.0, 1.0], 0, 1, 1)
    with pytest.raises(ValueError, match="time_us holds float64: give whole microseconds"):
        function([0.5, 1.5], [1.0, 1.0], 0, 1, 1)
    with pytest.raises(ValueError, match="the window ends at 0, before it starts at 1"):
        function([0, 1], [1.0, 1.0], 1, 0, 1)
    with pytest.raises(ValueError, match="max_gap_us is 0: give the longest gap"):
        function([0, 1], [1.0, 1.0], 0, 1, 0)


def test_wrong_calls_of_light_days():
    with pytest.raises(ValueError, match="min_dark_us is 0: give the darkness between"):
        light_day_starts([0], [1], 0, HOUR)
    with pytest.raises(ValueError, match="max_gap_us is -1"):
        light_day_starts([0], [1], HOUR, -1)
    with pytest.raises(ValueError, match="time_us must ascend, but 3 follows 5"):
        light_days([], [], 0, HOUR, HOUR, [5, 3])
