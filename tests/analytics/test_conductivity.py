"""EC at 25 degC, against the NIST table of potassium chloride and technical standards."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.conductivity import ec_at_25, ec_from_25, ppm_from_ec

KCL_AT_25 = 1408.23  # uS/cm, 0.01 mol/kg: NIST, CRC handbook table 5-73


def test_potassium_chloride_is_given_back_within_the_tolerance_of_each_range(reference):
    table = reference("kcl_conductivity")
    error = (ec_at_25(table["conductivity"], table["temperature"]) / KCL_AT_25 - 1) * 100
    assert np.all(np.abs(error) <= table["tolerance"])
    narrow = (table["temperature"] >= 15) & (table["temperature"] <= 30)
    assert np.all(table["tolerance"][narrow] == 0.5)


@pytest.mark.parametrize(("column", "coefficient"), [("linear_error", 1.91), ("linear_2_error", 2.0)])
def test_errors_of_linear_compensation_are_the_printed_ones(reference, column, coefficient):
    table = reference("kcl_conductivity")
    listed = ~np.isnan(table[column])
    ours = ec_at_25(table["conductivity"], table["temperature"], coefficient)[listed]
    np.testing.assert_allclose((ours / KCL_AT_25 - 1) * 100, table[column][listed], rtol=0, atol=0.055)


def test_the_solutions_own_coefficient_makes_it_exact(reference):
    table = reference("kcl_conductivity")
    for row in table[~np.isnan(table["alpha"])]:
        ours = float(ec_at_25(row["conductivity"], row["temperature"], row["alpha"]))
        assert ours == pytest.approx(KCL_AT_25, rel=2e-4)  # the coefficient is printed with three decimals


def test_the_coefficient_in_use_is_the_stated_one():
    # By definition: K25 = K/(1 + a (T - 25)/100) with a = 1.91, so 1 + 1.91 x (-10)/100 = 0.809 at 15 degC.
    assert float(ec_from_25(1.0, 15.0)) == pytest.approx(0.809, abs=1e-12)


@pytest.mark.parametrize("column", ["us_1413", "us_12880", "us_84"])
def test_technical_standards(reference, column):
    table = reference("conductivity_standards")
    used = table[~np.isnan(table["tolerance"])]
    at_25 = table[column][table["temperature"] == 25]
    assert used["temperature"].tolist() == [10, 15, 20, 25, 30]
    error = (ec_at_25(used[column], used["temperature"]) / at_25 - 1) * 100
    assert np.all(np.abs(error) <= used["tolerance"])


def test_stronger_potassium_chloride_keeps_its_value_at_25():
    # NIST, the same table: 0.1 and 1.0 mol/kg at 25 degC; there compensation does nothing.
    np.testing.assert_array_equal(ec_at_25([12_824.6, 108_620.0], 25.0), [12_824.6, 108_620.0])


@given(st.floats(0, 20), st.floats(0, 50), st.floats(0, 3.9))
def test_there_and_back(ec, temperature, coefficient):
    back = ec_at_25(ec_from_25(ec, temperature, coefficient), temperature, coefficient)
    assert float(back) == pytest.approx(ec, abs=1e-9)


def test_out_of_range_and_nan():
    ours = ec_at_25([1.0, 1.0, np.nan, 1.0, 1.0], [-0.1, 50.1, 20.0, np.nan, 50.0])
    np.testing.assert_array_equal(np.isnan(ours), [True, True, True, True, False])
    np.testing.assert_array_equal(np.isnan(ec_from_25([1.0, np.nan, 1.0], [51.0, 20.0, 20.0])), [True, True, False])


@pytest.mark.parametrize(("scale", "ppm"), [(500, 1000), (640, 1280), (700, 1400)])
def test_ppm_of_2_ms_on_each_scale(scale, ppm):
    # Arithmetic of the three scales in use (secondary copies).
    assert float(ppm_from_ec(2.0, scale)) == ppm


def test_ppm_scales_of_soil_and_of_potassium_chloride_lie_within():
    # Oklahoma State University's soil fact sheet 0.65, potassium chloride 0.535 g/L per mS/cm (secondary copies).
    assert float(ppm_from_ec(1.0, 650)) == 650
    assert float(ppm_from_ec(1.0, 535)) == 535


def test_wrong_calls():
    with pytest.raises(ValueError, match=r"ppm_per_ms_cm is 0.5: give the meter's scale, such as 500, 640 or 700"):
        ppm_from_ec(2.0, 0.5)
    with pytest.raises(ValueError, match=r"coefficient is 4.0 %/K: give 0 to below 4"):
        ec_at_25(1.0, 20.0, 4.0)
    with pytest.raises(ValueError, match="coefficient is -1 %/K"):
        ec_from_25(1.0, 20.0, -1)
    for function in (ec_at_25, ec_from_25):
        with pytest.raises(ValueError, match="do not broadcast"):
            function([1.0, 2.0], [1.0, 2.0, 3.0])
