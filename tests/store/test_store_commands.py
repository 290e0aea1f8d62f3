"""The command ``leafweather store``, run as people run it."""

from __future__ import annotations

import re
import time

import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.embedded import EmbeddedStore
from tests.store.words import AIR, DAY, SOUTH_AIR, everything, reading


@pytest.fixture
def run(monkeypatch):
    monkeypatch.setenv("NO_COLOR", "1")
    return lambda *words: CliRunner().invoke(app, ["store", *map(str, words)])


@pytest.fixture
def data(tmp_path):
    folder = tmp_path / "data"
    folder.mkdir()
    today = time.time_ns() // 1000 // DAY
    with EmbeddedStore(folder) as store:
        store.append([reading((today - 5 + step // 24) * DAY + step % 24, 20 + step / 4) for step in range(120)])
        store.append([reading(1, series=SOUTH_AIR)])
    return folder


def test_status_tells_how_much_there_is(run, data):
    run("seal", "--data", data)
    told = run("status", "--data", data)
    assert told.exit_code == 0
    assert "north: 1 series, 120 readings" in told.output
    assert "hot     48 readings" in told.output
    assert re.search(r"sealed  72 readings of \d{4}-\d\d-\d\d to .* in 3 files, .* bytes a reading", told.output)
    assert re.search(r"chain   3 entries, head [0-9a-f]{64}", told.output)


def test_seal_leaves_the_last_days_as_told(run, data):
    told = run("seal", "--data", data)
    assert (told.exit_code, told.output) == (0, told.output)
    assert "north: 72 readings sealed in 3 files" in told.output
    assert "south: 1 readings sealed in 1 files" in told.output
    told = run("seal", "--data", data, "--lag-days", 0, "--farm", "north")
    assert "north: 48 readings sealed in 2 files" in told.output
    with EmbeddedStore(data) as store:
        assert len(everything(store, AIR)) == 120


def test_verify_ends_with_1_and_names_what_is_damaged(run, data):
    run("seal", "--data", data)
    told = run("verify", "--data", data)
    assert (told.exit_code, told.output) == (0, "All 4 sealed files are as they were sealed, and every chain holds.\n")
    damaged = next(data.glob("sealed/north/measured/*.parquet"))
    damaged.write_bytes(b"x")
    told = run("verify", "--data", data)
    assert told.exit_code == 1
    assert f"measured/{damaged.name}" in told.output
    assert "affected: room/air_temperature" in told.output


def test_verify_does_not_praise_a_store_that_has_nothing_sealed(run, data):
    told = run("verify", "--data", data)
    assert told.exit_code == 0
    assert told.output.startswith("Nothing is sealed yet, so nothing can be proved")


def test_backup_and_restore(run, data, tmp_path):
    run("seal", "--data", data)
    assert run("backup", tmp_path / "copy", "--data", data).exit_code == 0
    told = run("restore", tmp_path / "copy", "--data", tmp_path / "anew")
    assert told.exit_code == 0
    assert "every chain holds" in told.output
    with EmbeddedStore(data) as store, EmbeddedStore(tmp_path / "anew") as anew:
        assert everything(store, AIR) == everything(anew, AIR)
    again = run("restore", tmp_path / "copy", "--data", tmp_path / "anew")
    assert again.exit_code == 2
    assert "not an empty folder" in again.output


@pytest.mark.parametrize("words", [["status"], ["seal"], ["verify"], ["backup", "x"]])
def test_a_folder_without_a_store_is_a_bad_call_and_stays_empty(run, tmp_path, words):
    told = run(*words, "--data", tmp_path)
    assert told.exit_code == 2
    assert "there is no store (readings.sqlite) in this folder" in told.output
    assert list(tmp_path.iterdir()) == []


def test_an_unknown_farm_is_a_bad_call(run, data):
    told = run("seal", "--data", data, "--farm", "east")
    assert told.exit_code == 2
    assert "the store holds no farm 'east': it holds north, south" in told.output


@pytest.mark.parametrize("command", ["status", "seal", "verify", "backup", "restore"])
def test_the_example_of_each_help_works(run, data, tmp_path, command):
    run("seal", "--data", data)
    run("backup", tmp_path / "copy", "--data", data)
    example = re.search(r"Example: leafweather store (.*)", run(command, "--help").output).group(1)
    words = example.replace("leafweather-data", str(tmp_path / "anew" if command == "restore" else data))
    words = words.replace("/mnt/backup", str(tmp_path / ("copy" if command == "restore" else "other")))
    assert run(*words.split()).exit_code == 0
