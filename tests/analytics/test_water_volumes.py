"""Litres in windows of time: by hand, and always summing to what flowed or was counted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.counters import counted
from analytics.water_volumes import litres_from_flow, litres_from_meter

MINUTE = 60_000_000
NAN = np.nan


def test_flow_holds_until_the_next_sample():
    # 6 L/min for 2 min, then 3 L/min for 1 min: 15 L; half a minute of the last: 1.5 L.
    found = litres_from_flow(
        [0, 2 * MINUTE, 3 * MINUTE], [6.0, 3.0, 0.0], [0, 0, 150_000_000], [180_000_000, MINUTE, 4 * MINUTE], 5 * MINUTE
    )
    assert found.litres.tolist() == pytest.approx([15.0, 6.0, 1.5])
    assert found.covered_s.tolist() == [180.0, 60.0, 90.0]
    assert found.span_s.tolist() == [180.0, 60.0, 90.0]


def test_a_gap_is_not_bridged():
    # a sample holds for 3 minutes at most: 3 of the 10 minutes are covered
    found = litres_from_flow([0, 10 * MINUTE], [4.0, 4.0], [0], [10 * MINUTE], 3 * MINUTE)
    assert (found.litres.tolist(), found.covered_s.tolist()) == ([12.0], [180.0])


def test_a_missing_sample_is_one_that_never_came():
    held = litres_from_flow([0, MINUTE, 2 * MINUTE], [4.0, NAN, 0.0], [0], [2 * MINUTE], 3 * MINUTE)
    assert held.litres.tolist() == [8.0]


def test_no_data_is_not_a_dry_line():
    for times, values in (([], []), ([0], [NAN])):
        found = litres_from_flow(times, values, [0], [MINUTE], MINUTE)
        assert np.isnan(found.litres).all()
        assert found.covered_s.tolist() == [0.0]
        assert np.isnan(litres_from_meter(times, values, [0], [MINUTE], MINUTE).litres).all()
    assert np.isnan(litres_from_meter([0], [5.0], [0], [MINUTE], MINUTE).litres).all()
    far = litres_from_flow([0, MINUTE], [1.0, 1.0], [-3 * MINUTE, 9 * MINUTE], [0, 10 * MINUTE], MINUTE)
    assert np.isnan(far.litres).all()


def test_a_meter_counts_through_a_gap_but_the_gap_is_not_covered():
    # 60 L over an hour without a reading; a window over the first half holds a guess of 30 L and no cover
    found = litres_from_meter([0, 60 * MINUTE], [100.0, 160.0], [0, 0], [60 * MINUTE, 30 * MINUTE], 3 * MINUTE)
    assert found.litres.tolist() == [60.0, 30.0]
    assert found.covered_s.tolist() == [0.0, 0.0]


def test_a_meter_that_rolls_over_or_is_reset():
    assert litres_from_meter([0, MINUTE], [998.0, 3.0], [0], [MINUTE], MINUTE, 1000.0).litres.tolist() == [5.0]
    assert litres_from_meter([0, MINUTE], [998.0, 3.0], [0], [MINUTE], MINUTE).litres.tolist() == [3.0]


rows = st.lists(st.tuples(st.integers(1, 600), st.floats(0, 50)), min_size=2, max_size=40)


@given(rows, st.lists(st.integers(0, 20_000), max_size=8), st.integers(1, 600))
def test_adjoining_windows_sum_to_the_counter(rows, cuts, max_gap):
    times = np.cumsum([step for step, _ in rows]) * 1_000_000
    total = np.cumsum([litres for _, litres in rows])
    edges = np.unique(
        [times[0], times[-1], *(cut * 1_000_000 for cut in cuts if times[0] < cut * 1_000_000 < times[-1])]
    )
    found = litres_from_meter(times, total, edges[:-1], edges[1:], max_gap * 1_000_000)
    assert np.nansum(found.litres) == pytest.approx(counted(total), abs=1e-6)
    assert np.all(found.covered_s <= found.span_s + 1e-9)


@given(rows)
def test_a_flow_and_the_meter_that_counts_it_agree(rows):
    """The meter's increments are, by construction, flow held for the time between two readings."""
    seconds = np.array([step for step, _ in rows])
    times = np.concatenate(([0], np.cumsum(seconds))) * 1_000_000
    flow = np.array([rate for _, rate in rows])
    meter = np.concatenate(([0.0], np.cumsum(flow * seconds / 60)))
    window = [0, times[-1] // 2], [times[-1] // 2, times[-1]]
    by_flow = litres_from_flow(times, [*flow, 0.0], *window, 10**12)
    by_meter = litres_from_meter(times, meter, *window, 10**12)
    np.testing.assert_allclose(by_flow.litres, by_meter.litres, rtol=1e-9, atol=1e-6)


def test_wrong_calls():
    for call in (litres_from_flow, litres_from_meter):
        with pytest.raises(ValueError, match="max_gap_us is 0: give the longest time"):
            call([0], [1.0], [0], [1], 0)
        with pytest.raises(ValueError, match="window 1 ends at 3, before it starts at 4: swap the two"):
            call([0], [1.0], [0, 4], [1, 3], 9)
        with pytest.raises(ValueError, match="give one end for each start"):
            call([0], [1.0], [0, 4], [1], 9)
        with pytest.raises(ValueError, match="time_us must ascend"):
            call([5, 4], [1.0, 1.0], [0], [1], 9)
