"""What is asked of a data set, and how it is written in words: the same for the command and the interface."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import TypeVar

from analytics.regular_grid import Aggregation
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, microseconds
from handover.refusals import Refused

SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86_400}
LOCAL_DAY = "day"
LEAST_COVERAGE = 0.75  # of a cell, so that it has a value; our choice, no source
KEPT_FLAGS = (Flag.GOOD, Flag.NOT_EVALUATED)
EARLIEST_US, LATEST_US = 0, microseconds(datetime.fromisoformat("2200-01-01T00:00:00Z"))  # beyond it is a slip
LONGEST_TEXT = 500

Words = TypeVar("Words", bound=StrEnum)

_LENGTH = re.compile(r"([0-9]{1,7})([smhd])")
_LICENCE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+-]{0,63}")


class Origins(StrEnum):
    """Which series are wanted by where their readings come from."""

    ALL = "all"
    MEASURED = "measured"
    DERIVED = "derived"


class Layout(StrEnum):
    """How cleaned series stand in a table."""

    LONG = "long"  # one row a series and cell
    WIDE = "wide"  # one row a cell, a column a series


class Format(StrEnum):
    """What files the readings are written into."""

    PARQUET = "parquet"
    CSV = "csv"
    NETCDF = "netcdf"


@dataclass(frozen=True, slots=True)
class Cleaning:
    """How readings become cells of a regular grid.

    ``every_us`` is the length of a cell, whose edges are whole multiples of it since 1970 UTC; None for local days.
    ``flags`` are those whose readings count. A cell has a value if they cover ``least_coverage`` of its time.
    """

    every_us: int | None
    aggregation: Aggregation = Aggregation.MEAN
    flags: tuple[Flag, ...] = KEPT_FLAGS
    least_coverage: float = LEAST_COVERAGE
    layout: Layout = Layout.WIDE

    @property
    def every(self) -> str:
        """The cell's length as it is written."""
        return LOCAL_DAY if self.every_us is None else length_text(self.every_us)


@dataclass(frozen=True, slots=True)
class Asked:
    """One request for a data set. Without ``cleaning``, readings as they arrived."""

    start_us: int | None = None
    end_us: int | None = None
    series: tuple[str, ...] = ()
    zones: tuple[str, ...] = ()
    batch: str | None = None
    light_days: tuple[date, date] | None = None
    origins: Origins = Origins.ALL
    cleaning: Cleaning | None = None


@dataclass(frozen=True, slots=True)
class Imprint:
    """Who gives the data set away, and on which terms; neither changes the readings in it."""

    creator: str | None = None
    licence: str | None = None

    def __post_init__(self) -> None:
        """Refuse what cannot stand in the files."""
        if self.licence is not None and not _LICENCE.fullmatch(self.licence):
            raise Refused(f"licence = {self.licence[:200]!r} cannot be used. Write its SPDX identifier: CC-BY-4.0.")
        if self.creator is not None and (not self.creator.isprintable() or len(self.creator) > LONGEST_TEXT):
            raise Refused(f"creator = {self.creator[:80]!r} cannot be used. Write a name in one line of text.")


def asked(
    farm: Farm,
    *,
    start: str | None = None,
    end: str | None = None,
    series: Sequence[str] = (),
    zones: Sequence[str] = (),
    batch: str | None = None,
    light_days: str | None = None,
    origins: str = Origins.ALL,
    cleaned: bool = False,
    every: str | None = None,
    aggregation: str | None = None,
    flags: str | None = None,
    least_coverage: float | None = None,
    layout: str | None = None,
) -> Asked:
    """Return the request that words make.

    Raises
    ------
    Refused
        If a word cannot be used, or two do not go together. Whether names exist is seen later, by ``choose``.
    """
    start_us, end_us = (_moment_us(farm, name, text) for name, text in (("start", start), ("end", end)))
    if start_us is not None and end_us is not None and start_us >= end_us:
        raise Refused(f"start = {start!r} is not before end = {end!r}: the end is not included, so name a later one.")
    if light_days is not None and (batch is not None or start is not None or end is not None):
        raise Refused("light_days gives the range by itself: leave out batch, start and end.")
    if light_days is not None and len(set(zones)) != 1:
        raise Refused("light_days needs exactly one zone: every zone has light days of its own.")
    cleaning = _cleaning(every, aggregation, flags, least_coverage, layout)
    if not cleaned and cleaning is not None:
        raise Refused("every, aggregation, flags, coverage and layout belong to cleaned readings: ask for cleaned too.")
    if cleaned and (cleaning is None or every is None):
        raise Refused(
            "cleaned readings need every, the length of a cell: as in 1m, 10m, 1h, 1d, or day for local days."
        )
    return Asked(
        start_us,
        end_us,
        tuple(sorted(set(series))),
        tuple(sorted(set(zones))),
        batch,
        None if light_days is None else _dates(light_days),
        _one_of(Origins, "origin", origins),
        cleaning,
    )


def _cleaning(
    every: str | None, aggregation: str | None, flags: str | None, least_coverage: float | None, layout: str | None
) -> Cleaning | None:
    if all(one is None for one in (every, aggregation, flags, least_coverage, layout)):
        return None
    coverage = LEAST_COVERAGE if least_coverage is None else least_coverage
    if not 0.0 <= coverage <= 1.0:
        raise Refused(f"coverage = {coverage} cannot be used. Write a share between 0 and 1, as in 0.75.")
    return Cleaning(
        None if every is None or every == LOCAL_DAY else _length_us(every),
        _one_of(Aggregation, "aggregation", aggregation or Aggregation.MEAN),
        KEPT_FLAGS if flags is None else _flags(flags),
        coverage,
        _one_of(Layout, "layout", layout or Layout.WIDE),
    )


def _length_us(text: str) -> int:
    match = _LENGTH.fullmatch(text)
    length = int(match[1]) * SECONDS[match[2]] if match else 0
    if not 1 <= length <= 31 * SECONDS["d"]:
        raise Refused(
            f"every = {text[:200]!r} cannot be used. Write a whole number and a unit, as in 30s, 10m, 1h or 1d "
            "(UTC days), at most 31d; or day, for the farm's local days of 23, 24 or 25 hours."
        )
    return length * MICROSECONDS_PER_SECOND


IN_WORDS = {"s": "second", "m": "minute", "h": "hour", "d": "day"}


def length_words(length_us: int) -> str:
    """Return a length of time in words.

    Examples
    --------
    >>> length_words(600_000_000)
    '10 minutes'
    """
    text = length_text(length_us)
    return f"{text[:-1]} {IN_WORDS[text[-1]]}{'' if text[:-1] == '1' else 's'}"


def length_text(length_us: int) -> str:
    """Return a length of time in the largest unit that divides it."""
    seconds = length_us // MICROSECONDS_PER_SECOND
    unit = next(unit for unit in "dhms" if seconds % SECONDS[unit] == 0)
    return f"{seconds // SECONDS[unit]}{unit}"


def _moment_us(farm: Farm, name: str, text: str | None) -> int | None:
    if text is None:
        return None
    hint = (
        "Write a local date as in 2026-03-01, which means its midnight, or ISO 8601 with a zone: 2026-03-01T06:00:00Z."
    )
    try:
        moment = date.fromisoformat(text) if len(text) == len("2026-03-01") else datetime.fromisoformat(text)
    except ValueError as error:
        plus = " In an address, write + as %2B." if " " in text.strip() else ""
        raise Refused(f"{name} = {text[:200]!r} cannot be used. {hint}{plus}") from error
    if isinstance(moment, datetime) and moment.tzinfo is None:
        raise Refused(f"{name} = {text[:200]!r} has no zone. Add one, as in {moment.isoformat()}Z or +01:00.")
    try:
        time_us = microseconds(farm.moment(moment))
    except OverflowError:
        time_us = -1
    if not EARLIEST_US <= time_us <= LATEST_US:
        raise Refused(f"{name} = {text[:200]!r} cannot be used. Times lie between 1970 and 2200.")
    return time_us


def _dates(text: str) -> tuple[date, date]:
    first, _, last = text.partition("/")
    try:
        dates = date.fromisoformat(first), date.fromisoformat(last or first)
    except ValueError as error:
        raise Refused(
            f"light_days = {text[:200]!r} cannot be used. Write a local date, or the first and the last with a stroke "
            "between: 2026-03-01 or 2026-03-01/2026-03-07."
        ) from error
    if dates[0] > dates[1]:
        raise Refused(f"light_days = {text!r}: the first date is after the last. Swap the two.")
    return dates


def _flags(text: str) -> tuple[Flag, ...]:
    names = {flag.name.lower(): flag for flag in Flag if flag is not Flag.MISSING}
    words = [word.strip() for word in text.split(",")]
    if not set(words) <= names.keys():
        raise Refused(f"flags = {text[:200]!r} cannot be used. Name those that count, as in good,not_evaluated: "
                      f"{', '.join(names)}.")  # fmt: skip
    return tuple(flag for name, flag in names.items() if name in words)


def _one_of(words: type[Words], name: str, text: str) -> Words:
    try:
        return words(text)
    except ValueError as error:
        raise Refused(f"{name} = {text[:200]!r} cannot be used. Write {', '.join(words)}.") from error
