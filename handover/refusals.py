"""What a data set or a report cannot be made for, split by who can mend it."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class Refused(ValueError):
    """What was asked for cannot be made; the message says what, where and how to mend it."""


class NothingThere(Refused):
    """What was asked for does not exist, or not yet; the message says what there is."""


class NotWritten(Exception):
    """The files cannot be written now: a full disk, no permission. Nothing that looks whole is left behind."""


def unknown(what: str, found: str, allowed: Iterable[str]) -> Refused:
    """Return the refusal of a name that does not exist, with those that do."""
    names = sorted(allowed)
    close = difflib.get_close_matches(found, names, n=3, cutoff=0.5)
    if close:
        return Refused(f"this farm has no {what} {found[:200]!r}. Did you mean {' or '.join(close)}?")
    listed = ", ".join(names[:20]) + (f" and {len(names) - 20} more" if len(names) > 20 else "")
    return Refused(f"this farm has no {what} {found[:200]!r}. It has: {listed or 'none'}.")
