"""When the watch works: at once for what may begin an alarm, else no more often than its pace."""

from __future__ import annotations

import time
from threading import Event, Thread

import pytest

from analytics.findings.scene import HOUR_US
from farm.check import Description, check_text
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US, samples
from tests.watch.conftest import House
from watch.findings import FOUND_UNTIL, FindingsKeeper
from watch.jobs import Watch, findings_pause_s
from watch.pace import Pace, Pressing

ROOM = Series("testfarm", "room", "air_temperature")
HUMIDITY, CO2, MAINS, DOOR = (
    "room/relative_humidity", "room/co2_mole_fraction", "room/power_present", "room/door_open",
)  # fmt: skip
MORE = '[[series]]\nzone = "room"\nquantity = "power_present"\n[[series]]\nzone = "room"\nquantity = "door_open"\n\n'


def reading(value, at_us=T0_US):
    return [Reading(ROOM, at_us, value, Flag.NOT_EVALUATED)]


class Clock:
    """Stands where we put it."""

    now_s = 1000.0

    def __call__(self):
        return self.now_s


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def pace(clock):
    made = Pace(60, clock)
    made.begin()
    return made


@pytest.mark.parametrize(
    ("pressing", "value", "at_us", "presses"),
    [
        ([Pressing(18, 24)], 24.0, T0_US, False),
        ([Pressing(18, 24)], 24.1, T0_US, True),
        ([Pressing(18, 24)], 17.9, T0_US, True),
        ([Pressing(18, 24), Pressing(high=22)], 23.0, T0_US, True),
        ([Pressing(18, 24, delay_us=59_000_000)], 25.0, T0_US, True),
        ([Pressing(18, 24, delay_us=60_000_000)], 25.0, T0_US, False),  # the next round sees it begin in time
        ([Pressing(due_us=T0_US)], 25.0, T0_US - 1, False),
        ([Pressing(due_us=T0_US)], 25.0, T0_US, True),
        ([], 99.0, T0_US, False),
    ],
)
def test_what_presses(pace, pressing, value, at_us, presses):
    pace.aim(ROOM, pressing)
    pace.arrived(reading(value, at_us))
    assert pace.due is presses


def test_what_does_not_press_waits_for_the_pace(pace, clock):
    pace.arrived(reading(20.0))
    clock.now_s += 59.9
    assert not pace.due
    clock.now_s += 0.1
    assert pace.due
    pace.begin()
    clock.now_s += 1000
    assert not pace.due, "nothing arrived since"
    pace.call()
    assert pace.due


def test_the_first_work_waits_for_nothing(clock):
    pace = Pace(60, clock)
    pace.arrived(reading(20.0))
    assert pace.due


@pytest.fixture
def house(tmp_path):
    farm, mistakes = check_text(SMALL_FARM.replace("[[surfaces]]", MORE + "[[surfaces]]"))
    assert farm is not None, mistakes
    made = House(farm, tmp_path / "house")
    made.watch = Watch(
        Description(farm, "its text", "first"), made.store, made.journal, lambda: made.now_us, pace=Pace(60)
    )
    made.watch.begin()
    yield made
    made.close()


def presses(house, key, value, minute):
    """Return whether a reading calls for work at once, and have it stored and worked off."""
    at_us = T0_US + minute * MINUTE_US
    one = Reading(house.series(key), at_us, value, Flag.NOT_EVALUATED)
    house.watch.pace.begin()
    house.store.append([one])
    house.watch.pace.arrived([one])
    due = house.watch.pace.due
    house.work()
    return due


def test_co2_near_the_limit_presses_until_its_alarm_stands(house):
    house.put(CO2, samples("900*10"))
    house.work()
    assert not presses(house, CO2, 950.0, 10)
    assert presses(house, CO2, 4900.0, 11)  # within the sensor's give or take of 5,000 ppm
    assert [one.condition for one in house.journal.alarms.standing("testfarm")] == [f"co2_danger/{CO2}"]
    assert not presses(house, CO2, 5200.0, 12)
    for minute in range(13, 40):
        presses(house, CO2, 900.0, minute)
    assert [one for one in house.journal.alarms.standing("testfarm") if one.returned_us is None] == []
    assert presses(house, CO2, 5200.0, 40)


def test_after_a_new_start_the_first_reading_of_danger_presses(house):
    house.put(CO2, samples("900*10"))
    house.put(MAINS, samples("1*10"))
    house.work()
    house.watch = Watch(
        Description(house.farm, "its text", "first"), house.store, house.journal, lambda: house.now_us, pace=Pace(60)
    )
    house.watch.begin()
    assert presses(house, CO2, 6000.0, 10)
    assert presses(house, MAINS, 0.0, 10)


@pytest.mark.parametrize(("sent", "danger"), [(3000.0, False), (4000.0, True)])
def test_co2_of_a_sensor_that_knows_no_pressure_presses_by_what_is_true(tmp_path, sent, danger):
    """At 2500 m the air has 74.7 kPa (US Standard Atmosphere 1976): 3000 is truly 4070 ppm there, and 4000 5430 ppm."""
    high = SMALL_FARM.replace("elevation_m = 120", "elevation_m = 2500")
    farm, mistakes = check_text(high.replace('topic = "plain/co2"', 'topic = "plain/co2"\ncalibrated_at_kpa = 101.325'))
    assert farm is not None, mistakes
    made = House(farm, tmp_path / "house")
    made.watch = Watch(
        Description(farm, "its text", "first"), made.store, made.journal, lambda: made.now_us, pace=Pace(60)
    )
    made.watch.begin()
    made.put(CO2, samples("600*10"))
    made.work()
    assert presses(made, CO2, sent, 10) is danger
    assert [one.condition for one in made.journal.alarms.standing("testfarm")] == [f"co2_danger/{CO2}"] * danger
    made.close()


def test_lost_mains_presses_and_a_door_just_opened_does_not(house):
    house.put(MAINS, samples("1*10"))
    house.put(DOOR, samples("0*10"))
    house.work()
    assert not presses(house, MAINS, 1.0, 10)
    assert not presses(house, DOOR, 1.0, 10)  # counts after minutes
    assert presses(house, MAINS, 0.0, 11)


def test_a_band_that_was_left_presses_when_that_counts(house):
    house.put(HUMIDITY, samples("60*10"))
    house.work()
    pressed = [presses(house, HUMIDITY, 80.0, minute) for minute in range(10, 18)]
    assert pressed == [minute == 15 for minute in range(10, 18)]  # on_delay_s = 300
    [excursion] = house.journal.excursions("testfarm")
    assert excursion.onset_us == T0_US + 10 * MINUTE_US


def test_a_late_reading_leaves_what_presses_now(house):
    house.put(HUMIDITY, samples("60*10"))
    house.work()
    house.put(HUMIDITY, samples("80", start_us=T0_US + 10 * MINUTE_US))
    house.work()
    house.put(HUMIDITY, samples("60", start_us=T0_US + 9 * MINUTE_US + MICROSECONDS_PER_SECOND))
    house.work()
    assert presses(house, HUMIDITY, 80.0, 15)


def rounds_after(house, rows, key, wait_s):
    before = house.watch.counts.rounds
    house.put(key, rows)
    house.watch.pace.arrived([Reading(house.series(key), at_us, value, Flag.NOT_EVALUATED) for at_us, value in rows])
    give_up = time.monotonic() + wait_s
    while house.watch.counts.rounds == before and time.monotonic() < give_up:
        time.sleep(0.01)
    return house.watch.counts.rounds - before


def test_a_stream_of_readings_is_worked_off_in_few_rounds(house):
    house.put(CO2, samples("900*10"))
    stopping = Event()
    worker = Thread(target=house.watch.run, args=(stopping,))
    worker.start()
    try:
        give_up = time.monotonic() + 20
        while house.watch.counts.rounds == 0 and time.monotonic() < give_up:
            time.sleep(0.01)
        for minute in range(10, 15):
            assert rounds_after(house, samples("900", start_us=T0_US + minute * MINUTE_US), CO2, 0.1) == 0
        assert rounds_after(house, samples("6000", start_us=T0_US + 15 * MINUTE_US), CO2, 20) == 1
        give_up = time.monotonic() + 20
        while not house.journal.alarms.standing("testfarm") and time.monotonic() < give_up:
            time.sleep(0.01)
        assert [one.condition for one in house.journal.alarms.standing("testfarm")] == [f"co2_danger/{CO2}"]
    finally:
        stopping.set()
        house.watch.pace.call()
        worker.join(20)
    assert not worker.is_alive()


@pytest.mark.parametrize(
    ("pace_s", "slowest_s", "pause_s"),
    [(2.0, 0.1, 60.0), (5.0, 0.1, 150.0), (60.0, 0.1, 300.0), (300.0, 1.0, 300.0), (300.0, 30.0, 600.0)],
)
def test_findings_are_looked_at_within_five_minutes_however_long_the_pace(pace_s, slowest_s, pause_s):
    assert findings_pause_s(pace_s, slowest_s) == pause_s


def found_until_h(house):
    return (int(house.journal.bases("testfarm", FOUND_UNTIL).get("", "0")) - T0_US) / HOUR_US


def test_a_backlog_is_looked_at_as_it_ends_and_what_is_late_after_the_pause(house, monkeypatch):
    assert T0_US % HOUR_US == 0
    house.now_us = T0_US + 12 * HOUR_US  # and the clock stands
    house.put(CO2, samples("600*240"))
    house.watch._slowest_finding_s = 0.4
    house.watch.round()
    assert found_until_h(house) == 3  # while readings come: as far as they have
    house.put(CO2, samples("600*480", start_us=T0_US + 4 * HOUR_US))
    house.watch.round()
    assert (found_until_h(house), house.watch.found) == (3, False)
    house.watch.round()  # too soon after the last, by how long that took
    house.now_us += MICROSECONDS_PER_SECOND
    during, work_out = [], FindingsKeeper._of_hours
    monkeypatch.setattr(
        FindingsKeeper, "_of_hours", lambda *asked: during.append(house.watch.found) or work_out(*asked)
    )
    house.watch.round()
    assert during == [False]
    assert (found_until_h(house), house.watch.found) == (12, True)
    house.put(CO2, samples("600", start_us=T0_US + 2 * HOUR_US + MICROSECONDS_PER_SECOND))
    house.work()
    assert found_until_h(house) == pytest.approx(2, abs=0.01)
    house.now_us += 10 * MINUTE_US
    house.work()
    assert found_until_h(house) == 12


def test_a_change_that_reaches_beyond_the_readings_is_no_new_hour(house):
    """As that of CO2 does, which holds for as long as the pressure it was worked out with."""
    house.now_us = T0_US + 3 * HOUR_US
    house.put(CO2, samples("600*118"))  # until 01:57
    house.work()
    house.now_us += 10 * MINUTE_US
    house.work()
    assert house.watch.found
    house.watch._findings.note({house.series(CO2): [(T0_US + HOUR_US, T0_US + 2 * HOUR_US + MINUTE_US)]})
    assert house.watch.found
