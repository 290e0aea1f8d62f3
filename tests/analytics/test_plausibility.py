"""What cannot be, against PsychroLib's state points and the definition of the light integral."""

import numpy as np
import psychrolib
import pytest

from analytics.plausibility import (
    dew_point_above_dry_bulb,
    dew_point_inconsistency,
    humidity_of_the_same_vapour,
    light_integral_above_lamps,
    stuck_wet_flags,
    supply_above_room_dew_point,
)

psychrolib.SetUnitSystem(psychrolib.SI)
NAN = float("nan")
MINUTES = np.arange(8) * 60_000_000


def test_three_readings_that_belong_together(reference):
    """PsychroLib 2.5.0 dew points, printed to 0.001 K."""
    table = reference("state_points")
    table = table[(table["air_temperature"] > 0.01) & ~np.isnan(table["td_p"])]
    air, humidity, dew_point = table["air_temperature"], table["relative_humidity"], table["td_p"]
    assert np.all(dew_point_inconsistency(air, humidity, dew_point, 0.001) <= 0)
    for by in (-0.5, 0.5):
        excess = dew_point_inconsistency(air, humidity, dew_point + by, 0.1)
        np.testing.assert_allclose(excess, 0.4, rtol=0, atol=0.001)


def test_dew_point_is_never_above_the_dry_bulb(reference):
    table = reference("state_points")
    known = ~np.isnan(table["td_p"])
    air, dew_point = table["air_temperature"][known], table["td_p"][known]
    assert np.all(dew_point_above_dry_bulb(air, dew_point, 0.0) <= 0)
    np.testing.assert_allclose(dew_point_above_dry_bulb(air, air + 0.8, 0.5), 0.3)


def test_a_coil_does_not_add_water():
    supply, room, running = [12.0, 14.5, 14.5, NAN], [13.0, 13.0, 13.0, 13.0], [1, 1, 0, 1]
    excess = supply_above_room_dew_point(supply, room, running, 1.0)
    np.testing.assert_equal(excess, [-2.0, 0.5, NAN, NAN])
    assert np.isnan(supply_above_room_dew_point(14.5, 13.0, NAN, 1.0))


def test_lamps_give_no_more_than_they_have(reference):
    """The definition of the integral; the table prints two decimals."""
    table = reference("daily_light_integral")
    excess = light_integral_above_lamps(table["integral"], table["ppfd"],
                                        table["hours"], 0.0)  # fmt: skip
    np.testing.assert_allclose(excess, 0, rtol=0, atol=0.005)
    assert light_integral_above_lamps(15.0, 250, 16, 0.1) == pytest.approx(15.0 - 1.1 * 14.40, abs=1e-9)
    assert np.isnan(light_integral_above_lamps([NAN, -1.0], 250, 16, 0.1)).all()


def test_humidity_of_the_same_vapour_at_another_temperature():
    """PsychroLib: vapour pressure of 22 degC and 60 %, relative humidity at other temperatures."""
    vapour = psychrolib.GetVapPresFromRelHum(22.0, 0.6)
    for air in (18.0, 20.0, 24.0, 28.0):
        expected = 100 * psychrolib.GetRelHumFromVapPres(air, vapour)
        assert humidity_of_the_same_vapour(air, vapour / 1000) == pytest.approx(expected, rel=1e-9)
    assert humidity_of_the_same_vapour(10.0, vapour / 1000) == 100
    np.testing.assert_equal(humidity_of_the_same_vapour([NAN, 20.0, 20.0], [1.0, NAN, -1.0]), [NAN] * 3)


def test_a_sensor_that_stays_wet():
    read = [100.0, 100.0, 100.0, 100.0, 99.0, 97.0, NAN, 100.0]
    expected = [99.0, 90.6, 90.4, 90.0, 80.0, 80.0, 80.0, NAN]
    flags = stuck_wet_flags(MINUTES, read, expected, hold_s=120, gap_s=180)
    assert flags.tolist() == [1, 1, 2, 2, 3, 1, 9, 9], "8 % below 98.5 % is 90.5 %; below 98.5 % it is dry again"
    assert stuck_wet_flags(MINUTES, read, 99.0, 60, 180).tolist() == [1, 1, 1, 1, 1, 1, 9, 1]


def test_a_share_below_nothing():
    with pytest.raises(ValueError, match="share is -1: give 0 or more"):
        light_integral_above_lamps(1.0, 1.0, 1.0, -1)
