"""Calibrations and the corrections they make."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.buffers import nernst_slope
from analytics.probes import Correction, EcCalibration, TwoPointCalibration, corrected, corrections

DAY = 86_400_000_000


def in_ph(at_us, readings, **more):
    return TwoPointCalibration(at_us, (7.00, 4.00), readings, "pH", **more)


def in_mv(at_us, readings, **more):
    return TwoPointCalibration(at_us, (7.01, 4.01), readings, "mV", **more)


def test_slope_of_the_worked_example():
    # Instrument practice (secondary copy): pH 7.01 -15 mV, pH 4.01 +160 mV: 175 mV over 3.00 pH = 58.33 mV/pH = 98.6 %.
    # Our 4.01 buffer is 4.0059 at 25 degC: 3.004 pH, 0.14 % flatter. 145 mV is 81.7 %.
    good, poor = in_mv(0, (-15.0, 160.0)), in_mv(0, (-15.0, 130.0))
    assert good.slope == pytest.approx(58.33, rel=0.0015)
    assert good.slope_percent == pytest.approx(98.6, abs=0.2)
    assert poor.slope_percent == pytest.approx(81.7, abs=0.2)


def test_slope_by_buffers_as_printed():
    # The same example with buffers that have no table, so that they count as printed: exact to the printed digits.
    probe = TwoPointCalibration(0, (7.01, 4.012), (-15.0, 160.0), "mV")
    assert probe.slope == pytest.approx(175 / 2.998, rel=1e-9)
    assert probe.slope_percent == pytest.approx(100 * 175 / 2.998 / 59.159, rel=1e-5)  # 59.159: nernst_slope.csv


def test_an_ideal_electrode_has_all_of_the_slope_and_no_offset():
    for celsius in (5.0, 20.0, 35.0):
        ideal = float(nernst_slope(celsius))
        probe = TwoPointCalibration(0, (7.00, 10.01), (0.0, 0.0001), "mV", celsius)
        readings = tuple(-ideal * (ph - 7.0) for ph in probe.buffers_ph)
        probe = TwoPointCalibration(0, (7.00, 10.01), readings, "mV", celsius)
        assert probe.slope_percent == pytest.approx(100.0)
        assert probe.offset_mv == pytest.approx(0.0, abs=1e-9)


def test_offset_is_what_it_gives_at_ph_7():
    probe = TwoPointCalibration(0, (7.00, 4.00), (-15.0, 160.0), "mV")
    assert probe.offset_mv == pytest.approx(-15.0)
    probe = TwoPointCalibration(0, (8.00, 4.00), (-73.0, 160.0), "mV")  # 58.25 mV/pH: -73 + 58.25 at pH 7
    assert probe.offset_mv == pytest.approx(-14.75)


def test_readings_in_ph_say_nothing_of_millivolts():
    assert math.isnan(in_ph(0, (7.1, 4.1)).slope_percent)
    assert math.isnan(in_ph(0, (7.1, 4.1)).offset_mv)


def test_buffers_have_the_ph_of_their_temperature():
    assert in_ph(0, (7.0, 4.0), temperature=10.0).buffers_ph == pytest.approx((7.06, 4.00))  # ph_buffers.csv
    assert math.isnan(in_ph(0, (7.0, 4.0), temperature=45.0).buffers_ph[0])


def test_correction_takes_what_was_shown_to_the_buffers():
    [one] = corrections([in_ph(DAY, (7.12, 4.20), temperature=20.0)])
    assert one.from_us == DAY
    assert one.scale * 7.12 + one.offset == pytest.approx(7.02)
    assert one.scale * 4.20 + one.offset == pytest.approx(4.00)


@given(st.floats(50, 60), st.floats(-30, 30), st.floats(50, 60), st.floats(-30, 30), st.floats(4, 9))
def test_millivolts_correct_what_the_device_makes_of_the_former_calibration(slope_a, off_a, slope_b, off_b, ph):
    buffers = (7.00, 10.01)
    at_buffers = in_ph(0, (0.0, 1.0)).buffers_ph[0], 10.01
    first, second = (
        TwoPointCalibration(at, buffers, tuple(off - slope * (one - 7) for one in at_buffers), "mV")
        for at, slope, off in ((0, slope_a, off_a), (DAY, slope_b, off_b))
    )
    made = corrections([first, second])
    voltage = off_b - slope_b * (ph - 7)  # what the aged electrode gives in a solution of this pH
    shown = 7 - (voltage - off_a) / slope_a  # what a device set by the first calibration makes of it
    assert float(corrected([2 * DAY], [shown], made)[0]) == pytest.approx(ph, abs=1e-6)
    assert made[0] == Correction(0, 1.0, 0.0)


def test_a_device_that_was_set_needs_no_correction_from_then_on():
    made = corrections([in_ph(0, (7.1, 4.1)), in_ph(DAY, (7.2, 4.2), adjusted=True)])
    assert corrected([DAY - 1, DAY], [6.0, 6.0], made).tolist() == [pytest.approx(5.9), 6.0]


def test_drift_is_spread_over_the_time_between_two_calibrations():
    # A device set right at the start shows 0.2 too much after ten days: half-way 0.1 too much.
    calibrations = [in_ph(0, (7.3, 4.3), adjusted=True), in_ph(10 * DAY, (7.2, 4.2), adjusted=True)]
    right = corrected([0, 5 * DAY, 10 * DAY - 1, 10 * DAY, 11 * DAY], [6.0] * 5, corrections(calibrations, "linear"))
    np.testing.assert_allclose(right, [6.0, 5.9, 5.8, 6.0, 6.0], atol=1e-9)
    np.testing.assert_array_equal(corrected([0, 5 * DAY], [6.0, 6.0], corrections(calibrations)), [6.0, 6.0])


def test_drift_of_a_device_that_is_never_set_goes_from_one_correction_to_the_next():
    calibrations = [in_ph(0, (7.1, 4.1)), in_ph(10 * DAY, (7.3, 4.3))]
    right = corrected([0, 5 * DAY, 10 * DAY, 20 * DAY], [6.0] * 4, corrections(calibrations, "linear"))
    np.testing.assert_allclose(right, [5.9, 5.8, 5.7, 5.7], atol=1e-9)
    right = corrected([0, 5 * DAY, 10 * DAY, 20 * DAY], [6.0] * 4, corrections(calibrations))
    np.testing.assert_allclose(right, [5.9, 5.9, 5.7, 5.7], atol=1e-9)


def test_order_does_not_matter_and_of_two_at_one_instant_the_later_counts():
    several = [in_ph(DAY, (7.2, 4.2)), in_ph(0, (7.1, 4.1)), in_ph(DAY, (7.3, 4.3))]
    assert [(one.from_us, round(one.offset, 9)) for one in corrections(several)] == [(0, -0.1), (DAY, -0.3)]


def test_a_calibration_that_gives_no_line_is_left_out():
    good = in_ph(0, (7.1, 4.1))
    bad_ones = [in_ph(DAY, shown) for shown in ((7.0, 7.0), (math.nan, 4.0), (4.0, 7.0))]
    bad_ones += [in_mv(DAY, shown) for shown in ((0.0, 175.0), (0.0, -175.0))]
    for bad in (*bad_ones, in_ph(DAY, (7.0, 4.0), temperature=50.0)):
        assert corrections([good, bad]) == corrections([good])
        assert corrections([good, bad], "linear") == corrections([good])
    assert corrections([good, in_mv(DAY, (0.0, 175.0), adjusted=True)])[1] == Correction(DAY, 1.0, 0.0)
    assert corrections([]) == []
    assert corrections([in_mv(0, (5.0, 5.0))]) == []


def test_ec_against_a_standard():
    # A probe that shows 1.350 in the 1.413 mS/cm standard reads 4.5 % low: arithmetic.
    [one] = corrections([EcCalibration(DAY, 1.413, 1.350)])
    assert one == Correction(DAY, 1.413 / 1.350, 0.0)
    assert float(corrected([DAY], [1.350], [one])[0]) == pytest.approx(1.413)
    assert corrections([EcCalibration(DAY, 1.413, 0.0)]) == []
    assert corrections([EcCalibration(DAY, 1.413, math.nan)]) == []
    assert corrections([EcCalibration(DAY, 1.413, 1.35, adjusted=True)]) == [Correction(DAY, 1.0, 0.0)]


def test_no_correction_leaves_readings_as_they_are():
    assert corrected([0, 1], [6.0, 7.0], []).tolist() == [6.0, 7.0]
    right = corrected([0, 1, 2], [6.0, np.nan, 6.0], [Correction(1, 1.0, -0.5)])
    np.testing.assert_array_equal(right, [6.0, np.nan, 5.5])
    assert corrected([], [], [Correction(1, 1.0, -0.5)]).tolist() == []


def test_the_readings_handed_in_are_not_changed():
    mine = np.array([6.0, 6.0])
    corrected([0, 1], mine, [Correction(0, 2.0, 0.0)])
    assert mine.tolist() == [6.0, 6.0]


@given(st.lists(st.floats(0, 14), min_size=1, max_size=20), st.integers(0, 20))
def test_any_cut_of_the_readings_gives_the_same(values, cut):
    made = corrections([in_ph(3, (7.1, 4.2)), in_ph(9, (7.3, 4.1))], "linear")
    at = list(range(len(values)))
    whole = corrected(at, values, made)
    parts = [corrected(at[:cut], values[:cut], made), corrected(at[cut:], values[cut:], made)]
    np.testing.assert_array_equal(np.concatenate(parts), whole)


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: TwoPointCalibration(0, (7.0, 6.5), (7.0, 6.5)), "less than 1 pH apart"),
        (lambda: TwoPointCalibration(0, (7.0, 4.0), (7.0,)), "2 buffers and 1 readings: give two of each"),
        (lambda: TwoPointCalibration(0, (7.0, 4.0), (7.0, 4.0), "V"), "unit is 'V': give 'pH'"),
        (lambda: EcCalibration(0, 0.0, 1.0), "standard is 0.0 mS/cm"),
        (lambda: corrections([], "spline"), "between is 'spline': give 'step' or 'linear'"),
        (lambda: corrected([0], [1.0], [Correction(5, 1, 0), Correction(5, 1, 0)]), "corrections must ascend in time"),
        (lambda: corrected([1, 0], [1.0, 1.0], []), "time_us must ascend"),
    ],
)
def test_wrong_calls(call, message):
    with pytest.raises(ValueError, match=message):
        call()
