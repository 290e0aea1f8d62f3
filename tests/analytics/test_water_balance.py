"""The water balance, by hand and over random terms."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.amounts import Amount
from analytics.water_balance import water_balance

NAN = Amount(math.nan)


def test_all_known():
    # 60 + 5 = 50 + 8 + 4 + 3 left over; root of 1.2² + 1.6² + 2² = 2.83
    balance = water_balance(
        {"feed water": Amount(60.0, 1.2), "doses": Amount(5.0, 0.0)},
        {"drunk": Amount(50.0, 1.6), "drained": Amount(8.0, 0.0)},
        {"reservoir": Amount(4.0, 2.0)},
    )
    assert balance.unknown == ()
    assert balance.closing_error == Amount(pytest.approx(3.0), pytest.approx(math.sqrt(1.44 + 2.56 + 4.0)))
    assert balance.closes is False
    half = water_balance({"in": Amount(1.0, 0.1)}, {"out": Amount(1.0, 0.1, coverage=0.5)}, {})
    assert half.closing_error.coverage == 0.5
    assert balance.remainder is None


def test_closes_within_its_give_or_take():
    def closes(error):
        return water_balance({"in": Amount(10.0 + error, 0.3)}, {"out": Amount(10.0, 0.4)}, {}).closes

    assert [closes(error) for error in (0.0, 0.499, 0.501, -0.499, -0.501)] == [True, True, False, True, False]
    assert water_balance({"in": Amount(1.0, math.nan)}, {"out": Amount(1.0, 0.1)}, {}).closes is None


@pytest.mark.parametrize(
    ("entered", "left", "gained", "name", "litres"),
    [
        (Amount(50.0, 3.0), NAN, Amount(6.0, 4.0), "drunk", 44.0),
        (NAN, Amount(44.0, 3.0), Amount(6.0, 4.0), "feed water", 50.0),
        (Amount(50.0, 3.0), Amount(44.0, 4.0), NAN, "reservoir", 6.0),
    ],
)
def test_one_unknown_is_what_closes_it(entered, left, gained, name, litres):
    balance = water_balance({"feed water": entered}, {"drunk": left}, {"reservoir": gained})
    assert balance.unknown == (name,)
    assert balance.remainder == Amount(litres, 5.0)
    assert balance.closing_error is None
    assert balance.closes is None


def test_two_unknown_are_named_and_nothing_is_said():
    balance = water_balance(
        {"feed water": NAN}, {"drunk": NAN, "drained": Amount(0.0, 0.0)}, {"reservoir": Amount(1.0)}
    )
    assert balance.unknown == ("feed water", "drunk")
    assert balance.remainder is None
    assert balance.closing_error is None


@given(st.lists(st.floats(-1e4, 1e4), min_size=2, max_size=8), st.data())
def test_the_remainder_closes_the_balance(terms, data):
    place = data.draw(st.integers(0, len(terms) - 1))
    sides = [data.draw(st.integers(0, 2)) for _ in terms]

    def sided(values):
        return [{str(n): Amount(v) for n, v in enumerate(values) if sides[n] == side} for side in range(3)]

    blank = [math.nan if n == place else value for n, value in enumerate(terms)]
    rest = water_balance(*sided(blank)).remainder
    assert rest is not None
    blank[place] = rest.value
    assert water_balance(*sided(blank)).closing_error.value == pytest.approx(0.0, abs=1e-8)


def test_give_or_take_against_random_errors():
    draw = np.random.default_rng(3).normal
    n = 100_000
    errors = draw(60, 1.2, n) - draw(50, 1.6, n) - draw(10, 2.4, n)
    balance = water_balance({"a": Amount(60, 1.2)}, {"b": Amount(50, 1.6)}, {"c": Amount(10, 2.4)})
    assert balance.closing_error.give_or_take == pytest.approx(float(errors.std()), rel=0.02)


def test_wrong_calls():
    with pytest.raises(ValueError, match="doses stands on more than one side"):
        water_balance({"doses": Amount(1.0)}, {"doses": Amount(1.0)}, {})
    with pytest.raises(ValueError, match="the give or take of drained is negative"):
        water_balance({}, {"drained": Amount(1.0, -0.1)}, {})
