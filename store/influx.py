"""The server engine: every farm's readings in one bucket of an InfluxDB 2 server.

InfluxDB has no transactions, so the contract's promises rest on the order of requests (see
`store.influx_writing`) and on one rule for whoever runs it: one process writes to a bucket, others may
read. ``docs/stores.md`` says what that leaves open.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence
from typing import Self

import numpy as np

from farm.readings import Columns, Reading, Series, microseconds
from store import influx_answers as answers
from store import influx_text as text
from store.checks import refuse_columns_unfit, refuse_flags_unknown, refuse_values_not_finite
from store.contract import Appended, Buckets, Known, Origin, StoreUnusable, Touched
from store.influx_notes import Notes
from store.influx_pages import READINGS, of_series, pages
from store.influx_server import Server
from store.influx_text import COUNTER, EVER, SERIES, equal, kept, named
from store.influx_writing import Writing
from store.turns import Turns


class InfluxStore:
    """Readings in a bucket of InfluxDB 2; see `store.contract.ReadingStore` and this module's words on it.

    Several threads may share one store.

    Parameters
    ----------
    url : str
        ``http://host:port`` or ``https://host:port``.
    org, bucket, token : str
        Organisation, bucket, and an API token that may read and write the bucket.
    patience_s : float
        How long to go on after a first failure. [s]
    timeout_s : float
        How long to wait for an answer. [s]
    page : int
        How many readings of one flag to ask for at once.

    Raises
    ------
    StoreUnavailable
        If the server does not answer, or does not know organisation, bucket or token.
    StoreUnusable
        If the bucket forgets readings after a while, or the server is not InfluxDB 2.
    """

    def __init__(
        self,
        url: str,
        org: str,
        bucket: str,
        token: str,
        *,
        patience_s: float = 10.0,
        timeout_s: float = 30.0,
        page: int = 50_000,
    ) -> None:
        self._server = Server(url, org, bucket, token, patience_s=patience_s, timeout_s=timeout_s)
        self._page = page
        self._turns = Turns()
        self._writing, self._notes = Writing(self._server), Notes(self._server)
        try:
            self._server.rows(self._server.points(0, 1, equal("_measurement", COUNTER)))
            if retention_s := self._server.retention_s():
                raise StoreUnusable(
                    f"{url}/{org}/{bucket}: the bucket forgets readings after {retention_s} s: "
                    "set its retention to 0 (for ever), or name another bucket"
                )
        except BaseException:
            self._server.close()
            raise

    def append(self, readings: Sequence[Reading]) -> Appended:
        """Store measured readings durably; see the contract, and `store.influx_writing` for what is atomic."""
        if not readings:
            return Appended(0, 0, ())
        series, times, values, flags = zip(*readings, strict=True)
        refuse_values_not_finite(series, np.array(times, np.int64), np.array(values, np.float64))
        refuse_flags_unknown(flags)
        for one in set(series):
            text.refuse_names_unfit(one)
        for place in (int(np.argmin(times)), int(np.argmax(times))):
            text.refuse_time_out_of_range(series[place], times[place])
        with self._turns.writing():
            return self._writing.append(readings)

    def replace(self, series: Series, start_us: int, end_us: int, columns: Columns) -> None:
        """Make ``columns`` the only readings of a derived series in a range; see the contract."""
        refuse_columns_unfit(series, start_us, end_us, columns)
        text.refuse_names_unfit(series)
        for time_us in columns.time_us[[0, -1]].tolist() if len(columns) else ():
            text.refuse_time_out_of_range(series, time_us)
        with self._turns.writing():
            self._writing.replace(series, start_us, end_us, columns, self._page)

    def read(self, series: Series, start_us: int, end_us: int) -> Columns:
        """Return a series' readings in a range; see the contract."""
        with self._turns.reading():
            found = pages(self._server, series, start_us, end_us, self._page)
            return answers.columns(one for page in found for one in page)

    def last_before(self, series: Series, before_us: int) -> Reading | None:
        """Return the newest reading strictly before an instant; see the contract."""
        if before_us <= text.EARLIEST_US:
            return None
        points = self._server.points(text.EARLIEST_US, before_us, *of_series(series))
        with self._turns.reading():
            rows = self._server.rows(points + " |> last()")
        newest = max(map(answers.stored, rows), default=None)
        return None if newest is None else Reading(series, newest.time_us, newest.value, newest.flag)

    def aggregate(self, series: Series, start_us: int, end_us: int, every_us: int) -> Buckets:
        """Return a series' readings summed up over equal stretches; see the contract."""
        if every_us <= 0:
            raise ValueError(f"readings cannot be summed up over {every_us} us: every_us must be above 0")
        start_us, end_us = text.clamped(start_us), text.clamped(end_us)
        # Flux has windowed times before 1970 wrongly (influxdata/flux, issue 2856): those are summed up here.
        early = answers.summed(self.read(series, start_us, min(end_us, 0)), every_us)
        start_us = max(start_us, 0)
        if start_us >= end_us:
            return early
        points = self._server.points(start_us, end_us, *of_series(series))
        every = f"{min(every_us, text.LATEST_US)}us"
        steps = {
            name: f'aggregateWindow(every: {every}, fn: {name}, createEmpty: false, timeSrc: "_start")'
            for name in answers.SUMS
        } | {name: f"window(every: {every}) |> {name}()" for name in answers.ENDS}
        queries = (
            f"{points} |> {step}{kept('_measurement', '_time', '_value', 'flag')}{named(name)}"
            for name, step in steps.items()
        )
        with self._turns.reading():
            rows = self._server.rows("\n".join(queries))
        return answers.joined(early, answers.combined(rows, every_us))

    def latest(self, farm: str) -> dict[Series, Reading]:
        """Return the newest reading of each series of a farm; see the contract."""
        with self._turns.reading():
            rows = self._server.rows(self._server.points(*EVER, READINGS, equal("farm", farm)) + " |> last()")
        latest: dict[Series, Reading] = {}
        for reading in map(answers.reading, rows):
            before = latest.get(reading.series)
            if before is None or (before.time_us, before.flag) < (reading.time_us, reading.flag):
                latest[reading.series] = reading
        return latest

    def known(self, farm: str) -> list[Known]:
        """Return the series that hold readings, in order of their keys; see the contract."""
        points = self._server.points(*EVER, READINGS, equal("farm", farm))
        queries = (
            points + " |> first()" + named("first"),
            points + " |> last()" + named("last"),
            self._server.points(0, 1, equal("_measurement", SERIES), equal("farm", farm)) + named("series"),
        )
        with self._turns.reading():
            rows = self._server.rows("\n".join(queries))
        times: dict[Series, list[int]] = defaultdict(list)
        origins: dict[Series, Origin] = {}
        for row in rows:
            if row["result"] == "series":
                origins[answers.series(row)] = Origin(row["_value"])
            else:
                times[answers.series(row)].append(microseconds(row["_time"]))
        known = (Known(one, origins.get(one, Origin.MEASURED), min(of), max(of)) for one, of in times.items())
        return sorted(known, key=lambda one: one.series.key)

    def touched(self, farm: str, limit: int) -> list[Touched]:
        """Return notes that are not settled yet; see the contract."""
        with self._turns.reading():
            return self._notes.open(farm, limit)

    def settle(self, notes: Collection[Touched]) -> None:
        """Forget notes that have been worked off; see the contract."""
        if notes:
            with self._turns.writing():
                self._notes.settle(notes)

    def close(self) -> None:
        """Release the connections; closing twice is harmless."""
        self._server.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()
