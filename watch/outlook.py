"""What the watch tells about now: each zone against its bands, and what needs a person."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from farm.alarm_words import AlarmState
from farm.readings import Series


class Standing(StrEnum):
    """How a series stands now."""

    INSIDE = "inside"  # within its band
    LOW = "low"
    HIGH = "high"
    SO_FAR = "so_far"  # a sum over a light day that is not over: it is judged when it is
    NO_BAND = "no_band"  # reported, but the crop plan sets no limits for it
    AT_REST = "at_rest"  # nothing to tell while its machine rests, and what it follows from is heard
    SILENT = "silent"  # last reading older than three cadences, or none at all


@dataclass(frozen=True, slots=True)
class LastLightDay:
    """The last whole light day of a series, ``[start_us, end_us)``, against the target that held then.

    ``mol`` is its light integral, None where it cannot be told. [mol m-2]
    """

    start_us: int
    end_us: int
    mol: float | None
    flag: int
    low: float | None
    high: float | None
    standing: Standing


@dataclass(frozen=True, slots=True)
class SeriesNow:
    """One series now: its newest reading, its band and how it stands.

    ``low`` and ``high`` are the limits that hold now (None where there are none, infinite where a
    side is open); ``excursion`` the identity of an excursion that is open on it; ``last_day`` the last
    whole light day of a light integral, whose own value is that of the day so far.
    """

    series: Series
    standing: Standing
    time_us: int | None
    value: float | None
    flag: int | None
    low: float | None
    high: float | None
    excursion: str | None
    last_day: LastLightDay | None = None


@dataclass(frozen=True, slots=True)
class ZoneNow:
    """One zone now: whether it is lit (None if nothing tells), its phase, and its series."""

    zone: str
    lit: bool | None
    crop: str | None
    phase: str | None
    series: tuple[SeriesNow, ...]


class Urgency(StrEnum):
    """How soon a person is needed."""

    NOW = "now"
    TODAY = "today"
    WHEN_CONVENIENT = "when_convenient"


@dataclass(frozen=True, slots=True)
class Need:
    """One sentence on what needs a person, most urgent first in a list of them.

    ``alarm`` names its alarm, ``finding`` the finding that tells its likely causes, whose first check is the need's;
    ``refused`` says that it is about messages that were refused.
    """

    urgency: Urgency
    sentence: str
    since_us: int | None
    zone: str | None = None
    series: tuple[Series, ...] = ()
    excursion: str | None = None
    caution: str | None = None
    alarm: str | None = None
    state: AlarmState | None = None
    finding: str | None = None
    refused: bool = False


@dataclass(frozen=True, slots=True)
class BandStretch:
    """A stretch of time over which one pair of limits held; ``low`` and ``high`` None where none did."""

    start_us: int
    end_us: int
    lit: bool | None
    low: float | None
    high: float | None
