"""PostgreSQL: one table with the same key, every commit synced, in a cluster made for the benchmark."""

from __future__ import annotations

import importlib
import os
import pwd
import secrets
import shutil
import signal
import subprocess

import numpy as np

from bench.engines import servers
from bench.engines.invented import COLUMNS
from bench.engines.servers import LeftOut

NAME = "PostgreSQL"
# Its defaults (synchronous_commit, fsync and full_page_writes on), but for the memory that machines have today.
SETTINGS = {"shared_buffers": "512MB", "max_wal_size": "4GB", "synchronous_commit": "on"}
TYPES = ["int4", "int8", "float8", "int2"]


class PostgreSQL:
    """A server of its own in a folder, its data removed with the folder."""

    def __init__(self, folder):
        try:
            psycopg = importlib.import_module("psycopg")
        except ImportError as error:
            raise LeftOut("psycopg is not installed: pip install 'leafweather[bench]'") from error
        debian = "usr/lib/postgresql/*/bin"
        initdb, postgres = (servers.program(name, debian) for name in ("initdb", "postgres"))
        self._data = folder / "postgresql"
        self._data.mkdir()
        password = secrets.token_urlsafe()
        secret = folder / "postgresql.password"
        secret.write_text(password)
        how = self._user(folder, secret)
        made = subprocess.run(
            [initdb, "-D", self._data, "-U", "bench", "-A", "scram-sha-256", f"--pwfile={secret}", "-E", "UTF8"],
            capture_output=True, text=True, check=False, cwd=self._data, **how,
        )  # fmt: skip
        secret.unlink()
        if made.returncode:
            raise LeftOut(f"initdb failed: {made.stderr.strip().splitlines()[-1]}")
        port = servers.free_port()
        settings = {**SETTINGS, "listen_addresses": "127.0.0.1", "port": port, "unix_socket_directories": ""}
        arguments = [word for key, value in settings.items() for word in ("-c", f"{key}={value}")]
        self.server = servers.Server(
            [postgres, "-D", self._data, *arguments],
            folder / "postgresql.log", stop_by=signal.SIGINT, cwd=self._data, **how,
        )  # fmt: skip
        try:
            self._connection = self.server.wait_until(
                lambda: psycopg.connect(
                    host="127.0.0.1", port=port, user="bench", dbname="postgres", password=password, autocommit=True
                )
            )
            self._cursor = self._connection.cursor(binary=True)
            self._cursor.execute(
                "CREATE TABLE reading (series integer, time bigint, value double precision, flag smallint, "
                "PRIMARY KEY (series, time))"
            )
            self._cursor.execute("CREATE TEMPORARY TABLE came (LIKE reading) ON COMMIT DELETE ROWS")
        except BaseException:
            self.server.stop()
            raise

    def _user(self, folder, secret):
        """Return how to start programs as somebody else than root, whom PostgreSQL refuses."""
        if os.geteuid() != 0:
            return {}
        try:
            user = pwd.getpwnam("postgres")
        except KeyError:
            raise LeftOut("we are root, whom it refuses, and there is no user postgres") from None
        folder.chmod(0o711)
        for path in (self._data, secret):
            shutil.chown(path, user.pw_uid, user.pw_gid)
        return {"user": user.pw_uid, "group": user.pw_gid, "extra_groups": []}

    def append(self, rows):
        """Commit rows; those whose key is taken are left out, as everywhere."""
        with self._connection.transaction():
            with self._cursor.copy("COPY came FROM STDIN (FORMAT BINARY)") as copy:
                copy.set_types(TYPES)
                for row in rows:
                    copy.write_row(row)
            self._cursor.execute("INSERT INTO reading SELECT * FROM came ON CONFLICT DO NOTHING")

    def settle(self):
        self._cursor.execute("VACUUM ANALYZE reading")
        self._cursor.execute("CHECKPOINT")

    def read(self, number, start_us, end_us):
        rows = self._cursor.execute(
            "SELECT time, value, flag FROM reading WHERE series = %s AND time >= %s AND time < %s ORDER BY time",
            (number, start_us, end_us),
        )
        return np.array(rows.fetchall(), COLUMNS)

    def aggregate(self, number, start_us, end_us, every_us):
        return self._cursor.execute(
            "SELECT time - time %% %(every)s AS bucket, count(*), avg(value), min(value), max(value), max(flag) "
            "FROM reading WHERE series = %(series)s AND time >= %(start)s AND time < %(end)s AND flag < 4 "
            "GROUP BY bucket ORDER BY bucket",
            {"series": number, "start": start_us, "end": end_us, "every": every_us},
        ).fetchall()

    def latest(self, count):
        return self._cursor.execute(
            "SELECT one.* FROM generate_series(0, %s - 1) AS wanted, LATERAL (SELECT series, time, value, flag "
            "FROM reading WHERE series = wanted ORDER BY time DESC LIMIT 1) AS one",
            (count,),
        ).fetchall()

    def disk_bytes(self):
        """Return what the table and its key take, without the log."""
        return self._cursor.execute("SELECT pg_total_relation_size('reading')").fetchone()[0]

    def close(self):
        self._connection.close()
        self.server.stop()
