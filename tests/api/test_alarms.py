"""Alarms over HTTP: told with their state, acted upon, and only from our own page."""

from __future__ import annotations

from dataclasses import replace

import pytest

from farm.readings import iso_time
from store.alarm_entries import AlarmEntry, Priority
from store.journal import Journal
from tests.api.conftest import HOUR_US, NOW_US, Client, assert_problem

HOT, GAS = "out_of_band/room/air_temperature/high", "co2_danger/room/co2_mole_fraction"


def alarm(condition, ago_h, returned_h=None, priority=Priority.HIGH, **more):
    onset_us = NOW_US - int(ago_h * HOUR_US)
    returned_us = None if returned_h is None else NOW_US - int(returned_h * HOUR_US)
    detail = {"what": "Air temperature", "where": "Room", "text": f"{condition} it is.", **more.pop("detail", {})}
    return AlarmEntry("testfarm", condition, onset_us, onset_us + 600_000_000, returned_us, priority, f"{condition}@1",
                      detail=detail, **more)  # fmt: skip


STANDING = alarm(HOT, 2, detail={"worst": 31.2, "limit": 24.0, "unit": "°C", "also": ["Row"]})
DANGER = alarm(GAS, 1, priority=Priority.HIGHEST)
FOLLOWS = alarm("out_of_band/room/relative_humidity/low", 1, suppressed_by=HOT)
OVER = alarm(HOT, 30, 29)
DOOR = alarm("door_open/room/door_open", 5, 4, Priority.LOW)


@pytest.fixture
def asked(house, tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        for one in (DANGER, FOLLOWS, DOOR):
            journal.alarms.replace("testfarm", one.condition, 0, [one])
        journal.alarms.replace("testfarm", HOT, 0, [OVER, STANDING])
        yield Client(house, journal=journal)


def do(asked, one, act, status=200, headers=None, **body):
    path = f"/api/v1/alarms/{one.identity}/{act}"
    response = asked(path, "POST", json={"who": "kim", **body}, headers=headers)
    if status != 200:
        return assert_problem(response, status)
    assert response.status_code == 200, response.text
    return response.json()


def test_what_stands_most_urgent_first(asked):
    found = asked.json("alarms?standing=true")["alarms"]
    assert [(one["condition"], one["state"]) for one in found] == [
        (GAS, "unacknowledged"),
        (HOT, "unacknowledged"),
        (DOOR.condition, "returned_unacknowledged"),
    ]
    assert found[1]["text"] == f"{HOT} it is. Also in Row."
    assert (found[1]["worst"], found[1]["limit"], found[1]["unit"]) == (31.2, 24.0, "°C")
    more = asked.json("alarms?standing=true&suppressed=true")["alarms"]
    assert [one["state"] for one in more][-1] == "suppressed_by_design"


def test_history_by_range_and_page(asked):
    whole = asked.json("alarms")["alarms"]
    assert [one["id"] for one in whole] == [one.identity for one in (DANGER, STANDING, DOOR, OVER)]
    assert len(asked.json("alarms?suppressed=true")["alarms"]) == 5
    recent = asked.json("alarms?start=-6h")["alarms"]
    assert [one["id"] for one in recent] == [one.identity for one in (DANGER, STANDING, DOOR)]
    first = asked.json("alarms?limit=3")
    rest = asked.json(f"alarms?limit=3&before={first['next']}")
    assert [one["id"] for one in first["alarms"] + rest["alarms"]] == [one["id"] for one in whole]
    assert rest["next"] is None
    assert_problem(asked("/api/v1/alarms?before=soon"), 422)
    assert_problem(asked("/api/v1/alarms?limit=0"), 422)


def test_acknowledged_with_a_name_it_stands_and_is_told_so(asked):
    body = do(asked, STANDING, "acknowledge")
    assert body["alarm"]["state"] == "acknowledged"
    assert [(one["act"], one["who"], one["time"]) for one in body["acts"]] == [("acknowledge", "kim", iso_time(NOW_US))]
    assert do(asked, DOOR, "acknowledge")["alarm"]["state"] == "normal"
    assert len(asked.json("alarms?standing=true")["alarms"]) == 2


def test_shelved_until_its_end_and_unshelved(asked):
    until = iso_time(NOW_US + HOUR_US)
    body = do(asked, STANDING, "shelve", why="filter change", until=until)
    assert body["alarm"]["state"] == "shelved"
    assert body["alarm"]["shelved_until"] == until
    assert do(asked, STANDING, "unshelve")["alarm"]["state"] == "unacknowledged"


def test_out_of_service_and_back(asked):
    assert do(asked, STANDING, "out-of-service", why="sensor broken")["alarm"]["state"] == "out_of_service"
    assert do(asked, STANDING, "in-service")["alarm"]["state"] == "unacknowledged"


@pytest.mark.parametrize(
    ("one", "act", "body", "said"),
    [
        (STANDING, "shelve", {"why": "x"}, "the end of shelving"),
        (STANDING, "shelve", {"until": iso_time(NOW_US + HOUR_US)}, "the reason"),
        (STANDING, "shelve", {"why": "x", "until": iso_time(NOW_US - HOUR_US)}, "later than now"),
        (STANDING, "shelve", {"why": "x", "until": iso_time(NOW_US + 8 * 24 * HOUR_US)}, "within 7 days"),
        (STANDING, "shelve", {"why": "x", "until": "tomorrow"}, "until"),
        (STANDING, "shelve", {"why": "x", "until": NOW_US // 1_000_000 + 3600}, "not a number"),
        (STANDING, "shelve", {"why": "x", "until": str(NOW_US // 1_000_000 + 3600)}, "not a number"),
        (STANDING, "shelve", {"why": "x", "until": True}, "until"),
        (STANDING, "out-of-service", {}, "the reason"),
        (STANDING, "acknowledge", {"who": "  "}, "who does it"),
        (STANDING, "acknowledge", {"who": ""}, "who"),
        (STANDING, "acknowledge", {"whom": "x"}, "whom"),
        (STANDING, "forget", {}, "act"),
        (DANGER, "shelve", {"why": "x", "until": iso_time(NOW_US + HOUR_US)}, "people's safety"),
        (DANGER, "out-of-service", {"why": "x"}, "people's safety"),
    ],
)
def test_what_may_not_be_done_says_why(asked, one, act, body, said):
    assert said in do(asked, one, act, 422, **body)["detail"]
    assert asked.json(f"alarms/{one.identity}")["acts"] == []


def test_danger_may_be_acknowledged(asked):
    assert do(asked, DANGER, "acknowledge")["alarm"]["state"] == "acknowledged"


def test_only_our_own_page_and_programs_may_act(asked):
    for headers in ({"Origin": "http://evil.test"}, {"Sec-Fetch-Site": "cross-site"}, {"Sec-Fetch-Site": "same-site"}):
        do(asked, STANDING, "acknowledge", 403, headers)
    do(asked, STANDING, "acknowledge", 200, {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"})
    path = f"/api/v1/alarms/{STANDING.identity}/acknowledge"
    plain = asked(path, "POST", content=b'{"who": "kim"}', headers={"Content-Type": "text/plain"})
    assert plain.status_code in (415, 422)
    assert_problem(asked(path, "POST", content=b"x" * 20_000, headers={"Content-Type": "application/json"}), 413)
    assert_problem(asked(path, "POST", content=b"{", headers={"Content-Type": "application/json"}), 422)


def test_one_alarm_with_what_later_readings_changed(asked):
    asked.app.state.house.journal.alarms.replace(
        "testfarm", DOOR.condition, 0, [replace(DOOR, returned_us=NOW_US - HOUR_US)], NOW_US
    )
    body = asked.json(f"alarms/{DOOR.identity}")
    [revision] = body["revisions"]
    assert revision["changed"] == {"returned_us": [NOW_US - 4 * HOUR_US, NOW_US - HOUR_US]}
    assert body["alarm"]["revision"] == 1
    asked.app.state.house.journal.alarms.replace("testfarm", DOOR.condition, 0, [], NOW_US)
    gone = asked.json(f"alarms/{DOOR.identity}")
    assert gone["alarm"] is None
    assert gone["revisions"][-1]["gone"] is True
    assert_problem(asked("/api/v1/alarms/nothing"), 404)
    assert_problem(asked("/api/v1/alarms/nothing/acknowledge", "POST", json={"who": "kim"}), 404)


def test_the_figures_of_a_range(asked):
    found = asked.json("alarms/performance?start=-48h")
    assert found["alarms"] == 4
    assert found["suppressed"] == 1
    assert found["per_day"] == 2.0
    assert found["by_priority"] == {"high": 2, "highest": 1, "low": 1}
    assert found["most_frequent"][0]["times"] == 2
    assert found["benchmarks"]["acceptable_per_day"] == 144
