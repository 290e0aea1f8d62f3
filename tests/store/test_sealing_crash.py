"""kill -9 at every named step of sealing and the like: every reading can be read exactly once afterwards."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys

import pytest

from store import embedded_sql as sql
from store import fault_points
from store.embedded import FILE_NAME, EmbeddedStore
from store.retention import Retention
from tests.store.words import AIR, DAY, HUMIDITY, MINUTE, ROOT, VPD, columns, everything, reading

SEALED_UNTIL = 10 * DAY

KILLED = """
import os, signal, sys
from pathlib import Path
from store import fault_points
from tests.store.test_sealing_crash import DEEDS
deed, folder, wanted, times = DEEDS[sys.argv[1]], Path(sys.argv[2]), sys.argv[3], int(sys.argv[4])
def hook(point):
    global times
    times -= point == wanted
    if times == 0 and point == wanted:
        os.kill(os.getpid(), signal.SIGKILL)
fault_points.hook = hook
deed(folder)
"""


def first_readings():
    return [
        reading(day * DAY + minute * MINUTE, float(minute % 7) / 4, 1 + minute % 3, series)
        for day in range(2)
        for minute in range(300)
        for series in (AIR, HUMIDITY)
    ]


def late_readings():
    return [reading(minute * MINUTE + 1, 3.5) for minute in range(0, 300, 3)]


def derived():
    return [(minute * MINUTE, float(minute), 1) for minute in range(100)]


def prepared(folder):
    with EmbeddedStore(folder) as store:
        store.append(first_readings())
        store.replace(VPD, 0, DAY, columns(*derived()))


def prepared_and_sealed(folder):
    prepared(folder)
    with EmbeddedStore(folder) as store:
        store.seal_due("north", SEALED_UNTIL)


def prepared_with_late_rows(folder):
    prepared_and_sealed(folder)
    with EmbeddedStore(folder) as store:
        store.append(late_readings())
        store.replace(VPD, 0, DAY, columns(*derived()[:50]))


def prepared_in_version_1(folder):
    with sqlite3.connect(folder / FILE_NAME) as file:
        for statement in sql.VERSION_1:
            file.execute(statement)
        file.execute("PRAGMA user_version = 1")
        for number, series in enumerate((AIR, HUMIDITY, VPD), 1):
            origin = "derived" if series == VPD else "measured"
            file.execute("INSERT INTO series VALUES (?, ?, ?, ?, ?, ?)", (number, *series, origin))
        numbers = {AIR: 1, HUMIDITY: 2}
        file.executemany(sql.ADD_READING, [(numbers[one.series], *one[1:]) for one in first_readings()])
        file.executemany(sql.ADD_READING, [(3, *row) for row in derived()])
        for number in (1, 2, 3):
            file.execute(
                "INSERT INTO latest SELECT * FROM reading WHERE series = ? ORDER BY time DESC LIMIT 1", (number,)
            )
    file.close()


def seal(folder):
    with EmbeddedStore(folder) as store:
        store.seal_due("north", SEALED_UNTIL)


def roll_up(folder):
    with EmbeddedStore(folder) as store:
        store.roll_up_due("north", SEALED_UNTIL)


def drop_first_day(folder):
    with EmbeddedStore(folder) as store:
        store.drop_due("north", 2 * DAY, Retention(measured_days=1, derived_days=1))


def migrate(folder):
    EmbeddedStore(folder).close()


DEEDS = {"seal": seal, "roll up": roll_up, "drop": drop_first_day, "migrate": migrate}
CASES = [
    *(("sealing", prepared, "seal", point, times) for point in fault_points.SEALING for times in (1, 2)),
    *(("re-sealing", prepared_with_late_rows, "seal", point, 1) for point in fault_points.SEALING),
    *(("re-sealing", prepared_with_late_rows, "seal", point, 1) for point in fault_points.DROPPING),
    *(("roll-up", prepared, "roll up", point, 1) for point in fault_points.ROLLING_UP),
    *(("retention", prepared_and_sealed, "drop", point, times) for point in fault_points.DROPPING for times in (1, 2)),
    *(("migration", prepared_in_version_1, "migrate", point, 1) for point in fault_points.MIGRATION),
    *(("migration", prepared_in_version_1, "migrate", "migrating", times) for times in (2, 7)),
]


@pytest.fixture(scope="module")
def templates(tmp_path_factory):
    """A folder as each preparation leaves it, made once."""
    made = {}

    def template(prepare):
        if prepare not in made:
            made[prepare] = tmp_path_factory.mktemp(prepare.__name__)
            prepare(made[prepare])
        return made[prepare]

    return template


def model(rows, series):
    return sorted((one.time_us, one.value, one.flag) for one in rows if one.series == series)


def check_once(folder, what):
    """Every reading once, before anything else is done and after the deed was finished."""
    with EmbeddedStore(folder) as store:
        measured = first_readings() + (late_readings() if what == "re-sealing" else [])
        vpd = derived()[:50] if what == "re-sealing" else derived()
        held = {series: everything(store, series) for series in (AIR, HUMIDITY, VPD)}
        wanted = {AIR: model(measured, AIR), HUMIDITY: model(measured, HUMIDITY), VPD: vpd}
        if what == "retention":  # a day of a kind is there whole, or dropped whole; the other day is there
            kept = {series: [row for row in rows if row[0] >= DAY] for series, rows in wanted.items()}
            assert (held[AIR], held[HUMIDITY]) in (
                (wanted[AIR], wanted[HUMIDITY]),
                (kept[AIR], kept[HUMIDITY]),
            )
            assert held[VPD] in (wanted[VPD], kept[VPD])
        else:
            assert held == wanted
        for series, rows in held.items():
            latest = store.latest("north").get(series)
            assert (latest and tuple(latest[1:])) == (rows[-1] if rows else None)
            known = [(one.first_us, one.last_us) for one in store.known("north") if one.series == series]
            assert known == ([(rows[0][0], rows[-1][0])] if rows else [])
            buckets = store.aggregate(series, 0, 2 * DAY, 60 * MINUTE)
            if what != "retention":  # there the sums outlive the readings
                assert buckets.count.sum() == len(rows)
    return held


@pytest.mark.parametrize(
    ("what", "prepare", "deed", "point", "times"), CASES, ids=[f"{one[0]}-{one[3]}-{one[4]}" for one in CASES]
)
def test_every_reading_is_there_once_after_a_kill(templates, tmp_path, what, prepare, deed, point, times):
    folder = tmp_path / "store"
    shutil.copytree(templates(prepare), folder)
    command = [sys.executable, "-c", KILLED, deed, str(folder), point, str(times)]
    killed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert killed.returncode == -signal.SIGKILL, f"{point} was not passed {times} times: {killed.stderr}"
    check_once(folder, what)
    DEEDS[deed](folder)
    held = check_once(folder, what)
    if what == "retention":
        assert min(held[AIR])[0] == DAY
        assert held[VPD] == []
    if deed == "seal":
        with sqlite3.connect(folder / FILE_NAME) as file:
            assert file.execute("SELECT count(*) FROM reading").fetchone() == (0,)
            assert file.execute("SELECT count(*) FROM block").fetchone() == (0,)
            assert file.execute("SELECT count(*) FROM intent").fetchone() == (0,)
        file.close()
    with EmbeddedStore(folder) as store:
        assert store.verify().sound
        assert store.append(first_readings()[-5:]).stored == 0
    left = [name for _, _, names in os.walk(folder) for name in names if name.endswith(".unfinished")]
    assert left == []
