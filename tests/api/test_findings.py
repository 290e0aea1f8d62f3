from __future__ import annotations

import pytest

from api.app import House
from api.examples import EXAMPLES
from farm.check import check_text
from farm.flags import Flag
from farm.readings import Reading, Series, iso_time
from store.embedded import EmbeddedStore
from store.entries import FindingEntry
from store.journal import Journal
from tests.api.conftest import Client, assert_problem
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US

HOUR_US = 60 * MINUTE_US
NOW_US = T0_US + 100 * HOUR_US
TOLD = {name: EXAMPLES["finding"][name] for name in ("headline", "causes", "also", "cannot_tell_apart", "next_check",
                                                    "next_check_shows", "urgent", "cautions")}  # fmt: skip
ABOUT = FindingEntry(
    "testfarm", "aaaaaaaaaa", T0_US, None, T0_US + HOUR_US, {**TOLD, "series": "room/air_temperature", "side": "high"}
)
OVER = FindingEntry("testfarm", "unusual", T0_US - 9 * HOUR_US, T0_US - 4 * HOUR_US, T0_US - 5 * HOUR_US, TOLD)
NIGHT = FindingEntry(
    "testfarm", "night/north-wall", NOW_US + HOUR_US, NOW_US + 9 * HOUR_US, NOW_US, {**TOLD, "surface": "north-wall"}
)


@pytest.fixture
def ask(tmp_path):
    with (
        Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal,
        EmbeddedStore(tmp_path) as store,
    ):
        journal.findings.replace("testfarm", 0, [ABOUT, OVER, NIGHT])
        client = Client(House(check_text(SMALL_FARM)[0], "hash", store, journal, dict, lambda: NOW_US))

        def ask(path):
            return client(f"/api/v1/{path}")

        ask.store = store
        yield ask


def ids(answer):
    return [one["id"] for one in answer.json()["findings"]]


def test_findings_are_told_newest_first_and_those_that_hold_still_apart(ask):
    assert ids(ask("findings")) == [NIGHT.identity, ABOUT.identity, OVER.identity]
    assert ids(ask("findings?open=true")) == [NIGHT.identity, ABOUT.identity]
    assert ids(ask(f"findings?end={iso_time(T0_US - HOUR_US)}")) == [OVER.identity]


def test_a_finding_is_found_by_its_excursion_and_says_why(ask):
    assert ids(ask("findings?excursion=aaaaaaaaaa")) == [ABOUT.identity]
    found = ask("findings/aaaaaaaaaa").json()
    assert found["id"] == ABOUT.identity
    assert found["subject"] == "excursion"
    assert found["excursion"] == "aaaaaaaaaa"
    assert found["series"] == "room/air_temperature"
    assert found["causes"] == TOLD["causes"]
    assert ask(f"findings/{NIGHT.identity}").json()["subject"] == "night"


def test_a_finding_tells_when_the_same_was_found_before(ask):
    assert ask("findings/aaaaaaaaaa").json()["found_before"] == [
        {
            "id": OVER.identity,
            "onset": iso_time(OVER.onset_us),
            "end": iso_time(OVER.end_us),
            "place_labels": [],
        }
    ]
    assert ask(f"findings/{OVER.identity}").json()["found_before"] == []


def test_a_finding_names_the_series_that_show_its_evidence(ask):
    assert ask("findings/aaaaaaaaaa").json()["shown_in"] == []
    series = Series.parse("testfarm", "room/flow_rate/condensate")
    ask.store.append([Reading(series, T0_US, 0.1, Flag.GOOD)])
    assert ask("findings/aaaaaaaaaa").json()["shown_in"] == [["room/flow_rate/condensate"]]
    assert ask("findings").json()["findings"][1]["shown_in"] == [["room/flow_rate/condensate"]]


def test_a_finding_that_is_not_there_says_where_to_look(ask):
    answer = ask("findings/nothing")
    assert "/api/v1/findings" in assert_problem(answer, 404)["detail"]
