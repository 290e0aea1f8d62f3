"""What needs a person, as far as alarms tell it: each thing once, and nothing that a person has put away."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from farm.alarm_words import AlarmKind, AlarmState, Priority
from farm.description import Farm
from farm.readings import Series
from store.alarm_entries import AlarmEntry
from store.entries import ExcursionEntry
from watch.alarm_acts import Standing
from watch.alarm_book import named
from watch.alarm_texts import sentence
from watch.first_checks import LEADS_FROM, likely
from watch.outlook import Need, Urgency
from watch.telling import spoken_duration

SHOWN = (AlarmState.UNACKNOWLEDGED, AlarmState.ACKNOWLEDGED)
URGENCIES = {
    Priority.HIGHEST: Urgency.NOW,
    Priority.HIGH: Urgency.NOW,
    Priority.MEDIUM: Urgency.TODAY,
    Priority.LOW: Urgency.WHEN_CONVENIENT,
}
# Told by sentences of their own, which know the newest reading too.
TOLD_OTHERWISE = (AlarmKind.OUT_OF_BAND, AlarmKind.CO2_DANGER)


class OfAlarm(NamedTuple):
    """The alarm beside a need: its name, state and urgency, and what it says of cause and first step."""

    identity: str
    state: AlarmState
    urgency: Urgency
    leads: str  # empty where no cause is likely enough
    caution: str
    finding: str | None


def of_alarm(one: AlarmEntry, state: AlarmState) -> OfAlarm:
    """Return what an alarm adds to a need."""
    leads, caution = _leads(one.detail), str(one.detail.get("caution") or "")
    return OfAlarm(one.identity, state, URGENCIES[one.priority], leads, caution, one.detail.get("finding"))


def needs_of_alarms(farm: Farm, standing: Iterable[Standing], now_us: int) -> list[Need]:
    """Return a need for each alarm that people are to see and no other sentence tells."""
    found = []
    for one, state in standing:
        if state not in SHOWN or named(one.condition).kind in TOLD_OTHERWISE:
            continue
        detail = one.detail
        series = (Series.parse(farm.name, detail["series"]),) if detail.get("series") else ()
        step = _leads(detail) or str(detail.get("first_step") or "")
        found.append(
            Need(
                urgency=URGENCIES[one.priority],
                sentence=f"{sentence(detail)} For {spoken_duration(now_us - one.onset_us)}. {step}".rstrip(),
                since_us=one.onset_us,
                zone=detail.get("zone") or None,
                series=series,
                caution=detail.get("caution") or None,
                alarm=one.identity,
                state=state,
                finding=detail.get("finding"),
            )
        )
    return found


def excursions_to_tell(
    open_ones: Sequence[ExcursionEntry], standing: Sequence[Standing]
) -> list[tuple[ExcursionEntry, OfAlarm | None]]:
    """Return the excursions to tell, each with its alarm: none that follow from another, or were put away.

    The same in another place, which follows from an alarm that is told, is told with it.
    """
    alarms = {one.entry.detail["excursion"]: one for one in standing if one.entry.detail.get("excursion")}
    shown = {one.entry.condition: one for one in alarms.values() if one.state in SHOWN}
    found: list[tuple[ExcursionEntry, OfAlarm | None]] = []
    for excursion in open_ones:
        alarm = alarms.get(excursion.identity)
        if alarm is not None and alarm.state is AlarmState.SUPPRESSED_BY_DESIGN:
            alarm = shown.get(alarm.entry.suppressed_by or "")
            if alarm is None or _symptom(alarm.entry.condition) != (excursion.series.quantity, str(excursion.side)):
                continue
        elif alarm is not None and alarm.state not in SHOWN:
            continue
        found.append((excursion, None if alarm is None else of_alarm(alarm.entry, alarm.state)))
    return found


def told_silent(standing: Iterable[Standing]) -> tuple[bool, set[str]]:
    """Return whether all that is silent is told as one, and the keys of the series whose silence alarms tell."""
    kinds = [(named(one.entry.condition), one) for one in standing if one.entry.returned_us is None]
    whole = any(name.kind is AlarmKind.NO_DATA for name, _ in kinds)
    return whole, {str(one.entry.detail.get("series")) for name, one in kinds if name.kind is AlarmKind.SILENCE}


def danger_told(standing: Iterable[Standing]) -> dict[str, OfAlarm]:
    """Return the alarms of dangerous CO2 that stand, by zone."""
    found: dict[str, OfAlarm] = {}
    for one, state in standing:
        name = named(one.condition)
        if name.kind is AlarmKind.CO2_DANGER and state in SHOWN:
            found.setdefault(name.zone, of_alarm(one, state))
    return found


def _leads(detail: Mapping[str, Any]) -> str:
    """Return the likely cause and what to look at first; empty where none is likely enough to lead."""
    causes = detail.get("likely") or []
    if not causes or causes[0]["probability"] < LEADS_FROM:
        return ""
    of_a_finding = detail.get("kind") == str(AlarmKind.FINDING)  # its sentence names the cause already
    cause = "" if of_a_finding else likely(causes)
    return f"{cause} {detail.get('first_step') or ''}".strip()


def _symptom(condition: str) -> tuple[str, str]:
    name = named(condition)
    return name.quantity, name.side
