"""When an outside address gets no sign of life, when notices wait for a backlog's end, and what the health says."""

from __future__ import annotations

import pytest

from farm.check import Description, check_text
from leafweather.link_key import link_key
from leafweather.run import Service
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from leafweather.telling import Telling
from store.journal import Journal
from tests.conftest import MINUTE_US, SMALL_FARM, eventually, free_port
from tests.watch.telling import NOW_US, alarm, raise_alarms
from watch.channels import Channels
from watch.heartbeat import Pulse
from watch.mail import Mail

PEOPLE = '[notices.people.ada]\nlabel = "Ada"\nmail = ["ada@farm.example"]\n'


class World:
    def __init__(self):
        self.now_us = self.caught_up_us = self.arrived_us = NOW_US
        self.broken_since_us = {}


@pytest.fixture
def world():
    return World()


@pytest.fixture
def telling(world, tmp_path):
    farm, _ = check_text(SMALL_FARM + PEOPLE)
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        one = Telling(
            farm, Channels(farm.notices, [Mail(None)]), Pulse(f"http://127.0.0.1:{free_port()}/", MINUTE_US), None,
            journal, lambda: world.now_us, lambda: world.caught_up_us, lambda: world.arrived_us,
            lambda: world.broken_since_us,
        )  # fmt: skip
        one.journal = journal
        one.start()
        yield one
        one.stop()


def test_a_sign_of_life_needs_a_watch_that_keeps_up_readings_and_an_outbox_that_empties(telling, world):
    assert telling.amiss() is None
    world.now_us += 61_000_000
    world.arrived_us = world.now_us
    assert telling.amiss() == "the watch is 61 s behind what arrived"
    world.now_us += 5 * MINUTE_US
    world.caught_up_us = world.now_us
    assert telling.amiss() is None
    world.now_us = world.caught_up_us = world.now_us + 1_000_000
    assert telling.amiss() == "no reading has arrived for 300 s"
    world.arrived_us = None
    assert telling.amiss() == "no reading has arrived for 300 s"
    world.arrived_us = world.now_us
    raise_alarms(telling.journal, alarm())
    eventually(lambda: telling.journal.outbox.waiting("testfarm"))
    assert telling.amiss() is None
    world.now_us = world.caught_up_us = world.arrived_us = world.now_us + 11 * MINUTE_US
    assert telling.amiss() == "notices are stuck in the outbox"
    shown, troubles = telling.health()
    assert shown["stuck"]
    assert shown["waiting"] == 1
    assert 650 < shown["oldest_waiting_s"] < 670
    assert "leafweather notice list says why" in troubles[0]


def test_no_sign_of_life_while_telling_people_fails_on_each_round(telling, monkeypatch):
    monkeypatch.setattr("watch.notifying.plan", lambda *_: 1 / 0)
    said = "telling people failed, please report it: ZeroDivisionError: division by zero"
    eventually(lambda: telling.amiss() == said)


def test_no_sign_of_life_while_what_alarms_rest_on_is_broken_for_long(telling, world):
    def later(minutes):
        world.now_us += minutes * MINUTE_US
        world.caught_up_us = world.arrived_us = world.now_us

    world.broken_since_us = {"alarms": NOW_US}
    later(10)
    assert telling.amiss() is None, "it may mend itself with the next readings"
    later(1)
    assert telling.amiss() == "alarms cannot be worked out for more than 10 min"
    world.broken_since_us |= {"excursions of room/air_temperature": NOW_US}
    assert telling.amiss() == (
        "alarms and excursions of room/air_temperature cannot be worked out for more than 10 min"
    )
    later(-60)  # the clock was set back
    assert telling.amiss() is not None
    world.broken_since_us = {"findings": 0, "the sheet of 2026-03-01": 0}
    assert telling.amiss() is None, "people are told of alarms all the same"


@pytest.mark.parametrize(
    ("caught_up_s", "begun_s", "ready"),
    [(-1, -500, True), (-14, -500, True), (-16, -500, False), (-119, -500, False), (-121, -500, True),
     (None, -1, False), (None, -119, False), (None, -121, True)],
)  # fmt: skip
def test_notices_wait_for_the_end_of_a_backlog_but_not_for_ever(telling, world, caught_up_s, begun_s, ready):
    world.caught_up_us = None if caught_up_s is None else world.now_us + caught_up_s * 1_000_000
    telling._begun_us = world.now_us + begun_s * 1_000_000
    assert telling._ready() is ready


def test_a_watch_that_is_always_somewhat_behind_still_has_people_told(telling, world):
    """Each round takes 40 s, so that the watch never is far behind, and never up to date either."""
    told = []
    for _ in range(14):
        world.caught_up_us, world.now_us = world.now_us - 30_000_000, world.now_us + 10_000_000
        told.append(telling._ready())
    assert told == [False] * 12 + [True] * 2


@pytest.mark.parametrize(
    ("settings", "said"),
    [
        ({"smtp_host": "mail.example"}, "LEAFWEATHER_SMTP_FROM"),
        ({"heartbeat_url": "http://pulse.example/secret-part"}, "LEAFWEATHER_HEARTBEAT_URL"),
        ({"ca_file": "/nowhere/ca.pem"}, "LEAFWEATHER_CA_FILE: /nowhere/ca.pem cannot be read"),
    ],
)
def test_the_service_does_not_start_with_settings_that_reach_nobody(tmp_path, settings, said):
    farm, _ = check_text(SMALL_FARM + PEOPLE)
    with pytest.raises(CannotStart, match=said) as stopped:
        Service(Description(farm, "", "x"), Settings(data=tmp_path, port=0, **settings))
    assert "secret-part" not in str(stopped.value)


def service(folder, store=None, name="testfarm"):
    farm, mistakes = check_text(SMALL_FARM.replace('"testfarm"', f'"{name}"'))
    assert farm is not None, mistakes
    return Service(Description(farm, "", "x"), Settings(data=folder, store=store, port=0, mqtt_port=free_port()))


def test_of_two_services_on_one_store_the_second_refuses_and_the_first_goes_on(tmp_path):
    one, two, store = tmp_path / "one", tmp_path / "two", f"file://{tmp_path / 'readings'}"
    (tmp_path / "readings").mkdir()
    with service(one, store) as first:
        with pytest.raises(CannotStart, match=f"another Leafweather works on {one}: stop it"):
            service(one)
        with pytest.raises(CannotStart, match=f"another Leafweather works on {tmp_path / 'readings'}"):
            service(two, store)
        with service(two, store, "otherfarm"):  # its readings stand apart
            assert first.health()["watch"]["keeps_up"]
    with service(two, store):
        pass


def test_the_key_of_links_is_made_once_and_is_for_the_owner_alone(tmp_path):
    key = link_key(tmp_path)
    assert len(key) == 32
    assert link_key(tmp_path) == key
    [file] = tmp_path.iterdir()
    assert file.stat().st_mode & 0o777 == 0o600
    for text in ("abcd", "no key", "é"):
        file.write_text(text, encoding="utf-8")
        other = link_key(tmp_path)
        assert len(other) == 32
        assert other != key
        assert link_key(tmp_path) == other
