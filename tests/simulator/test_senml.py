"""Packs read back by a decoder of its own, written from RFC 8428, section 4."""

from __future__ import annotations

import json
import re
from datetime import UTC, datetime, timedelta

import pytest

from farm.description import Farm
from farm.quantities import Kind
from farm.units import conversion_to
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.senml import Packer
from simulator.simulation import Simulation

START = datetime(2026, 3, 28, 23, 30, tzinfo=UTC)
# RFC 8428, section 4.5.1: a name begins with a letter or digit and has only these characters.
NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")


def decode(payload):
    """Resolve a pack to (name, unit, value, time), as RFC 8428 section 4.6 says."""
    base_name, base_time, base_unit, base_value = "", 0.0, None, 0.0
    for record in json.loads(payload):
        assert set(record) <= {"bn", "bt", "bu", "bv", "bver", "n", "u", "v", "vb", "vs", "t", "s"}
        assert record.get("bver", 10) <= 10
        base_name = record.get("bn", base_name)
        base_time = record.get("bt", base_time)
        base_unit = record.get("bu", base_unit)
        base_value = record.get("bv", base_value)
        name = base_name + record.get("n", "")
        time = base_time + record.get("t", 0.0)
        assert NAME.fullmatch(name)
        assert time >= 2**28  # else it would be relative to now
        assert ("v" in record) != ("vb" in record)
        value = record["vb"] if "vb" in record else base_value + record["v"]
        yield name, record.get("u", base_unit), value, time


def test_packs_say_what_the_sensors_said():
    farm = demo_farm()
    simulation = Simulation(farm, seed=4, start=START)
    snapshots = [simulation.step() for _ in range(20)]
    described = {one.key: one.registered for one in farm.series}
    found = list(decode(Packer(farm).pack(snapshots)))
    expected = [(key, value, snapshot.time) for snapshot in snapshots for key, value in snapshot.values]
    assert len(found) == len(expected) == 20 * len(farm.series)
    times = [time for *_, time in found]
    assert times == sorted(times)
    for (name, unit, sent, time), (key, value, when) in zip(found, expected, strict=True):
        quantity = described[key]
        assert name == key
        assert time == when.timestamp()
        if quantity.kind == Kind.STATE:
            assert sent is bool(value)
        else:
            assert unit == quantity.senml_unit
            conversion = conversion_to(quantity.unit, unit)
            assert sent * conversion.scale + conversion.offset == pytest.approx(value, rel=1e-9)


def test_a_pressure_travels_in_pascal():
    # 1 kPa is 1000 Pa; a line under pressure has more than 100 000 Pa.
    farm = demo_farm()
    simulation = Simulation(farm, seed=4, start=START)
    packed = Packer(farm).pack([simulation.step() for _ in range(60)])
    pascal = [value for name, unit, value, _ in decode(packed) if name.endswith("before_filter") and unit == "Pa"]
    assert len(pascal) == 60
    assert 150_000 < max(pascal) < 250_000


def test_a_wire_name_replaces_the_key():
    raw = demo_farm().model_dump()
    raw["series"][0]["wire"] = "urn:dev:abc"
    raw["series"][1]["wire"] = "box/7/rh"
    farm = Farm.model_validate(raw)
    simulation = Simulation(farm, seed=4, start=START)
    names = [name for name, *_ in decode(Packer(farm).pack([simulation.step()]))]
    assert names[:3] == ["urn:dev:abc", "box/7/rh", farm.series[2].key]


def test_a_wrong_clock_and_a_missing_reading_travel_as_they_are():
    jump = Fault(FaultKind.CLOCK_JUMP, START, None, 300.0, "room")
    simulation = Simulation(demo_farm(), seed=4, start=START, faults=[jump])
    readings = simulation.run(2)
    readings = readings._replace(came=readings.came.copy())
    readings.came[0] = False
    found = list(decode(Packer(demo_farm()).pack(readings.snapshots())))
    assert len(found) == 2 * (len(demo_farm().series) - 1)
    late = {"room": 300.0}
    first = (START + timedelta(minutes=1)).timestamp()
    assert {time - late.get(name.split("/")[0], 0.0) for name, _, _, time in found} == {first, first + 60.0}
    assert demo_farm().series[0].key not in {name for name, *_ in found}
