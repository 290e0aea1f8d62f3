"""Data sets held to open standards by programs that are not ours: Data Package, CF, UCUM, sha256sum."""

from __future__ import annotations

import getpass
import json
import platform
import re
import shutil
import socket
import subprocess
from pathlib import Path

import netCDF4
import numpy as np
import pytest

from farm.quantities import QUANTITIES
from handover.data_set import Format
from handover.readme import readme
from tests.handover.words import ROW, made, outside

COMPLIANCE = shutil.which("compliance-checker") or (Path(__import__("sys").executable).parent / "compliance-checker")


def frictionless(folder):
    """Validate with the reference library's own command."""
    done = outside("frictionless", "validate", "--json", "datapackage.json", cwd=folder)
    return json.loads(done.stdout)


@pytest.mark.parametrize("which", ["raw", "wide"])
def test_frictionless_finds_a_valid_data_package(which, request):
    pytest.importorskip("frictionless", reason="frictionless is not installed: pip install 'leafweather[dev]'")
    report = frictionless(request.getfixturevalue(which)[0])
    assert report["valid"], report
    tables = [task for task in report["tasks"] if task["type"] == "table"]
    assert {task["place"] for task in tables} >= {"readings.csv", "series.csv", "dictionary.csv", "corrections.csv"}
    assert all(task["stats"]["rows"] > 0 for task in tables), "it looked at every row"


def test_frictionless_finds_what_is_wrong(raw, tmp_path):
    """The check can fail: one altered number, and one series that is not in the dictionary."""
    pytest.importorskip("frictionless", reason="frictionless is not installed: pip install 'leafweather[dev]'")
    shutil.copytree(raw[0], tmp_path / "set")
    path = tmp_path / "set" / "readings.csv"
    path.write_bytes(path.read_bytes().replace(b"outdoors/air", b"outdoors/ice", 1))
    report = frictionless(tmp_path / "set")
    found = {error["type"] for task in report["tasks"] for error in task["errors"]}
    assert not report["valid"]
    assert "hash-count" in found or "foreign-key" in found, report


def against_cf(folder):
    """Return what the compliance checker has against a NetCDF file: where points are lost, and its words."""
    if not Path(COMPLIANCE).exists():
        pytest.skip("compliance-checker is not installed: pip install 'leafweather[dev]'")
    done = outside(
        "compliance-checker", "--test=cf:1.11", "--criteria=strict", "--format=json", "--output=../report.json",
        "readings.nc", cwd=folder, within_s=900,
    )  # fmt: skip
    path = folder.parent / "report.json"
    assert path.exists(), done.stdout + done.stderr
    report = json.loads(path.read_text())["cf:1.11"]
    assert report["possible_points"] > 50, "it looked at much"
    lost = [one for level in ("high", "medium", "low") for one in report[f"{level}_priorities"]]
    return {one["name"]: one["msgs"] for one in lost if one["value"][0] < one["value"][1]}


@pytest.mark.slow
@pytest.mark.parametrize("form", ["raw", "cleaned", "days"])
def test_the_compliance_checker_finds_nothing_against_cf(kept, tmp_path, form):
    words = {"raw": {}, "cleaned": {"cleaned": True, "every": "1h"}, "days": {"cleaned": True, "every": "day"}}[form]
    made(kept, tmp_path / "set", (Format.NETCDF,), zones=["room", "row-1", "reservoir"], **words)
    assert against_cf(tmp_path / "set") == {}


@pytest.mark.slow
def test_the_compliance_checker_finds_what_is_wrong(kept, tmp_path):
    """The check can fail: a unit that is none of a temperature, and a flag that no word stands for."""
    made(kept, tmp_path / "set", (Format.NETCDF,), zones=["room"], cleaned=True, every="1h")
    with netCDF4.Dataset(tmp_path / "set" / "readings.nc", "a") as file:
        file["room__air_temperature"].units = "kg"
        file["room__air_temperature_flag"].flag_meanings = "good"
    found = str(against_cf(tmp_path / "set"))
    assert "kg" in found
    assert "flag_meanings" in found


def test_every_unit_is_one_that_udunits_reads():
    cf_units = pytest.importorskip("cf_units", reason="cf-units is not installed: pip install 'leafweather[dev]'")
    for quantity in QUANTITIES.values():
        assert cf_units.Unit(quantity.cf_unit).is_convertible(cf_units.Unit(quantity.cf_unit)), quantity.name
    assert cf_units.Unit(QUANTITIES["electrical_energy"].cf_unit).convert(1.0, "J") == pytest.approx(3.6e6)
    assert cf_units.Unit(QUANTITIES["air_change_rate"].cf_unit).convert(3600.0, "s-1") == pytest.approx(1.0)


@pytest.mark.parametrize("which", ["raw", "wide"])
def test_checksums_hold_for_sha256sum(which, request):
    folder = request.getfixturevalue(which)[0]
    done = subprocess.run(
        ["sha256sum", "--check", "SHA256SUMS"], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.count(": OK") == len(list(folder.iterdir())) - 1


@pytest.mark.parametrize(
    "words",
    [{}, {"cleaned": True, "every": "10m"}, {"cleaned": True, "every": "day", "layout": "long"}, {"batch": "march"}],
    ids=["raw", "wide", "days", "batch"],
)
def test_the_same_request_twice_gives_the_same_bytes(kept, tmp_path, words, monkeypatch):
    made(kept, tmp_path / "one", **words)
    monkeypatch.setenv("TZ", "Asia/Tokyo")
    made(kept, tmp_path / "two", **words)
    names = sorted(one.name for one in (tmp_path / "one").iterdir())
    assert names == sorted(one.name for one in (tmp_path / "two").iterdir())
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name


@pytest.mark.parametrize("which", ["raw", "wide"])
def test_nothing_names_this_machine(which, request, kept):
    folder = request.getfixturevalue(which)[0]
    names = {socket.gethostname(), str(kept), str(folder), str(Path.home()), platform.release()}
    names |= {getpass.getuser()} - {"root"}  # a word that may stand for roots
    for file in folder.iterdir():
        content = file.read_bytes()
        for name in names:
            assert len(name) < 4 or name.encode() not in content, (file.name, name)


def test_the_readme_shows_what_works(raw, wide):
    """Its Python runs as it stands, in the data set's folder, with nothing of ours on the path."""
    for folder in (raw[0], wide[0]):
        blocks = re.findall(r"```python\n(.*?)```", (folder / "README.md").read_text(), re.DOTALL)
        assert len(blocks) == 3
        for block in blocks:
            done = outside("python", "-I", "-c", block, cwd=folder)
            assert done.returncode == 0, done.stderr
            assert "degC" in done.stdout


def test_the_readme_names_each_package_that_its_code_needs(raw):
    text = (raw[0] / "README.md").read_text()
    [named] = re.findall(r"`pip install (.*)`", text)
    imported = set(re.findall(r"^import (\w+)$", text, re.MULTILINE))
    engines = {"pyarrow", "netCDF4"}  # that pandas reads Parquet with, and xarray NetCDF
    assert set(named.split()) == imported | engines


def test_the_readme_says_each_choice_and_what_is_missing(raw, wide):
    text = (raw[0] / "README.md").read_text()
    assert "nothing in this data set was measured in a real one" in text
    assert "`room/co2_mole_fraction`" in text
    assert "Licence: CC-BY-4.0" in text
    assert "> Kim Hill (2026)." in text
    assert "**not** applied" in text
    assert "no day of the range is sealed yet" in text
    cleaned = (wide[0] / "README.md").read_text()
    for words in (
        "flagged 1 good and 2 not_evaluated count",
        "cells of 1 hour",
        "less than 0.75 of a cell",
        "is stated",
    ):
        assert words in cleaned
    assert readme.__doc__


def test_every_column_is_in_the_dictionary_and_the_descriptor(wide):
    import csv

    folder = wide[0]
    with (folder / "dictionary.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    package = json.loads((folder / "datapackage.json").read_text())
    for resource in package["resources"]:
        if not resource["path"].endswith(".csv"):
            continue
        with (folder / resource["path"]).open(newline="") as file:
            header = next(csv.reader(file))
        assert header == [one["name"] for one in resource["schema"]["fields"]]
        assert header == [one["column"] for one in rows if one["file"] == resource["path"]]
    (value,) = [one for one in rows if one["column"] == "row_1__air_temperature" and one["file"] == "readings.csv"]
    assert (value["unit_ucum"], value["cf_standard_name"], value["series"]) == ("Cel", "air_temperature", ROW.key)
    assert np.all([one["description"] for one in rows])
