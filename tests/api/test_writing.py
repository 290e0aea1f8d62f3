"""What people write into the journal through the API, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import pytest

from farm.readings import iso_time
from store.journal import Journal
from tests.api.conftest import HOUR_US, NOW_US, Client, assert_problem

LOG = "/api/v1/log"
SAMPLE = {"kind": "grab_sample", "series": "room/air_temperature", "value": 21.4}


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        yield opened


@pytest.fixture
def client(house, journal):
    return Client(replace(house, journal=journal))


def written(client, detail=SAMPLE, where="", **more):
    return client(f"{LOG}{where}", "POST", json={"who": "kim", "detail": detail, **more})


def test_an_entry_is_of_now_and_of_who_wrote_it(client, journal):
    answer = written(client)
    assert answer.status_code == 200, answer.text
    told = answer.json()
    assert (told["kind"], told["author"], told["version"], told["withdrawn"]) == ("grab_sample", "kim", 1, False)
    assert told["time"] == told["written"] == "2026-03-02T12:00:00Z"
    assert told["detail"]["value"] == 21.4
    [kept] = journal.log.entries("testfarm")
    assert (kept.identity, kept.at_us, kept.detail.value) == (told["id"], NOW_US, 21.4)
    assert client.json("log")["entries"] == [told]


def test_the_day_it_was_is_stale_by_it(client, journal):
    at = iso_time(NOW_US - 30 * HOUR_US)
    assert written(client, time=at).json()["time"] == at
    assert [str(day) for day in journal.stale_days("testfarm")] == ["2026-03-01"]


def test_an_edit_keeps_the_former_version_and_who_wrote_it(client, journal):
    identity = written(client).json()["id"]
    edited = client(f"{LOG}/{identity}", "POST", json={"who": "ada", "detail": SAMPLE | {"value": 21.9}}).json()
    assert (edited["version"], edited["author"], edited["detail"]["value"]) == (2, "ada", 21.9)
    assert edited["time"] == "2026-03-02T12:00:00Z"
    versions = client.json(f"log/{identity}")["versions"]
    assert [(one["author"], one["detail"]["value"]) for one in versions] == [("kim", 21.4), ("ada", 21.9)]


def test_a_withdrawn_entry_counts_for_nothing_and_stays(client, journal):
    identity = written(client).json()["id"]
    gone = client(f"{LOG}/{identity}/withdraw", "POST", json={"who": "ada"}).json()
    assert (gone["withdrawn"], gone["author"]) == (True, "ada")
    assert client.json("log")["entries"] == []
    assert len(client.json(f"log/{identity}")["versions"]) == 2


def test_planned_work_may_be_to_come_and_has_to_end_after_it_begins(client):
    work = {"kind": "planned_work", "what": "door open", "zones": ["room"]}
    ahead, end = iso_time(NOW_US + HOUR_US), iso_time(NOW_US + 2 * HOUR_US)
    assert written(client, work | {"until": end}, time=ahead).status_code == 200
    problem = assert_problem(written(client, work | {"until": ahead}, time=end), 422)
    assert "not after the beginning" in problem["detail"]


@pytest.mark.parametrize(
    ("detail", "more", "said"),
    [
        (SAMPLE | {"series": "room/air_temperatur"}, {}, "did you mean room/air_temperature?"),
        (SAMPLE, {"time": iso_time(NOW_US + HOUR_US)}, "is still to come"),
        ({"kind": "refill", "stock": "a", "holds_l": 5}, {}, "no stock of farm.toml"),
    ],
)
def test_what_the_farm_does_not_have_and_times_to_come_are_refused(client, journal, detail, more, said):
    assert said in assert_problem(written(client, detail, **more), 422)["detail"]
    assert journal.log.entries("testfarm") == []


@pytest.mark.parametrize(
    "body",
    [
        {}, {"who": "kim"}, {"who": "", "detail": SAMPLE}, {"who": "kim", "detail": {"kind": "wish"}},
        {"who": "kim", "detail": SAMPLE | {"colour": "red"}}, {"who": "kim", "detail": SAMPLE | {"value": None}},
        {"who": "kim", "detail": SAMPLE, "time": "2026-03-02T12:00:00"}, {"who": "kim", "detail": SAMPLE, "more": 1},
    ],
)  # fmt: skip
def test_bodies_that_do_not_fit_are_refused(client, journal, body):
    assert assert_problem(client(LOG, "POST", json=body), 422)["errors"]
    assert journal.log.entries("testfarm") == []


def test_an_entry_that_is_not_there_and_another_kind_are_refused(client):
    assert_problem(written(client, where="/none"), 404)
    assert_problem(client(f"{LOG}/none/withdraw", "POST", json={"who": "kim"}), 404)
    identity = written(client).json()["id"]
    problem = assert_problem(written(client, {"kind": "note", "note": "x"}, where=f"/{identity}"), 422)
    assert "the entry is a grab_sample" in problem["detail"]
