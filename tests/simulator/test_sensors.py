"""What sensors make of a truth that is known: noise, lag, steps, drift, losses, and faults of their own."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from math import exp

import numpy as np
import pytest

from farm.description import DescribedSeries, Farm
from farm.readings import microseconds
from simulator.behaviours import BEHAVIOURS
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.sensors import Habits, Sensor, Sensors

START = datetime(2026, 2, 2, tzinfo=UTC)
HOUR = timedelta(hours=1)
QUIET = Habits(noise=0.0, bias=0.0, drift=0.0)
DAY_US = microseconds(START) + 60_000_000 * np.arange(1, 1441)


def described(key, **more):
    one = next(one for one in demo_farm().series if one.key == key)
    return DescribedSeries.model_validate({**one.model_dump(), **more})


def read(key, truth, faults=(), habits=QUIET, seed=1, **more):
    truth = np.broadcast_to(np.asarray(truth, float), (1440,))
    return Sensor(described(key, **more), seed=seed, habits=habits).read(0, DAY_US, truth, faults)


def test_a_lagging_sensor_follows_as_its_time_constant_says():
    truth = np.where(np.arange(1440) < 1, 20.0, 30.0)
    found = read("room/air_temperature", truth)
    minutes = np.arange(1440)
    lag_s = BEHAVIOURS["air_temperature"].lag_s
    assert found == pytest.approx(
        30.0 - 10.0 * np.exp(-minutes * 60.0 / lag_s), abs=0.0051
    )  # first order; 0.01 K steps


def test_noise_is_as_big_as_it_says_and_white():
    found = read("room/relative_humidity", 60.0, habits=Habits(bias=0.0, drift=0.0))
    size = np.hypot(BEHAVIOURS["relative_humidity"].noise, 0.1 / np.sqrt(12))  # and the steps of 0.1 % RH
    assert found.std() == pytest.approx(size, rel=0.08)  # four standard errors of 1440 draws
    away = found - found.mean()
    assert abs((away[1:] * away[:-1]).mean() / away.var()) < 0.11
    assert found == pytest.approx(np.round(found, 1))


def test_bias_differs_between_sensors_and_stays_within_two_deviations():
    how = BEHAVIOURS["solution_ph"]
    biases = [
        read("reservoir/solution_ph", 6.0, habits=Habits(0.0, 1.0, 0.0), seed=seed)[0] - 6.0 for seed in range(40)
    ]
    assert np.std(biases) == pytest.approx(how.bias, rel=0.4)
    assert np.abs(biases).max() <= 2 * how.bias + 0.01


def test_drift_grows_until_the_probe_is_calibrated():
    sensor = Sensor(described("reservoir/solution_ph"), seed=3, habits=Habits(0.0, 0.0, 40.0))  # every 21 days
    truth = np.full(1440, 6.0)
    off = [sensor.read(day * 1440, DAY_US, truth)[-1] - 6.0 for day in range(42)]
    assert abs(off[20]) > 0.1
    assert abs(off[20]) == pytest.approx(21 * abs(off[0]), abs=0.25)
    assert off[21:] == pytest.approx(off[:21])


def test_a_sensor_says_nothing_outside_its_range():
    found = read("reservoir/solution_ec", np.linspace(0.0, 9.0, 1440))  # range 0 to 5
    assert found.max() == 5.0


def test_slower_cadences_and_losses_leave_readings_out():
    every_five = Sensor(described("room/air_temperature", cadence_s=300.0), seed=1).came(DAY_US)
    assert (np.flatnonzero(every_five) % 5 == 4).all()  # whole five minutes of the clock
    assert every_five.sum() == 288
    lossy = Sensor(described("room/air_temperature"), seed=1, habits=Habits(lost=0.1))
    assert lossy.came(DAY_US).mean() == pytest.approx(0.9, abs=0.032)  # four standard errors


def test_another_series_changes_no_other_ones_noise():
    raw = demo_farm().model_dump()
    raw["series"].insert(3, {"zone": "room", "quantity": "air_temperature", "sensor": "second"})
    more = Farm.model_validate(raw)
    truths = [np.full(1440, 20.0) for _ in more.series]
    after = Sensors(more, seed=5).read(DAY_US, truths)
    before = Sensors(demo_farm(), seed=5).read(DAY_US, truths[1:])
    kept = [row for row, key in enumerate(after.keys) if key in before.keys]
    assert (after.value[kept] == before.value).all()


def test_blocks_of_any_length_give_the_same_bytes_with_every_fault():
    faults = [
        Fault(FaultKind.SENSOR_STUCK, START + 3 * HOUR, START + 5 * HOUR, target="row-1/air_temperature"),
        Fault(FaultKind.SENSOR_OFFSET, START + HOUR, None, 0.4, "row-2/air_temperature", 7200.0),
        Fault(FaultKind.HUMIDITY_SENSOR_WET, START + HOUR, START + 2 * HOUR, 0.8, "room/relative_humidity", 600.0),
        Fault(FaultKind.HUMIDITY_SENSOR_DRIFT, START + HOUR, None, -5.0, "row-1/relative_humidity", 9999.0),
        Fault(FaultKind.LIGHT_SENSOR_SHADED, START + HOUR, None, 0.5, "row-1/ppfd"),
        Fault(FaultKind.CO2_SENSOR_DRIFT, START, None, 99.0, "room/co2_mole_fraction", 86_400.0),
    ]
    farm = demo_farm()
    random = np.random.default_rng(1)
    truths = [random.uniform(0.3, 0.9, 1440) * 50 for _ in farm.series]

    def run(length):
        sensors = Sensors(farm, seed=2, faults=faults, habits=Habits(lost=0.02, drift=9.0))
        blocks = [
            sensors.read(DAY_US[at : at + length], [truth[at : at + length] for truth in truths])
            for at in range(0, 1440, length)
        ]
        return [
            np.hstack([block.value for block in blocks]).tobytes(),
            np.hstack([block.came for block in blocks]).tobytes(),
        ]

    assert run(1) == run(60) == run(1440)


def test_a_stuck_sensor_repeats_what_it_said_last():
    truth = np.arange(1440) / 100.0
    fault = Fault(FaultKind.SENSOR_STUCK, START + 3 * HOUR, START + 5 * HOUR, target="reservoir/solution_level")
    found = read("reservoir/solution_level", truth, [fault])
    free = read("reservoir/solution_level", truth)
    during = fault.acts(DAY_US)
    assert set(found[during]) == {free[~during][178]}  # the reading of 02:59
    assert (found[~during] == free[~during]).all()


def test_a_wet_sensor_reads_near_saturation_and_recovers():
    fault = Fault(
        FaultKind.HUMIDITY_SENSOR_WET, START + 3 * HOUR, START + 5 * HOUR, 1.0, "room/relative_humidity", 600.0
    )
    found = read("room/relative_humidity", 60.0, [fault])
    assert found[: 3 * 60 - 1] == pytest.approx(60.0)
    assert found[5 * 60 - 5] == pytest.approx(100.0, abs=0.5)
    assert found[-1] == pytest.approx(60.0)


def test_shade_takes_its_share_of_the_light_and_none_of_the_dark():
    fault = Fault(FaultKind.LIGHT_SENSOR_SHADED, START, None, 0.4, "row-1/ppfd")
    truth = np.where(np.arange(1440) < 600, 0.0, 250.0)
    found = read("row-1/ppfd", truth, [fault])
    assert found[:600].max() == 0.0
    assert found[600:] == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("kind", "key", "size"),
    [
        (FaultKind.SENSOR_OFFSET, "room/air_temperature", -1.5),
        (FaultKind.HUMIDITY_SENSOR_DRIFT, "room/relative_humidity", 8.0),
        (FaultKind.CO2_SENSOR_DRIFT, "room/co2_mole_fraction", 120.0),
    ],
)
def test_a_drifting_sensor_is_off_by_its_size_after_its_ramp(kind, key, size):
    fault = Fault(kind, START, None, size, key, 12 * 3600.0)
    found = read(key, 50.0, [fault])
    assert found[359] - 50.0 == pytest.approx(size / 2, abs=0.51)
    assert found[-1] - 50.0 == pytest.approx(size, abs=0.51)  # ppm come whole


def test_lag_constant_is_one_minus_exp():
    assert Sensor(described("room/air_temperature"), seed=1)._share == pytest.approx(1 - exp(-1.0))
