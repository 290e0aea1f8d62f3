"""Reading a stretch of one series from InfluxDB 2, however long it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from farm.readings import Series
from store import influx_answers as answers
from store.influx_answers import Stored
from store.influx_server import Server
from store.influx_text import GAP, READING, clamped, equal, kept

READINGS = f"({equal('_measurement', READING)} or {equal('_measurement', GAP)})"


def of_series(series: Series) -> tuple[str, ...]:
    """Return the conditions that the points of one series' readings meet."""
    return READINGS, equal("farm", series.farm), equal("series", series.key)


def pages(server: Server, series: Series, start_us: int, end_us: int, length: int) -> Iterator[list[Stored]]:
    """Yield a series' readings in a range, page after page, each later than the one before.

    Each flag is a table of its own, ascending in time and cut at a page's length: what is later than the
    end of the earliest table that was cut is left to the next page.
    """
    start_us, end_us = clamped(start_us), clamped(end_us)
    while start_us < end_us:
        query = server.points(start_us, end_us, *of_series(series)) + f" |> limit(n: {length})"
        tables: dict[tuple[str, str], list[Stored]] = defaultdict(list)
        for row in server.rows(query + kept("_measurement", "_time", "_value", "flag")):
            tables[row["_measurement"], row["flag"]].append(answers.stored(row))
        last_us = min((table[-1].time_us for table in tables.values() if len(table) >= length), default=end_us)
        yield [one for table in tables.values() for one in table if one.time_us <= last_us]
        start_us = last_us + 1
