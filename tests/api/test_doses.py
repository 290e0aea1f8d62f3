"""Doses that were given, over HTTP."""

from __future__ import annotations

from datetime import date

import pytest

from api.examples import EXAMPLES
from store.entries import DaySheetEntry
from store.journal import Journal
from tests.api.conftest import NOW_US, SHEET, Client, assert_problem

# The documented example of a day sheet, put on the last day of February: two doses, as anybody can read there.
ACID, FEED = EXAMPLES["day"]["root_zone"][0]["doses"]


@pytest.fixture
def given(house, tmp_path):
    """Return a client of a journal of two days with sheets, the second of them from before doses were told."""
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 2, 28), NOW_US, "f", EXAMPLES["day"]))
        older = {name: SHEET[name] for name in SHEET if name != "root_zone"}
        journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), NOW_US, "f", older))
        yield Client(house, journal=journal)


def test_doses_of_a_range_are_those_of_its_day_sheets(given):
    rows = given.json("doses?start=2026-02-27T12:00:00Z&end=2026-03-02T00:00:00Z")["doses"]
    assert [row["start"] for row in rows] == [ACID["start"], FEED["start"]]
    assert set(rows[0]) == set(EXAMPLES["doses"]["doses"][0])
    assert rows[0]["stocks"] == [{"stock": "acid", "label": "acid", "volume_ml": 6.0}]  # no stock of this farm's
    assert (rows[0]["ph_step_ph"], rows[1]["ec_step_ms_cm"]) == (ACID["ph_step_ph"], None)
    assert {one["volume_ml"] for one in rows[1]["stocks"]} == {240.0}


@pytest.mark.parametrize(
    ("query", "starts"),
    [
        ("start=2026-02-28T06:00:00Z&end=2026-02-28T06:30:00Z", [FEED["start"]]),  # it ran from 05:03 to 07:03
        ("start=2026-02-28T01:22:00Z&end=2026-02-28T05:03:00Z", []),  # half-open: ended before, begins after
    ],
)
def test_a_dose_belongs_to_the_time_it_took(given, query, starts):
    assert [row["start"] for row in given.json(f"doses?{query}")["doses"]] == starts


def test_too_long_a_range_is_refused(client):
    assert "400d" in assert_problem(client("/api/v1/doses?start=-401d"), 422)["errors"][0]["allowed"]
