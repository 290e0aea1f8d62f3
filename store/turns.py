"""Turns at a store without transactions: many may read at once, and whoever writes is alone."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Condition


class Turns:
    """Readers together or one writer; a writer that waits goes before readers that come later."""

    def __init__(self) -> None:
        self._changed = Condition()
        self._readers = 0
        self._writers_waiting = 0
        self._writing = False

    @contextmanager
    def reading(self) -> Iterator[None]:
        """Hold the store together with other readers."""
        with self._changed:
            self._changed.wait_for(lambda: not self._writing and not self._writers_waiting)
            self._readers += 1
        try:
            yield
        finally:
            with self._changed:
                self._readers -= 1
                self._changed.notify_all()

    @contextmanager
    def writing(self) -> Iterator[None]:
        """Hold the store alone."""
        with self._changed:
            self._writers_waiting += 1
            try:
                self._changed.wait_for(lambda: not self._writing and not self._readers)
            finally:
                self._writers_waiting -= 1
            self._writing = True
        try:
            yield
        finally:
            with self._changed:
                self._writing = False
                self._changed.notify_all()
