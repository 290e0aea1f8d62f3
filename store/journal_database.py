"""The journal's database: opened, brought to the newest tables, and its errors told in plain words."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import Lock
from typing import Any

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import Connection, Engine, create_engine, event, make_url
from sqlalchemy.exc import DBAPIError, OperationalError
from sqlalchemy.orm import Session

from store.contract import StoreUnavailable, StoreUnusable
from store.faults import sqlite_fault

NAMES_AT_ONCE = 500  # looked up by one statement
MIGRATIONS = Path(__file__).parent / "migrations"


class JournalDatabase:
    """Sessions on the journal's tables, which are brought up to date at opening."""

    def __init__(self, url: str, patience_s: float) -> None:
        address = make_url(url)
        self._is_sqlite = address.get_backend_name() == "sqlite"
        self._where = str(address.database if self._is_sqlite else address.render_as_string(hide_password=True))
        self._closed = False
        self._lock = Lock()
        self._engine = create_engine(address, connect_args={"timeout": patience_s} if self._is_sqlite else {})
        if self._is_sqlite:
            _set_up_sqlite(self._engine)
        self._writer = self._engine.execution_options(writes=True)
        try:
            with self._told():
                self._bring_up_to_date()
        except BaseException:
            self._engine.dispose()
            raise

    def _bring_up_to_date(self) -> None:
        config = _migrations()
        scripts = ScriptDirectory.from_config(config)
        known = {script.revision for script in scripts.walk_revisions()}
        with self._writer.begin() as connection:
            found = MigrationContext.configure(connection).get_current_revision()
            if found is not None and found not in known:
                raise StoreUnusable(
                    f"{self._where}: written by a newer version of this program (revision {found}, this one "
                    f"knows {scripts.get_current_head()}): update this program; the journal was left as it is"
                )
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """Hold a session for one transaction: durable at the end, or undone."""
        with self._lock, self._told(), Session(self._writer) as session, session.begin():
            yield session

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """Hold a session that only reads."""
        with self._told(), Session(self._engine) as session:
            yield session

    @contextmanager
    def _told(self) -> Iterator[None]:
        """Tell a database's error as what it means and how to mend it."""
        if self._closed:
            raise StoreUnavailable(f"{self._where} is closed: open it again")
        try:
            yield
        except DBAPIError as error:
            cause = error.orig
            if self._is_sqlite and (
                isinstance(cause, sqlite3.OperationalError) or type(cause) is sqlite3.DatabaseError
            ):
                raise sqlite_fault(self._where, cause) from error
            if isinstance(error, OperationalError):
                raise StoreUnavailable(f"{self._where}: the database does not answer: {cause}") from error
            raise

    def close(self) -> None:
        """Release every connection; closing twice is harmless."""
        self._closed = True
        self._engine.dispose()


def newest_revision() -> str:
    """Return the revision of the tables that this program knows."""
    return str(ScriptDirectory.from_config(_migrations()).get_current_head())


def _migrations() -> Config:
    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    return config


def _set_up_sqlite(engine: Engine) -> None:
    """Durable commits, foreign keys, and transactions that begin where we say."""

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _record: object) -> None:  # noqa: ANN401  # any driver's connection
        connection.isolation_level = None  # the driver would begin on its own, and not before it reads
        for setting in ("journal_mode = WAL", "synchronous = FULL", "foreign_keys = ON"):
            connection.execute(f"PRAGMA {setting}")

    @event.listens_for(engine, "begin")
    def begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get("writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def batches(names: Collection[str]) -> Iterator[list[str]]:
    """Yield names in order, so many at once as one statement looks up."""
    ordered = sorted(set(names))
    for first in range(0, len(ordered), NAMES_AT_ONCE):
        yield ordered[first : first + NAMES_AT_ONCE]
