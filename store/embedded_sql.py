"""Every statement the embedded engine gives SQLite, in one place."""

from __future__ import annotations

VERSION = 1  # of the tables below; kept in the file as PRAGMA user_version

CREATE = (
    """CREATE TABLE series (
        id INTEGER PRIMARY KEY,
        farm TEXT NOT NULL, zone TEXT NOT NULL, quantity TEXT NOT NULL, sensor TEXT NOT NULL,
        origin TEXT NOT NULL,
        UNIQUE (farm, zone, quantity, sensor))""",
    # A value of NULL is NaN: SQLite has no other word for it.
    """CREATE TABLE reading (
        series INTEGER NOT NULL, time INTEGER NOT NULL, value REAL, flag INTEGER NOT NULL,
        PRIMARY KEY (series, time)) WITHOUT ROWID""",
    "CREATE TABLE latest (series INTEGER PRIMARY KEY, time INTEGER NOT NULL, value REAL, flag INTEGER NOT NULL)",
    """CREATE TABLE touched (
        series INTEGER NOT NULL, hour INTEGER NOT NULL,
        first INTEGER NOT NULL, last INTEGER NOT NULL, version INTEGER NOT NULL,
        PRIMARY KEY (series, hour)) WITHOUT ROWID""",
    # The newest version given to a note. Never used twice, so that settling twice cannot forget a new note.
    "CREATE TABLE note_version (newest INTEGER NOT NULL)",
    "INSERT INTO note_version VALUES (0)",
    f"PRAGMA user_version = {VERSION}",
)

FIND_SERIES = "SELECT id, origin FROM series WHERE farm = ? AND zone = ? AND quantity = ? AND sensor = ?"
ADD_SERIES = "INSERT INTO series (farm, zone, quantity, sensor, origin) VALUES (?, ?, ?, ?, ?)"

ADD_READING = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)"
FIND_READING = "SELECT value, flag FROM reading WHERE series = ? AND time = ?"
CLEAR_READINGS = "DELETE FROM reading WHERE series = ? AND time >= ? AND time < ?"

MOVE_LATEST = """INSERT INTO latest VALUES (?, ?, ?, ?)
    ON CONFLICT (series) DO UPDATE SET time = excluded.time, value = excluded.value, flag = excluded.flag
    WHERE excluded.time > latest.time"""
CLEAR_LATEST = "DELETE FROM latest WHERE series = ?"
FIND_LATEST = "INSERT INTO latest SELECT * FROM reading WHERE series = ? ORDER BY time DESC LIMIT 1"

NEXT_VERSION = "UPDATE note_version SET newest = newest + 1 RETURNING newest"
TOUCH = """INSERT INTO touched VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (series, hour) DO UPDATE SET
    first = min(first, excluded.first), last = max(last, excluded.last), version = excluded.version"""
SETTLE = "DELETE FROM touched WHERE series = ? AND hour = ? AND version = ?"

READ = "SELECT time, value, flag FROM reading WHERE series = ? AND time >= ? AND time < ? ORDER BY time"
LAST_BEFORE = "SELECT time, value, flag FROM reading WHERE series = ? AND time < ? ORDER BY time DESC LIMIT 1"
LATEST = """SELECT zone, quantity, sensor, time, value, flag
    FROM series JOIN latest ON latest.series = series.id WHERE farm = ?"""
KNOWN = """SELECT zone, quantity, sensor, origin,
    (SELECT min(time) FROM reading WHERE reading.series = series.id), latest.time
    FROM series JOIN latest ON latest.series = series.id WHERE farm = ?"""
TOUCHED = """SELECT zone, quantity, sensor, first, last, version
    FROM series JOIN touched ON touched.series = series.id WHERE farm = ?
    ORDER BY version, hour, id LIMIT ?"""

# "%" truncates towards zero: adding the length once more makes it floor for times before 1970.
# QARTOD's flags stand in order of severity, so the greatest is the worst: 4 is FAIL, 9 is MISSING.
AGGREGATE = """SELECT time - (time % :every + :every) % :every AS bucket, count(good), avg(good), min(good), max(good),
    CASE WHEN count(good) THEN max(flag) FILTER (WHERE good IS NOT NULL)
    ELSE max(CASE WHEN flag < 4 THEN 9 ELSE flag END) END
    FROM (SELECT time, flag, CASE WHEN flag < 4 THEN value END AS good
        FROM reading WHERE series = :series AND time >= :start AND time < :end)
    GROUP BY bucket ORDER BY bucket"""
