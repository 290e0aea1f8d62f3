"""The demonstration: its description reads, and its faults show, at whatever time of day it begins."""

from __future__ import annotations

import tomllib
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from farm.description import Farm
from simulator.demo import demo_farm, demo_farm_text, demo_farm_text_from, demo_faults
from simulator.faults import FaultKind

HOUR = timedelta(hours=1)


def test_the_description_reads_and_says_that_it_is_invented():
    farm = Farm.model_validate(tomllib.loads(demo_farm_text()))
    assert farm == demo_farm()
    assert farm.farm.invented
    assert "invented" in farm.farm.title
    assert all(crop.source == "invented for the demonstration" for crop in farm.crops.values())
    assert len(farm.series) == len(farm.described)
    lights = {one.key for one in farm.series if one.quantity == "lights_on"}
    assert {zone.lights for zone in farm.zones.values() if zone.lights} <= lights


@pytest.mark.parametrize("days", [2, 7, 30])
def test_the_batch_stands_on_the_shelf_and_then_in_its_row_within_the_history(days):
    now = datetime(2026, 11, 28, 23, tzinfo=UTC)
    farm = Farm.model_validate(tomllib.loads(demo_farm_text_from(now - days * 24 * HOUR, now)))
    [batch] = farm.batches
    shelf, row = batch.stays
    # 23:00 UTC of the 28th is the 29th in Oslo: half of 2, 7 and 30 days before that (the 25.5th counts as the 25th)
    assert row.entered == {2: date(2026, 11, 28), 7: date(2026, 11, 25), 30: date(2026, 11, 14)}[days]
    assert shelf.left == row.entered
    assert (row.entered - shelf.entered, row.left - row.entered) == (timedelta(days=21), timedelta(days=29))
    assert farm.model_copy(update={"batches": demo_farm().batches}) == demo_farm()  # all else is as it was


@pytest.mark.parametrize("hour", [0, 4, 9, 14, 15, 21])
@pytest.mark.parametrize("month", [1, 7])
def test_two_days_show_all_three_faults(month, hour, demo_run):
    now = datetime(2026, month, 18, hour, 7, tzinfo=UTC)
    start = now - 48 * HOUR
    faults = {fault.kind: fault for fault in demo_faults(start, now)}
    assert set(faults) == {FaultKind.NUTRIENT_STOCK_EMPTY, FaultKind.DRYING_LOST, FaultKind.LAMP_GROUP_LOST}
    run = demo_run(start, days=2, faults=list(faults.values()))

    ec, _ = run.outside("reservoir", "solution_ec", run["reservoir/solution_ec"])
    assert ec.sum() >= 8 * 60
    assert ec[-60:].all()  # still open now

    humid = faults[FaultKind.DRYING_LOST]
    during = run.during(humid.start, humid.end)
    humidity, _ = run.outside("room", "relative_humidity", run["room/relative_humidity"])
    deficit, _ = run.outside("row-1", "vapour_pressure_deficit", run.vapour_pressure_deficit("row-1"))
    assert humidity[during].mean() > 0.6
    assert deficit[during].mean() > 0.6
    assert not humidity[run.during(humid.end + HOUR, now)].any()

    margin = run["room/surface_temperature/door-frame"] - run.dew_point_temperature("room")
    wet, _ = run.outside("room", "condensation_margin", margin)
    assert month != 1 or wet[during].sum() > 60  # the door frame sweats in winter
    assert wet[run.during(humid.end + HOUR, now)].mean() < 0.005

    dark = faults[FaultKind.LAMP_GROUP_LOST]
    assert dark.end - dark.start == 10 * HOUR
    assert now - 30 * HOUR <= dark.start
    assert dark.end <= now
    during = run.during(dark.start, dark.end)
    assert (run["row-3/lights_on"][during] == 1).all()
    assert (run["row-3/ppfd"][during] == 0).all()

    for quantity in ("air_temperature", "co2_mole_fraction"):  # and nothing else leaves its band
        mask, on_delay_s = run.outside("room", quantity, run[f"room/{quantity}"])
        assert mask.mean() < 0.01
        stretches = np.diff(np.flatnonzero(np.diff(np.concatenate(([0], mask, [0])))))[::2]
        assert stretches.max(initial=0) * 60 < on_delay_s


def test_a_month_has_earlier_mended_cases_and_the_rest_is_sound():
    now = datetime(2026, 11, 20, 8, tzinfo=UTC)
    faults = demo_faults(now - timedelta(days=30), now)
    assert len(faults) == 7
    assert [fault.start for fault in faults] == sorted(fault.start for fault in faults)
    open_now = [fault for fault in faults if fault.active(now)]
    assert [fault.kind for fault in open_now] == [FaultKind.NUTRIENT_STOCK_EMPTY]


def test_too_short_a_history_is_refused():
    now = datetime(2026, 11, 20, 8, tzinfo=UTC)
    with pytest.raises(ValueError, match="at least 48 h"):
        demo_faults(now - 47 * HOUR, now)
