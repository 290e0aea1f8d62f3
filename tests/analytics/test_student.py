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
