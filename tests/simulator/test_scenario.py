"""Scenario files: what they make, and what they answer to mistakes."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow.parquet as pq
import pytest

from farm.check import DescriptionError, read_description
from simulator.cases import cases, simulated
from simulator.demo import demo_farm, demo_farm_text
from simulator.fault_kinds import NATURES, FaultKind
from simulator.faults import Fault
from simulator.files import write_farm
from simulator.scenario import read_scenario

NOW = datetime(2026, 3, 1, 12, 34, 56, tzinfo=UTC)
HOUR = timedelta(hours=1)
DEMO = "start = 2026-02-01T00:00:00Z\ndays = 1\n[farm]\ndemo = true\n"


def cast(tmp_path, text):
    file = tmp_path / "scenario.toml"
    file.write_text(text)
    return list(cases(read_scenario(file), tmp_path, NOW))


def test_a_fault_is_made_as_the_file_says(tmp_path):
    [case] = cast(
        tmp_path,
        DEMO
        + '[[faults]]\nkind = "emitters_clogged"\ntarget = "row-2"\nafter_h = 3\nlasts_h = 5\nsize = 0.5\nramp_h = 2\n'
        '[[faults]]\nkind = "drying_lost"\nstart = 2026-02-01T06:00:00Z\nlevel = "severe"\n'
        '[[faults]]\nkind = "sensor_offset"\ntarget = "room/air_temperature"\nafter_h = 0\nlevel = "mild"\n',
    )
    start = datetime(2026, 2, 1, tzinfo=UTC)
    assert case.farm == demo_farm()
    assert case.faults == (
        Fault(FaultKind.EMITTERS_CLOGGED, start + 3 * HOUR, start + 8 * HOUR, 0.5, "row-2", 7200.0),
        Fault(FaultKind.DRYING_LOST, start + 6 * HOUR, None, NATURES[FaultKind.DRYING_LOST].sizes[2]),
        Fault(FaultKind.SENSOR_OFFSET, start, None, 3 * 0.2, "room/air_temperature"),  # accuracy 0.2 K
    )
    assert case.labels[-1].end == start + timedelta(days=1)


def test_a_farm_of_its_own_and_a_history_that_ends_now(tmp_path):
    (tmp_path / "mine.toml").write_text(demo_farm_text())
    [case] = cast(tmp_path, 'days = 2\n[farm]\ndescription = "mine.toml"\n')
    assert case.text == demo_farm_text()
    assert case.end == datetime(2026, 3, 1, 12, 34, tzinfo=UTC)
    assert case.end - case.start == timedelta(days=2)


def test_the_building_and_the_weather_are_set_over_the_farms_own(tmp_path):
    text = "[farm]\ninvented = 1\n[walls]\nair_changes = 0.9\n[weather]\nmean_c = -30.0\n[sensors]\nlost = 0.01\n"
    [changed] = cast(tmp_path, text)
    [plain] = cast(tmp_path, "[farm]\ninvented = 1\n")
    assert changed.building.walls.air_changes == 0.9
    assert changed.building.walls.air_volume_m3 == plain.building.walls.air_volume_m3
    assert changed.climate.mean_c == -30.0
    assert changed.climate.latitude_deg == plain.climate.latitude_deg
    assert changed.habits.lost == 0.01


def test_drawn_faults_differ_between_farms_come_after_the_healthy_days_and_fit(tmp_path):
    found = cast(tmp_path, "seed = 40\n[farm]\ninvented = 40\n[drawn_faults]\nper_farm = 2\nfrom_day = 6.5\n")
    assert len({fault.kind for case in found for fault in case.faults}) > 20
    for case in found:
        first, second = case.faults
        assert case.start + timedelta(days=6.5) <= first.start < first.end <= second.start < second.end <= case.end
    again = cast(tmp_path, "seed = 79\n[farm]\ninvented = 1\n[drawn_faults]\nper_farm = 2\nfrom_day = 6.5\n")
    assert again[0].faults == found[39].faults


def test_any_target_is_drawn_by_the_seed(tmp_path):
    text = '[farm]\ninvented = 20\n[[faults]]\nkind = "lamp_group_lost"\ntarget = "any"\nafter_h = 1\n'
    assert len({case.faults[0].target for case in cast(tmp_path, text)}) > 2


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("[farm]\n", "line 1: farm: .*one of description = FILE, demo = true, invented = NUMBER"),
        ("[farm]\ndemo = true\ninvented = 3\n", "one of description = FILE"),
        ("dayz = 3\n[farm]\ndemo = true\n", "line 1: dayz: .*did you mean days"),
        ("start = 2026-02-01T00:00:00\n[farm]\ndemo = true\n", "line 1: start: .*a time with a zone"),
        (
            DEMO + '[[faults]]\nkind = "drying_lot"\nafter_h = 1\n',
            r"line 6: faults\[0\].kind: .*did you mean drying_lost",
        ),
        (DEMO + '[[faults]]\nkind = "drying_lost"\n', r"line 5: faults\[0\]: .*either start or after_h"),
        (DEMO + '[[faults]]\nkind = "drying_lost"\nafter_h = 1\nsize = 3\n', r"faults\[0\]: .*size 3 .*from 0 to 1"),
        (
            DEMO + '[[faults]]\nkind = "drying_lost"\nafter_h = 1\nend = 2026-02-02T00:00:00Z\nlasts_h = 4\n',
            "either end or lasts_h, not both",
        ),
        (DEMO + "[walls]\nr_value = 3\n", "line 6: walls.r_value: .*did you mean r_value_m2k_w"),
        (DEMO + "[drawn_faults]\n", "drawn_faults.from_day below days, which is 1"),
        (DEMO + "[sensors]\nlost = 2\n", "line 6: sensors.lost: found 2; allowed: less than or equal to 1"),
    ],
)
def test_a_mistake_is_named_with_its_line_and_how_to_mend_it(tmp_path, text, complaint):
    with pytest.raises(DescriptionError, match=complaint):
        cast(tmp_path, text)


@pytest.mark.parametrize(
    ("fault", "complaint"),
    [
        ('kind = "lamp_group_lost"\nafter_h = 1\n', r"faults\[0\]: lamp_group_lost needs a target"),
        ('kind = "lamp_group_lost"\nafter_h = 1\ntarget = "row-7"\n', "unknown target 'row-7'; there is: row-1"),
        ('kind = "drying_lost"\nafter_h = 9\nend = 2026-02-01T08:00:00Z\n', "the end .* must be later than the start"),
    ],
)
def test_a_fault_that_does_not_fit_the_farm_is_named(tmp_path, fault, complaint):
    with pytest.raises(ValueError, match=complaint):
        cast(tmp_path, DEMO + "[[faults]]\n" + fault)


def test_a_file_that_is_not_there_or_no_text(tmp_path):
    with pytest.raises(DescriptionError, match=r"no readable file .*a scenario.toml; check the path"):
        read_scenario(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"days = 3\n\xff")
    with pytest.raises(DescriptionError, match=r"line 2: .*save the file as UTF-8"):
        read_scenario(tmp_path / "bytes.toml")


def test_parquet_holds_what_memory_holds(tmp_path):
    text = DEMO + "[sensors]\nlost = 0.05\n" + '[[faults]]\nkind = "link_cut"\nafter_h = 5\nlasts_h = 3\nsize = 0\n'
    [case] = cast(tmp_path, text)
    folder = tmp_path / "out"
    count = write_farm(case, folder)
    table = pq.read_table(folder / "readings.parquet")
    assert table.schema.names == ["time", "series", "value", "flag"]
    assert str(table.schema.field("time").type) == "timestamp[us, tz=UTC]"
    assert read_description(folder / "farm.toml").farm == case.farm
    found = simulated(case)
    assert count == len(table) == sum(map(len, found.values()))
    frame = table.to_pandas()
    for series, columns in found.items():
        mine = frame[frame.series == series.key].sort_values("time")
        assert (mine.time.astype("int64") == columns.time_us).all()
        assert (mine.value == columns.value).all()
    assert (frame.flag == 2).all()


@pytest.mark.slow
def test_the_same_scenario_writes_the_same_bytes(tmp_path):
    text = "days = 0.2\n[farm]\ninvented = 1\n"
    for folder in ("one", "two"):
        [case] = cast(tmp_path, text)
        write_farm(case, tmp_path / folder)
    assert (tmp_path / "one" / "readings.parquet").read_bytes() == (tmp_path / "two" / "readings.parquet").read_bytes()


def test_memory_holds_every_series_in_ascending_time(tmp_path):
    [case] = cast(tmp_path, DEMO + '[[faults]]\nkind = "clock_jump"\nafter_h = 5\nlasts_h = 3\n')
    for columns in simulated(case).values():
        assert (np.diff(columns.time_us) > 0).all()
