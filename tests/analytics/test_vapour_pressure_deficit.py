"""Vapour pressure deficit of air and leaf."""

import numpy as np
import pytest

from analytics.psychrometrics import dew_point_temperature, vapour_pressure
from analytics.vapour_pressure_deficit import air_vapour_pressure_deficit, leaf_vapour_pressure_deficit


def test_air_table(reference):
    table = reference("state_points")
    table = table[~np.isnan(table["vpd"])]
    ours = air_vapour_pressure_deficit(table["air_temperature"], table["relative_humidity"])
    np.testing.assert_allclose(ours, table["vpd"], rtol=0, atol=6e-5)  # four decimals printed


def test_leaf_table(reference):
    table = reference("leaf_vapour_pressure_deficit")
    state = (table["air_temperature"], table["relative_humidity"])
    ours = leaf_vapour_pressure_deficit(*state, table["leaf_temperature"])
    np.testing.assert_allclose(ours, table["leaf_deficit"], rtol=0, atol=1e-4)
    listed = ~np.isnan(table["air_deficit"])
    air = air_vapour_pressure_deficit(*state)[listed]
    np.testing.assert_allclose(air, table["air_deficit"][listed], rtol=0, atol=1e-4)


def test_fao_56_example_5():
    # FAO-56 example 5 (from memory): ea 1.70 kPa from 25 degC/54 % and 18 degC/82 %, the mean of the two (eq. 17).
    assert float(vapour_pressure([25.0, 18.0], [54.0, 82.0]).mean()) == pytest.approx(1.70, abs=0.005)


def test_leaf_at_air_temperature_meets_the_air_s_own_deficit():
    air, humidity = np.arange(5.0, 40.0), 55.0
    np.testing.assert_allclose(
        leaf_vapour_pressure_deficit(air, humidity, air), air_vapour_pressure_deficit(air, humidity), rtol=1e-12
    )


def test_leaf_below_the_dew_point_is_negative():
    dew_point = float(dew_point_temperature(22.0, 80.0))
    deficit = leaf_vapour_pressure_deficit(22.0, 80.0, [dew_point - 0.5, dew_point, dew_point + 0.5])
    assert deficit[0] < 0 < deficit[2]
    assert float(deficit[1]) == pytest.approx(0.0, abs=1e-9)


def test_saturated_air_has_no_deficit_even_when_the_sensor_overshoots():
    np.testing.assert_array_equal(air_vapour_pressure_deficit(20.0, [100.0, 102.0]), [0.0, 0.0])


def test_nan_and_shapes():
    ours = leaf_vapour_pressure_deficit([25.0, np.nan, 25.0], 60.0, [23.0, 23.0, np.nan])
    np.testing.assert_array_equal(np.isnan(ours), [False, True, True])
    assert np.shape(air_vapour_pressure_deficit(25.0, 60.0)) == ()
    with pytest.raises(ValueError, match=r"shapes \(2,\), \(\), \(3,\), which do not broadcast"):
        leaf_vapour_pressure_deficit([25.0, 26.0], 60.0, [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match=r"shapes \(2,\), \(3,\), which do not broadcast"):
        air_vapour_pressure_deficit([25.0, 26.0], [1.0, 2.0, 3.0])
