"""Off-delays that join, and chattering that is damped; minutes in, minutes out."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.alarm_damping import Spell, damped, lasting

MINUTE = 60_000_000


def spells(text):
    """``3-5 8-`` are spells from minute 3 to 5, and from 8 on."""
    parts = [word.split("-") for word in text.split()]
    return [Spell(int(begin) * MINUTE, int(end) * MINUTE if end else None) for begin, end in parts]


def shown(found):
    def end(one):
        return "" if one.end_us is None else one.end_us // MINUTE

    return " ".join(
        f"{one.onset_us // MINUTE}-{end(one)}" + (f"x{one.times}" if one.times > 1 else "") for one in found
    )


@pytest.mark.parametrize(
    ("text", "off_delay", "until", "expected"),
    [
        ("3-5", 0, 100, "3-5"),
        ("3-5", 10, 100, "3-15"),
        ("3-5", 10, 14, "3-"),  # normal for 9 minutes only
        ("3-", 10, 100, "3-"),
        ("3-5 12-14", 10, 100, "3-24x2"),
        ("3-5 16-18", 10, 100, "3-15 16-28"),
        # The third within an hour: from then on quiet for an hour, or it is the same alarm.
        ("0-2 20-22 40-42", 0, 300, "0-2 20-22 40-102"),
        ("0-2 20-22 40-42 60-62 110-112", 0, 300, "0-2 20-22 40-172x3"),
        ("0-2 20-22 40-42 60-62", 0, 100, "0-2 20-22 40-x2"),
        ("0-2 20-22 40-42 103-104", 0, 300, "0-2 20-22 40-102 103-104"),
        # Three in more than an hour do not chatter.
        ("0-2 31-32 62-63 70-71", 0, 300, "0-2 31-32 62-63 70-131"),
    ],
)
def test_table(text, off_delay, until, expected):
    assert shown(damped(spells(text), off_delay * MINUTE, until * MINUTE)) == expected


def test_what_does_not_last_its_on_delay_is_no_alarm():
    assert shown(lasting(spells("0-4 10-15 20-"), 5 * MINUTE, 24 * MINUTE)) == "10-15"
    assert shown(lasting(spells("0-4 10-15 20-"), 5 * MINUTE, 25 * MINUTE)) == "10-15 20-"


@given(st.lists(st.tuples(st.integers(1, 90), st.integers(1, 30)), max_size=20), st.integers(0, 15))
def test_no_spell_is_lost_and_none_overlap(gaps, off_delay):
    at, several = 0, []
    for pause, length in gaps:
        several.append(Spell((at + pause) * MINUTE, (at + pause + length) * MINUTE))
        at += pause + length
    found = damped(several, off_delay * MINUTE, (at + 500) * MINUTE)
    assert sum(one.times for one in found) == len(several)
    for one, other in pairwise(found):
        assert one.end_us <= other.onset_us
