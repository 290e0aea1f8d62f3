"""Dry lines against their usual pauses, counted by hand: a run of 5 min each hour, then none."""

from __future__ import annotations

import numpy as np
import pytest

from analytics.irrigation_pauses import dry_share, last_run_us

MINUTE = 60_000_000


def line(hours, dry_hours=0):
    flow = np.tile(np.r_[np.ones(5), np.zeros(55)], hours)
    flow = np.r_[flow, np.zeros(60 * dry_hours)]
    return np.arange(len(flow)) * MINUTE, flow


def test_a_line_that_waters_each_hour_is_never_dry_for_too_long():
    time_us, flow = line(48)
    share = dry_share(time_us, flow, 0.5, 3 * MINUTE)
    # The pause lasts 56 min from the last wet sample to the next: 55 of 1.5 x 56 + 10 min at its end.
    assert np.nanmax(share) == pytest.approx(55 / 94)
    assert np.isnan(share[: 24 * 60]).all(), "a day with its night tells what is usual"
    assert not np.isnan(share[24 * 60 :]).any()


def test_it_is_too_long_after_one_and_a_half_times_the_longest_and_ten_minutes():
    time_us, flow = line(48, dry_hours=3)
    share = dry_share(time_us, flow, 0.5, 3 * MINUTE)
    first = int(np.flatnonzero(share > 1)[0])
    assert (time_us[first] - last_run_us(time_us, flow, 0.5)) / MINUTE == 95  # 94 is not more than 94


def test_a_gap_in_the_readings_may_hide_a_run():
    time_us, flow = line(48, dry_hours=3)
    hidden = (time_us > 48 * 60 * MINUTE) & (time_us < (48 * 60 + 60) * MINUTE)
    share = dry_share(time_us[~hidden], flow[~hidden], 0.5, 3 * MINUTE)
    late = time_us[~hidden] >= (48 * 60 + 60) * MINUTE
    assert share[late][0] == 0.0
    assert (share[late] > 1).sum() == 120 - 95


def test_nothing_and_no_data():
    assert len(dry_share(np.array([], np.int64), np.array([]), 0.5, MINUTE)) == 0
    time_us, flow = line(48, dry_hours=4)
    flow[48 * 60 :] = np.nan
    assert not (dry_share(time_us, flow, 0.5, 3 * MINUTE) > 1).any()
    assert last_run_us(time_us[:0], flow[:0], 0.5) is None
