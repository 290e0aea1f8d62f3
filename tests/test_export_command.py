"""`leafweather export` as a person calls it: what it says, and its exit status."""

from __future__ import annotations

import json
import shutil

import pandas as pd
import pytest
from typer.testing import CliRunner

from leafweather.cli import app
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.handover.words import DAY_US, FARM, START_US, fill


@pytest.fixture(scope="module")
def farm(tmp_path_factory):
    folder = tmp_path_factory.mktemp("farm")
    (folder / "farm.toml").write_text(FARM)
    (folder / "data").mkdir()
    with EmbeddedStore(folder / "data") as store, Journal(f"sqlite:///{folder}/data/journal.sqlite") as journal:
        fill(store, journal)
        store.seal_due("hill", START_US + 2 * DAY_US)
    return folder


def run(farm, target, *options, data="data"):
    command = ["export", str(farm / "farm.toml"), str(target), "--data", str(farm / data), *options]
    return CliRunner().invoke(app, command)


def test_it_says_what_it_made_and_where_to_begin(farm, tmp_path):
    done = run(farm, tmp_path / "set", "--zone", "room", "--format", "csv", "--format", "parquet")
    assert done.exit_code == 0, done.output
    assert "readings of 4 series. Begin with" in done.stdout
    assert "no reading in the range: room/co2_mole_fraction" in done.stderr
    assert {one.name for one in (tmp_path / "set").iterdir()} == {
        "README.md", "SHA256SUMS", "corrections.csv", "datapackage.json", "dictionary.csv", "readings.csv",
        "readings.parquet", "series.csv",
    }  # fmt: skip


def test_every_choice_reaches_the_data_set(farm, tmp_path):
    options = (
        "--cleaned --every 30m --aggregation high --flags good,suspect --coverage 0.5 --layout long --origin measured"
    )
    done = run(farm, tmp_path / "set", *options.split(), "--start", "2026-03-27", "--end", "2026-03-29T00:00:00Z",
               "--series", "room/air_temperature", "--licence", "CC0-1.0", "--creator", "Kim Hill")  # fmt: skip
    assert done.exit_code == 0, done.output
    query = json.loads((tmp_path / "set" / "datapackage.json").read_text())["leafweather"]["query"]
    assert query == {
        "start": "2026-03-26T23:00:00Z", "end": "2026-03-29T00:00:00Z", "series": ["room/air_temperature"],
        "zones": "all", "origin": "measured", "form": "cleaned", "every": "30m", "aggregation": "high",
        "flags": ["good", "suspect"], "coverage": 0.5, "layout": "long", "formats": ["parquet"],
        "creator": "Kim Hill", "licence": "CC0-1.0",
    }  # fmt: skip
    table = pd.read_parquet(tmp_path / "set" / "readings.parquet")
    assert table["value"].dropna().iloc[:2].tolist() == [20.2, 20.5]


def test_a_damaged_day_is_told_on_standard_error_and_ends_with_1(farm, tmp_path):
    shutil.copytree(farm, tmp_path / "farm")
    next((tmp_path / "farm" / "data").glob("sealed/hill/measured/2026-03-28.*")).unlink()
    done = run(tmp_path / "farm", tmp_path / "set", "--series", "room/air_temperature")
    assert done.exit_code == 1, done.output
    assert "damaged, left out: 2026-03-28 of room/air_temperature" in done.stderr
    assert (tmp_path / "set" / "README.md").exists()


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--zone", "rom"], "this farm has no zone 'rom'. Did you mean room"),
        (["--format", "xlsx"], "format = 'xlsx' cannot be used. Write parquet, csv, netcdf."),
        (["--start", "tomorrow"], "start = 'tomorrow' cannot be used"),
        (["--data", "/nowhere"], "/nowhere: no service has kept readings in this folder"),
    ],
)
def test_a_bad_call_ends_with_2_and_one_message(farm, tmp_path, options, message):
    done = run(farm, tmp_path / "set", *options)
    assert done.exit_code == 2
    assert message in done.stderr
    assert done.stderr.count("\n") == 1
    assert done.stdout == ""
    assert not (tmp_path / "set").exists()


def test_without_the_library_netcdf_says_what_to_install(farm, tmp_path, monkeypatch):
    import sys

    monkeypatch.setitem(sys.modules, "netCDF4", None)
    done = run(farm, tmp_path / "set", "--format", "netcdf")
    assert done.exit_code == 2
    assert "pip install 'leafweather[netcdf]'" in done.stderr
