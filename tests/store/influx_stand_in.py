"""A small local stand-in for an InfluxDB 2 server: it is not InfluxDB, and a test against it proves little of it.

It answers the four requests of the documented v2 API that the engine sends (write, query, delete, list
buckets) over real HTTP, holds points in memory, refuses line protocol that the documented grammar refuses
(`influx_line_protocol`) and Flux that is not one of the engine's few shapes (`influx_flux`), and can be
told to fail in the documented ways. What tests against it prove: what goes over the wire (bodies, escapes,
headers, order), and what the engine makes of the documented answers.

What they do not prove: that InfluxDB accepts and plans these queries as this does; its speed and memory
limits; that one request's points of one series appear together to another process; durability; what its
storage does under deletes; the rights of tokens; any release's bugs. For that, run the conformance suite
on a real server: ``make test-influx``.
"""

from __future__ import annotations

import gzip
import json
import re
import socket
import struct
import threading
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import NamedTuple
from urllib.parse import parse_qs, urlsplit

from tests.store import influx_flux as flux
from tests.store.influx_line_protocol import Malformed, parsed

ORG, BUCKET, TOKEN = "leafweather", "readings", "a-token-of-the-stand-in"
# A column that is an InfluxQL keyword, as "series" is, must be quoted (page "Delete predicate syntax"): here all are.
EQUALS = re.compile(r'"(\w+)"="([^"\\]*)"')


class Fault(NamedTuple):
    """What to answer instead of the truth; ``applied`` does the work first, as a lost answer would."""

    path: str = "/api/v2/write"
    status: int = 503
    headers: tuple[tuple[str, str], ...] = ()
    message: str = "told to fail"
    reset: bool = False
    applied: bool = False
    cut: bool = False  # an answer that ends in the middle
    csv: str | None = None  # an answer to a query


class Seen(NamedTuple):
    path: str
    query: dict[str, str]
    headers: dict[str, str]
    body: str


@dataclass
class StandIn:
    """The server's points, faults to come and requests seen; use it as a context manager."""

    retention_s: int = 0
    points: dict = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    seen: list[Seen] = field(default_factory=list)

    def __enter__(self):
        stand_in = self

        class Handler(_Handler):
            server_state = stand_in

        self.lock = threading.Lock()
        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.server.server_address[1]}"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True)
        self.thread.start()
        return self

    def __exit__(self, *exc):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()

    def requests(self, path):
        return [one for one in self.seen if one.path == path]

    def fault_for(self, path):
        for place, fault in enumerate(self.faults):
            if fault.path == path:
                return self.faults.pop(place)
        return None

    def write(self, query, body):
        points = parsed(body, query.get("precision", "ns"))
        rejected = []
        for one in points:
            for name, value in one.fields.items():
                held = self.points.setdefault((one.measurement, one.tags, name), {})
                if any(type(other) is not type(value) for other in list(held.values())[:1]):
                    rejected.append((one.measurement, name))
                else:
                    held[one.time_ns] = value
        if rejected:
            measurement, name = rejected[0]
            message = (
                f'failure writing points to database: partial write: field type conflict: input field "{name}" '
                f'on measurement "{measurement}" has another type dropped={len(rejected)}'
            )
            return 422, {"code": "unprocessable entity", "message": message}
        return 204, None

    def delete(self, body):
        request = json.loads(body)
        start, stop = (flux.nanoseconds(request[name]) for name in ("start", "stop"))
        terms = request["predicate"].split(" AND ")
        wanted = dict(EQUALS.fullmatch(term).groups() for term in terms)  # fails on anything else
        for (measurement, tags, _), values in self.points.items():
            if wanted.items() <= {"_measurement": measurement, **dict(tags)}.items():
                for time in [time for time in values if start <= time <= stop]:
                    del values[time]
        return 204, None

    def answer(self, method, path, query, body):
        with self.lock:
            if path == "/api/v2/buckets" and method == "GET":
                rules = [{"type": "expire", "everySeconds": self.retention_s}] if self.retention_s else []
                bucket = {"id": "0000000000000001", "name": BUCKET, "retentionRules": rules}
                return 200, {"buckets": [bucket] if query.get("name") == BUCKET else []}
            if query.get("org") != ORG or (path != "/api/v2/query" and query.get("bucket") != BUCKET):
                return 404, {"code": "not found", "message": "organization or bucket not found"}
            if path == "/api/v2/write":
                return self.write(query, body)
            if path == "/api/v2/delete":
                return self.delete(body)
            request = json.loads(body)
            assert request.get("type", "flux") == "flux", request
            assert "params" not in request, "InfluxDB OSS has no parameters"
            try:
                return 200, flux.annotated_csv(flux.run(request["query"], BUCKET, self.points))
            except LookupError as error:
                return 404, {"code": "not found", "message": str(error)}


class _Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    server_state: StandIn
    timeout = 10
    disable_nagle_algorithm = True
    wbufsize = -1  # an answer leaves in one piece

    def log_message(self, *_):
        pass

    def do_GET(self):
        self.respond()

    def do_POST(self):
        self.respond()

    def respond(self):
        state, parts = self.server_state, urlsplit(self.path)
        raw = self.rfile.read(int(self.headers.get("Content-Length") or 0))
        body = (gzip.decompress(raw) if self.headers.get("Content-Encoding") == "gzip" else raw).decode()
        query = {name: values[0] for name, values in parse_qs(parts.query).items()}
        state.seen.append(Seen(parts.path, query, dict(self.headers), body))
        if self.headers.get("Authorization") != f"Token {TOKEN}":
            self.send(401, {"code": "unauthorized", "message": "unauthorized access"})
            return
        fault = state.fault_for(parts.path)
        if fault is None or fault.applied or fault.cut:
            try:
                status, answer = state.answer(self.command, parts.path, query, body)
            except (Malformed, flux.BadFlux, KeyError, TypeError, AttributeError) as error:
                status, answer = 400, {"code": "invalid", "message": f"{type(error).__name__}: {error}"}
        if fault is None:
            self.send(status, answer)
        elif fault.reset:
            self.connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
            self.close_connection = True
            self.connection.close()
        elif fault.csv is not None:
            self.send(200, fault.csv)
        elif fault.cut:
            self.send(status, answer, cut=True)
        else:
            self.send(fault.status, {"code": "told", "message": fault.message}, fault.headers)

    def send(self, status, answer, headers=(), *, cut=False):
        csv = isinstance(answer, str)
        payload = b"" if answer is None else (answer if csv else json.dumps(answer)).encode()
        self.send_response(status)
        self.send_header("Content-Type", "text/csv; charset=utf-8" if csv else "application/json; charset=utf-8")
        self.send_header("Content-Length", str(len(payload)))
        for name, value in headers:
            self.send_header(name, value)
        self.end_headers()
        self.wfile.write(payload[: len(payload) // 2] if cut else payload)
        if cut:
            self.close_connection = True
