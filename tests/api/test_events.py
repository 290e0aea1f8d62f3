"""Changes as they happen: what is told, to how many, how long, and that nothing piles up."""

from __future__ import annotations

import asyncio
import json
import threading
import time
from dataclasses import replace

import httpx
import pytest

from api import changes, routes_events
from api.changes import Changes, Listener
from api.house import Access
from farm.alarm_words import Priority
from farm.readings import Reading
from farm.roles import Role
from store.alarm_entries import ActKind, AlarmAct, AlarmEntry
from store.contract import StoreUnavailable
from store.embedded import EmbeddedStore
from store.entries import FindingEntry
from store.journal import Journal
from store.log_entries import Note
from tests.api.conftest import AIR, HOUR_US, MINUTE_US, NOW_US, assert_problem
from tests.conftest import eventually
from tests.serving import Served
from watch.judged import JudgedReadings

EVENTS = "api/v1/events"


@pytest.fixture
def own(house, tmp_path):
    """A house of one's own, that may be written to."""
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        store.append([Reading(AIR, NOW_US - HOUR_US, 21.0, 1)])
        yield replace(house, store=JudgedReadings("testfarm", store, journal), journal=journal)


@pytest.fixture
def served(own, monkeypatch):
    monkeypatch.setattr(changes, "EVERY_S", 0.05)
    monkeypatch.setattr(routes_events, "CHECK_S", 0.2)
    one = Served(own)
    yield one
    one.stop()


class Hearing:
    """Listens to a stream on a thread of its own and keeps what it heard."""

    def __init__(self, url, **headers) -> None:
        self.heard, self.raw, self.status, self.headers, self.over = [], [], None, None, False
        self._stop = threading.Event()
        self.thread = threading.Thread(target=self._listen, args=(url, headers))
        self.thread.start()
        eventually(lambda: self.status is not None)

    def _listen(self, url, headers):
        with httpx.stream("GET", url + EVENTS, headers=headers, timeout=20) as response:
            self.headers, self.status = response.headers, response.status_code
            kind = ""
            for line in response.iter_lines():
                self.raw.append(line)
                if line.startswith("event: "):
                    kind = line.removeprefix("event: ")
                elif line.startswith("data: "):
                    self.heard.append((kind, json.loads(line.removeprefix("data: "))))
                if self._stop.is_set():
                    return
        self.over = True

    def kinds(self):
        return [kind for kind, _ in self.heard]

    def join(self):
        self.thread.join(10)
        assert not self.thread.is_alive()


def finding(at_us):
    return FindingEntry("testfarm", "x", NOW_US - HOUR_US, None, at_us, {})


ALARM = AlarmEntry("testfarm", "door_open/room", NOW_US, NOW_US, None, Priority.HIGH, "door", detail={"text": "Open."})


def test_what_changes_is_told_as_it_happens_and_ends_when_the_server_stops(own, monkeypatch):
    monkeypatch.setattr(changes, "EVERY_S", 0.05)
    served = Served(own)
    hearing = Hearing(served.url)
    assert hearing.headers["content-type"].startswith("text/event-stream")
    assert hearing.headers["cache-control"] == "no-store"
    eventually(lambda: hearing.kinds() == ["beat"])
    assert "retry: 3000" in hearing.raw
    steps = [
        ("readings", lambda: own.store.append([Reading(AIR, NOW_US, 22.0, 1)])),
        ("alarms", lambda: own.journal.alarms.replace("testfarm", ALARM.condition, 0, [ALARM], NOW_US)),
        (
            "alarms",
            lambda: own.journal.alarms.add_act(
                AlarmAct("testfarm", ActKind.ACKNOWLEDGE, ALARM.identity, NOW_US, "kim", "", None)
            ),
        ),
        (
            "alarms",
            lambda: own.journal.alarms.replace(
                "testfarm", ALARM.condition, 0, [replace(ALARM, returned_us=NOW_US + MINUTE_US)], NOW_US
            ),
        ),
        ("findings", lambda: own.journal.findings.replace("testfarm", 0, [finding(NOW_US)])),
        (  # of the same instant, by readings that came late
            "findings",
            lambda: own.journal.findings.replace(
                "testfarm", 0, [replace(finding(NOW_US), detail={"causes": [{"probability": 0.7}]})]
            ),
        ),
        ("findings", lambda: own.journal.findings.replace("testfarm", 0, [])),
        ("journal", lambda: own.journal.log.add("testfarm", NOW_US, "kim", Note(kind="note", note="x"), NOW_US)),
    ]
    told = ["beat"]
    for kind, change in steps:
        change()
        told.append(kind)
        eventually(lambda: hearing.kinds() == told)
    assert hearing.heard[1][1]["newest"] == {"room/air_temperature": "2026-03-02T12:00:00Z"}
    began = time.monotonic()
    served.stop()
    assert time.monotonic() - began < 2, "it does not wait for those who listen"
    hearing.join()
    assert hearing.over, "the stream ended in order"


def test_what_others_write_into_the_same_journal_is_told_too(served, own, tmp_path):
    hearing = Hearing(served.url)
    eventually(lambda: hearing.heard)
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as another:
        another.log.add("testfarm", NOW_US, "kim", Note(kind="note", note="from a command"), NOW_US)
    eventually(lambda: "journal" in hearing.kinds())
    served.stop()
    hearing.join()


def test_signs_of_life_come_when_nothing_changes(served, monkeypatch):
    monkeypatch.setattr(routes_events, "BEAT_S", 0.3)
    hearing = Hearing(served.url)
    eventually(lambda: hearing.kinds() == ["beat"] * 4)
    assert hearing.raw.count(": still here") == 4
    served.stop()
    hearing.join()


def test_a_stream_is_not_compressed_and_ends_after_the_time_that_was_asked_for(served):
    with httpx.stream("GET", f"{served.url}{EVENTS}?listen_s=0.5", headers={"Accept-Encoding": "gzip"}) as response:
        assert "content-encoding" not in response.headers
        began = time.monotonic()
        assert b"event: beat" in b"".join(response.iter_raw())
        assert 0.2 < time.monotonic() - began < 5


@pytest.mark.parametrize("by", ["token", "cookie"])
def test_it_ends_when_the_token_is_revoked(own, monkeypatch, by):
    monkeypatch.setattr(routes_events, "CHECK_S", 0.2)
    token, text = own.journal.tokens.make("testfarm", "Ada", Role.VIEWER, 1, "kim")
    served = Served(replace(own, access=Access(required=True)))
    try:
        assert httpx.get(served.url + EVENTS).status_code == 401
        if by == "token":
            headers = {"Authorization": f"Bearer {text}"}
        else:
            signed_in = httpx.post(f"{served.url}api/v1/session", json={"token": text})
            headers = {"Cookie": signed_in.headers["set-cookie"].partition(";")[0]}
        hearing = Hearing(served.url, **headers)
        eventually(lambda: hearing.heard)
        time.sleep(0.6)
        assert not hearing.over, "it lasts while the token works"
        own.journal.tokens.revoke("testfarm", token.identity, NOW_US - 1, "kim")
        eventually(lambda: hearing.over)
        hearing.join()
    finally:
        served.stop()


def test_only_so_many_may_listen_and_who_leaves_makes_room(served, monkeypatch):
    monkeypatch.setattr(changes, "MOST_LISTENERS", 2)
    with (
        httpx.Client() as asking,
        asking.stream("GET", served.url + EVENTS) as one,
        httpx.stream("GET", served.url + EVENTS) as two,
    ):
        assert (one.status_code, two.status_code) == (200, 200)
        refused = httpx.get(served.url + EVENTS)
        assert_problem(refused, 503)
        assert refused.headers["retry-after"] == "30"
    eventually(lambda: httpx.get(f"{served.url}{EVENTS}?listen_s=0").status_code == 200)


def test_one_token_does_not_keep_all_others_out(own, monkeypatch):
    monkeypatch.setattr(changes, "MOST_OF_ONE", 2)

    async def places():
        listened = Changes(own)
        with listened.listening("a"), listened.listening("b"), listened.listening("a"):
            of_a, of_b, of_this_machine = listened.full("a"), listened.full("b"), listened.full(None)
        return of_a, of_b, of_this_machine, listened.full("a")

    assert asyncio.run(places()) == (True, False, False, False)


def test_who_takes_nothing_loses_the_place(own, monkeypatch):
    monkeypatch.setattr(routes_events, "PATIENCE_S", 0.1)
    house = replace(own)
    app_changes = Changes(house)

    async def heard():
        class Request:
            class app:
                class state:
                    house, changes = own, app_changes

            class state:
                caller = None

        async def receive():
            await asyncio.sleep(60)

        async def send(message):
            if message["type"] == "http.response.body":
                await asyncio.sleep(60)

        stream = routes_events.EventStream(Request, None)
        await asyncio.wait_for(stream({"type": "http", "path": "/api/v1/events"}, receive, send), 5)

    asyncio.run(heard())
    assert not app_changes._listeners


def test_what_is_not_taken_does_not_pile_up():
    async def told():
        listener = Listener()
        for n in range(10_000):
            listener.tell(
                {"readings": {"time": str(n), "newest": {f"room/{n % 7}": str(n)}}, "alarms": {"time": str(n)}}
            )
        return await listener.next(1), await listener.next(0.01)

    waiting, then = asyncio.run(told())
    assert waiting["alarms"] == {"time": "9999"}
    assert waiting["readings"]["newest"] == {f"room/{n % 7}": str(n) for n in range(9993, 10_000)}
    assert then == {}


def test_nothing_is_looked_for_while_nobody_listens_and_a_store_that_does_not_answer_is_waited_for(own, monkeypatch):
    monkeypatch.setattr(changes, "EVERY_S", 0.01)
    looks = []

    class Failing:
        def latest(self, farm):
            looks.append(farm)
            if len(looks) == 2:
                raise StoreUnavailable("busy")
            return {}

    class Store:
        as_arrived = Failing()

    async def listened():
        watching = Changes(replace(own, store=Store()))
        with watching.listening() as one:
            await watching.begun()
            own.journal.log.add("testfarm", NOW_US, "kim", Note(kind="note", note="y"), NOW_US)
            told = await one.next(5)
            assert set(told) == {"journal"}
        count = len(looks)
        await asyncio.sleep(0.1)
        return count, len(looks)

    count, later = asyncio.run(listened())
    assert count > 2
    assert later <= count + 1  # the look that was under way


def test_who_waits_for_a_store_that_does_not_answer_is_let_go_when_the_service_stops(own):
    class Store:
        class as_arrived:
            @staticmethod
            def latest(farm):
                raise StoreUnavailable("busy")

    async def stopped():
        watching = Changes(replace(own, store=Store()))
        with watching.listening():
            begun = asyncio.create_task(watching.begun())
            await asyncio.sleep(0.1)
            assert not begun.done(), "nothing was looked at yet"
            watching.close()
            await asyncio.wait_for(begun, 1)

    asyncio.run(stopped())
