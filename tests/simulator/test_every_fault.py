"""Every kind of fault acts, as its name says, on the reading that one would look at, and on nothing earlier."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.description import Farm
from simulator.demo import demo_farm
from simulator.fault_kinds import NATURES, Acts
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation

K = FaultKind
START = datetime(2026, 2, 2, tzinfo=UTC)  # a winter; lit from 04:00 to 20:00 UTC
HOUR = timedelta(hours=1)
ONSET, MENDED, END = START + 30 * HOUR, START + 66 * HOUR, START + 72 * HOUR
SHELF = "shelf"

# kind, target, the reading to look at, and which way its mean goes while the fault acts: up, down or other. What
# is expected follows from what the fault is; a counter is judged by what it counts meanwhile.
EXPECTED = [
    (K.DRYING_LOST, "", "room/relative_humidity", "up"),
    (K.COIL_SHORT_OF_CAPACITY, "", "room/compressor_on", "up"),
    (K.FREE_WATER, "", "room/condensate_volume", "up"),
    (K.OUTSIDE_AIR, "louvre", "room/co2_mole_fraction", "down"),
    (K.OUTSIDE_AIR, "door", "room/door_open", "up"),
    (K.COOLING_AT_DEW_POINT, "", "room/condensate_volume", "down"),
    (K.HUMIDITY_SENSOR_WET, "room/relative_humidity", "room/relative_humidity", "up"),
    (K.HUMIDITY_SENSOR_DRIFT, "row-2/relative_humidity", "row-2/relative_humidity", "up"),
    (K.CIRCULATION_FAN_DEAD, "row-2", "row-2/relative_humidity", "up"),
    (K.HEATER_STUCK, "", "room/electrical_power", "up"),
    (K.HUMID_SOURCE_LOST, "", "room/condensate_volume", "down"),
    (K.PURGE_RUNNING, "", "room/co2_mole_fraction", "down"),
    (K.COOLING_LOST, "", "room/air_temperature", "up"),
    (K.WATER_UPTAKE_HIGH, "", "feed/metered_volume", "up"),
    (K.SALT_UPTAKE_HIGH, "", "reservoir/dosed_volume/nutrient-a", "up"),
    (K.NUTRIENT_STOCK_EMPTY, "", "reservoir/solution_ec", "down"),
    (K.DOSER_LINE_AIR, "nutrient-a", "reservoir/dosed_volume/nutrient-a", "up"),
    (K.DOSER_OVERDOSING, "", "reservoir/solution_ec", "up"),
    (K.FEED_WATER_BAD, "", "reservoir/dosed_volume/nutrient-a", "down"),
    (K.DILUTION_LEAK, "", "reservoir/dosed_volume/nutrient-a", "up"),
    (K.EC_PROBE_FOULED, "", "reservoir/dosed_volume/nutrient-a", "up"),
    (K.EC_PROBE_DRIFT, "", "reservoir/dosed_volume/nutrient-a", "down"),
    (K.EC_COMPENSATION_WRONG, "", "reservoir/dosed_volume/nutrient-a", "up"),  # the tank is colder than 25 degC
    (K.ACID_EMPTY, "", "reservoir/solution_ph", "up"),
    (K.PH_UPTAKE_DRIFT, "", "reservoir/solution_ph", "other"),
    (K.ALKALINE_FEED, "", "reservoir/dosed_volume/acid", "up"),
    (K.PH_PROBE_AGED, "", "reservoir/dosed_volume/acid", "up"),  # below pH 7 it reads too high
    (K.PH_PROBE_DRY, "", "reservoir/dosed_volume/acid", "up"),
    (K.PH_PROBE_UNPLUGGED, "", "reservoir/solution_ph", "up"),
    (K.LAMP_GROUP_LOST, "row-3", "row-3/ppfd", "down"),
    (K.LAMP_FADE, "row-3", "row-3/ppfd", "down"),
    (K.TIMER_SHIFT, "row-3", "row-3/lights_on", "other"),
    (K.LAMPS_OUT_OF_PLACE, "row-3", "row-3/ppfd", "down"),
    (K.LIGHT_SENSOR_SHADED, "row-3/ppfd", "row-3/ppfd", "down"),
    (K.PUMP_OFF, "", "reservoir/flow_rate", "down"),
    (K.FILTER_LOADING, "", "reservoir/line_pressure_after_filter", "down"),
    (K.EMITTERS_CLOGGED, "row-1", "reservoir/flow_rate", "down"),
    (K.VALVE_LEFT_TO_DRAIN, "", "feed/metered_volume", "up"),
    (K.SUMP_RETURN_LOST, "", "feed/metered_volume", "up"),
    (K.FLOOD_TRAY_NOT_DRAINING, SHELF, "shelf/solution_level", "up"),
    (K.RO_MEMBRANE_TIRED, "", "reservoir/solution_level", "other"),
    (K.RO_FEED_COLD, "", "feed/solution_temperature", "down"),
    (K.LEVEL_SENSOR_STUCK, "", "reservoir/solution_level", "other"),
    (K.CO2_BOTTLE_EMPTY, "", "room/co2_mole_fraction", "down"),
    (K.CO2_VALVE_STUCK_OPEN, "", "room/co2_mole_fraction", "up"),
    (K.CO2_LEAK, "", "room/co2_valve_open", "up"),
    (K.CO2_SENSOR_DRIFT, "", "room/co2_mole_fraction", "other"),
    (K.MAINS_LOST, "", "room/electrical_power", "down"),
    (K.CIRCUIT_LOST, "lights", "row-1/ppfd", "down"),
    (K.CIRCUIT_LOST, "pump", "reservoir/flow_rate", "down"),
    (K.SENSOR_STUCK, "row-1/air_temperature", "row-1/air_temperature", "other"),
    (K.SENSOR_OFFSET, "row-1/air_temperature", "row-1/air_temperature", "up"),
]
WITHOUT_EFFECT_HERE = {
    K.BASE_EMPTY,  # this farm's pH drifts up: its base is hardly ever asked for
    K.LINK_CUT, K.CLOCK_JUMP,  # change when readings come, not what they say: test_data_path
}  # fmt: skip


def farm_with_a_flooded_shelf():
    raw = demo_farm().model_dump()
    raw["series"] += [
        {"zone": SHELF, "quantity": "solution_level"}, {"zone": SHELF, "quantity": "pump_on"},
    ]  # fmt: skip
    raw["equipment"]["flood_shelves"] = [
        {"zone": SHELF, "pump": "shelf/pump_on", "water": "shelf/solution_level", "water_above": 50.0}
    ]
    return Farm.model_validate(raw)


def run(*faults):
    simulation = Simulation(farm_with_a_flooded_shelf(), seed=1, start=START, faults=faults)
    readings = simulation.run(72 * 60)
    return dict(zip(readings.keys, readings.value, strict=True))


@pytest.fixture(scope="module")
def sound():
    return run()


def test_every_kind_is_in_the_table():
    assert {row[0] for row in EXPECTED} | WITHOUT_EFFECT_HERE == set(FaultKind)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "target", "key", "way"), EXPECTED, ids=lambda value: str(value))
def test_a_severe_fault_shows_where_one_would_look(sound, kind, target, key, way):
    nature = NATURES[kind]
    size = nature.sizes[2]
    faulty = run(Fault(kind, ONSET, MENDED, size, target, min(nature.ramp_s, 12 * 3600.0)))
    minute = np.arange(1, 72 * 60 + 1)
    before, late = minute < 30 * 60, (minute > 42 * 60) & (minute < 66 * 60)
    for name, values in faulty.items():
        assert (values[before] == sound[name][before]).all(), f"{name} changed before the fault"
    ours, theirs = faulty[key][late], sound[key][late]
    if key.split("/")[1].endswith("_volume"):
        ours, theirs = np.diff(ours), np.diff(theirs)
    if way == "other":
        assert (ours != theirs).mean() > 0.1
        return
    change = (ours.mean() - theirs.mean()) * (1 if way == "up" else -1)
    assert change > 0.02 * max(abs(theirs.mean()), 1e-3), f"{key}: {theirs.mean():.4g} became {ours.mean():.4g}"


@pytest.mark.slow
def test_a_sensors_fault_changes_nothing_but_its_sensor(sound):
    for kind, target, key, _ in EXPECTED:
        if NATURES[kind].acts is Acts.SENSOR:
            faulty = run(Fault(kind, ONSET, MENDED, NATURES[kind].sizes[1], target))
            assert {name for name in faulty if (faulty[name] != sound[name]).any()} == {key}
