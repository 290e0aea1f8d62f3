"""Alarms in the journal: kept, revised in the open, and acted upon."""

from __future__ import annotations

from dataclasses import replace

import pytest

from store.alarm_entries import ActKind, AlarmAct, AlarmEntry, Priority
from store.journal import Journal

FARM, HOT = "testfarm", "out_of_band/row/air_temperature/high"


@pytest.fixture
def alarms(tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        yield journal.alarms


def alarm(onset_us, returned_us=None, condition=HOT, **more):
    return AlarmEntry(FARM, condition, onset_us, onset_us + 5, returned_us, Priority.HIGH, condition, **more)


def test_an_alarm_comes_back_as_it_was_kept(alarms):
    one = alarm(100, detail={"text": "too hot", "limit": 25.0}, suppressed_by="mains_lost")
    assert alarms.replace(FARM, HOT, 0, [one]) == [one]
    assert alarms.of(FARM, one.identity) == one
    assert alarms.between(FARM) == [one]
    assert alarms.of_condition(FARM, HOT, 500) == [one]  # it lasts
    assert alarms.between("other") == []
    assert alarms.revisions(FARM, [one.identity]) == []


def test_its_usual_course_is_no_revision(alarms):
    alarms.replace(FARM, HOT, 0, [alarm(100, suppressed_by="mains_lost")])
    [kept] = alarms.replace(FARM, HOT, 0, [alarm(100, 200, detail={"worst": 31.0, "released_us": 150})])
    assert kept.revision == 0
    assert kept.returned_us == 200


def test_its_state_differs_with_each_step_of_its_course(alarms):
    one = alarm(100, suppressed_by="mains_lost")
    released = {"released_us": 150}
    steps = [one, alarm(100, detail=released), alarm(100, 200, detail=released), alarm(100, 250, detail=released)]
    states = [alarms.state(FARM)]
    for step in steps:
        alarms.replace(FARM, HOT, 0, [step], 1)
        states.append(alarms.state(FARM))
    alarms.add_act(AlarmAct(FARM, ActKind.ACKNOWLEDGE, one.identity, 150, "kari"))
    states.append(alarms.state(FARM))
    assert len(set(states)) == len(states)
    alarms.replace(FARM, HOT, 0, [alarms.of(FARM, one.identity)], 2)
    assert alarms.state(FARM) == states[-1]
    assert alarms.state("other") != states[-1]


def test_what_later_readings_change_is_told(alarms):
    one = alarm(100, 200)
    alarms.replace(FARM, HOT, 0, [one], 1)
    [kept] = alarms.replace(FARM, HOT, 0, [replace(one, returned_us=300, priority=Priority.LOW)], 2)
    assert kept.revision == 1
    [revision] = alarms.revisions(FARM, [one.identity])
    assert revision.changed == {"returned_us": [200, 300], "priority": ["high", "low"]}
    assert (revision.written_us, revision.gone) == (2, False)
    alarms.replace(FARM, HOT, 0, [replace(kept, revision=0)], 3)  # the same again changes nothing
    assert alarms.of(FARM, one.identity) == kept
    assert len(alarms.revisions(FARM, [one.identity])) == 1


def test_an_alarm_whose_onset_moves_keeps_what_was_done_about_it(alarms):
    one = alarm(100)
    alarms.replace(FARM, HOT, 0, [one], 1)
    alarms.add_act(AlarmAct(FARM, ActKind.ACKNOWLEDGE, one.identity, 150, "kari"))
    [kept] = alarms.replace(FARM, HOT, 0, [alarm(80, 300)], 2)
    assert kept.detail["was"] == [one.identity]
    assert kept.revision == 1
    assert alarms.of(FARM, one.identity) == kept
    assert [act.who for act in alarms.acts_about(kept)] == ["kari"]
    assert alarms.standing(FARM) == []
    [again] = alarms.replace(FARM, HOT, 0, [alarm(100, 300)], 3)
    assert again.revision == 2
    assert set(again.detail["was"]) == {one.identity, kept.identity}


def test_an_alarm_that_is_none_any_more_is_gone_but_told(alarms):
    one = alarm(100)
    alarms.replace(FARM, HOT, 0, [one], 1)
    assert alarms.replace(FARM, HOT, 50, [], 2) == []
    assert alarms.of(FARM, one.identity) is None
    [revision] = alarms.revised_since(FARM, 2, gone=True)
    assert revision.changed["entry"][0]["onset_us"] == 100
    [back] = alarms.replace(FARM, HOT, 0, [one], 3)
    assert back.revision == 2
    assert [revision.gone for revision in alarms.revisions(FARM, [one.identity])] == [True, False]


def test_earlier_ones_of_a_condition_stay(alarms):
    early, late = alarm(100, 150), alarm(200, 250)
    alarms.replace(FARM, HOT, 0, [early, late])
    alarms.replace(FARM, HOT, 180, [])
    assert alarms.between(FARM) == [early]


def test_what_stands(alarms):
    cold = "out_of_band/row/air_temperature/low"
    alarms.replace(FARM, HOT, 0, [alarm(100, 150), alarm(200, 250)])
    alarms.replace(FARM, cold, 0, [alarm(120, condition=cold)])
    alarms.replace(FARM, "door", 0, [alarm(120, 130, condition="door", suppressed_by="planned_work/abc")])
    assert [(one.condition, one.onset_us) for one in alarms.standing(FARM)] == [(cold, 120), (HOT, 200)]
    alarms.add_act(AlarmAct(FARM, ActKind.ACKNOWLEDGE, alarm(200).identity, 300, "kari"))
    alarms.add_act(AlarmAct(FARM, ActKind.ACKNOWLEDGE, alarm(120, condition=cold).identity, 300, "kari"))
    assert [one.condition for one in alarms.standing(FARM)] == [cold]  # it lasts, acknowledged or not


def test_ranges_and_pages(alarms):
    several = [alarm(at, at + 50) for at in (100, 200, 300)]
    alarms.replace(FARM, HOT, 0, several)
    assert [one.onset_us for one in alarms.between(FARM, 150, 205)] == []
    assert [one.onset_us for one in alarms.between(FARM, 149, 206)] == [100, 200]
    first = alarms.page(FARM, None, None, None, 2, suppressed=True)
    assert [one.onset_us for one in first] == [300, 200]
    rest = alarms.page(FARM, None, None, (first[-1].alarm_us, first[-1].identity), 2, suppressed=True)
    assert [one.onset_us for one in rest] == [100]


@pytest.mark.parametrize(
    ("act", "said"),
    [
        (AlarmAct(FARM, ActKind.SHELVE, HOT, 5, "kari", "", 10), "needs a reason"),
        (AlarmAct(FARM, ActKind.SHELVE, HOT, 5, "kari", "cleaning"), "needs an end"),
        (AlarmAct(FARM, ActKind.SHELVE, HOT, 5, "kari", "cleaning", 5), "needs an end"),
        (AlarmAct(FARM, ActKind.ACKNOWLEDGE, HOT, 5, " "), "say who"),
    ],
)
def test_acts_that_lack_something(alarms, act, said):
    with pytest.raises(ValueError, match=said):
        alarms.add_act(act)
    assert alarms.acts(FARM) == []


def test_acts_in_order_of_time(alarms):
    for at_us in (30, 10, 20):
        alarms.add_act(AlarmAct(FARM, ActKind.UNSHELVE, HOT, at_us, "kari"))
    assert [act.at_us for act in alarms.acts(FARM)] == [10, 20, 30]
    assert [act.at_us for act in alarms.acts(FARM, 20)] == [20, 30]
    assert alarms.acts(FARM, about=["else"]) == []


def test_wrong_calls_are_refused(alarms):
    with pytest.raises(ValueError, match="does not belong"):
        alarms.replace(FARM, "door", 0, [alarm(100)])
    with pytest.raises(ValueError, match="does not belong"):
        alarms.replace(FARM, HOT, 101, [alarm(100)])
    with pytest.raises(ValueError, match="twice"):
        alarms.replace(FARM, HOT, 0, [alarm(100), alarm(100, 200)])
