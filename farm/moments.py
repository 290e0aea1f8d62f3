"""An instant as people and programs write it: ISO 8601 with a zone, and never a bare number."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import AwareDatetime, BeforeValidator

_NUMBER = re.compile(r"\s*[+-]?[0-9.]+(e[+-]?[0-9]+)?\s*", re.IGNORECASE)


def _written_out(given: Any) -> Any:  # noqa: ANN401  # whatever was given
    """Refuse a number: whether it counts seconds or milliseconds, and from when, would be guessed."""
    if isinstance(given, int | float) or (isinstance(given, str) and _NUMBER.fullmatch(given)):
        raise ValueError("write ISO 8601 with a zone, as in 2026-03-01T06:00:00Z, not a number")
    return given


Moment = Annotated[AwareDatetime, BeforeValidator(_written_out)]
