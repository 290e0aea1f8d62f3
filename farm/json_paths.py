"""Where a value stands in a JSON message: names joined by dots, list places in square brackets."""

from __future__ import annotations

import re
from typing import TypeAlias

Steps: TypeAlias = tuple[str | int, ...]

WHOLE = "$"  # the path of the message itself
_STEP = re.compile(r"\[(\d{1,6})\]|(?:^|\.)([^.\[\]\s]+)")


def steps_of(path: str) -> Steps:
    """Return the steps that a path names: texts for names, numbers for places in a list.

    Raises
    ------
    ValueError
        If the text is no path; the message says what is allowed.

    Examples
    --------
    >>> steps_of("data.probes[2].temp")
    ('data', 'probes', 2, 'temp')
    >>> steps_of("$")
    ()
    """
    rest = path.removeprefix(WHOLE).removeprefix(".") if path.startswith(WHOLE) else path
    if rest == "" and path == WHOLE:
        return ()
    steps: list[str | int] = []
    at = 0
    while at < len(rest):
        found = _STEP.match(rest, at)
        if found is None:
            break
        steps.append(int(found[1]) if found[1] is not None else found[2])
        at = found.end()
    if not steps or at < len(rest):
        raise ValueError('names joined by dots, places in a list as [n], as in "data.probes[0].temp"; "$" is the whole')
    return tuple(steps)
