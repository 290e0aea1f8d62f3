"""The log of notices, and acknowledging by a notice's link: opened by anybody, pressed by a person, once."""

from __future__ import annotations

import hashlib
import re
from dataclasses import replace

import pytest

from analytics.alarm_history import state_of
from farm.alarm_words import AlarmState, Priority
from farm.check import check_text
from store.alarm_entries import AlarmEntry
from store.journal import Journal
from store.notice_entries import Link, Notice, NoticeKind, NoticeState, Outcome, Told, Try
from tests.api.conftest import NOW_US, Client, assert_problem
from tests.conftest import MINUTE_US, SMALL_FARM

PEOPLE = '[notices.people.ada]\nlabel = "Ada <b>"\nmail = ["ada@farm.example"]\n'
ONE = AlarmEntry("testfarm", "out_of_band/room/air_temperature/high", NOW_US - 20 * MINUTE_US, NOW_US - 10 * MINUTE_US,
                 None, Priority.HIGH, "heat", detail={"text": "Too <warm>."})  # fmt: skip
OTHER = replace(ONE, condition="out_of_band/room/relative_humidity/high")
ELSEWHERE = replace(ONE, condition="out_of_band/row/ppfd/high", group="light")


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        for one in (ONE, OTHER, ELSEWHERE):
            opened.alarms.replace("testfarm", one.condition, 0, [one], NOW_US)
        yield opened


@pytest.fixture
def client(house, journal):
    farm, mistakes = check_text(SMALL_FARM + PEOPLE)
    assert farm is not None, mistakes
    return Client(house, journal=journal, farm=farm)


def link_to(journal, **changes):
    link = Link("testfarm", "ada", "a notice", "heat", (ONE.identity,), NOW_US + 60 * MINUTE_US)
    token = hashlib.sha256(repr(changes).encode()).hexdigest()
    journal.links.keep(replace(link, **changes), token)
    return f"/acknowledge/{token}"


def state(journal, entry):
    return state_of(entry, journal.alarms.acts("testfarm"), NOW_US)


def pressed(client, path):
    """Press the button of the page as a browser would."""
    shown = re.findall(r'name="alarm" value="(\w+)"', client(path).text)
    return client(path, "POST", data={"alarm": shown})


def test_opening_the_link_changes_nothing_however_often(client, journal):
    path = link_to(journal)
    for _ in range(3):
        page = client(path)
        assert page.status_code == 200
        assert '<form method="post">' in page.text
        assert "Too &lt;warm&gt;." in page.text
        assert "Ada &lt;b&gt;" in page.text
        assert "form-action 'self'" in page.headers["content-security-policy"]
        assert page.headers["cache-control"] == "no-store"
        assert page.headers["referrer-policy"] == "no-referrer"
    assert journal.alarms.acts("testfarm") == []
    assert state(journal, ONE) is AlarmState.UNACKNOWLEDGED


def test_pressing_the_button_acknowledges_the_group_in_the_persons_name_once(client, journal):
    path = link_to(journal)
    page = pressed(client, path)
    assert page.status_code == 200
    assert "Acknowledged by Ada &lt;b&gt; at 13:00" in page.text
    assert state(journal, ONE) is state(journal, OTHER) is AlarmState.ACKNOWLEDGED
    assert state(journal, ELSEWHERE) is AlarmState.UNACKNOWLEDGED
    assert {one.who for one in journal.alarms.acts("testfarm")} == {"Ada <b>"}
    before = len(journal.alarms.acts("testfarm"))
    for again in (client(path), pressed(client, path), client(path, "POST")):
        assert again.status_code == 410
        assert "has been used" in again.text
    assert len(journal.alarms.acts("testfarm")) == before


def test_a_storms_link_acknowledges_all_that_it_told_and_what_joined_their_groups(client, journal):
    many = [replace(ONE, condition=f"out_of_band/row/q{n}/high", group=f"g{n}") for n in range(400)]
    journal.alarms.renew("testfarm", {one.condition: (0, [one]) for one in many}, NOW_US)
    path = link_to(journal, group="", alarms=tuple(one.identity for one in (ONE, *many)))
    page = client(path).text
    assert page.count("<li>") == 402  # OTHER stands in ONE's group
    assert "value=" + f'"{OTHER.identity}"' in page
    assert pressed(client, path).status_code == 200
    done = {one.about for one in journal.alarms.acts("testfarm")}
    assert done == {one.identity for one in (ONE, OTHER, *many)}
    assert state(journal, ELSEWHERE) is AlarmState.UNACKNOWLEDGED


def test_nothing_that_was_not_shown_is_acknowledged(client, journal):
    path = link_to(journal)
    assert client(path, "POST", data={"alarm": [ELSEWHERE.identity]}).status_code == 200
    assert state(journal, ONE) is AlarmState.ACKNOWLEDGED
    assert state(journal, OTHER) is AlarmState.UNACKNOWLEDGED
    assert state(journal, ELSEWHERE) is AlarmState.UNACKNOWLEDGED


def test_an_expired_an_unknown_and_another_farms_link_do_nothing(client, journal):
    for path, status in (
        (link_to(journal, expires_us=NOW_US), 410),
        ("/acknowledge/" + "x" * 43, 404),
        (link_to(journal, farm="north"), 404),
    ):
        for method in ("GET", "POST"):
            page = client(path, method)
            assert page.status_code == status
            assert "This link does not work" in page.text
    assert journal.alarms.acts("testfarm") == []


def test_an_alarm_whose_onset_moved_is_still_acknowledged(client, journal):
    path = link_to(journal)
    moved = replace(ONE, onset_us=ONE.onset_us - MINUTE_US)
    (kept,) = journal.alarms.replace("testfarm", ONE.condition, 0, [moved], NOW_US)
    assert client(path, "POST").status_code == 200
    assert state(journal, kept) is AlarmState.ACKNOWLEDGED


def test_too_large_a_form_is_refused(client, journal):
    assert client(link_to(journal), "POST", content=b"x" * 70_000).status_code == 413
    assert journal.alarms.acts("testfarm") == []


TOLD = Told(ONE.identity, ONE.condition, "heat", Priority.HIGH, ONE.onset_us, None, {})
NOTICES = [
    Notice("testfarm", NoticeKind.RAISED, "ada", "mail 1", "heat", n, Priority.HIGH, (TOLD,), NOW_US - n * MINUTE_US,
           "Room: too warm", "text", next_us=NOW_US)
    for n in range(5)
]  # fmt: skip


def test_the_log_is_told_newest_first_and_in_pages(client, journal):
    journal.outbox.add(NOTICES)
    first = client.json("notices?limit=2")
    assert [one["id"] for one in first["notices"]] == [one.identity for one in NOTICES[:2]]
    row = first["notices"][0]
    assert (row["person_label"], row["state"], row["alarms"]) == ("Ada <b>", "waiting", [ONE.identity])
    second = client.json(f"notices?limit=3&before={first['next']}")
    assert [one["id"] for one in second["notices"]] == [one.identity for one in NOTICES[2:]]
    assert second["next"] is None
    assert client.json("notices?state=sent")["notices"] == []
    assert_problem(client("/api/v1/notices?before=x"), 422)
    assert_problem(client("/api/v1/notices?state=lost"), 422)


def test_a_notice_tells_each_try(client, journal):
    name = NOTICES[0].identity
    journal.outbox.add(NOTICES[:1])
    journal.outbox.begin("testfarm", name, NOW_US)
    journal.outbox.end(
        "testfarm", Try(name, 1, NOW_US, NOW_US + 1, Outcome.LATER, "451 no"), NoticeState.WAITING, NOW_US
    )
    journal.outbox.begin("testfarm", name, NOW_US + 2)
    answer = client.json(f"notices/{name}")
    assert answer["text"] == "text"
    assert [(one["number"], one["outcome"], one["answer"]) for one in answer["log"]] == [
        (1, "later", "451 no"),
        (2, None, ""),
    ]
    assert "ada@" not in str(answer)
    assert_problem(client("/api/v1/notices/nothing"), 404)
