"""From an alarm in the journal to what people got, through real channels; and what a kill at any step leaves."""

from __future__ import annotations

import json
import random
import re
import subprocess
import sys
import threading
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from store.alarm_entries import ActKind, AlarmAct
from store.fault_points import TELLING
from store.journal import Journal
from store.notice_entries import NoticeKind, NoticeState, Outcome
from tests.conftest import MINUTE_US, eventually
from tests.watch.receivers import MailBox, hook
from tests.watch.telling import NOW_US, alarm, farm_with, notifier_of, one_round, raise_alarms
from watch.channels import Answer
from watch.links import Links
from watch.notifying import Notifier, outbox_status
from watch.sending import DELAYS_S, JITTER, Sender, delay_us

ROOT = Path(__file__).parents[2]


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        yield opened


class BrokenChannels:
    def of(self, _):
        return ["mail 1"]

    def send(self, _):
        raise UnicodeEncodeError("ascii", "ü", 0, 1, "not ASCII")


def test_a_channel_that_breaks_is_tried_with_delays_as_any_other(journal):
    raise_alarms(journal, alarm())
    with MailBox(None) as box:
        farm = farm_with(box.port, "https://farm.example", ways="mail")
    notifier = Notifier(farm, journal, BrokenChannels(), lambda: NOW_US, "https://farm.example/")
    for _ in range(3):
        round_of(notifier)
    [notice] = journal.outbox.waiting("testfarm")
    assert notice.next_us > NOW_US
    [tried] = journal.outbox.tries("testfarm", notice.identity)
    assert (tried.outcome, tried.ended_us) == (Outcome.UNSURE, NOW_US)
    assert tried.answer == "failed within Leafweather, please report it: UnicodeEncodeError"


class Clock:
    def __init__(self):
        self.now_us = NOW_US

    def __call__(self):
        return self.now_us


def round_of(notifier):
    notifier.decide()
    notifier.sender.send_due()
    notifier.sender.settle()


def test_an_alarm_is_told_by_every_channel_of_who_is_to_be_told(journal):
    raise_alarms(journal, alarm(), alarm("relative_humidity"))
    with MailBox(None) as box, hook() as ours:
        notifier = notifier_of(farm_with(box.port, ours.url), journal, box.port)
        round_of(notifier)
        round_of(notifier)
    assert len(box.taken) == 1
    assert len(ours.got) == 1
    log = journal.outbox.page("testfarm")
    assert {one.channel for one in log} == {"mail 1", "webhook 1"}
    assert all(one.state is NoticeState.SENT and one.tries == 1 and one.sent_us == NOW_US for one in log)
    assert "ada@" not in "".join(f"{one}{journal.outbox.tries('testfarm', one.identity)}" for one in log)


def test_a_clock_that_is_set_back_holds_no_notice_up(journal):
    raise_alarms(journal, alarm())
    clock = Clock()
    with hook() as ours:
        ours.statuses = [500, 200]
        notifier = notifier_of(farm_with(1, ours.url, ways="webhook"), journal, 1, clock)
        round_of(notifier)
        clock.now_us -= 24 * 60 * MINUTE_US
        round_of(notifier)
        assert [status for status, _, _ in ours.got] == [500, 200]


def test_a_server_that_is_down_for_a_while_loses_nothing(journal):
    raise_alarms(journal, alarm())
    clock = Clock()
    with hook() as ours:
        ours.statuses = [500, 503, 200]
        box = MailBox(None)  # nobody listens yet
        notifier = notifier_of(farm_with(box.port, ours.url), journal, box.port, clock)
        round_of(notifier)
        assert outbox_status(journal, "testfarm", clock()).waiting == 2
        round_of(notifier)
        assert len(ours.got) == 1, "not before its time"
        for _ in range(4):
            clock.now_us += 130_000_000
            round_of(notifier)
        assert [status for status, _, _ in ours.got] == [500, 503, 200]
        assert len({headers["Idempotency-Key"] for _, headers, _ in ours.got}) == 1
        assert outbox_status(journal, "testfarm", clock()).waiting == 1
        clock.now_us += 11 * MINUTE_US
        assert outbox_status(journal, "testfarm", clock()).stuck
        with box:
            round_of(notifier)
    assert len(box.taken) == 1
    tried = journal.outbox.tries("testfarm", next(
        one.identity for one in journal.outbox.page("testfarm") if one.channel == "mail 1"))  # fmt: skip
    assert [one.outcome for one in tried][-1] is Outcome.TAKEN
    assert {one.outcome for one in tried[:-1]} == {Outcome.LATER}


def test_delays_grow_and_differ():
    for tries, delay_s in enumerate(DELAYS_S, 1):
        delays = {delay_us(f"notice {n}", tries) / 1e6 for n in range(50)}
        assert len(delays) == 50
        assert all(delay_s * (1 - JITTER) <= one <= delay_s * (1 + JITTER) for one in delays)
    assert delay_us("a", 500) <= DELAYS_S[-1] * 1.2e6
    assert delay_us("a", 1, 777.0) == 777_000_000


def test_it_is_given_up_at_last_and_refused_ones_are_told(journal):
    raise_alarms(journal, alarm())
    clock = Clock()
    with MailBox(None) as box, hook() as ours:
        box.handler.rcpt, ours.statuses = "550 no", [500]
        notifier = notifier_of(farm_with(box.port, ours.url), journal, box.port, clock)
        round_of(notifier)
        for _ in range(5):
            clock.now_us += 20 * MINUTE_US
            round_of(notifier)
        assert outbox_status(journal, "testfarm", clock()).waiting == 1
        clock.now_us = NOW_US + 24 * 60 * MINUTE_US
        notifier.sender.send_due()
        notifier.sender.settle()
    states = {one.channel: one.state for one in journal.outbox.page("testfarm")}
    assert states == {"mail 1": NoticeState.REFUSED, "webhook 1": NoticeState.GIVEN_UP}
    status = outbox_status(journal, "testfarm", clock() - MINUTE_US)
    assert (status.waiting, status.refused) == (0, 2)


def test_a_clock_that_is_set_forward_gives_no_notice_up(journal):
    """A small computer without a battery clock decides by one time of day, and sends by another."""
    raise_alarms(journal, alarm())
    clock = Clock()
    with hook() as ours:
        ours.statuses = [500, 500, 200]
        notifier = notifier_of(farm_with(1, ours.url, ways="webhook"), journal, 1, clock)
        round_of(notifier)
        clock.now_us += 400 * 24 * 60 * MINUTE_US
        for _ in range(2):
            notifier.sender.send_due()
            notifier.sender.settle()
            clock.now_us += 5 * MINUTE_US
        assert [status for status, _, _ in ours.got] == [500, 500, 200]
        assert [one.state for one in journal.outbox.page("testfarm")] == [NoticeState.SENT]


def test_the_return_never_arrives_before_the_alarm(journal):
    one = alarm()
    raise_alarms(journal, one)
    clock = Clock()
    with MailBox(None) as box, hook() as ours:
        ours.statuses = [500, 500, 200]
        notifier = notifier_of(farm_with(box.port, ours.url), journal, box.port, clock)
        round_of(notifier)
        raise_alarms(journal, replace(one, returned_us=NOW_US + MINUTE_US))
        clock.now_us += MINUTE_US
        for _ in range(8):
            round_of(notifier)
            clock.now_us += 10 * MINUTE_US
    kinds = [(status, re.search(rb'"kind": ?"(\w+)"', body)[1].decode()) for status, _, body in ours.got]
    assert kinds == [(500, "raised"), (500, "raised"), (200, "raised"), (200, "returned")]
    assert [mail["Subject"][:5] for mail in box.taken] == ["Room:", "Back "]


def test_an_acknowledgement_by_its_link_is_the_persons(journal):
    one, other = alarm(), alarm("relative_humidity")
    raise_alarms(journal, one, other)
    with MailBox(None) as box, hook() as ours:
        notifier = notifier_of(farm_with(box.port, ours.url), journal, box.port)
        round_of(notifier)
    token = re.search(r"https://farm\.example/acknowledge/(\S+)", box.taken[0].get_content())[1]
    link = journal.links.of("testfarm", token)
    assert link.person == "ada"
    assert set(link.alarms) == {one.identity, other.identity}
    assert link.expires_us == NOW_US + 24 * 60 * MINUTE_US


def links_in(posts):
    return [re.search(rb"acknowledge/([\w-]+)", body)[1].decode() for _, _, body in posts]


def test_a_notice_has_one_link_at_every_try_and_after_a_restart(journal):
    raise_alarms(journal, alarm())
    clock = Clock()
    with hook() as ours:
        ours.statuses = [500, 500, 200]
        farm = farm_with(1, ours.url, ways="webhook")
        for _ in range(3):  # each a start of its own
            round_of(notifier_of(farm, journal, 1, clock, link_key=b"k" * 32))
            clock.now_us += 10 * MINUTE_US
        tokens = links_in(ours.got)
        assert len(tokens) == 3
        assert len(set(tokens)) == 1
        assert len(tokens[0]) == 43  # 32 bytes in base64, RFC 4648 section 5
        assert journal.links.of("testfarm", tokens[0]).expires_us == NOW_US + (24 * 60 + 20) * MINUTE_US
        raise_alarms(journal, alarm("relative_humidity", group="damp"))
        round_of(notifier_of(farm, journal, 1, clock, link_key=b"k" * 32))
        other = links_in(ours.got)[-1]
        assert other not in tokens
    with hook() as ours:
        raise_alarms(journal, alarm("solution_ph", group="acid"))
        round_of(notifier_of(farm_with(1, ours.url, ways="webhook"), journal, 1, clock, link_key=b"x" * 32))
        [foreign] = links_in(ours.got)
        [sent] = [one for one in journal.outbox.page("testfarm") if one.group == "acid"]
        assert foreign != Links(journal, "https://farm.example", 1, b"k" * 32).of(sent, 0).rpartition("/")[2]


def test_a_storm_is_as_urgent_as_its_worst_and_its_link_is_for_all_of_it(journal):
    worst = alarm("co2_mole_fraction", group="gas", priority="highest")
    several = [alarm(f"q{n}", group=f"g{n}") for n in range(8)]
    raise_alarms(journal, *several, worst)
    with MailBox(None) as box, hook() as ours:
        round_of(notifier_of(farm_with(box.port, ours.url), journal, box.port))
    [(_, _, body)], [mail] = ours.got, box.taken
    told = json.loads(body)
    assert (told["kind"], told["priority"]) == ("storm", "highest")
    assert mail["Importance"] == "high"
    for token in (*links_in(ours.got), re.search(r"acknowledge/(\S+)", mail.get_content())[1]):
        link = journal.links.of("testfarm", token)
        assert set(link.alarms) == {one.identity for one in (*several, worst)}


class Hanging:
    """Channels of which some never come to an end."""

    def __init__(self, dead):
        self.dead, self.begun, self.taken, self.end = dead, [], [], threading.Event()

    def of(self, person):
        return ["mail 1"]

    def send(self, message):
        person = message.notice.person
        self.begun.append(person)
        if person in self.dead:
            self.end.wait()
        self.taken.append(person)
        return Answer(Outcome.TAKEN, "taken")


@pytest.fixture
def hanging():
    one = Hanging({f"p{n}" for n in range(12)})
    yield one
    one.end.set()


def people(number):
    return "".join(f'[notices.people.p{n}]\nlabel = "P"\nmail = ["p{n}@farm.example"]\n' for n in range(number))


def test_channels_that_hang_for_ever_hold_up_nobody_else(journal, hanging):
    farm = farm_with(1, "", people(13), ways="mail")
    notifier, stopping = Notifier(farm, journal, hanging, lambda: NOW_US), threading.Event()
    running = threading.Thread(target=notifier.run, args=(stopping,))
    raise_alarms(journal, alarm())
    running.start()
    try:
        eventually(lambda: {"ada", "p12"} <= set(hanging.taken), 3)
        eventually(lambda: len(hanging.begun) == 14)
        raise_alarms(journal, alarm("relative_humidity", group="damp"))
        eventually(lambda: sorted(hanging.taken) == ["ada", "ada", "p12", "p12"])
        assert len(hanging.begun) == 16, "a channel that hangs is not tried beside itself"
    finally:
        stopping.set()
        hanging.end.set()
        running.join()


def test_a_try_ends_in_time_whatever_its_channel_does_and_is_made_again_a_few_times(journal, hanging):
    farm, clock = farm_with(1, "", people(1), ways="mail"), Clock()
    raise_alarms(journal, alarm())
    notifier = Notifier(farm, journal, hanging, clock)
    notifier.decide()
    sender = Sender(farm, journal, hanging, Links(journal, None, 24), clock, longest_try_s=0.05)
    for _ in range(5):
        sender.send_due()
        sender.settle(5)
        clock.now_us += 20 * MINUTE_US
    [waiting] = journal.outbox.waiting("testfarm")
    assert waiting.person == "p0"
    tries = journal.outbox.tries("testfarm", waiting.identity)
    assert [(one.outcome, one.answer) for one in tries] == [
        *[(Outcome.UNSURE, "no end within 0 s")] * 3,
        *[(Outcome.LATER, "3 tries before never came to an end: restart Leafweather")] * 2,
    ]
    assert hanging.begun.count("p0") == 3
    hanging.end.set()
    eventually(lambda: hanging.taken.count("p0") == 3)
    sender.send_due()
    sender.settle(5)
    assert journal.outbox.waiting("testfarm") == []


def test_nobody_described_is_nothing_done(journal, small_farm):
    raise_alarms(journal, alarm())
    assert notifier_of(small_farm, journal, 1).decide() == []


def test_an_acknowledged_alarm_is_not_told_again_and_its_return_is(journal):
    farm_more = '[[notices.routes]]\npriorities = ["highest", "high"]\nto = ["ada"]\nagain_every_min = 20\n'
    one, clock = alarm(), Clock()
    raise_alarms(journal, one)
    with hook() as ours:
        notifier = notifier_of(farm_with(1, ours.url, farm_more), journal, 1, clock)
        kinds = []
        for minute in range(0, 61, 5):
            clock.now_us = NOW_US + minute * MINUTE_US
            if minute == 30:
                journal.alarms.add_act(AlarmAct("testfarm", ActKind.ACKNOWLEDGE, one.identity, clock(), "ada"))
            if minute == 55:
                raise_alarms(journal, replace(one, returned_us=clock()))
            kinds += [(minute, new.kind) for new in notifier.decide() if new.channel == "webhook 1"]
    assert kinds == [(0, NoticeKind.RAISED), (20, NoticeKind.AGAIN), (55, NoticeKind.RETURNED)]


def killed_at(folder, port, url, point, way):
    """Run one round that is killed at a point, and return whether it was."""
    command = [sys.executable, "-m", "tests.watch.telling", str(folder), str(port), url, point, way]
    return subprocess.run(command, cwd=ROOT, check=False, timeout=60).returncode == -9


@pytest.mark.parametrize("way", ["mail", "webhook"])
@pytest.mark.parametrize("point", TELLING)
def test_a_kill_at_any_step_loses_no_notice_and_doubles_only_what_was_in_flight(tmp_path, point, way):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        raise_alarms(journal, alarm(), alarm("relative_humidity", group="damp"))
    with MailBox(None) as box, hook() as ours:
        assert killed_at(tmp_path, box.port, ours.url, point, way), f"never came to {point}"
        for _ in range(3):  # a channel takes one notice at a time
            one_round(tmp_path, box.port, ours.url, way)
    mails = [mail["Message-ID"] for mail in box.taken]
    posts = [headers["Idempotency-Key"] for _, headers, _ in ours.got]
    names = Counter(mails if way == "mail" else posts)
    # Killed after handing over and before noting it, nobody can know: it goes out again under the same name.
    assert sorted(names.values()) == ([1, 2] if point == "notice handed over" else [1, 1])
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        log = journal.outbox.page("testfarm")
        assert len(log) == 2
        assert {one.state for one in log} == {NoticeState.SENT}
        tries = [one for notice in log for one in journal.outbox.tries("testfarm", notice.identity)]
        unsure = [one for one in tries if one.outcome is Outcome.UNSURE]
        assert len(unsure) == (point in ("try begun", "notice handed over"))
        assert all(one.ended_us is not None for one in tries)


@pytest.mark.slow
def test_kill_9_at_random_moments(tmp_path):
    chance, kills = random.Random(), 0
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
        raise_alarms(journal, *(alarm(f"q{n}", group=f"g{n}") for n in range(4)))
    with MailBox(None) as box, hook() as ours:
        command = [
            sys.executable,
            "-m",
            "tests.watch.telling",
            str(tmp_path),
            str(box.port),
            ours.url,
            "never",
            "mail webhook",
        ]
        for _ in range(10):
            with subprocess.Popen(command, cwd=ROOT) as program:
                time.sleep(chance.uniform(0.8, 2.0))
                kills += program.poll() is None
                program.kill()

        def all_sent():
            one_round(tmp_path, box.port, ours.url)
            with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as journal:
                return not journal.outbox.waiting("testfarm")

        eventually(all_sent, 30)
    mails = Counter(mail["Message-ID"] for mail in box.taken)
    posts = Counter(headers["Idempotency-Key"] for _, headers, _ in ours.got)
    assert len(mails) == len(posts) == 4
    assert sum(mails.values()) + sum(posts.values()) <= 8 + 2 * kills
