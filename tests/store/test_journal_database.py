"""The journal's file: made, migrated, refused, and its faults told in plain words."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace

import pytest
from alembic.autogenerate import compare_metadata
from alembic.runtime.migration import MigrationContext
from sqlalchemy import create_engine

from store.contract import StoreUnavailable, StoreUnusable
from store.entries import ExcursionEntry, Reason, Reject, Side
from store.journal import Journal
from store.journal_database import MIGRATIONS
from store.tables import Base
from tests.store.disks import filled, small_disk
from tests.store.words import AIR

REJECT = Reject(Reason.MALFORMED, "north/air", "", "not JSON", b"{", 1, 1)


def url(folder):
    return f"sqlite:///{folder / 'journal.sqlite'}"


def test_the_migrations_add_up_to_the_tables(tmp_path):
    Journal(url(tmp_path)).close()
    engine = create_engine(url(tmp_path))
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    engine.dispose()


def test_every_migration_follows_another(tmp_path):
    files = sorted(file.name for file in (MIGRATIONS / "versions").glob("r*.py"))
    assert [name[1:5] for name in files] == [f"{number:04}" for number in range(1, len(files) + 1)]


def test_excursions_of_before_onset_limits_stay_without_one(tmp_path):
    entry = ExcursionEntry(AIR, Side.HIGH, 10, None, 20, 31.5, 15, 28.0, 0.25, 26.0)
    with Journal(url(tmp_path)) as journal:
        journal.replace_excursions("north", AIR, 0, [entry])
    with closing(sqlite3.connect(tmp_path / "journal.sqlite")) as file, file:  # as the version before left it
        for table in (
            "finding", "alarm", "alarm_revision", "alarm_act", "notice", "notice_try", "notice_link",
            "alarm_name", "notice_alarm", "token", "session", "written",
        ):  # fmt: skip
            file.execute(f"DROP TABLE {table}")
        file.execute("DROP INDEX ix_log_entry_farm_kind_identity_version")
        file.execute("ALTER TABLE excursion DROP COLUMN onset_limit")
        file.execute("UPDATE alembic_version SET version_num = '0003'")
    with Journal(url(tmp_path)) as journal:
        assert journal.excursions("north") == [replace(entry, onset_limit=None)]


def test_writes_are_synced_and_foreign_keys_hold(tmp_path):
    with Journal(url(tmp_path)) as journal, journal._database.writing() as session:
        connection = session.connection()
        settings = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in
                    ("journal_mode", "synchronous", "foreign_keys")]  # fmt: skip
    assert settings == ["wal", 2, 1]  # 2 is FULL, sqlite.org/pragma.html


def test_a_newer_journal_is_refused_and_left_alone(tmp_path):
    with Journal(url(tmp_path)) as journal:
        journal.note_description("north", "abc", "text", 1)
    with closing(sqlite3.connect(tmp_path / "journal.sqlite")) as file, file:
        file.execute("UPDATE alembic_version SET version_num = '9999'")
    before = (tmp_path / "journal.sqlite").read_bytes()
    with pytest.raises(StoreUnusable, match=r"newer version of this program \(revision 9999, this one knows 0\d+\)"):
        Journal(url(tmp_path))
    assert (tmp_path / "journal.sqlite").read_bytes() == before


def test_a_file_that_is_something_else_is_refused_and_left_alone(tmp_path):
    (tmp_path / "journal.sqlite").write_bytes(b"a shopping list\n" * 400)
    with pytest.raises(StoreUnusable, match=r"journal.sqlite: it is not a database"):
        Journal(url(tmp_path))
    assert (tmp_path / "journal.sqlite").read_bytes() == b"a shopping list\n" * 400


def test_a_missing_folder_is_told(tmp_path):
    with pytest.raises(StoreUnavailable, match=r"nowhere/journal.sqlite: it cannot be opened: check that its folder"):
        Journal(url(tmp_path / "nowhere"))


def test_a_lock_held_by_another_program_refuses_and_passes(tmp_path):
    with Journal(url(tmp_path), patience_s=0.05) as journal:
        with closing(sqlite3.connect(tmp_path / "journal.sqlite", isolation_level=None)) as other:
            other.execute("BEGIN IMMEDIATE")
            with pytest.raises(StoreUnavailable, match="another program holds it: end that program or wait"):
                journal.add_rejects("north", [REJECT])
            with pytest.raises(StoreUnavailable, match="another program holds it"):
                Journal(url(tmp_path), patience_s=0.05)
            assert journal.rejects("north") == []  # reading goes on meanwhile
        journal.add_rejects("north", [REJECT])
        assert journal.rejects("north") == [REJECT]


def test_a_full_disk_refuses_keeps_all_and_goes_on_once_there_is_space(tmp_path):
    with small_disk(tmp_path / "disk") as disk, Journal(url(disk)) as journal:
        journal.add_rejects("north", [REJECT])
        ballast = filled(disk)
        with pytest.raises(StoreUnavailable, match=r"journal.sqlite: the disk is full: free some space"):
            journal.note_description("north", "abc", "x" * 300_000, 1)
        assert journal.rejects("north") == [REJECT]
        ballast.unlink()
        journal.note_description("north", "abc", "x" * 300_000, 1)
        assert journal.description("north", "abc") == "x" * 300_000


def test_a_failed_call_changes_nothing(tmp_path):
    with Journal(url(tmp_path)) as journal:
        with pytest.raises(AttributeError):
            journal.add_rejects("north", [REJECT, None])
        assert journal.rejects("north") == []


def test_closing_twice_is_harmless_and_a_closed_journal_says_so(tmp_path):
    journal = Journal(url(tmp_path))
    journal.close()
    journal.close()
    with pytest.raises(StoreUnavailable, match=r"journal.sqlite is closed"):
        journal.excursions("north", series=AIR)
