"""Stretches of time that changed: joined where they lie close together."""

from __future__ import annotations

from collections.abc import Iterable

from farm.readings import MICROSECONDS_PER_SECOND

JOIN_US = 3600 * MICROSECONDS_PER_SECOND  # changed stretches closer than this are worked off as one

Stretch = tuple[int, int]  # first and last instant that changed, both included


def joined(stretches: Iterable[Stretch]) -> list[Stretch]:
    """Return stretches in order, those that overlap or lie close together as one."""
    found: list[Stretch] = []
    for first, last in sorted(stretches):
        if found and first <= found[-1][1] + JOIN_US:
            found[-1] = (found[-1][0], max(found[-1][1], last))
        else:
            found.append((first, last))
    return found
