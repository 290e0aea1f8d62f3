"""Answers that are the same: told once, then by 304; and what must not be told so."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import pytest

from store.journal import Journal
from store.log_entries import Note
from tests.api.conftest import NOW_US, Client, assert_problem

REPEATED = ["farm", "findings", "days", "days/2026-03-01", "batches", "excursions", "series", "rejects", "openapi.json"]


@pytest.mark.parametrize("address", REPEATED)
def test_who_has_an_answer_is_not_told_it_again(client, address):
    first = client(f"/api/v1/{address}")
    tag = first.headers["etag"]
    assert re.fullmatch(r'W/"[0-9a-f]{32}"', tag)
    for asked in (tag, tag.removeprefix("W/"), f'"x", {tag}', "*"):
        again = client(f"/api/v1/{address}", headers={"If-None-Match": asked})
        assert (again.status_code, again.content) == (304, b""), asked
        assert again.headers["etag"] == tag
        assert again.headers["cache-control"] == "no-store"
        assert "content-type" not in again.headers
    other = client(f"/api/v1/{address}", headers={"If-None-Match": '"x"'})
    assert (other.status_code, other.content) == (200, first.content)


def test_another_answer_has_another_tag(house, tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        client = Client(house, journal=journal)
        before = client("/api/v1/log").headers["etag"]
        journal.log.add("testfarm", NOW_US, "kim", Note(kind="note", note="x"), NOW_US)
        after = client("/api/v1/log", headers={"If-None-Match": before})
        assert after.status_code == 200
        assert after.headers["etag"] != before
        assert len(after.json()["entries"]) == 1


def test_the_farm_is_the_same_a_second_later_and_another_under_another_name(house):
    tag = Client(house)("/api/v1/farm").headers["etag"]
    later = Client(house, clock=lambda: NOW_US + 1_000_000)
    assert later("/api/v1/farm", headers={"If-None-Match": tag}).status_code == 304
    named = house.farm.model_copy(update={"farm": house.farm.farm.model_copy(update={"title": "Another"})})
    other = Client(replace(house, farm=named))("/api/v1/farm", headers={"If-None-Match": tag})
    assert other.json()["title"] == "Another"


def test_what_is_of_now_a_problem_or_compressed_is_told_in_full(client):
    for address in ("needs", "zones", "latest", "health", "session"):
        response = client(f"/api/v1/{address}", headers={"If-None-Match": "*"})
        assert (response.status_code, "etag" in response.headers) == (200, False), address
    problem = client("/api/v1/days/2020-01-01", headers={"If-None-Match": "*"})
    assert_problem(problem, 404)
    assert "etag" not in problem.headers
    squeezed = client("/api/v1/days/2026-03-01", headers={"Accept-Encoding": "gzip"})
    assert squeezed.headers["content-encoding"] == "gzip"
    assert squeezed.headers["etag"] == client("/api/v1/days/2026-03-01").headers["etag"]
    assert json.loads(squeezed.content)["day"] == "2026-03-01"


def test_one_needs_to_be_let_in_to_learn_that_nothing_changed(client):
    tag = client("/api/v1/farm").headers["etag"]
    assert client("/api/v1/farm", headers={"If-None-Match": tag, "X-Real-IP": "192.0.2.1"}).status_code == 403
