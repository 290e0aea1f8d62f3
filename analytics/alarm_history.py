"""How an alarm stands at an instant, from its entry in the journal and what people did about it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, Protocol

from analytics.alarms import QUIET, Happening, Sign, Standing, step
from farm.alarm_words import ActKind, AlarmState


class Alarm(Protocol):
    """What is to be known of an alarm."""

    @property
    def identity(self) -> str:
        """Its short name."""

    @property
    def condition(self) -> str:
        """What is watched."""

    @property
    def alarm_us(self) -> int:
        """When it became an alarm."""

    @property
    def returned_us(self) -> int | None:
        """When it was back to normal; None while it lasts."""

    @property
    def suppressed_by(self) -> str | None:
        """What makes it no alarm by design."""

    @property
    def detail(self) -> Mapping[str, Any]:
        """``was`` and ``released_us`` are looked at."""


class Act(Protocol):
    """What is to be known of a person's act."""

    @property
    def kind(self) -> ActKind:
        """What was done."""

    @property
    def about(self) -> str:
        """An alarm's identity for acknowledgements, else a condition."""

    @property
    def at_us(self) -> int:
        """When."""

    @property
    def until_us(self) -> int | None:
        """The end of shelving."""


def standing_of(entry: Alarm, acts: Iterable[Act], now_us: int) -> Standing:
    """Return how an alarm stands at an instant, after what people did.

    Parameters
    ----------
    entry : Alarm
        One alarm, as the journal holds it.
    acts : iterable of Act
        Acts in any order; those about other alarms and conditions are passed over.
    now_us : int
        The instant. [µs since 1970 UTC]

    Returns
    -------
    standing : Standing
    """
    released_us = entry.detail.get("released_us")
    happenings = [Happening(entry.alarm_us, Sign.ALARM)]
    if entry.suppressed_by is not None or released_us is not None:
        happenings.insert(0, Happening(entry.alarm_us, Sign.SUPPRESS))
    if entry.suppressed_by is None and released_us is not None:
        happenings.append(Happening(int(released_us), Sign.RELEASE))
    names = {entry.identity, *entry.detail.get("was", ())}
    for act in acts:
        if act.kind is ActKind.ACKNOWLEDGE and act.about in names:
            happenings.append(Happening(max(act.at_us, entry.alarm_us), Sign.ACKNOWLEDGE))
        elif act.kind is not ActKind.ACKNOWLEDGE and act.about == entry.condition:
            happenings.append(Happening(act.at_us, Sign(act.kind), act.until_us))
    if entry.returned_us is not None:
        happenings.append(Happening(entry.returned_us, Sign.RETURN))
    standing = QUIET
    for happening in sorted((one for one in happenings if one.at_us <= now_us), key=lambda one: one.at_us):
        standing = step(standing, happening)
    return step(standing, Happening(now_us, Sign.TIME_PASSES))


def state_of(entry: Alarm, acts: Iterable[Act], now_us: int) -> AlarmState:
    """Return the state of one alarm at an instant, given as to `standing_of`.

    An alarm that is over is normal, or returned and unacknowledged: what keeps its condition from people now no longer
    concerns it.
    """
    standing = standing_of(entry, acts, now_us)
    if standing.active:
        return standing.state
    return AlarmState.RETURNED_UNACKNOWLEDGED if standing.owed else AlarmState.NORMAL
