"""How an alarm system performs, by the figures of ISA-18.2: rates, floods, what chatters, stands or comes too often.

The benchmarks are ISA-18.2's for one person, as seen in secondary copies; a small farm should lie far below them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.alarm_groups import FLOOD, FLOOD_OVER, FLOOD_WITHIN_US

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US
STALE_US = DAY_US  # an alarm that stands longer is stale: ISA-18.2 (seen in secondary copies)
TOP = 10

# ISA-18.2, seen in secondary copies: alarms a day and an hour for one person, time in flood, shares by priority.
ACCEPTABLE_A_DAY, MANAGEABLE_A_DAY = 144, 288
ACCEPTABLE_AN_HOUR, MANAGEABLE_AN_HOUR = 6, 12
MOST_TIME_IN_FLOOD = 0.01
USUAL_SHARES = {"highest": 0.05, "high": 0.15, "rest": 0.80}


class Raised(NamedTuple):
    """One alarm that was told: when, until when (None while it lasts), what, and how urgent.

    ``times`` counts how often it came and went, where that was damped into one.
    """

    condition: str
    alarm_us: int
    returned_us: int | None
    priority: str
    times: int = 1


class Flood(NamedTuple):
    """A stretch with more alarms than one person can answer."""

    start_us: int
    end_us: int
    alarms: int


class Performance(NamedTuple):
    """The figures over a stretch of time; shares are of 1."""

    alarms: int
    per_day: float
    per_hour: float
    most_in_ten_minutes: int
    most_in_an_hour: int
    floods: tuple[Flood, ...]
    time_in_flood: float
    chattering: tuple[tuple[str, int], ...]
    stale: tuple[tuple[str, float], ...]
    most_frequent: tuple[tuple[str, int, float], ...]
    by_priority: dict[str, int]


def performance(raised: Sequence[Raised], start_us: int, end_us: int) -> Performance:
    """Return the figures of what was raised in ``[start_us, end_us)``.

    Parameters
    ----------
    raised : sequence of Raised
        Alarms in any order; those raised outside the range count only where they are stale at its end.
    start_us, end_us : int
        The range. [µs since 1970 UTC]

    Returns
    -------
    figures : Performance
        ``chattering`` names what was damped, with how often it came; ``stale`` what stood for longer than a day at
        the range's end, with its hours; ``most_frequent`` the ten that came most often, with their share.

    Raises
    ------
    ValueError
        If the range is empty.

    Examples
    --------
    >>> hour = 3_600_000_000
    >>> figures = performance([Raised("door", n * hour, n * hour + 1, "low") for n in range(12)], 0, 24 * hour)
    >>> figures.per_day, figures.most_in_an_hour
    (12.0, 1)
    """
    if end_us <= start_us:
        raise ValueError(f"the range from {start_us} to {end_us} is empty: give a start before its end")
    inside = sorted((one for one in raised if start_us <= one.alarm_us < end_us), key=lambda one: one.alarm_us)
    at_us = np.array([one.alarm_us for one in inside], np.int64)
    floods = floods_in(at_us, end_us)
    counts = Counter(one.condition for one in inside)
    chattering = Counter({one.condition: 0 for one in inside if one.times > 1})
    for one in inside:
        if one.condition in chattering:
            chattering[one.condition] += one.times
    stale = [
        (one.condition, (end_us - one.alarm_us) / HOUR_US)
        for one in raised
        if one.alarm_us <= end_us - STALE_US and (one.returned_us is None or one.returned_us > end_us)
    ]
    days = (end_us - start_us) / DAY_US
    return Performance(
        alarms=len(inside),
        per_day=len(inside) / days,
        per_hour=len(inside) / days / 24.0,
        most_in_ten_minutes=_most_within(at_us, FLOOD_WITHIN_US),
        most_in_an_hour=_most_within(at_us, HOUR_US),
        floods=tuple(floods),
        time_in_flood=sum(one.end_us - one.start_us for one in floods) / (end_us - start_us),
        chattering=tuple(sorted(chattering.items(), key=lambda pair: (-pair[1], pair[0]))),
        stale=tuple(sorted(stale, key=lambda pair: (-pair[1], pair[0]))),
        most_frequent=tuple(
            (name, count, count / len(inside))
            for name, count in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0]))[:TOP]
        ),
        by_priority=dict(Counter(one.priority for one in inside)),
    )


def floods_in(at_us: NDArray[np.int64], end_us: int) -> list[Flood]:
    """Return the floods in ascending times of alarms.

    Parameters
    ----------
    at_us : numpy.ndarray
        When alarms were raised, ascending. [µs since 1970 UTC]
    end_us : int
        Where the range ends. [µs since 1970 UTC]

    Returns
    -------
    floods : list of Flood

    Notes
    -----
    A flood begins with more than ten alarms in the ten minutes before, and ends with fewer than five: ISA-18.2 (seen in
    secondary copies). It counts from its eleventh alarm on.
    """
    moments = sorted([(int(at), 1) for at in at_us] + [(int(at) + FLOOD_WITHIN_US, -1) for at in at_us])
    found: list[Flood] = []
    recent, begun_us, alarms = 0, None, 0
    for moment_us, change in moments:
        recent += change
        alarms += change > 0
        if begun_us is None and recent > FLOOD:
            begun_us, alarms = moment_us, recent
        elif begun_us is not None and recent < FLOOD_OVER:
            found.append(Flood(begun_us, min(moment_us, end_us), alarms))
            begun_us = None
    return found


def _most_within(at_us: NDArray[np.int64], within_us: int) -> int:
    """Return the most alarms within any stretch of a length."""
    if len(at_us) == 0:
        return 0
    return int((np.arange(1, len(at_us) + 1) - np.searchsorted(at_us, at_us - within_us, side="right")).max())
