"""Membrane, doser, lines and probes by nameplates and hand arithmetic."""

from __future__ import annotations

from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from farm.crops import Band
from simulator import water
from simulator.alkalinity import acidity, carbon_dioxide_solubility
from simulator.demo import demo_farm
from simulator.feed_water import membrane_output
from simulator.lines import drained_away
from simulator.stocks import bottled, electrical_conductivity, first_fill, solution
from simulator.tank import exchange_gases, settle, tank_state
from simulator.water_books import empty_books
from simulator.water_terms import place_zones, water_columns, water_fault_slots
from tests.simulator.water_driver import DAY, farm_with_everything, run_water

REFERENCE = Path(__file__).parent.parent / "reference"


@pytest.fixture(scope="module")
def days():
    return run_water(4)


def test_columns_and_slots_name_every_stock_row_and_shelf():
    farm = farm_with_everything()
    columns, slots = water_columns(farm), water_fault_slots(farm)
    assert len(set(columns)) == len(columns)
    assert len(set(slots)) == len(slots)
    assert place_zones(farm) == ("row-1", "row-2", "row-3", "row-4", "shelf")
    assert ("doser_line_air", "acid") in slots
    assert slots[-1] == ("flood_tray_not_draining", "shelf")
    parameters = water.water_parameters(farm)
    out = np.full(len(columns), np.nan)
    water.record(water.water_state(farm, parameters), parameters, out)
    assert np.isfinite(out).all()  # every column is written


def test_a_farm_without_a_tank_is_refused():
    farm = demo_farm()
    dry = farm.model_copy(update={"equipment": farm.equipment.model_copy(update={"reservoir": None})})
    with pytest.raises(ValueError, match=r"describe its tank in \[equipment.reservoir\]"):
        water.water_parameters(dry)


def test_membrane_output_by_feed_temperature():
    # temperature_correction_factor.csv: a published table, three decimals.
    lines = (REFERENCE / "temperature_correction_factor.csv").read_text().splitlines()
    rows = [line.split(",") for line in lines if line[0].isdigit()]
    assert len(rows) == 10
    for temperature, factor in rows:
        assert 1.0 / membrane_output(float(temperature)) == pytest.approx(float(factor), abs=0.0006)


def test_the_unit_fills_at_its_rating_for_the_water_it_gets(days):
    rates = days["feed_rate"][days["filling"] > 0]
    # 1000 L a day at 25 degC; 12 degC feed by the same published table: over 1.588.
    assert np.median(rates) == pytest.approx(1000 / 1440 / 1.588, rel=0.001)
    assert days["feed_made"][-1] > 100


def test_stocks_raise_ec_by_their_nameplates():
    # Described: 0.11 mS/cm by 1 mL in 1 L of solution, each; at work, at 1.8 mS/cm.
    contents = bottled(list(demo_farm().equipment.stocks))
    both = contents[0] + contents[1]
    dose = 7e-3  # L in 1 L: found by halving where EC is 1.8
    step = 4e-3
    for _ in range(40):
        dose += step if electrical_conductivity(both * dose) < 1.8 else -step
        step /= 2
    assert electrical_conductivity(both * (dose + 1e-3)) - 1.8 == pytest.approx(0.22, rel=0.001)
    # From nothing they raise it more, by Kohlrausch: 8.18 mL/L would make 1.8 if all were in proportion.
    assert 7.0e-3 < dose < 8.1e-3
    for stock in (0, 1):  # each has about half of it, alone a little more: thin solutions conduct better
        assert electrical_conductivity(contents[stock] * dose) == pytest.approx(0.9, rel=0.08)


def test_stocks_are_neutral_in_charge_but_for_acid_and_base():
    contents = bottled(list(demo_farm().equipment.stocks))
    nitrate, ammonium, phosphorus, potassium, calcium, magnesium, sulphate, *_ = contents.T
    charge = ammonium + potassium + 2 * calcium + 2 * magnesium - nitrate - 2 * sulphate - phosphorus  # as H2PO4
    np.testing.assert_allclose(charge[:2], 0.0, atol=1e-9)
    assert charge[2] < 0 < charge[3]


def test_a_first_fill_has_the_ec_and_ph_asked_for():
    stocks = list(demo_farm().equipment.stocks)
    fresh = first_fill(bottled(stocks), stocks, solution(carbon=1e-4), 1.8, 5.9)
    assert electrical_conductivity(fresh) == pytest.approx(1.8, rel=0.01)
    assert acidity(fresh, 20.0, 7.0)[0] == pytest.approx(5.9, abs=0.001)


def test_a_clean_line_runs_at_the_rating_of_its_emitters(days):
    running = days["pump_on"][:20] > 0
    # four rows of 40 emitters of 4 L/h: 10.67 L/min
    assert days["flow"][0] == pytest.approx(640 / 60, rel=0.001)
    assert days["pressure_before"][0] == pytest.approx(190.0, abs=0.1)
    assert days["pressure_after"][0] == pytest.approx(182.0, abs=0.1)
    assert running.sum() == 5  # five minutes of dripping, described


def test_emitters_pass_the_root_of_their_pressure():
    run = run_water(1, ("emitters_clogged", "row-2", 0, 1, 0.5))
    first = {zone: run[f"flow_l_min.{zone}"][0] for zone in ("row-1", "row-2")}
    assert first["row-1"] == pytest.approx(160 / 60 * sqrt(run["pressure_after"][0] / 182), rel=1e-6)
    assert first["row-2"] == pytest.approx(0.5 * first["row-1"], rel=1e-6)
    assert run["pressure_after"][0] > 182  # the others have more


def test_cycles_a_day_are_the_described(days):
    # 56 described: every 20 minutes while lit, every hour in the dark
    on = days.day("pump_on", 1)
    assert ((on[1:] > 0) & (on[:-1] == 0)).sum() + (on[0] > 0) == 56


def test_the_filter_loads_with_what_flows_and_is_cleaned(days):
    drop = (days["pressure_before"] - days["pressure_after"])[days["pump_on"] > 0]
    cleaned = int((days["pump_on"][: 9 * 60 + 40] > 0).sum())  # the driver's keeper comes at 9:40
    assert drop[cleaned - 1] > drop[0] + 0.3
    assert drop[cleaned + 1] < drop[cleaned - 1]


def test_what_runs_off_lags_behind():
    # A store with one time constant that nothing enters loses 1 - exp(-60/30) of its excess in a minute.
    assert drained_away(10.0, 0.0, 30.0, 60.0) == pytest.approx(10.0 * (1 - np.exp(-2)), rel=1e-12)
    # Steady inflow: in an hour of minutes the outflow has become the inflow.
    excess = 0.0
    for _ in range(60):
        excess += 2.0
        out = drained_away(excess, 2.0, 30.0, 60.0)
        excess -= out
    assert out == pytest.approx(2.0, rel=1e-9)
    # One that is still filling gives nothing, and never more than it has too much.
    assert drained_away(-1.0, 2.0, 30.0, 60.0) == 0.0
    assert 0.0 < drained_away(1.0, 2.0, 30.0, 60.0) < 1.0


def test_ec_ph_level_and_oxygen_stay_where_the_controls_hold_them(days):
    late = slice(DAY, None)
    assert 1.68 < days["ec"][late].min() < days["ec"][late].max() < 1.92
    assert 5.7 < days["ph"][late].min() < days["ph"][late].max() < 6.1
    assert 80 < days["level"][late].min() < days["level"][late].max() < 93
    # saturation at 22 degC and 99 kPa is 8.74 x 99 / 101.3 = 8.5 mg/L; roots breathe
    assert 7.0 < days["oxygen"][late].min() < days["oxygen"][late].max() < 8.5


def test_sound_probes_read_what_is_there(days):
    late = slice(DAY, None)
    # The solution's own coefficient is not just 1.91 %/K: at 22 degC that makes less than 0.5 %.
    assert np.abs(days["ec_at_probe"][late] / days["ec"][late] - 1).mean() < 0.005
    assert np.abs(days["ph_at_probe"][late] - days["ph"][late]).mean() < 0.01
    np.testing.assert_array_equal(days["level_at_sensor"], days["level"])


def test_tank_comes_to_rest_with_the_air():
    # Left alone, free CO2 settles where what roots breathe out is what leaves: above KH p by their breath over k.
    state, books = tank_state(100.0, solution(sodium=1e-3, carbon=1e-3)), empty_books()
    for _ in range(5000):
        given = exchange_gases(state, books, 425.0, 101.325, 1.0, 60.0)
        settle(state)
    breathed_mol_l_s = 1.5e-4 / 31_998.8
    surplus = breathed_mol_l_s / (0.9 * 6.0e-4)
    held = carbon_dioxide_solubility(state.temperature[0]) * 425e-6
    assert state.free_co2_mol_l[0] == pytest.approx(held + surplus, rel=1e-3)
    assert given == pytest.approx(breathed_mol_l_s * 60 * 100, rel=1e-3)  # all of it goes on to the air
    # sodium hydrogen carbonate of 1 mmol/L: Henderson and Hasselbalch by hand, pK1 6.38 at 20 degC (from memory)
    by_hand = 6.38 + np.log10(1e-3 * 0.965 / state.free_co2_mol_l[0])
    assert state.ph[0] == pytest.approx(by_hand, abs=0.03)


def test_the_doser_holds_what_the_plan_says():
    farm = demo_farm()
    phase = farm.crops["lettuce"].phases["growing-on"]
    bands = phase.bands | {"solution_ec": Band(always=(1.0, 1.4)), "solution_ph": Band(always=(6.0, 6.8))}
    phases = {"growing-on": phase.model_copy(update={"bands": bands})}
    crops = {"lettuce": farm.crops["lettuce"].model_copy(update={"phases": phases})}
    run = run_water(3, farm=farm.model_copy(update={"crops": crops}))
    assert 1.1 < run["ec"].min() < run["ec"].max() < 1.3
    assert 6.2 < run["ph"].min() < run["ph"].max() < 6.6


def test_without_power_nothing_moves():
    run = run_water(1, powered=0.0)
    for column in ("pump_on", "flow", "feed_made", "doser_on", "return_flow"):
        assert (run[column] == 0).all(), column
    assert run["supply.row-1"][-1] < 0.5  # rows dry out
