"""A regular grid, held to sums worked out by hand and to pandas' own resampling."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.regular_grid import Aggregation, regular_grid
from tests.conftest import MINUTE_US, samples

NAN = float("nan")


def grid(text, edges_min, how=Aggregation.MEAN, gap_min=3, least=0.0):
    rows = samples(text, start_us=0)
    return regular_grid(
        [time for time, _ in rows],
        [value for _, value in rows],
        np.array(edges_min) * MINUTE_US,
        gap_min * MINUTE_US,
        how,
        least,
    )


# 0 to 4 min: 1, 3, 8, then silence; 4 to 8 min: one reading of 7 at minute 6. By hand.
BY_HAND = {
    Aggregation.MEAN: [4.0, 7.0],
    Aggregation.MEDIAN: [3.0, 7.0],
    Aggregation.LOW: [1.0, 7.0],
    Aggregation.HIGH: [8.0, 7.0],
    Aggregation.FIRST: [1.0, 7.0],
    Aggregation.LAST: [8.0, 7.0],
    # 1 for 1 min, 3 for 1 min, 8 for 2 min: 20/4; then 8 holds 1 min more and 7 the last 2 of the cell: 22/3
    Aggregation.TIME_MEAN: [5.0, 22.0 / 3.0],
}


@pytest.mark.parametrize("how", Aggregation)
def test_each_aggregation_by_hand(how):
    found = grid("1 3 8 _*3 7", [0, 4, 8], how)
    assert found.value == pytest.approx(BY_HAND[how], rel=1e-15)
    assert found.samples.tolist() == [3, 1]
    assert found.coverage.tolist() == [1.0, 0.75]  # 8 holds for 3 min from minute 2: until 5; 7 from 6 to 8


def test_the_median_of_an_even_number_is_halfway():
    assert grid("9 1 5 2", [0, 4], Aggregation.MEDIAN).value.tolist() == [3.5]


@pytest.mark.parametrize(("least", "told"), [(0.75, True), (0.76, False)])
def test_a_cell_covered_too_little_has_no_value(least, told):
    assert np.isfinite(grid("1 3 8 _*3 7", [0, 4, 8], least=least).value).tolist() == [True, told]


def test_an_empty_cell_has_no_value_but_by_time_mean():
    assert np.isnan(grid("1 _*9 5", [0, 1, 2, 4]).value).tolist() == [False, True, True]
    held = grid("1 _*9 5", [0, 1, 2, 4], Aggregation.TIME_MEAN)
    assert held.value.tolist() == [1.0, 1.0, 1.0]
    assert held.coverage.tolist() == [1.0, 1.0, 0.5]


def test_a_nan_is_a_sample_that_never_came():
    times = np.arange(4) * MINUTE_US
    found = regular_grid(times, [1.0, NAN, NAN, 5.0], [0, 4 * MINUTE_US], 2 * MINUTE_US)
    assert (found.value.tolist(), found.samples.tolist(), found.coverage.tolist()) == ([3.0], [2], [0.75])


@pytest.mark.parametrize("how", Aggregation)
def test_no_sample_gives_no_value(how):
    found = regular_grid([], [], [0, 10, 30], 5, how)
    assert np.isnan(found.value).all()
    assert (found.samples.tolist(), found.coverage.tolist()) == ([0, 0], [0.0, 0.0])


PANDAS = {
    Aggregation.MEAN: "mean",
    Aggregation.MEDIAN: "median",
    Aggregation.LOW: "min",
    Aggregation.HIGH: "max",
    Aggregation.FIRST: "first",
    Aggregation.LAST: "last",
}


@given(
    st.lists(st.tuples(st.integers(1, 400), st.floats(-1e3, 1e3)), min_size=1, max_size=60),
    st.sampled_from(list(PANDAS)),
    st.integers(1, 20),
)
def test_values_are_those_of_pandas_resample(steps, how, every_min):
    times = np.cumsum([step for step, _ in steps]) * 1_000_000
    values = [value for _, value in steps]
    every_us = every_min * MINUTE_US
    edges = np.arange(0, times[-1] + 2 * every_us, every_us)
    found = regular_grid(times, values, edges, MINUTE_US, how)
    series = pd.Series(values, pd.to_datetime(times, unit="us"))
    wanted = series.resample(f"{every_min}min", origin="epoch").agg(PANDAS[how])
    theirs = wanted.reindex(pd.to_datetime(edges[:-1], unit="us")).to_numpy()
    np.testing.assert_allclose(found.value, theirs, rtol=1e-9, atol=1e-9)


@given(st.lists(st.integers(1, 100), min_size=1, max_size=40), st.integers(1, 30), st.integers(1, 50))
def test_a_cell_is_the_same_in_whatever_grid_it_stands(steps, gap, every):
    times = np.cumsum(steps)
    values = np.sqrt(times.astype(float))
    edges = np.arange(0, times[-1] + 2 * every, every)
    for how in Aggregation:
        whole = regular_grid(times, values, edges, gap, how)
        middle = len(edges) // 2
        if middle < 1:
            continue
        from_us = edges[middle - 1] - gap
        inside = times >= from_us
        part = regular_grid(times[inside], values[inside], edges[middle - 1 : middle + 1], gap, how)
        for column, other in zip(whole, part, strict=True):
            assert np.array_equal(column[middle - 1 : middle], other, equal_nan=True)


@given(st.lists(st.integers(1, 100), min_size=1, max_size=40), st.integers(1, 30))
def test_covered_time_is_counted_microsecond_by_microsecond(steps, gap):
    times = np.cumsum(steps)
    edges = np.array([0, 7, 50, times[-1] + 60])
    found = regular_grid(times, np.ones(len(times)), edges, gap)
    covered = {t + k for t, until in zip(times, [*times[1:], 10**9], strict=True) for k in range(min(gap, until - t))}
    for number, (first, end) in enumerate(pairwise(edges)):
        assert found.coverage[number] == pytest.approx(
            sum(first <= at < end for at in covered) / (end - first), rel=1e-12
        )


@pytest.mark.parametrize(
    ("edges", "gap", "least", "message"),
    [
        ([0], 5, 0.0, "edges_us must ascend"),
        ([10, 0], 5, 0.0, "edges_us must ascend"),
        ([0, 10], 0, 0.0, "max_gap_us is 0"),
        ([0, 10], 5, 1.5, "least_coverage is 1.5"),
    ],
)
def test_a_wrong_call_says_what_is_wrong(edges, gap, least, message):
    with pytest.raises(ValueError, match=message):
        regular_grid([1], [1.0], edges, gap, Aggregation.MEAN, least)
