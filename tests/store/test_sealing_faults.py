"""Sealing when the disk does not play along, with real disks: nothing changes, and it goes on once mended."""

from __future__ import annotations

import random
import subprocess
import tempfile
from contextlib import contextmanager
from pathlib import Path

import pytest

from store.contract import StoreUnavailable
from store.embedded import EmbeddedStore
from store.retention import Retention
from store.sealing_lock import sealing_lock
from tests.store.disks import filled, small_disk
from tests.store.test_embedded_faults import without_root
from tests.store.words import AIR, DAY, everything, reading


def noise(count, start=0):
    chance = random.Random(start)
    return [reading(start + time, chance.random()) for time in range(count)]


def test_a_full_disk_leaves_all_readable_and_sealing_goes_on_once_there_is_space(tmp_path):
    rows = noise(30_000)
    with small_disk(tmp_path / "disk", size="9m") as disk, EmbeddedStore(disk) as store:
        store.append(rows)
        ballast = filled(disk)
        for _ in range(2):
            with pytest.raises(StoreUnavailable, match="the disk is full: free some space"):
                store.seal_due("north", DAY)
            assert len(everything(store, AIR)) == 30_000
            assert store.latest("north")[AIR] == rows[-1]
        ballast.unlink()
        assert [one.readings for one in store.seal_due("north", DAY)] == [30_000]
        assert everything(store, AIR) == [one[1:] for one in rows]
        assert store.verify().sound
        assert not list(disk.rglob("*.unfinished"))


@pytest.mark.parametrize("room_kib", [16, 64, 160, 400, 800])
def test_a_disk_that_fills_up_at_any_step_loses_nothing(tmp_path, room_kib):
    rows = noise(30_000)
    with small_disk(tmp_path / "disk", size="9m") as disk, EmbeddedStore(disk) as store:
        store.append(rows)
        ballast = filled(disk)
        with ballast.open("r+b") as file:
            file.truncate(ballast.stat().st_size - room_kib * 1024)
        try:
            store.seal_due("north", DAY)
        except StoreUnavailable as error:
            assert "the disk is full" in str(error) or "reports an error" in str(error)  # noqa: PT017
        assert everything(store, AIR) == [one[1:] for one in rows]
        ballast.unlink()
        store.seal_due("north", DAY)
        assert everything(store, AIR) == [one[1:] for one in rows]
        assert store.verify().sound
        assert store.status()[0].hot_readings == 0


@contextmanager
def read_only(folder):
    """Make a folder one that may only be read, also for root."""
    subprocess.run(["mount", "--bind", str(folder), str(folder)], check=True)
    subprocess.run(["mount", "-o", "remount,ro,bind", str(folder)], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", str(folder)], check=True)


def test_a_disk_turned_read_only_is_told_and_sealing_goes_on_once_it_is_not(tmp_path):
    with small_disk(tmp_path / "disk", size="9m") as disk, EmbeddedStore(disk) as store:
        store.append(noise(1000))
        store.seal_due("north", DAY)
        store.append(noise(1000, DAY))
        with read_only(disk / "sealed"):
            with pytest.raises(StoreUnavailable, match="it cannot be written: give this user the right to"):
                store.seal_due("north", 2 * DAY)
            with pytest.raises(StoreUnavailable):
                store.drop_due("north", 9 * DAY, Retention(measured_days=8))
            assert len(everything(store, AIR)) == 2000
            assert store.append(noise(10, 2 * DAY)).stored == 10
        assert len(store.seal_due("north", 2 * DAY)) == 1
        assert len(everything(store, AIR)) == 2010
        assert store.verify().sound


def test_lost_permission_is_told_and_sealing_goes_on_once_it_is_back():
    # A folder of its own, that anyone may enter: pytest's are root's alone, and no other's rights are ours to change.
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        folder.chmod(0o777)

        def task():
            with EmbeddedStore(folder) as store:
                store.append(noise(1000))
                (folder / "sealed").mkdir()
                (folder / "sealed").chmod(0o555)
                try:
                    store.seal_due("north", DAY)
                    told = "sealed all the same"
                except StoreUnavailable as error:
                    told = str(error)
                held = len(everything(store, AIR))
                (folder / "sealed").chmod(0o755)
                sealed = sum(one.readings for one in store.seal_due("north", DAY))
                return f"{told} | {held} {sealed} {len(everything(store, AIR))}"

        told, figures = without_root(task).split(" | ")
    assert "access is denied: give this user the right to read and write it" in told
    assert figures == "1000 1000 1000"


def test_two_never_seal_at_once(tmp_path):
    with EmbeddedStore(tmp_path, patience_s=0.05) as store:
        store.append(noise(10))
        with sealing_lock(tmp_path, 0):
            for call in (lambda: store.seal_due("north", DAY), store.verify, lambda: store.backup(tmp_path / "b")):
                with pytest.raises(StoreUnavailable, match=r"sealing.lock: another program holds it"):
                    call()
            assert store.append(noise(10, DAY)).stored == 10
        assert len(store.seal_due("north", DAY)) == 1
