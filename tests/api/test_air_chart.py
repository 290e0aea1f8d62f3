"""The air chart as it is served: curves, points and surfaces against PsychroLib 2.5.0, from readings made by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import psychrolib
import pytest

from api.app import House
from farm.readings import microseconds
from tests.api.conftest import Client, assert_problem
from tests.conftest import MINUTE_US, T0_US
from tests.watch.conftest import House as Watched
from watch.cold_surfaces import cold_surface, night_from
from watch.judged import JudgedReadings
from watch.nights import Past
from watch.surfaces import surface_air

psychrolib.SetUnitSystem(psychrolib.SI)

HOUR_US = 60 * MINUTE_US
HOURS = 30
NOW_US = T0_US + HOURS * HOUR_US  # 2026-03-02T06:00:00Z, 07:00 in Oslo
SPAN = "start=2026-03-01T00:00:00Z&end=2026-03-02T06:00:00Z"


@pytest.fixture(scope="module")
def watched(small_farm, tmp_path_factory):
    """Air that swings each hour between two states; lit from 06:00 to 22:00 in Oslo; -6 and -5 degC outdoors."""
    house = Watched(small_farm, tmp_path_factory.mktemp("chart") / "house")
    house.now_us = NOW_US
    minutes = [(n, T0_US + n * MINUTE_US) for n in range(60 * HOURS)]
    house.put("room/air_temperature", [(at, 20.0 if n % 60 < 30 else 24.0) for n, at in minutes])
    house.put("room/relative_humidity", [(at, 70.0 if n % 60 < 30 else 50.0) for n, at in minutes if n // 60 != 3])
    house.put("outdoors/air_temperature", [(at, -5.0 if n % 2 else -6.0) for n, at in minutes])
    house.put("row/lights_on", [(at, float(5 <= n // 60 % 24 < 21)) for n, at in minutes])
    house.work()
    yield house
    house.close()


@pytest.fixture(scope="module")
def client(watched):
    judged = JudgedReadings("testfarm", watched.store, watched.journal)
    return Client(House(watched.farm, "feed", judged, watched.journal, lambda: {"status": "ok"}, lambda: NOW_US))


@pytest.fixture(scope="module")
def chart(client):
    return client.json(f"air-chart?zone=room&{SPAN}")


def ratio(air, share, pascals):
    return 1000 * psychrolib.GetHumRatioFromRelHum(air, share, pascals)


def test_every_curve_is_psychrolibs_at_the_farms_pressure(chart, small_farm):
    pascals = psychrolib.GetStandardAtmPressure(small_farm.farm.elevation_m)
    assert chart["air_pressure_kpa"] == pytest.approx(pascals / 1000, rel=1e-6)
    assert chart["air_pressure_measured"] is False
    for line in [chart["saturation"], *chart["relative_humidity"]]:
        theirs = [ratio(air, line["level"] / 100, pascals) for air in line["temperature_degc"]]
        np.testing.assert_allclose(line["humidity_ratio_g_kg"], theirs, rtol=1e-6)
    assert chart["saturation"]["level"] == 100
    assert len(chart["vapour_pressure_deficit"]) > 5
    for line in chart["vapour_pressure_deficit"]:
        air, found = line["temperature_degc"], line["humidity_ratio_g_kg"]
        percent = [psychrolib.GetRelHumFromHumRatio(t, w / 1000, pascals) for t, w in zip(air, found, strict=True)]
        deficits = [psychrolib.GetSatVapPres(t) * (1 - s) / 1000 for t, s in zip(air, percent, strict=True)]
        np.testing.assert_allclose(deficits, line["level"], atol=1e-5)


def test_a_point_is_the_mean_of_an_hours_moments(chart, small_farm):
    pascals = psychrolib.GetStandardAtmPressure(small_farm.farm.elevation_m)
    hours = chart["hours"]
    assert len(hours["time"]) == HOURS - 1, "an hour without humidity is left out"
    assert "2026-03-01T03:00:00Z" not in hours["time"]
    at = hours["time"].index("2026-03-01T12:00:00Z")
    assert hours["temperature_degc"][at] == pytest.approx(22.0)
    assert hours["relative_humidity_percent"][at] == pytest.approx(60.0)
    mean = (ratio(20.0, 0.7, pascals) + ratio(24.0, 0.5, pascals)) / 2
    assert hours["humidity_ratio_g_kg"][at] == pytest.approx(mean, rel=1e-6)
    deficit = (psychrolib.GetSatVapPres(20.0) * 0.3 + psychrolib.GetSatVapPres(24.0) * 0.5) / 2000
    assert hours["vpd_kpa"][at] == pytest.approx(deficit, rel=1e-6)


def test_a_day_up_to_any_minute_is_no_more_than_24_hours(client):
    """The hour that was under way when the day began is none of it; the one that is under way now is."""
    found = client.json("air-chart?zone=room&start=2026-03-01T05:20:00Z&end=2026-03-02T05:20:00Z")["hours"]["time"]
    assert (found[0], found[-1], len(found)) == ("2026-03-01T06:00:00Z", "2026-03-02T05:00:00Z", 24)


def test_hours_are_lit_as_the_lights_tell(chart):
    lit = dict(zip(chart["hours"]["time"], chart["hours"]["lit"], strict=True))
    assert [lit[f"2026-03-01T{hour:02}:00:00Z"] for hour in (4, 5, 20, 21)] == [False, True, True, False]


def test_a_surface_is_wet_by_saturated_air_of_its_own_temperature(chart, small_farm):
    """The wall's factor from ISO 6946 by hand: R of the films 0.13 and 0.04 around the panel's."""
    [wall] = chart["surfaces"]
    [described] = small_farm.surfaces
    assert described.r_value_m2k_w is not None
    factor = 1 - 0.13 / (0.13 + described.r_value_m2k_w + 0.04)
    coldest = -6.0 + factor * (20.0 + 6.0)
    assert wall["coldest_degc"] == pytest.approx(coldest, abs=1e-6)
    pascals = psychrolib.GetStandardAtmPressure(small_farm.farm.elevation_m)
    assert wall["coldest_g_kg"] == pytest.approx(1000 * psychrolib.GetSatHumRatio(coldest, pascals), rel=1e-6)
    assert wall["now_degc"] == pytest.approx(-5.0 + factor * (24.0 + 5.0), abs=1e-6)
    assert wall["measured"] is False
    assert wall["tonight_degc"] is None, "one night of outdoor air is too little to tell the next by"


def test_tonight_a_surface_is_as_cold_as_the_last_nights_were_outdoors(small_farm, tmp_path):
    """Nine days at 22 and 24 degC by turns, 60 %, -6 and -5 degC outdoors: quarters of an hour at 23 and -5.5 degC."""
    house = Watched(small_farm, tmp_path / "house")
    minutes = [(n, T0_US + n * MINUTE_US) for n in range(9 * 1440)]
    house.put("room/air_temperature", [(at, 22.0 if n % 2 else 24.0) for n, at in minutes])
    house.put("room/relative_humidity", [(at, 60.0) for _, at in minutes])
    house.put("outdoors/air_temperature", [(at, -5.0 if n % 2 else -6.0) for n, at in minutes])
    air = surface_air(small_farm, small_farm.surfaces[0])
    now_us = T0_US + 9 * 24 * HOUR_US
    past = Past(small_farm, house.store, now_us)
    found = cold_surface(small_farm, house.store, past, air, (now_us - HOUR_US, now_us), 100.0, now_us)
    factor = 1 - 0.13 / (0.13 + 3.8744 + 0.04)
    assert found.tonight_degc == pytest.approx(-5.5 + factor * 28.5, abs=0.02)  # of 15 readings 8 are alike: 0.03 K
    assert found.tonight_g_kg == pytest.approx(1000 * psychrolib.GetSatHumRatio(found.tonight_degc, 1e5), rel=1e-6)
    house.close()


@pytest.mark.parametrize(
    ("at", "night"),
    [
        ("2026-03-01T02:00", ("2026-03-01T02:00", "2026-03-01T08:00")),
        ("2026-03-01T12:00", ("2026-03-01T17:00", "2026-03-02T08:00")),
        ("2026-03-01T20:00", ("2026-03-01T20:00", "2026-03-02T08:00")),
    ],
)
def test_the_night_is_the_one_under_way_or_the_next(small_farm, at, night):
    """From 18:00 to 09:00 in Oslo, which is UTC+1 then; what is over of it is left out."""
    in_us = [microseconds(datetime.fromisoformat(f"{one}+00:00")) for one in (at, *night)]
    assert night_from(small_farm, in_us[0]) == tuple(in_us[1:])


def test_the_newest_air_is_told_while_it_is_fresh(chart, client, watched):
    pascals = psychrolib.GetStandardAtmPressure(watched.farm.farm.elevation_m)
    assert chart["now"]["time"] == "2026-03-02T05:59:00Z"
    assert chart["now"]["humidity_ratio_g_kg"] == pytest.approx(ratio(24.0, 0.5, pascals), rel=1e-6)
    later = Client(replace(client.app.state.house, clock=lambda: NOW_US + HOUR_US))
    assert later.json("air-chart?zone=room")["now"] is None


def test_a_local_day_runs_from_midnight_to_midnight(client):
    day = client.json("air-chart?zone=room&day=2026-03-01")
    assert (day["start"], day["end"]) == ("2026-02-28T23:00:00Z", "2026-03-01T23:00:00Z")  # Oslo is UTC+1 then
    assert day["hours"]["time"][0] == "2026-03-01T00:00:00Z"
    assert day["hours"]["time"][-1] == "2026-03-01T22:00:00Z"


def test_what_cannot_be_charted_is_told(client):
    for day in ("0001-01-01", "9999-12-31", "2026-02-30", "yesterday"):
        assert "day" in assert_problem(client(f"/api/v1/air-chart?day={day}"), 422)["detail"]
    assert "92 days" in assert_problem(client("/api/v1/air-chart?start=-93d"), 422)["detail"]
    assert "Zones with: room" in assert_problem(client("/api/v1/air-chart?zone=row"), 404)["detail"]
    assert "no zone 'rom'" in assert_problem(client("/api/v1/air-chart?zone=rom"), 404)["detail"]


def test_without_readings_there_are_curves_and_no_points(client):
    empty = client.json("air-chart?start=2025-01-01T00:00:00Z&end=2025-01-02T00:00:00Z")
    assert empty["zone"] == "room", "the first with both sensors"
    assert empty["hours"]["time"] == []
    assert len(empty["saturation"]["temperature_degc"]) > 10
