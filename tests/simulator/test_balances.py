"""Nothing appears and nothing vanishes: what came and went against what is there, over a simulated month.

Contents are written out again here, and flows are summed from outside wherever states or nameplates allow it.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from farm.readings import microseconds
from simulator.building import Building, Climate, Machines
from simulator.demo import demo_farm
from simulator.farm_model import FarmModel
from simulator.faults import Fault, FaultKind, aimed

START = datetime(2026, 1, 10, tzinfo=UTC)
DAYS = 30
HOUR = timedelta(hours=1)
CLOSES = 1e-3  # the budget: 0.1 % of what went through
ROUNDING = 1e-7  # where the model itself adds up the same flows, far less may be left
CO2_KG_MOL = 0.04401

FAULTS = [
    Fault(FaultKind.DRYING_LOST, START + 50 * HOUR, START + 58 * HOUR),
    Fault(FaultKind.OUTSIDE_AIR, START + 80 * HOUR, START + 80.5 * HOUR, target="door"),
    Fault(FaultKind.FREE_WATER, START + 100 * HOUR, START + 120 * HOUR, 0.5),
    Fault(FaultKind.MAINS_LOST, START + 150 * HOUR, START + 153 * HOUR),
    Fault(FaultKind.CO2_VALVE_STUCK_OPEN, START + 200 * HOUR, START + 210 * HOUR, 0.6),
    Fault(FaultKind.CIRCULATION_FAN_DEAD, START + 240 * HOUR, START + 260 * HOUR, target="row-2"),
    Fault(FaultKind.COOLING_AT_DEW_POINT, START + 300 * HOUR, START + 312 * HOUR),
    Fault(FaultKind.HUMID_SOURCE_LOST, START + 350 * HOUR, START + 370 * HOUR),
]


class Books:
    """What a run did, from its first instant to its last."""

    def __init__(self, days, building=None, faults=(), climate=None):
        self.model = model = FarmModel(demo_farm(), 11, START, aimed(demo_farm(), faults), building, climate)
        self.before = self.contents(model)
        self.pending_w = model.state.water.heat_to_air_w[0]
        self.ledger_before = model.state.air.ledger.copy()
        blocks = []
        for day in range(days):
            first = microseconds(START) + day * 86_400_000_000 + 60_000_000
            blocks.append(model.run(first + 60_000_000 * np.arange(1440)))
        self.values = {name: np.concatenate([block[name] for block in blocks]) for name in model.names}
        self.after = self.contents(model)

    def __getitem__(self, name):
        return self.values[name]

    def passed(self, name):
        """A ledger's sum over the run."""
        return self.values[f"ledger.{name}"][-1]

    def gained(self, what):
        return self.after[what] - self.before[what]

    @staticmethod
    def contents(model):
        air, parts, water = model.state.air, model.parts, model.state.water
        rooms, coil = parts.rooms, model.state.air.coil
        ratio = air.vapour / rooms.air_kg
        temperature = air.temperature
        moist = rooms.air_kg * (1006.0 * temperature + ratio * (2_501_000.0 + 1860.0 * temperature))
        metal = (rooms.coil.metal_j_k + 4186.0 * coil.water[0]) * coil.temperature[0]
        return {
            "energy": moist.sum() + (rooms.mass_j_k * air.mass_temperature).sum() + metal + air.wall_heat.sum(),
            "water": air.vapour.sum() + air.wall_water.sum() + coil.water[0],
            "co2": air.co2.sum(),
            "solution": water.tank.volume_l[0] + water.lines.place_l.sum(),
            "dry": (parts.crop.area_m2 * (model.state.plants.stored + model.state.plants.structural)).sum(),
            "bottle": model.state.now.bottle_kg[0],
        }


@pytest.fixture(scope="module")
def month():
    return Books(DAYS, faults=FAULTS)


@pytest.fixture(scope="module")
def dehumidified():
    """Four days in a bitter cold, with a dehumidifier, until it dries no more and walls drip."""
    machines = replace(Machines(), dehumidifier_l_day=60.0)
    wet = Fault(FaultKind.DRYING_LOST, START + 30 * HOUR, START + 90 * HOUR)
    return Books(4, Building(machines=machines), [wet], Climate(mean_c=-25.0))


def closes(flows, gained, tolerance):
    assert sum(flows) == pytest.approx(gained, abs=tolerance * sum(map(abs, flows)))


HEAT = ("electric_heat", "envelope_heat", "leaked_heat", "solution_heat", "transpired_heat", "people_heat",
        "floor_heat", "refrigerant_heat", "drained_heat", "dehumidified_heat")  # fmt: skip


def test_every_flow_took_part(month, dehumidified):
    for name in ("transpired", "drained", "floor_vapour", "people_vapour", "co2_dosed", "co2_taken_up", "co2_breathed",
                 "electric_heat", "transpired_heat", "floor_heat", "people_heat", "harvested",
                 "kept_water"):  # fmt: skip
        assert month.passed(name) > 0, name
    for name in ("envelope_heat", "leaked_heat", "refrigerant_heat", "drained_heat", "leaked_vapour", "co2_leaked"):
        assert month.passed(name) < 0, name
    for name in ("dehumidified", "wall_drained"):
        assert dehumidified.passed(name) > 0, name
    assert dehumidified["outdoors.air_temperature"].min() < -35


@pytest.mark.parametrize("run", ["month", "dehumidified"])
def test_energy_closes(run, request):
    books = request.getfixturevalue(run)
    flows = [books.passed(name) for name in HEAT]
    closes(flows, books.gained("energy"), ROUNDING)


@pytest.mark.parametrize("run", ["month", "dehumidified"])
def test_water_in_the_air_closes(run, request):
    books = request.getfixturevalue(run)
    came = [books.passed(name) for name in ("transpired", "people_vapour", "floor_vapour", "leaked_vapour")]
    went = [-books.passed(name) for name in ("drained", "wall_drained", "dehumidified")]
    closes(came + went, books.gained("water"), ROUNDING)


def test_water_of_the_whole_farm_closes(month):
    """Tank and air together: the shelf of this farm has no line of its own and is watered by hand."""
    books = month.model.state.water.books
    by_hand = month["row/shelf.transpiration"].sum() / 1000
    fed, _, _, dosed, _, drained, leaked, _ = books.water_l
    came = [fed, dosed, by_hand, *(month.passed(name) for name in ("people_vapour", "floor_vapour", "leaked_vapour"))]
    went = [drained, leaked, *(month.passed(name) for name in ("drained", "wall_drained"))]
    kept = drunk_and_kept(month)
    flows = [*came, *(-one for one in went), -kept]
    closes(flows, month.gained("water") + month.gained("solution"), CLOSES)


def drunk_and_kept(month):
    """What plants drank of the solution less what they gave to the air: kept as growth. [L]"""
    rows = sum(month[f"row/row-{row}.transpiration"].sum() for row in range(1, 5)) / 1000
    return month.model.state.water.books.water_l[4] - rows


def test_what_plants_keep_is_the_water_of_their_growth(month):
    rows_only = drunk_and_kept(month)
    assert 0.8 * month.passed("kept_water") < rows_only < month.passed("kept_water")  # the shelf's part is not drunk


def test_co2_closes(month):
    came = [month.passed(name) for name in ("co2_dosed", "co2_leaked", "co2_breathed", "co2_from_solution")]
    flows = [*came, -month.passed("co2_taken_up")]
    closes(flows, month.gained("co2"), ROUNDING)


def test_co2_dosed_is_what_left_the_bottle(month):
    changes = np.diff(month["farm.co2_bottle"])
    filled = changes[changes > 0].sum()
    assert month.passed("co2_dosed") * CO2_KG_MOL == pytest.approx(filled - month.gained("bottle"), rel=CLOSES)


def test_carbon_that_plants_took_is_in_their_dry_matter(month):
    grown = month.gained("dry") + month.passed("harvested")
    assert month.passed("co2_taken_up") * 44.01 * 0.68 == pytest.approx(grown, rel=CLOSES)


def test_the_solution_gives_the_room_the_heat_that_it_loses(month):
    given = 60 * (month["water.heat_to_air"][:-1].sum() + month.pending_w)  # a minute later
    assert month.passed("solution_heat") == pytest.approx(given, rel=CLOSES)


def test_heat_through_walls_and_bridges_follows_their_resistance(month):
    # sampled once a minute, while the air moves within it: 1 %
    inside = [month["room.air_temperature"], *(month[f"row/{row}.air_temperature"] for row in ROWS)]
    shares = month.model.parts.rooms.air_kg / month.model.parts.rooms.air_kg.sum()
    mean = sum(share * one for share, one in zip(shares, inside, strict=True))
    outdoors = month["outdoors.air_temperature"]
    sun = 0.5 * 0.04 * 29 / 135 * month["outdoors.solar"]  # absorbed share, outer film (ISO 6946), roof by walls
    walls = 135 / (0.13 + 3.9 + 0.04) * (outdoors + sun - mean)
    bridges = 3.0 * 0.9 * (outdoors - month["room.air_temperature"])
    assert month.passed("envelope_heat") == pytest.approx(60 * (walls + bridges).sum(), rel=0.01)


ROWS = ("row-1", "row-2", "row-3", "row-4", "shelf")


def test_the_meter_counts_what_all_machines_draw(month):
    # the heater's thermostat moves between the instants: 1 %
    assert month["farm.electrical_energy"][-1] == pytest.approx(
        month["farm.electrical_power"].sum() / 60 / 1000, rel=0.01
    )


def test_mains_lost_leaves_nothing_running(month):
    dark = slice(150 * 60 + 1, 153 * 60 - 1)
    for name in ("farm.electrical_power", "room.power_present", "room.compressor_on", "room.fan_on", "row/row-1.ppfd",
                 "water.pump_on", "room.co2_valve_open"):  # fmt: skip
        assert (month[name][dark] == 0).all(), name
