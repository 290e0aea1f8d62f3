"""The states of an alarm in the words of IEC 62682 / ISA-18.2, as a state machine over event time.

The machine knows no clock: time passes only with what happens. Given the same happenings in order of time it always
comes to the same state, and it can go on from any state it was left in.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from enum import StrEnum

from analytics.excursions import INSIDE, Rule, State
from analytics.excursions import step as excursion_step
from farm.alarm_words import AlarmState


class Sign(StrEnum):
    """What can happen to an alarm."""

    SUPPRESS = "suppress"  # by design: its cause is an alarm, or work is planned
    RELEASE = "release"  # from suppression by design
    ALARM = "alarm"  # the condition has lasted its on-delay
    RETURN = "return"  # it has been back to normal for its off-delay
    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"
    TIME_PASSES = "time_passes"


@dataclass(frozen=True, slots=True)
class Happening:
    """One thing that happens to an alarm at an instant; shelving has its end, ``until_us``."""

    at_us: int
    sign: Sign
    until_us: int | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """What the machine remembers of an alarm.

    Whether the condition is an alarm, whether an acknowledgement is owed for it, and what keeps it from people.
    """

    active: bool = False
    owed: bool = False
    shelved_until_us: int | None = None
    suppressed: bool = False
    out_of_service: bool = False

    @property
    def hidden(self) -> bool:
        """Whether something keeps the alarm from people."""
        return self.shelved_until_us is not None or self.suppressed or self.out_of_service

    @property
    def state(self) -> AlarmState:
        """The state in ISA-18.2's terms."""
        if self.out_of_service:
            return AlarmState.OUT_OF_SERVICE
        if self.suppressed:
            return AlarmState.SUPPRESSED_BY_DESIGN
        if self.shelved_until_us is not None:
            return AlarmState.SHELVED
        if self.active:
            return AlarmState.UNACKNOWLEDGED if self.owed else AlarmState.ACKNOWLEDGED
        return AlarmState.RETURNED_UNACKNOWLEDGED if self.owed else AlarmState.NORMAL


QUIET = Standing()


def step(standing: Standing, happening: Happening) -> Standing:
    """Return the standing after one more happening.

    Parameters
    ----------
    standing : Standing
        The standing after the happening before; ``QUIET`` at the beginning.
    happening : Happening
        Not earlier than the one before.

    Returns
    -------
    standing : Standing
        The new standing. An alarm that comes out of shelving, suppression or repair while its condition
        lasts is unacknowledged again; one whose condition is over by then is normal.

    Notes
    -----
    The transitions are those of the alarm state transition diagram of ISA-18.2 and IEC 62682 (from memory), without
    latching.

    Examples
    --------
    >>> raised = step(QUIET, Happening(0, Sign.ALARM))
    >>> str(raised.state), str(step(raised, Happening(5, Sign.RETURN)).state)
    ('unacknowledged', 'returned_unacknowledged')
    """
    until_us = standing.shelved_until_us
    if until_us is not None and happening.at_us >= until_us:
        standing = _shown(standing, replace(standing, shelved_until_us=None))
    match happening.sign:
        case Sign.ALARM:
            owed = standing.owed if standing.active else not standing.hidden
            return replace(standing, active=True, owed=owed)
        case Sign.RETURN:
            return replace(standing, active=False)
        case Sign.ACKNOWLEDGE:
            return replace(standing, owed=False)
        case Sign.SHELVE if happening.until_us is not None and happening.until_us > happening.at_us:
            return replace(standing, shelved_until_us=happening.until_us, owed=False)
        case Sign.SUPPRESS:
            return replace(standing, suppressed=True, owed=False)
        case Sign.OUT_OF_SERVICE:
            return replace(standing, out_of_service=True, owed=False)
        case Sign.UNSHELVE:
            return _shown(standing, replace(standing, shelved_until_us=None))
        case Sign.RELEASE:
            return _shown(standing, replace(standing, suppressed=False))
        case Sign.IN_SERVICE:
            return _shown(standing, replace(standing, out_of_service=False))
    return standing


def _shown(before: Standing, after: Standing) -> Standing:
    """Return a standing as it comes before people again, if it does."""
    return replace(after, owed=after.active) if before.hidden and not after.hidden else after


@dataclass(frozen=True, slots=True)
class Sample:
    """One reading with the limits that hold at its time; NaN is no data."""

    at_us: int
    value: float
    low: float = -math.inf
    high: float = math.inf


@dataclass(frozen=True, slots=True)
class Watched:
    """One condition under watch: where its readings stand against their limits, and where its alarm stands."""

    process: State = INSIDE
    standing: Standing = QUIET


def follow(watched: Watched, sample: Sample, rule: Rule) -> Watched:
    """Return a condition after one more reading.

    Parameters
    ----------
    watched : Watched
        The condition after the reading or act before; ``Watched()`` at the beginning.
    sample : Sample
        Later than the reading before. No data changes nothing: it closes no alarm.
    rule : Rule
        On-delay, off-delay, deadband, and the longest gap between two readings that says something.

    Returns
    -------
    watched : Watched

    Examples
    --------
    >>> rule = Rule(on_delay_us=0, off_delay_us=0, deadband=0.5, max_gap_us=10)
    >>> str(follow(Watched(), Sample(0, 26.0, high=25.0), rule).standing.state)
    'unacknowledged'
    """
    process, ended = excursion_step(watched.process, sample.at_us, sample.value, sample.low, sample.high, rule)
    standing = step(watched.standing, Happening(sample.at_us, Sign.TIME_PASSES))
    if ended is not None:
        standing = step(standing, Happening(sample.at_us, Sign.RETURN))
    if process.open_excursion is not None:
        standing = step(standing, Happening(sample.at_us, Sign.ALARM))
    return Watched(process, standing)
