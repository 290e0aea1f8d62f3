"""Amounts with their give or take, against the rules of JCGM 100 by hand and by random draws."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.amounts import Amount, agreement, ratio_of_amounts, sum_of_amounts

NAN = math.nan


def test_sum():
    assert sum_of_amounts(Amount(1.0, 0.3, 0.9), Amount(-2.0, 0.4, 0.8)) == Amount(-1.0, 0.5, 0.8)
    assert math.isnan(sum_of_amounts(Amount(1.0, 0.3), Amount(NAN, 0.1)).value)
    unknown = sum_of_amounts(Amount(1.0, 0.3), Amount(2.0))
    assert unknown.value == 3.0
    assert math.isnan(unknown.give_or_take)


def test_ratio_against_random_errors():
    # JCGM 101:2008: 6 plus or minus 0.3 over 2 plus or minus 0.06, first order.
    draw = np.random.default_rng(3).normal
    spread = (draw(6.0, 0.3, 200_000) / draw(2.0, 0.06, 200_000)).std()
    ratio = ratio_of_amounts(Amount(6.0, 0.3, 0.7), Amount(2.0, 0.06, 0.9))
    assert ratio.value == 3.0
    assert ratio.give_or_take == pytest.approx(spread, rel=0.01)
    assert ratio.coverage == 0.7


@pytest.mark.parametrize("other", [0.0, -1.0, NAN])
def test_nothing_ran_so_there_is_no_ratio(other):
    ratio = ratio_of_amounts(Amount(6.0, 0.3), Amount(other, 0.1))
    assert math.isnan(ratio.value)
    assert math.isnan(ratio.give_or_take)


def test_agreement_at_its_limit():
    assert agreement(Amount(20.0, 3.0), Amount(25.0, 4.0)).agrees is True
    assert agreement(Amount(20.0, 3.0), Amount(25.001, 4.0)).agrees is False
    assert agreement(Amount(25.001, 3.0), Amount(20.0, 4.0)).agrees is False
    found = agreement(Amount(25.0, 3.0), Amount(20.0, 4.0))
    assert (found.difference, found.give_or_take) == (5.0, 5.0)


def test_agreement_that_cannot_be_said():
    assert agreement(Amount(NAN, 3.0), Amount(20.0, 4.0)).agrees is None
    assert agreement(Amount(20.0), Amount(20.0, 4.0)).agrees is None


@given(st.floats(-1e3, 1e3), st.floats(0, 1e2), st.floats(-1e3, 1e3), st.floats(0, 1e2))
def test_agreement_does_not_hang_on_the_order(one, of_one, other, of_other):
    first, second = Amount(one, of_one), Amount(other, of_other)
    there, back = agreement(first, second), agreement(second, first)
    assert there.agrees == back.agrees
    assert there.difference == -back.difference
