"""The lines of a psychrometric chart against PsychroLib, and the outline of a band against its own limits there."""

import numpy as np
import psychrolib
import pytest

from analytics.air_chart import air_outline, humidity_ratio_at_deficit

psychrolib.SetUnitSystem(psychrolib.SI)

PRESSURES_KPA = [84.556, 99.18, 101.325]
OPEN = (-np.inf, np.inf)


def saturation_kpa(air):
    return psychrolib.GetSatVapPres(air) / 1000


@pytest.mark.parametrize("pressure", PRESSURES_KPA)
@pytest.mark.parametrize("deficit", [0.0, 0.4, 1.2, 2.0])
def test_air_of_one_deficit_by_psychrolib(pressure, deficit):
    """PsychroLib 2.5.0: GetSatVapPres and GetHumRatioFromVapPres, the same ASHRAE equations, so to rounding."""
    air = np.arange(18.0, 36.0, 3.0)
    theirs = [psychrolib.GetHumRatioFromVapPres(1000 * (saturation_kpa(t) - deficit), 1000 * pressure) for t in air]
    np.testing.assert_allclose(humidity_ratio_at_deficit(air, deficit, pressure), theirs, rtol=1e-9)


def test_a_deficit_beyond_dry_air_is_unknown():
    # At 10 degC saturation is 1.2282 kPa (PsychroLib): no air there has a deficit of 1.3 kPa.
    assert np.isnan(humidity_ratio_at_deficit([10.0, np.nan, 20.0], [1.3, 1.0, -0.1], 101.325)).all()


@pytest.mark.parametrize("pressure", PRESSURES_KPA)
def test_an_outline_runs_along_the_limit_that_binds(pressure):
    """By PsychroLib: humidity and deficit of each corner lie within the limits, and one of them is on its limit."""
    limits = (20.0, 26.0), (52.0, 80.0), (0.5, 1.4)
    air, ratio = air_outline(*limits, pressure)
    assert (air[0], air[-1]) == (20.0, 20.0)
    assert air.max() == 26.0
    for t, w in zip(air.tolist(), ratio.tolist(), strict=True):
        percent = 100 * psychrolib.GetRelHumFromHumRatio(t, w, 1000 * pressure)
        deficit = saturation_kpa(t) * (1 - percent / 100)
        on = [abs(percent - 52.0), abs(percent - 80.0), 50 * abs(deficit - 0.5), 50 * abs(deficit - 1.4)]
        assert min(on) < 1e-6, (t, percent, deficit)
        assert 52.0 - 1e-6 <= percent <= 80.0 + 1e-6
        assert 0.5 - 1e-8 <= deficit <= 1.4 + 1e-8


def test_an_open_side_is_the_saturation_curve_or_dry_air():
    air, ratio = air_outline((20.0, 24.0), OPEN, OPEN, 101.325)
    half = len(air) // 2
    theirs = [psychrolib.GetSatHumRatio(t, 101325) for t in air[:half].tolist()]
    np.testing.assert_allclose(ratio[:half], theirs, rtol=1e-9)
    assert (ratio[half:] == 0.0).all()


def test_limits_that_exclude_each_other_leave_nothing():
    # 90 % at 20 degC is a deficit of 0.23 kPa (PsychroLib), at 25 degC 0.32 kPa: no such air has 1 kPa.
    assert len(air_outline((20.0, 25.0), (90.0, 100.0), (1.0, 2.0), 101.325)[0]) == 0


def test_where_limits_meet_within_the_range_the_outline_ends_there():
    """At 60 % at most a deficit of 0.8 at most needs es <= 2.0 kPa, which is 17.5 degC (PsychroLib)."""
    air, _ = air_outline((15.0, 25.0), (0.0, 60.0), (0.0, 0.8), 101.325)
    assert 17.5 - 10 / 60 - 0.01 < air.max() < 17.51  # less than a step along its side below


def test_an_outline_without_temperatures_is_a_wrong_call():
    with pytest.raises(ValueError, match="both limits of temperature"):
        air_outline((-np.inf, 20.0), OPEN, OPEN, 101.325)
    assert len(air_outline((20.0, 25.0), (np.nan, np.nan), OPEN, 101.325)[0]) == 0
