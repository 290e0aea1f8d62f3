"""The usual limits on the simulated farm: they leave an honest one alone and find injected sensor faults."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from analytics.quality import QualityLimits, reach_s, verdicts
from farm.check import check_text
from farm.readings import microseconds
from simulator.demo import demo_farm, demo_faults
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation
from tests.conftest import SMALL_FARM
from watch.quality_limits import limits_of, quality_limits

START = datetime(2026, 2, 10, tzinfo=UTC)
DAYS = 4
STUCK = "row-2/air_temperature"
STUCK_FROM = START + timedelta(hours=30)


@pytest.fixture(scope="module")
def farm():
    return demo_farm()


@pytest.fixture(scope="module")
def days(farm):
    """Four days with the demonstration's own faults, and one of the simulator's sensor faults."""
    faults = [
        *demo_faults(START, START + timedelta(days=DAYS)),
        Fault(FaultKind.OUTSIDE_AIR, START + timedelta(hours=60), START + timedelta(hours=61), target="door"),
        Fault(FaultKind.SENSOR_STUCK, STUCK_FROM, target=STUCK),
    ]
    simulation = Simulation(farm, seed=11, start=START, faults=faults)
    taken = [simulation.step() for _ in range(DAYS * 1440)]
    time_us = np.array([microseconds(one.time) for one in taken])
    return time_us, {key: np.array([one.values[n][1] for one in taken]) for n, (key, _) in enumerate(taken[0].values)}


def doubted(flags):
    return np.isin(flags, (3, 4))


def test_no_honest_reading_is_doubted(farm, days):
    """Four days of all series but the broken one: compressor, doses, lamps, a door, lost drying, an empty bottle."""
    time_us, values = days
    assert len(values) == len(farm.described)
    for series, limits in quality_limits(farm).items():
        if series.key != STUCK:
            assert not doubted(verdicts(time_us, values[series.key], limits).flag).any(), series.key


def test_a_frozen_sensor_is_found_when_the_limits_say(farm, days):
    time_us, values = days
    [series] = [one for one in farm.described if one.key == STUCK]
    limits = limits_of(farm, series)
    flag = verdicts(time_us, values[STUCK], limits).flag
    frozen_us = microseconds(STUCK_FROM)
    for wanted, after_s in ((3, limits.flat_line_suspect_s), (4, limits.flat_line_fail_s)):
        first_us = time_us[np.argmax(flag >= wanted)]
        # counted from the last change, which may lie a few equal readings before
        assert (after_s - 180) * 1e6 <= first_us - frozen_us <= (after_s + 120) * 1e6
    assert (flag[time_us > frozen_us + limits.flat_line_fail_s * 1e6 + 120e6] == 4).all()


@pytest.mark.parametrize(
    ("key", "height"),
    [("room/air_temperature", 12), ("room/relative_humidity", -35), ("room/co2_mole_fraction", 1500),
     ("reservoir/solution_ec", -1.0), ("reservoir/solution_ph", 1.0), ("reservoir/solution_temperature", 4),
     ("reservoir/dissolved_oxygen", -4), ("reservoir/solution_level", -20), ("outdoors/air_temperature", 15),
     ("supply/air_temperature", 20), ("room/surface_temperature/door-frame", 6)],
)  # fmt: skip
def test_loose_plugs_are_found_wherever_they_fall(farm, days, key, height):
    time_us, values = days
    [series] = [one for one in farm.described if one.key == key]
    at = np.arange(7, len(time_us) - 7, 61)
    broken = values[key].copy()
    broken[at] += height
    flag = verdicts(time_us, broken, limits_of(farm, series)).flag
    assert doubted(flag[at]).all()
    others = np.delete(flag, np.concatenate([at, at + 1]))
    assert not doubted(others).any(), "the one before and those further on are innocent"


@pytest.mark.parametrize(
    ("quantity", "step"),
    [("air_temperature", 0.1), ("air_temperature", 0.5), ("relative_humidity", 1), ("co2_mole_fraction", 50),
     ("solution_ec", 0.1), ("solution_ph", 0.05), ("solution_temperature", 0.5), ("solution_level", 2)],
)  # fmt: skip
def test_coarse_sensors_are_left_alone(farm, days, quantity, step):
    time_us, values = days
    for series in farm.described:
        if series.quantity == quantity and series.key != STUCK:
            coarse = np.round(values[series.key] / step) * step
            assert not doubted(verdicts(time_us, coarse, limits_of(farm, series)).flag).any(), series.key


def test_a_sensor_of_a_tenth_of_a_kelvin_in_a_steady_room(farm):
    """Seven hours within 0.02 K read as one and the same number."""
    [series] = [one for one in farm.described if one.key == "room/air_temperature"]
    truth = 20.0 + 0.02 * np.sin(np.arange(420) / 50)
    flag = verdicts(np.arange(420) * 60_000_000, np.round(truth, 1), limits_of(farm, series)).flag
    assert not doubted(flag).any()


def test_limits_become_seconds_and_the_quantitys_unit():
    own = """[[series]]
zone = "row"
quantity = "solution_ph"
cadence_s = 20
range = [2, 12]
accuracy = 0.2
quality = { expected = [5, 7], spike = [0.3, 0.6], change_per_min = [0.6, 1.2], flat_line_s = [600, 900] }
"""
    farm, mistakes = check_text(SMALL_FARM + own)
    assert not mistakes
    [series] = farm.series_of("row", "solution_ph")
    assert limits_of(farm, series) == QualityLimits(
        gap_s=60, fail_low=2, fail_high=12, suspect_low=5, suspect_high=7, spike_suspect=0.3, spike_fail=0.6,
        rate_suspect_per_s=0.01, rate_fail_per_s=0.02, rate_allowance=0.2, flat_line_tolerance=1e-4,
        flat_line_suspect_s=600, flat_line_fail_s=900,
    )  # fmt: skip
    assert reach_s(limits_of(farm, series)) == (960, 60)


def test_what_is_skipped_is_not_tested():
    tests = '["gross_range", "spike", "rate_of_change", "flat_line"]'
    own = f'[[series]]\nzone = "row"\nquantity = "solution_ph"\nquality = {{ skip = {tests}, gap_s = 500 }}\n'
    farm, _ = check_text(SMALL_FARM + own)
    [series] = farm.series_of("row", "solution_ph")
    assert limits_of(farm, series).tests == ("gap",)
    assert limits_of(farm, series).gap_s == 500
