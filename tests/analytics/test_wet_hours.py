"""Wet hours counted by hand."""

import numpy as np
import pytest

from analytics.wet_hours import wet_time

MINUTE = 60_000_000


def test_a_night_counted_by_hand():
    # 10 min each at +2.0, +0.3, -0.2 and -1.0 K, give or take 0.5 K.
    margin = np.repeat([2.0, 0.3, -0.2, -1.0], 10)
    night = wet_time(np.arange(40) * MINUTE, margin, 0.5, 0, 40 * MINUTE, 3 * MINUTE)
    assert (night.wet_s, night.surely_s, night.perhaps_s) == (1200.0, 600.0, 1800.0)
    assert (night.covered_s, night.coverage) == (2400.0, 1.0)


def test_0_is_wet():
    night = wet_time([0], [0.0], 0.0, 0, MINUTE, MINUTE)
    assert (night.wet_s, night.surely_s, night.perhaps_s) == (60.0, 60.0, 60.0)


def test_a_gap_is_neither_wet_nor_dry():
    night = wet_time([0, MINUTE, 50 * MINUTE], [-1.0, np.nan, -1.0], 0.1, 0, 60 * MINUTE, 3 * MINUTE)
    assert (night.wet_s, night.covered_s) == (360.0, 360.0)
    assert night.coverage == pytest.approx(0.1)


def test_each_sample_has_its_own_give_or_take_and_an_unknown_one_is_without_end():
    night = wet_time([0, MINUTE, 2 * MINUTE], [-1.0, 1.0, -1.0], [2.0, 2.0, np.nan], 0, 3 * MINUTE, MINUTE)
    assert (night.wet_s, night.surely_s, night.perhaps_s) == (120.0, 0.0, 180.0)


def test_samples_before_the_window_hold_into_it_and_an_empty_one_has_no_coverage():
    assert wet_time([0], [-1.0], 0.0, 30_000_000, 2 * MINUTE, MINUTE).wet_s == 30.0
    nothing = wet_time([], [], 0.5, 0, MINUTE, MINUTE)
    assert (nothing.wet_s, nothing.perhaps_s, nothing.coverage) == (0.0, 0.0, 0.0)
    assert np.isnan(wet_time([], [], 0.5, MINUTE, MINUTE, MINUTE).coverage)


def test_wrong_calls():
    with pytest.raises(ValueError, match=r"margin_uncertainty has shape \(2,\), the margins \(3,\): give one"):
        wet_time([0, 1, 2], [1.0, 1.0, 1.0], [0.5, 0.5], 0, 3, 1)
    with pytest.raises(ValueError, match="must ascend"):
        wet_time([1, 0], [1.0, 1.0], 0.5, 0, 3, 1)
    with pytest.raises(ValueError, match="swap the two"):
        wet_time([0], [1.0], 0.5, 3, 0, 1)
    with pytest.raises(ValueError, match="above 0"):
        wet_time([0], [1.0], 0.5, 0, 3, 0)
