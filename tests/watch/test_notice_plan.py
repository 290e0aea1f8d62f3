"""Who is told what and when, worked out by hand from the rules in docs/notices.md."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from farm.alarm_words import AlarmState, Priority
from farm.notices import Notices
from store.alarm_entries import AlarmEntry
from store.notice_entries import Notice, NoticeKind, NoticeState
from tests.conftest import MINUTE_US, T0_US
from watch.notice_plan import plan
from watch.told import Raised

OSLO = ZoneInfo("Europe/Oslo")  # T0 is 2026-03-01T00:00:00Z, 01:00 there
NOON = 11 * 60  # minutes after T0: 12:00 in Oslo
NIGHT = 23 * 60  # 00:00 in Oslo
ZONES = ["room", "row"]
UNACK, ACK, OVER = AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED, AlarmState.RETURNED_UNACKNOWLEDGED

PEOPLE = {
    "ada": {"label": "Ada", "mail": ["ada@farm.example"], "quiet": {"begin": "22:00:00", "end": "06:30:00"}},
    "bo": {"label": "Bo", "mail": ["bo@farm.example"], "zones": ["row"]},
    "cem": {"label": "Cem", "mail": ["cem@farm.example"]},
}
ROUTES = [
    {
        "priorities": ["highest", "high"],
        "to": ["ada"],
        "then": [{"after_min": 15, "to": ["cem"]}],
        "again_every_min": 60,
    },
    {"priorities": ["medium"], "to": ["ada", "bo"]},
    {"priorities": ["low"], "to": ["ada"], "digest": True},
]


def described(**changes):
    return Notices.model_validate({"people": PEOPLE, "routes": ROUTES, **changes})


def minute(number):
    return T0_US + int(number * MINUTE_US)


def alarm(condition="out_of_band/room/air_temperature/high", at=NOON, priority="high", group="heat", over=None, **more):
    returned_us = None if over is None else minute(over)
    return AlarmEntry("testfarm", condition, minute(at - 5), minute(at), returned_us, Priority(priority), group, **more)


class Days:
    """Lets minutes pass: what was planned is taken for sent, and stands in what was sent."""

    def __init__(self, **changes):
        self.notices = described(**changes)
        self.sent = []
        self.failing = set()

    def at(self, now, *alarms, states=None):
        """Return who is told at a minute, as (kind, person), given alarms (unacknowledged unless they are over)."""
        raised = [
            Raised(one, (states or {}).get(one.identity, UNACK if one.returned_us is None else OVER)) for one in alarms
        ]
        drafts = plan(self.notices, ZONES, OSLO, raised, self.sent, minute(now))
        self.last = drafts
        for one in drafts:
            state = NoticeState.REFUSED if one.person in self.failing else NoticeState.SENT
            self.sent.append(
                Notice("testfarm", one.kind, one.person, "mail 1", one.group, one.turn, one.priority, one.told,
                       minute(now), "", "", state)
            )  # fmt: skip
        names = [(one.person, one.identity) for one in self.sent]
        assert len(set(names)) == len(names), "two notices of one name: the outbox would keep but one"
        again = plan(self.notices, ZONES, OSLO, raised, self.sent, minute(now))
        assert again == [], "asked again it tells the same again"
        return [(str(one.kind), one.person) for one in drafts]


def test_one_notice_a_group_however_many_alarms():
    days = Days()
    many = [alarm(f"out_of_band/room/{n}/high") for n in range(20)]
    assert days.at(NOON, *many) == [("raised", "ada")]
    assert len(days.last[0].told) == 20
    late = alarm("out_of_band/room/late/high", at=NOON + 3)
    assert days.at(NOON + 3, *many, late) == []  # shares the cause of one that stands


def test_nothing_is_told_of_what_was_over_before_anybody_could_be_told_unless_it_is_urgent_and_fresh():
    assert Days().at(NOON, alarm(priority="medium", at=NOON - 30, over=NOON - 2)) == []
    assert Days().at(NOON, alarm(priority="high", at=NOON - 30, over=NOON - 2)) == [("raised", "ada")]
    assert Days().at(NOON, alarm(priority="high", at=NOON - 300, over=NOON - 61)) == []


def test_escalation_until_acknowledged():
    days, one = Days(), alarm()
    assert days.at(NOON, one) == [("raised", "ada")]
    assert days.at(NOON + 14, one) == []
    assert days.at(NOON + 15, one) == [("escalated", "cem")]
    assert days.at(NOON + 60, one) == []
    assert days.at(NOON + 75, one) == [("again", "ada"), ("again", "cem")]
    assert days.at(NOON + 135, one, states={one.identity: ACK}) == []
    assert days.at(NOON + 140, one) == [("again", "ada"), ("again", "cem")]  # it holds no more


def test_acknowledged_in_time_it_never_escalates_and_its_return_is_told_to_who_was_told():
    days, one = Days(), alarm()
    days.at(NOON, one)
    assert days.at(NOON + 30, one, states={one.identity: ACK}) == []
    over = replace(one, returned_us=minute(NOON + 40))
    assert days.at(NOON + 41, over, states={one.identity: AlarmState.NORMAL}) == [("returned", "ada")]
    assert days.at(NOON + 100, over, states={one.identity: AlarmState.NORMAL}) == []


def test_the_return_waits_for_the_whole_group():
    days, one, other = Days(), alarm(), alarm("out_of_band/room/relative_humidity/high")
    days.at(NOON, one, other)
    one = replace(one, returned_us=minute(NOON + 10))
    assert days.at(NOON + 11, one, other) == []
    other = replace(other, returned_us=minute(NOON + 12))
    assert days.at(NOON + 13, one, other) == [("returned", "ada")]
    assert {told.condition for told in days.last[0].told} == {one.condition, other.condition}


def test_one_that_joined_its_group_is_told_when_it_is_all_that_is_left_and_the_end_is_told_once():
    days, one = Days(), alarm()
    days.at(NOON, one)
    late = alarm("out_of_band/room/relative_humidity/high", at=NOON + 5)
    assert days.at(NOON + 5, one, late) == []
    one = replace(one, returned_us=minute(NOON + 10))
    assert days.at(NOON + 10, one, late) == [("raised", "ada")]
    late = replace(late, returned_us=minute(NOON + 20))
    assert days.at(NOON + 20, one, late) == [("returned", "ada")]
    assert len(days.last[0].told) == 2


def test_an_alarm_that_late_readings_take_back_is_told_to_be_none():
    days = Days()
    days.at(NOON, alarm())
    assert days.at(NOON + 5) == [("returned", "ada")]
    assert days.last[0].told[0].facts["taken_back"]


def test_an_alarm_whose_onset_late_readings_move_is_the_same():
    days, one = Days(), alarm()
    days.at(NOON, one)
    moved = replace(one, onset_us=one.onset_us - MINUTE_US, detail={"was": [one.identity]})
    assert moved.identity != one.identity
    assert days.at(NOON + 5, moved) == []
    over = replace(moved, returned_us=minute(NOON + 6))
    assert days.at(NOON + 6, over) == [("returned", "ada")]
    assert days.at(NOON + 30, over) == []


def test_late_readings_that_show_it_was_never_over_are_told():
    days, one = Days(), alarm()
    days.at(NOON, one)
    assert days.at(NOON + 10, replace(one, returned_us=minute(NOON + 9))) == [("returned", "ada")]
    assert days.at(NOON + 30, one) == [("raised", "ada")]  # it lasts after all
    assert days.at(NOON + 44, one) == []
    assert days.at(NOON + 45, one) == [("escalated", "cem")]
    over = replace(one, returned_us=minute(NOON + 50))
    assert days.at(NOON + 50, over) == [("returned", "ada"), ("returned", "cem")]
    identities = [sent.identity for sent in days.sent if sent.person == "ada"]
    assert len(set(identities)) == 4, "each is a notice of its own"


def test_two_alarms_that_late_readings_make_one_are_told_as_it_stands():
    days, first = Days(), alarm(over=NOON + 9)
    days.at(NOON, replace(first, returned_us=None))
    days.at(NOON + 10, first)
    second = alarm(at=NOON + 30)
    assert days.at(NOON + 30, first, second) == [("raised", "ada")]
    assert days.at(NOON + 40, replace(first, returned_us=None)) == []  # within the window: the same condition
    assert days.at(NOON + 46, replace(first, returned_us=None)) == [("raised", "ada")]


def test_a_more_urgent_priority_is_told_again_and_a_lesser_one_is_not():
    days, one = Days(), alarm(priority="medium", group="x")
    assert days.at(NOON, one) == [("raised", "ada")]  # bo has another zone
    assert days.at(NOON + 1, replace(one, priority=Priority.LOW)) == []
    assert days.at(NOON + 2, replace(one, priority=Priority.HIGHEST)) == [("worse", "ada")]
    assert days.at(NOON + 3, replace(one, priority=Priority.HIGHEST)) == []


def test_only_zones_and_priorities_that_a_person_wants():
    row = alarm("out_of_band/row/air_temperature/high", priority="medium", group="a")
    farm = alarm("mains_lost", priority="medium", group="b")
    assert Days().at(NOON, row) == [("raised", "ada"), ("raised", "bo")]
    assert Days().at(NOON, farm) == [("raised", "ada"), ("raised", "bo")]  # of no zone: everybody
    people = {**PEOPLE, "ada": {**PEOPLE["ada"], "priorities": ["highest", "high", "low"]}}
    assert Days(people=people).at(NOON, row) == [("raised", "bo")]


def test_quiet_hours_let_only_the_urgent_through_and_keep_the_rest_for_after():
    medium, high = alarm(priority="medium", at=NIGHT, group="m"), alarm(priority="high", at=NIGHT, group="h")
    days = Days()
    assert days.at(NIGHT, medium) == []
    assert days.at(NIGHT + 6 * 60 + 29, medium) == []  # 06:29 in Oslo
    assert days.at(NIGHT + 6 * 60 + 30, medium) == [("raised", "ada")]
    assert Days().at(NIGHT, high) == [("raised", "ada")]
    people = {**PEOPLE, "ada": {**PEOPLE["ada"], "quiet": {**PEOPLE["ada"]["quiet"], "let_through": ["highest"]}}}
    assert ("raised", "ada") not in Days(people=people).at(NIGHT, high)


@pytest.mark.parametrize(
    ("eve", "end_utc"),
    [
        # The farm's clock goes from 02:00 to 03:00 in the night to 29 March 2026, and from 03:00 back to 02:00 in that
        # to 25 October (Directive 2000/84/EC: at 01:00 UTC). Ada's hours are 22:00 to 06:30 of its clock.
        ("2026-03-28T21:00:00+00:00", "2026-03-29T04:30:00+00:00"),
        ("2026-10-24T20:00:00+00:00", "2026-10-25T05:30:00+00:00"),
    ],
)
def test_quiet_hours_go_by_the_farms_clock_when_it_changes(eve, end_utc):
    begin, end = (int((datetime.fromisoformat(one).timestamp() * 1e6 - T0_US) / MINUTE_US) for one in (eve, end_utc))
    assert end - begin == (7.5 if "03-28" in eve else 9.5) * 60, "an hour less than 8.5 h, or one more"
    days, one = Days(), alarm(at=begin - 30, priority="medium")
    assert days.at(begin - 1, alarm(at=begin - 30, priority="medium", group="x")) == [("raised", "ada")]
    days = Days()
    told = [(now, days.at(now, one)) for now in range(begin, end + 2)]
    assert [(now, found) for now, found in told if found] == [(end, [("raised", "ada")])]
    days = Days()
    assert days.at(begin + 200, alarm(at=begin + 190)) == [("raised", "ada")], "high ones come through all the same"


@pytest.mark.parametrize(("day", "quiet_min"), [("2026-03-29", 0), ("2026-03-30", 30), ("2026-10-25", 60)])
def test_quiet_hours_within_the_hour_that_is_left_out_or_comes_twice(day, quiet_min):
    people = {"ada": PEOPLE["ada"] | {"quiet": {"begin": "02:15:00", "end": "02:45:00"}}}
    begin = int((datetime.fromisoformat(f"{day}T00:00:00+00:00").timestamp() * 1e6 - T0_US) / MINUTE_US)
    one = alarm(at=begin - 60, priority="medium")
    quiet = [
        now for now in range(begin, begin + 180)
        if Days(people=people, routes=[]).at(now, one) == []
    ]  # fmt: skip
    assert len(quiet) == quiet_min


def test_who_sleeps_or_cannot_be_reached_does_not_hold_up_the_next():
    people = {**PEOPLE, "ada": {**PEOPLE["ada"], "quiet": {**PEOPLE["ada"]["quiet"], "let_through": ["highest"]}}}
    assert Days(people=people).at(NIGHT, alarm(at=NIGHT)) == [("escalated", "cem")]
    days = Days()
    days.failing.add("ada")
    drafts = plan(days.notices, ZONES, OSLO, [Raised(alarm(), UNACK)], [], minute(NOON))
    refused = [
        Notice("testfarm", one.kind, one.person, "mail 1", one.group, one.turn, one.priority, one.told, minute(NOON),
               "", "", NoticeState.REFUSED)
        for one in drafts
    ]  # fmt: skip
    then = plan(days.notices, ZONES, OSLO, [Raised(alarm(), UNACK)], refused, minute(NOON + 1))
    assert [(one.kind, one.person) for one in then] == [(NoticeKind.ESCALATED, "cem")]


def test_what_came_and_went_in_quiet_hours_stands_in_the_digest():
    days, one = Days(), alarm(priority="medium", at=NIGHT, over=NIGHT + 30)
    assert days.at(NIGHT + 1, replace(one, returned_us=None)) == []
    assert days.at(NIGHT + 6 * 60 + 59, one) == []
    assert days.at(NIGHT + 7 * 60, one) == [("digest", "ada")]
    assert days.at(NIGHT + 8 * 60, one) == []
    assert days.at(NIGHT + 31 * 60, one) == []  # nor the next day


def test_low_priority_waits_for_the_digest_of_the_farms_morning():
    days, one = Days(), alarm(priority="low", at=NOON)
    assert days.at(NOON, one) == []
    later = alarm("running_out/acid", priority="low", at=NOON + 30, group="y")
    assert days.at(NOON + 18 * 60 + 59, one, later) == []
    assert days.at(NOON + 19 * 60, one, later) == [("digest", "ada")]  # 07:00
    assert len(days.last[0].told) == 2
    fresh = alarm("running_out/base", priority="low", at=NOON + 20 * 60, group="z")
    assert days.at(NOON + 21 * 60, one, later, fresh) == []
    assert days.at(NOON + 43 * 60, one, later, fresh) == [("digest", "ada")]
    assert [told.condition for told in days.last[0].told] == ["running_out/base"]


@pytest.mark.parametrize(("lasted_min", "told"), [(179, []), (180, [("digest", "ada")])])
def test_a_likely_cause_that_passed_soon_stands_in_no_digest(lasted_min, told):
    days = Days()
    one = alarm("finding/doser_overdosing", priority="low", at=NOON, over=NOON - 5 + lasted_min)
    assert days.at(NOON + 19 * 60, one) == told
    standing = alarm("finding/nutrient_stock_empty", priority="low", at=NOON + 42 * 60, group="y")
    assert days.at(NOON + 43 * 60, one, standing) == [("digest", "ada")]
    assert [each.condition for each in days.last[0].told] == ["finding/nutrient_stock_empty"]


def test_the_digest_goes_by_the_farms_clock_when_it_changes():
    # 2026-03-29: summer time begins in Oslo, 07:00 there is 05:00 UTC; the day before it was 06:00 UTC.
    day = 28 * 24 * 60
    days, one = Days(), alarm(priority="low", at=day - 600)
    assert days.at(day + 5 * 60 - 1, one) == []
    assert days.at(day + 5 * 60, one) == [("digest", "ada")]


def test_the_same_is_not_told_twice_within_the_window():
    days = Days()
    first = alarm(at=NOON, over=NOON + 2)
    assert days.at(NOON, replace(first, returned_us=None)) == [("raised", "ada")]
    assert days.at(NOON + 3, first) == [("returned", "ada")]
    second = alarm(at=NOON + 6)  # the same condition again
    assert days.at(NOON + 6, first, second) == []
    assert days.at(NOON + 14, first, second) == []
    assert days.at(NOON + 15, first, second) == [("raised", "ada")]


def test_who_was_told_that_a_danger_is_over_is_told_at_once_that_it_is_not_and_then_not_again():
    days, seen = Days(), []
    for turn in range(4):  # two minutes of alarm, two of none
        at = NOON + 4 * turn
        one = alarm("co2_danger/room", priority="highest", at=at, group="co2")
        before = [replace(alarm("co2_danger/room", priority="highest", at=NOON + 4 * n, group="co2"),
                          returned_us=minute(NOON + 4 * n + 2)) for n in range(turn)]  # fmt: skip
        seen += [(at - NOON, *found) for found in days.at(at, *before, one)]
        over = replace(one, returned_us=minute(at + 2))
        seen += [(at - NOON + 2, *found) for found in days.at(at + 2, *before, over)]
    assert seen == [(0, "raised", "ada"), (2, "returned", "ada"), (4, "raised", "ada")]


def test_a_storm_is_one_notice_that_says_how_many_and_so_is_its_end():
    days = Days()
    many = [alarm(f"out_of_band/room/{n}/high", group=f"g{n}") for n in range(500)]
    assert days.at(NOON, *many) == [("storm", "ada")]
    assert len(days.last[0].told) == 500
    assert days.last[0].standing == 500
    over = [replace(one, returned_us=minute(NOON + 20)) for one in many]
    assert days.at(NOON + 21, *over) == [("returned", "ada")]
    assert len(days.last[0].told) == 500


def test_a_storm_that_comes_bit_by_bit_is_few_notices_and_never_holds_the_highest_up():
    days, alarms, told = Days(), [], []
    for number in range(60):  # one a minute for an hour
        alarms.append(alarm(f"out_of_band/room/{number}/high", at=NOON + number, group=f"g{number}"))
        told += [(number, *one) for one in days.at(NOON + number, *alarms) if one[1] == "ada"]
    raised = [one for one in told if one[1] in ("raised", "storm")]
    assert len(raised) <= 5 + 6  # five on their own, then one each ten minutes
    known = {told.identity for one in days.sent if one.person == "ada" for told in one.told}
    assert len(known) >= 50  # nobody is kept waiting for more than ten minutes
    danger = alarm("co2_danger/room", at=NOON + 59, priority="highest", group="co2")
    assert ("raised", "ada") in days.at(NOON + 59, *alarms, danger)


@pytest.mark.parametrize("state", [AlarmState.SHELVED, AlarmState.SUPPRESSED_BY_DESIGN, AlarmState.OUT_OF_SERVICE])
def test_nothing_is_told_of_what_is_kept_from_people(state):
    one = alarm()
    assert Days().at(NOON, one, states={one.identity: state}) == []


def test_nobody_is_told_where_nobody_is_described():
    assert plan(Notices(), ZONES, OSLO, [Raised(alarm(), UNACK)], [], minute(NOON)) == []


HAPPENING = st.tuples(
    st.integers(0, 5), st.sampled_from(["raise", "return", "deny", "ack", "wait"]), st.integers(1, 40)
)


@given(st.lists(HAPPENING, min_size=1, max_size=40))
def test_whatever_happens_nobody_is_told_the_same_twice_within_the_window_and_every_urgent_alarm_is_told(script):
    days, now, alarms, states = Days(), NOON, {}, {}
    priorities = ["highest", "high", "high", "medium", "medium", "low"]
    for which, what, minutes in script:
        now += minutes
        condition = f"out_of_band/row/{which}/high"
        last = alarms.get(which, [])
        if what == "raise" and (not last or last[-1].returned_us is not None):
            new = alarm(condition, at=now, priority=priorities[which], group=f"g{which}")
            alarms.setdefault(which, []).append(new)
        elif what == "return" and last and last[-1].returned_us is None:
            last[-1] = replace(last[-1], returned_us=minute(now))
        elif what == "deny" and last:  # late readings: it was not over
            last[-1] = replace(last[-1], returned_us=None)
        elif what == "ack" and last:
            states[last[-1].identity] = ACK if last[-1].returned_us is None else AlarmState.NORMAL
        flat = [one for several in alarms.values() for one in several]
        for one in flat:
            if states.get(one.identity) is ACK and one.returned_us is not None:
                states[one.identity] = AlarmState.NORMAL
        days.at(now, *flat, states=states)
    last_told, over_since = {}, {}
    for one in days.sent:
        for told in one.told:
            key = (one.person, told.condition)
            if one.kind is NoticeKind.RETURNED:
                over_since[key] = one.made_us
            elif one.kind is not NoticeKind.DIGEST:
                before = last_told.get(key)
                danger_again = told.priority is Priority.HIGHEST and over_since.get(key, 0) >= (before or 0)
                apart = before is None or one.made_us - before >= 15 * MINUTE_US or one.made_us == before
                assert apart or danger_again, "the same twice within the window, in two notices"
                last_told[key] = one.made_us
    told_to_ada = {told.identity for one in days.sent if one.person == "ada" for told in one.told}
    flat = [one for several in alarms.values() for one in several if one.returned_us is None]
    days.at(now + 16, *flat, states=states)
    told_to_ada |= {told.identity for one in days.last if one.person == "ada" for told in one.told}
    for one in flat:
        if one.priority in (Priority.HIGHEST, Priority.HIGH) and states.get(one.identity) is None:
            local_hour = (now + 16) // 60 % 24
            assert one.identity in told_to_ada, (one, local_hour)
