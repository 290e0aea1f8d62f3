"""The evidence chain: checked with standard tools as the documentation says, and by `verify`."""

from __future__ import annotations

import re
import shutil
import subprocess

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from typer.testing import CliRunner

from farm.readings import Columns
from leafweather.store_commands import app
from store.contract import DayDamaged, StoreUnusable
from store.embedded import EmbeddedStore
from store.manifest import Manifest
from store.retention import Retention
from store.sealed_days import farm_folder, farms_sealed
from tests.store.words import AIR, DAY, HUMIDITY, MINUTE, ROOT, VPD, columns, everything, reading

COMMANDS = re.findall(r"```sh\n(.*?)```", (ROOT / "docs" / "evidence.md").read_text(encoding="utf-8"), re.DOTALL)
FILES, CHAIN, STRANGERS = COMMANDS


def rows():
    return [
        reading(day * DAY + minute * MINUTE, float(minute % 11), 1, series)
        for day in range(3)
        for series in (AIR, HUMIDITY)
        for minute in range(1440)
    ]


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sealed")
    with EmbeddedStore(folder) as store:
        store.append(rows())
        store.replace(VPD, 0, DAY, columns((1, 1.0, 1), (5, 2.0, 1)))
        store.seal_due("north", 3 * DAY)
        store.append([reading(DAY + 1, 3.0)])
        store.seal_due("north", 3 * DAY)
    return folder


@pytest.fixture
def folder(template, tmp_path):
    return shutil.copytree(template, tmp_path / "store")


def shell(folder, command):
    return subprocess.run(
        ["sh", "-c", command], cwd=folder / "sealed" / "north", capture_output=True, text=True, check=False
    )


def verified(folder):
    with EmbeddedStore(folder) as store:
        return store.verify()


def edited(path, old, new):
    text = path.read_text()
    assert old in text
    path.write_text(text.replace(old, new, 1))


class TestStandardTools:
    def test_what_is_sound_passes(self, folder):
        lines = shell(folder, FILES).stdout.splitlines()
        assert sorted(lines) == [
            f"measured/1970-01-0{day}.{version}.parquet: OK" for day, version in ((1, 1), (2, 1), (2, 2), (3, 1))
        ]
        with EmbeddedStore(folder) as store:
            (status,) = store.status()
        assert shell(folder, CHAIN).stdout == f"chain holds, head {status.chain_head}\n"
        assert shell(folder, STRANGERS).stdout == ""

    def test_one_flipped_bit_of_a_file_shows(self, folder):
        path = folder / "sealed/north/measured/1970-01-02.1.parquet"
        content = bytearray(path.read_bytes())
        content[len(content) // 2] ^= 1
        path.write_bytes(content)
        found = shell(folder, FILES)
        assert found.returncode != 0
        assert "measured/1970-01-02.1.parquet: FAILED" in found.stdout
        assert found.stdout.count("OK") == 3

    @pytest.mark.parametrize("entry", [1, 2, 3])
    def test_a_changed_line_shows_at_the_next_one(self, folder, entry):
        manifest = folder / "sealed/north/manifest.txt"
        lines = manifest.read_text().splitlines(keepends=True)
        lines[entry] = lines[entry].replace(" 2880 ", " 2881 ")
        manifest.write_text("".join(lines))
        assert shell(folder, CHAIN).stdout == f"chain breaks at entry {entry + 1}\n"

    def test_a_line_taken_out_shows(self, folder):
        manifest = folder / "sealed/north/manifest.txt"
        lines = manifest.read_text().splitlines(keepends=True)
        manifest.write_text("".join(lines[:2] + lines[3:]))
        assert shell(folder, CHAIN).stdout == "chain breaks at entry 2\n"

    def test_a_file_nobody_recorded_shows(self, folder):
        (folder / "sealed/north/measured/1970-01-09.1.parquet").touch()
        assert shell(folder, STRANGERS).stdout == "not on record: 1970-01-09.1.parquet\n"

    def test_a_dropped_day_is_on_record_and_asked_for_no_more(self, folder):
        with EmbeddedStore(folder) as store:
            store.drop_due("north", 3 * DAY, Retention(measured_days=2))
        assert "measured/1970-01-01.1.parquet" not in shell(folder, FILES).stdout
        assert shell(folder, FILES).returncode == 0
        assert shell(folder, CHAIN).stdout.startswith("chain holds")
        assert "dropped 1970-01-01 1 2880" in (folder / "sealed/north/manifest.txt").read_text()
        assert verified(folder).sound


class TestVerify:
    def test_what_is_sound_is_said_to_be(self, folder):
        found = verified(folder)
        assert (found.sound, found.files) == (True, 5)

    def test_a_changed_file_is_named_with_what_it_affects(self, folder):
        path = folder / "sealed/north/measured/1970-01-02.1.parquet"
        path.write_bytes(path.read_bytes()[:-1] + b"x")
        (damage,) = verified(folder).damages
        assert (damage.farm, damage.file, damage.day) == ("north", "measured/1970-01-02.1.parquet", "1970-01-02")
        assert damage.series == (AIR, HUMIDITY)
        assert "it was changed after it was sealed" in str(damage)
        assert "room/air_temperature, room/relative_humidity/probe-2" in str(damage)

    def test_a_missing_file_is_named(self, folder):
        (folder / "sealed/north/measured/1970-01-02.2.parquet").unlink()
        next(folder.glob("sealed/north/derived/*.parquet")).unlink()
        first, second = verified(folder).damages
        assert "the file is missing" in first.what
        assert {first.series, second.series} == {(AIR,), (VPD,)}

    def test_a_file_nobody_recorded_is_named(self, folder):
        (folder / "sealed/north/measured/1970-01-09.1.parquet").touch()
        (damage,) = verified(folder).damages
        assert damage.file == "measured/1970-01-09.1.parquet"
        assert "not on record" in damage.what

    def test_the_first_break_of_the_chain_is_named(self, folder):
        edited(folder / "sealed/north/manifest.txt", "2 sealed 1970-01-02 1 2880", "2 sealed 1970-01-02 1 2881")
        (broken,) = verified(folder).breaks
        assert (broken.farm, broken.line) == ("north", 4)
        assert "one of them was changed" in str(broken)

    def test_a_changed_last_line_shows_although_nothing_follows_it(self, folder):
        edited(folder / "sealed/north/manifest.txt", "4 sealed 1970-01-02 2 1 ", "4 sealed 1970-01-02 2 2 ")
        (broken,) = verified(folder).breaks
        assert broken.line == 5

    def test_lines_cut_off_at_the_end_show(self, folder):
        manifest = folder / "sealed/north/manifest.txt"
        manifest.write_text("".join(manifest.read_text().splitlines(keepends=True)[:-1]))
        (broken,) = verified(folder).breaks
        assert "1 lines are missing at the end" in broken.why

    def test_a_missing_manifest_shows(self, folder):
        (folder / "sealed/north/manifest.txt").unlink()
        (broken,) = verified(folder).breaks
        assert "4 lines are missing" in broken.why

    def test_nothing_is_built_on_a_broken_chain_but_readings_are_kept(self, folder):
        manifest = folder / "sealed/north/manifest.txt"
        edited(manifest, "1 sealed 1970-01-01 1 2880", "1 sealed 1970-01-01 1 2881")
        before = manifest.read_bytes()
        with EmbeddedStore(folder) as store:
            assert store.append([reading(4 * DAY)]).stored == 1
            with pytest.raises(
                StoreUnusable, match=r"the chain breaks in line 3 .* new readings are kept all the same"
            ):
                store.seal_due("north", 9 * DAY)
            with pytest.raises(StoreUnusable, match="the chain breaks in line 3"):
                store.drop_due("north", 9 * DAY, Retention(measured_days=1))
            assert len(everything(store, AIR)) == 3 * 1440 + 2
        assert manifest.read_bytes() == before

    def test_a_manifest_that_lost_lines_is_not_gone_on_with(self, folder):
        manifest = folder / "sealed/north/manifest.txt"
        manifest.write_text("".join(manifest.read_text().splitlines(keepends=True)[:-1]))
        with EmbeddedStore(folder) as store, pytest.raises(StoreUnusable, match="it has lost lines: 3 are there of 4"):
            store.seal_due("north", 9 * DAY)


class TestDamagedDays:
    """A damaged or missing file: its readings are refused, all others are there."""

    @pytest.fixture(params=["missing", "cut short", "emptied", "overwritten"])
    def damaged(self, request, folder):
        path = folder / "sealed/north/measured/1970-01-02.1.parquet"
        content = path.read_bytes()
        {
            "missing": path.unlink,
            "cut short": lambda: path.write_bytes(content[:-100]),
            "emptied": lambda: path.write_bytes(b""),
            "overwritten": lambda: path.write_bytes(b"\xff" * len(content)),
        }[request.param]()
        with EmbeddedStore(folder) as store:
            yield store, path, content

    def test_it_is_refused_by_name_and_all_else_is_read(self, damaged):
        store, path, _ = damaged
        for call in (
            lambda: store.read(AIR, 0, 3 * DAY),
            lambda: store.read(HUMIDITY, DAY + 5, DAY + 6 * MINUTE),
            lambda: store.aggregate(AIR, DAY, 2 * DAY, 30_000_000),
            lambda: store.last_before(AIR, DAY + 700 * MINUTE),
        ):
            with pytest.raises(DayDamaged, match=rf"{path.name}: .*backup.*store verify"):
                call()
        assert len(store.read(AIR, 0, DAY)) == 1440
        assert len(store.read(AIR, 2 * DAY, 3 * DAY)) == 1440
        assert store.aggregate(AIR, 0, 3 * DAY, 60 * MINUTE).count.sum() == 3 * 1440 + 1  # kept sums
        assert store.latest("north")[AIR].time_us == 2 * DAY + 1439 * MINUTE
        assert {one.series: (one.first_us, one.last_us) for one in store.known("north")}[AIR][0] == 0
        assert store.last_before(AIR, 2 * DAY).time_us == DAY + 1439 * MINUTE

    def test_late_readings_of_it_are_kept_and_the_first_stands_once_it_is_back(self, damaged):
        store, path, content = damaged
        late = [reading(DAY, 0.0), reading(DAY + MINUTE, 99.0), reading(DAY + 7, 7.0)]
        assert store.append(late).stored == 3  # whether two came before cannot be told now
        store.seal_due("north", 3 * DAY)  # and nothing is sealed of them either
        path.write_bytes(content)
        wanted = sorted({one[1:] for one in rows() if one.series == AIR} | {(DAY + 1, 3.0, 1), (DAY + 7, 7.0, 1)})
        assert everything(store, AIR) == wanted
        store.seal_due("north", 3 * DAY)
        assert everything(store, AIR) == wanted
        assert store.verify().sound


def test_no_flipped_bit_is_ever_read_as_something_else(folder):
    path = folder / "sealed/north/measured/1970-01-02.1.parquet"
    content = path.read_bytes()
    wanted = [(one.time_us, one.value, one.flag) for one in rows() if one.series == AIR]
    wanted = sorted([*(one for one in wanted if DAY <= one[0] < 2 * DAY), (DAY + 1, 3.0, 1)])
    refused = 0
    for place in range(0, len(content), max(len(content) // 150, 1)):
        changed = bytearray(content)
        changed[place] ^= 1 << place % 8
        path.write_bytes(changed)
        with EmbeddedStore(folder) as store:
            try:
                found = store.read(AIR, DAY, 2 * DAY)
            except DayDamaged:
                refused += 1
            else:
                assert (
                    list(zip(found.time_us.tolist(), found.value.tolist(), found.flag.tolist(), strict=True)) == wanted
                )
            assert not store.verify().sound
    assert refused > 50


def test_a_file_put_in_its_place_is_not_read(folder):
    path = folder / "sealed/north/measured/1970-01-02.1.parquet"
    table = pq.read_table(path)
    value = pa.array(np.where(table["value"].to_numpy() == 10, 10.5, table["value"].to_numpy()))
    pq.write_table(table.set_column(2, "value", value), path, compression="zstd")
    with EmbeddedStore(folder) as store, pytest.raises(DayDamaged, match="it is not the file that was sealed"):
        store.read(AIR, DAY, 2 * DAY)


def test_a_derived_day_is_healed_by_working_it_out_again(folder):
    next(folder.glob("sealed/north/derived/*.parquet")).write_bytes(b"nothing")
    with EmbeddedStore(folder) as store:
        with pytest.raises(DayDamaged):
            everything(store, VPD)
        with pytest.raises(DayDamaged):
            store.replace(VPD, 0, 3, Columns.empty())  # would have to keep what cannot be read
        store.replace(VPD, 0, DAY, columns((1, 1.0, 1), (2, 2.0, 1)))
        assert everything(store, VPD) == [(1, 1.0, 1), (2, 2.0, 1)]
        store.seal_due("north", DAY)
        assert store.verify().sound


def test_sealed_files_whose_index_was_lost_are_told_and_taken_up_again(folder):
    with EmbeddedStore(folder) as store:
        before = everything(store, AIR)
    for path in folder.glob("readings.sqlite*"):
        path.unlink()
    found = verified(folder)
    assert {(one.farm, one.day) for one in found.damages} == {
        ("north", "1970-01-01"), ("north", "1970-01-02"), ("north", "1970-01-03")
    }  # fmt: skip
    assert all("takes it up again" in one.what for one in found.damages)
    done = CliRunner().invoke(app, ["seal", "--data", str(folder)])
    assert (done.exit_code, done.output) == (0, "north: 0 readings sealed in 0 files, 0.0 MB\n")
    with EmbeddedStore(folder) as store:
        assert store.verify().sound
        assert everything(store, AIR) == before


@pytest.mark.parametrize("farm", ["north", "a/b", ".", "", "été", "100%"])
def test_the_folder_of_a_farm_tells_its_name(tmp_path, farm):
    Manifest(farm_folder(tmp_path, farm), farm).path.parent.mkdir(parents=True)
    assert farms_sealed(tmp_path) == set()
    (farm_folder(tmp_path, farm) / "manifest.txt").touch()
    assert farms_sealed(tmp_path) == {farm}
