"""Alarms that come and go: delays of their own, and chattering damped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

MINUTE_US = 60_000_000
# Our choices, no source. ISA-18.2 speaks of three alarms in one minute (from memory); farms report once a minute, so:
CHATTERING = 3  # alarms of one condition ...
CHATTERING_WITHIN_US = 60 * MINUTE_US  # ... begun within so long are chattering; from the last of them on ...
QUIET_US = 60 * MINUTE_US  # ... it must be quiet for so long before the alarm returns


@dataclass(frozen=True, slots=True)
class Spell:
    """One time that a condition was abnormal: from its onset until its end, None while it lasts.

    ``times`` counts the spells that were damped into one. Times are in microseconds since 1970 UTC.
    """

    onset_us: int
    end_us: int | None
    times: int = 1


def lasting(spells: Iterable[Spell], on_delay_us: int, until_us: int) -> list[Spell]:
    """Return the spells that last their on-delay.

    Parameters
    ----------
    spells : iterable of Spell
        In order of time.
    on_delay_us : int
        How long one must last to be an alarm. [µs]
    until_us : int
        Up to when readings have come: how long one that lasts has lasted. [µs since 1970 UTC]

    Returns
    -------
    spells : list of Spell
    """
    return [one for one in spells if (until_us if one.end_us is None else one.end_us) - one.onset_us >= on_delay_us]


def damped(spells: Sequence[Spell], off_delay_us: int, until_us: int, earlier_us: Sequence[int] = ()) -> list[Spell]:
    """Return spells with their off-delay, and those that chatter as one.

    Parameters
    ----------
    spells : sequence of Spell
        In order of time, none overlapping another.
    off_delay_us : int
        How long the condition must be normal before its alarm returns: another spell within it belongs to the same
        alarm. [µs]
    until_us : int
        Up to when readings have come: by then it has been normal for so long, and no longer. [µs since 1970 UTC]
    earlier_us : sequence of int
        The onsets of alarms that were over before the first spell, in order: they count for what chatters.
        [µs since 1970 UTC]

    Returns
    -------
    spells : list of Spell
        Their ends are those of the off-delay; None where that is not over yet.

    Notes
    -----
    Chattering is recognised from the third alarm begun within an hour: from then on it must be quiet for an hour
    before it returns. So the first two are told as they come, and what follows is one alarm.

    Examples
    --------
    >>> minute = 60_000_000
    >>> several = [Spell(n * 10 * minute, (n * 10 + 2) * minute) for n in range(5)]
    >>> [(one.onset_us // minute, one.times) for one in damped(several, 0, 300 * minute)]
    [(0, 1), (10, 1), (20, 3)]
    """
    found: list[Spell] = []
    onsets_us = list(earlier_us)[-CHATTERING:]
    before = len(onsets_us)
    for spell in spells:
        if found:
            last = found[-1]
            hold_us = _hold_us(onsets_us, off_delay_us)
            if last.end_us is not None and spell.onset_us - last.end_us <= hold_us:
                found[-1] = replace(last, end_us=spell.end_us, times=last.times + 1)
                continue
        found.append(spell)
        onsets_us.append(spell.onset_us)
    told = []
    for place, spell in enumerate(found):
        end_us = spell.end_us
        if end_us is not None:
            end_us += _hold_us(onsets_us[max(0, before + place + 1 - CHATTERING) : before + place + 1], off_delay_us)
        told.append(replace(spell, end_us=end_us if end_us is not None and end_us <= until_us else None))
    return told


def _hold_us(onsets_us: Sequence[int], off_delay_us: int) -> int:
    """Return for how long it must be normal after the last of some alarms."""
    recent = onsets_us[-CHATTERING:]
    chatters = len(recent) == CHATTERING and recent[-1] - recent[0] <= CHATTERING_WITHIN_US
    return max(off_delay_us, QUIET_US) if chatters else off_delay_us
