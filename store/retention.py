"""How long readings of each class are kept, and the dropping of those whose time is over."""

from __future__ import annotations

from dataclasses import dataclass

from store import embedded_sql as sql
from store.connections import Connections
from store.contract import Origin
from store.sealed_days import Part
from store.sealing import Sealing
from store.summing import DAY_US, RUNGS


@dataclass(frozen=True, slots=True)
class Retention:
    """Whole UTC days for which readings are kept; None keeps them for ever.

    Parameters
    ----------
    measured_days, derived_days : int or None
        Of measured and of derived readings. Their sums stay: `aggregate` answers from them, for whole
        multiples of a minute.
    rollup_days : int or None
        Of the sums by the minute and by the hour.

    Raises
    ------
    ValueError
        If a number of days is below 1.
    """

    measured_days: int | None = None
    derived_days: int | None = None
    rollup_days: int | None = None

    def __post_init__(self) -> None:
        for name in self.__slots__:
            days = getattr(self, name)
            if days is not None and days < 1:
                raise ValueError(f"{name} is {days}: keep readings for 1 day or more, or for ever (None)")


class Dropping:
    """Drops days of a store. Whoever calls holds the lock on sealing."""

    def __init__(self, connections: Connections, sealing: Sealing) -> None:
        self._connections = connections
        self._sealing = sealing

    def drop(self, farm: str, today: int, retention: Retention) -> list[Part]:
        """Drop what is older than it is to be kept, on a day counted since 1970; return the files dropped."""
        dropped = []
        for origin, days in ((Origin.MEASURED, retention.measured_days), (Origin.DERIVED, retention.derived_days)):
            if days is None:
                continue
            self._sealing.seal(farm, (today - days) * DAY_US)
            chain = self._sealing.sound_chain(farm)
            with self._connections.reading() as connection:
                old = connection.execute(sql.OLD_PARTS, (farm, origin, today - days)).fetchall()
            for day, version in old:
                part = Part(farm, origin, day, version)
                chain = self._sealing.drop(part, chain)
                dropped.append(part)
        if retention.rollup_days is not None:
            with self._connections.reading() as connection:
                series = [row[0] for row in connection.execute(sql.SERIES_OF, (farm,))]
            for number in series:  # one at a time, so that ingest never waits long
                with self._connections.writing() as connection:
                    for rung in RUNGS:
                        connection.execute(sql.DROP_ROLLUPS, (number, rung, today - retention.rollup_days))
        return dropped
