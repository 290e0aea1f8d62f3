"""MQTT topics: patterns with named levels, and which filters cover or overlap which (MQTT 5, section 4.7)."""

from __future__ import annotations

import re
from collections.abc import Iterable

_PART = re.compile(r"\{([a-z][a-z0-9_]*)\}")


def part_names(pattern: str) -> list[str]:
    """Return the names of a pattern's named levels, in order.

    Examples
    --------
    >>> part_names("boxes/{device}/{channel}")
    ['device', 'channel']
    """
    return [match[1] for level in pattern.split("/") if (match := _PART.fullmatch(level))]


def filter_of(pattern: str) -> str:
    """Return a pattern as an MQTT topic filter: its named levels become ``+``."""
    return "/".join("+" if _PART.fullmatch(level) else level for level in pattern.split("/"))


def checked_pattern(pattern: str) -> str:
    """Return a pattern unchanged.

    Raises
    ------
    ValueError
        If it is no topic filter with named levels; the message says what is allowed.
    """
    levels = pattern.split("/")
    for place, level in enumerate(levels):
        plain = not set(level) & set("{}+#\0")
        last = place == len(levels) - 1
        if not (plain or _PART.fullmatch(level) or level == "+" or (level == "#" and last)):
            raise ValueError(
                "levels between slashes, each plain text, one {name} in lower-case letters, or +; # only as the last"
            )
    names = part_names(pattern)
    if pattern == "" or len(set(names)) < len(names):
        raise ValueError("a topic in which each {name} stands once")
    return pattern


def matcher(pattern: str) -> re.Pattern[str]:
    """Return an expression that fits the topics of a pattern, its named levels as named groups."""
    text, levels = "", pattern.split("/")
    for place, level in enumerate(levels):
        slash = "/" if place else ""
        named = _PART.fullmatch(level)
        if level == "#":
            text += f"(?:{slash}.*)?"  # "a/#" fits "a" too
        elif named:
            text += f"{slash}(?P<{named[1]}>[^/]+)"
        else:
            text += slash + ("[^/]*" if level == "+" else re.escape(level))
    return re.compile(text, re.DOTALL)


def covers(wide: str, narrow: str) -> bool:
    """Return whether every topic of one filter is a topic of another.

    Examples
    --------
    >>> covers("leafweather/#", "leafweather/north/+"), covers("a/+", "a/#")
    (True, False)
    """
    ours, theirs = wide.split("/"), narrow.split("/")
    for place, level in enumerate(ours):
        if level == "#":
            return True
        if place >= len(theirs) or theirs[place] == "#" or level not in ("+", theirs[place]):
            return False
    return len(ours) == len(theirs)


def overlap(one: str, other: str) -> bool:
    """Return whether some topic belongs to both of two filters.

    Examples
    --------
    >>> overlap("a/+", "+/b"), overlap("a/b", "a/c")
    (True, False)
    """
    ours, theirs = one.split("/"), other.split("/")
    for place in range(max(len(ours), len(theirs))):
        levels = {side[place] if place < len(side) else None for side in (ours, theirs)}
        if "#" in levels:
            return True
        if None in levels or (len(levels) == 2 and "+" not in levels):
            return False
    return True


def fewest(filters: Iterable[str]) -> list[str]:
    """Return filters without those that another one covers: a broker may send twice what two of them fit."""
    kept: list[str] = []
    for one in dict.fromkeys(filters):
        if not any(covers(other, one) for other in kept):
            kept = [other for other in kept if not covers(one, other)] + [one]
    return kept
