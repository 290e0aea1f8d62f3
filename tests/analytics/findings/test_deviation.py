from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from analytics.findings.deviation import CARRIED_H, NOT_KNOWN, USUAL, clock_of, deviations
from analytics.findings.indicator import SPECS, Indicator
from farm.readings import microseconds
from simulator.demo import demo_farm

DAYS = 12
NOW, SLOW = 0, 1


def both(name, value):
    """Return the deviations over hours and over weeks of one indicator."""
    return list(deviations([Indicator(name, "", np.asarray(value, float))]))


def daily_swing(days=DAYS):
    return 22.0 + 2.0 * np.sin(2 * np.pi * np.arange(24 * days) / 24)


def test_what_comes_every_day_at_the_same_hour_is_usual():
    now, slow = both("room_temperature", daily_swing())
    known = now.level != NOT_KNOWN
    assert known.sum() == 24 * (DAYS - 3)  # three days are needed before
    assert (now.level[known] == USUAL).all()
    assert (slow.level[slow.level != NOT_KNOWN] == USUAL).all()


@pytest.mark.parametrize(
    ("off", "level"),
    [(0.1, 4), (0.4, 5), (0.8, 6), (1.6, 7), (4.0, 8), (-0.4, 3), (-0.8, 2), (-1.6, 1), (-4.0, 0)],
)
def test_a_step_is_told_in_standard_deviations_of_the_smallest_change_worth_noticing(off, level):
    value = daily_swing()
    value[-1] += off
    now = both("room_temperature", value)[NOW]
    assert (SPECS["room_temperature"].least, SPECS["room_temperature"].hours) == (0.2, 1)
    assert now.score()[-1] == pytest.approx(off / 0.2, rel=1e-6)
    assert now.level[-1] == level


def test_usual_scatter_makes_the_same_step_less_remarkable():
    random = np.random.default_rng(5)
    quiet, loud = daily_swing(), daily_swing() + random.normal(0.0, 1.0, 24 * DAYS)
    for value in (quiet, loud):
        value[-2:] += 3.0
    assert abs(both("room_temperature", loud)[NOW].score()[-1]) < abs(both("room_temperature", quiet)[NOW].score()[-1])


def test_half_a_week_with_a_fault_does_not_become_the_usual():
    value = daily_swing()
    value[-72:] += 2.0
    assert both("room_temperature", value)[NOW].level[-1] == 7


def test_a_slow_rise_that_each_day_hides_shows_over_weeks():
    value = daily_swing(20) + np.clip(np.arange(480) / 24 - 8, 0, None) * 0.15
    now, slow = both("room_temperature", value)
    assert now.level[-1] <= USUAL + 1
    assert slow.level[-1] >= USUAL + 2


def test_what_cannot_be_seen_now_is_held_as_it_was_seen_last():
    value = np.where(np.arange(24 * DAYS) % 24 < 12, 1.0, np.nan)  # a lamp's output, seen while lit
    value[-24:-12] = 0.5
    now = both("light_output", value)[NOW]
    assert now.level[-1] == 0
    value = np.concatenate([value, np.full(24, np.nan)])
    assert both("light_output", value)[NOW].level[-24 + CARRIED_H - 11 :].tolist().count(NOT_KNOWN) > 0


@pytest.mark.parametrize(("zone", "turn"), [("Europe/Oslo", "2026-03-29T01:00"), ("Europe/Oslo", "2026-10-25T01:00"),
                                            ("Australia/Hobart", "2026-10-03T16:00")])  # fmt: skip
def test_what_goes_by_the_farms_clock_is_usual_when_the_clock_is_changed(zone, turn):
    # Daylight saving by the IANA time zone database: from then on lamps come an hour sooner or later by UTC.
    farm = demo_farm()
    there = type(farm.farm).model_validate(farm.farm.model_dump() | {"timezone": zone})
    farm = farm.model_copy(update={"farm": there})
    start = datetime.fromisoformat(turn).replace(tzinfo=UTC) - timedelta(days=6)
    hours = [(start + timedelta(hours=one)).astimezone(ZoneInfo(zone)).hour for one in range(24 * 10)]
    value = np.where((np.array(hours) >= 6) & (np.array(hours) < 22), 24.0, 20.0)
    clock_h = clock_of(farm, microseconds(start), len(value))
    found = next(iter(deviations([Indicator("room_temperature", "", value)], 0, clock_h)))
    known = found.level[4 * 24 :]
    assert (known == USUAL).all()
    by_utc = next(iter(deviations([Indicator("room_temperature", "", value)])))
    assert (by_utc.level[4 * 24 :] != USUAL).any()
    assert clock_of(farm, microseconds(start), 24 * 5) is None


def test_without_three_known_days_nothing_is_known():
    now, slow = both("room_temperature", daily_swing(3))
    assert (now.level == NOT_KNOWN).all()
    assert (slow.level == NOT_KNOWN).all()


def test_an_indicator_with_a_reference_needs_no_past():
    [now] = both("dry_pump", [0.0, 0.0, 1.0])
    assert now.level.tolist() == [USUAL, USUAL, 8]


def test_what_cannot_be_seen_stands_as_it_was_seen_last_and_says_so():
    value = np.tile(np.where(np.arange(24) < 12, 20.0, np.nan), 9)
    found = {one.name: one for one in deviations([Indicator("room_temperature", "", value)])}["room_temperature@now"]
    lit, dark = 8 * 24 + 5, 8 * 24 + 14
    assert found.value[dark] == 20.0
    assert found.last[dark]
    assert not found.last[lit]
