"""The day sheet's probes: calibrations, samples by hand, days until due."""

from __future__ import annotations

from datetime import date

import pytest

from farm.check import check_text
from store.log_entries import EcCalibration, GrabSample, PhCalibration
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.day_data import day_data
from watch.probes_of_day import probes

PH, EC = "tank/solution_ph", "tank/solution_ec"
DAY_US = 1440 * MINUTE_US
NOON_US = T0_US + 12 * 60 * MINUTE_US
TANK = """
[zones.tank]
kind = "reservoir"
label = "Tank"

[[series]]
zone = "tank"
quantity = "solution_ph"
accuracy = 0.1
calibrate_every_days = 21
[[series]]
zone = "tank"
quantity = "solution_ec"
accuracy = 0.05
"""


@pytest.fixture
def tank(tmp_path):
    farm, mistakes = check_text(SMALL_FARM + TANK)
    assert farm is not None, mistakes
    made = House(farm, tmp_path / "house")
    made.now_us = T0_US + 23 * 60 * MINUTE_US  # the end of 1 March in Oslo
    yield made
    made.close()


def write(house, at_us, detail):
    return house.journal.log.add(house.farm.name, at_us, "kim", detail, at_us)


def rows(house):
    data = day_data(house.farm, house.watch.readings, house.journal, date(2026, 3, 1), house.now_us)
    return {row["key"]: row for row in probes(data)}


def test_only_what_is_to_be_calibrated_is_listed_before_anything_is_written(tank):
    assert rows(tank).keys() == {PH}
    row = rows(tank)[PH]
    assert (row["calibrated"], row["due_in_days"], row["electrode"], row["samples"]) == (None, None, None, None)


def test_an_electrode_that_loses_its_slope(tank):
    # 58.33 mV/pH is 98.6 % (the worked example of the checks); then two and four points less, twenty days apart.
    for days, share in ((40, 1.0), (20, 0.98), (0, 0.96)):
        detail = PhCalibration(
            series=PH, buffers=(7.01, 4.012), readings=(-15.0, -15.0 + 175 / 3 * 2.998 * share), reading_unit="mV"
        )
        write(tank, NOON_US - days * DAY_US, detail)
    row = rows(tank)[PH]
    electrode = row["electrode"]
    assert electrode["slope_percent"] == pytest.approx(98.6 * 0.96, abs=0.06)
    assert electrode["condition"] == "maintain"
    # 1.97 points in twenty days: from 94.66 at noon to 90 in 47 days, less the eleven hours since noon.
    assert electrode["days_to_limit"] == pytest.approx((98.6 * 0.96 - 90) / (98.6 * 0.02 / 20) - 11 / 24, abs=0.8)
    assert row["due_in_days"] == pytest.approx(21 - 11 / 24)
    assert row["calibrations"] == 3


def test_a_calibration_corrects_and_samples_are_held_against_the_corrected_readings(tank):
    tank.put(PH, samples("6.3*1000"))
    write(tank, T0_US, PhCalibration(series=PH, buffers=(7.0, 4.0), readings=(7.3, 4.3), temperature_c=25))
    for minute, value in ((100, 6.02), (400, 5.99), (700, 6.00)):
        write(tank, T0_US + minute * MINUTE_US, GrabSample(series=PH, value=value, plus_or_minus=0.05))
    tank.work()
    row = rows(tank)[PH]
    assert (row["scale"], row["offset"]) == (pytest.approx(1.0), pytest.approx(-0.3))
    assert row["samples"]["count"] == 3
    assert row["samples"]["bias"] == pytest.approx(-0.01 / 3)
    assert row["samples"]["allowed"] == pytest.approx(0.1118, abs=0.0001)  # root of 0.1 and 0.05 squared
    assert row["samples"]["verdict"] == "agrees"
    assert row["electrode"] is None  # in pH nothing is known of millivolts


def test_an_ec_probe_that_reads_low(tank):
    tank.put(EC, samples("1.50*100"))
    write(tank, T0_US + 200 * MINUTE_US, EcCalibration(series=EC, standard_ms_cm=1.413, reading_ms_cm=1.35))
    write(tank, T0_US + 50 * MINUTE_US, GrabSample(series=EC, value=1.70, plus_or_minus=0.03))
    write(tank, T0_US + 60 * MINUTE_US, GrabSample(series=EC, value=1.71, plus_or_minus=0.03))
    write(tank, T0_US - 31 * DAY_US, GrabSample(series=EC, value=9.9, plus_or_minus=0.03))  # too long ago
    write(tank, T0_US + 300 * MINUTE_US, GrabSample(series=EC, value=9.9, plus_or_minus=0.03))  # no reading beside it
    tank.work()
    row = rows(tank)[EC]
    assert row["scale"] == pytest.approx(1.413 / 1.35)
    assert row["due_in_days"] is None  # no interval is described
    assert row["samples"]["count"] == 2
    assert row["samples"]["verdict"] == "differs"
    assert row["samples"]["bias"] == pytest.approx(-0.205)


def test_the_cell_constant_of_an_ec_probe(tank):
    for minute, reading in ((0, 1.413 / 1.05), (60, 1.413 * 1.05 / 1.12)):
        detail = EcCalibration(series=EC, standard_ms_cm=1.413, reading_ms_cm=reading, adjusted=True)
        write(tank, T0_US + minute * MINUTE_US, detail)
    cell = rows(tank)[EC]["cell"]
    assert cell["constant_percent"] == pytest.approx(112.0)
    assert (cell["condition"], cell["limit_percent"]) == ("maintain", 10.0)


OWN_LIMITS = """
[probe_limits.electrode]
maintain_percent = 91
stop_percent = 91
offset_mv = 20
[probe_limits.cell]
maintain_percent = 2
reject_percent = 5
"""


def test_the_limits_of_the_description_decide(tmp_path):
    farm, mistakes = check_text(SMALL_FARM + TANK + OWN_LIMITS)
    assert farm is not None, mistakes
    house = House(farm, tmp_path / "house")
    house.now_us = T0_US + 23 * 60 * MINUTE_US
    in_mv = {"buffers": (7.0, 4.0), "reading_unit": "mV"}
    write(house, T0_US, PhCalibration(series=PH, readings=(-21.0, -21.0 + 3 * 58.0), **in_mv))
    write(house, T0_US, EcCalibration(series=EC, standard_ms_cm=1.413, reading_ms_cm=1.413 / 1.06))
    found = rows(house)
    assert found[PH]["electrode"]["condition"] == "stop"  # 98 %, but over 20 mV
    assert found[PH]["electrode"]["limit_percent"] == 91
    assert found[EC]["cell"]["condition"] == "reject"
    house.close()


def test_what_was_withdrawn_or_comes_later_does_not_count(tank):
    write(tank, tank.now_us + 1, PhCalibration(series=PH, buffers=(7.0, 4.0), readings=(7.3, 4.3)))
    entry = write(tank, T0_US, PhCalibration(series=PH, buffers=(7.0, 4.0), readings=(7.3, 4.3)))
    tank.journal.log.withdraw(tank.farm.name, entry.identity, "kim", T0_US + 1)
    assert rows(tank)[PH]["calibrations"] == 0
