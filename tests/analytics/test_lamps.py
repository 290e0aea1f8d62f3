"""Output of full light, and the hours lamps have burnt."""

import math

import numpy as np
import pytest

from analytics.lamps import lamp_hours, lit_output, settled_light

MINUTE, HOUR = 60_000_000, 3_600_000_000
DAY = 24 * HOUR
SETTLE = 10 * MINUTE


def light_day(full=250.0, on_minute=360, off_minute=1320):
    times = np.arange(0, DAY, MINUTE, dtype=np.int64)
    minute = times // MINUTE
    on = ((minute >= on_minute) & (minute < off_minute)).astype(float)
    return times, on * full, on


def output_of(times, ppfd, on):
    return lit_output(times, ppfd, on, 0, DAY, 3 * MINUTE, SETTLE)


def test_a_plain_day():
    found = output_of(*light_day())
    assert found.ppfd == 250.0
    assert found.lit_s == 16 * 3600.0
    assert found.ramp_s == 20 * 60.0  # ten minutes at either end, of 960 samples
    assert found.dimmed_s == 0.0


def test_a_ramp_does_not_count():
    times, ppfd, on = light_day()
    minutes_on = times // MINUTE - 360
    ramp = (minutes_on >= 0) & (minutes_on < 9)
    ppfd[ramp] = 25.0 * minutes_on[ramp]
    assert output_of(times, ppfd, on) == output_of(*light_day())


def test_a_long_ramp_counts_as_dimmed_until_nearly_full():
    times, ppfd, on = light_day()
    minutes_on = times // MINUTE - 360
    ramp = (minutes_on >= 0) & (minutes_on < 60)
    ppfd[ramp] = 250.0 * minutes_on[ramp] / 60
    found = output_of(times, ppfd, on)
    assert found.ppfd == 250.0
    assert found.dimmed_s == (54 - 10) * 60.0  # from the tenth minute until 225 at the 54th


def test_dimmed_hours_are_told_and_do_not_pull_the_output_down():
    times, ppfd, on = light_day()
    ppfd[(times >= 8 * HOUR) & (times < 20 * HOUR)] = 150.0  # twelve of sixteen hours
    found = output_of(times, ppfd, on)
    assert found.ppfd == 250.0
    assert found.dimmed_s == 12 * 3600.0
    assert found.full_s == (4 * 60 - 20) * 60.0


def test_lamps_that_are_on_and_dark_give_nothing():
    times, ppfd, on = light_day(full=0.0)
    assert output_of(times, ppfd, on).ppfd == 0.0


def test_median_weighs_by_time():
    # one reading of 240 that holds for 3 minutes against two of 260 that hold for one each
    times = np.array([0, 3, 4, 5]) * MINUTE
    found = lit_output(times, [240.0, 260.0, 260.0, 0.0], [1, 1, 1, 0], 0, 5 * MINUTE, 3 * MINUTE, 0)
    assert (found.ppfd, found.full_s) == (240.0, 300.0)


def test_around_a_gap_nobody_knows_whether_lamps_had_just_come_on():
    times, ppfd, on = light_day()
    kept = (times < 12 * HOUR) | (times >= 13 * HOUR)
    found = output_of(times[kept], ppfd[kept], on[kept])
    assert found.ppfd == 250.0
    assert found.ramp_s == 40 * 60.0 + 120.0  # the last sample before the gap holds two minutes longer
    ppfd[~kept] = np.nan
    assert output_of(times, ppfd, on) == found


def test_nothing_known_is_not_nought():
    for times, ppfd, on in (([], [], []), ([0], [math.nan], [1.0]), ([0], [250.0], [math.nan]), ([0], [250.0], [0.0])):
        found = lit_output(times, ppfd, on, 0, DAY, 3 * MINUTE, 0)
        assert math.isnan(found.ppfd)
        assert found.lit_s == 0.0
    one = lit_output([0], [250.0], [1.0], 0, DAY, 3 * MINUTE, 0)
    assert (one.ppfd, one.full_s) == (250.0, 180.0)
    assert math.isnan(lit_output([0], [250.0], [1.0], 0, DAY, 3 * MINUTE, MINUTE).ppfd)


def test_settled_light_is_what_the_output_rests_on():
    times, ppfd, on = light_day()
    steady = settled_light(times, ppfd, on, 3 * MINUTE, SETTLE)
    known = ~np.isnan(steady)
    assert int(known.sum()) * 60 == output_of(times, ppfd, on).full_s
    assert times[known].min() == 6 * HOUR + SETTLE
    assert times[known].max() == 22 * HOUR - MINUTE - SETTLE
    assert settled_light([], [], [], MINUTE, 0).size == 0
    assert np.isnan(settled_light([0], [math.nan], [1.0], MINUTE, 0)).all()


def test_wrong_calls():
    for call, message in (
        (lambda: lit_output([0], [1.0], [1.0], 0, 1, 1, -1), "settle_us is -1"),
        (lambda: lit_output([0], [1.0], [1.0, 1.0], 0, 1, 1, 0), "of one length"),
        (lambda: lit_output([0], [1.0], [1.0], 1, 0, 1, 0), "swap the two"),
        (lambda: settled_light([0, 0], [1.0, 1.0], [1.0, 1.0], 1, 0), "must ascend"),
        (lambda: settled_light([0], [1.0], [1.0], 0, 0), "max_gap_us is 0"),
        (lambda: lamp_hours([1, 0], [1.0, 1.0]), "must ascend"),
    ):
        with pytest.raises(ValueError, match=message):
            call()


def test_hours_burnt_by_hand():
    starts = np.array([0, 1, 2, 3, 6, 7]) * DAY  # days 4 and 5 are missing
    hours = [16.0, 18.0, math.nan, 16.0, 12.0, 12.0]
    # median of the known 12, 12, 16, 16, 18: 16. The unknown day counts 16, the three days from the 3rd on 48.
    assert lamp_hours(starts, hours).tolist() == [0.0, 16.0, 34.0, 50.0, 98.0, 110.0]


def test_hours_burnt_without_knowledge():
    assert np.isnan(lamp_hours([0, DAY], [math.nan, math.nan])).all()
    assert lamp_hours([], []).size == 0
    assert lamp_hours([5], [16.0]).tolist() == [0.0]
