"""The air conditioner's keys: every wrong reference gets a message that says where, what, and what is allowed."""

import pytest

from farm.check import check_text
from tests.conftest import SMALL_FARM

DUCT = """
[zones.supply]
kind = "supply_duct"
label = "Supply duct"
[[series]]
zone = "supply"
quantity = "air_temperature"
[[series]]
zone = "supply"
quantity = "relative_humidity"
[[series]]
zone = "room"
quantity = "compressor_on"
[[series]]
zone = "room"
quantity = "electrical_power"
[[series]]
zone = "room"
quantity = "condensate_volume"
[equipment.air_conditioner]
cooling_w = 3500
power_w = 1000
"""
WHOLE = 'return_zone = "room"\nsupply_zone = "supply"\nair_flow_m3_h = 500\n'


def mistakes_in(keys):
    farm, mistakes = check_text(SMALL_FARM + DUCT + keys)
    return farm, [(mistake.key, f"{mistake.found}; {mistake.allowed}") for mistake in mistakes]


def test_all_keys():
    keys = WHOLE + 'compressor = "room/compressor_on"\ncondensate = "room/condensate_volume"\nmin_off_s = 180\n'
    farm, mistakes = mistakes_in(keys + "air_flow_accuracy_m3_h = 25\n")
    assert mistakes == []
    unit = farm.equipment.air_conditioner
    assert (unit.compressor, unit.supply_zone, unit.air_flow_m3_h) == ("room/compressor_on", "supply", 500)


def test_none_of_them_and_a_power_with_its_threshold():
    assert mistakes_in("")[1] == []
    assert mistakes_in('compressor = "room/electrical_power"\nrunning_above_w = 200\n')[1] == []


@pytest.mark.parametrize(
    ("keys", "where", "says"),
    [
        ('compressor = "room/compresor_on"', "compressor", "did you mean room/compressor_on?"),
        ('compressor = "room/co2_mole_fraction"', "compressor", "no compressor_on or electrical_power series"),
        ('compressor = "room/electrical_power"', "compressor", "running_above_w too"),
        ('compressor = "room/compressor_on"\nrunning_above_w = 5', "running_above_w", "a threshold without a power"),
        ("min_off_s = 180", "min_off_s", "compressor too"),
        ('condensate = "room/compressor_on"', "condensate", "room/condensate_volume"),
        (WHOLE.replace('"supply"', '"room"'), "supply_zone", "no zone of kind supply_duct of this farm; one of supply"),
        (WHOLE.replace('"room"', '"rom"'), "return_zone", "did you mean room?"),
        (WHOLE.replace('"room"', '"row"'), "return_zone", "no series of air_temperature and relative_humidity"),
        (WHOLE.replace('"room"', '"outdoors"'), "return_zone", "no series of relative_humidity"),
        ('return_zone = "room"\nair_flow_m3_h = 500', "air_conditioner", "a coil without supply_zone"),
        ("air_flow_accuracy_m3_h = 20", "air_flow_accuracy_m3_h", "air_flow_m3_h too"),
    ],
)
def test_each_mistake(keys, where, says):
    farm, mistakes = mistakes_in(keys + "\n")
    assert farm is None
    assert any(at.endswith(where) and says in text for at, text in mistakes), mistakes
