"""Spread between zones, against published points of the studentised range and random sensors."""

import math

import numpy as np
import pytest
from scipy import stats

from analytics.zone_spread import COVERAGE_FACTOR, range_from_accuracy, zone_spread


def test_range_of_equal_sensors_is_the_studentised_range(reference):
    table = reference("studentised_range")
    ours = [range_from_accuracy(int(count), 1.959964) for count in table["count"]]
    np.testing.assert_allclose(ours, table["point"], rtol=0, atol=6e-4)
    # Of two sensors in closed form: the difference of two errors of half-width 0.3 has half-width 0.3 sqrt(2).
    assert range_from_accuracy(2, 0.3) == pytest.approx(0.3 * math.sqrt(2), abs=6e-7)


def test_five_of_a_hundred_even_rooms_show_more():
    random = np.random.default_rng(11)
    errors = random.normal(0.0, 0.3 / 1.96, (4, 100_000))
    assert np.mean(np.ptp(errors, axis=0) > range_from_accuracy(4, 0.3)) == pytest.approx(0.05, abs=0.002)


def test_by_hand():
    values = [[22.0, 22.0, 20.0, math.nan], [22.6, 23.0, 21.0, 22.0], [22.3, 22.0, 24.0, 22.0]]
    spread = zone_spread(values, 0.3)
    assert spread.range_median == pytest.approx(1.0)  # of 0.6, 1.0 and 4.0
    assert spread.range_p95 == pytest.approx(1.0 + 0.9 * 3.0)  # linear between the two largest of three
    assert spread.deviation_median == pytest.approx(math.sqrt(1 / 3))  # of 0.3, 0.577 and 2.082
    assert spread.deviation_p95 == pytest.approx(math.sqrt(1 / 3) + 0.9 * (math.sqrt(13 / 3) - math.sqrt(1 / 3)))
    assert (spread.instants, spread.coverage) == (3, 0.75)
    assert spread.distinguishable is True


def test_a_spread_that_the_sensors_explain_is_not_one_of_the_air():
    # Two sensors of 0.3 K may differ by 0.42 K.
    assert zone_spread([[22.0] * 5, [22.4] * 5], 0.3).distinguishable is False
    assert zone_spread([[22.0] * 5, [22.45] * 5], 0.3).distinguishable is True
    assert zone_spread([[22.0] * 5, [22.45] * 5], [0.3, 0.5]).distinguishable is False  # the worst sensor counts


def test_offsets_of_the_zones_do_not_average_out():
    random = np.random.default_rng(5)
    day = random.normal(22.0, 1.0, 1440)
    rows = np.array([-0.25, 0.10, 0.25, 0.0])[:, None] + day + random.normal(0, 0.03, (4, 1440))
    spread = zone_spread(rows, 0.3)
    assert spread.range_median == pytest.approx(0.5, abs=0.02)
    assert spread.deviation_median == pytest.approx(float(np.std([-0.25, 0.10, 0.25, 0.0], ddof=1)), abs=0.02)
    assert spread.distinguishable is False  # four sensors of 0.3 K: 0.56 K


def test_what_cannot_be_said():
    spread = zone_spread([[22.0], [23.0]], math.nan)
    assert spread.range_median == 1.0
    assert spread.distinguishable is None
    for values in (np.empty((2, 0)), [[math.nan, 22.0], [22.0, math.nan]]):
        spread = zone_spread(values, 0.3)
        assert math.isnan(spread.range_median)
        assert math.isnan(spread.deviation_p95)
        assert spread.distinguishable is None
        assert spread.instants == 0
    assert math.isnan(zone_spread(np.empty((2, 0)), 0.3).coverage)
    one = zone_spread([[22.0], [22.5]], 0.1)
    assert (one.range_median, one.range_p95, one.instants) == (0.5, 0.5, 1)


def test_wrong_calls():
    with pytest.raises(ValueError, match="one row a zone, two at least"):
        zone_spread([[22.0, 23.0]], 0.3)
    with pytest.raises(ValueError, match="one row a zone, two at least"):
        zone_spread([22.0, 23.0], 0.3)
    with pytest.raises(ValueError, match=r"\(3,\) accuracies for 2 zones"):
        zone_spread([[22.0], [23.0]], [0.1, 0.2, 0.3])
    with pytest.raises(ValueError, match="count is 1"):
        range_from_accuracy(1, 0.3)
    with pytest.raises(ValueError, match=r"accuracy is -0\.1"):
        range_from_accuracy(2, -0.1)


def test_the_coverage_factor_of_95_per_cent():
    assert pytest.approx(stats.norm.ppf(0.975), abs=5e-7) == COVERAGE_FACTOR  # seven digits
