"""Long lists page by page: how many at once, and where an earlier answer ended."""

from __future__ import annotations

import re
from typing import Annotated, NamedTuple

from fastapi import Depends, Query

from api.problems import bad_parameter

_PLACE = re.compile(r"([0-9]{1,18})[-.](\S{1,200})")

Limit = Annotated[int, Query(ge=1, le=1000, description="at most so many")]
BeforeText = Annotated[
    str | None,
    Query(description="go on where an earlier answer ended: its next", json_schema_extra={"pattern": _PLACE.pattern}),
]


class Place(NamedTuple):
    """Where a page ended: the time that its list is ordered by, and the identity of the last one on it."""

    time_us: int
    identity: str

    def __str__(self) -> str:
        return f"{self.time_us}-{self.identity}"


def asked_place(before: BeforeText = None) -> Place | None:
    """Return where to go on; None for the beginning.

    Raises
    ------
    Problem
        422, if no answer of ours gave it.
    """
    if before is None:
        return None
    match = _PLACE.fullmatch(before)
    if match is None:
        raise bad_parameter("before", before, "Give what an earlier answer tells as its next.")
    return Place(int(match[1]), match[2])


AskedPlace = Annotated[Place | None, Depends(asked_place)]
