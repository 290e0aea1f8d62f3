"""Memory that is given back: the C library is told to return what large arrays took as soon as they are gone."""

from __future__ import annotations

import ctypes

# From <malloc.h> of the GNU C library; see its manual, "Malloc Tunable Parameters".
TRIM_THRESHOLD, MMAP_THRESHOLD, ARENA_MAX = -1, -3, -8
LARGE = 256 * 1024  # bytes; our choice: above what a day of readings by the minute needs
ARENAS = 2


def give_memory_back() -> bool:
    """Let this process return large pieces of memory at once; return whether the C library took it.

    By itself the GNU C library raises its idea of "large" with every array that is freed, up to 32 MiB, and then
    keeps the heap, full of holes: measured, a farm at 5,000 readings a second kept 77 MB after one day sheet.
    Other C libraries have no such setting, and nothing is changed there.
    """
    try:
        set_to = ctypes.CDLL(None).mallopt
    except (OSError, AttributeError):
        return False
    return all([set_to(MMAP_THRESHOLD, LARGE), set_to(TRIM_THRESHOLD, 4 * LARGE), set_to(ARENA_MAX, ARENAS)])
