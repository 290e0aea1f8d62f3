"""Give or take of dew point and deficits: the law of propagation (JCGM 100) by differences and by random draws."""

import numpy as np
import psychrolib
import pytest

from analytics.condensation import (
    condensation_margin,
    condensation_margin_uncertainty,
    temperature_factor,
    wall_surface_temperature,
)
from analytics.psychrometrics import dew_point_temperature
from analytics.uncertainty import (
    air_vapour_pressure_deficit_uncertainty,
    dew_point_temperature_uncertainty,
    leaf_vapour_pressure_deficit_uncertainty,
)
from analytics.vapour_pressure_deficit import air_vapour_pressure_deficit, leaf_vapour_pressure_deficit

psychrolib.SetUnitSystem(psychrolib.SI)

AIR, HUMIDITY = np.meshgrid([-20.0, -10.0, 5.0, 18.0, 24.0, 30.0], [30.0, 60.0, 85.0, 97.0])
DRAWS = 200_000  # the spread of so many has a standard error of 0.16 %: hence 1 %


def moved(function, *arguments):
    """Return each accuracy's effect: the argument moved a tenth of it both ways. ``arguments``: (value, accuracy)."""
    effects = []
    for place, (_, accuracy) in enumerate(arguments):
        ends = []
        for sign in (1, -1):
            values = [value for value, _ in arguments]
            values[place] = values[place] + sign * accuracy / 10
            ends.append(function(*values))
        effects.append((ends[0] - ends[1]) * 5)
    return np.sqrt(sum(effect**2 for effect in effects))


def drawn(seed=20_260_302):
    return np.random.default_rng(seed).normal


@pytest.mark.parametrize("phase", ["auto", "water"])
def test_dew_point_by_differences(phase):
    expected = moved(lambda t, rh: dew_point_temperature(t, rh, phase), (AIR, 0.3), (HUMIDITY, 2.0))
    ours = dew_point_temperature_uncertainty(AIR, HUMIDITY, 0.3, 2.0, phase)
    np.testing.assert_allclose(ours, expected, rtol=1e-3)


def test_dew_point_by_psychrolibs_own_dew_points():
    for air, humidity in ((24.0, 65.0), (18.0, 90.0), (5.0, 80.0)):
        by_air = [psychrolib.GetTDewPointFromRelHum(air + step, humidity / 100) for step in (0.03, -0.03)]
        by_humidity = [psychrolib.GetTDewPointFromRelHum(air, (humidity + step) / 100) for step in (0.2, -0.2)]
        expected = 5 * np.hypot(by_air[0] - by_air[1], by_humidity[0] - by_humidity[1])
        assert float(dew_point_temperature_uncertainty(air, humidity, 0.3, 2.0)) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize("phase", ["auto", "water"])
def test_air_deficit_by_differences(phase):
    expected = moved(lambda t, rh: air_vapour_pressure_deficit(t, rh, phase), (AIR, 0.3), (HUMIDITY, 2.0))
    ours = air_vapour_pressure_deficit_uncertainty(AIR, HUMIDITY, 0.3, 2.0, phase)
    np.testing.assert_allclose(ours, expected, rtol=1e-3)


def test_leaf_deficit_by_differences():
    expected = moved(leaf_vapour_pressure_deficit, (AIR, 0.3), (HUMIDITY, 2.0), (AIR - 1.5, 0.5))
    ours = leaf_vapour_pressure_deficit_uncertainty(AIR, HUMIDITY, AIR - 1.5, 0.3, 2.0, 0.5)
    np.testing.assert_allclose(ours, expected, rtol=1e-3)


def test_leaf_at_a_stated_offset_moves_with_the_air_sensor():
    expected = moved(lambda t, rh: leaf_vapour_pressure_deficit(t, rh, t - 0.8), (AIR, 0.3), (HUMIDITY, 2.0))
    ours = leaf_vapour_pressure_deficit_uncertainty(AIR, HUMIDITY, AIR - 0.8, 0.3, 2.0, 0.0, shared_with_air=1.0)
    np.testing.assert_allclose(ours, expected, rtol=1e-3)


def test_wall_from_the_same_air_sensor_by_differences():
    def margin(inside, humidity, outside):
        return condensation_margin(wall_surface_temperature(inside, outside, 1.5, 0.13), inside, humidity)

    expected = moved(margin, (AIR, 0.3), (HUMIDITY, 2.0), (AIR - 30.0, 0.5))
    factor = temperature_factor(1.5, 0.13)
    ours = condensation_margin_uncertainty(AIR, HUMIDITY, 0.3, 2.0, (1 - factor) * 0.5, shared_with_air=factor)
    np.testing.assert_allclose(ours, expected, rtol=1e-3)
    independent = condensation_margin_uncertainty(AIR, HUMIDITY, 0.3, 2.0, factor * 0.3)
    assert np.all(ours < independent), "what cancels makes the figure smaller"


def test_margin_of_a_sensor_that_counts_over_water_by_differences():
    expected = moved(
        lambda wall, t, rh: condensation_margin(wall, t, rh, "water"), (AIR, 0.25), (AIR, 0.3), (HUMIDITY, 2.0)
    )
    ours = condensation_margin_uncertainty(AIR, HUMIDITY, 0.3, 2.0, 0.25, phase="water")
    np.testing.assert_allclose(ours, expected, rtol=1e-3)


# Monte Carlo, JCGM 101:2008: the spread of the result when the inputs are drawn at random.


def test_dew_point_by_random_draws():
    draw = drawn()
    spread = dew_point_temperature(draw(22.0, 0.3, DRAWS), draw(60.0, 2.0, DRAWS)).std()
    assert float(dew_point_temperature_uncertainty(22.0, 60.0, 0.3, 2.0)) == pytest.approx(spread, rel=0.01)


def test_air_deficit_by_random_draws():
    draw = drawn()
    spread = air_vapour_pressure_deficit(draw(24.0, 0.3, DRAWS), draw(65.0, 2.0, DRAWS)).std()
    assert float(air_vapour_pressure_deficit_uncertainty(24.0, 65.0, 0.3, 2.0)) == pytest.approx(spread, rel=0.01)


def test_leaf_deficit_by_random_draws():
    draw = drawn()
    deficit = leaf_vapour_pressure_deficit(draw(25.0, 0.3, DRAWS), draw(60.0, 2.0, DRAWS), draw(23.0, 0.5, DRAWS))
    ours = leaf_vapour_pressure_deficit_uncertainty(25.0, 60.0, 23.0, 0.3, 2.0, 0.5)
    assert float(ours) == pytest.approx(deficit.std(), rel=0.01)


@pytest.mark.parametrize("r_value", [0.3, 3.8744])
def test_wall_from_the_same_air_sensor_by_random_draws(r_value):
    draw = drawn()
    inside, humidity, outside = draw(22.0, 0.3, DRAWS), draw(70.0, 2.0, DRAWS), draw(-20.0, 0.5, DRAWS)
    margin = condensation_margin(wall_surface_temperature(inside, outside, r_value, 0.13), inside, humidity)
    factor = float(temperature_factor(r_value, 0.13))
    ours = condensation_margin_uncertainty(22.0, 70.0, 0.3, 2.0, (1 - factor) * 0.5, shared_with_air=factor)
    assert float(ours) == pytest.approx(margin.std(), rel=0.01)


def test_hoar_forms_at_the_frost_point_whatever_the_sensor_counts_over():
    # -20 degC and 70 %: a sensor over ice has the frost point -23.663 (PsychroLib). One over water sees more vapour;
    # its dew point is -24.09 (MetPy 1.7.1), where vapour over water is e: the frost point is where es over ice is e.
    assert float(condensation_margin(-20.0, -20.0, 70.0)) == pytest.approx(3.663, abs=6e-4)
    # CoolProp's pressure over water, extrapolated; formulas there differ by 0.5 %, which is 0.05 K.
    frost = psychrolib.GetTDewPointFromVapPres(-20.0, 0.7 * 125.46)
    assert float(condensation_margin(-20.0, -20.0, 70.0, "water")) == pytest.approx(-20.0 - frost, abs=0.05)


def test_the_figure_ends_where_the_value_does():
    for function in (dew_point_temperature_uncertainty, air_vapour_pressure_deficit_uncertainty):
        ours = function([np.nan, 20.0, 20.0, 20.0, 20.0], [50.0, np.nan, 106.0, 50.0, 104.0], 0.3, [2, 2, 2, np.nan, 2])
        np.testing.assert_array_equal(np.isnan(ours), [True, True, True, True, False])
        assert ours[4] == function(20.0, 100.0, 0.3, 2.0), "105 % and 100 % are the same air"
    assert np.isnan(dew_point_temperature_uncertainty(20.0, 0.0, 0.3, 2.0))
    assert np.isnan(leaf_vapour_pressure_deficit_uncertainty(20.0, 106.0, 19.0, 0.3, 2.0, 0.3))
    assert np.isnan(condensation_margin_uncertainty(20.0, 106.0, 0.3, 2.0, 0.3))


def test_wrong_calls():
    for function in (dew_point_temperature_uncertainty, air_vapour_pressure_deficit_uncertainty):
        with pytest.raises(ValueError, match="phase is 'snow'"):
            function(20.0, 50.0, 0.3, 2.0, "snow")
        with pytest.raises(ValueError, match="which do not broadcast to one shape"):
            function([1.0, 2.0], [1.0, 2.0, 3.0], 0.3, 2.0)
    with pytest.raises(ValueError, match="phase is 'snow'"):
        condensation_margin_uncertainty(20.0, 50.0, 0.3, 2.0, 0.3, phase="snow")
    with pytest.raises(ValueError, match="which do not broadcast to one shape"):
        leaf_vapour_pressure_deficit_uncertainty([1.0, 2.0], [1.0, 2.0, 3.0], 20.0, 0.3, 2.0, 0.5)
