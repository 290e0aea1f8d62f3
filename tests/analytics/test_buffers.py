"""Buffers and the ideal slope, against published tables."""

import numpy as np
import pytest
from scipy import constants

from analytics.buffers import BUFFERS, buffer_ph, khp_ph, nernst_slope


def test_nernst_slope(reference):
    table = reference("nernst_slope")
    listed = ~np.isnan(table["slope"])
    np.testing.assert_allclose(nernst_slope(table["temperature"][listed]), table["slope"][listed], rtol=0, atol=0.0006)
    printed = ~np.isnan(table["stated"])
    ours = nernst_slope(table["temperature"][printed])
    assert np.all(np.abs(ours - table["stated"][printed]) <= table["half_digit"][printed])


def test_the_constants_of_the_ideal_slope_are_codatas():
    """ln 10 R T / F in mV with SciPy's CODATA values, to the ten digits that ours have."""
    faraday = constants.value("Faraday constant")
    for celsius in (0.0, 25.0, 60.0):
        slope = 1000 * np.log(10) * constants.R * (celsius + constants.zero_Celsius) / faraday
        assert float(nernst_slope(celsius)) == pytest.approx(slope, rel=5e-11)


@pytest.mark.parametrize("temperature", [0.0, 25.0, 37.0])
def test_nernst_slope_of_the_pharmacopoeia(temperature):
    # USP: k = 0.05916 + 0.000198 (t - 25) V; five decimals and a three-digit coefficient: 0.02 mV over 25 K.
    assert float(nernst_slope(temperature)) == pytest.approx(59.16 + 0.198 * (temperature - 25), abs=0.02)


def test_nernst_slope_without_data():
    np.testing.assert_array_equal(np.isnan(nernst_slope([np.nan, -274.0, 20.0])), [True, True, False])


def test_buffers_by_temperature(reference):
    for row in reference("ph_buffers"):
        assert float(buffer_ph(row["buffer"], row["temperature"])) == pytest.approx(row["ph"], abs=0.006), row


def test_every_buffer_is_checked(reference):
    assert {*BUFFERS} == {*reference("ph_buffers")["buffer"]}


def test_phthalate(reference):
    table = reference("phthalate_ph")
    np.testing.assert_allclose(khp_ph(table["temperature"]), table["hetzer"], rtol=0, atol=0.00006)
    np.testing.assert_array_equal(buffer_ph(4.01, table["temperature"]), khp_ph(table["temperature"]))
    listed = ~np.isnan(table["hamer"])
    np.testing.assert_allclose(khp_ph(table["temperature"][listed]), table["hamer"][listed], rtol=0, atol=0.005)


def test_phthalate_and_the_technical_buffer_agree():
    at = np.arange(0.0, 41.0)
    np.testing.assert_allclose(
        buffer_ph(4.00, at), khp_ph(at), rtol=0, atol=0.0101
    )  # technical buffers say 4.00 or 4.01


def test_out_of_range():
    assert np.isnan(buffer_ph(7.00, [-0.1, 40.1, np.nan])).all()
    assert np.isnan(buffer_ph(4.01, [-0.1, 40.1, np.nan])).all()
    assert np.isnan(khp_ph([-0.1, 60.1, np.nan])).all()


def test_a_buffer_without_a_table():
    with pytest.raises(
        ValueError, match=r"no table for a buffer of pH 6.5: give one of 4.00, 4.01, 6.86, 7.00, 9.18, 10.01"
    ):
        buffer_ph(6.5, 20.0)
