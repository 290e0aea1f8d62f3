"""Student's t, against scipy."""

import math

import pytest
from scipy import stats

from analytics.student import student_quantile


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.95, 0.99, 0.999])
@pytest.mark.parametrize("degrees", [1, 2, 3, 3.5, 4, 5, 7.3, 10, 30, 200, 1e6])
def test_quantile(degrees, confidence):
    # As close as the expansion comes: its coefficients to their last digits only show so.
    exact = stats.t.ppf((1 + confidence) / 2, degrees)
    assert student_quantile(degrees, confidence) == pytest.approx(
        exact, rel=1e-5 if degrees < 7 else 5e-7 if degrees < 10 else 3e-8
    )


@pytest.mark.parametrize(
    ("degrees", "confidence", "quantile"),
    [
        (3, 0.5, 0.7648924839415), (4, 0.3, 0.4141632448193), (3, 0.95, 3.1824491162911), (4, 0.6, 0.9409646466268),
        (5, 0.5, 0.7266868353365), (6, 0.9, 1.9431802380084), (7, 0.999, 5.4078970556380), (10, 0.95, 2.2281388448257),
        (30, 0.95, 2.0422724562711), (30, 0.999, 3.6459586334505),
    ],
)  # fmt: skip
def test_every_digit_of_the_expansion(degrees, confidence, quantile):
    # Hill's Algorithm 396 (its coefficients from memory), both branches, in decimal arithmetic of 50 digits apart from
    # the program: the exact quantile is up to 3e-6 away, which does not tell 96.36 from 96.37.
    assert student_quantile(degrees, confidence) == pytest.approx(quantile, rel=2e-13)


@pytest.mark.parametrize("degrees", [1.5, 1.99, 2.5, 2.99])
def test_between_whole_small_degrees_it_is_the_wider_one(degrees):
    assert student_quantile(degrees) >= stats.t.ppf(0.975, degrees)
    assert student_quantile(degrees) == pytest.approx(stats.t.ppf(0.975, math.floor(degrees)), rel=1e-9)


def test_no_degrees():
    assert math.isnan(student_quantile(0.0))
    assert math.isnan(student_quantile(math.nan))


@pytest.mark.parametrize("confidence", [0.0, 1.0, 95, math.nan])
def test_confidence_out_of_range(confidence):
    with pytest.raises(ValueError, match=r"give a probability above 0 and below 1, such as 0.95"):
        student_quantile(5, confidence)
