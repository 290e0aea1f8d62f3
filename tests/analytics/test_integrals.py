"""Time integrals: a straight line in closed form, gaps and missing samples."""

import math

import pytest

from analytics.integrals import TimeIntegral, time_integral

SECOND = 1_000_000


def test_a_ramp_cut_by_the_window():
    # 2 t from 3 to 7 s: 49 - 9 = 40 (closed form)
    found = time_integral([0, 10 * SECOND], [0.0, 20.0], 3 * SECOND, 7 * SECOND, 10 * SECOND)
    assert found == TimeIntegral(40.0, 4.0, 4.0)


def test_gaps_and_nothing():
    found = time_integral([0, SECOND, 9 * SECOND], [1.0, 3.0, 3.0], 0, 10 * SECOND, 2 * SECOND)
    assert (found.total, found.coverage) == (2.0, 0.1)
    assert math.isnan(time_integral([0], [1.0], 0, SECOND, SECOND).total)
    assert math.isnan(time_integral([], [], 0, 0, SECOND).coverage)
    assert time_integral([0, SECOND, 2 * SECOND], [1.0, math.nan, 1.0], 0, 2 * SECOND, 2 * SECOND).total == 2.0


def test_refused_calls():
    with pytest.raises(ValueError, match="max_gap_us is 0"):
        time_integral([0], [1.0], 0, 1, 0)
    with pytest.raises(ValueError, match="before it starts"):
        time_integral([0], [1.0], 1, 0, 1)
