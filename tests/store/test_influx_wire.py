"""What the InfluxDB engine puts on the wire, read by a stand-in that is strict about the documented grammar."""

from __future__ import annotations

import itertools
import json
import math
import re

import pytest

from farm.readings import Columns, Series
from store import influx_text as text
from store.contract import StoreUnusable
from store.influx_pages import pages
from tests.store import influx_flux as flux
from tests.store.influx_line_protocol import Malformed, point
from tests.store.influx_stand_in import BUCKET, ORG, StandIn
from tests.store.words import AIR, FAR, HOUR, HUMIDITY, SOUTH_AIR, VPD, columns, everything, reading, windows

WRITE, QUERY, DELETE = "/api/v2/write", "/api/v2/query", "/api/v2/delete"
ODD_NAMES = ["row 1, east=west", "rød nr. ½", "${r}", "a$b", "#1", "'", "(r) => true", "🌱", "a:b|c", "%2F"]


class TestRequests:
    def test_an_append_is_one_query_then_notes_then_readings(self, influx_store, influx_server):
        del influx_server.seen[:]
        influx_store.append([reading(HOUR + 2, 20.5, 3, HUMIDITY), reading(HOUR + 1, -1e-7), reading(5)])
        assert [one.path for one in influx_server.seen] == [QUERY, WRITE, WRITE]
        notes, readings = influx_server.requests(WRITE)
        head, tail = notes.body.split("\n")[:2], notes.body.split("\n")[2:]
        assert sorted(head) == [
            'series,farm=north,series=room/air_temperature origin="measured" 0',
            'series,farm=north,series=room/relative_humidity/probe-2 origin="measured" 0',
        ]
        assert tail == [
            "counter version=1i 0",
            f'note,farm=north,series={HUMIDITY.key} window="00000000000000000001 3600000002 3600000002" 3600000000',
            f'note,farm=north,series={AIR.key} window="00000000000000000001 3600000001 3600000001" 3600000000',
            f'note,farm=north,series={AIR.key} window="00000000000000000001 5 5" 0',
        ]  # fmt: skip
        assert readings.body.split("\n") == [
            "reading,farm=north,flag=1,series=room/air_temperature value=20.0 5",
            "reading,farm=north,flag=1,series=room/air_temperature value=-1e-07 3600000001",
            "reading,farm=north,flag=3,series=room/relative_humidity/probe-2 value=20.5 3600000002",
        ]

    def test_a_repeat_writes_nothing(self, influx_store, influx_server):
        influx_store.append([reading(1)])
        del influx_server.seen[:]
        influx_store.append([reading(1), reading(1, 3.0)])
        assert [one.path for one in influx_server.seen] == [QUERY]

    def test_a_write_says_bucket_organisation_precision_and_that_it_is_compressed(self, influx_store, influx_server):
        influx_store.append([reading(1)])
        write = influx_server.requests(WRITE)[-1]
        assert write.query == {"org": ORG, "bucket": BUCKET, "precision": "us"}
        assert write.headers["Content-Encoding"] == "gzip"
        assert write.headers["Content-Type"].startswith("text/plain")

    def test_large_batches_go_in_requests_of_5000_lines(self, influx_store, influx_server):
        result = influx_store.append([reading(time * 1000, float(time)) for time in range(12_001)])
        assert result.stored == 12_001
        assert [one.body.count("\n") + 1 for one in influx_server.requests(WRITE)][-3:] == [5000, 5000, 2001]

    def test_far_apart_times_are_asked_for_apart_but_not_in_too_many_parts(self, influx_store, influx_server):
        influx_store.append([reading(0), reading(1000 * HOUR), reading(1000 * HOUR + 5)])
        asked = influx_server.requests(QUERY)[-1].body
        assert re.findall(r"readings (\d+)", asked) == ["0", "1"]
        assert influx_store.append([reading(day * 24 * HOUR + 1) for day in range(500)]).stored == 500
        assert len(re.findall(r"readings \d+", influx_server.requests(QUERY)[-1].body)) == 40

    def test_first_and_last_are_asked_for_with_their_own_times_and_found_across_flags(
        self, influx_store, influx_server
    ):
        rows = [(0, 9.0, 4), (1, 1.0, 3), (2, 2.0, 1), (3, 3.0, 3), (4, 4.0, 1), (5, 9.0, 9), (60, 5.0, 2)]
        influx_store.append([reading(*row) for row in rows])
        got = influx_store.aggregate(AIR, 0, 120, 60)
        assert (got.first.tolist(), got.last.tolist()) == ([1.0, 5.0], [4.0, 5.0])
        asked = influx_server.requests(QUERY)[-1].body
        assert re.findall(r"window\(every: 60us\) \|> (\w+)\(\)", asked) == ["first", "last"]

    @pytest.mark.parametrize("start_us", [-60, 0])
    def test_of_two_readings_of_one_time_the_worse_flag_is_first_and_last(self, influx_store, influx_server, start_us):
        """They stand there while a derived stretch is being replaced: `read` gives the worse one as well."""
        influx_store.replace(VPD, start_us, start_us + 60, columns((start_us + 7, 1.0, 1)))
        worse = ("reading", (("farm", "north"), ("flag", "3"), ("series", VPD.key)), "value")
        influx_server.points[worse] = {(start_us + 7) * 1000: 2.0}
        got = influx_store.aggregate(VPD, start_us, start_us + 60, 60)
        assert (got.first.tolist(), got.last.tolist(), got.flag.tolist()) == ([2.0], [2.0], [3])
        assert influx_store.read(VPD, start_us, start_us + 60).value.tolist() == [2.0]

    def test_a_bucket_that_forgets_is_refused(self, influx_opened, influx_server):
        influx_server.retention_s = 86_400
        with pytest.raises(StoreUnusable, match=r"forgets readings after 86400 s: set its retention to 0"):
            influx_opened()


class TestNames:
    @pytest.mark.parametrize("name", ODD_NAMES)
    def test_odd_names_come_back_and_match_nothing_else(self, influx_store, name):
        odd = Series(name, name, "air_temperature", name)
        influx_store.append([reading(1), reading(1, 5.0, 3, odd), reading(2, 6.0, 1, odd)])
        assert everything(influx_store, odd) == [(1, 5.0, 3), (2, 6.0, 1)]
        assert influx_store.latest(name) == {odd: reading(2, 6.0, 1, odd)}
        assert [one.series for one in influx_store.known(name)] == [odd]
        assert windows(influx_store, name) == [(odd, 1, 2)]
        assert everything(influx_store, AIR) == [(1, 20.0, 1)]
        influx_store.settle(influx_store.touched(name, 5))
        assert (windows(influx_store, name), windows(influx_store)) == ([], [(AIR, 1, 1)])
        derived = odd._replace(quantity="vapour_pressure_deficit")
        influx_store.replace(derived, 0, 10, columns((1, 1.0, 1), (2, 2.0, 1)))
        influx_store.replace(derived, 0, 10, columns((1, 1.0, 3)))
        assert everything(influx_store, derived) == [(1, 1.0, 3)]

    @pytest.mark.parametrize("name", ['a"b', "a\\", "a\nb", "a\tb", "a/b", "", "\x00"])
    @pytest.mark.parametrize("part", ["farm", "zone"])
    def test_names_that_cannot_be_kept_are_refused_and_nothing_is_stored(self, influx_store, influx_server, part, name):
        del influx_server.seen[:]
        bad = AIR._replace(**{part: name})
        with pytest.raises(ValueError, match=f"cannot be the {part} of a series in InfluxDB"):
            influx_store.append([reading(1), reading(1, series=bad)])
        with pytest.raises(ValueError, match=f"cannot be the {part} of a series in InfluxDB"):
            influx_store.replace(bad, 0, 10, columns((1, 1.0, 1)))
        assert influx_server.seen == []

    @pytest.mark.parametrize(
        "name",
        [
            'north" or r["farm"] != "',
            'x") or true) |> yield(name: "all") //',
            '${from(bucket: "readings")}',
            "\\",
            '\\" or true or "',
            "north\n|> drop()",
            '"',
        ],
    )
    def test_hostile_names_find_nothing(self, influx_store, name):
        influx_store.append([reading(1), reading(1, series=SOUTH_AIR)])
        series = Series(name, name, name, name)
        assert (influx_store.latest(name), influx_store.known(name), influx_store.touched(name, 9)) == ({}, [], [])
        assert everything(influx_store, series) == []
        assert influx_store.last_before(series, FAR) is None
        assert len(influx_store.aggregate(series, -FAR, FAR, HOUR).time_us) == 0
        assert everything(influx_store, AIR._replace(zone=name)) == []

    @pytest.mark.parametrize("name", [*ODD_NAMES, '"', "\\", "\\${", "${", "a\nb\r\tc", '\\"'])
    def test_a_flux_string_reads_back_as_it_was(self, name):
        assert flux.string(text.string(name)) == name

    def test_times_out_of_range_are_refused_and_ranges_are_cut(self, influx_store):
        for time_us in (-(1 << 62), 1 << 62):
            with pytest.raises(ValueError, match="a time that InfluxDB cannot keep: it holds 1677-09-21"):
                influx_store.append([reading(1), reading(time_us)])
        edges = [text.EARLIEST_US, text.LATEST_US - 1]
        influx_store.append([reading(time_us) for time_us in edges])
        assert influx_store.read(AIR, -FAR, FAR).time_us.tolist() == edges


class TestPages:
    def test_a_long_stretch_comes_in_pages_and_complete(self, influx_opened, influx_server):
        rows = [(time, float(time % 7), (1, 1, 1, 3, 4)[time % 5]) for time in range(1000)]
        with influx_opened(page=64) as store:
            store.append([reading(*row) for row in rows])
            del influx_server.seen[:]
            assert everything(store, AIR) == rows
            asked = influx_server.requests(QUERY)
            assert len(asked) >= 600 // 64  # flag 1 alone has 600 readings
            assert all("limit(n: 64)" in one.body for one in asked)

    def test_each_page_is_later_than_the_one_before_and_none_comes_twice(self, influx_opened):
        with influx_opened() as store:
            store.append([reading(time, flag=(1, 1, 3)[time % 3]) for time in range(100)])
            found = [[one.time_us for one in page] for page in pages(store._server, AIR, -FAR, FAR, 7)]
        assert sum(map(len, found)) == 100
        assert all(max(before) < min(after) for before, after in itertools.pairwise(filter(None, found)))

    def test_pages_end_where_the_last_one_is_full(self, influx_opened):
        with influx_opened(page=10) as store:
            store.append([reading(time) for time in range(20)])
            assert len(everything(store, AIR)) == 20


class TestReplace:
    def test_what_stays_is_not_written_and_what_goes_is_deleted_in_runs(self, influx_store, influx_server):
        influx_store.replace(VPD, 0, 100, columns(*((time, 1.0, 1) for time in range(100))))
        del influx_server.seen[:]
        influx_store.replace(VPD, 0, 100, columns(*((time, 1.0, 1) for time in range(20)), (50, 1.0, 1), (60, 2.0, 1)))
        assert [one.body for one in influx_server.requests(WRITE)] == [
            "reading,farm=north,flag=1,series=room/vapour_pressure_deficit value=2.0 60"
        ]
        deletes = [re.findall(r'"(start|stop)": "(.*?)"', one.body) for one in influx_server.requests(DELETE)]
        assert deletes == [
            [("start", f"1970-01-01T00:00:00{start}Z"), ("stop", f"1970-01-01T00:00:00.{stop:06d}999Z")]
            for start, stop in ((".000020", 49), (".000051", 59), (".000061", 99))
        ]

    def test_a_delete_says_whose_points_go(self, influx_store, influx_server):
        influx_store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        influx_store.replace(VPD, 0, 10, Columns.empty())
        (delete,) = influx_server.requests(DELETE)
        assert delete.query == {"org": ORG, "bucket": BUCKET}
        assert json.loads(delete.body) == {
            "start": "1970-01-01T00:00:00.000001Z",
            "stop": "1970-01-01T00:00:00.000001999Z",
            "predicate": f'"_measurement"="reading" AND "farm"="north" AND "flag"="1" AND "series"="{VPD.key}"',
        }

    def test_a_changed_flag_leaves_no_second_reading(self, influx_store, influx_server):
        other = VPD._replace(sensor="probe-2")
        for series in (VPD, other):
            influx_store.replace(series, 0, 10, columns((1, 1.0, 1), (2, math.nan, 9), (3, 1.0, 1)))
        influx_store.replace(VPD, 0, 10, columns((1, 1.0, 3), (2, 2.0, 9), (3, math.nan, 1)))
        assert everything(influx_store, VPD) == [(1, 1.0, 3), (2, 2.0, 9), (3, None, 1)]
        assert everything(influx_store, other) == [(1, 1.0, 1), (2, None, 9), (3, 1.0, 1)]
        held = [len(values) for (_, tags, _), values in influx_server.points.items()
                if dict(tags).get("series") == VPD.key and dict(tags).get("flag")]  # fmt: skip
        assert sum(held) == 3

    def test_writing_comes_before_deleting(self, influx_store, influx_server):
        influx_store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        del influx_server.seen[:]
        influx_store.replace(VPD, 0, 10, columns((2, 1.0, 1)))
        assert [one.path for one in influx_server.seen] == [QUERY, WRITE, DELETE]
        influx_store.replace(VPD, 0, 10, Columns.empty())
        assert everything(influx_store, VPD) == []


class TestSettledNotes:
    def test_settled_notes_are_cleared_when_a_farm_has_no_open_ones(self, influx_store, influx_server, monkeypatch):
        monkeypatch.setattr("store.influx_notes.SETTLED_KEPT", 3)

        def kept():
            return sum(len(values) for (name, *_), values in influx_server.points.items() if name == "note")

        influx_store.append([reading(hour * HOUR) for hour in range(6)])
        notes = influx_store.touched("north", 10)
        influx_store.settle(notes[:5])
        assert (kept(), len(influx_server.requests(DELETE))) == (6, 0)  # one is open still
        influx_store.settle(notes)
        assert (kept(), len(influx_server.requests(DELETE))) == (0, 1)
        influx_store.append([reading(5 * HOUR + 1)])
        influx_store.settle(notes)  # old versions: they must not settle the new note
        assert windows(influx_store) == [(AIR, 5 * HOUR + 1, 5 * HOUR + 1)]


# Examples of the documentation page "Line protocol" (InfluxDB OSS v2), then lines that its rules refuse.
@pytest.mark.parametrize(
    ("line", "tags", "fields"),
    [
        ('myMeasurement,tag1=value1,tag2=value2 fieldKey="fieldValue" 15568135610980', 2, {"fieldKey": "fieldValue"}),
        ("myMeasurement fieldKey=-1.234456e+78 1", 0, {"fieldKey": -1.234456e78}),
        ("myMeasurement fieldKey=-12485903i 1", 0, {"fieldKey": -12485903}),
        ("myMeasurement fieldKey=F 1", 0, {"fieldKey": False}),
        (r'myMeasurement fieldKey="\"string\" within a string" 1', 0, {"fieldKey": '"string" within a string'}),
        (r"myMeasurement,tag\ Key1=tag\ Value1,tag\ Key2=tag\ Value2 fieldKey=100 1", 2, {"fieldKey": 100.0}),
        ('myMeasurement,tagKey=🍭 fieldKey="Launch 🚀" 1556813561098000000', 1, {"fieldKey": "Launch 🚀"}),
    ],
)  # fmt: skip
def test_the_stand_in_reads_the_documentations_lines(line, tags, fields):
    read = point(line, 1)
    assert (len(read.tags), read.fields) == (tags, fields)


@pytest.mark.parametrize(
    "line",
    [
        "m,a= v=1 1", "m,=b v=1 1", "m v= 1", "m 1", "m,a=b 1", "m v=NaN 1", "m v=inf 1", "m v=1.0f 1", "m v=1",
        "m v=1 1.5", "m v=1 9223372036854775807", "m v=9223372036854775808i 1", 'm v="a 1', "m v='a' 1", "_m v=1 1",
        "m _v=1 1", "m,_t=a v=1 1", "m,a=b c v=1 1", "m,a=b=c v=1 1", "m,b=1,a=2 v=1 1", "m,a=1,a=2 v=1 1", "m  v=1 1",
        "m,a=b\\ v=1 1", ",a=b v=1 1", 'm v="' + "x" * 70_000 + '" 1',
    ],
)  # fmt: skip
def test_the_stand_in_refuses_what_the_grammar_refuses(line):
    with pytest.raises(Malformed):
        point(line, 1)


@pytest.mark.parametrize(
    "query",
    [
        'from(bucket: "readings") |> drop(columns: ["a"])',
        'from(bucket: "readings") |> limit(n: 1)',
        'from(bucket: "${1}") |> range(start: 1970-01-01T00:00:00Z, stop: 1970-01-02T00:00:00Z)',
        'import "array" array.from(rows: [])',
        (
            'from(bucket: "readings") |> range(start: 1970-01-01T00:00:00Z, stop: 1970-01-02T00:00:00Z)'
            " |> window(every: 0us)"
        ),
    ],
)
def test_the_stand_in_refuses_other_flux(query):
    with StandIn() as stand_in, pytest.raises((flux.BadFlux, KeyError)):
        flux.run(query, BUCKET, stand_in.points)
