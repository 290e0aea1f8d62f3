"""A backup is the whole store at one moment, taken while ingest goes on; a restore is held to its checksums."""

from __future__ import annotations

import subprocess
import threading

import pytest

from store.backup import SUMS, restore
from store.contract import StoreUnavailable, StoreUnusable
from store.embedded import EmbeddedStore
from store.journal import Journal
from tests.store.words import AIR, DAY, FAR, MINUTE, SOUTH_AIR, VPD, columns, everything, reading


@pytest.fixture
def folder(tmp_path):
    place = tmp_path / "data"
    place.mkdir()
    with EmbeddedStore(place) as store:
        store.append([reading(minute * MINUTE, minute / 4) for minute in range(3 * 1440)])
        store.append([reading(1, series=SOUTH_AIR)])
        store.replace(VPD, 0, FAR, columns((5, 1.0, 1), (2 * DAY, 2.0, 1)))
        store.seal_due("north", 2 * DAY)
        store.append([reading(5, 1.0)])
        store.seal_due("north", 2 * DAY)
    with Journal(f"sqlite:///{place / 'journal.sqlite'}") as journal:
        journal.note_description("north", "abc", "text", 1)
    return place


def contents(folder):
    with EmbeddedStore(folder) as store:
        assert store.verify().sound
        return {series: everything(store, series) for series in (AIR, SOUTH_AIR, VPD)}


@pytest.fixture
def backup(folder, tmp_path):
    with EmbeddedStore(folder) as store:
        store.backup(tmp_path / "backup")
    return tmp_path / "backup"


def test_it_comes_back_whole_the_journal_too(folder, backup, tmp_path):
    restore(backup, tmp_path / "anew")
    assert contents(tmp_path / "anew") == contents(folder)
    with Journal(f"sqlite:///{tmp_path / 'anew' / 'journal.sqlite'}") as journal:
        assert journal.description("north", "abc") == "text"
    with EmbeddedStore(tmp_path / "anew") as store:  # and goes on from there
        assert store.append([reading(9 * DAY), reading(5, 1.0)]).stored == 1
        assert len(store.seal_due("north", 10 * DAY)) == 3


def test_standard_tools_can_check_it(backup):
    command = ["sha256sum", "--check", "--quiet", SUMS]
    assert subprocess.run(command, cwd=backup, check=False, capture_output=True).returncode == 0
    next(backup.rglob("*.2.parquet")).write_bytes(b"x")
    assert subprocess.run(command, cwd=backup, check=False, capture_output=True).returncode == 1


def test_it_holds_every_batch_that_was_acknowledged_before_it_and_none_in_part(folder, tmp_path):
    stop, acknowledged = threading.Event(), [0]
    with EmbeddedStore(folder) as store:

        def ingest():
            while not stop.is_set():
                store.append([reading(20 * DAY + acknowledged[0] * 50 + one) for one in range(50)])
                acknowledged[0] += 1

        writer = threading.Thread(target=ingest)
        writer.start()
        try:
            for number in range(3):
                before = acknowledged[0]
                store.backup(tmp_path / f"backup-{number}")
                restore(tmp_path / f"backup-{number}", tmp_path / f"anew-{number}")
                with EmbeddedStore(tmp_path / f"anew-{number}") as anew:
                    found = len(anew.read(AIR, 20 * DAY, FAR))
                    assert found % 50 == 0
                    assert found >= before * 50
        finally:
            stop.set()
            writer.join()


def test_a_folder_that_is_not_empty_is_refused_both_ways(folder, backup):
    with EmbeddedStore(folder) as store, pytest.raises(StoreUnavailable, match="data: it is not an empty folder"):
        store.backup(folder)
    before = contents(folder)
    with pytest.raises(StoreUnavailable, match="data: it is not an empty folder: name one that is"):
        restore(backup, folder)
    assert contents(folder) == before


def test_half_a_backup_is_no_backup(backup, tmp_path):
    (backup / SUMS).unlink()
    with pytest.raises(StoreUnusable, match="it is not a whole backup: SHA256SUMS is not there"):
        restore(backup, tmp_path / "anew")
    assert not (tmp_path / "anew").exists()


@pytest.mark.parametrize("name", ["readings.sqlite", "sealed/north/measured/1970-01-01.1.parquet"])
def test_a_changed_or_missing_file_is_refused(backup, tmp_path, name):
    content = bytearray((backup / name).read_bytes())
    content[-3] ^= 1
    (backup / name).write_bytes(content)
    with pytest.raises(StoreUnusable, match=rf"{name}: it was changed or damaged since the backup"):
        restore(backup, tmp_path / "anew")
    (backup / name).unlink()
    with pytest.raises(StoreUnusable, match=rf"{name}: it is missing"):
        restore(backup, tmp_path / "anew-2")


def test_no_name_in_a_backup_leads_out_of_the_folder(backup, tmp_path):
    with (backup / SUMS).open("a") as sums:
        sums.write(f"{'0' * 64}  ../outside\n")
    (backup.parent / "outside").write_text("x")
    with pytest.raises(StoreUnusable, match=r"\.\./outside is not a file of a backup"):
        restore(backup, tmp_path / "anew" / "deep")


def test_a_restore_that_fails_leaves_the_folder_empty_for_the_next_try(backup, tmp_path):
    anew = tmp_path / "anew"
    *_, last = (backup / SUMS).read_text().splitlines()
    damaged = backup / last.split("  ", 1)[1]
    content = damaged.read_bytes()
    damaged.write_bytes(content[:-1])
    with pytest.raises(StoreUnusable, match="changed or damaged"):
        restore(backup, anew)
    assert list(anew.iterdir()) == []
    damaged.write_bytes(content)
    restore(backup, anew)
    with EmbeddedStore(anew) as store:
        assert store.verify().sound


def test_what_a_crash_cuts_off_is_no_store(backup, tmp_path, monkeypatch):
    class Killed(BaseException):
        pass

    def kill(point):
        if point == "files restored":
            raise Killed

    monkeypatch.setattr("store.fault_points.hook", kill)
    with pytest.raises(Killed):
        restore(backup, tmp_path / "anew")
    assert list((tmp_path / "anew").glob("*.sqlite")) == []
