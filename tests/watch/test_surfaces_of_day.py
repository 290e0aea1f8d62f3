"""The day sheet's surfaces, counted and worked out by hand."""

from __future__ import annotations

from datetime import date

import numpy as np
import psychrolib
import pytest

from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading
from tests.conftest import MINUTE_US, T0_US
from tests.watch.conftest import House
from tests.watch.test_surfaces import WALLS
from watch.day_data import day_data
from watch.surfaces_of_day import surfaces_of_day

psychrolib.SetUnitSystem(psychrolib.SI)

HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US
STEP_US = 20 * MINUTE_US
UTC = WALLS.replace("Europe/Oslo", "UTC").replace(
    'probe = "room/surface_temperature/pane"', 'probe = "room/surface_temperature/pane"\noutside = "outdoors"'
)
DEW_POINT = psychrolib.GetTDewPointFromRelHum(22.0, 0.50)  # of the room below: 11.1 degC


@pytest.fixture(scope="module")
def farm():
    farm, mistakes = check_text(UTC)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def house(farm, tmp_path):
    made = House(farm, tmp_path / "house")
    yield made
    made.close()


def put(house, outdoors, days, start_us=T0_US, humidity=50.0, skip=()):
    """Give the room 22 degC, and outdoors what ``outdoors(hour of the whole)`` says; the pane keeps 0.8 of it.

    All waver by a few thousandths, as no sensor that stands quite still is believed.
    """
    rows = []
    for n in range(int(days * 72)):
        at, hour = start_us + n * STEP_US, n / 3
        if any(first <= hour < last for first, last in skip):
            continue
        waver = 0.003 if n % 2 else -0.003
        outside, inside = outdoors(hour) + waver, 22.0 + waver
        for key, value in (
            ("room/air_temperature", inside), ("room/relative_humidity", humidity + waver),
            ("outdoors/air_temperature", outside),
            ("room/surface_temperature/pane", outside + 0.8 * (inside - outside)),
        ):  # fmt: skip
            rows.append(Reading(house.series(key), at, value, Flag.NOT_EVALUATED))
    house.store.append(rows)
    house.now_us = start_us + int(days * DAY_US)
    house.work()


def sheet(house, day, now_us=None):
    data = day_data(house.farm, house.store, house.journal, day, house.now_us if now_us is None else now_us)
    return {row["surface"]: row for row in surfaces_of_day(data)}


def outside_for(margin):
    """Return how cold it must be outdoors for the frame (f = 0.75) to have this margin."""
    return (DEW_POINT + margin - 0.75 * 22.0) / 0.25


def test_wet_hours_surely_and_perhaps(house):
    """Hours 2 to 5 at margins of +0.2, -0.2, -3 and -4 K, else +3 K; the give or take is between 0.3 and 1 K."""
    margins = {2: 0.2, 3: -0.2, 4: -3.0, 5: -4.0}
    put(house, lambda hour: outside_for(margins.get(int(hour), 3.0)), 1)
    frame = sheet(house, date(2026, 3, 1))["frame"]
    assert frame["lowest_margin_k"] == pytest.approx(-4.0, abs=0.01)
    assert frame["lowest_margin_at"] == "2026-03-01T05:00:00Z"
    assert 0.3 < frame["lowest_margin_give_or_take_k"] < 1.0
    assert (frame["wet_h"], frame["surely_wet_h"], frame["perhaps_wet_h"]) == (3.0, 2.0, 4.0)
    assert frame["coverage"] == 1.0


def test_the_give_or_take_of_the_lowest_margin_is_that_of_random_draws(house):
    put(house, lambda hour: -10.0, 0.2)
    draw = np.random.default_rng(11).normal
    n = 3000
    air, rh = draw(22.0, 0.3, n), draw(50.0, 2.0, n)  # what is usual for the quantities: 0.3 K, 2 %, 0.3 K
    dew = np.array([psychrolib.GetTDewPointFromRelHum(t, h / 100) for t, h in zip(air, rh, strict=True)])
    spread = (0.75 * air + 0.25 * draw(-10.0, 0.3, n) - dew).std()
    assert sheet(house, date(2026, 3, 1))["frame"]["lowest_margin_give_or_take_k"] == pytest.approx(spread, rel=0.05)


def test_accuracies_of_the_description_go_before_what_is_usual(farm, house):
    put(house, lambda hour: -10.0, 0.2)
    usual = sheet(house, date(2026, 3, 1))["frame"]["lowest_margin_give_or_take_k"]
    text = UTC.replace('quantity = "relative_humidity"\ncadence_s', 'quantity = "relative_humidity"\naccuracy = 4.0\ncadence_s', 1)  # fmt: skip  # noqa: E501
    house.farm, mistakes = check_text(text)
    assert not mistakes
    assert sheet(house, date(2026, 3, 1))["frame"]["lowest_margin_give_or_take_k"] > 1.8 * usual


def test_a_day_with_a_gap_tells_what_it_covers_and_one_without_readings_tells_nothing(house):
    put(house, lambda hour: -10.0, 1, skip=[(6, 18)])
    frame = sheet(house, date(2026, 3, 1))["frame"]
    assert frame["coverage"] == pytest.approx((12 + 2 / 3) / 24)  # the last reading before the gap holds for an hour
    nothing = sheet(house, date(2026, 2, 20))["frame"]
    assert (nothing["coverage"], nothing["wet_h"], nothing["lowest_margin_k"], nothing["mould_index"]) == (
        0.0, None, None, None,
    )  # fmt: skip
    assert nothing["night"] is None


def test_mould_index_and_its_change(house):
    put(house, lambda hour: 22.0, 2.1, humidity=97.0)
    first, second = (sheet(house, date(2026, 3, day))["frame"] for day in (1, 2))
    assert first["mould_index_change"] is None, "no index before the first day"
    index = house.read("room/mould_index/frame")
    assert second["mould_index"] == index[T0_US + 47 * HOUR_US]
    assert second["mould_index_change"] == pytest.approx(second["mould_index"] - first["mould_index"])
    # 0.719 after 7 days (mould_index.csv), all but straight at first: 0.103 a day
    assert second["mould_index_change"] == pytest.approx(0.719 / 7, abs=0.005)
    later = sheet(house, date(2026, 3, 8))["frame"]
    assert (later["mould_index"], later["mould_index_change"]) == (None, None), "a day without readings tells none"
    assert (second["mould_class"], second["mould_limit"]) == ("very_sensitive", 3.0)


def wave(hour):
    """Return the same weather every day: -20 degC at 04:00, -10 at 16:00."""
    return -15.0 - 5.0 * np.cos((hour - 4) * np.pi / 12)


def test_the_night_to_come_by_hand(house):
    """Steady weather and air: the coldest hour again, and the margin it leaves, give or take the sensors alone."""
    put(house, wave, 16)
    rows = sheet(house, date(2026, 3, 16))
    night = rows["frame"]["night"]
    assert (night["start"], night["end"]) == ("2026-03-17T00:00:00Z", "2026-03-17T09:00:00Z")
    assert night["coldest_outdoors_degc"] == pytest.approx(-20.0, abs=0.05)  # quarters of an hour around 04:00
    assert night["coldest_give_or_take_k"] == pytest.approx(0.0, abs=1e-6)
    face = -20.0 + 0.75 * 42.0
    assert night["margin_k"] == pytest.approx(face - DEW_POINT, abs=0.05)
    assert night["margin_give_or_take_k"] == pytest.approx(rows["frame"]["lowest_margin_give_or_take_k"], abs=0.01)
    assert night["nights"] == 7
    assert rows["pane"]["night"]["temperature_factor"] == pytest.approx(0.8), "as its probe shows"
    assert rows["pane"]["night"]["margin_k"] == pytest.approx(-20.0 + 0.8 * 42.0 - DEW_POINT, abs=0.05)
    assert rows["north-wall"]["night"]["temperature_factor"] == pytest.approx(0.9678, abs=2e-4)  # ISO 13788's table


def test_the_night_is_seen_from_now_while_the_day_lasts_and_from_nothing_later(house):
    put(house, wave, 16)
    noon = T0_US + 15 * DAY_US + 12 * HOUR_US
    night = sheet(house, date(2026, 3, 16), noon)["frame"]["night"]
    assert (night["start"], night["end"]) == ("2026-03-16T18:00:00Z", "2026-03-17T09:00:00Z")
    before = night["coldest_outdoors_degc"]
    late = [Reading(house.series("outdoors/air_temperature"), noon + n * MINUTE_US, -50.0, Flag.GOOD) for n in (1, 61)]
    house.store.append(late)
    assert sheet(house, date(2026, 3, 16), noon)["frame"]["night"]["coldest_outdoors_degc"] == before


def test_unsteady_nights_widen_the_give_or_take(house):
    put(house, lambda hour: wave(hour) - 6.0 * (int(hour / 24) % 2) * (hour % 24 < 9), 16)
    night = sheet(house, date(2026, 3, 16))["frame"]["night"]
    assert night["coldest_give_or_take_k"] > 3.0
    # a quarter of it reaches the face, beside the sensors' share
    assert night["margin_give_or_take_k"] > 0.25 * night["coldest_give_or_take_k"]


@pytest.mark.parametrize("days", [0.9, 5])
def test_with_too_few_nights_nothing_is_said_of_the_next(house, days):
    put(house, wave, days)
    day = date(2026, 3, 1) if days < 1 else date(2026, 3, 5)
    assert {row["night"] for row in sheet(house, day).values()} == {None}


def test_it_stands_in_the_stored_sheet(house):
    put(house, wave, 2)
    entry = house.journal.day_sheet("testfarm", date(2026, 3, 1))
    assert [row["surface"] for row in entry.sheet["surfaces"]] == ["north-wall", "frame", "pane"]
