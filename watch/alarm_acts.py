"""What people may do about alarms, and the alarms that stand with their states."""

from __future__ import annotations

from typing import NamedTuple

from analytics.alarm_history import state_of
from farm.alarm_words import AlarmKind, AlarmState, Priority
from farm.readings import MICROSECONDS_PER_SECOND
from store.alarm_entries import ActKind, AlarmAct, AlarmEntry
from store.journal import Journal
from watch.alarm_book import named

DAY_US = 86_400 * MICROSECONDS_PER_SECOND
MOST_SHELVED_US = 7 * DAY_US  # a longer silence is work out of service; our choice, no source
ALWAYS_TOLD = (AlarmKind.CO2_DANGER,)
WITH_REASON = (ActKind.SHELVE, ActKind.OUT_OF_SERVICE)

_PRIORITIES = list(Priority)
_STATES = (
    AlarmState.UNACKNOWLEDGED,
    AlarmState.ACKNOWLEDGED,
    AlarmState.RETURNED_UNACKNOWLEDGED,
    AlarmState.SHELVED,
    AlarmState.OUT_OF_SERVICE,
    AlarmState.SUPPRESSED_BY_DESIGN,
    AlarmState.NORMAL,
)


class NotAllowed(ValueError):
    """A person may not do that; the message says why and what they can do."""


class Standing(NamedTuple):
    """An alarm with the state it is in."""

    entry: AlarmEntry
    state: AlarmState


def act_on(entry: AlarmEntry, kind: ActKind, who: str, why: str, until_us: int | None, now_us: int) -> AlarmAct:
    """Return what a person does about an alarm, or about its condition.

    Raises
    ------
    NotAllowed
        If something is missing, or this alarm does not allow it.
    """
    who, why = who.strip(), why.strip()
    if not who:
        raise NotAllowed("Say who does it.")
    if kind in WITH_REASON and named(entry.condition).kind in ALWAYS_TOLD:
        raise NotAllowed(
            "An alarm of dangerous CO2 can be acknowledged, and neither shelved nor taken out of service: people's "
            "safety hangs on it. If the sensor is broken, mend or replace it."
        )
    if kind in WITH_REASON and not why:
        raise NotAllowed("Give the reason: the next person has to know.")
    if kind is ActKind.SHELVE:
        if until_us is None:
            raise NotAllowed("Give the end of shelving: it ends by itself.")
        if not now_us < until_us <= now_us + MOST_SHELVED_US:
            raise NotAllowed("Shelving ends later than now and within 7 days; for longer, take it out of service.")
    about = entry.identity if kind is ActKind.ACKNOWLEDGE else entry.condition
    return AlarmAct(entry.farm, kind, about, now_us, who, why, until_us if kind is ActKind.SHELVE else None)


def standing_alarms(journal: Journal, farm: str, now_us: int) -> list[Standing]:
    """Return every alarm that is not normal, those that need a person first: by state, priority and age."""
    entries = journal.alarms.standing(farm)
    acts = journal.alarms.acts_about_each(entries)
    found = [Standing(one, state_of(one, acts[one.identity], now_us)) for one in entries]
    return sorted(
        (one for one in found if one.state is not AlarmState.NORMAL),
        key=lambda one: (_STATES.index(one.state), _PRIORITIES.index(one.entry.priority), one.entry.alarm_us),
    )
