"""Every statement the embedded engine gives SQLite, in one place."""

from __future__ import annotations

VERSION = 3  # of the tables below; kept in the file as PRAGMA user_version

VERSION_1 = (
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
)

_SEALED_DAYS = (
    # A sealed file. A day (whole days since 1970 UTC) may have several: a later one adds late readings.
    """CREATE TABLE part (
        id INTEGER PRIMARY KEY,
        farm TEXT NOT NULL, origin TEXT NOT NULL, day INTEGER NOT NULL, version INTEGER NOT NULL,
        readings INTEGER NOT NULL, bytes INTEGER NOT NULL, sha256 TEXT NOT NULL, footer INTEGER NOT NULL,
        UNIQUE (farm, origin, day, version))""",
    "CREATE INDEX part_day ON part (day)",
    # What of a file counts: one series' readings and where they stand. What has no span is not read from it.
    """CREATE TABLE span (
        series INTEGER NOT NULL, day INTEGER NOT NULL, part INTEGER NOT NULL,
        row_group INTEGER NOT NULL, place INTEGER NOT NULL, count INTEGER NOT NULL,
        first INTEGER NOT NULL, last INTEGER NOT NULL, last_value REAL, last_flag INTEGER NOT NULL,
        PRIMARY KEY (series, day, part)) WITHOUT ROWID""",
    "CREATE INDEX span_part ON span (part)",
    """CREATE TABLE rollup (
        series INTEGER NOT NULL, every INTEGER NOT NULL, day INTEGER NOT NULL, sums BLOB NOT NULL,
        PRIMARY KEY (series, every, day))""",
    """CREATE TABLE hot_hour (
        series INTEGER NOT NULL, hour INTEGER NOT NULL, sums BLOB NOT NULL, PRIMARY KEY (series, hour))""",
    "CREATE INDEX hot_hour_hour ON hot_hour (hour)",
    # Work begun on files and not finished yet: the next opening finishes it. A number is never used twice.
    """CREATE TABLE intent (
        id INTEGER PRIMARY KEY AUTOINCREMENT, deed TEXT NOT NULL,
        farm TEXT NOT NULL, origin TEXT NOT NULL, day INTEGER NOT NULL, version INTEGER NOT NULL)""",
    # How far each farm's manifest is known to go: a shorter one has lost lines.
    "CREATE TABLE chain (farm TEXT PRIMARY KEY, entries INTEGER NOT NULL, head TEXT NOT NULL)",
    "PRAGMA user_version = 2",
)

_BLOCKS = (
    # Hot derived readings, some hundreds in a row: times, values and flags one after another. Of one series, none
    # reaches into another. Rows of `reading` that an older program derived count beside them.
    """CREATE TABLE block (
        series INTEGER NOT NULL, first INTEGER NOT NULL, last INTEGER NOT NULL, count INTEGER NOT NULL,
        readings BLOB NOT NULL, PRIMARY KEY (series, first))""",
    "PRAGMA user_version = 3",
)

CREATE = (*VERSION_1, *_SEALED_DAYS, *_BLOCKS)
UPGRADES = {1: _SEALED_DAYS, 2: _BLOCKS}  # from that version to the next

FIND_SERIES = "SELECT id, origin FROM series WHERE farm = ? AND zone = ? AND quantity = ? AND sensor = ?"
ADD_SERIES = "INSERT INTO series (farm, zone, quantity, sensor, origin) VALUES (?, ?, ?, ?, ?)"

ADD_READING = "INSERT OR IGNORE INTO reading VALUES (?, ?, ?, ?)"
ADD_AT_ONCE = 50  # readings by one statement, of 200 parameters
ADD_READINGS = ADD_READING + ", (?, ?, ?, ?)" * (ADD_AT_ONCE - 1)
FIND_READING = "SELECT value, flag FROM reading WHERE series = ? AND time = ?"
READINGS = "SELECT time, value, flag FROM reading WHERE series = ? AND time >= ? AND time < ? ORDER BY time"
COUNT_READINGS = "SELECT count(*) FROM reading WHERE series = ? AND time >= ? AND time < ?"
REMOVE_READING = "DELETE FROM reading WHERE series = ? AND time = ?"
NEXT_READING = "SELECT min(time) FROM reading WHERE series = ? AND time >= ? AND time < ?"
CLEAR_READINGS = "DELETE FROM reading WHERE series = ? AND time >= ? AND time < ?"

BLOCKS = """SELECT first, last, readings FROM block WHERE series = :series AND first < :end AND last >= :start
    AND first >= coalesce((SELECT max(first) FROM block WHERE series = :series AND first <= :start), :start)
    ORDER BY first"""
BLOCK_BEFORE = "SELECT first, last, readings FROM block WHERE series = ? AND first < ? ORDER BY first DESC LIMIT 1"
NEWEST_BLOCK = "SELECT first, last, readings FROM block WHERE series = ? ORDER BY first DESC LIMIT 1"
ADD_BLOCK = "INSERT INTO block VALUES (?, ?, ?, ?, ?)"
REMOVE_BLOCKS = "DELETE FROM block WHERE series = ? AND first >= ? AND first <= ?"

MOVE_LATEST = """INSERT INTO latest VALUES (?, ?, ?, ?)
    ON CONFLICT (series) DO UPDATE SET time = excluded.time, value = excluded.value, flag = excluded.flag
    WHERE excluded.time > latest.time"""
CLEAR_LATEST = "DELETE FROM latest WHERE series = ?"
FIND_LATEST = """INSERT INTO latest SELECT * FROM (
    SELECT * FROM (SELECT * FROM reading WHERE series = :series ORDER BY time DESC LIMIT 1)
    UNION ALL
    SELECT series, last, last_value, last_flag FROM span
        WHERE series = :series AND day = (SELECT max(day) FROM span WHERE series = :series))
    ORDER BY time DESC LIMIT 1"""

NEXT_VERSION = "UPDATE note_version SET newest = newest + 1 RETURNING newest"
TOUCH = """INSERT INTO touched VALUES (?, ?, ?, ?, ?)
    ON CONFLICT (series, hour) DO UPDATE SET
    first = min(first, excluded.first), last = max(last, excluded.last), version = excluded.version"""
SETTLE = "DELETE FROM touched WHERE series = ? AND hour = ? AND version = ?"

LAST_BEFORE = "SELECT time, value, flag FROM reading WHERE series = ? AND time < ? ORDER BY time DESC LIMIT 1"
LATEST = """SELECT zone, quantity, sensor, time, value, flag
    FROM series JOIN latest ON latest.series = series.id WHERE farm = ?"""
KNOWN = """SELECT zone, quantity, sensor, origin,
    (SELECT min(first) FROM (
        SELECT min(time) AS first FROM reading WHERE reading.series = series.id
        UNION ALL
        SELECT min(first) FROM block WHERE block.series = series.id
        UNION ALL
        SELECT min(first) FROM span WHERE span.series = series.id
            AND day = (SELECT min(day) FROM span WHERE span.series = series.id))),
    latest.time
    FROM series JOIN latest ON latest.series = series.id WHERE farm = ?"""
TOUCHED = """SELECT zone, quantity, sensor, first, last, version
    FROM series JOIN touched ON touched.series = series.id WHERE farm = ?
    ORDER BY version, hour, id LIMIT ?"""

SERIES_OF = "SELECT id, zone, quantity, sensor, origin FROM series WHERE farm = ?"
COUNT_HOT = """SELECT count(*), coalesce(sum((SELECT count(*) FROM reading WHERE reading.series = series.id)
    + (SELECT coalesce(sum(count), 0) FROM block WHERE block.series = series.id)), 0)
    FROM series WHERE farm = ?"""
COUNT_SEALED = (
    "SELECT count(*), coalesce(sum(readings), 0), coalesce(sum(bytes), 0), min(day), max(day) FROM part WHERE farm = ?"
)
FARMS = "SELECT DISTINCT farm FROM series ORDER BY farm"

_SPAN = """SELECT span.series, span.day, part.id, farm, origin, version, footer, row_group, place, count,
    first, last, last_value, last_flag FROM span JOIN part ON part.id = span.part WHERE span.series = ?"""
SPANS = f"{_SPAN} AND span.day >= ? AND span.day <= ? ORDER BY span.day, version"
NEWEST_SPANS = f"""{_SPAN} AND first < ? AND span.day =
    (SELECT day FROM span WHERE series = ? AND day <= ? AND first < ? ORDER BY day DESC LIMIT 1)"""  # noqa: S608
HORIZON = "SELECT max(day) FROM part"
ADD_SPAN = "INSERT INTO span VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)"
COUNTS = """SELECT 1 FROM span JOIN part ON part.id = span.part
    WHERE span.series = ? AND span.day = ? AND farm = ? AND origin = ? AND part.day = ? AND version = ?"""
FIND_SPAN = "SELECT 1 FROM span WHERE series = ? AND day = ? AND part = ?"
REMOVE_SPAN = "DELETE FROM span WHERE series = ? AND day = ? AND part = ?"
REMOVE_SPANS = "DELETE FROM span WHERE part = ? RETURNING series"

ADD_PART = """INSERT OR IGNORE INTO part (farm, origin, day, version, readings, bytes, sha256, footer)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?)"""
FIND_PART = "SELECT id FROM part WHERE farm = ? AND origin = ? AND day = ? AND version = ?"
REMOVE_PART = "DELETE FROM part WHERE id = ?"
PARTS = "SELECT id, farm, origin, day, version, readings, bytes, sha256, footer FROM part ORDER BY farm, day, version"
OLD_PARTS = """SELECT day, version FROM part WHERE farm = ? AND origin = ? AND day < ? ORDER BY day, version"""
# A file of derived readings that were all replaced since. Measured ones stay: they are evidence.
DEAD_PARTS = """SELECT day, version FROM part WHERE farm = ? AND origin = 'derived'
    AND NOT EXISTS (SELECT 1 FROM span WHERE span.part = part.id) ORDER BY day, version"""
SERIES_OF_PART = """SELECT zone, quantity, sensor FROM span JOIN series ON series.id = span.series
    WHERE span.part = ? ORDER BY zone, quantity, sensor"""

FIND_ROLLUP = "SELECT sums FROM rollup WHERE series = ? AND every = ? AND day = ?"
ROLLUPS = "SELECT day, sums FROM rollup WHERE series = ? AND every = ? AND day >= ? AND day <= ? ORDER BY day"
ADD_ROLLUP = "INSERT OR REPLACE INTO rollup VALUES (?, ?, ?, ?)"
REMOVE_ROLLUPS = "DELETE FROM rollup WHERE series = ? AND day = ?"
DROP_ROLLUPS = "DELETE FROM rollup WHERE series = ? AND every = ? AND day < ?"

HAS_SPAN = "SELECT 1 FROM span WHERE series = ? AND day = ? LIMIT 1"
ADD_HOT_HOUR = "INSERT OR REPLACE INTO hot_hour VALUES (?, ?, ?)"
HOT_HOURS = "SELECT hour, sums FROM hot_hour WHERE series = ? AND hour >= ? AND hour < ? ORDER BY hour"
HOT_HOURS_KEPT = "SELECT hour FROM hot_hour WHERE series = ?"
NEWEST_HOT_HOUR = "SELECT max(hour) FROM hot_hour"
REMOVE_HOT_HOUR = "DELETE FROM hot_hour WHERE series = ? AND hour = ?"
REMOVE_HOT_HOURS = "DELETE FROM hot_hour WHERE series = ? AND hour >= ? AND hour <= ?"

ADD_INTENT = "INSERT INTO intent (deed, farm, origin, day, version) VALUES (?, ?, ?, ?, ?)"
NUMBER_INTENT = "UPDATE intent SET version = ? WHERE id = ?"
REMOVE_INTENT = "DELETE FROM intent WHERE id = ?"
INTENTS = "SELECT id, deed, farm, origin, day, version FROM intent ORDER BY id"

KEEP_CHAIN = """INSERT INTO chain VALUES (?, ?, ?)
    ON CONFLICT (farm) DO UPDATE SET entries = excluded.entries, head = excluded.head
    WHERE excluded.entries > chain.entries"""
CHAIN = "SELECT entries, head FROM chain WHERE farm = ?"
