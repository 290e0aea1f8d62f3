"""Water, every ion, salt and heat of the simulated tank: what came and went against what is there, over a month."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.ions import MOLAR_MASS, SALTS
from simulator.water_books import CARRIED_IN, CARRIED_OUT, DOSED, DRAINED, FED, INWARD, PUMPED, TO_AIR
from tests.simulator.water_driver import CONDENSATE_KG_MIN, contents, farm_with_everything, run_water

DAYS = 30
CLOSES = 1e-9  # of what went through; the promise is 0.1 %


@pytest.fixture(scope="module")
def month():
    return run_water(
        DAYS,
        ("valve_left_to_drain", "", 3, 3.5, 0.2),
        ("sump_return_lost", "", 5, 5.3, 1.0),
        ("dilution_leak", "", 7, 9, 0.1),
        ("doser_overdosing", "nutrient-a", 10, 12, 1.0),
        ("flood_tray_not_draining", "shelf", 13, 14, 1.0),
        ("emitters_clogged", "row-2", 15, 17, 1.0),
        ("pump_off", "", 18, 18.4, 1.0),
        ("nutrient_stock_empty", "nutrient-b", 20, 22, 1.0),
        ("alkaline_feed", "", 23, 25, 1.0),
        farm=farm_with_everything(),
        condensate=CONDENSATE_KG_MIN,
        leak=True,
    )


def test_every_way_was_gone(month):
    books = month.state.books
    assert (books.water_l[:-1] > 1.0).all()  # all but air, which brings no water
    assert books.heat_j[CARRIED_IN] > 0
    assert month["tray_level.shelf"].max() > 90


def test_water_closes(month):
    books, after = month.state.books, contents(month.state)
    drunk, condensed, leaked, *_ = month.sums
    given_l = sum(month[f"given_ml.{stock.name}"][-1] for stock in month.farm.equipment.stocks) / 1000
    leaked_in = books.water_l[1]
    drained = month["drained"][-1]
    flows = [month["feed_made"][-1], given_l, condensed, leaked_in, -drunk, -leaked, -drained]
    assert sum(flows) == pytest.approx(after["water"] - month.before["water"], abs=CLOSES * sum(map(abs, flows)))


def test_plants_get_what_they_are_promised(month):
    assert month.state.books.missed_kg[0] == 0.0


def test_every_ion_closes(month):
    books, after = month.state.books, contents(month.state)
    gained = after["ions"] - month.before["ions"]
    through = np.abs(books.ions_mol).sum(axis=0)
    np.testing.assert_array_less(np.abs(INWARD @ books.ions_mol - gained), CLOSES * through)


def test_salt_closes_by_bottles_and_meters(month):
    books, after = month.state.books, contents(month.state)
    grams = MOLAR_MASS[:SALTS]
    given_l = np.array([month[f"given_ml.{stock.name}"][-1] for stock in month.farm.equipment.stocks]) / 1000
    dosed = given_l @ month.parameters.doser.contents_mol_l
    np.testing.assert_allclose(books.ions_mol[DOSED], dosed, rtol=1e-9)
    gained = (after["ions"] - month.before["ions"])[:SALTS] @ grams
    drunk_and_gone = (books.ions_mol[4:7].sum(axis=0))[:SALTS] @ grams
    fed = (books.ions_mol[FED] + books.ions_mol[1])[:SALTS] @ grams
    assert dosed[:SALTS] @ grams + fed - drunk_and_gone == pytest.approx(gained, abs=CLOSES * drunk_and_gone)


def test_heat_closes(month):
    heat, after = month.state.books.heat_j, contents(month.state)
    flows = heat[CARRIED_IN] - heat[CARRIED_OUT] + heat[PUMPED] - heat[TO_AIR]
    assert flows == pytest.approx(after["heat"] - month.before["heat"], abs=CLOSES * np.abs(heat).sum())


def test_all_electricity_becomes_heat_of_solution_or_air(month):
    heat = month.state.books.heat_j
    _, _, _, to_air, electricity = month.sums
    assert electricity - heat[PUMPED] == pytest.approx(to_air - heat[TO_AIR], rel=1e-9)


def test_feed_water_has_the_described_ec(month):
    assert month["feed_ec"][0] == pytest.approx(0.03, abs=0.003)  # 0.03 mS/cm described; CO2 adds a little
    assert month.state.books.water_l[DRAINED] > 0


def test_blocks_of_any_length_are_one_run():
    whole = run_water(2, ("acid_empty", "", 1, 2, 1.0))
    parts = run_water(2, ("acid_empty", "", 1, 2, 1.0), blocks=[1, 59, 1000, 7, 5000])
    again = run_water(2, ("acid_empty", "", 1, 2, 1.0))
    for name, column in whole.truth.items():
        assert column.tobytes() == parts.truth[name].tobytes() == again.truth[name].tobytes(), name
