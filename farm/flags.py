"""Quality flags of a reading, on the primary scale of QARTOD (also the IODE scale)."""

from __future__ import annotations

from collections.abc import Iterable
from enum import IntEnum


class Flag(IntEnum):
    """Quality of one reading. Readings are flagged, never deleted or altered."""

    GOOD = 1
    NOT_EVALUATED = 2
    SUSPECT = 3
    FAIL = 4
    MISSING = 9


# From harmless to worst. A test not run (2) says less than a test passed (1), but a value derived
# from an unchecked reading is itself unchecked: so, for the worst of several *inputs*,
# NOT_EVALUATED stands above GOOD. (QARTOD's roll-up of several *tests on one reading* is another
# rule; it belongs to the quality tests.)
SEVERITY = (Flag.GOOD, Flag.NOT_EVALUATED, Flag.SUSPECT, Flag.FAIL, Flag.MISSING)


def worst_flag(flags: Iterable[int]) -> Flag:
    """Return the flag a value derived from readings with these flags must carry.

    Returns
    -------
    flag : Flag
        The most severe of ``flags``; MISSING when there is none.

    Raises
    ------
    ValueError
        If a number is not a QARTOD flag.

    Examples
    --------
    >>> worst_flag([1, 2, 3]).name
    'SUSPECT'
    """
    return max((Flag(flag) for flag in flags), key=SEVERITY.index, default=Flag.MISSING)
