"""Which day sheets a late reading makes stale: its own day's, and those that look back on it."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from analytics import night_ahead
from farm.check import check_text
from farm.readings import Series
from store.entries import DaySheetEntry
from store.journal import Journal
from tests.conftest import SMALL_FARM
from watch import (
    day_data,
    feed_water_of_day,
    filters_of_day,
    flood_shelves_of_day,
    irrigation_of_day,
    light_days,
    light_of_day,
    siblings,
    stocks_of_day,
)
from watch.day_data import LOOKS_BACK_DAYS, WEARS, day_range
from watch.stale_days import StaleDays

FARM = check_text(SMALL_FARM)[0]
FIRST, DAYS = date(2026, 1, 1), 400
DAY_US = 86_400_000_000


@pytest.fixture
def stale(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        for number in range(DAYS):
            journal.save_day_sheet(FARM.name, DaySheetEntry(FIRST + timedelta(days=number), 0, "hash", {}))
        yield StaleDays(FARM, journal, lambda: FIRST + timedelta(days=DAYS - 1))


def noon_us(day):
    return day_range(FARM, day)[0] + DAY_US // 2


@pytest.mark.parametrize(
    ("quantity", "days"),
    [
        ("relative_humidity", LOOKS_BACK_DAYS),
        ("filter_pressure_drop", 30),
        ("normalised_output", 92),
        ("lamp_output", 366),
    ],
)
def test_sheets_that_look_back_on_a_day_are_stale_with_it(stale, quantity, days):
    changed = FIRST + timedelta(days=10)
    at_us = noon_us(changed)
    found = stale.mark({Series(FARM.name, "room", quantity): [(at_us, at_us)]})
    assert found == {changed + timedelta(days=number) for number in range(days + 1)}


def test_sheets_that_look_back_on_an_empty_bottle_are_stale_with_it(stale):
    """What an empty bottle's pump turned is not its usual use, on the sheets after it either."""
    day = FIRST + timedelta(days=10)
    found = [(noon_us(day), noon_us(day))]
    assert stale.mark({}, found) == {day, day + timedelta(days=1)}
    assert stale.mark({}, found, emptied=found) == {
        day + timedelta(days=number) for number in range(LOOKS_BACK_DAYS + 1)
    }


def test_readings_in_order_make_no_sheet_stale_but_their_own(stale):
    last = FIRST + timedelta(days=DAYS - 1)
    at_us = noon_us(last)
    assert stale.mark({Series(FARM.name, "room", "relative_humidity"): [(at_us, at_us)]}) == {last}


def test_sheets_look_no_further_back_than_they_are_renewed_for():
    night_days = night_ahead.LOOK_BACK_US / DAY_US
    light_back = light_of_day.USUAL_DAYS + light_days.LOOK_AROUND_US / DAY_US
    backs = [
        siblings.LOOK_BACK_DAYS, irrigation_of_day.EARLIER_DAYS, flood_shelves_of_day.EARLIER_DAYS,
        stocks_of_day.PAST_DAYS, night_days, light_back,
    ]  # fmt: skip
    assert max(backs) < LOOKS_BACK_DAYS
    assert WEARS["filter_pressure_drop"] > filters_of_day.LOOKED_BACK_US / DAY_US
    assert WEARS["normalised_output"] > feed_water_of_day.LOOKED_BACK_US / DAY_US
    assert WEARS["lamp_output"] == WEARS["photoperiod"] == day_data.TREND_DAYS
