import pytest

from store.log_entries import Note
from tests.api.conftest import ENDED, HOUR_US, NOW_US, OPEN, SHEET, T0_US, assert_problem


def test_excursions_newest_first(client):
    rows = client.json("excursions")["excursions"]
    assert [row["id"] for row in rows] == [OPEN.identity, ENDED.identity]
    opened, ended = rows
    assert (opened["end"], opened["side"], opened["zone_label"]) == (None, "high", "Room")
    assert opened["duration_s"] == 119 * 60  # onset to the newest reading that took part
    assert (ended["onset"], ended["end"], ended["duration_s"]) == (
        "2026-03-01T01:00:00Z",
        "2026-03-01T03:00:00Z",
        7200.0,
    )
    assert (opened["limit"], opened["onset_limit"], ended["onset_limit"]) == (75.0, 70.0, None)
    assert (ended["extreme"], ended["limit"], ended["dose"], ended["dose_unit"]) == (14.0, 16.0, 2.5, "degC h")


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("open=true", [OPEN]),
        ("open=false", [OPEN, ENDED]),
        ("series=room/air_temperature", [ENDED]),
        ("start=-3h", [OPEN]),
        ("end=2026-03-01T02:00:00Z", [ENDED]),
        ("start=2026-03-01T02:00:00Z&end=2026-03-01T02:30:00Z", [ENDED]),
        ("start=2026-03-01T04:00:00Z&end=2026-03-01T05:00:00Z", []),
    ],
)
def test_excursions_are_filtered(client, query, found):
    rows = client.json(f"excursions?{query}")["excursions"]
    assert [row["id"] for row in rows] == [one.identity for one in found]


def test_one_excursion(client):
    assert client.json(f"excursions/{OPEN.identity}")["series"] == "room/relative_humidity"
    assert_problem(client("/api/v1/excursions/0000000000"), 404)


@pytest.mark.parametrize("query", ["open=perhaps", "start=tomorrow", "start=-1h&end=-2h", "from=-1h"])
def test_bad_questions_about_excursions(client, query):
    body = assert_problem(client(f"/api/v1/excursions?{query}"), 422)
    assert body["errors"][0]["allowed"]


def test_excursions_of_an_unknown_series(client):
    assert_problem(client("/api/v1/excursions?series=room/air"), 404)


def test_the_day_sheet_is_passed_on_as_it_was_written(client):
    assert client.json("days") == {"days": ["2026-03-01"]}
    sheet = client.json("days/2026-03-01")
    assert sheet == SHEET | {"computed": "2026-03-02T12:00:00Z", "description_hash": "feedfacecafe"}


@pytest.mark.parametrize(
    ("day", "status"), [("2026-02-01", 404), ("2026-02-30", 422), ("today", 422), ("0", 422), ("1772323200", 422)]
)
def test_days_that_are_not(client, day, status):
    body = assert_problem(client(f"/api/v1/days/{day}"), status)
    if status == 422:
        assert body["errors"][0]["parameter"] == "date"
        assert body["errors"][0]["found"] == day


def test_rejects_with_counts_and_harmless_raw_bytes(client):
    body = client.json("rejects")
    assert body["counts"] == {"malformed": 2, "unknown_name": 7}
    newest, older = body["rejects"]
    assert (newest["name"], newest["count"], newest["detail"]) == ("room/humidty", 7, "No such name.")
    assert older["raw"] == r"<b>\x5c\xff\x00\x0a</b>"
    assert len(client.json("rejects?limit=1")["rejects"]) == 1


@pytest.mark.parametrize("limit", ["0", "2001", "many"])
def test_the_limit_of_rejects_is_bounded(client, limit):
    body = assert_problem(client(f"/api/v1/rejects?limit={limit}"), 422)
    assert body["errors"][0]["parameter"] == "limit"


def test_wrong_clocks_are_told_with_the_reason(client):
    assert client.json("clocks")["clocks"] == [
        {"device": "t/a", "fault": "ahead", "detail": "set its clock", "behind_s": -150.0,
         "first": "2026-03-01T00:00:00Z", "last": "2026-03-02T12:00:00Z", "readings": 12}
    ]  # fmt: skip


def test_unknown_names_come_with_a_draft_for_the_description(client):
    rows = client.json("unknown")["unknown"]
    assert [(row["name"], row["count"]) for row in rows] == [("room/humidty", 7), ("", 2)]
    assert (rows[0]["value"], rows[0]["unit"], rows[0]["topic"]) == (61.0, "%RH", "leafweather/x")
    assert rows[0]["suggestion"].splitlines()[:3] == ["[[series]]", 'zone = "room"', 'quantity = "relative_humidity"']
    assert rows[1]["suggestion"] is None
    assert len(client.json("unknown?limit=1")["unknown"]) == 1


def test_the_log_as_it_stands_and_every_version(client, house):
    log, at_us = house.journal.log, T0_US - 30 * 24 * HOUR_US  # a day that no other test asks for
    entry = log.add("testfarm", at_us, "kim", Note(note="leaves pale"), T0_US)
    log.edit("testfarm", entry.identity, at_us, "lee", Note(note="leaves pale, row 2"), NOW_US)
    [row] = client.json("log?kind=note&end=2026-02-01T00:00:00Z")["entries"]
    assert (row["id"], row["author"], row["version"]) == (entry.identity, "lee", 2)
    assert row["detail"] == {"kind": "note", "note": "leaves pale, row 2", "photos": []}
    later = "start=2026-01-30T00:01:00Z&end=2026-02-01T00:00:00Z"
    assert client.json("log?kind=refill") == client.json(f"log?{later}") == {"entries": [], "next": None}
    assert [one["author"] for one in client.json(f"log/{entry.identity}")["versions"]] == ["kim", "lee"]
    assert_problem(client("/api/v1/log/0000000000"), 404)
