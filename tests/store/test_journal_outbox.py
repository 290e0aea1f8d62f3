"""Notices at rest: each decision once, every try noted, and links that work once and for a time."""

from __future__ import annotations

from dataclasses import replace

import pytest

from farm.alarm_words import Priority
from store.journal import Journal
from store.notice_entries import Link, Notice, NoticeKind, NoticeState, Outcome, Told, Try

TOLD = Told("a1", "out_of_band/room/air_temperature/high", "heat", Priority.HIGH, 5, None, {"what": "too warm"})
NOTICE = Notice("north", NoticeKind.RAISED, "ada", "mail 1", "heat", 0, Priority.HIGH, (TOLD,), 10, "Too warm", "text")


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path / 'journal.sqlite'}") as opened:
        yield opened


def test_the_same_decision_made_twice_is_one_notice(journal):
    both = [NOTICE, replace(NOTICE, channel="mail 2")]
    assert journal.outbox.add(both) == both
    assert journal.outbox.add([replace(NOTICE, made_us=99, subject="other words")]) == []
    assert journal.outbox.waiting("north") == sorted(both, key=lambda one: one.identity)
    assert journal.outbox.waiting("south") == []


def test_a_notice_is_another_by_each_thing_that_makes_it_one(journal):
    others = [
        replace(NOTICE, kind=NoticeKind.WORSE), replace(NOTICE, person="bo"), replace(NOTICE, channel="webhook 1"),
        replace(NOTICE, group="cold"), replace(NOTICE, turn=1), replace(NOTICE, told=(replace(TOLD, identity="b"),)),
        replace(NOTICE, told=(replace(TOLD, priority=Priority.HIGHEST),)),
    ]  # fmt: skip
    assert len(journal.outbox.add([NOTICE, *others])) == 8


def test_each_try_is_noted_and_what_became_of_the_notice(journal):
    journal.outbox.add([NOTICE])
    name = NOTICE.identity
    assert journal.outbox.begin("north", name, 20) == 1
    assert journal.outbox.tries("north", name) == [Try(name, 1, 20)]
    journal.outbox.end("north", Try(name, 1, 20, 21, Outcome.LATER, "451 later"), NoticeState.WAITING, 31)
    assert [(one.tries, one.next_us) for one in journal.outbox.waiting("north")] == [(1, 31)]
    assert journal.outbox.begin("north", name, 31) == 2
    journal.outbox.end("north", Try(name, 2, 31, 33, Outcome.TAKEN, "250 ok"), NoticeState.SENT, 0)
    assert journal.outbox.waiting("north") == []
    assert journal.outbox.of("north", name).sent_us == 33
    assert [one.outcome for one in journal.outbox.tries("north", name)] == [Outcome.LATER, Outcome.TAKEN]


def test_a_try_that_never_ended_is_unsure(journal):
    journal.outbox.add([NOTICE])
    journal.outbox.begin("north", NOTICE.identity, 20)
    journal.outbox.begin("north", NOTICE.identity, 50)
    first, second = journal.outbox.tries("north", NOTICE.identity)
    assert (first.outcome, first.ended_us) == (Outcome.UNSURE, 50)
    assert second.ended_us is None


def test_the_end_of_an_alarm_is_owed_to_who_was_told_of_it_until_it_is_told(journal):
    other = replace(TOLD, identity="b2")
    of_both, by_mail_2 = replace(NOTICE, told=(TOLD, other)), replace(NOTICE, channel="mail 2", made_us=11)
    journal.outbox.add([of_both, by_mail_2, replace(NOTICE, person="bo")])
    assert journal.outbox.owed("north", ["ada"]) == [of_both, by_mail_2]
    assert journal.outbox.owed("south", ["ada"]) == []
    assert journal.outbox.about("north", ["b2"]) == [of_both]
    journal.outbox.add([replace(NOTICE, kind=NoticeKind.RETURNED, told=(TOLD,), made_us=12)])
    assert journal.outbox.owed("north", ["ada"]) == [of_both]  # of the other one
    journal.outbox.add([replace(NOTICE, kind=NoticeKind.RETURNED, told=(other,), made_us=13)])
    assert journal.outbox.owed("north", ["ada"]) == []
    assert [one.person for one in journal.outbox.owed("north", ["ada", "bo"])] == ["bo"]


def test_nothing_is_owed_to_who_was_not_reached(journal):
    journal.outbox.add([NOTICE])
    journal.outbox.drop("north", NOTICE.identity, 50, NoticeState.GIVEN_UP, "given up")
    assert journal.outbox.owed("north", ["ada"]) == []
    assert journal.outbox.about("north", [TOLD.identity]) == [journal.outbox.of("north", NOTICE.identity)]


def test_the_log_in_pages(journal):
    many = [replace(NOTICE, group=f"g{n}", made_us=10 + n // 2) for n in range(7)]
    journal.outbox.add(many)
    seen, before = [], None
    while page := journal.outbox.page("north", before, 3):
        seen += page
        before = page[-1].made_us, page[-1].identity
    assert len(seen) == 7
    assert [one.made_us for one in seen] == sorted((one.made_us for one in many), reverse=True)
    assert journal.outbox.page("north", state=NoticeState.SENT) == []


def test_a_link_works_once_and_for_its_time_and_its_token_is_not_kept(journal, tmp_path):
    link = Link("north", "ada", NOTICE.identity, "heat", ("a1", "a2"), 1000)
    token, other = "a-token-of-43-characters-that-nobody-guesses", "another-of-the-same-notice"
    journal.links.keep(link, token)
    journal.links.keep(link, other)
    assert journal.links.of("north", token) == link
    assert journal.links.of("south", token) is None
    assert journal.links.use("south", token, 5) is None
    assert journal.links.use("north", token + "x", 5) is None
    assert journal.links.use("north", token, 1000) is None  # expired
    assert journal.links.use("north", token, 999) == link
    assert journal.links.use("north", token, 999) is None
    assert journal.links.use("north", other, 999) is None, "another link of the same notice"
    journal.links.keep(replace(link, expires_us=2000), token)  # tried again: it was used all the same
    assert journal.links.use("north", token, 1500) is None
    assert (journal.links.of("north", token).used_us, journal.links.of("north", token).expires_us) == (999, 2000)
    for file in tmp_path.iterdir():
        assert token.encode() not in file.read_bytes()
