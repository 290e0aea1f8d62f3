"""The states of an alarm, in a table: a line of samples and acts, a line of states.

A word a minute in the first line: a reading, or ``_`` for none; then what happens right after it, one letter each:
``a`` acknowledged, ``s3`` shelved for 3 minutes, ``u`` unshelved, ``o`` out of service, ``i`` in service again,
``d`` suppressed by design, ``e`` end of that. ``*n`` repeats a word. Too high is above 25; back is 24 or below;
on-delay 2 minutes, off-delay 1 minute. In the second line: ``.`` normal, ``!`` unacknowledged, ``a`` acknowledged,
``r`` returned and unacknowledged, ``s`` shelved, ``d`` suppressed by design, ``o`` out of service.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.alarm_history import state_of
from analytics.alarms import QUIET, Happening, Sample, Sign, Watched, follow, step
from analytics.excursions import Rule
from farm.alarm_words import ActKind, AlarmState

MINUTE = 60_000_000
HIGH = 25.0
RULE = Rule(on_delay_us=2 * MINUTE, off_delay_us=MINUTE, deadband=1.0, max_gap_us=3 * MINUTE)
SIGNS = {
    "a": Sign.ACKNOWLEDGE,
    "s": Sign.SHELVE,
    "u": Sign.UNSHELVE,
    "o": Sign.OUT_OF_SERVICE,
    "i": Sign.IN_SERVICE,
    "d": Sign.SUPPRESS,
    "e": Sign.RELEASE,
}
LETTERS = {
    AlarmState.NORMAL: ".",
    AlarmState.UNACKNOWLEDGED: "!",
    AlarmState.ACKNOWLEDGED: "a",
    AlarmState.RETURNED_UNACKNOWLEDGED: "r",
    AlarmState.SHELVED: "s",
    AlarmState.SUPPRESSED_BY_DESIGN: "d",
    AlarmState.OUT_OF_SERVICE: "o",
}


def states(line: str) -> str:
    watched, shown, minute = Watched(), "", 0
    for word in line.split():
        value, acts, times = re.fullmatch(r"(_|[\d.]+)((?:s\d+|[auoide])*)(?:\*(\d+))?", word).groups()
        for _ in range(int(times or 1)):
            at_us = minute * MINUTE
            watched = follow(watched, Sample(at_us, math.nan if value == "_" else float(value), high=HIGH), RULE)
            for act in re.findall(r"s\d+|[auoide]", acts):
                until_us = at_us + int(act[1:]) * MINUTE if act[0] == "s" else None
                watched = replace(watched, standing=step(watched.standing, Happening(at_us, SIGNS[act[0]], until_us)))
            shown += LETTERS[watched.standing.state]
            minute += 1
    return shown


TABLE = {
    # Delays and deadband.
    "too short": ("20 26 26 20 20", "....."),
    "its on-delay lasts, then it returns": ("20 26*3 20 20 20", "...!!rr"),
    "a return must last its off-delay": ("26*3 20 26 20 20 20", "..!!!!rr"),
    "back within the deadband is not back": ("26*3 24.5*5 24 24", "..!!!!!!!r"),
    "at the limit is inside": ("25*6", "......"),
    # No data.
    "no data closes nothing": ("26*3 _*6 26", "..!!!!!!!!"),
    "no data, and back after it: a gap confirms no return": ("26*3 _*6 20 20", "..!!!!!!!!r"),
    "a gap confirms no onset": ("26 _*6 26 26 26", ".........!"),
    # Acknowledged.
    "acknowledged, then back": ("26*3 26a 26 20 20", "..!aaa."),
    "back, then acknowledged": ("26*3 20 20 20a 20", "..!!r.."),
    "again before it was acknowledged": ("26*3 20 20 26*3 20", "..!!rrr!!"),
    "again after it was acknowledged": ("26*3 26a 20 20 26*3", "..!aa...!"),
    "nothing to acknowledge": ("20a 26*3", "...!"),
    # Shelved.
    "shelved while all is normal": ("20 20s2 20 20", ".ss."),
    "shelved for four minutes while it lasts": ("26*3 26s4 26*5", "..!ssss!!"),
    "shelved, and over by the end": ("26*3 26s4 20*5", "..!ssss.."),
    "shelved before it is an alarm": ("20s6 26*7", "ssssss!!"),
    "shelved before, and over by the end": ("20s6 26*3 20*4", "ssssss.."),
    "unshelved early": ("26*3 26s9 26 26u 26", "..!ss!!"),
    "unshelved early, and over": ("26*3 26s9 20 20u 20", "..!ss.."),
    "acknowledged, shelved, back again: acknowledge again": ("26*3 26a 26s2 26 26 26a", "..!ass!a"),
    "unshelving what is not shelved is nothing": ("26*3 26a 26u 26", "..!aaa"),
    "returned and unacknowledged, then shelved": ("26*3 20 20 20s2 20*3", "..!!rss.."),
    "acknowledging a shelved alarm is nothing": ("26*3 26s3 26a 26 26", "..!sss!"),
    "shelved anew for longer": ("26*3 26s2 26s4 26*4", "..!sssss!"),
    # Suppressed by design.
    "suppressed while all is normal": ("20 20d 20e", ".d."),
    "suppressed while it lasts": ("26*3 26d 26 26e 26", "..!dd!!"),
    "suppressed from before": ("20d 26*4 26e", "ddddd!"),
    "suppressed, and over by the end": ("20d 26*4 20 20 20e", "ddddddd."),
    "returned and unacknowledged, then suppressed": ("26*3 20 20 20d 20e", "..!!rd."),
    "the end of what was not suppressed is nothing": ("26*3 26a 26e", "..!aa"),
    # Out of service.
    "out of service while all is normal": ("20 20o 20i", ".o."),
    "out of service while it lasts": ("26*3 26o 26 26i 26", "..!oo!!"),
    "out of service, and over by the end": ("26*3 26o 20 20 20i", "..!ooo."),
    "out of service from before": ("20o 26*4 26i", "ooooo!"),
    "in service already": ("26*3 26a 26i", "..!aa"),
    "returned and unacknowledged, then out of service": ("26*3 20 20 20o 20i", "..!!ro."),
    # Two reasons at once: the alarm comes before people when the last of them ends.
    "shelved and out of service": ("26*3 26s2o 26 26 26i", "..!ooo!"),
    "out of service within shelving": ("26*3 26s5o 26i 26*4", "..!ossss!"),
    "suppressed within shelving": ("26*3 26s5d 26e 26*4", "..!dssss!"),
    "out of service and suppressed": ("26*3 26od 26e 26i", "..!oo!"),
}


@pytest.mark.parametrize("name", TABLE)
def test_every_transition(name):
    line, expected = TABLE[name]
    assert states(line) == expected


def test_the_table_comes_from_every_state_to_every_one_that_isa_draws():
    """The transitions between the states of ISA-18.2's diagram, from memory, without the latched ones."""
    seen = {"".join(pair) for line, _ in TABLE.values() for pair in pairwise(states(line))}
    drawn = ".! !a a. !r r. r! .s !s as rs s. s! .d !d rd d. d! .o !o ro o. o!"
    assert set(drawn.split()) <= seen


@dataclass
class Entry:
    alarm_us: int = 10
    returned_us: int | None = None
    suppressed_by: str | None = None
    detail: dict[str, Any] = field(default_factory=dict)
    identity: str = "one"
    condition: str = "a/b"


@dataclass
class Did:
    kind: ActKind
    about: str
    at_us: int
    until_us: int | None = None


def test_the_state_of_an_entry():
    acknowledged = [Did(ActKind.ACKNOWLEDGE, "one", 20)]
    assert state_of(Entry(), [], 9) == AlarmState.NORMAL
    assert state_of(Entry(), [], 10) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(), acknowledged, 19) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(), acknowledged, 20) == AlarmState.ACKNOWLEDGED
    assert state_of(Entry(identity="two"), acknowledged, 20) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(identity="two", detail={"was": ["one"]}), acknowledged, 20) == AlarmState.ACKNOWLEDGED
    assert state_of(Entry(returned_us=15), [], 30) == AlarmState.RETURNED_UNACKNOWLEDGED
    assert state_of(Entry(returned_us=15), acknowledged, 30) == AlarmState.NORMAL
    assert state_of(Entry(returned_us=25), acknowledged, 30) == AlarmState.NORMAL
    # a late reading put the alarm after the moment somebody acknowledged it
    assert state_of(Entry(alarm_us=25), acknowledged, 30) == AlarmState.ACKNOWLEDGED


def test_the_state_of_what_is_kept_from_people():
    shelved = [Did(ActKind.SHELVE, "a/b", 5, 40)]
    assert state_of(Entry(), shelved, 30) == AlarmState.SHELVED
    assert state_of(Entry(), shelved, 40) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(returned_us=35), shelved, 50) == AlarmState.NORMAL
    assert state_of(Entry(), [Did(ActKind.SHELVE, "c/d", 5, 40)], 30) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(suppressed_by="mains_lost"), [], 30) == AlarmState.SUPPRESSED_BY_DESIGN
    assert state_of(Entry(suppressed_by="mains_lost", returned_us=20), [], 30) == AlarmState.NORMAL
    released = Entry(detail={"released_us": 25})
    assert state_of(released, [], 24) == AlarmState.SUPPRESSED_BY_DESIGN
    assert state_of(released, [], 25) == AlarmState.UNACKNOWLEDGED
    repaired = [Did(ActKind.OUT_OF_SERVICE, "a/b", 12), Did(ActKind.IN_SERVICE, "a/b", 30)]
    assert state_of(Entry(), repaired, 29) == AlarmState.OUT_OF_SERVICE
    assert state_of(Entry(), repaired, 30) == AlarmState.UNACKNOWLEDGED
    assert state_of(Entry(), repaired[::-1], 30) == AlarmState.UNACKNOWLEDGED  # any order


@given(st.lists(st.tuples(st.sampled_from(list(Sign)), st.integers(1, 30)), max_size=40))
def test_whatever_happens_an_alarm_owes_an_acknowledgement_only_while_people_can_see_it(several):
    standing, at_us = QUIET, 0
    for sign, passed in several:
        at_us += passed
        standing = step(standing, Happening(at_us, sign, at_us + 20 if sign is Sign.SHELVE else None))
        assert not (standing.owed and standing.hidden)
        assert standing.state in AlarmState
        assert step(standing, Happening(at_us, Sign.TIME_PASSES)) == standing  # nothing changes by looking again


@given(st.lists(st.sampled_from([20.0, 24.5, 26.0, math.nan]), max_size=60), st.integers(0, 60))
def test_it_goes_on_from_any_state_it_was_left_in(values, cut):
    def run(watched, rows):
        for at, value in rows:
            watched = follow(watched, Sample(at * MINUTE, value, high=HIGH), RULE)
        return watched

    rows = list(enumerate(values))
    assert run(run(Watched(), rows[:cut]), rows[cut:]) == run(Watched(), rows)
