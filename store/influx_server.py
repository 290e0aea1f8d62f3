"""The HTTP side of the InfluxDB 2 engine: write, query and delete, with retries, and errors told in words."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from itertools import islice
from typing import Any, TypeVar

from influxdb_client import InfluxDBClient, WritePrecision
from influxdb_client.client.flux_csv_parser import FluxCsvParserException, FluxQueryException
from influxdb_client.client.write_api import SYNCHRONOUS
from influxdb_client.rest import ApiException
from urllib3.exceptions import HTTPError

from farm.readings import iso_time
from store.contract import StoreUnavailable, StoreUnusable
from store.influx_text import just_before, source

LINES = 5_000  # in one write request: "Optimize writes to InfluxDB" in InfluxDB's documentation
FIRST_WAIT_S, LONGEST_WAIT_S = 0.2, 5.0  # our choice, no source

_PASSING = frozenset({429, 500, 502, 503, 504})
_REMEDIES = {
    401: "it does not know the token: check LEAFWEATHER_INFLUX_TOKEN",
    403: "the token may not do this: give it the right to read and write the bucket",
    404: "it knows no such organisation or bucket, or the token may not see it: check the store's address",
}
_LASTING = {
    400: "it does not understand the request: is it InfluxDB 2?",
    413: "the request is too large for it: raise the limit of the server, or of the proxy before it",
    422: "it kept a part of the points and rejected the rest: give Leafweather a bucket of its own, "
    "with a retention of 0 (for ever)",
}

_Answer = TypeVar("_Answer")


class Server:
    """One bucket of an InfluxDB 2 server.

    Every request may be sent again without harm (a point written twice is one point), so each is, for
    as long as patience lasts: after 429 and 503 when ``Retry-After`` says, else after a wait that doubles.

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
    """

    def __init__(self, url: str, org: str, bucket: str, token: str, *, patience_s: float, timeout_s: float) -> None:
        self.bucket = bucket
        self._place = f"{url}/{org}/{bucket}"
        self._patience_s = patience_s
        self._client = InfluxDBClient(url, token, org=org, timeout=round(timeout_s * 1000), enable_gzip=True)
        self._write = self._client.write_api(write_options=SYNCHRONOUS).write
        self._query = self._client.query_api().query_stream
        self._delete = self._client.delete_api().delete
        self._closed = False

    def points(self, start_us: int, end_us: int, *conditions: str) -> str:
        """Return the start of a Flux query for the bucket's points; see `store.influx_text.source`."""
        return source(self.bucket, start_us, end_us, *conditions)

    def write(self, lines: Iterable[str]) -> None:
        """Write lines of line protocol, in order, durably."""
        iterator = iter(lines)
        while batch := list(islice(iterator, LINES)):
            text = "\n".join(batch)
            self._sent(partial(self._write, self.bucket, record=text, write_precision=WritePrecision.US))

    def rows(self, flux: str) -> list[dict[str, Any]]:
        """Return the rows of a Flux query's whole answer; ``result`` and ``table`` tell what each belongs to."""
        return self._sent(lambda: [record.values for record in self._query(flux)])

    def delete(self, start_us: int, end_us: int, predicate: str) -> None:
        """Delete the points in ``[start_us, end_us)`` of the series that a predicate names."""
        self._sent(lambda: self._delete(iso_time(start_us), just_before(end_us), predicate, bucket=self.bucket))

    def retention_s(self) -> int:
        """Return for how many seconds the bucket keeps points; 0 for ever, or where the token may not see that."""
        found = self._sent(lambda: self._client.buckets_api().find_bucket_by_name(self.bucket))
        rules: Sequence[Any] = (found.retention_rules if found else None) or ()
        return max((rule.every_seconds or 0 for rule in rules), default=0)

    def _sent(self, call: Callable[[], _Answer]) -> _Answer:
        """Return what a request answers, sent again after failures that may pass."""
        if self._closed:
            raise StoreUnavailable(f"{self._place} is closed: open it again")
        wait_s, give_up = FIRST_WAIT_S, None
        while True:
            try:
                return call()
            except ApiException as error:
                fault, asked_s = self._told(error), _seconds(error.retry_after)
                if error.status not in _PASSING:
                    raise fault from error
                cause: Exception = error
            except (HTTPError, OSError) as error:
                fault, asked_s, cause = StoreUnavailable(f"{self._place}: it does not answer ({error})"), None, error
            except FluxQueryException as error:
                raise StoreUnavailable(f"{self._place}: it gave up on a query: {error.message}") from error
            except (FluxCsvParserException, IndexError) as error:  # the second is how its parser meets other text
                raise StoreUnusable(f"{self._place}: its answer is not annotated CSV: is it InfluxDB 2?") from error
            now = time.monotonic()
            give_up = now + self._patience_s if give_up is None else give_up
            pause_s = wait_s * random.uniform(0.5, 1.0) if asked_s is None else asked_s  # noqa: S311  # no secret
            if now + pause_s > give_up:
                raise fault from cause
            time.sleep(pause_s)
            wait_s = min(2 * wait_s, LONGEST_WAIT_S)

    def _told(self, error: ApiException) -> StoreUnavailable | StoreUnusable:
        """Return the exception that tells what an HTTP error means and how to mend it."""
        said = f"({error.status or ''} {error.message or error.reason})"
        if error.status in _LASTING:
            return StoreUnusable(f"{self._place}: {_LASTING[error.status]} {said}")
        if error.retry_after:
            said = f"{said}, and asks to wait {error.retry_after} s"
        return StoreUnavailable(
            f"{self._place}: {_REMEDIES.get(error.status, 'it cannot serve now: try again')} {said}"
        )

    def close(self) -> None:
        """Release the connections; closing twice is harmless."""
        if not self._closed:
            self._closed = True
            self._client.close()


def _seconds(retry_after: str | None) -> float | None:
    """Return the seconds that a Retry-After header names; None where it names none."""
    return float(retry_after) if retry_after and retry_after.isdecimal() else None
