"""Nothing appears and nothing vanishes: what came and went against what is there, over simulated days.

The sums here are made from outside, minute by minute, from states and nameplates, wherever that can be done.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from simulator.crop import co2_uptake
from simulator.demo import demo_farm
from simulator.faults import Fault, FaultKind
from simulator.simulation import Simulation

DAYS = 3
START = datetime(2026, 2, 10, tzinfo=UTC)
CLOSES = 1e-6  # of what went through: the model adds up the same flows, so only rounding may differ

WATER_J = 4186.0
SALT_G_L_PER_MS_CM = 0.75


def energy_of_air(room):
    """Enthalpy above dry air and liquid water at 0 degC, written out again. [J]"""
    ratio = room.vapour / room.air_kg
    return room.air_kg * (1006.0 * room.temperature + ratio * (2_501_000.0 + 1860.0 * room.temperature))


class Books:
    """What a run did, summed up from outside."""

    def __init__(self) -> None:
        farm = demo_farm()
        faults = [
            Fault(FaultKind.DRYING_LOST, START + timedelta(hours=20), START + timedelta(hours=28)),
            Fault(
                FaultKind.OUTSIDE_AIR,
                START + timedelta(hours=40),
                START + timedelta(hours=40, minutes=30),
                target="door",
            ),
            Fault(FaultKind.NUTRIENT_STOCK_EMPTY, START + timedelta(hours=50), START + timedelta(hours=60)),
        ]
        simulation = Simulation(farm, seed=11, start=START, faults=faults)
        model = simulation.model
        room, tank = model.room, model.reservoir
        self.before = self.contents(model)
        self.electricity_j = self.co2_mol = self.co2_through = self.kept_kg = self.taken_g = self.envelope_j = 0.0
        dosed_before = {bottle.stock.name: bottle.given_ml for bottle in tank.bottles}
        u_value = 1 / (0.13 + 3.9 + 0.04)  # the described wall with ISO 6946's films
        for _ in range(DAYS * 1440):
            compressor = farm.equipment.air_conditioner.power_w if model.climate.compressor_on else 0.0
            self.electricity_j += 60 * (model.electrical_power - compressor)  # the compressor stands outdoors
            difference = model.outdoors.temperature - room.temperature
            uptakes = [co2_uptake(one, model.ppfd(one.zone), room.co2, room.temperature) for one in model.stands]
            changes = 0.25 + 6.0 * model.door_opening  # room volumes an hour
            leaked = changes / 3600 * room.air_mol * (425 - room.co2) * 1e-6
            dosed = 0.0030 if model.carbon_dioxide.valve_open else 0.0
            self.co2_mol += 60 * (dosed + leaked - sum(uptakes))
            self.co2_through += 60 * (dosed + abs(leaked) + abs(sum(uptakes)))
            self.kept_kg += 60 * sum(max(0.0, one) * 0.030 * 19 for one in uptakes)
            ec, drunk = tank.ec, tank.ledger.drunk_l
            simulation.step()
            self.taken_g += (tank.ledger.drunk_l - drunk) * ec * 0.80 * SALT_G_L_PER_MS_CM
            self.envelope_j += 60 * 135.0 * u_value * (difference + model.outdoors.temperature - room.temperature) / 2
        self.after = self.contents(model)
        self.given_ml = {
            bottle.stock.name: bottle.given_ml - dosed_before[bottle.stock.name] for bottle in tank.bottles
        }
        self.model = model

    @staticmethod
    def contents(model):
        room, tank = model.room, model.reservoir
        return {
            "energy": energy_of_air(room) + 1.5e6 * room.mass_temperature + WATER_J * tank.volume_l * tank.temperature,
            "vapour": room.vapour,
            "water": tank.volume_l,
            "co2": room.co2 * 1e-6 * room.air_mol,
            "salt": tank.ec * tank.volume_l * SALT_G_L_PER_MS_CM,
        }

    def gained(self, what: str) -> float:
        return self.after[what] - self.before[what]


@pytest.fixture(scope="module")
def books():
    return Books()


def test_every_flow_took_part(books):
    room, tank = books.model.room.ledger, books.model.reservoir.ledger
    for flow in (room.condensate, room.wall_water, room.transpiration, room.co2_dosed, tank.feed_l, tank.dosed_l):
        assert flow > 0
    assert room.coil < 0
    assert room.infiltration < 0


def test_energy_closes(books):
    room, tank = books.model.room.ledger, books.model.reservoir.ledger
    flows = [
        books.electricity_j,
        room.envelope,
        room.infiltration,
        room.coil,
        room.condensate_heat,
        room.wall_water_heat,
        room.transpired_water + tank.water_heat,  # feed and doses, less what plants keep
    ]
    assert sum(flows) == pytest.approx(books.gained("energy"), abs=CLOSES * sum(map(abs, flows)))


def test_heat_through_the_walls_follows_their_resistance(books):
    # sampled once a minute, while the air moves within it: 1 %
    assert books.model.room.ledger.envelope == pytest.approx(books.envelope_j, rel=0.01)


def test_moisture_closes(books):
    room, tank = books.model.room.ledger, books.model.reservoir.ledger
    transpired = tank.drunk_l - books.kept_kg
    flows = [transpired, -room.condensate, -room.wall_water, room.infiltrated_vapour]
    assert sum(flows) == pytest.approx(books.gained("vapour"), abs=CLOSES * sum(map(abs, flows)))


def test_water_closes(books):
    tank = books.model.reservoir.ledger
    flows = [tank.feed_l, sum(books.given_ml.values()) / 1000, -tank.drunk_l]
    assert sum(flows) == pytest.approx(books.gained("water"), abs=CLOSES * sum(map(abs, flows)))


def test_carbon_dioxide_closes(books):
    assert books.co2_mol == pytest.approx(books.gained("co2"), abs=CLOSES * books.co2_through)


def test_salt_closes(books):
    dosed = sum(books.given_ml[name] * 0.11 for name in ("nutrient-a", "nutrient-b")) * SALT_G_L_PER_MS_CM
    fed = books.model.reservoir.ledger.feed_l * 0.03 * SALT_G_L_PER_MS_CM
    flows = [dosed, fed, -books.taken_g]
    assert sum(flows) == pytest.approx(books.gained("salt"), abs=CLOSES * sum(map(abs, flows)))


def test_transpiration_is_that_of_a_lettuce_canopy(books):
    area = sum(stand.area_m2 for stand in books.model.stands)
    per_day = books.model.room.ledger.transpiration / area / DAYS
    # 1 to 3 L m-2 d-1: reported for lettuce canopies under lamps, from memory (Graamans et al. 2017 and others).
    assert 1.0 < per_day < 3.0
