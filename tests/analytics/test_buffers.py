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


def test_primary_standards_to_the_third_decimal(reference):
    table = reference("ph_primary_standards")
    for buffer, column in ((6.86, "phosphate"), (9.18, "borax")):
        np.testing.assert_allclose(buffer_ph(buffer, table["temperature"]), table[column], rtol=0, atol=1e-9)
        np.testing.assert_allclose(table[column], table[f"{column}_equation"], rtol=0, atol=5.1e-4)
        assert [at for at, _ in BUFFERS[buffer]] == table["temperature"].tolist(), "a row that nothing checks"


def test_technical_buffers_have_the_digits_of_their_table(reference):
    table = reference("ph_buffers")
    for row in table[np.isin(table["buffer"], (4.00, 7.00, 10.01))]:
        assert float(buffer_ph(row["buffer"], row["temperature"])) == pytest.approx(row["ph"], abs=1e-9), row
    for buffer in (4.00, 7.00, 10.01):
        checked = table["temperature"][table["buffer"] == buffer].tolist()
        assert {at for at, _ in BUFFERS[buffer]} <= {*checked, 25}, "a row that nothing checks"
    assert float(buffer_ph(4.00, 25.0)) == 4.00  # its name


@pytest.mark.parametrize(
    ("buffer", "between"), [(7.00, {5: 7.09, 35: 6.99}), (10.01, {5: 10.25, 15: 10.12, 35: 9.93}), (4.00, {35: 4.02})]
)
def test_between_the_rows_of_a_technical_buffer(buffer, between):
    # The rows in between of the same buffers in a fuller table (secondary copy), two decimals.
    for celsius, ph in between.items():
        assert float(buffer_ph(buffer, celsius)) == pytest.approx(ph, abs=0.006)


def test_every_buffer_is_checked(reference):
    assert {*BUFFERS} == {*reference("ph_buffers")["buffer"]}


def test_phthalate(reference):
    table = reference("phthalate_ph")
    np.testing.assert_allclose(khp_ph(table["temperature"]), table["hetzer"], rtol=0, atol=0.00006)
    np.testing.assert_array_equal(buffer_ph(4.01, table["temperature"]), khp_ph(table["temperature"]))
    listed = ~np.isnan(table["hamer"])
    np.testing.assert_allclose(khp_ph(table["temperature"][listed]), table["hamer"][listed], rtol=0, atol=0.005)


@pytest.mark.parametrize(
    ("celsius", "ph"),
    [(0, 4.010062164243), (10, 4.000118133604), (25, 4.005853485889), (37, 4.024809103458), (60, 4.087269915247)],
)
def test_every_digit_of_the_equation_of_phthalate(celsius, ph):
    # 2073.44/T - 13.3270 + 0.045199 T - 3.4846e-5 T^2 (Hetzer, Durst, Robinson and Bates 1977, its abstract) in decimal
    # arithmetic of 40 digits apart from the program; four decimals do not tell 2073.44 from 2073.45.
    assert float(khp_ph(celsius)) == pytest.approx(ph, abs=1e-11)


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
