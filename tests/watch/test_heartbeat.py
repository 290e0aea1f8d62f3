"""Signs of life to a real receiver: as often as is said, and none while something is amiss."""

from __future__ import annotations

import threading

from tests.conftest import T0_US, eventually, free_port
from tests.watch.receivers import hook
from watch import heartbeat
from watch.heartbeat import Heartbeat, Pulse

MINUTE_US = 60_000_000


class World:
    def __init__(self):
        self.now_us, self.amiss = T0_US, None


def beating(url, world, **more):
    return Heartbeat(Pulse(url, 5 * MINUTE_US, **more), lambda: world.amiss, lambda: world.now_us)


def test_one_each_so_many_minutes():
    world = World()
    with hook() as ours:
        heart = beating(ours.url, world)
        beats = []
        for minute in range(16):
            world.now_us = T0_US + minute * MINUTE_US
            if heart.beat():
                beats.append(minute)
    assert beats == [0, 5, 10, 15]
    assert len(ours.got) == 4
    assert heart.last_us == world.now_us


def test_a_clock_that_is_set_back_does_not_stop_them():
    world = World()
    with hook() as ours:
        heart = beating(ours.url, world)
        assert heart.beat()
        world.now_us -= 24 * 60 * MINUTE_US
        assert heart.beat()
        assert not heart.beat()


def test_none_while_something_is_amiss_and_at_once_when_it_is_well_again():
    world = World()
    with hook() as ours:
        heart = beating(ours.url, world, post=True)
        world.amiss = "no readings arrive"
        assert not heart.beat()
        assert heart.held_back == "no readings arrive"
        assert ours.got == []
        world.now_us += 1_000_000
        world.amiss = None
        assert heart.beat()
        assert heart.held_back is None


def test_one_that_is_not_taken_is_tried_again_soon_and_told_without_its_address():
    world = World()
    with hook() as ours:
        ours.statuses = [500, 200]
        heart = beating(ours.url, world)
        assert not heart.beat()
        assert heart.trouble == "the heartbeat was not taken: 500 Internal Server Error"
        world.now_us += 29_000_000
        assert not heart.beat()
        assert len(ours.got) == 1
        world.now_us += 1_000_000
        assert heart.beat()
        assert heart.trouble is None
    away = beating(f"http://127.0.0.1:{free_port()}/hidden-part", world)
    assert not away.beat()
    assert "hidden-part" not in f"{away.trouble}{away._pulse}"


def test_it_runs_until_it_is_stopped(monkeypatch):
    monkeypatch.setattr(heartbeat, "LOOK_S", 0.01)
    world, stopping = World(), threading.Event()
    with hook() as ours:
        heart = beating(ours.url, world)
        thread = threading.Thread(target=heart.run, args=(stopping,))
        thread.start()
        eventually(lambda: ours.got)
        stopping.set()
        thread.join(5)
    assert not thread.is_alive()
    assert len(ours.got) == 1
