"""Saturated dissolved oxygen, against APHA's equation, GSW and EN 25814."""

import numpy as np
import psychrolib
import pytest

from analytics.oxygen import dissolved_oxygen_saturation, saturated_dissolved_oxygen


@pytest.mark.parametrize(("column", "tolerance"), [("apha", 0.0006), ("gsw", 0.002)])
def test_table(reference, column, tolerance):
    table = reference("dissolved_oxygen")
    table = table[~np.isnan(table[column])]
    ours = saturated_dissolved_oxygen(table["temperature"], table["air_pressure"])
    np.testing.assert_allclose(ours, table[column], rtol=0, atol=tolerance)


def test_every_digit_of_the_coefficients(reference):
    table = reference("dissolved_oxygen_digits")
    ours = saturated_dissolved_oxygen(table["temperature"], table["air_pressure"])
    np.testing.assert_allclose(ours, table["oxygen"], rtol=1e-10)


def test_european_standard(reference):
    table = reference("dissolved_oxygen")
    table = table[~np.isnan(table["en"])]
    ours = saturated_dissolved_oxygen(table["temperature"])
    assert np.all(np.abs(ours - table["en"]) <= table["en_tolerance"])


@pytest.mark.parametrize("air_pressure", [50.0, 84.556])
def test_the_pressure_term_is_henrys_law(air_pressure):
    """Oxygen goes by its partial pressure, P - e over 1 atm - e, with PsychroLib's e: the term within 0.1 %.

    What is left is theta, real gas's part: 0.05 % at half an atmosphere.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    at = np.arange(0.0, 41.0, 5.0)
    vapour = np.array([psychrolib.GetSatVapPres(max(one, 0.02)) for one in at]) / 1000
    share = saturated_dissolved_oxygen(at, air_pressure) / saturated_dissolved_oxygen(at)
    np.testing.assert_allclose(share, (air_pressure - vapour) / (101.325 - vapour), rtol=1e-3)


def test_share_of_saturation(reference):
    table = reference("dissolved_oxygen")
    full = dissolved_oxygen_saturation(table["apha"], table["temperature"], table["air_pressure"])
    np.testing.assert_allclose(full, 100.0, rtol=1e-4)
    half = dissolved_oxygen_saturation(table["apha"] / 2, table["temperature"], table["air_pressure"])
    np.testing.assert_allclose(half, 50.0, rtol=1e-4)
    assert dissolved_oxygen_saturation(20.0, 20.0) > 200  # over 100 is what it says, not an error


def test_out_of_range_and_nan():
    ours = saturated_dissolved_oxygen([-0.1, 40.1, np.nan, 20.0, 20.0, 20.0, 20.0],
                                      [101.0, 101.0, 101.0, 49.9, 110.1, np.nan, 101.0])  # fmt: skip
    np.testing.assert_array_equal(np.isnan(ours), [True] * 6 + [False])
    np.testing.assert_array_equal(np.isnan(dissolved_oxygen_saturation([-0.1, np.nan, 0.0], 20.0)), [True, True, False])


def test_inputs_that_do_not_broadcast():
    with pytest.raises(ValueError, match="do not broadcast"):
        saturated_dissolved_oxygen([1.0, 2.0], [1.0, 2.0, 3.0])
    with pytest.raises(ValueError, match="do not broadcast"):
        dissolved_oxygen_saturation([1.0, 2.0], [1.0, 2.0, 3.0])
