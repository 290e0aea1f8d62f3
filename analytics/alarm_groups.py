"""Which alarms share a cause, which follow from another and are none by design, and which come in a flood.

ISA-18.2 calls it suppression by design: what follows from an alarm's cause needs nobody of its own while the cause is
an alarm. What follows from what is common practice, no source; the times are our choice, no source.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from farm.alarm_words import AlarmKind
from farm.causes import COLD, DRY, HOT, HUMID

MINUTE_US = 60_000_000
SETTLE_US = 30 * MINUTE_US  # after a cause is over: what still lasts then is an alarm of its own
JOIN_US = 120 * MINUTE_US  # what is alike and begins no later after the first than this shares its cause
STORY_US = 24 * 60 * MINUTE_US  # a cause that was told so short a time ago is no news
SAME_MOMENT_US = 10 * MINUTE_US  # sensors of one place that fall silent together
FLOOD = 10  # alarms in ten minutes, beyond which it is a flood, and ...
FLOOD_OVER = 5  # ... below which it is over: ISA-18.2 (seen in secondary copies)
FLOOD_WITHIN_US = 10 * MINUTE_US

WET = ("condensation_margin low", "surface_relative_humidity high", "mould_index high")
DIM = ("ppfd low", "lamp_output low", "photoperiod low", "daily_light_integral low")
PRESSURES = ("line_pressure_after_filter low", "line_pressure_before_filter low", "line_pressure_before_filter high")
EMPTIED = ("solution_level low", "solution_volume low")
STALE_AIR = ("co2_mole_fraction low",)
ALWAYS_TOLD = (AlarmKind.CO2_DANGER, AlarmKind.MAINS_LOST)
OF_CAUSE = {  # what tells a cause itself, whatever findings make of it
    "mains_lost": (AlarmKind.MAINS_LOST,),
    "link_cut": (AlarmKind.NO_DATA,),
    "pump_off": (AlarmKind.NO_WATER,),
    "sensor_stuck": (AlarmKind.SENSOR_FAULT,),
    "sensor_offset": (AlarmKind.SENSOR_FAULT,),
}
PASSING = (AlarmKind.FINDING, AlarmKind.CHANGE)  # of what is over by then, though the alarm may last
WHOLE = (AlarmKind.MAINS_LOST, AlarmKind.NO_DATA, AlarmKind.DOOR_OPEN)  # what they bring may show after their end


@dataclass(frozen=True, slots=True)
class Occurrence:
    """One alarm as far as grouping looks at it.

    ``rank`` is 0 for the most urgent. ``symptom`` is quantity and side, as in ``air_temperature high``; ``air`` names
    the air that several zones share, else the zone; ``cause`` the likeliest cause, where one is found, ``possible`` all
    that may well be it. Times are in microseconds since 1970 UTC.
    """

    condition: str
    kind: AlarmKind
    onset_us: int
    alarm_us: int
    returned_us: int | None
    rank: int
    zone: str = ""
    air: str = ""
    symptom: str = ""
    cause: str = ""
    possible: frozenset[str] = frozenset()

    @property
    def key(self) -> tuple[str, int]:
        """What tells it from every other."""
        return self.condition, self.onset_us

    def lasts_at(self, at_us: int, after_us: int = 0) -> bool:
        """Return whether it lasts at an instant after its onset, or was over no longer than so long before it."""
        return self.returned_us is None or at_us < self.returned_us + after_us


class Planned(NamedTuple):
    """Work that was planned: what it reaches is no alarm from ``start_us`` until ``end_us``."""

    name: str
    start_us: int
    end_us: int
    conditions: frozenset[str]


class Arrangement(NamedTuple):
    """An alarm's group, what suppresses it by design, and when it is released from that while it lasts."""

    group: str
    suppressed_by: str | None = None
    released_us: int | None = None


def arranged(
    occurrences: Iterable[Occurrence],
    planned: Sequence[Planned] = (),
    fixed: Mapping[tuple[str, int], Arrangement] | None = None,
) -> dict[tuple[str, int], Arrangement]:
    """Return each alarm's group and what suppresses it.

    Parameters
    ----------
    occurrences : iterable of Occurrence
        Alarms of one farm in any order: those to arrange, and those that may be their causes.
    planned : sequence of Planned
        Planned work.
    fixed : mapping, optional
        Arrangements that stand already, by the alarm's ``key``; the others are worked out.

    Returns
    -------
    arrangements : dict
        By the alarm's ``key``; the same for the same alarms in any order.

    Notes
    -----
    An alarm is suppressed only by one that is at least as urgent, and only while that is an alarm: what lasts half an
    hour longer is released. A less urgent cause makes a group and suppresses nothing.
    """
    fixed = fixed or {}
    found: dict[tuple[str, int], Arrangement] = {}
    causes: list[Occurrence] = []
    told: list[Occurrence] = []
    for one in sorted(occurrences, key=lambda one: (one.alarm_us, one.rank, one.condition)):
        arrangement = fixed.get(one.key) or _arrangement(one, causes, planned, found)
        found[one.key] = arrangement
        if arrangement.suppressed_by is None or arrangement.released_us is not None:
            causes.append(one)
            told.append(one)
    return found | _floods(told, found, fixed)


def _arrangement(
    one: Occurrence,
    causes: Sequence[Occurrence],
    planned: Sequence[Planned],
    found: Mapping[tuple[str, int], Arrangement],
) -> Arrangement:
    own = f"{one.condition}@{one.onset_us}"
    if one.kind not in ALWAYS_TOLD:
        for work in planned:
            if one.condition in work.conditions and work.start_us <= one.alarm_us < work.end_us + SETTLE_US:
                return _suppressed(one, f"planned_work/{work.name}", own, work.end_us)
    group = own
    for cause in causes:
        if not _shares(cause, one):
            continue
        if group == own:
            group = found[cause.key].group
        if cause.rank <= one.rank and _follows(cause, one):
            return _suppressed(one, cause.condition, group, cause.returned_us)
    return Arrangement(group)


def _suppressed(one: Occurrence, by: str, group: str, until_us: int | None) -> Arrangement:
    if until_us is not None and one.kind not in PASSING:
        released_us = max(until_us + SETTLE_US, one.alarm_us)
        if one.returned_us is None or one.returned_us > released_us:
            return Arrangement(group, None, released_us)
    return Arrangement(group, by)


def _shares(cause: Occurrence, one: Occurrence) -> bool:
    """Return whether an alarm shares its cause with an earlier one."""
    if cause.condition == one.condition:
        return False
    if cause.lasts_at(one.onset_us) and (
        (bool(one.cause) and one.cause == cause.cause)
        or (one.zone == cause.zone and len(one.symptom) > 0 and one.symptom == cause.symptom)
    ):
        return True
    return _follows(cause, one)


def _follows(cause: Occurrence, one: Occurrence) -> bool:
    """Return whether an alarm follows from an earlier one, or tells the same once more."""
    if one.kind is AlarmKind.FINDING and (one.cause in cause.possible or cause.kind in OF_CAUSE.get(one.cause, ())):
        return cause.lasts_at(one.onset_us, STORY_US)
    settles = cause.kind in WHOLE or (cause.kind is AlarmKind.CHANGE and one.kind is AlarmKind.CHANGE)
    at_us, after_us = (one.alarm_us, SETTLE_US) if settles else (one.onset_us, 0)
    if not cause.lasts_at(at_us, after_us):
        return False
    match cause.kind:
        case AlarmKind.MAINS_LOST:
            return one.kind not in (*ALWAYS_TOLD, AlarmKind.NO_DATA)
        case AlarmKind.NO_DATA:
            return one.kind is AlarmKind.SILENCE
        case AlarmKind.CO2_DANGER:
            return one.air == cause.air and (
                one.kind is AlarmKind.CO2_DANGER or one.symptom == "co2_mole_fraction high" or "co2" in one.cause
            )
        case AlarmKind.SILENCE:
            same_moment = abs(one.onset_us - cause.onset_us) <= SAME_MOMENT_US
            return one.kind is AlarmKind.SILENCE and one.zone == cause.zone and same_moment
        case AlarmKind.DOOR_OPEN:
            return one.air == cause.air and one.symptom in (*HUMID, *DRY, *HOT, *COLD, *STALE_AIR)
        case AlarmKind.OUT_OF_BAND | AlarmKind.CHANGE:
            return _follows_symptom(cause, one)
    return False


def _follows_symptom(cause: Occurrence, one: Occurrence) -> bool:
    if one.zone == cause.zone and (cause.kind is AlarmKind.CHANGE or one.kind is AlarmKind.CHANGE):
        emptied = cause.kind is AlarmKind.CHANGE and cause.symptom in EMPTIED  # probes stand dry, and the tank is empty
        if emptied and one.kind in (AlarmKind.CHANGE, AlarmKind.RUNNING_OUT):
            return True
        # There and back again, or on the way back into its band.
        return one.kind is AlarmKind.CHANGE and one.symptom.split()[0] == cause.symptom.split()[0]
    if one.kind is not AlarmKind.OUT_OF_BAND or cause.kind is not AlarmKind.OUT_OF_BAND:
        return False
    if cause.symptom in DIM:  # dark lamps give no warmth
        return one.zone == cause.zone and one.symptom in (*DIM, *COLD)
    if cause.symptom == "flow_rate low":
        return one.zone == cause.zone and one.symptom in PRESSURES
    if one.air != cause.air or one.onset_us - cause.onset_us > JOIN_US:
        return False
    if cause.symptom in HOT:
        return one.symptom in (*HOT, *DRY, *HUMID)
    if cause.symptom in COLD:
        return one.symptom in (*COLD, *HUMID)
    if cause.symptom in HUMID:
        return one.symptom in (*HUMID, *WET)
    if cause.symptom in DRY:
        return one.symptom in DRY
    return one.symptom == cause.symptom  # the same in another zone of this air


def _floods(
    told: Sequence[Occurrence],
    found: Mapping[tuple[str, int], Arrangement],
    fixed: Mapping[tuple[str, int], Arrangement],
) -> dict[tuple[str, int], Arrangement]:
    """Return the arrangements of what comes in a flood: one group, the two most urgent ranks aside."""
    changed: dict[tuple[str, int], Arrangement] = {}
    recent: deque[Occurrence] = deque()
    name = ""
    for one in told:
        recent.append(one)
        while recent[0].alarm_us <= one.alarm_us - FLOOD_WITHIN_US:
            recent.popleft()
        if len(recent) > FLOOD and not name:
            name = f"flood@{recent[0].alarm_us}"
        elif len(recent) < FLOOD_OVER:
            name = ""
        if name:
            for member in recent:
                if member.rank >= 2 and member.key not in fixed:
                    changed[member.key] = found[member.key]._replace(group=name)
    return changed
