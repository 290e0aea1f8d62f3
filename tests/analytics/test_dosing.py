"""Doses by mass balance."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.dosing import (
    ADVICE,
    check_dosable,
    concentrate_volume,
    dilution,
    ec_dose,
    stock_dose,
    stock_strength,
)


def test_table(reference):
    for row in reference("ec_doses"):
        start, target, volume, added = (row[name] for name in ("from_ms_cm", "to_ms_cm", "volume_l", "added_ms_cm"))
        if target > start:
            dose = stock_dose(start, target, volume, added)
            assert dose.added_l == pytest.approx(row["added_l"], abs=0.00006)
        else:
            dose = dilution(start, target, volume, added)
            assert dose.added_l == pytest.approx(row["added_l"], abs=0.006)
        assert dose.final_volume_l == volume + dose.added_l


def test_leaving_out_the_volume_of_the_dose_falls_short(reference):
    row = reference("ec_doses")[0]  # 0.6 x 200 / 100 = 1.200 L, 1.8 % low
    dose = stock_dose(row["from_ms_cm"], row["to_ms_cm"], row["volume_l"], row["added_ms_cm"])
    assert row["approximation"] / dose.added_l == pytest.approx(1 - 0.018, abs=0.0006)


def test_one_to_a_hundred():
    assert concentrate_volume(200.0, 100) == 2.0  # arithmetic: one part in a hundred of the finished solution


def test_give_or_take_is_the_linearity_of_ec():
    dose = stock_dose(1.2, 1.8, 200.0, 100.0)
    assert dose.plus_or_minus_l == pytest.approx(0.05 * dose.added_l)  # EC to concentration: about 5 % over 1-3 mS/cm
    assert dose.advice == ADVICE


def test_two_part_stocks_share_the_dose():
    both, one = stock_dose(1.2, 1.8, 200.0, 100.0, bottles=2), stock_dose(1.2, 1.8, 200.0, 100.0)
    assert both.added_l == one.added_l
    assert both.each_l == one.added_l / 2
    assert "undiluted" in both.advice
    assert one.advice == ADVICE
    assert one.each_l == one.added_l


def test_half_is_added_first():
    assert stock_dose(1.2, 1.8, 200.0, 100.0).first_l == pytest.approx(1.2220 / 2, abs=0.0001)


def test_strength_of_a_stock():
    # 1 mL of it in 1 L: 0.1 mS/cm is a thousandth of its own strength, by conservation.
    assert stock_strength(0.1) == pytest.approx(100.0)


@given(st.floats(0, 5), st.floats(0, 5), st.floats(1, 1000), st.floats(10, 400))
def test_salt_is_conserved(start, rise, volume, stock):
    target = start + rise
    if stock <= target:
        return
    dose = stock_dose(start, target, volume, stock)
    assert start * volume + stock * dose.added_l == pytest.approx(target * dose.final_volume_l, rel=1e-9, abs=1e-9)


@given(st.floats(0.2, 5), st.floats(0.1, 1), st.floats(1, 1000), st.floats(0, 0.9))
def test_salt_is_conserved_by_water(start, share, volume, purity):
    target = start * share
    water = target * purity
    added = dilution(start, target, volume, water)
    assert start * volume + water * added.added_l == pytest.approx(target * added.final_volume_l, rel=1e-9)


def test_nothing_to_do():
    assert stock_dose(1.8, 1.8, 200.0, 100.0).added_l == 0.0
    assert dilution(1.8, 1.8, 200.0).added_l == 0.0


def test_ph_is_refused():
    with pytest.raises(
        ValueError, match=r"pH cannot be worked out by dilution: it is logarithmic.* Add a small measured part"
    ):
        check_dosable("solution_ph")
    check_dosable("solution_ec")
    with pytest.raises(ValueError, match="no dose can be worked out for 'co2': only for solution_ec"):
        check_dosable("co2")


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: stock_dose(1.8, 1.2, 200, 100), "target 1.2 mS/cm is below the 1.8 .* dilution with water instead"),
        (lambda: dilution(1.2, 1.8, 200), "target 1.8 mS/cm is above the 1.2 .* dose of stock instead"),
        (lambda: stock_dose(1.2, 1.8, 200, 1.8), "a stock of 1.8 mS/cm cannot raise a reservoir to 1.8 mS/cm"),
        (lambda: dilution(2.4, 1.8, 200, 1.8), "water of 1.8 mS/cm cannot lower a reservoir to 1.8 mS/cm"),
        (lambda: stock_dose(1.2, 1.8, 0, 100), "the volume is 0 L: give a volume above 0"),
        (lambda: dilution(2.4, 1.8, np.nan), "the volume is nan L"),
        (lambda: stock_dose(-0.1, 1.8, 200, 100), "from_ms_cm is -0.1: give an EC in mS/cm, 0 to 500"),
        (lambda: stock_dose(1.2, np.nan, 200, 100), "to_ms_cm is nan"),
        (lambda: stock_dose(1.2, 1.8, 200, 501), "stock_ms_cm is 501"),
        (lambda: stock_dose(1.2, 1.8, 200, 100, 0), "bottles is 0: give how many"),
        (lambda: dilution(2.4, 1.8, 200, -1), "water_ms_cm is -1"),
        (lambda: concentrate_volume(200, 0.5), "parts is 0.5: give N of '1 to N', 1 or more"),
        (lambda: concentrate_volume(0, 100), "the volume is 0 L"),
    ],
)
def test_refusals_say_why_and_what_instead(call, message):
    with pytest.raises(ValueError, match=message):
        call()


def test_what_is_at_hand_decides():
    assert ec_dose(1.2, 1.8, 200, stock_ms_cm=100, bottles=2) == stock_dose(1.2, 1.8, 200, 100, 2)
    assert ec_dose(1.2, 1.8, 200, ec_per_ml_l=0.1).added_l == pytest.approx(stock_dose(1.2, 1.8, 200, 100).added_l)
    assert ec_dose(2.4, 1.8, 200, water_ms_cm=0.1) == dilution(2.4, 1.8, 200, 0.1)
    with pytest.raises(ValueError, match="given is nothing to add: give exactly one of stock_ms_cm"):
        ec_dose(1.2, 1.8, 200)
    with pytest.raises(ValueError, match="given is stock_ms_cm and water_ms_cm: give exactly one"):
        ec_dose(1.2, 1.8, 200, stock_ms_cm=100, water_ms_cm=0)
