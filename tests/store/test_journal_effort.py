"""What is asked of alarms all day takes no longer with the years: by the database's own count of steps."""

from __future__ import annotations

import random
import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest

from store.alarm_entries import ActKind, AlarmAct, AlarmEntry, Priority
from store.journal import Journal
from store.notice_entries import NoticeKind
from tests.store.effort import Effort
from tests.store.test_journal_outbox import NOTICE, TOLD

FARM, HOUR_US, CONDITIONS = "testfarm", 3_600_000_000, 10


def alarm(number, onset_us, returned_us=None, **more):
    condition = f"out_of_band/row-{number}/air_temperature/high"
    return AlarmEntry(FARM, condition, onset_us, onset_us + 5, returned_us, Priority.HIGH, condition, **more)


def filled(journal, hours):
    """Have each condition raise an alarm an hour that lasts for half an hour, the last one for ever."""
    for number in range(CONDITIONS):
        several = [alarm(number, n * HOUR_US, n * HOUR_US + HOUR_US // 2) for n in range(hours)]
        several[-1] = alarm(number, (hours - 1) * HOUR_US)
        journal.alarms.replace(FARM, several[0].condition, 0, several)


@pytest.fixture
def opened(tmp_path):
    several = []

    def journal(name):
        several.append(Journal(f"sqlite:///{tmp_path / name}.sqlite"))
        return several[-1]

    yield journal
    for one in several:
        one.close()


CALLS = {
    "of late": lambda journal, end_us: journal.alarms.between(FARM, end_us - 5 * HOUR_US),
    "a range": lambda journal, end_us: journal.alarms.between(FARM, end_us - 5 * HOUR_US, end_us - 2 * HOUR_US),
    "a page of a range": lambda journal, end_us: journal.alarms.page(
        FARM, end_us - 5 * HOUR_US, None, None, 1000, suppressed=False
    ),
    "standing": lambda journal, _: journal.alarms.standing(FARM),
    "by a name": lambda journal, _: [journal.alarms.of(FARM, "no-such-nm")],
}


def test_a_history_ten_times_as_long_takes_no_more(opened):
    steps = {what: [] for what in CALLS}
    for hours in (20, 200):
        journal = opened(f"h{hours}")
        filled(journal, hours)
        effort = Effort(journal)
        for what, call in CALLS.items():
            call(journal, hours * HOUR_US)  # opens the connection
            steps[what].append(
                effort.of(lambda call=call, journal=journal, hours=hours: call(journal, hours * HOUR_US))
            )
    assert all(late < 1.5 * early + 200 for early, late in steps.values()), steps


def test_ranges_and_what_stands_are_those_of_looking_at_every_alarm(opened):
    chance, journal, kept = random.Random(7), opened("any"), []
    for number in range(CONDITIONS):
        at_us, several = 0, []
        for _ in range(20):
            begin_us, at_us = at_us + chance.randrange(1, 9), at_us + chance.randrange(20, 90)
            suppressed = chance.choice([None, None, "mains_lost"])
            several.append(alarm(number, begin_us, at_us, suppressed_by=suppressed))
        if number % 2:
            several[-1] = replace(several[-1], returned_us=None)
        kept += journal.alarms.replace(FARM, several[0].condition, 0, several)
    kept.sort(key=lambda one: (one.alarm_us, one.identity))
    for _ in range(60):
        start_us = chance.choice([None, chance.randrange(1200)])
        end_us = chance.choice([None, (start_us or 0) + chance.randrange(1, 300)])
        lasting = [
            one for one in kept
            if (start_us is None or one.returned_us is None or one.returned_us > start_us)
            and (end_us is None or one.alarm_us < end_us)
        ]  # fmt: skip
        assert journal.alarms.between(FARM, start_us, end_us) == lasting
        found, before = [], None
        while several := journal.alarms.page(FARM, start_us, end_us, before, 7, suppressed=False):
            found += several
            before = several[-1].alarm_us, several[-1].identity
        assert found == [one for one in reversed(lasting) if one.suppressed_by is None]
    done = chance.sample(kept, 100)
    for one in done:
        journal.alarms.add_act(AlarmAct(FARM, ActKind.ACKNOWLEDGE, one.identity, one.alarm_us, "kari"))
    newest = {one.condition: one for one in sorted(kept, key=lambda one: one.onset_us)}
    assert journal.alarms.standing(FARM) == [
        one for one in kept
        if newest[one.condition] is one
        and (one.returned_us is None or (one.suppressed_by is None and one not in done))
    ]  # fmt: skip


def test_an_alarm_is_found_by_every_name_it_had_and_by_no_part_of_one(opened):
    journal = opened("names")
    names = []
    for onset_us in (100, 90, 80):
        [kept] = journal.alarms.replace(FARM, alarm(1, 0).condition, 0, [alarm(1, onset_us)])
        names.append(kept.identity)
    assert journal.alarms.those(FARM, names) == [kept]
    assert [journal.alarms.of(FARM, name) for name in names] == [kept] * 3
    assert journal.alarms.of(FARM, names[0][:-1]) is None
    assert journal.alarms.of("other", names[0]) is None
    journal.alarms.replace(FARM, kept.condition, 0, [])
    assert journal.alarms.those(FARM, names) == []


def test_a_journal_of_before_finds_former_names_and_what_is_owed(tmp_path):
    """As revision 0007 left it: names in the alarm's detail alone, and what was told in the notices alone."""
    one, two, over = (replace(TOLD, identity=name) for name in ("one", "two", "over"))
    before = [
        replace(NOTICE, farm=FARM, told=(one,), made_us=1),
        replace(NOTICE, farm=FARM, told=(two,), made_us=2),
        replace(NOTICE, farm=FARM, told=(replace(over, returned_us=5),), made_us=3),
        replace(NOTICE, farm=FARM, kind=NoticeKind.RETURNED, told=(one,), made_us=4),
    ]
    url = f"sqlite:///{tmp_path / 'journal.sqlite'}"
    with Journal(url) as journal:
        journal.alarms.replace(FARM, alarm(1, 0).condition, 0, [alarm(1, 100)])
        [kept] = journal.alarms.replace(FARM, alarm(1, 0).condition, 0, [alarm(1, 90)])
        journal.outbox.add(before)
    with closing(sqlite3.connect(tmp_path / "journal.sqlite")) as file, file:
        for table in ("alarm_name", "notice_alarm", "token", "session", "written"):
            file.execute(f"DROP TABLE {table}")
        for index in ("log_entry_farm_kind_identity_version", "alarm_farm_returned_us_alarm_us"):
            file.execute(f"DROP INDEX ix_{index}")
        file.execute("UPDATE alembic_version SET version_num = '0007'")
    with Journal(url) as journal:
        assert journal.alarms.of(FARM, alarm(1, 100).identity) == kept
        assert journal.outbox.owed(FARM, ["ada"]) == [before[1]]
        assert journal.outbox.about(FARM, ["one", "over"]) == [before[0], before[2], before[3]]
