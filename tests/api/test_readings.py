import csv
import io
from datetime import UTC, datetime

import pyarrow as pa
import pytest

from analytics.probes import Correction
from api import columns
from store.entries import QualityMark
from tests.api.conftest import AIR as AIR_SERIES
from tests.api.conftest import HOUR_US, MINUTE_US, MINUTES, T0_US, Client, assert_problem

AIR = "/api/v1/series/room/air_temperature/readings"
VPD = "/api/v1/series/room/vapour_pressure_deficit/readings"
SIX_TO_SEVEN = "start=2026-03-01T06:00:00Z&end=2026-03-01T07:00:00Z"


def test_json_is_columns_with_unit_and_range(client):
    body = client(f"{AIR}?{SIX_TO_SEVEN}").json()
    assert (body["series"], body["unit"]) == ("room/air_temperature", "degC")
    assert (body["start"], body["end"]) == ("2026-03-01T06:00:00Z", "2026-03-01T07:00:00Z")
    assert len(body["time"]) == len(body["value"]) == len(body["flag"]) == 60
    assert (body["time"][0], body["time"][-1]) == ("2026-03-01T06:00:00Z", "2026-03-01T06:59:00Z")
    assert body["value"][:3] == [21.0, 21.1, 21.2]
    assert set(body["flag"]) == {1}
    assert "low" not in body


def test_the_last_24_hours_are_the_default(client):
    body = client(AIR).json()
    assert (body["start"], body["end"]) == ("2026-03-01T12:00:00Z", "2026-03-02T12:00:00Z")
    assert len(body["time"]) == 24 * 60


def test_zones_of_time_and_relative_times_are_understood(client):
    oslo = client(AIR, params={"start": "2026-03-01T07:00:00+01:00", "end": "2026-03-01T08:00:00+01:00"}).json()
    assert oslo["start"] == "2026-03-01T06:00:00Z"
    assert len(oslo["time"]) == 60
    for text, start in (("-90s", "11:58:30"), ("-30m", "11:30:00"), ("-2h", "10:00:00")):
        assert client(f"{AIR}?start={text}").json()["start"] == f"2026-03-02T{start}Z"
    assert client(f"{AIR}?start=-7d&end=-1d").json()["start"] == "2026-02-23T12:00:00Z"


def test_every_gives_mean_low_high_and_count(client):
    body = client(f"{AIR}?{SIX_TO_SEVEN}&every=10m").json()
    # 21.0, 21.1, ... 21.9: ten readings a stretch
    assert body["every_s"] == 600
    assert body["value"] == pytest.approx([21.45] * 6)
    assert (body["low"], body["high"], body["count"]) == ([21.0] * 6, [21.9] * 6, [10] * 6)
    assert body["time"][1] == "2026-03-01T06:10:00Z"


def test_a_value_that_is_no_number_is_null(client):
    body = client(f"{VPD}?start=2026-03-01T00:00:00Z").json()
    assert (body["value"], body["flag"]) == ([1.0, None, 1.2], [1, 9, 1])
    summed = client(f"{VPD}?start=2026-03-01T00:00:00Z&every=1m").json()
    assert (summed["value"], summed["count"]) == ([1.0, None, 1.2], [1, 0, 1])


def test_a_failed_reading_does_not_count(client):
    path = "/api/v1/series/room/co2_mole_fraction/readings?every=1h"
    body = client(path).json()
    assert (body["count"], body["low"], body["flag"]) == ([9], [901.0], [1])  # ten, the first flagged as failed


def test_arrow_carries_units_and_utc(client):
    response = client(f"{AIR}?{SIX_TO_SEVEN}&format=arrow")
    assert response.headers["content-type"] == "application/vnd.apache.arrow.stream"
    table = pa.ipc.open_stream(response.content).read_all()
    assert table.schema.field("time").type == pa.timestamp("us", tz="UTC")
    assert table.schema.field("value").metadata == {b"unit": b"degC", b"ucum": b"Cel"}
    assert table.schema.metadata[b"series"] == b"room/air_temperature"
    assert table.column_names == ["time", "value", "flag"]
    assert table["time"][1].as_py() == datetime(2026, 3, 1, 6, 1, tzinfo=UTC)
    assert table["value"].to_pylist()[:2] == [21.0, 21.1]


def test_arrow_of_stretches_has_their_columns(client):
    response = client(f"{AIR}?{SIX_TO_SEVEN}&every=10m&format=arrow")
    table = pa.ipc.open_stream(response.content).read_all()
    assert table.column_names == ["time", "value", "low", "high", "count", "flag"]
    assert table.schema.field("low").metadata[b"unit"] == b"degC"
    assert table["count"].to_pylist() == [10] * 6


def test_csv_reads_back_with_the_unit_in_the_head(client):
    response = client(f"{AIR}?{SIX_TO_SEVEN}&format=csv")
    assert response.headers["content-type"].startswith("text/csv")
    assert 'filename="testfarm_room_air_temperature.csv"' in response.headers["content-disposition"]
    rows = list(csv.DictReader(io.StringIO(response.text, newline="")))
    assert list(rows[0]) == ["time", "value [degC]", "flag"]
    assert len(rows) == 60
    assert rows[1] == {"time": "2026-03-01T06:01:00Z", "value [degC]": "21.1", "flag": "1"}


def test_csv_leaves_a_missing_value_empty_and_crosses_its_slices(client, monkeypatch):
    rows = list(csv.reader(io.StringIO(client(f"{VPD}?start=2026-03-01T00:00:00Z&format=csv").text, newline="")))
    assert [row[1] for row in rows] == ["value [kPa]", "1.0", "", "1.2"]
    monkeypatch.setattr(columns, "CSV_ROWS_AT_ONCE", 7)
    rows = list(csv.reader(io.StringIO(client(f"{AIR}?{SIX_TO_SEVEN}&format=csv").text, newline="")))
    assert [row[1] for row in rows[1:]] == [f"{21 + 0.1 * (n % 10):.1f}" for n in range(60)]


@pytest.mark.parametrize("form", ["json", "csv", "arrow"])
def test_a_series_without_readings_answers_with_no_rows(client, form):
    response = client(f"/api/v1/series/outdoors/air_temperature/readings?format={form}&every=1h")
    assert response.status_code == 200
    if form == "json":
        assert response.json()["value"] == []
    elif form == "csv":
        assert response.text.count("\r\n") == 1
    else:
        assert pa.ipc.open_stream(response.content).read_all().num_rows == 0


def test_a_range_of_a_century_is_cheap_where_there_is_nothing(client):
    body = client(f"{AIR}?start=1970-01-01T00:00:00Z&end=2199-01-01T00:00:00Z").json()
    assert len(body["time"]) == MINUTES
    assert body["start"] == "1970-01-01T00:00:00Z"
    assert client(f"{AIR}?start=2100-01-01T00:00:00Z&end=2101-01-01T00:00:00Z").json()["time"] == []


def test_too_many_points_name_the_remedy(client, monkeypatch):
    monkeypatch.setattr(columns, "MOST_POINTS", 1000)
    body = assert_problem(client(f"{AIR}?start=-36h"), 422)
    assert "every=5m" in body["detail"]
    assert body["errors"][0]["parameter"] == "every"
    assert_problem(client(f"{AIR}?start=-36h&every=1s"), 422)
    assert len(client(f"{AIR}?start=-36h&every=5m").json()["time"]) == 36 * 12


@pytest.mark.parametrize(
    ("query", "parameter", "said"),
    [
        ("start=2026-03-01T06:00:00", "start", "no zone"),
        ("end=2026-03-01", "end", "no zone"),
        ("start=yesterday", "start", "ISO 8601"),
        ("start=-5w", "start", "units are s, m, h and d"),
        ("start=-", "start", "units are s, m, h and d"),
        ("start=2026-03-01T06:00:00+01:00", "start", "%2B"),  # the + arrives as a space
        ("start=2026-03-02T06:00:00Z&end=2026-03-01T06:00:00Z", "start", "forward"),
        ("start=2026-03-01T06:00:00Z&end=2026-03-01T06:00:00Z", "start", "forward"),
        ("start=-1h&end=-2h", "start", "forward"),
        ("start=0001-01-01T00:00:00Z", "start", "1970"),
        ("end=9999-12-31T23:59:59-12:00", "end", "2200"),
        ("start=-999999999d", "start", "1970"),
        ("every=5", "every", "whole number and a unit"),
        ("every=0m", "every", "whole number and a unit"),
        ("every=-5m", "every", "whole number and a unit"),
        ("every=1.5h", "every", "whole number and a unit"),
        ("every=5M", "every", "whole number and a unit"),
        ("every=367d", "every", "366d"),
        ("every=%D9%A5m", "every", "whole number and a unit"),  # an Arabic five
        ("format=xml", "format", "'json', 'arrow' or 'csv'"),
        ("evry=5m", "evry", "Did you mean every?"),
    ],
)
def test_bad_parameters_say_what_was_found_and_what_is_allowed(client, query, parameter, said):
    body = assert_problem(client(f"{AIR}?{query}"), 422)
    (error,) = body["errors"]
    assert error["parameter"] == parameter
    assert said in error["allowed"]
    assert said in body["detail"]


def test_every_bad_parameter_is_told_at_once(client):
    body = assert_problem(client(f"{AIR}?foo=1&bar=2"), 422)
    assert [error["parameter"] for error in body["errors"]] == ["bar", "foo"]


@pytest.mark.parametrize("what", ["readings", "bands"])
@pytest.mark.parametrize(
    ("key", "close"),
    [("room/air_temprature", "room/air_temperature"), ("rom/co2_mole_fraction", "room/co2_mole_fraction")],
)
def test_an_unknown_series_suggests_close_ones(client, what, key, close):
    body = assert_problem(client(f"/api/v1/series/{key}/{what}"), 404)
    assert close in body["close_matches"]
    assert close in body["detail"]


@pytest.mark.parametrize("key", ["x", "a/b/c/d", "..%2f..%2fetc/passwd", "%00", "room/<script>"])
def test_no_key_reaches_anything_else(client, key):
    assert_problem(client(f"/api/v1/series/{key}/readings"), 404)


def test_bands_are_stretches_by_light(client):
    body = client.json("series/room/air_temperature/bands?start=2026-03-01T04:00:00Z&end=2026-03-01T22:00:00Z")
    assert body["unit"] == "degC"
    # Lit from 05:00 to 21:00 UTC; the plan has 20 to 24 while lit, 16 to 20 while dark.
    assert [(one["lit"], one["low"], one["high"]) for one in body["bands"]] == [
        (False, 16.0, 20.0),
        (True, 20.0, 24.0),
        (False, 16.0, 20.0),
    ]
    assert body["bands"][1]["start"] == "2026-03-01T05:00:00Z"
    assert body["bands"][1]["end"] == "2026-03-01T21:00:00Z"


def test_bands_where_the_plan_has_none_are_null(client):
    body = client.json("series/room/co2_mole_fraction/bands?start=-1h")
    assert {(one["low"], one["high"]) for one in body["bands"]} == {(None, None)}


def test_bands_have_a_longest_range(client):
    body = assert_problem(client("/api/v1/series/room/air_temperature/bands?start=-500d"), 422)
    assert "400d" in body["detail"]


def test_reading_piece_by_piece_loses_and_repeats_nothing(client, monkeypatch):
    whole = client(f"{AIR}?start=-36h").json()
    monkeypatch.setattr(columns, "READ_AT_ONCE_US", 17 * 60_000_000)
    assert client(f"{AIR}?start=-36h").json() == whole
    assert len(whole["time"]) == len(set(whole["time"])) == MINUTES


def test_a_series_may_outlive_the_description_of_its_zone(house):
    text = house.farm.model_dump()
    del text["zones"]["row"]
    text["series"] = [one for one in text["series"] if one["zone"] != "row"]
    text["zones"]["room"]["lights"] = None
    client = Client(house, farm=type(house.farm).model_validate(text))
    rows = {row["key"]: row for row in client.json("series")["series"]}
    assert (rows["row/ppfd"]["described"], rows["row/ppfd"]["zone_label"]) == (False, "row")
    assert len(client.json("series/row/ppfd/readings?start=-1h")["time"]) == 60
    assert client.json("series/row/ppfd/bands?start=-1h")["bands"] == []


def test_gaps_tell_when_a_series_was_silent(client):
    body = client.json("series/room/relative_humidity/gaps?start=2026-03-01T00:00:00Z&end=2026-03-02T12:00:00Z")
    assert (body["cadence_s"], body["silent_after_s"], body["last"]) == (60.0, 180.0, "2026-03-02T11:59:00Z")
    assert (body["count"], body["silent_s"]) == (1, 3660.0)
    assert body["gaps"] == [
        {
            "start": "2026-03-01T09:59:00Z",
            "end": "2026-03-01T11:00:00Z",
            "duration_s": 3660.0,
            "missed": 61,
            "open": False,
        }
    ]


def test_a_silent_series_has_an_open_gap_and_is_told_in_the_list(client):
    body = client.json("series/room/co2_mole_fraction/gaps?start=-6h")
    assert [(gap["start"], gap["end"], gap["open"]) for gap in body["gaps"]] == [
        ("2026-03-02T06:00:00Z", "2026-03-02T09:00:00Z", False), ("2026-03-02T09:09:00Z", "2026-03-02T12:00:00Z", True)
    ]  # fmt: skip
    assert len(client.json("series/room/co2_mole_fraction/gaps?start=-6h&limit=1")["gaps"]) == 1
    rows = {row["key"]: row for row in client.json("series")["series"]}
    silent = {key: (row["silent"], row["silent_after_s"], row["cadence_s"]) for key, row in rows.items()}
    assert silent["room/co2_mole_fraction"] == (True, 180.0, 60.0)
    assert silent["outdoors/air_temperature"] == (True, 180.0, 60.0), "it never reported"
    assert silent["room/air_temperature"] == (False, 180.0, 60.0)
    assert silent["room/vapour_pressure_deficit"] == (None, None, None)


def test_gaps_of_what_has_no_cadence_or_too_long_a_range_are_problems(client):
    body = assert_problem(client("/api/v1/series/room/vapour_pressure_deficit/gaps"), 404)
    assert "derived" in body["detail"]
    assert_problem(client("/api/v1/series/room/nothing/gaps"), 404)
    assert_problem(client("/api/v1/series/room/air_temperature/gaps?start=-4000d"), 422)


def test_readings_are_corrected_and_flagged_and_raw_on_request(client, house):
    doubt = QualityMark("spike", 3, T0_US + MINUTE_US, T0_US + MINUTE_US, 1)
    house.store.correct_by({AIR_SERIES: [Correction(T0_US + 2 * MINUTE_US, 1.0, -0.5)]})
    house.store.replace_marks(AIR_SERIES, T0_US, T0_US + HOUR_US, [doubt])
    asked = "series/room/air_temperature/readings?start=2026-03-01T00:00:00Z&end=2026-03-01T00:04:00Z"
    try:
        judged, raw = client.json(asked), client.json(asked + "&raw=true")
        said = client.json("series/room/air_temperature/quality?start=2026-03-01T00:00:00Z&end=2026-03-01T01:00:00Z")
    finally:
        house.store.correct_by({})
        house.store.replace_marks(AIR_SERIES, T0_US, T0_US + HOUR_US, [])
    assert raw["value"] == [21.0, 21.1, 21.2, 21.3]
    assert judged["value"] == pytest.approx([21.0, 21.1, 20.7, 20.8])
    assert (raw["flag"], judged["flag"]) == ([1, 1, 1, 1], [1, 3, 1, 1])
    assert said["doubts"] == [
        {"test": "spike", "flag": 3, "first": "2026-03-01T00:01:00Z", "last": "2026-03-01T00:01:00Z", "readings": 1}
    ]
    assert said["corrections"] == [{"since": "2026-03-01T00:02:00Z", "scale": 1.0, "offset": -0.5}]
