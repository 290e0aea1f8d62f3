"""Times, ranges and lengths of time as requests write them."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from typing import Annotated, NamedTuple

from fastapi import Depends, Query

from api.house import TheHouse
from api.problems import bad_parameter
from farm.readings import MICROSECONDS_PER_SECOND, iso_time, microseconds

SECONDS = {"s": 1, "m": 60, "h": 3600, "d": 86_400}
DAY_US = 86_400 * MICROSECONDS_PER_SECOND
EARLIEST_US, LATEST_US = 0, microseconds(datetime(2200, 1, 1, tzinfo=UTC))  # beyond it is a typing mistake

_LENGTH = re.compile(r"([0-9]{1,9})([smhd])")
_TIME_HINT = "Write ISO 8601 with a zone, as in 2026-03-01T06:00:00Z, or a time before now as in -24h or -7d."
_EVERY_HINT = "Write a whole number and a unit, as in 30s, 5m, 1h or 1d."

# For programs that read the description of the interface; what is wrong is told in our own words.
_TIMES = {"pattern": r"^(-[0-9]{1,9}[smhd]|[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9:.,]+(Z|[+-][0-9:]+))$"}
_LENGTHS = {"pattern": r"^[0-9]{1,9}[smhd]$"}

StartText = Annotated[
    str | None,
    Query(
        description=f"Start, included. {_TIME_HINT} 24 h before the end by default.",
        examples=["-24h"],
        json_schema_extra=_TIMES,
    ),
]
EndText = Annotated[
    str | None, Query(description=f"End, not included. {_TIME_HINT} Now by default.", json_schema_extra=_TIMES)
]
EveryText = Annotated[
    str | None,
    Query(
        description=f"Sum up over stretches of this length. {_EVERY_HINT}", examples=["5m"], json_schema_extra=_LENGTHS
    ),
]


LONGEST_DAYS = 400  # of what is worked out for one answer; our choice, no source: a year and a little


class Span(NamedTuple):
    """A half-open range of time, in microseconds since 1970 UTC."""

    start_us: int
    end_us: int


def length_us(text: str) -> int | None:
    """Return, in microseconds, a length of time such as ``5m``; None where the text is not one."""
    match = _LENGTH.fullmatch(text)
    if match is None:
        return None
    return int(match[1]) * SECONDS[match[2]] * MICROSECONDS_PER_SECOND


def moment_us(parameter: str, text: str, now_us: int) -> int:
    """Return the instant that a parameter names.

    Raises
    ------
    Problem
        422, if it is no time, has no zone, or lies before 1970 or after 2199.
    """
    if text.startswith("-"):
        back = length_us(text[1:])
        if back is None:
            raise bad_parameter(parameter, text, f"{_TIME_HINT} The units are s, m, h and d.")
        return _believable(parameter, text, now_us - back)
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        plus = " In an address, write + as %2B." if " " in text.strip() else ""
        raise bad_parameter(parameter, text, _TIME_HINT + plus) from None
    if moment.tzinfo is None:
        raise bad_parameter(parameter, text, f"The time has no zone: add one, as in {moment.isoformat()}Z or +01:00.")
    return _believable(parameter, text, microseconds(moment))


def _believable(parameter: str, text: str, time_us: int) -> int:
    if not EARLIEST_US <= time_us <= LATEST_US:
        raise bad_parameter(parameter, text, "Times lie between 1970-01-01T00:00:00Z and 2200-01-01T00:00:00Z.")
    return time_us


def asked_span(house: TheHouse, start: StartText = None, end: EndText = None) -> Span:
    """Return the range that a request asks for; the last 24 h by default.

    Raises
    ------
    Problem
        422, if a time cannot be used, or the range is empty or reversed.
    """
    now_us = house.clock()
    end_us = moment_us("end", end, now_us) if end is not None else now_us
    start_us = moment_us("start", start, now_us) if start is not None else end_us - DAY_US
    _forward(start_us, end_us)
    return Span(start_us, end_us)


def asked_open_span(house: TheHouse, start: StartText = None, end: EndText = None) -> tuple[int | None, int | None]:
    """Return the range that a request asks for, with no side limited by default."""
    if start is None and end is None:
        return None, None
    now_us = house.clock()
    start_us = moment_us("start", start, now_us) if start is not None else None
    end_us = moment_us("end", end, now_us) if end is not None else None
    if start_us is not None and end_us is not None:
        _forward(start_us, end_us)
    return start_us, end_us


def at_most_days(span: Span, what: str) -> None:
    """Refuse a range that is longer than what is worked out for one answer may be.

    Raises
    ------
    Problem
        422, if it is.
    """
    if span.end_us - span.start_us > LONGEST_DAYS * DAY_US:
        raise bad_parameter("start", iso_time(span.start_us), f"{what} are told for at most {LONGEST_DAYS}d at once.")


def _forward(start_us: int, end_us: int) -> None:
    if start_us >= end_us:
        shown = f"start {iso_time(start_us)} is not before end {iso_time(end_us)}"
        raise bad_parameter("start", iso_time(start_us), f"The range must run forward, but {shown}.")


def asked_every(every: EveryText = None) -> int | None:
    """Return the stretch to sum up over, in microseconds; None where every reading is asked for."""
    if every is None:
        return None
    every_us = length_us(every)
    if every_us is None or every_us == 0:
        raise bad_parameter("every", every, _EVERY_HINT)
    if every_us > 366 * DAY_US:
        raise bad_parameter("every", every, "A stretch may be at most 366d long.")
    return every_us


AskedSpan = Annotated[Span, Depends(asked_span)]
AskedOpenSpan = Annotated[tuple[int | None, int | None], Depends(asked_open_span)]
AskedEvery = Annotated[int | None, Depends(asked_every)]
