"""Instants and days as people and programs write them: ISO 8601, and never a bare number."""

from __future__ import annotations

import re
from datetime import date
from typing import Annotated, Any

from pydantic import AwareDatetime, BeforeValidator

_NUMBER = re.compile(r"\s*[+-]?[0-9.]+(e[+-]?[0-9]+)?\s*", re.IGNORECASE)


def _moment(given: Any) -> Any:  # noqa: ANN401  # whatever was given
    return _written_out(given, "ISO 8601 with a zone, as in 2026-03-01T06:00:00Z")


def _day(given: Any) -> Any:  # noqa: ANN401  # likewise
    return _written_out(given, "a day as in 2026-03-01")


def _written_out(given: Any, how: str) -> Any:  # noqa: ANN401  # likewise
    """Refuse a number: whether it counts seconds or milliseconds, and from when, would be guessed."""
    if isinstance(given, int | float) or (isinstance(given, str) and _NUMBER.fullmatch(given)):
        raise ValueError(f"write {how}, not a number")
    return given


Moment = Annotated[AwareDatetime, BeforeValidator(_moment)]
Day = Annotated[date, BeforeValidator(_day)]
