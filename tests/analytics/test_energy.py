"""Energy from power and from meters, and photons for it: definitions, and sums by hand."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.energy import (
    Energy,
    energy_from_counter,
    energy_from_power,
    meter_disagreement,
    photon_efficacy,
    ppfd_from_efficacy,
    share_by_plant_time,
)
from analytics.light import light_integral
from analytics.psychrometrics import enthalpy
from farm.units import conversion_to

MINUTE = 60_000_000
HOUR = 60 * MINUTE


def test_one_kilowatt_for_sixteen_hours():
    found = energy_from_power([0, 16 * HOUR], [1000.0, 1000.0], 0, 16 * HOUR, 16 * HOUR)
    assert (found.kwh, found.coverage) == (16.0, 1.0)


def test_a_gap_is_not_bridged():
    times = np.r_[0:60, 120:181] * MINUTE
    found = energy_from_power(times, np.full(len(times), 2000.0), 0, 3 * HOUR, 3 * MINUTE)
    assert found.kwh == pytest.approx(2.0 * (59 + 60) / 60)
    assert found.coverage == pytest.approx(119 / 180)
    nothing = energy_from_power([], [], 0, HOUR, MINUTE)
    assert math.isnan(nothing.kwh)
    assert nothing.coverage == 0.0
    assert math.isnan(Energy(1.0, 0.0, 0.0).coverage)


@given(st.lists(st.floats(0, 1e4), min_size=2, max_size=50), st.floats(0, 1))
def test_adjoining_windows_add_up(power, where):
    times = np.arange(len(power)) * MINUTE
    cut, end = int(where * times[-1]), int(times[-1])
    parts = [energy_from_power(times, power, *window, MINUTE) for window in ((0, cut), (cut, end))]
    whole = energy_from_power(times, power, 0, end, MINUTE)
    assert sum(one.kwh for one in parts if one.covered_s) == pytest.approx(whole.kwh, rel=1e-9, abs=1e-12)


def test_a_counter_counts_through_a_gap_within_the_window():
    found = energy_from_counter([0, 10 * MINUTE, 5 * HOUR], [100.0, 100.5, 104.0], 0, 5 * HOUR, 15 * MINUTE)
    assert (found.kwh, found.coverage) == (4.0, 1.0)


def test_a_counters_step_across_the_edge_is_shared_by_time_only_if_it_is_short():
    # 0.3 kWh in ten minutes, four of them inside; and 2 kWh over an hour that sticks out: nobody knows when.
    times = [0, 10 * MINUTE, 70 * MINUTE, 130 * MINUTE]
    found = energy_from_counter(times, [1.0, 1.3, 2.0, 4.0], 6 * MINUTE, 100 * MINUTE, 15 * MINUTE)
    assert found.kwh == pytest.approx(0.3 * 0.4 + 0.7)
    assert found.covered_s == 64 * 60


def test_a_counter_that_rolls_over_or_is_reset():
    times = [0, MINUTE, 2 * MINUTE]
    assert energy_from_counter(times, [999.0, 2.0, 3.0], 0, 2 * MINUTE, MINUTE, 1000.0).kwh == pytest.approx(4.0)
    assert energy_from_counter(times, [5.0, 0.5, 1.5], 0, 2 * MINUTE, MINUTE).kwh == pytest.approx(1.5)
    assert math.isnan(energy_from_counter([0], [5.0], 0, MINUTE, MINUTE).kwh)
    assert math.isnan(energy_from_counter([], [], 0, MINUTE, MINUTE).kwh)
    lost = energy_from_counter(times, [1.0, np.nan, 3.0], 0, 2 * MINUTE, MINUTE)
    assert (lost.kwh, lost.coverage) == (2.0, 1.0)


@given(st.lists(st.floats(0, 5000), min_size=3, max_size=60))
def test_meters_of_one_load_agree(power):
    """A counter that integrates straight lines shows what the trapezoids do."""
    times = np.arange(len(power)) * MINUTE
    counter = 7.0 + np.concatenate(([0.0], np.cumsum((np.array(power)[1:] + power[:-1]) / 2 / 60_000)))
    one = energy_from_power(times, power, 0, int(times[-1]), MINUTE)
    two = energy_from_counter(times, counter, 0, int(times[-1]), MINUTE)
    assert one.kwh == pytest.approx(two.kwh, abs=1e-9)


def test_disagreement():
    day = 86_400.0
    assert meter_disagreement(Energy(11.0, day, day), Energy(10.0, day, day)) == pytest.approx(0.1)
    assert math.isnan(meter_disagreement(Energy(11.0, 0.8 * day, day), Energy(10.0, day, day)))
    assert math.isnan(meter_disagreement(Energy(11.0, day, day), Energy(10.0, 0.8 * day, day)))
    assert math.isnan(meter_disagreement(Energy(11.0, day, day), Energy(0.0, day, day)))
    assert math.isnan(meter_disagreement(Energy(11.0, day, day), Energy(math.nan, day, day)))


def test_photons_for_power():
    # 2.7 umol/J at 1 kW are 2700 umol/s; over 10 m2 270 umol m-2 s-1, and in 16 h 15.55 mol m-2 (definitions).
    assert float(ppfd_from_efficacy(2.7, 1.0, 1000.0)) == pytest.approx(2700.0)
    ppfd = float(ppfd_from_efficacy(2.7, 10.0, 1000.0))
    assert ppfd == pytest.approx(270.0)
    assert light_integral([0, 16 * HOUR], [ppfd, ppfd], 0, 16 * HOUR, 16 * HOUR).mol == pytest.approx(15.55, abs=0.005)
    assert float(photon_efficacy(270.0, 10.0, 1000.0)) == pytest.approx(2.7)
    assert np.isnan(photon_efficacy([np.nan, 270.0], 10.0, [1000.0, 0.0])).all()
    assert np.isnan(ppfd_from_efficacy([np.nan, 2.7], [10.0, 0.0], 1000.0)).all()


def test_a_ton_of_cooling():
    # 12,000 Btu/h (International Table, NIST SP 811) are 3516.85 W.
    assert 12_000 * conversion_to("W", "Btu/h").scale == pytest.approx(3516.85, abs=0.005)


def test_a_coils_split_by_enthalpies():
    # 24 degC, 65 % in and 12 degC, 95 % out at sea level: PsychroLib gives 55.054, 32.985 and, for the sensible step
    # first, 42.711 kJ/kg; sensible heat ratio 0.5593. The other convention (drying first) gives 0.5554.
    entering, leaving = (float(enthalpy(t, rh, 101.325)) for t, rh in ((24.0, 65.0), (12.0, 95.0)))
    assert (entering, leaving) == (pytest.approx(55.054, abs=6e-4), pytest.approx(32.985, abs=6e-4))
    assert (entering - 42.711) / (entering - leaving) == pytest.approx(0.5593, abs=1e-3)
    assert 0.5 * (entering - leaving) == pytest.approx(11.03, abs=0.005)


def test_shares_by_plants_and_time():
    # 480 plants all day and 160 for half of it: 480 to 80 plant days (arithmetic).
    assert share_by_plant_time([480, 160], [86_400, 43_200]).tolist() == pytest.approx([6 / 7, 1 / 7])
    assert share_by_plant_time([480, np.nan], [86_400, 0]).tolist() == [1.0, 0.0]
    assert np.isnan(share_by_plant_time([480, np.nan], [86_400, 60])).all()
    assert np.isnan(share_by_plant_time([480, 20], [0, 0])).all()
    assert share_by_plant_time([], []).size == 0


def test_refused_calls():
    with pytest.raises(ValueError, match="before it starts"):
        energy_from_counter([0], [1.0], 5, 1, MINUTE)
    with pytest.raises(ValueError, match="rolls_over_at is 0"):
        energy_from_counter([0, 1], [1.0, 2.0], 0, 5, MINUTE, 0)
    with pytest.raises(ValueError, match="do not broadcast"):
        share_by_plant_time([1, 2], [1, 2, 3])
