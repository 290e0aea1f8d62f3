"""What the embedded engine says and does when its file or disk does not play along, with real disks."""

from __future__ import annotations

import json
import os
import re
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from store.contract import Appended, StoreUnavailable, StoreUnusable
from store.embedded import FILE_NAME, EmbeddedStore
from tests.store.disks import filled, small_disk
from tests.store.words import AIR, ROOT, VPD, columns, everything, reading


def test_a_missing_folder_is_refused_with_its_name(tmp_path):
    with pytest.raises(StoreUnavailable, match=r"nowhere: there is no such folder: make it"):
        EmbeddedStore(tmp_path / "nowhere")
    (tmp_path / "file").touch()
    with pytest.raises(StoreUnavailable, match=r"file: there is no such folder"):
        EmbeddedStore(tmp_path / "file")


def test_a_full_disk_refuses_keeps_all_and_goes_on_once_there_is_space(tmp_path):
    with small_disk(tmp_path / "disk") as disk, EmbeddedStore(disk) as store:
        store.append([reading(time) for time in range(100)])
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        ballast = filled(disk)
        batch = [reading(time, 21.0) for time in range(100, 20_000)]
        for _ in range(2):
            with pytest.raises(StoreUnavailable, match=rf"disk/{FILE_NAME}: the disk is full: free some space") as told:
                store.append(batch)
            assert isinstance(told.value.__cause__, sqlite3.OperationalError)
        with pytest.raises(StoreUnavailable, match="the disk is full"):
            store.replace(VPD, 0, 10**6, columns(*((time, 2.0, 1) for time in range(50_000))))
        assert everything(store, AIR) == [(time, 20.0, 1) for time in range(100)]
        assert everything(store, VPD) == [(1, 1.0, 1)]
        assert store.latest("north")[AIR] == reading(99)
        ballast.unlink()
        assert store.append(batch) == Appended(len(batch), 0, ())
        assert len(everything(store, AIR)) == 20_000


LIMITED = """
import json, resource, sys
from pathlib import Path
from store.contract import StoreUnavailable
from store.embedded import EmbeddedStore
from tests.store.disks import filled, small_disk
from tests.store.words import ROOT, AIR, everything, reading
folder, told = Path(sys.argv[1]), []
with EmbeddedStore(folder) as store:
    store.append([reading(1)])
    size = max(file.stat().st_size for file in folder.iterdir())
    _, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size + 20_000, hard))
    batch = [reading(time) for time in range(20_000)]
    for _ in range(2):
        try:
            store.append(batch)
        except StoreUnavailable as error:
            told.append(str(error))
    held = len(everything(store, AIR))
    resource.setrlimit(resource.RLIMIT_FSIZE, (hard, hard))
    result = store.append(batch)
    print(json.dumps([told, held, result.stored, result.duplicate, len(everything(store, AIR))]))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="a limit on file size is set as on Linux")
def test_a_quota_refuses_keeps_all_and_goes_on_once_it_is_lifted(tmp_path):
    command = [sys.executable, "-c", LIMITED, tmp_path]
    run = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    told, held, stored, duplicate, held_after = json.loads(run.stdout)
    assert len(told) == 2
    assert all(f"{FILE_NAME}: the disk reports an error: check its free space, quota" in one for one in told)
    assert (held, stored, duplicate, held_after) == (1, 19_999, 1, 20_000)


def test_a_disk_that_may_only_be_read_is_refused_at_opening(tmp_path):
    with small_disk(tmp_path / "disk") as disk:
        EmbeddedStore(disk).close()
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        with pytest.raises(StoreUnavailable, match=rf"disk/{FILE_NAME}: it cannot be (opened|written): "):
            EmbeddedStore(disk)


@pytest.mark.skipif(sys.platform == "win32", reason="permissions are set as on Unix")
def test_a_folder_that_may_only_be_read_is_refused_at_opening():
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder)
        place.chmod(0o555)
        message = without_root(lambda: told_by(EmbeddedStore, place))
        place.chmod(0o755)
    assert re.search(rf"{FILE_NAME}: it cannot be opened: check .* may write there", message), message


def told_by(open_store, place):
    """Return what opening a store says when it refuses."""
    try:
        open_store(place).close()
    except StoreUnavailable as error:
        return str(error)
    return "opened"


def without_root(task):
    """Return a task's text, run in a child process that is not root: root may write in any folder."""
    reading_end, writing_end = os.pipe()
    child = os.fork()
    if child == 0:
        if os.geteuid() == 0:
            os.setgid(65534)
            os.setuid(65534)
        os.write(writing_end, task().encode())
        os._exit(0)
    os.close(writing_end)
    os.waitpid(child, 0)
    with os.fdopen(reading_end) as pipe:
        return pipe.read()


def test_a_lock_held_by_another_program_refuses_and_passes(tmp_path):
    with EmbeddedStore(tmp_path, patience_s=0.05) as store:
        other = sqlite3.connect(tmp_path / FILE_NAME, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(StoreUnavailable, match="another program holds it: end that program or wait"):
            store.append([reading(1)])
        with pytest.raises(StoreUnavailable, match="another program holds it"):
            EmbeddedStore(tmp_path, patience_s=0.05)
        assert everything(store, AIR) == []  # reading goes on meanwhile
        other.execute("COMMIT")
        other.close()
        assert store.append([reading(1)]).stored == 1


def test_a_failed_call_leaves_no_trace_of_a_new_series(tmp_path):
    with EmbeddedStore(tmp_path, patience_s=0.05) as store:
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        with pytest.raises(ValueError, match="derived"):
            store.append([reading(1), reading(1, series=VPD)])
        store.replace(AIR, 0, 10, columns((1, 1.0, 1)))  # had AIR been kept, it would be a measured one
        assert everything(store, AIR) == [(1, 1.0, 1)]


def test_a_newer_file_is_refused_and_left_alone(tmp_path):
    EmbeddedStore(tmp_path).close()
    with sqlite3.connect(tmp_path / FILE_NAME) as file:
        file.execute("PRAGMA user_version = 99")
    file.close()
    with pytest.raises(StoreUnusable, match=r"newer version of this program \(format 99, this one knows 3\): update"):
        EmbeddedStore(tmp_path)
    file = sqlite3.connect(tmp_path / FILE_NAME)
    assert file.execute("PRAGMA user_version").fetchone() == (99,)
    file.close()


def test_a_file_that_is_something_else_is_refused_and_left_alone(tmp_path):
    (tmp_path / FILE_NAME).write_bytes(b"a shopping list\n" * 400)
    with pytest.raises(StoreUnusable, match="it is not a database: move it elsewhere"):
        EmbeddedStore(tmp_path)
    assert (tmp_path / FILE_NAME).read_bytes() == b"a shopping list\n" * 400


def test_a_damaged_file_is_told_as_damaged(tmp_path):
    with EmbeddedStore(tmp_path) as store:
        store.append([reading(time) for time in range(20_000)])
    content = bytearray((tmp_path / FILE_NAME).read_bytes())
    content[40 * 4096 :] = b"\xff" * (len(content) - 40 * 4096)
    (tmp_path / FILE_NAME).write_bytes(content)
    with EmbeddedStore(tmp_path) as store, pytest.raises(StoreUnusable, match="it is damaged: keep it, and put back"):
        everything(store, AIR)


def test_a_closed_store_says_so(tmp_path):
    store = EmbeddedStore(tmp_path)
    store.append([reading(1)])
    store.close()
    for call in (lambda: store.append([reading(2)]), lambda: everything(store, AIR), lambda: store.touched("north", 1)):
        with pytest.raises(StoreUnavailable, match=f"{FILE_NAME} is closed"):
            call()


def test_every_write_is_synced_to_disk(tmp_path):
    with EmbeddedStore(tmp_path) as store, store._connections.writing() as connection:
        assert connection.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL, sqlite.org/pragma.html
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("wal",)


class TestSyncing:
    """What is told to the disk at once, and what later: traced, because no test can cut the power."""

    @pytest.fixture
    def traced(self, tmp_path):
        with EmbeddedStore(tmp_path) as store:
            statements = []
            store._connections._writer.set_trace_callback(statements.append)
            yield store, statements

    @staticmethod
    def commits(statements):
        """Return for each commit whether it was synced, and whether it had anything to sync."""
        synced, wrote, found = True, False, []
        for one in statements:
            if one.startswith("PRAGMA synchronous"):
                synced = one.endswith("FULL")
            elif one == "BEGIN IMMEDIATE":
                wrote = False
            elif one == "COMMIT":
                found.append((synced, wrote))
            else:
                wrote |= one.startswith(("INSERT", "UPDATE"))
        statements.clear()
        return found

    def test_what_is_replaced_is_synced_with_the_next_settling(self, traced):
        store, statements = traced
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        store.replace(VPD, 10, 20, columns((11, 1.0, 1)))
        assert self.commits(statements) == [(False, True), (False, True)]
        store.settle([])
        assert self.commits(statements) == [(True, True)]
        store.settle([])
        assert self.commits(statements) == []

    def test_notes_settled_before_are_no_way_around_it(self, traced):
        store, statements = traced
        store.append([reading(1)])
        notes = store.touched("north", 10)
        store.settle(notes)
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        statements.clear()
        store.settle(notes)  # nothing to delete
        assert self.commits(statements) == [(True, True)]

    def test_what_is_appended_is_synced_at_once_and_with_it_what_was_replaced(self, traced):
        store, statements = traced
        store.replace(VPD, 0, 10, columns((1, 1.0, 1)))
        store.append([reading(1)])
        assert self.commits(statements) == [(False, True), (True, True)]
        store.settle([])
        assert self.commits(statements) == []

    def test_what_a_program_that_died_replaced_is_synced_by_the_next(self, tmp_path):
        with EmbeddedStore(tmp_path) as died, EmbeddedStore(tmp_path) as store:
            died.replace(VPD, 0, 10, columns((1, 1.0, 1)))
            statements = []
            store._connections._writer.set_trace_callback(statements.append)
            store.settle([])
            assert self.commits(statements) == [(True, True)]

    def test_a_replacement_that_fails_leaves_syncing_on(self, traced):
        store, statements = traced
        with pytest.raises(ValueError, match="strictly ascending"):
            store.replace(VPD, 0, 10, columns((2, 1.0, 1), (1, 1.0, 1)))
        store.append([reading(1)])
        assert self.commits(statements) == [(True, True)]
