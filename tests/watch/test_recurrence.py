"""When the same cause was found before."""

from __future__ import annotations

import pytest

from farm.readings import iso_time
from store.entries import FindingEntry
from store.journal import Journal
from tests.conftest import MINUTE_US, T0_US
from watch.recurrence import BACK_US, MOST_TOLD, found_before

HOUR_US = 60 * MINUTE_US
DAY_US = 24 * HOUR_US


def finding(begin_h, end_h, cause="drying_lost", probability=0.9, subject="unusual", places=(), **told):
    onset_us = T0_US + int(begin_h * HOUR_US)
    end_us = None if end_h is None else T0_US + int(end_h * HOUR_US)
    first = {"cause": cause, "probability": probability, "place_labels": list(places)}
    return FindingEntry("testfarm", subject, onset_us, end_us, onset_us, {"causes": [first], **told})


@pytest.fixture
def before(tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:

        def before(one, *others):
            journal.findings.replace("testfarm", T0_US - BACK_US - 10 * DAY_US, [one, *others])
            return [
                ((each.onset_us - T0_US) / HOUR_US, (each.end_us - T0_US) / HOUR_US, each.place_labels)
                for each in found_before(journal, [one])[one.identity]
            ]

        yield before


def test_what_came_before_is_told_the_newest_first_with_its_places(before):
    now = finding(100, None, "lamp_group_lost", places=["Row 3"])
    early, late = (
        finding(at, at + 5, "lamp_group_lost", subject=f"{at:010}", places=[row])
        for at, row in ((10, "Row 1"), (50, "Row 3"))
    )
    assert before(now, early, late, finding(30, 35)) == [(50, 55, ("Row 3",)), (10, 15, ("Row 1",))]


def test_findings_of_one_event_are_told_once_and_its_own_are_not_before(before):
    now = finding(100, None, subject="0000000001")
    own = finding(99, 104, subject="0000000002")
    one_event = [finding(10, 12, subject="0000000003"), finding(13, 15, subject="0000000004"), finding(11, 14)]
    assert before(now, own, *one_event) == [(10, 15, ())]


def test_it_counts_from_when_the_cause_leads_until_it_was_seen_last(before):
    at = {
        "leads_since": iso_time(T0_US + 20 * HOUR_US),
        "last_seen": iso_time(T0_US + 30 * HOUR_US),
    }
    assert before(finding(40, None, subject="0000000001"), finding(10, 60, **at)) == [(20, 30, ())]
    led = {"leads_since": iso_time(T0_US + 40 * HOUR_US)}
    assert before(finding(20, None, **led), finding(25, 30, subject="0000000001")) == [(25, 30, ())]


def test_one_that_lasts_hides_only_its_own_place(before):
    lasting = finding(0, None, "lamp_group_lost", subject="0000000001", places=["Row 1"])
    now, early = (
        finding(at, None if at == 500 else at + 5, "lamp_group_lost", subject=f"{at:010}", places=["Row 3"])
        for at in (500, 100)
    )
    assert before(now, lasting, early) == [(100, 105, ("Row 3",))]


def test_nights_to_come_were_not_found(tmp_path):
    one, other = (
        finding(100, None, "condensation_ahead", subject="night/wall"),
        finding(10, 20, "condensation_ahead", subject="night/door"),
    )
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.findings.replace("testfarm", 0, [one, other])
        assert found_before(journal, [one]) == {}


def test_the_answer_does_not_hang_on_what_else_is_asked(tmp_path):
    days = BACK_US / HOUR_US
    now, border = (
        finding(500, None, subject="0000000001"),
        finding(500 - days + 2, 500 - days + 9, subject="0000000002"),
    )
    older = [finding(500 - days - 20 * n, 500 - days - 20 * n + 19, subject=f"{n + 5:010}") for n in range(5)]
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.findings.replace("testfarm", T0_US - 2 * BACK_US, [now, border, *older])
        alone = found_before(journal, [now])[now.identity]
        assert alone == found_before(journal, [older[-1], border, now])[now.identity]
        assert len(alone) == 1


def test_as_likely_as_it_is_told_is_likely_enough(before):
    now = finding(100, None, probability=0.496)
    assert before(now, finding(10, 20, probability=0.497, subject="0000000001")) == [(10, 20, ())]


@pytest.mark.parametrize("cause", ["as_usual", "something_else"])
def test_what_names_no_cause_comes_back_as_nothing(tmp_path, cause):
    one, other = finding(100, None, cause), finding(10, 20, cause, subject="0000000001")
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.findings.replace("testfarm", 0, [one, other])
        assert found_before(journal, [one, other]) == {}
        assert found_before(journal, []) == {}


def test_what_was_hardly_likely_or_too_long_ago_is_not_told_nor_more_than_five(before):
    days = BACK_US // HOUR_US
    now = finding(0, None)
    unlikely = finding(-50, -45, probability=0.4, subject="0000000001")
    old = finding(-days - 20, -days - 10, subject="0000000002")
    assert before(now, unlikely, old) == []
    many = [finding(-20 * n, -20 * n + 5, subject=f"{n:010}") for n in range(1, 9)]
    assert [begin for begin, _, _ in before(now, *many)] == [-20.0 * n for n in range(1, MOST_TOLD + 1)]
