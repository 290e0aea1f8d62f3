"""What stands in the files is what the store and the interface give, read back by programs that are not ours."""

from __future__ import annotations

import csv
import io
import json
import re

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
import xarray
from hypothesis import given
from hypothesis import strategies as st

from api.app import House
from farm.readings import Series
from handover.tables import APOSTROPHE_OFF, harmless
from tests.api.conftest import Client
from tests.handover.words import (
    AIR,
    CALIBRATED_US,
    DAY_US,
    END_US,
    FAILED,
    GAP,
    HUMIDITY,
    LIGHTS,
    METER,
    OUTDOORS,
    PH,
    START_US,
    STEP_US,
    STEPS,
    SUSPECT,
    VPD,
    made,
    opened,
    rows,
)

HOUR_US = 6 * STEP_US


def text_of(path):
    return path.read_text(encoding="utf-8")


def times_us(column):
    return column.dt.tz_convert("UTC").astype("datetime64[us, UTC]").astype("int64").to_numpy()


@pytest.fixture(scope="module")
def client(kept):
    with opened(kept) as (farm, readings):
        yield Client(House(farm, "hash", readings, None, lambda: {"status": "ok"}, lambda: END_US))


def told(client, series, **query):
    words = "&".join(f"{name}={value}" for name, value in {
        "start": "2026-03-27T00:00:00Z", "end": "2026-03-31T00:00:00Z", **query}.items())  # fmt: skip
    return client.json(f"series/{series.key}/readings?{words}")


@pytest.mark.parametrize("series", [AIR, HUMIDITY, PH, METER, LIGHTS, OUTDOORS, VPD], ids=lambda one: one.key)
def test_raw_parquet_holds_what_the_interface_gives_raw(raw, client, series):
    table = pd.read_parquet(raw[0] / "readings.parquet", filters=[("series", "==", series.key)])
    arrived, judged = told(client, series, raw="true"), told(client, series)
    assert times_us(table["time"]).tolist() == [
        int(np.datetime64(one.rstrip("Z"), "us").astype(int)) for one in arrived["time"]
    ]
    assert [None if np.isnan(one) else one for one in table["value"]] == arrived["value"]
    assert table["arrival_flag"].tolist() == arrived["flag"]
    assert table["flag"].tolist() == judged["flag"]


def test_raw_csv_and_netcdf_hold_the_same_as_parquet(raw):
    target, facts = raw
    parquet = pd.read_parquet(target / "readings.parquet").astype({"series": "str"})
    text = pd.read_csv(target / "readings.csv", parse_dates=["time"])
    pd.testing.assert_frame_equal(text, parquet, check_dtype=False)
    assert len(text) == sum(one.readings for one in facts.tallies) == len(list(rows())) + STEPS
    with xarray.open_dataset(target / "readings.nc") as data:
        for member in facts.choice.members:
            ours = parquet[parquet["series"] == member.series.key]
            if not len(ours):
                assert member.column not in data
                continue
            theirs = data[member.column]
            assert np.array_equal(theirs.to_numpy(), ours["value"], equal_nan=True)
            assert data[f"{member.column}_flag"].to_numpy().tolist() == ours["flag"].tolist()
            assert data[f"{member.column}_arrival_flag"].to_numpy().tolist() == ours["arrival_flag"].tolist()
            assert theirs[f"{member.column}_time"].to_numpy().astype("datetime64[us]").astype(int).tolist() == (
                times_us(ours["time"]).tolist()
            )


def column(wide, series, suffix=""):
    table = pd.read_parquet(wide[0] / "readings.parquet")
    return table["time"], table[series.key.replace("/", "__").replace("-", "_") + suffix]


@pytest.mark.parametrize("series", [HUMIDITY, OUTDOORS, PH], ids=lambda one: one.key)
def test_hourly_means_are_those_of_the_interface(wide, client, series):
    time, values = column(wide, series)
    theirs = told(client, series, every="1h")
    assert [one.isoformat().replace("+00:00", "Z") for one in time] == theirs["time"]
    assert values.to_numpy() == pytest.approx(theirs["value"], rel=1e-12)


def test_calibrations_are_applied_where_readings_are_cleaned_and_only_there(raw, wide):
    time, values = column(wide, PH)
    after = times_us(time) >= CALIBRATED_US
    hour = CALIBRATED_US // HOUR_US * HOUR_US
    assert values[~after & (times_us(time) < hour)].unique().tolist() == [6.0]
    assert values[after].to_numpy() == pytest.approx(5.9)  # 0.1 less, since 7.1 was shown in a buffer of 7.0
    stood = pd.read_parquet(raw[0] / "readings.parquet", filters=[("series", "==", PH.key)])
    assert stood["value"].unique().tolist() == [6.0]
    for target, applied in ((raw[0], False), (wide[0], True)):
        table = pd.read_csv(target / "corrections.csv", parse_dates=["since"])
        assert table["series"].tolist() == [PH.key]
        assert table["offset"].to_numpy() == pytest.approx([-0.1])
        assert table["applied"].tolist() == [applied]
        assert times_us(table["since"]).tolist() == [CALIBRATED_US]


def test_the_flag_rule_and_the_gap_rule_by_hand(wide):
    _, values = column(wide, AIR)
    _, flags = column(wide, AIR, "_flag")
    step_values = [
        None if n in GAP or n in SUSPECT or n in FAILED else round(20 + 0.1 * (n % 7), 1) for n in range(STEPS)
    ]
    for hour in range(STEPS // 6):
        counting = [one for one in step_values[6 * hour : 6 * hour + 6] if one is not None]
        # A reading speaks for three cadences: in hour 1, steps 10 and 11 lie within three of step 9; in hour 16 step 99
        # speaks until 101; hours 17 to 20 have none; hour 21 begins at 126 and its first reading is step 130.
        covered = {16: 6, 17: 0, 18: 0, 19: 0, 20: 0, 21: 2}.get(hour, 6)
        if covered < 0.75 * 6 or not counting:
            assert np.isnan(values[hour]), hour
            assert flags[hour] == 9
        else:
            assert values[hour] == pytest.approx(sum(counting) / len(counting)), hour
            assert flags[hour] == 1


def test_a_state_is_the_share_of_time_and_a_total_is_its_last_reading(wide):
    _, lit = column(wide, LIGHTS)
    assert lit.tolist() == [float(4 <= hour % 24 < 20) for hour in range(96)]
    _, meter = column(wide, METER)
    last = [6 * hour + 5 for hour in range(96)]
    assert meter.tolist() == [float(one if one < 300 else one - 300) for one in last]


def test_csv_and_netcdf_of_cells_hold_the_same_as_parquet(wide):
    target, facts = wide
    parquet = pd.read_parquet(target / "readings.parquet")
    text = pd.read_csv(target / "readings.csv", parse_dates=["time"])
    pd.testing.assert_frame_equal(text, parquet, check_dtype=False)
    with xarray.open_dataset(target / "readings.nc") as data:
        assert (
            times_us(parquet["time"]).tolist() == data["time"].to_numpy().astype("datetime64[us]").astype(int).tolist()
        )
        for member in facts.choice.members:
            assert np.array_equal(data[member.column], parquet[member.column], equal_nan=True)
            assert data[f"{member.column}_flag"].to_numpy().tolist() == parquet[f"{member.column}_flag"].tolist()


def test_long_holds_the_cells_of_wide(kept, wide, tmp_path):
    made(kept, tmp_path / "long", cleaned=True, every="1h", layout="long")
    long = pd.read_parquet(tmp_path / "long" / "readings.parquet")
    for series in (AIR, LIGHTS, OUTDOORS):
        one = long[long["series"] == series.key].reset_index(drop=True)
        time, values = column(wide, series)
        assert one["time"].tolist() == time.tolist()
        assert np.array_equal(one["value"], values, equal_nan=True)
        assert one["flag"].tolist() == column(wide, series, "_flag")[1].tolist()
    air = long[long["series"] == AIR.key].reset_index(drop=True)
    assert air["count"].tolist()[:2] == [6, 4]  # steps 10 and 11 are suspect
    assert air["coverage"].tolist()[16:22] == pytest.approx([1.0, 0.0, 0.0, 0.0, 0.0, 2 / 6])


def test_local_days_of_23_and_25_hours(kept, tmp_path):
    made(kept, tmp_path / "days", cleaned=True, every="day", start="2026-03-28", end="2026-03-31")
    days = pd.read_csv(tmp_path / "days" / "readings.csv", parse_dates=["time"])
    # Oslo is UTC+1 until 2026-03-29 01:00 UTC, then UTC+2 (tz database).
    assert [one.isoformat() for one in days["time"]] == [
        "2026-03-27T23:00:00+00:00",
        "2026-03-28T23:00:00+00:00",
        "2026-03-29T22:00:00+00:00",
    ]
    assert (days["length_s"] / 3600).tolist() == [24.0, 23.0, 24.0]
    # Lit from 04 to 20 UTC: 16 h of a local day of 24, 23, 24 hours
    assert days["row_1__lights_on"].to_numpy()[:2] == pytest.approx([16 / 24, 16 / 23])


def test_a_local_day_of_25_hours(tmp_path):
    from store.embedded import EmbeddedStore
    from store.journal import Journal
    from tests.handover.words import Reading

    begin = int(np.datetime64("2026-10-24T22:00:00", "us").astype(int))  # midnight in Oslo, UTC+2
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite"):
        store.append([Reading(AIR, begin + n * STEP_US, 20.0, 1) for n in range(49 * 6)])
    made(tmp_path, tmp_path / "days", cleaned=True, every="day", start="2026-10-25", end="2026-10-27", series=[AIR.key])
    days = pd.read_parquet(tmp_path / "days" / "readings.parquet")
    assert (days["length_s"] / 3600).tolist() == [25.0, 24.0]
    assert [one.isoformat() for one in days["time"]] == ["2026-10-24T22:00:00+00:00", "2026-10-25T23:00:00+00:00"]
    assert days["room__air_temperature"].tolist() == [20.0, 20.0]


def test_values_do_not_depend_on_how_much_is_read_at_once(kept, wide, tmp_path, monkeypatch):
    monkeypatch.setattr("handover.reading.ROWS_AT_ONCE", 1)  # a day at a time
    monkeypatch.setattr("handover.export.VALUES_AT_ONCE", 50)
    made(kept, tmp_path / "small", cleaned=True, every="1h")
    whole, small = (pd.read_parquet(one / "readings.parquet") for one in (wide[0], tmp_path / "small"))
    pd.testing.assert_frame_equal(small, whole)
    assert text_of(tmp_path / "small" / "series.csv") == text_of(wide[0] / "series.csv")


# --- Text ---------------------------------------------------------------------------------------


def as_r_reads(text):
    """Return a table as R's read.csv makes it (R Data Import/Export, section 2.1; type.convert): quotes taken off,
    NA for no value, a column a number only if every cell that is not NA is one with a decimal point."""
    header, *lines = csv.reader(io.StringIO(text, newline=""), doublequote=True, strict=True)
    columns = {}
    for name, cells in zip(header, zip(*lines, strict=True) if lines else ((),) * len(header), strict=True):
        given = [None if cell in ("NA", "") else cell for cell in cells]
        try:
            columns[name] = [None if cell is None else float(cell) for cell in given]
        except ValueError:
            columns[name] = given
    return columns


def test_r_reads_the_csv(raw, wide):
    readings = as_r_reads((raw[0] / "readings.csv").read_bytes().decode())
    assert list(readings) == ["series", "time", "value", "flag", "arrival_flag"]
    cold = [one for key, one in zip(readings["series"], readings["value"], strict=True) if key == OUTDOORS.key]
    assert cold[:4] == [-5.25, -6.25, -7.25, -8.25]
    assert readings["value"].count(None) == 1  # the derived reading that has no value
    table = as_r_reads((wide[0] / "readings.csv").read_bytes().decode())
    assert all(name.replace("_", "a").isalnum() and name[0].isalpha() for name in table), "make.names would change it"
    assert table["room__air_temperature"][17] is None
    assert table["time"][0] == "2026-03-27T00:00:00Z"
    series = as_r_reads((raw[0] / "series.csv").read_bytes().decode())
    assert 'Second row, "north"' in series["zone_label"]


def test_csv_is_rfc_4180(raw):
    content = (raw[0] / "series.csv").read_bytes()
    assert content.count(b"\r\n") == content.count(b"\n") == 1 + len(raw[1].choice.members)
    assert b'"Second row, ""north"""' in content


def test_text_that_looks_like_a_formula_is_made_harmless_and_numbers_are_not(raw):
    series = pd.read_csv(raw[0] / "series.csv").set_index("series")
    assert series.loc["row-1/air_temperature", "zone_label"] == "'=HYPERLINK(1)"
    assert series.loc["room/air_temperature", "label"] == "'-5 corner"
    assert (series["sensor_low"] < 0).any(), "a negative number is none"
    for file in raw[0].glob("*.csv"):
        for line in csv.reader(io.StringIO(file.read_bytes().decode(), newline="")):
            for cell in line:
                if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
                    float(cell)  # else it would be text


@pytest.mark.parametrize(
    ("text", "told"),
    [  # the signs of OWASP ASVS 5.0, 1.2.10, and of OWASP's page "CSV Injection" from memory
        ("=1+1", "'=1+1"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("\t=1", "'\t'=1"),
        ("\r1", "'\r1"),
        ("\n1", "'\n1"),
        ("\x001", "'\x001"),
        ("\uff1d1", "'\uff1d1"),
        ("  =1+1", "'  =1+1"),
        ("\u00a0-1", "'\u00a0-1"),
        ("fed; =HYPERLINK(A1)", "fed;' =HYPERLINK(A1)"),
        ('fed" =1', "fed\"' =1"),
        ("fed\n+1", "fed\n'+1"),
        ("'tis", "''tis"),
        ("a - b, -5 = -5; Tom's", "a - b, -5 = -5; Tom's"),
        ("", ""),
    ],
)
def test_no_part_of_a_text_is_a_formula(text, told):
    assert harmless(pa.array([text, None])).to_pylist() == [told, None]


@given(st.text(alphabet="=+-@ \t\r\n\x00\uff1d\u00a0;,\"'a1", max_size=12))
def test_text_is_harmless_however_it_is_split_and_can_be_had_again_as_the_readme_says(text):
    [told] = harmless(pa.array([text])).to_pylist()
    for part in re.split('[;\t\r\n"]', told):
        assert part.lstrip()[:1] not in tuple("=+-@\x00\uff1d"), told
    assert told[:1] not in tuple("\t\r\n\x00")
    assert re.sub(APOSTROPHE_OFF, r"\1", told) == text


def test_the_readme_says_how_text_is_had_again_as_it_was(raw):
    [said] = re.findall(r"`(re\.sub\(.*, text\))`", text_of(raw[0] / "README.md"))
    table = pd.read_csv(raw[0] / "series.csv").set_index("series")
    again = {key: eval(said, {"re": re, "text": label}) for key, label in table["zone_label"].items()}
    assert again["row-1/air_temperature"] == "=HYPERLINK(1)"
    assert again["row_1/air_temperature"] == 'Second row, "north"'


def test_two_series_of_one_name_get_two_columns(raw):
    columns = {one.series: one.column for one in raw[1].choice.members}
    assert columns[Series("hill", "row-1", "air_temperature")] == "row_1__air_temperature"
    assert columns[Series("hill", "row_1", "air_temperature")] == "row_1__air_temperature_2"
    table = pd.read_csv(raw[0] / "series.csv")
    assert table["column"].is_unique


def test_the_descriptor_says_what_is_missing(raw):
    package = json.loads(text_of(raw[0] / "datapackage.json"))
    assert package["leafweather"]["without_readings"] == ["room/co2_mole_fraction"]
    series = pd.read_csv(raw[0] / "series.csv").set_index("series")
    air = series.loc[AIR.key]
    # silent from step 99 to 130, which is 31 steps of 600 s; readings of the failed are readings too
    assert (air["readings"], air["gaps"], air["longest_gap"], air["silent"]) == (STEPS - 30, 1, 31 * 600, 31 * 600)
    assert (air["flag_suspect"], air["flag_fail"], air["gap_after"]) == (3, 3, 1800)
    silent = series.loc["room/co2_mole_fraction"]
    # nobody asked for a beginning or an end: of a series without readings, the whole range
    assert (silent["readings"], silent["gaps"], silent["silent"]) == (0, 1, 4 * DAY_US / 1e6 - 600 + 1)
    assert np.isnan(series.loc[VPD.key, "gaps"]), "nothing says how often a derived series reports"


def test_an_asked_for_edge_stands_for_a_reading(kept, tmp_path):
    """From 30 minutes after the gap begins until 2 h after the last reading, by hand."""
    start, end = "2026-03-27T17:00:00Z", "2026-03-31T01:50:00Z"
    made(kept, tmp_path / "set", start=start, end=end, series=[AIR.key])
    air = pd.read_csv(tmp_path / "set" / "series.csv").set_index("series").loc[AIR.key]
    # steps 102 to 130, and from step 575 (23:50) to 01:50
    assert (air["gaps"], air["longest_gap"], air["silent"]) == (2, 28 * 600, 28 * 600 + 7200)
    made(kept, tmp_path / "open", series=[AIR.key, VPD.key])
    air = pd.read_csv(tmp_path / "open" / "series.csv").set_index("series").loc[AIR.key]
    assert (air["gaps"], air["silent"]) == (1, 31 * 600)
    assert START_US % DAY_US == 0


def test_a_series_too_sparse_for_the_grid_is_named(kept, tmp_path):
    # In four days lie four UTC days, and the failed and the missing readings leave none of air covered whole.
    words = {"cleaned": True, "every": "1d", "least_coverage": 1.0, "series": [AIR.key, OUTDOORS.key]}
    facts = made(kept, tmp_path / "set", start="2026-03-27T00:00:00Z", end="2026-03-28T00:00:00Z", **words)
    assert [one.series for one in facts.valueless] == [AIR]
    assert "not one cell that they cover enough: `room/air_temperature`" in text_of(tmp_path / "set" / "README.md")
    package = json.loads(text_of(tmp_path / "set" / "datapackage.json"))
    assert package["leafweather"]["without_values"] == [AIR.key]


def test_parquet_tells_units_and_names_of_columns(wide):
    schema = pq.read_schema(wide[0] / "readings.parquet")
    said = {name.decode(): text.decode() for name, text in schema.field("room__air_temperature").metadata.items()}
    assert said["ucum"] == "Cel"
    assert said["standard_name"] == "air_temperature"
    assert said["series"] == "room/air_temperature"
