"""VictoriaMetrics: a sample a reading, the flag as a label, over HTTP.

It promises no durability: a request is answered when its samples are in memory, and a crash may cost the last seconds.
Nor does it refuse a second sample of one series and time.
"""

from __future__ import annotations

import http.client
import json
import time
import urllib.parse
from collections import defaultdict

import msgspec
import numpy as np

from bench.engines import servers
from bench.engines.invented import COLUMNS

NAME = "VictoriaMetrics"
US_PER_MS = 1000
LATEST_WITHIN = "1h"  # of the newest reading of all


class Line(msgspec.Struct):
    """A line of an export: samples of one series and flag."""

    metric: dict[str, str]
    values: list[float]
    timestamps: list[int]


_line = msgspec.json.Decoder(Line).decode


class VictoriaMetrics:
    """A server of its own in a folder."""

    def __init__(self, folder):
        found = servers.program("victoria-metrics")
        self._data = folder / "victoria-metrics"
        port = servers.free_port()
        command = [
            found,
            f"-storageDataPath={self._data}",
            f"-httpListenAddr=127.0.0.1:{port}",
            "-retentionPeriod=100y",
            "-search.disableCache",  # no other engine here may remember an answer
            "-loggerLevel=ERROR",
        ]
        self.server = servers.Server(command, folder / "victoria-metrics.log")
        self._newest_us = 0
        self._http = http.client.HTTPConnection("127.0.0.1", port, timeout=600)
        try:
            self.server.wait_until(lambda: self._answer("GET", "/health"))
        except BaseException:
            self.server.stop()
            raise

    def _answer(self, method, path, body=None, **query):
        try:
            self._http.request(method, f"{path}?{urllib.parse.urlencode(query)}", body)
            answer = self._http.getresponse()
            content = answer.read()
        except BaseException:
            self._http.close()  # it opens again by itself
            raise
        if answer.status >= 300:
            raise RuntimeError(f"{path} {query}: {answer.status} {content[:500]!r}")
        return content

    def append(self, rows):
        self._newest_us = max(self._newest_us, *(row[1] for row in rows))
        samples = defaultdict(lambda: ([], []))
        for number, time_us, value, flag in rows:
            times, values = samples[number, flag]
            times.append(time_us // US_PER_MS)
            values.append(value)
        lines = [
            json.dumps(
                {
                    "metric": {"__name__": "reading", "series": str(number), "flag": str(flag)},
                    "values": values,
                    "timestamps": times,
                }
            )
            for (number, flag), (times, values) in samples.items()
        ]
        self._answer("POST", "/api/v1/import", "\n".join(lines).encode())

    def settle(self):
        """Make everything visible to queries, and let the merging of files that is under way end."""
        self._answer("GET", "/internal/force_flush")
        deadline = time.monotonic() + 60
        while b'vm_active_merges{type="storage/small"} 0' not in self._answer("GET", "/metrics"):
            if time.monotonic() > deadline:
                break
            time.sleep(0.2)

    def read(self, number, start_us, end_us):
        export = {"match[]": f'reading{{series="{number}"}}'}
        content = self._answer("GET", "/api/v1/export", start=start_us / 1e6, end=end_us / 1e6 - 1e-3, **export)
        lines = [_line(line) for line in content.splitlines()]
        found = np.empty(sum(len(one.values) for one in lines), COLUMNS)
        place = 0
        for one in lines:
            part = found[place : place + len(one.values)]
            part["time"] = np.array(one.timestamps) * US_PER_MS
            part["value"] = one.values
            part["flag"] = int(one.metric["flag"])
            place += len(part)
        return found[np.argsort(found["time"], kind="stable")]

    def aggregate(self, number, start_us, end_us, every_us):
        """Return what the SQL engines do, from five queries in one request; of flags, 1 and 3 are in use here."""
        every = f"{every_us // 1_000_000}s"
        chosen = f'reading{{series="{number}",flag=~"[123]"}}[{every}]'
        asked = {
            "count": f"sum(count_over_time({chosen}))",
            "total": f"sum(sum_over_time({chosen}))",
            "low": f"min(min_over_time({chosen}))",
            "high": f"max(max_over_time({chosen}))",
            "suspect": f'sum(count_over_time(reading{{series="{number}",flag="3"}}[{every}]))',
        }
        query = ",".join(f'label_set({one},"is","{name}")' for name, one in asked.items())
        # A stretch here is what came after its begin up to its end, both moved by a millisecond to mean ours.
        content = self._answer(
            "GET", "/api/v1/query_range", query=f"union({query})", step=every, nocache=1,
            start=(start_us + every_us) / 1e6 - 1e-3, end=end_us / 1e6 - 1e-3,
        )  # fmt: skip
        found = {one["metric"]["is"]: dict(one["values"]) for one in json.loads(content)["data"]["result"]}
        suspect = found.get("suspect", {})
        return [
            (
                round(end_s * 1e6) + US_PER_MS - every_us,
                int(count),
                float(found["total"][end_s]) / int(count),
                float(found["low"][end_s]),
                float(found["high"][end_s]),
                3 if end_s in suspect else 1,
            )
            for end_s, count in found["count"].items()
        ]

    def latest(self, count):  # of all series in one request
        parts = [f'label_set({what}(reading[{LATEST_WITHIN}]),"is","{what}")' for what in _LATEST]
        content = self._answer("GET", "/api/v1/query", query=f"union({','.join(parts)})", time=self._newest_us / 1e6)
        answers = defaultdict(dict)
        for one in json.loads(content)["data"]["result"]:
            metric = one["metric"]
            answers[int(metric["series"]), int(metric["flag"])][metric["is"]] = float(one["value"][1])
        newest = {}
        for (number, flag), found in answers.items():
            row = (number, round(found["tlast_over_time"] * 1e6), found["last_over_time"], flag)
            if number not in newest or row[1] > newest[number][1]:
                newest[number] = row
        return sorted(newest.values())

    def disk_bytes(self):
        return servers.disk_bytes(self._data)

    def close(self):
        self._http.close()
        self.server.stop()


_LATEST = ("last_over_time", "tlast_over_time")
