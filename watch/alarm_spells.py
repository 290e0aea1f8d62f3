"""From the times that a condition was abnormal to its alarms: delays, chattering, and what each says."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

from analytics.alarm_damping import Spell, damped, lasting
from store.alarm_entries import AlarmEntry
from watch.alarm_rules import Rule


class Abnormal(Protocol):
    """One time that a condition was abnormal: an excursion of a band, or of a limit."""

    @property
    def onset_us(self) -> int:
        """The first reading outside."""

    @property
    def end_us(self) -> int | None:
        """The first reading back for good; None while it lasts."""

    @property
    def last_us(self) -> int:
        """The newest reading that took part."""

    @property
    def extreme(self) -> float:
        """The value furthest outside."""

    @property
    def extreme_us(self) -> int:
        """When that was."""

    @property
    def limit(self) -> float:
        """The limit that held then."""


Tell = Callable[[Sequence[Any], Any, int], dict[str, Any]]  # all it holds, the worst of them, how often -> detail
Delays = Callable[[int], tuple[int, int]]  # an onset -> the on-delay and off-delay that have passed already


def alarms_of(
    farm: str,
    condition: str,
    rule: Rule,
    several: Sequence[Abnormal],
    newest_us: int,
    tell: Tell,
    passed: Delays,
    earlier_us: Sequence[int] = (),
) -> list[AlarmEntry]:
    """Return the alarms that a condition's abnormal times make, in order.

    ``passed`` gives the delays that made each abnormal time; the rule's own delays are longer, or count for nothing.
    ``newest_us`` is up to when readings have come. ``earlier_us`` are the onsets of the alarms that were over before
    the first abnormal time: with them it is told what chatters.
    """
    if rule.off:
        return []
    spells = lasting([Spell(one.onset_us, one.end_us) for one in several], rule.on_delay_us, newest_us)
    onsets = {spell.onset_us for spell in spells}
    counted = [one for one in several if one.onset_us in onsets]
    entries, place = [], 0
    for spell in damped(spells, rule.off_delay_us, newest_us, earlier_us):
        held = counted[place : place + spell.times]
        place += spell.times
        on_us, off_us = passed(spell.onset_us)
        returned_us = spell.end_us
        if returned_us is not None and rule.off_delay_us < off_us and spell.end_us == held[-1].end_us:
            returned_us += off_us
        worst = max(held, key=lambda one: abs(one.extreme - one.limit))
        alarm_us = spell.onset_us + max(on_us, rule.on_delay_us)
        entries.append(
            AlarmEntry(
                farm, condition, spell.onset_us, alarm_us,
                None if returned_us is None else max(returned_us, alarm_us + 1),
                rule.priority, "", detail=tell(held, worst, spell.times),
            )
        )  # fmt: skip
    return entries
