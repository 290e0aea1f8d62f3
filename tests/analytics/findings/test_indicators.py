"""Indicators on readings made by hand, whose truth is known from elsewhere."""

from __future__ import annotations

import numpy as np
import psychrolib
import pytest

from analytics.findings.air import carbon_dioxide, coil
from analytics.findings.deviation import indicators
from analytics.findings.indicator import SPECS
from analytics.findings.light import light, power
from analytics.findings.root_zone import root_zone
from analytics.findings.scene import Scene, scene_of
from analytics.findings.sensors import sensors
from analytics.findings.water import water, wet_minutes
from farm.readings import Columns, Series
from simulator.demo import demo_farm
from tests.conftest import MINUTE_US, T0_US

DAY = 1440


@pytest.fixture(scope="module")
def farm():
    return demo_farm()


def scene(farm, **series):
    """Return a scene of some series by key (``__`` for the slash, 9 for the hyphen), whole days of minutes."""
    keys = {key: key.replace("__", "/").replace("9", "-") for key in series}
    return Scene(
        farm, T0_US, {Series.parse(farm.name, keys[key]): np.asarray(one, float) for key, one in series.items()}
    )


def by_name(found, place=""):
    return {one.name: one.value for one in found if one.place == place}


def test_water_that_the_coil_takes_is_psychrolibs_difference_of_humidity_ratios(farm):
    psychrolib.SetUnitSystem(psychrolib.SI)
    always = np.ones(DAY)
    found = by_name(coil(scene(
        farm, room__compressor_on=always, room__air_temperature=24 * always, room__relative_humidity=65 * always,
        supply__air_temperature=10 * always, supply__relative_humidity=95 * always,
    )))  # fmt: skip
    pressure = psychrolib.GetStandardAtmPressure(farm.farm.elevation_m)
    wet = psychrolib.GetHumRatioFromRelHum(24, 0.65, pressure)
    dry = psychrolib.GetHumRatioFromRelHum(10, 0.95, pressure)
    assert found["coil_drying"][1] == pytest.approx(1000 * (wet - dry), rel=1e-4)
    assert found["coil_cooling"][1] == pytest.approx(14.0)
    assert found["supply_above_dew_point"][1] == pytest.approx(
        10 - psychrolib.GetTDewPointFromRelHum(24, 0.65), abs=0.01
    )


def test_what_the_coil_does_is_looked_at_only_while_it_runs(farm):
    runs = (np.arange(DAY) % 30 < 15).astype(float)
    supply = np.where(runs > 0, 10.0, 24.0)
    found = by_name(coil(scene(farm, room__compressor_on=runs, room__air_temperature=np.full(DAY, 24.0),
                               supply__air_temperature=supply)))  # fmt: skip
    assert found["coil_cooling"][1:] == pytest.approx(np.full(23, 14.0))
    assert found["compressor_share"] == pytest.approx(np.full(24, 0.5))


def test_gas_that_falls_to_a_third_in_four_hours_is_lost_at_that_rate(farm):
    minutes = np.arange(DAY)
    level = 425.0 + 600.0 * np.exp(-np.log(3.0) / 240.0 * minutes)
    found = by_name(carbon_dioxide(scene(farm, room__co2_mole_fraction=level, room__co2_valve_open=np.zeros(DAY))))
    assert found["co2_loss"][1] == pytest.approx(np.log(3.0) / 4.0, rel=1e-6)


def test_gas_that_rises_while_the_valve_is_open_rises_per_minute_of_opening(farm):
    is_open = (np.arange(DAY) % 60 < 6).astype(float)
    level = 800.0 + np.cumsum(np.where(np.concatenate([[0], is_open[:-1]]) > 0, 12.0, 0.0))
    found = by_name(carbon_dioxide(scene(farm, room__co2_mole_fraction=level, room__co2_valve_open=is_open)))
    assert found["co2_rise"][2] == pytest.approx(12.0)
    assert found["co2_valve_share"][2] == pytest.approx(0.1)


def dosed_day(response, drift_h=-0.01):
    """Return EC and counters of a day with doses of 20 mL of both stocks at uneven times."""
    random = np.random.default_rng(3)
    doses = np.sort(random.choice(np.arange(30, DAY - 60, 15), 30, replace=False))
    ec, counter = np.full(DAY, 1.8) + drift_h / 60.0 * np.arange(DAY), np.zeros(DAY)
    for at in doses:
        counter[at:] += 20.0
        ec[at + 8 :] += response * 2 * 20.0 * 0.11 / 240.0  # two stocks of 0.11 mS/cm for 1 mL in 1 L, in 240 L
    return ec + random.normal(0.0, 0.002, DAY), counter


@pytest.mark.parametrize("response", [1.0, 0.5, 0.0])
def test_the_response_to_doses_is_what_was_put_in(farm, response):
    ec, counter = dosed_day(response)
    found = by_name(root_zone(scene(
        farm, reservoir__solution_ec=ec, reservoir__dosed_volume__nutrient9a=counter,
        reservoir__dosed_volume__nutrient9b=counter, reservoir__solution_level=np.full(DAY, 100.0),
    )))  # fmt: skip
    assert found["ec_response"][-1] == pytest.approx(response, abs=0.12)


def test_doses_too_small_for_the_probe_say_nothing_of_the_response(farm):
    ec, counter = dosed_day(1.0)
    ec = np.random.default_rng(5).normal(1.8, 0.004, DAY)  # the probe's own scatter, and no drift
    found = by_name(root_zone(scene(
        farm, reservoir__solution_ec=ec, reservoir__dosed_volume__nutrient9a=0.002 * counter,
        reservoir__dosed_volume__nutrient9b=0.002 * counter, reservoir__solution_level=np.full(DAY, 100.0),
    )))  # fmt: skip
    assert np.isnan(found["ec_response"]).all()


@pytest.mark.parametrize(("per_k", "other"), [(2.0, 0.0), (0.0, 0.01)])
def test_how_ec_follows_the_temperature_is_told_where_a_day_tells_it(farm, per_k, other):
    hours = np.arange(DAY) / 60.0
    temperature = 20.0 + 1.5 * np.sin(hours / 24.0 * 2 * np.pi)
    moved = other * np.random.default_rng(7).normal(size=24).repeat(60)  # what nobody saw comes and goes each hour
    ec = 1.8 * np.exp(per_k / 100.0 * (temperature - 20.0) + moved)
    still = np.zeros(DAY)
    counted = {f"reservoir__dosed_volume__{one.name}".replace("-", "9"): still for one in farm.equipment.stocks}
    found = by_name(root_zone(scene(farm, reservoir__solution_ec=ec, reservoir__solution_temperature=temperature,
                                    feed__metered_volume=still, **counted)))["ec_with_temperature"]  # fmt: skip
    if other:
        assert np.isnan(found).all()
    else:
        assert found[-1] == pytest.approx(per_k, abs=0.05)


def test_a_step_between_doses_is_seen_and_a_dose_is_not_taken_for_one(farm):
    ec, counter = dosed_day(1.0)
    quiet = np.flatnonzero(np.diff(counter, prepend=0.0) > 0)
    at = int(quiet[np.argmax(np.diff(quiet))]) + 30  # in the longest time without a dose
    counted = {f"reservoir__dosed_volume__{one.name}".replace("-", "9"): counter for one in farm.equipment.stocks}
    for step in (0.0, -0.12):
        moved = ec.copy()
        moved[at:] += step
        series = counted | {"reservoir__solution_ec": moved, "feed__metered_volume": np.zeros(DAY)}
        found = by_name(sensors(scene(farm, **series)), "reservoir/solution_ec")["series_step"]
        assert found[np.abs(found).argmax()] == pytest.approx(step, abs=0.01)
        assert abs(found[: at // 60]).max() < 0.01  # not before it came


def test_where_a_stock_is_not_counted_its_doses_are_not_taken_for_steps(farm):
    ec, counter = dosed_day(1.0)
    series = {"reservoir__solution_ec": ec, "reservoir__dosed_volume__nutrient9a": counter}
    found = by_name(sensors(scene(farm, feed__metered_volume=np.zeros(DAY), **series)), "reservoir/solution_ec")
    assert "series_jump" in found
    assert "series_step" not in found


def test_what_is_always_on_is_what_power_never_falls_below_while_the_compressor_rests(farm):
    minutes = np.arange(DAY)
    compressor = (minutes % 20 < 8).astype(float)
    heater = np.where(minutes % 30 < 12, 3000.0, 0.0)
    always_on = np.where(minutes < 720, 400.0, 440.0)
    rated = farm.equipment.air_conditioner.power_w
    found = by_name(power(scene(farm, room__compressor_on=compressor,
                                room__electrical_power=always_on + heater + rated * compressor,
                                row91__lights_on=np.zeros(DAY))))["power_at_rest"]  # fmt: skip
    lamps = sum(one.power_w for one in farm.equipment.lamp_groups)
    assert found[11] - found[12] == pytest.approx(-40.0)
    assert min(abs(found[1] - 400.0), abs(found[1] + lamps - 400.0)) < lamps  # lamps are taken off as far as commanded


def test_a_tray_is_wet_for_as_long_as_its_longest_flood_of_the_day():
    wet = np.zeros(2 * DAY, bool)
    for at, lasts in ((100, 12), (340, 13), (DAY + 700, 31)):
        wet[at : at + lasts] = True
    found = wet_minutes(wet)
    assert (found[2], found[6], found[23], found[24 + 12]) == (12, 13, 13, 31)


def test_drift_is_looked_at_between_doses(farm):
    ec, counter = dosed_day(1.0, drift_h=-0.03)
    counted = {f"reservoir__dosed_volume__{one.name}".replace("-", "9"): counter for one in farm.equipment.stocks}
    found = by_name(root_zone(scene(farm, reservoir__solution_ec=ec, **counted)))
    assert np.nanmean(found["ec_drift"]) == pytest.approx(-0.03, abs=0.006)


def test_without_counters_the_dosers_state_tells_when_and_without_it_nothing_does(farm):
    ec, counter = dosed_day(1.0, drift_h=-0.03)
    doses = np.diff(counter, prepend=0.0) > 0
    found = by_name(root_zone(scene(farm, reservoir__solution_ec=ec, reservoir__doser_on=doses.astype(float))))
    assert np.nanmean(found["ec_drift"]) == pytest.approx(-0.03, abs=0.006)
    level = np.full(DAY, 80.0)
    found = by_name(root_zone(scene(farm, reservoir__solution_ec=ec, reservoir__solution_level=level)))
    assert not found.keys() & {"ec_drift", "salt_balance"}


def test_what_leaves_the_tank_is_what_was_topped_up_less_what_it_rose(farm):
    made = np.cumsum(np.where(np.arange(DAY) % 240 < 60, 0.2, 0.0))  # 12 L every four hours: 3 L/h
    drunk = 2.5 / 60.0 * np.arange(DAY)
    level = 90.0 + 100.0 * (made - drunk) / 240.0
    found = by_name(water(scene(farm, feed__metered_volume=made, reservoir__solution_level=level)))
    assert found["drunk"][2:] == pytest.approx(np.full(22, 2.5), abs=1e-6)


def test_a_pump_that_is_commanded_and_gives_nothing_is_dry(farm):
    commanded = (np.arange(DAY) % 20 < 5).astype(float)
    flow = np.where((commanded > 0) & (np.arange(DAY) < 720), 10.67, 0.0)
    found = by_name(water(scene(farm, reservoir__pump_on=commanded, reservoir__flow_rate=flow)))
    assert found["dry_pump"][1:11] == pytest.approx(np.zeros(10))
    assert found["dry_pump"][13:] == pytest.approx(np.ones(11))


def test_a_stuck_sensor_has_not_changed_for_hours(farm):
    value = 22.0 + 0.1 * np.sin(np.arange(DAY))
    value[600:] = value[600]
    found = by_name(sensors(scene(farm, room__air_temperature=value)), "room/air_temperature")
    assert found["series_unchanged"][9] == pytest.approx(0.0, abs=0.1)
    assert found["series_unchanged"][14] == pytest.approx((14 * 60 + 59 - 600) / 60.0)


def test_a_humidity_sensor_is_held_against_the_vapour_of_the_others(farm):
    keys = {f"row9{n}__{quantity}": np.full(DAY, value) for n in (1, 2, 3)
            for quantity, value in (("air_temperature", 22.0), ("relative_humidity", 66.0))}  # fmt: skip
    keys["row93__relative_humidity"] = np.full(DAY, 71.0)
    found = by_name(sensors(scene(farm, **keys)), "row-3/relative_humidity")
    assert found["series_gap"] == pytest.approx(np.full(24, 5.0))


def test_fewer_sensors_give_fewer_indicators_and_every_one_is_described(farm):
    air = np.full(DAY, 22.0)
    few = indicators(scene(farm, room__air_temperature=air))
    more = indicators(scene(farm, room__air_temperature=air, room__relative_humidity=air * 3))
    assert {one.name for one in few} < {one.name for one in more} <= SPECS.keys()


def test_a_reading_speaks_for_three_cadences_and_no_longer(farm):
    series = Series.parse(farm.name, "room/air_temperature")
    column = Columns(np.array([T0_US + MINUTE_US]), np.array([21.0]), np.array([2], np.uint8))
    found = scene_of(farm, [(series, column)], T0_US, T0_US + 60 * MINUTE_US).value[series]
    assert np.isfinite(found).sum() == 4  # its own minute and three more


def test_light_that_nobody_measured_is_not_dark_against_the_plan(farm):
    ppfd = np.full(DAY, 250.0)
    ppfd[DAY // 2 :] = np.nan  # the sensor falls silent eight hours into the sixteen of the plan, 04:00 to 20:00 UTC
    against = by_name(light(scene(farm, row91__ppfd=ppfd)), "row-1")["light_against_plan"]
    assert against[4:12] == pytest.approx(0.0)
    assert np.isnan(against[12:]).all()


def test_a_command_is_held_against_the_plan_and_not_lamps_that_stay_dark_under_it(farm):
    minute = np.arange(DAY)
    commanded = ((minute >= 4 * 60) & (minute < 20 * 60)).astype(float)  # the sixteen hours of the plan, in UTC
    found = by_name(light(scene(farm, row91__ppfd=0 * commanded, row91__lights_on=commanded)), "row-1")
    assert found["light_against_plan"] == pytest.approx(0.0)
    assert found["dark_commanded"][4:20] == pytest.approx(1.0)
    later = np.roll(commanded, 120)
    found = by_name(light(scene(farm, row91__ppfd=250 * later, row91__lights_on=later)), "row-1")
    assert found["light_against_plan"][[4, 5, 20, 21]] == pytest.approx(1.0)  # at both edges of the light day
    assert np.delete(found["light_against_plan"], [4, 5, 20, 21]) == pytest.approx(0.0)
    assert found["dark_commanded"][6:22] == pytest.approx(0.0)


def test_a_group_that_is_wholly_dark_under_its_command_is_dark_beside_its_siblings(farm):
    on = np.ones(DAY)
    lit = {f"row9{row}__ppfd": 250.0 * on for row in (2, 3)} | {f"row9{row}__lights_on": on for row in (1, 2, 3)}
    found = by_name(light(scene(farm, row91__ppfd=0 * on, **lit)), "row-1")["light_sibling"]
    assert found[1:] == pytest.approx(np.zeros(23))
    lit["row91__lights_on"] = 0 * on  # switched off it is held against nothing
    found = by_name(light(scene(farm, row91__ppfd=0 * on, **lit)), "row-1")["light_sibling"]
    assert np.isnan(found).all()
