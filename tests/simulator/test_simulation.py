"""What the simulated sensors say: repeatable, complete, plausible, and healthy while nothing is wrong."""

from __future__ import annotations

import hashlib
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.description import Farm
from farm.quantities import Kind
from simulator.demo import demo_farm
from simulator.fault_kinds import FaultKind
from simulator.faults import Fault
from simulator.senml import Packer
from simulator.simulation import Simulation

START = datetime(2026, 1, 20, tzinfo=UTC)
SEASONS = [
    datetime(2026, 1, 20, tzinfo=UTC),
    datetime(2026, 7, 10, tzinfo=UTC),
    datetime(2026, 10, 23, 7, 30, tzinfo=UTC),
]


def longest_run(mask):
    """Longest stretch of True."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], mask.view(np.int8), [0]))))
    return int((edges[1::2] - edges[::2]).max(initial=0))


def digest(seed, block_minutes=30):
    simulation = Simulation(demo_farm(), seed=seed, start=START)
    packer = Packer(demo_farm())
    blocks = simulation.until(START + timedelta(minutes=600), block_minutes)
    packs = [packer.pack([snapshot]) for block in blocks for snapshot in block.snapshots()]
    return hashlib.sha256(b"".join(packs)).hexdigest()


def test_same_seed_same_bytes_and_another_seed_others():
    assert digest(7) == digest(7)
    assert digest(7) != digest(8)


@pytest.mark.parametrize(
    ("kind", "target"),
    [(FaultKind.DRYING_LOST, ""), (FaultKind.SENSOR_STUCK, "room/air_temperature"), (FaultKind.CLOCK_JUMP, "room")],
)
def test_a_branch_is_the_run_that_knew_its_fault_from_the_start(kind, target):
    size = 600.0 if kind is FaultKind.CLOCK_JUMP else 1.0
    fault = Fault(kind, START + timedelta(minutes=200), size=size, target=target)
    whole = Simulation(demo_farm(), seed=7, start=START, faults=[fault])
    trunk = Simulation(demo_farm(), seed=7, start=START)
    whole.run(180)
    trunk.run(180)
    branch, untouched = trunk.branched([fault]), Simulation(demo_farm(), seed=7, start=START)
    untouched.run(180)
    expected, found = whole.run(240), branch.run(240)
    np.testing.assert_array_equal(found.value, expected.value)
    np.testing.assert_array_equal(found.stamps(0), expected.stamps(0))
    np.testing.assert_array_equal(trunk.run(240).value, untouched.run(240).value)


def test_a_branch_comes_before_its_fault():
    simulation = Simulation(demo_farm(), seed=7, start=START)
    simulation.run(60)
    with pytest.raises(ValueError, match="branch off earlier"):
        simulation.branched([Fault(FaultKind.DRYING_LOST, START)])


@pytest.fixture(scope="module", params=SEASONS, ids=["winter", "summer", "clock change"])
def healthy(request, demo_run):
    return demo_run(request.param, days=4)


def test_every_described_series_reads_every_minute_inside_its_range(healthy):
    start, times, columns = healthy.start, healthy.times, healthy.columns
    farm = demo_farm()
    assert times == [start + timedelta(minutes=count + 1) for count in range(len(times))]
    assert set(columns) == {one.key for one in farm.series}
    for one in farm.series:
        values = columns[one.key]
        low, high = one.limits
        assert np.isfinite(values).all()
        assert ((values >= low) & (values <= high)).all(), one.key
        if one.registered.kind == Kind.STATE:
            assert set(np.unique(values)) <= {0.0, 1.0}, one.key
        if one.registered.kind == Kind.COUNTER:
            assert (np.diff(values) >= 0).all(), one.key


def test_nothing_leaves_its_band_while_nothing_is_wrong(healthy):
    farm = demo_farm()
    checked = set()
    for zone in farm.zones:
        quantities = {one.quantity: healthy[one.key] for one in farm.series if one.zone == zone and not one.sensor}
        if {"air_temperature", "relative_humidity"} <= set(quantities):
            quantities["vapour_pressure_deficit"] = healthy.vapour_pressure_deficit(zone)
        if zone == "room":  # its coldest surface is the door frame
            surface = healthy["room/surface_temperature/door-frame"]
            quantities["condensation_margin"] = surface - healthy.dew_point_temperature(zone)
        for quantity, values in quantities.items():
            judged = healthy.outside(zone, quantity, values)
            if judged is None:
                continue
            mask, on_delay_s = judged
            checked.add(quantity)
            assert mask.mean() <= 0.005, f"{zone}/{quantity} outside for {mask.mean():.2%}"
            assert longest_run(mask) * 60 < on_delay_s, f"{zone}/{quantity}"
    planned = {name for crop in farm.crops.values() for phase in crop.phases.values() for name in phase.bands}
    assert checked == planned


def test_every_full_light_day_reaches_its_light_integral(healthy):
    start, columns = healthy.start, healthy.columns
    farm = demo_farm()
    for zone in ("row-1", "row-2", "row-3", "row-4", "shelf"):
        low, high = farm.phase_at(zone, start).daily_light_integral
        edges = np.flatnonzero(np.diff(columns[f"{zone}/lights_on"]) > 0) + 1
        integrals = np.add.reduceat(columns[f"{zone}/ppfd"], edges)[:-1] * 60 / 1e6
        assert len(integrals) >= 2
        assert ((integrals > low) & (integrals < high)).all()


def test_lights_follow_the_local_clock(healthy):
    times, columns = healthy.times, healthy.columns
    zone_info = demo_farm().farm.zone_info
    lit = np.array([5 <= when.astimezone(zone_info).hour < 21 for when in times])
    assert (columns["row-2/lights_on"] == lit).all()


def test_states_and_readings_belong_together(healthy):
    columns = healthy.columns
    pumping = columns["reservoir/pump_on"] > 0
    assert (columns["reservoir/flow_rate"][~pumping] == 0).all()
    # 160 emitters of 4 L/h, nameplate; a loaded filter takes up to 4 %, the meter is within 2 %
    assert columns["reservoir/flow_rate"][pumping] == pytest.approx(160 * 4 / 60, rel=0.06)
    loss = columns["reservoir/line_pressure_before_filter"] - columns["reservoir/line_pressure_after_filter"]
    assert (loss[pumping] > 0).all()
    lit = columns["row-1/lights_on"] > 0
    assert (columns["row-1/ppfd"][~lit] == 0).all()
    running = columns["room/compressor_on"] > 0
    assert columns["supply/air_temperature"][running].mean() < columns["room/air_temperature"][running].mean() - 5
    energy = np.diff(columns["room/electrical_energy"][[0, -1]])[0]
    integrated = columns["room/electrical_power"][:-1].sum() / 60 / 1000
    assert energy == pytest.approx(integrated, rel=0.02)  # two meters, each within 1 %


def test_the_door_frame_is_the_coldest_surface_by_its_u_value():
    simulation = Simulation(demo_farm(), seed=2, start=START)
    readings = simulation.run(1440)
    inside, outdoors, frame = (
        readings.value[readings.keys.index(key)].mean()
        for key in ("room/air_temperature", "outdoors/air_temperature", "room/surface_temperature/door-frame")
    )
    # ISO 13788: surface = inside - (inside - outdoors) U Rsi, with U 0.9 and Rsi 0.13; sensors within 0.5 K
    assert frame == pytest.approx(inside - (inside - outdoors) * 0.9 * 0.13, abs=0.5)


def test_a_start_must_be_a_whole_aware_minute():
    with pytest.raises(ValueError, match="whole minute with a time zone"):
        Simulation(demo_farm(), seed=1, start=datetime(2026, 1, 1))  # noqa: DTZ001
    with pytest.raises(ValueError, match="whole minute"):
        Simulation(demo_farm(), seed=1, start=START + timedelta(seconds=1))


def test_a_series_the_model_cannot_measure_is_refused_by_name():
    raw = demo_farm().model_dump()
    raw["series"].append({"zone": "outdoors", "quantity": "solution_ph"})
    with pytest.raises(ValueError, match="outdoors/solution_ph"):
        Simulation(Farm.model_validate(raw), seed=1, start=START)


def test_a_farm_without_nameplates_is_refused():
    raw = demo_farm().model_dump()
    raw["equipment"]["air_conditioner"] = None
    with pytest.raises(ValueError, match=r"equipment\.air_conditioner"):
        Simulation(Farm.model_validate(raw), seed=1, start=START)


def test_the_length_of_the_blocks_changes_nothing():
    assert digest(7, 1) == digest(7, 60) == digest(7, 600) == digest(7, 1440)
