"""Series, readings, and time as whole microseconds since 1970 UTC."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from farm.quantities import QUANTITIES, Quantity

MICROSECONDS_PER_SECOND = 1_000_000

ESTIMATED = "estimated"  # the sensor of light that no sensor saw: worked out from the lamps' switch and nameplate

# What may stand between the slashes of a key: also safe in topics, file names and URLs.
NAME_PATTERN = r"[a-z0-9]+(?:[_-][a-z0-9]+)*"
_NAME = re.compile(NAME_PATTERN)


class Series(NamedTuple):
    """One quantity at one zone, from one sensor where there are several.

    Examples
    --------
    >>> Series.parse("north", "room/air_temperature").key
    'room/air_temperature'
    """

    farm: str
    zone: str
    quantity: str
    sensor: str = ""

    @property
    def key(self) -> str:
        """The series' name within its farm: ``zone/quantity`` or ``zone/quantity/sensor``."""
        return "/".join(self[1:] if self.sensor else self[1:3])

    @property
    def registered(self) -> Quantity:
        """The registry's entry for this series' quantity."""
        return QUANTITIES[self.quantity]

    @classmethod
    def parse(cls, farm: str, key: str) -> Series:
        """Return the series that ``key`` names.

        Raises
        ------
        ValueError
            If the key has not two or three parts, a part has characters that are not allowed, or
            the quantity is not in the registry.
        """
        parts = key.split("/")
        if len(parts) not in (2, 3) or not all(map(_NAME.fullmatch, parts)):
            raise ValueError(
                f"{key!r} is not a series key: write zone/quantity or zone/quantity/sensor, "
                "in lower-case letters, digits, '_' and '-'"
            )
        if parts[1] not in QUANTITIES:
            raise ValueError(f"{key!r} names the quantity {parts[1]!r}, which is not in the registry")
        return cls(farm, *parts)


class Reading(NamedTuple):
    """One value of one series at one instant."""

    series: Series
    time_us: int
    value: float
    flag: int


@dataclass(frozen=True, slots=True)
class Columns:
    """Readings of one series, as parallel arrays in ascending time.

    ``time_us`` int64 microseconds since 1970 UTC, ``value`` float64 in the quantity's unit, ``flag``
    uint8 QARTOD flags; all of one length.
    """

    time_us: NDArray[np.int64]
    value: NDArray[np.float64]
    flag: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.time_us)

    @classmethod
    def empty(cls) -> Columns:
        """Return columns without a reading."""
        return cls(np.empty(0, np.int64), np.empty(0, np.float64), np.empty(0, np.uint8))

    @classmethod
    def from_rows(cls, rows: list[tuple[int, float, int]]) -> Columns:
        """Return columns of ``(time_us, value, flag)`` rows, in the order given."""
        if not rows:
            return cls.empty()
        time_us, value, flag = zip(*rows, strict=True)
        return cls(np.array(time_us, np.int64), np.array(value, np.float64), np.array(flag, np.uint8))


def microseconds(instant: datetime) -> int:
    """Return an aware datetime as whole microseconds since 1970 UTC.

    Raises
    ------
    ValueError
        If the datetime has no time zone.
    """
    if instant.tzinfo is None:
        raise ValueError(f"{instant.isoformat()} has no time zone: add one, e.g. +00:00")
    since_epoch = instant - datetime(1970, 1, 1, tzinfo=UTC)
    whole_seconds = since_epoch.days * 86_400 + since_epoch.seconds
    return whole_seconds * MICROSECONDS_PER_SECOND + since_epoch.microseconds


def instant(time_us: int) -> datetime:
    """Return whole microseconds since 1970 UTC as an aware datetime in UTC."""
    seconds, rest = divmod(int(time_us), MICROSECONDS_PER_SECOND)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest)


def iso_time(time_us: int) -> str:
    """Return whole microseconds since 1970 UTC as ISO 8601, e.g. ``2026-03-01T06:00:00Z``."""
    return instant(time_us).isoformat().replace("+00:00", "Z")
