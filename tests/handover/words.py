"""A small farm over the night of a clock change, whose every number can be worked out by hand; and short words."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from farm.check import check_text
from farm.readings import Columns, Reading, Series, microseconds
from handover.asking import Format, Imprint, asked
from handover.data_set import make_data_set
from handover.provenance import MadeBy
from store.embedded import EmbeddedStore
from store.journal import Journal
from store.log_entries import PhCalibration
from watch.judging import judged_readings

FARM = """
[farm]
name = "hill"
title = "Hill farm, invented for tests"
timezone = "Europe/Oslo"
invented = true

[zones.room]
kind = "room_air"
label = "Room"
[zones.row-1]
kind = "growing_row"
label = "=HYPERLINK(1)"
lights = "row-1/lights_on"
[zones.row_1]
kind = "growing_row"
label = 'Second row, "north"'
[zones.reservoir]
kind = "reservoir"
label = "Reservoir"
[zones.outdoors]
kind = "outdoors"
label = "Outdoors"

[crops.cress]
label = "Cress"
[crops.cress.phases.growing]
[crops.cress.phases.finishing]

[[batches]]
name = "march"
crop = "cress"
sown = 2026-03-27
stays = [
  { zone = "row-1", phase = "growing", entered = 2026-03-28, left = 2026-03-29 },
  { zone = "row_1", phase = "finishing", entered = 2026-03-29T12:00:00Z },
]
[[batches]]
name = "april"
crop = "cress"
sown = 2026-04-01
stays = [{ zone = "row-1", phase = "growing", entered = 2026-04-02 }]
""" + "\n".join(
    f'[[series]]\nzone = "{zone}"\nquantity = "{quantity}"\ncadence_s = 600\n{more}'
    for zone, quantity, more in [
        ("room", "air_temperature", 'label = "-5 corner"'),
        ("room", "relative_humidity", ""),
        ("room", "co2_mole_fraction", ""),
        ("row-1", "air_temperature", ""),
        ("row-1", "lights_on", ""),
        ("row_1", "air_temperature", ""),
        ("reservoir", "solution_ph", ""),
        ("reservoir", "metered_volume", ""),
        ("outdoors", "air_temperature", ""),
    ]
)

STEP_US = 600_000_000
DAY_US = 144 * STEP_US
START_US = microseconds(datetime.fromisoformat("2026-03-27T00:00:00Z"))
STEPS = 4 * 144  # four UTC days, the clocks of Oslo go forward in the third
END_US = START_US + STEPS * STEP_US
CALIBRATED_US = START_US + 200 * STEP_US

AIR = Series("hill", "room", "air_temperature")
HUMIDITY = Series("hill", "room", "relative_humidity")
ROW, OTHER_ROW = Series("hill", "row-1", "air_temperature"), Series("hill", "row_1", "air_temperature")
LIGHTS = Series("hill", "row-1", "lights_on")
PH = Series("hill", "reservoir", "solution_ph")
METER = Series("hill", "reservoir", "metered_volume")
OUTDOORS = Series("hill", "outdoors", "air_temperature")
VPD = Series("hill", "room", "vapour_pressure_deficit")
SUSPECT, FAILED, GAP = range(10, 13), range(20, 23), range(100, 130)


def is_lit(step: int) -> bool:
    """Lights from 04:00 to 20:00 UTC."""
    return 24 <= step % 144 < 120


def rows() -> Iterator[Reading]:
    for step in range(STEPS):
        at = START_US + step * STEP_US
        flag = 3 if step in SUSPECT else 4 if step in FAILED else 1
        if step not in GAP:
            yield Reading(AIR, at, round(20 + 0.1 * (step % 7), 1), flag)
        yield Reading(HUMIDITY, at + 1_500, 60.0 + step % 3, 1)  # a clock that is 1.5 ms off
        yield Reading(ROW, at, 21.0, 1)
        yield Reading(OTHER_ROW, at, 22.0, 1)
        yield Reading(LIGHTS, at, float(is_lit(step)), 1)
        yield Reading(PH, at, 6.0, 1)
        yield Reading(METER, at, float(step if step < 300 else step - 300), 1)
        yield Reading(OUTDOORS, at, -5.25 - step % 4, 1)


def fill(store: EmbeddedStore, journal: Journal) -> None:
    store.append(list(rows()))
    vpd = [(START_US + step * STEP_US, 1.25, 1) for step in range(STEPS)]
    vpd[5] = (vpd[5][0], float("nan"), 9)
    store.replace(VPD, START_US, END_US, Columns.from_rows(vpd))
    # Read 0.1 too high in both buffers: from then on 0.1 is taken off.
    shown = PhCalibration(series=PH.key, buffers=(7.0, 4.0), readings=(7.1, 4.1), kind="ph_calibration")
    journal.log.add("hill", CALIBRATED_US, "kim", shown, CALIBRATED_US, [])


def farm(text: str = FARM):
    found, mistakes = check_text(text)
    assert found is not None, mistakes
    return found


@contextmanager
def opened(folder: Path, text: str = FARM):
    """Hold a farm and its judged readings."""
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        found = farm(text)
        yield found, judged_readings(found, store, journal)


MADE_BY = MadeBy("1.2.3", "feedfacecafe" * 5 + "beef")


def made(folder: Path, target: Path, formats=tuple(Format), imprint=Imprint(), text: str = FARM, **words):  # noqa: B008
    """Make a data set of a stored farm, and return its facts."""
    overwrite = words.pop("overwrite", False)
    with opened(folder, text) as (found, readings):
        return make_data_set(
            target, found, readings, asked(found, **words), MADE_BY, formats, imprint, overwrite=overwrite
        )


def outside(*command: str, cwd: Path, within_s: float = 300.0) -> subprocess.CompletedProcess[str]:
    """Run a program that is not ours, from this environment."""
    program = Path(sys.executable).with_name(command[0])
    return subprocess.run(
        [str(program), *command[1:]], cwd=cwd, capture_output=True, text=True, check=False, timeout=within_s
    )
