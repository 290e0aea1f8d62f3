"""A store over a store: what a layer does not change goes through."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import Self

from farm.readings import Columns, Reading, Series
from store.contract import Appended, Buckets, Known, ReadingStore, Touched


class Layer:
    """Keeps the contract of the store beneath it, by handing every call on."""

    def __init__(self, beneath: ReadingStore) -> None:
        self.beneath = beneath

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings as they arrived."""
        return self.beneath.append(readings)

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range."""
        self.beneath.replace(series, start_us, end_us, columns)

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range."""
        return self.beneath.read(series, start_us, end_us)

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant."""
        return self.beneath.last_before(series, before_us)

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return readings summed up over equal stretches."""
        return self.beneath.aggregate(series, start_us, end_us, every_us)

    def latest(self, farm: str) -> dict[Series, Reading]:
        """Return the newest reading of each series."""
        return self.beneath.latest(farm)

    def known(self, farm: str) -> list[Known]:
        """Return the series that hold readings."""
        return self.beneath.known(farm)

    def touched(self, farm: str, limit: int) -> list[Touched]:
        """Return notes of what changed in the store."""
        return self.beneath.touched(farm, limit)

    def settle(self, notes: Collection[Touched]) -> None:
        """Forget notes that have been worked off."""
        self.beneath.settle(notes)

    def close(self) -> None:
        """Close the store beneath."""
        self.beneath.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()
