"""Long lists page by page: each entry once, in order, whatever comes meanwhile; and ranges that are too long."""

from __future__ import annotations

from dataclasses import replace

import pytest

from api.examples import EXAMPLES
from store.entries import ExcursionEntry, FindingEntry, Side
from store.journal import Journal
from store.log_entries import Note
from tests.api.conftest import AIR, HOUR_US, HUMIDITY, NOW_US, T0_US, Client, assert_problem

MANY = 23
DETAIL = {**EXAMPLES["finding"], "series": "room/air_temperature"}


def at(second):
    return T0_US + second * 1_000_000


def excursion(number):
    """Several begin at the same moment, on different series."""
    at = T0_US + number // 2 * HOUR_US
    return ExcursionEntry(
        AIR if number % 2 else HUMIDITY, Side.LOW, at, at + HOUR_US // 2, at + HOUR_US // 2, 14.0, at, 16.0, 2.5
    )


@pytest.fixture
def own(house, tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        found = [excursion(number) for number in range(MANY)]
        for series in (AIR, HUMIDITY):
            journal.replace_excursions("testfarm", series, 0, [one for one in found if one.series == series])
        journal.findings.replace(
            "testfarm", 0, [FindingEntry("testfarm", f"x{n}", at(n // 3), None, NOW_US, DETAIL) for n in range(MANY)]
        )
        for number in range(MANY):
            journal.log.add("testfarm", at(number // 2), "kim", Note(kind="note", note=str(number)), NOW_US)
        yield Client(house, journal=journal), journal


def pages(client, address, limit):
    query, seen = "", []
    while True:
        answer = client.json(f"{address}?limit={limit}{query}")
        seen.append(answer[{"log": "entries"}.get(address, address)])
        if answer["next"] is None:
            return seen
        query = f"&before={answer['next']}"


@pytest.mark.parametrize("limit", [1, 4, MANY - 1, MANY, MANY + 1])
@pytest.mark.parametrize("address", ["excursions", "findings", "log"])
def test_every_entry_is_told_once_and_in_order(own, address, limit):
    client, _ = own
    seen = pages(client, address, limit)
    if address == "log":  # the newest page first, each in order of time
        seen = [page[::-1] for page in seen]
    assert [len(page) for page in seen[:-1]] == [limit] * (len(seen) - 1)
    rows = [row for page in seen for row in page]
    assert len({row["id"] for row in rows}) == len(rows) == MANY
    times = [row.get("onset", row.get("time")) for row in rows]
    assert times == sorted(times, reverse=True)


def test_what_comes_between_two_pages_moves_nothing(own):
    client, journal = own
    first = client.json("excursions?limit=5")
    newer = replace(excursion(0), onset_us=NOW_US - HOUR_US, end_us=NOW_US, last_us=NOW_US, extreme_us=NOW_US)
    journal.replace_excursions("testfarm", newer.series, newer.onset_us, [newer])
    rest = client.json(f"excursions?limit=1000&before={first['next']}")
    assert len({row["id"] for row in first["excursions"] + rest["excursions"]}) == MANY
    assert rest["next"] is None


def test_pages_keep_to_what_was_asked_for(own):
    client, _ = own
    found = client.json("excursions?limit=5&series=room/air_temperature")
    assert {row["series"] for row in found["excursions"]} == {"room/air_temperature"}
    rest = client.json(f"excursions?series=room/air_temperature&before={found['next']}")
    assert len(found["excursions"]) + len(rest["excursions"]) == MANY // 2
    assert client.json("findings?excursion=x3")["findings"][0]["onset"] == "2026-03-01T00:00:01Z"


@pytest.mark.parametrize(
    "before", ["", "x", "5", "-x", "5-", "9" * 19 + "-x", "٣-x", "5-x y", "5-" + "x" * 201, "1e3-x"]
)
@pytest.mark.parametrize("address", ["excursions", "findings", "log", "alarms", "notices"])
def test_a_place_that_no_answer_gave_is_a_problem(client, address, before):
    body = assert_problem(client(f"/api/v1/{address}", params={"before": before}), 422)
    assert body["errors"][0]["parameter"] == "before"


@pytest.mark.parametrize(
    "address",
    ["alarms/performance", *(f"series/room/air_temperature/{one}" for one in ("bands", "gaps", "quality"))],
)
def test_what_is_worked_out_for_an_answer_has_a_longest_range(client, address):
    body = assert_problem(client(f"/api/v1/{address}?start=2020-01-01T00:00:00Z&end=2026-01-01T00:00:00Z"), 422)
    assert "400d" in body["detail"]
