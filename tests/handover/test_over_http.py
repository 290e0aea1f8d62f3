"""Data sets over HTTP: the zip is the command's folder, the stream is the same table, and nothing stays on the disk."""

from __future__ import annotations

import hashlib
import io
import shutil
import threading
import tracemalloc
import zipfile
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from api import routes_data_sets
from api.app import House
from handover.archive import remove_leftovers
from handover.asking import Format, asked
from handover.export import Export
from handover.streaming import csv_stream
from store.embedded import EmbeddedStore
from tests.api.conftest import Client, assert_problem
from tests.handover.words import AIR, DAY_US, END_US, START_US, STEPS, MadeBy, made, opened

WORDS = "zone=room&zone=row-1&cleaned=true&every=1h&format=csv&format=parquet&creator=Kim&licence=CC-BY-4.0"


@pytest.fixture(scope="module")
def ours(kept, tmp_path_factory):
    """An application over the stored farm, and its folder for what is being made."""
    scratch = tmp_path_factory.mktemp("scratch")
    with opened(kept) as (found, readings):
        house = House(found, "feedfacecafe", readings, None, lambda: {"status": "ok"}, lambda: END_US, scratch=scratch)
        yield Client(house), scratch


def test_the_zip_holds_the_files_that_the_engine_makes(ours, kept, tmp_path, monkeypatch):
    client, scratch = ours
    answer = client(f"/api/v1/data-set?{WORDS}")
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/zip"
    assert answer.headers["content-disposition"] == ('attachment; filename="hill-cleaned-2026-03-27-to-2026-03-30.zip"')
    assert int(answer.headers["content-length"]) == len(answer.content)
    version = routes_data_sets.software_version()
    monkeypatch.setattr("tests.handover.words.MADE_BY", MadeBy(version, "feedfacecafe"))
    from handover.asking import Imprint

    made(kept, tmp_path / "set", (Format.CSV, Format.PARQUET), Imprint("Kim", "CC-BY-4.0"),
         zones=["room", "row-1"], cleaned=True, every="1h")  # fmt: skip
    with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
        assert packed.testzip() is None
        assert {one.date_time for one in packed.infolist()} == {(1980, 1, 1, 0, 0, 0)}, "no clock"
        names = {Path(one).name: one for one in packed.namelist()}
        assert set(names) == {one.name for one in (tmp_path / "set").iterdir()}
        for name, inside in names.items():
            assert packed.read(inside) == (tmp_path / "set" / name).read_bytes(), name
    again = client(f"/api/v1/data-set?{WORDS}", headers={"Accept-Encoding": "gzip"})
    assert hashlib.sha256(again.content).digest() == hashlib.sha256(answer.content).digest()
    assert "content-encoding" not in again.headers
    assert list(scratch.iterdir()) == []


def test_a_client_that_leaves_leaves_nothing_behind(ours):
    client, scratch = ours
    house = client.app.state.house
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("handover.archive.PIECE", 100)
        wanted = asked(house.farm)
        got = routes_data_sets.archive(
            house.farm, house.store, wanted, MadeBy("1", "x"), [Format.CSV], routes_data_sets.Imprint(), scratch
        )
        pieces = got.pieces()
        assert len(next(pieces)) == 100
        pieces.close()
    assert got.file.closed
    assert list(scratch.iterdir()) == []


def test_the_stream_is_the_table(ours, kept, tmp_path):
    client, _ = ours
    made(kept, tmp_path / "set", (Format.CSV, Format.PARQUET))
    arrow = client("/api/v1/data-set/readings")
    assert arrow.headers["content-type"] == "application/vnd.apache.arrow.stream"
    table = pa.ipc.open_stream(arrow.content).read_all()
    file = pq.read_table(tmp_path / "set" / "readings.parquet")
    assert table.cast(file.schema).equals(file)
    assert table.schema.field("value").metadata[b"description"]
    text = client("/api/v1/data-set/readings?format=csv")
    assert text.headers["content-type"].startswith("text/csv")
    assert text.content == (tmp_path / "set" / "readings.csv").read_bytes()


def test_an_empty_stream_has_its_columns(ours):
    client, _ = ours
    # within the gap of this one series
    words = f"series={AIR.key}&start=2026-03-27T17:00:00Z&end=2026-03-27T20:00:00Z"
    assert client(f"/api/v1/data-set/readings?format=csv&{words}").text == (
        '"series","time","value","flag","arrival_flag"\r\n'
    )
    assert pa.ipc.open_stream(client(f"/api/v1/data-set/readings?{words}").content).read_all().num_rows == 0
    problem = assert_problem(client(f"/api/v1/data-set?{words}"), 422)
    assert "no reading in this range" in problem["detail"]


def test_the_plan_says_what_it_would_hold(ours):
    client, _ = ours
    plan = client.json("data-set/plan?zone=room&start=2026-03-28&end=2026-03-30")
    assert (plan["start"], plan["end"], plan["form"], plan["cells"]) == (
        "2026-03-27T23:00:00Z", "2026-03-29T22:00:00Z", "raw", None,
    )  # fmt: skip
    assert plan["nothing_stored"] == ["room/co2_mole_fraction"]
    # 47 h (the clocks go forward) of two series every 600 s, and of a derived one taken for one every 60 s
    assert plan["readings_about"] == 2 * 47 * 6 + 47 * 60
    assert client.json("data-set/plan?cleaned=true&every=1h")["cells"] == 96


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("zone=rom", "Did you mean room"),
        ("batch=none", "this farm has no batch 'none'"),
        ("series=room/x", "this farm has no series"),
        ("start=-7d", "start = '-7d' cannot be used. Write a local date"),
        ("every=1h", "ask for cleaned too"),
        ("cleaned=true&every=1parsec", "every = '1parsec' cannot be used"),
        ("start=2030-01-01", "their readings run from"),
    ],
)
def test_what_cannot_be_made_is_a_problem(ours, words, said):
    client, scratch = ours
    for address in ("data-set", "data-set/plan", "data-set/readings"):
        assert said in assert_problem(client(f"/api/v1/{address}?{words}"), 422)["detail"]
    assert list(scratch.iterdir()) == []


@pytest.mark.parametrize("words", ["format=xlsx", "licence=my+own", "creator=a%0Ab"])
def test_what_stands_in_the_files_is_checked(ours, words):
    client, _ = ours
    assert_problem(client(f"/api/v1/data-set?{words}"), 422)


def test_one_at_a_time(ours):
    client, _ = ours
    assert routes_data_sets._one_at_a_time.acquire(blocking=False)
    try:
        answer = client("/api/v1/data-set")
        assert "made one after the other" in assert_problem(answer, 503)["detail"]
        assert answer.headers["retry-after"]
    finally:
        routes_data_sets._one_at_a_time.release()


def test_a_full_disk_is_a_problem_that_names_no_folder(ours, monkeypatch):
    client, scratch = ours

    def full(*_, **__):
        raise OSError(28, "No space left on device", str(scratch))

    monkeypatch.setattr("handover.data_set.small_table", full)
    problem = assert_problem(client("/api/v1/data-set"), 507)
    assert str(scratch) not in problem["detail"]
    assert list(scratch.iterdir()) == []


def test_a_stream_breaks_off_at_a_damaged_day_and_a_zip_says_it(kept, tmp_path):
    shutil.copytree(kept, tmp_path / "kept")
    with EmbeddedStore(tmp_path / "kept") as store:
        store.seal_due("hill", START_US + 2 * DAY_US)
    next((tmp_path / "kept").glob("sealed/hill/measured/2026-03-27.*")).unlink()
    with opened(tmp_path / "kept") as (found, readings):
        client = Client(House(found, "x", readings, None, dict, lambda: END_US, scratch=tmp_path))
        assert_problem(client(f"/api/v1/data-set/readings?series={AIR.key}"), 503)
        answer = client(f"/api/v1/data-set?series={AIR.key}")
        with zipfile.ZipFile(io.BytesIO(answer.content)) as packed:
            (name,) = [one for one in packed.namelist() if one.endswith("README.md")]
            assert "2026-03-27" in packed.read(name).decode().split("Damaged days")[1]


def test_a_stream_holds_no_more_than_a_part(kept, monkeypatch):
    monkeypatch.setattr("handover.reading.ROWS_AT_ONCE", 1)
    with opened(kept) as (found, readings):
        stream = csv_stream(Export(found, readings, asked(found)))
        next(stream)
        tracemalloc.start()
        longest = max(len(piece) for piece in stream)
        _, peak = tracemalloc.get_traced_memory()
        tracemalloc.stop()
    assert longest < 60_000, "about a day of a series"
    assert peak < 4_000_000
    assert 10 * longest < STEPS * 8 * 40


def test_leftovers_of_a_killed_process_go_at_the_next_start(tmp_path):
    (tmp_path / "data-set-x.unfinished").mkdir()
    (tmp_path / "data-set-x.unfinished" / "readings.csv").write_text("half")
    (tmp_path / "data-set-y.unfinished").write_text("half")
    (tmp_path / "readings.sqlite").write_text("whole")
    remove_leftovers(tmp_path)
    assert [one.name for one in tmp_path.iterdir()] == ["readings.sqlite"]


def test_two_at_once_stream_side_by_side(ours):
    client, _ = ours
    found = {}

    def ask(zone):
        found[zone] = pd.read_csv(io.BytesIO(client(f"/api/v1/data-set/readings?format=csv&zone={zone}").content))

    several = [threading.Thread(target=ask, args=(zone,)) for zone in ("room", "outdoors", "reservoir")]
    for one in several:
        one.start()
    for one in several:
        one.join()
    assert {zone: set(table["series"].str.split("/").str[0]) for zone, table in found.items()} == {
        zone: {zone} for zone in ("room", "outdoors", "reservoir")
    }
