"""Damaged days, full disks, folders that are there already: what is told, and what is left behind."""

from __future__ import annotations

import shutil

import pandas as pd
import pytest

from handover.asking import Format
from handover.refusals import NotWritten, Refused
from store.embedded import EmbeddedStore
from tests.handover.words import AIR, DAY_US, FARM, START_US, made, opened, outside
from tests.store.disks import filled, small_disk
from tests.store.words import ROOT


@pytest.fixture
def sealed(kept, tmp_path):
    """A copy of the farm, its first three days sealed."""
    folder = tmp_path / "kept"
    shutil.copytree(kept, folder)
    with EmbeddedStore(folder) as store:
        assert len(store.seal_due("hill", START_US + 3 * DAY_US)) >= 3
    return folder


def measured(folder, day):
    (found,) = folder.glob(f"sealed/hill/measured/{day}.*.parquet")
    return found


def test_the_evidence_chain_is_cited_up_to_the_range(sealed, tmp_path):
    facts = made(sealed, tmp_path / "set", start="2026-03-27T00:00:00Z", end="2026-03-29T00:00:00Z")
    manifest = (sealed / "sealed" / "hill" / "manifest.txt").read_text().splitlines()
    assert facts.evidence is not None
    assert (facts.evidence.entry, facts.evidence.days, facts.evidence.asked) == (2, 2, 2)
    # docs/evidence.md: the head is found again as the last word of the line after it
    assert manifest[1 + facts.evidence.entry].split()[-1] == facts.evidence.head
    assert facts.evidence.head in (tmp_path / "set" / "README.md").read_text()


def test_sealing_more_days_changes_no_byte_of_an_older_data_set(sealed, tmp_path):
    words = {"start": "2026-03-27T00:00:00Z", "end": "2026-03-29T00:00:00Z"}
    made(sealed, tmp_path / "one", **words)
    with EmbeddedStore(sealed) as store:
        assert store.seal_due("hill", START_US + 4 * DAY_US)
    made(sealed, tmp_path / "two", **words)
    for file in (tmp_path / "one").iterdir():
        assert file.read_bytes() == (tmp_path / "two" / file.name).read_bytes(), file.name


@pytest.mark.parametrize("how", ["altered", "gone"])
@pytest.mark.parametrize("words", [{}, {"cleaned": True, "every": "1h"}], ids=["raw", "cleaned"])
def test_a_damaged_day_is_passed_over_and_told(sealed, tmp_path, how, words):
    file = measured(sealed, "2026-03-28")
    if how == "gone":
        file.unlink()
    else:
        content = bytearray(file.read_bytes())
        content[len(content) // 3 : len(content) // 2] = bytes(len(content) // 2 - len(content) // 3)
        file.write_bytes(content)
    facts = made(sealed, tmp_path / "set", **words)
    assert {one.day for one in facts.damages} == {"2026-03-28"}
    assert AIR in {one.series for one in facts.damages}
    text = (tmp_path / "set" / "README.md").read_text()
    assert "Damaged days" in text
    assert "2026-03-28" in text.split("Damaged days")[1]
    assert str(sealed) not in text
    series = pd.read_csv(tmp_path / "set" / "series.csv").set_index("series")
    assert series.loc["outdoors/air_temperature", "damaged_days"] == 1  # its readings are in a file of all series
    assert series.loc["outdoors/air_temperature", "readings"] == 3 * 144


def test_when_all_is_damaged_nothing_is_written(sealed, tmp_path):
    measured(sealed, "2026-03-28").unlink()
    told = r"series asked for is damaged \(2026-03-28\): nothing was written\. leafweather store verify says which file"
    with pytest.raises(Refused, match=told):
        made(sealed, tmp_path / "set", start="2026-03-28T00:00:00Z", end="2026-03-29T00:00:00Z", origins="measured")
    assert not (tmp_path / "set").exists()


def test_a_folder_that_is_there_is_refused_unless_told(kept, tmp_path):
    target = tmp_path / "set"
    made(kept, target, (Format.CSV,))
    (before,) = [one for one in target.iterdir() if one.name == "README.md"]
    text = before.read_text()
    with pytest.raises(Refused, match="is there already: name another folder, or ask to overwrite"):
        made(kept, target)
    assert before.read_text() == text
    made(kept, target, (Format.PARQUET,), overwrite=True)
    assert (target / "readings.parquet").exists()
    assert not (target / "readings.csv").exists()
    assert [one.name for one in tmp_path.iterdir()] == ["set"]


@pytest.mark.parametrize("what", ["stranger", "empty", "file", "link", "other"])
def test_only_a_data_set_is_overwritten(kept, tmp_path, what):
    target = tmp_path / "set"
    if what == "file":
        target.write_text("mine")
    elif what == "link":
        made(kept, tmp_path / "real", (Format.CSV,))
        target.symlink_to(tmp_path / "real")
    else:
        target.mkdir()
        if what == "other":
            (target / "thesis.txt").write_text("mine")
        if what == "stranger":
            shutil.rmtree(target)
            made(kept, target, (Format.CSV,))
            (target / "thesis.txt").write_text("mine")
    before = sorted(str(one) for one in tmp_path.rglob("*"))
    with pytest.raises(Refused, match="holds other things than a data set"):
        made(kept, target, overwrite=True)
    assert sorted(str(one) for one in tmp_path.rglob("*")) == before


def test_a_folder_without_a_place_is_told(kept, tmp_path):
    with pytest.raises(NotWritten, match="there is no folder"):
        made(kept, tmp_path / "no" / "set")


@pytest.mark.slow
@pytest.mark.parametrize(("form", "room_kib"), [("parquet", 0), ("parquet", 48), ("csv", 16), ("netcdf", 16)])
def test_a_full_disk_leaves_nothing_that_looks_whole(kept, tmp_path, form, room_kib):
    description = tmp_path / "farm.toml"
    description.write_text(FARM)

    def export(disk):
        """By the command, in a process of its own, as people call it."""
        command = ["-m", "leafweather", "export", str(description), str(disk / "set"), "--data", str(kept)]
        return outside("python", *command, "--format", form, cwd=ROOT)

    with small_disk(tmp_path / "disk") as disk:
        ballast = filled(disk)
        with ballast.open("r+b") as file:
            file.truncate(ballast.stat().st_size - room_kib * 1024)
        done = export(disk)
        assert done.returncode == 2, done.stderr
        assert "the disk is full: free some space" in done.stderr
        assert done.stderr.count("\n") == 1, done.stderr
        assert [one.name for one in disk.iterdir()] == ["ballast"]
        ballast.unlink()
        done = export(disk)
        assert done.returncode == 0, done.stderr


def test_a_fault_half_way_leaves_nothing_and_replaces_nothing(kept, tmp_path, monkeypatch):
    target = tmp_path / "set"
    made(kept, target, (Format.CSV,))
    text = (target / "README.md").read_text()

    def broken(*_):
        raise RuntimeError("as if the program had a fault")

    monkeypatch.setattr("handover.data_set.datapackage", broken)
    with pytest.raises(RuntimeError):
        made(kept, target, overwrite=True)
    assert (target / "README.md").read_text() == text
    assert [one.name for one in tmp_path.iterdir()] == ["set"]


def test_judged_readings_beside_a_service_are_those_of_the_service(kept):
    with opened(kept) as (_, readings):
        found = readings.read(AIR, START_US, START_US + DAY_US)
        assert set(found.flag.tolist()) == {1, 3, 4}
