"""Each fault of the water side acts through the model: what it does first, and what follows from it."""

from __future__ import annotations

import numpy as np
import pytest

from simulator.ions import CALCIUM, PHOSPHORUS, SODIUM
from tests.simulator.water_driver import DAY, farm_with_everything, run_water

LAST = 5


def with_fault(kind, size=1.0, target="", farm=None, days=LAST):
    return run_water(days, (kind, target, 1, days, size), farm=farm)


@pytest.fixture(scope="module")
def sound():
    return run_water(LAST)


def dosed(run, stock, day=LAST - 1):
    column = run.day(f"dosed_ml.{stock}", day)
    return column[-1] - column[0]


def given(run, stock, day=LAST - 1):
    column = run.day(f"given_ml.{stock}", day)
    return column[-1] - column[0]


def test_sound_doser_gives_what_it_counts(sound):
    assert dosed(sound, "nutrient-a") > 100
    assert given(sound, "nutrient-a") == pytest.approx(dosed(sound, "nutrient-a"))


def test_both_nutrient_stocks_empty():
    faults = [("nutrient_stock_empty", f"nutrient-{one}", 1, LAST, 1.0) for one in "ab"]
    run = run_water(LAST, *faults)
    assert given(run, "nutrient-a") == 0
    assert dosed(run, "nutrient-a") > 2000  # it turns every ten minutes
    assert run["ec"][-1] < run["ec"][DAY] - 0.3


def test_one_stock_empty_tilts_the_recipe(sound):
    run = with_fault("nutrient_stock_empty", target="nutrient-a")
    ratio = run.tank_ions[-1, CALCIUM] / run.tank_ions[-1, PHOSPHORUS]
    assert ratio < 0.8 * sound.tank_ions[-1, CALCIUM] / sound.tank_ions[-1, PHOSPHORUS]


def test_air_in_a_line(sound):
    run = with_fault("doser_line_air", 0.5, "nutrient-a")
    assert given(run, "nutrient-a") == pytest.approx(0.5 * dosed(run, "nutrient-a"))
    # Both stocks carry about half the EC: with half of one missing, a third more pulses are needed.
    turned = [one["dosed_ml.nutrient-a"][-1] - one["dosed_ml.nutrient-a"][DAY] for one in (run, sound)]
    assert turned[0] == pytest.approx(turned[1] / 0.75, rel=0.08)


def test_overdosing():
    run = with_fault("doser_overdosing", target="nutrient-a")
    assert given(run, "nutrient-a", 1) > 2 * dosed(run, "nutrient-a", 1)
    assert run["ec"][-1] > 1.9


def test_acid_empty(sound):
    run = with_fault("acid_empty")
    assert given(run, "acid") == 0
    assert run["ph"][-1] > sound["ph"][-1] + 0.3
    # a leafy crop fed mostly nitrate moves pH up some 0.1 to 0.5 a day: common knowledge of the trade, no source
    rise = (run["ph"][-1] - run["ph"][2 * DAY]) / (LAST - 2)
    assert 0.05 < rise < 0.5


def test_base_empty_is_felt_where_base_is_needed():
    overdosed = ("doser_overdosing", "acid", 1, LAST, 1.0)
    mended, empty = run_water(LAST, overdosed), run_water(LAST, overdosed, ("base_empty", "", 1, LAST, 1.0))
    assert given(mended, "base") > 50
    assert given(empty, "base") == 0
    assert empty["ph"][-1] < mended["ph"][-1] - 0.3


def test_nitrogen_form_moves_ph_faster(sound):
    faster = with_fault("ph_uptake_drift")
    # the fault's size: it moves faster by so much; the acid that holds it there, too
    acid = [one["given_ml.acid"][-1] - one["given_ml.acid"][2 * DAY] for one in (faster, sound)]
    assert acid[0] == pytest.approx(2 * acid[1], rel=0.3)


def test_alkaline_feed_takes_acid(sound):
    run = with_fault("alkaline_feed", 0.3)
    assert given(run, "acid") > 1.5 * given(sound, "acid")
    # raw water of 3 meq/L alkalinity, three tenths of it, in the litres fed: takes so much of the acid (0.5 eq/L)
    fed = run.day("feed_made", LAST - 1)[-1] - run.day("feed_made", LAST - 1)[0]
    by_hand_ml = 0.3 * 3e-3 * fed / 0.5 * 1000
    assert given(run, "acid") - given(sound, "acid") == pytest.approx(by_hand_ml, rel=0.35)


def test_bad_feed_water_brings_its_salt(sound):
    run = with_fault("feed_water_bad", 0.6)
    # hard water of 0.4 to 0.5 mS/cm, six tenths of it
    assert 0.2 < run["feed_ec"][-1] < 0.35
    assert run.tank_ions[-1, SODIUM] > 2 * sound.tank_ions[-1, SODIUM]


def test_leaking_water_dilutes_and_fills(sound):
    run = with_fault("dilution_leak", 0.1)
    fed = run.day("feed_made", 3)
    assert fed[-1] - fed[0] < 1  # the top-up valve has nothing to do
    assert run["level"][-1] > sound["level"][-1]
    assert dosed(run, "nutrient-a") > 1.2 * dosed(sound, "nutrient-a")


def test_salt_uptake_high(sound):
    run = with_fault("salt_uptake_high", 0.7)
    assert dosed(run, "nutrient-a", 2) + dosed(run, "nutrient-a", 3) > 1.4 * (
        dosed(sound, "nutrient-a", 2) + dosed(sound, "nutrient-a", 3)
    )


@pytest.mark.parametrize(
    ("kind", "size", "off"),
    [
        ("ec_probe_fouled", 0.2, 1 / 0.8),
        ("ec_probe_drift", 0.1, 1 / 1.1),
        ("ec_probe_drift", -0.1, 1 / 0.9),
        ("ec_compensation_wrong", 1.0, 1 / (1 + 0.0191 * (22 - 25))),
    ],
)
def test_the_doser_believes_its_ec_probe(sound, kind, size, off):
    run = with_fault(kind, size, days=8)
    middle = np.median(run.day("ec_at_probe", 7))
    assert middle == pytest.approx(np.median(sound.day("ec_at_probe", 4)), rel=0.03)  # all looks well
    assert np.median(run.day("ec", 7)) == pytest.approx(middle * off, rel=0.02)  # and is not


@pytest.mark.parametrize(
    ("kind", "size", "low", "high"),
    [
        ("ph_probe_aged", 0.2, 5.4, 5.8),  # 7 + 0.8 (pH - 7) + 0.06 held at 6: pH 5.68
        ("ph_probe_dry", 0.5, 5.3, 5.6),
        ("ph_probe_unplugged", 1.0, 3.0, 4.5),  # it reads 7, so acid is given up to the day's lock
    ],
)
def test_the_doser_believes_its_ph_probe(kind, size, low, high):
    run = with_fault(kind, size)
    assert low < np.median(run.day("ph", LAST - 1)) < high
    assert np.median(run.day("ph_at_probe", LAST - 1)) > 5.9


def test_pump_off_dries_the_rows_within_a_day():
    run = with_fault("pump_off", days=3)
    assert (run["flow"][DAY:] == 0).all()
    assert (run["pump_on"][DAY:] == 0).all()
    assert run["supply.row-1"][DAY + 5 * 60] == 1.0  # the night goes by
    assert run["supply.row-1"][-1] < 0.1


def test_filter_loading_takes_pressure_and_flow(sound):
    run = with_fault("filter_loading", 0.35)
    at = int(np.flatnonzero(sound["pump_on"][2 * DAY :])[0]) + 2 * DAY
    drop = run["pressure_before"][at] - run["pressure_after"][at]
    assert drop > 0.33 * run["pressure_before"][at]
    assert run["flow"][at] < 0.9 * sound["flow"][at]
    assert run["pressure_before"][at] > sound["pressure_before"][at]


def test_clogged_emitters_starve_one_row():
    run = with_fault("emitters_clogged", 1.0, "row-2", days=3)
    assert run["supply.row-2"][-1] < 0.1
    assert run["supply.row-1"][-1] == 1.0


def test_valve_to_drain_empties_the_tank(sound):
    run = with_fault("valve_left_to_drain", 0.5)
    assert run["level"][DAY:].min() < 30
    assert run["drained"][-1] > 500
    assert sound["drained"][-1] == 0


def test_sump_return_lost():
    run = with_fault("sump_return_lost")
    assert run["return_flow"][DAY + 10 :].max() == 0
    assert run["drained"][-1] > 500
    assert run["level"][-1] < 30


def test_a_part_of_the_return_lost_is_missing_from_the_return(sound):
    run = with_fault("sump_return_lost", 0.4)
    day = slice(DAY + 10, DAY + 370)  # while the tank still stands high enough for the pump
    assert run["return_flow"][day].sum() == pytest.approx(0.6 * sound["return_flow"][day].sum(), rel=0.02)
    assert run["drained"][-1] > 100


def test_tray_that_does_not_drain():
    sound = run_water(LAST, farm=farm_with_everything())
    run = with_fault("flood_tray_not_draining", target="shelf", farm=farm_with_everything())
    night = slice(3 * DAY, 3 * DAY + 300)
    assert (run["tray_wet.shelf"][night] == 1).all()
    assert (sound["tray_wet.shelf"][night] == 0).all()
    wet = sound.day("tray_wet.shelf", 3)
    assert ((wet[1:] == 1) & (wet[:-1] == 0)).sum() == 4  # every four hours of a 16 h light day


def test_tired_membrane_and_cold_feed_slow_the_unit(sound):
    def rate(run):
        return np.median(run.day("feed_rate", 3)[run.day("filling", 3) > 0])

    tired, cold = with_fault("ro_membrane_tired", 0.35), with_fault("ro_feed_cold", 1.0)
    assert rate(tired) == pytest.approx(0.65 * rate(sound), rel=0.01)
    assert tired["feed_ec"][-1] > 1.5 * sound["feed_ec"][-1]
    assert cold["feed_temperature"][-1] == pytest.approx(2.0)
    # the formula by hand: 3020 (1/275 - 1/285) = 0.385; e^-0.385
    assert rate(cold) == pytest.approx(0.680 * rate(sound), rel=0.01)


def test_stuck_level_lets_the_tank_run_down(sound):
    run = with_fault("level_sensor_stuck")
    assert np.ptp(run["level_at_sensor"][DAY + 1 :]) == 0
    assert run["level"][-1] < 60 or run["level"][-1] >= 99  # it stops filling, or never does
