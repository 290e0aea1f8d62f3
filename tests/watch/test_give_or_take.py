"""The give or take of the newest readings."""

from __future__ import annotations

import math

import psychrolib
import pytest

from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from tests.watch.conftest import House
from watch.derivation import accuracy_at
from watch.give_or_take import give_or_take_of_newest

psychrolib.SetUnitSystem(psychrolib.SI)
STATED = (
    SMALL_FARM.replace('quantity = "relative_humidity"', 'quantity = "relative_humidity"\naccuracy = 3.0')
    + """
[[series]]
zone = "row"
quantity = "air_temperature"
[[series]]
zone = "row"
quantity = "relative_humidity"
"""
)


def farm_with(zone, quantity):
    """Return the farm, with a series of unstated accuracy where it has none."""
    wanted = f'zone = "{zone}"\nquantity = "{quantity}"'
    text = STATED if wanted in STATED else f"{STATED}[[series]]\n{wanted}\n"
    farm, mistakes = check_text(text)
    assert farm is not None, mistakes
    return farm


@pytest.fixture
def house(tmp_path):
    farm, mistakes = check_text(STATED)
    assert farm is not None, mistakes
    made = House(farm, tmp_path / "house")
    yield made
    made.close()


def found(house):
    newest = house.store.latest(house.farm.name)
    return {series.key: value for series, value in give_or_take_of_newest(house.farm, newest).items()}


def test_of_a_sensor_it_is_its_accuracy_and_of_a_derived_value_what_that_leaves(house):
    house.put("room/air_temperature", [(T0_US, 24.0)])
    house.put("room/relative_humidity", [(T0_US + 1, 65.0)])
    house.put("room/co2_mole_fraction", [(T0_US, 800.0)])
    house.put("row/lights_on", [(T0_US, 1)])
    house.work()
    give = found(house)
    assert give["room/air_temperature"] == 0.3  # usual of the trade
    assert give["room/relative_humidity"] == 3.0  # stated
    assert "row/lights_on" not in give
    # By PsychroLib's own dew points, each input moved by a tenth of its give or take.
    effects = [
        5 * (psychrolib.GetTDewPointFromRelHum(24 + t, 0.65 + h) - psychrolib.GetTDewPointFromRelHum(24 - t, 0.65 - h))
        for t, h in ((0.03, 0.0), (0.0, 0.003))
    ]
    assert give["room/dew_point_temperature"] == pytest.approx((effects[0] ** 2 + effects[1] ** 2) ** 0.5, rel=1e-3)
    assert "room/humidity_ratio" not in give, "none is worked out for it"


def test_a_leaf_at_an_offset_moves_with_its_air_sensor(house):
    """By PsychroLib's pressures, each input moved by a tenth of its give or take; the leaf is 1 K below the air."""
    house.put("row/air_temperature", [(T0_US, 24.0)])
    house.put("row/relative_humidity", [(T0_US, 65.0)])
    house.work()

    def deficit(air, rh):
        return (psychrolib.GetSatVapPres(air - 1.0) - rh / 100 * psychrolib.GetSatVapPres(air)) / 1000

    by_air, by_rh = deficit(24.03, 65) - deficit(23.97, 65), deficit(24, 65.2) - deficit(24, 64.8)
    expected = 5 * (by_air**2 + by_rh**2) ** 0.5
    assert found(house)["row/leaf_vapour_pressure_deficit"] == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("quantity", "level", "expected"),
    [
        ("relative_humidity", 65.0, 2.0),
        ("relative_humidity", 95.0, 3.5),
        ("relative_humidity", 104.0, 4.0),
        ("relative_humidity", 10.0, 3.0),
        ("co2_mole_fraction", 800.0, 50.0),
        ("co2_mole_fraction", 5000.0, 250.0),
        ("ppfd", 200.0, 15.0),
        ("ppfd", 900.0, 45.0),
        ("electrical_power", 6000.0, 120.0),
        ("flow_rate", 25.0, 0.5),
        ("solution_volume", 1000.0, 20.0),
        ("solution_ec", 2.0, 0.05),
        ("solution_ec", 4.0, 0.08),
    ],
)
def test_what_is_usual_at_ordinary_levels_is_not_what_is_usual_far_from_them(house, quantity, level, expected):
    """By hand from docs/science.md: 5 % of gas and light, 2 % of a power, 2 % RH that doubles towards 0 and 100 %."""
    zone = "row" if quantity in ("relative_humidity", "ppfd") else "room"
    farm = farm_with(zone, quantity)
    [series] = [one for one in farm.described if (one.zone, one.quantity) == (zone, quantity)]
    assert float(accuracy_at(farm, series, level)) == pytest.approx(expected)
    assert math.isnan(accuracy_at(farm, series, math.nan))


def test_a_stated_accuracy_holds_at_every_level(house):
    [humidity] = [one for one in house.farm.described if one.key == "room/relative_humidity"]
    assert accuracy_at(house.farm, humidity, [5.0, 65.0, 99.0]).tolist() == [3.0, 3.0, 3.0]


def test_the_margin_of_damp_air_is_less_sure(house):
    """At 95 % a sensor of unstated accuracy is good to 3.5 %; by PsychroLib's dew points."""
    house.put("row/air_temperature", [(T0_US, 24.0)])
    house.put("row/relative_humidity", [(T0_US, 95.0)])
    house.work()

    def dew(air, rh):
        return psychrolib.GetTDewPointFromRelHum(air, rh / 100)

    by_air, by_rh = dew(24.03, 95) - dew(23.97, 95), dew(24, 95.35) - dew(24, 94.65)
    expected = 5 * (by_air**2 + by_rh**2) ** 0.5
    assert found(house)["row/dew_point_temperature"] == pytest.approx(expected, rel=1e-3)


def test_nothing_is_said_while_the_derived_value_lags_behind_its_inputs(house):
    house.put("room/air_temperature", [(T0_US, 24.0)])
    house.put("room/relative_humidity", [(T0_US, 65.0)])
    house.work()
    assert "room/dew_point_temperature" in found(house)
    house.put("room/air_temperature", [(T0_US + MINUTE_US, 25.0)])
    assert "room/dew_point_temperature" not in found(house)
    house.work()
    assert "room/dew_point_temperature" in found(house)


def test_nothing_known_nothing_said(house):
    assert found(house) == {}
