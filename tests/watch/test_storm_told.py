"""What people get of ten thousand readings that come late and all at once: counted notices, from readings to outbox."""

from __future__ import annotations

import random

import pytest

from farm.alarm_words import Priority
from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from tests.watch.conftest import House
from watch.channels import Channels
from watch.mail import Mail
from watch.notifying import Notifier

LINES, CADENCE_US = 40, 30_000_000
READINGS = 10_000  # 250 of each line, at half a minute: two hours and five minutes
PEOPLE = """
[notices.people.ada]
label = "Ada"
mail = ["ada@farm.example"]
[notices.people.bo]
label = "Bo"
mail = ["bo@farm.example", "bo@home.example"]
zones = ["line-1", "line-2"]
"""
LINE = """
[zones.line-{n}]
kind = "growing_row"
label = "Line {n}"
crop = "cress"
phase = "growing"
[[series]]
zone = "line-{n}"
quantity = "flow_rate"
cadence_s = 30
"""


@pytest.fixture
def house(tmp_path):
    lines = "".join(LINE.format(n=n) for n in range(1, LINES + 1))
    band = "flow_rate = { always = [1, 9], on_delay_s = 300, off_delay_s = 120 }\n"
    farm, mistakes = check_text(SMALL_FARM + band + lines + PEOPLE)
    assert farm is not None, mistakes
    made = House(farm, tmp_path / "house")
    made.notifier = Notifier(farm, made.journal, Channels(farm.notices, [Mail(None)]), lambda: made.now_us)
    yield made
    made.close()


def flows(start_us, count, value):
    """Return readings of every line, litres a minute, in an order of chance."""
    rows = [
        (f"line-{n}/flow_rate", start_us + k * CADENCE_US, value(n, k)) for n in range(1, LINES + 1)
        for k in range(count)
    ]  # fmt: skip
    random.Random(11).shuffle(rows)
    return rows


def come(house, rows):
    by_series = {}
    for key, at_us, value in rows:
        by_series.setdefault(key, []).append((at_us, value))
    for key, several in by_series.items():
        house.put(key, several)
    house.work()


def told_in(house, minutes):
    """Let minutes pass, and return who was told what: (kind, person, channel, how many alarms)."""
    found = []
    for _ in range(minutes):
        found += house.notifier.decide()
        house.now_us += MINUTE_US
    return sorted((str(one.kind), one.person, one.channel, len(one.told)) for one in found)


def test_ten_thousand_late_readings_of_forty_dry_lines_are_one_storm_and_one_end(house):
    house.now_us = T0_US + 4 * 60 * MINUTE_US
    start_us = house.now_us - READINGS // LINES * CADENCE_US
    # Each line runs dry four times, 12 min of 25 each, the last time for good: the third and the fourth chatter.
    late = flows(start_us, READINGS // LINES, lambda n, k: 0.2 if k > 200 or k % 50 > 25 else 4.0 + n / 100)
    assert len(late) == READINGS
    come(house, late)
    alarms = house.journal.alarms.between("testfarm")
    assert len(alarms) == 3 * LINES, "or it is no storm"
    assert len([one for one in alarms if one.returned_us is None]) == LINES
    assert {one.priority for one in alarms} == {Priority.HIGH}
    # Ada's one storm tells of forty lines; Bo is told of two lines by each of two addresses, which is none.
    of_bo = [("bo", "mail 1", 1), ("bo", "mail 1", 1), ("bo", "mail 2", 1), ("bo", "mail 2", 1)]
    assert told_in(house, 14) == [*(("raised", *one) for one in of_bo), ("storm", "ada", "mail 1", LINES)]
    back_us = house.now_us - 14 * MINUTE_US
    house.now_us = back_us + 75 * MINUTE_US
    come(house, flows(back_us, 150, lambda n, k: 5.0))  # they run again, for an hour and a quarter
    assert told_in(house, 30) == [("returned", "ada", "mail 1", LINES), *(("returned", *one) for one in of_bo)]
    assert len(house.journal.outbox.page("testfarm", most=1000)) == 10  # of ten thousand readings and 120 alarms
