"""The give or take of the newest readings."""

from __future__ import annotations

import psychrolib
import pytest

from farm.check import check_text
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from tests.watch.conftest import House
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
