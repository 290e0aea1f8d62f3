"""Median absolute deviation, Hampel's outliers and noise, against published values, a library and known noise."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.outliers import (
    MEDIAN_ERROR,
    NORMAL_PER_MAD,
    hampel_outliers,
    median_absolute_deviation,
    noise_level,
)

NAN = float("nan")
MINUTE = 60_000_000


def test_median_absolute_deviation():
    """The textbook sample: MAD 1, scaled 1.4826 (secondary copies)."""
    value = [1, 1, 2, 2, 4, 6, 9]
    assert median_absolute_deviation(value) == 1
    assert median_absolute_deviation(value) * NORMAL_PER_MAD == pytest.approx(1.4826, abs=5e-5)
    assert np.isnan(median_absolute_deviation([]))
    assert np.isnan(median_absolute_deviation([NAN]))
    assert median_absolute_deviation([NAN, 3.0, 5.0]) == 1


def test_the_constant_is_that_of_the_normal_distribution():
    """scipy's norm.ppf(3/4); the constant has seven digits."""
    norm = pytest.importorskip("scipy.stats").norm
    assert pytest.approx(1 / norm.ppf(0.75), abs=5e-7) == NORMAL_PER_MAD


def test_outliers_by_hand():
    """Medians and spreads by hand: 1.0 and 0.07413 at the fifth, 0.05189 at the tenth; hampel 1.0.2 finds the same."""
    value = [1, 1.1, 0.9, 1, 10, 1.05, 0.95, 1, 1.1, -8, 1, 1.02]
    assert np.flatnonzero(hampel_outliers(value, 3)).tolist() == [4, 9]
    assert np.flatnonzero(hampel_outliers(value, 2)).tolist() == [4, 9]
    for at, spread in ((4, 0.07413), (9, -0.05189)):  # moved to just inside and just outside of three of them
        for sigmas, far in ((2.99, False), (3.01, True)):
            moved = [*value[:at], 1.0 + sigmas * spread, *value[at + 1 :]]
            assert hampel_outliers(moved, 3)[at] == far, (at, sigmas)


def test_outliers_of_hampel(reference):
    table = reference("hampel")
    ours = hampel_outliers(table["value"], 3)
    assert ours[3:-3].tolist() == (table["outlier"][3:-3] == 1).tolist()
    assert table["outlier"][3:-3].sum() > 3


@given(
    st.lists(st.one_of(st.integers(-5, 5).map(float), st.just(NAN)), max_size=30), st.integers(1, 6), st.floats(0.5, 4)
)
def test_outliers_are_what_a_walk_through_the_windows_finds(value, half, sigmas):
    expected = []
    for n, x in enumerate(value):
        window = [one for one in value[max(0, n - half) : n + half + 1] if one == one]
        middle = np.median(window) if window else NAN
        spread = 1.482602 * np.median(np.abs(np.array(window) - middle)) if window else NAN
        expected.append(bool(abs(x - middle) > sigmas * spread))
    assert hampel_outliers(value, half, sigmas).tolist() == expected


def test_outliers_over_many_blocks_are_those_of_one(monkeypatch):
    value = np.random.default_rng(2).standard_cauchy(500)
    whole = hampel_outliers(value, 4)
    monkeypatch.setattr("analytics.outliers.BLOCK", 37)
    assert hampel_outliers(value, 4).tolist() == whole.tolist()


@pytest.mark.parametrize("sigma", [0.02, 0.3, 5.0])
def test_noise_of_known_size_on_a_slow_course_with_steps_and_spikes(sigma):
    """Drawn normal noise; 20,000 samples give it within 3 % (three standard errors of the robust estimate)."""
    n = 20_000
    course = 3 * np.sin(np.arange(n) / 2000) + np.where(np.arange(n) > 9000, 50, 0)
    value = course + np.random.default_rng(5).normal(0, sigma, n)
    value[::500] += 100
    value[7::900] = NAN
    at = np.arange(n) * MINUTE
    assert noise_level(at, value, 180) == pytest.approx(sigma, rel=0.03)


def test_noise_is_scaled_by_the_variance_of_what_it_looks_at():
    # x2 - (x1 + x3)/2 of independent noise has the variance 1 + 1/4 + 1/4. Of 0, 1, 0, 1, ... it is 1 or -1, MAD 1.
    value = np.arange(100) % 2
    assert noise_level(np.arange(100) * MINUTE, value, 60) == pytest.approx(1.482602 / 1.5**0.5, rel=1e-9)


def test_the_error_of_a_median_by_its_efficiency():
    # Of many normal values a median is as sure as the mean of 2/pi as many (its asymptotic efficiency; Fisher).
    assert math.isclose(MEDIAN_ERROR, math.sqrt(math.pi / 2.0), rel_tol=1e-12)
    medians = np.median(np.random.default_rng(3).standard_normal((4000, 401)), axis=1)
    assert medians.std() * 401**0.5 == pytest.approx(MEDIAN_ERROR, rel=0.04)  # 4000 draws tell it to 1.1 %, one sigma


def test_noise_of_too_little():
    assert np.isnan(noise_level([0, MINUTE], [1.0, 2.0], 60))
    assert np.isnan(noise_level([0, MINUTE, 9 * MINUTE], [1.0, 2.0, 1.0], 60))
    assert np.isnan(noise_level([], [], 60))


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: hampel_outliers([[1.0]], 3), "give a one-dimensional array"),
        (lambda: hampel_outliers([1.0], 0), "half_width is 0 and sigmas 3"),
        (lambda: hampel_outliers([1.0], 3, NAN), "sigmas nan"),
        (lambda: noise_level([0], [1.0], -1), "gap_s is -1 s"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()
