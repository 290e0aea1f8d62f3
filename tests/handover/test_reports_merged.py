"""Several day sheets as one: every expected figure is added up by hand beside it."""

from __future__ import annotations

import pytest

from handover.reports.merging import Day, merged

H = 3600.0


def sheet(day, **sections):
    start, end = f"2026-03-0{day}T00:00:00Z", f"2026-03-0{day + 1}T00:00:00Z"
    empty = {"zones": [], "light_days": [], "excursions": [], "findings": [], "totals": [], "cautions": ["same"]}
    return {"farm": "f", "start": start, "end": end, "complete": True, **empty, **sections}


def air(mean, low, high, count, coverage, band):
    hours = dict(zip(("inside_h", "below_h", "above_h", "covered_h"), band, strict=True)) if band else None
    row = {"key": "room/air_temperature", "label": "Air temperature", "unit": "degC", "mean": mean, "low": low}
    return [
        {
            "zone": "room",
            "label": "Room",
            "series": [{**row, "high": high, "count": count, "coverage": coverage, "band": hours}],
        }
    ]


def whole(*sheets, hours=None):
    lengths = hours or [24.0] * len(sheets)
    return [Day(one, length * H) for one, length in zip(sheets, lengths, strict=True)]


def test_a_mean_is_weighed_by_readings_and_a_coverage_by_time():
    days = whole(
        sheet(1, zones=air(20.0, 18.0, 22.0, 100, 0.25, (5.0, 1.0, 0.0, 6.0))),
        sheet(2, zones=air(30.0, 25.0, 33.0, 300, 0.75, (10.0, 0.0, 8.0, 18.0))),
    )
    [zone] = merged(days, 72 * H)["zones"]  # a third day has no sheet
    [row] = zone["series"]
    assert row["mean"] == pytest.approx(27.5)  # (100 x 20 + 300 x 30) / 400; the mean of the means would be 25
    assert (row["low"], row["high"], row["count"]) == (18.0, 33.0, 400)
    assert row["coverage"] == pytest.approx(24 / 72)  # 6 h and 18 h of 72 h
    assert row["band"] == {"inside_h": 15.0, "below_h": 1.0, "above_h": 8.0, "covered_h": 24.0}


def test_a_day_of_23_hours_weighs_23_hours():
    days = whole(
        sheet(1, zones=air(20.0, 20.0, 20.0, 10, 1.0, None)),
        sheet(2, zones=air(None, None, None, 0, 0.0, None)),
        hours=[23.0, 24.0],
    )
    [row] = merged(days, 47 * H)["zones"][0]["series"]
    assert row["coverage"] == pytest.approx(23 / 47)
    assert (row["mean"], row["band"]) == (20.0, None)


def test_a_series_that_came_up_in_midweek_counts_from_all_the_time():
    days = whole(sheet(1), sheet(2, zones=air(20.0, 20.0, 20.0, 10, 1.0, None)))
    assert merged(days, 48 * H)["zones"][0]["series"][0]["coverage"] == pytest.approx(0.5)


def energy(kwh, coverage, peak, standing="below", batches=()):
    demand = {"power_w": peak, "at": "2026-03-01T10:00:00Z"}
    peaks = {
        "reading": demand,
        "average_15min": demand,
        "average_3h": demand,
        "standing": standing,
        "reading_standing": "below",
        "caution": "mains" if standing == "near" else None,
    }
    return {
        "meter": "room/electrical_energy",
        "kwh": kwh,
        "coverage": coverage,
        "power_meter_disagreement": None,
        "cost": None if kwh is None else kwh * 0.2,
        "currency": "EUR",
        "peaks": peaks,
        "parts": [],
        "lamps": [{"name": "a", "lit_h": 16.0, "dark_h": 1.0, "estimated_kwh": 9.0, "coverage": 1.0}],
        "batches": [{"name": name, "share": share, "kwh": share * kwh} for name, share in batches],
        "batch_convention": "by plants and time",
    }


def test_energy_is_summed_shares_come_from_the_sums_and_peaks_stay_peaks():
    days = whole(
        sheet(1, energy=energy(100.0, 1.0, 5000.0, batches=[("one", 1.0)])),
        sheet(2, energy=energy(50.0, 0.5, 7000.0, "near", batches=[("one", 0.2), ("two", 0.8)])),
    )
    found = merged(days, 48 * H)["energy"]
    assert (found["kwh"], found["cost"], found["coverage"]) == pytest.approx((150.0, 30.0, 0.75))
    assert found["lamps"] == [{"name": "a", "lit_h": 32.0, "dark_h": 2.0, "estimated_kwh": 18.0, "coverage": 1.0}]
    shares = {one["name"]: (one["kwh"], one["share"]) for one in found["batches"]}
    # 100 + 10 of 150 kWh, and 40 of them: neither 0.6 nor 0.4, which the days' shares would average to
    assert shares == {"one": pytest.approx((110.0, 110 / 150)), "two": pytest.approx((40.0, 40 / 150))}
    assert found["peaks"]["reading"]["power_w"] == 7000.0
    assert (found["peaks"]["standing"], found["peaks"]["caution"]) == ("near", "mains")


def test_what_is_not_known_on_a_day_makes_the_sum_a_lower_bound_that_says_so():
    found = merged(whole(sheet(1, energy=energy(None, 0.0, None)), sheet(2, energy=energy(50.0, 1.0, 1.0))), 48 * H)
    assert (found["energy"]["kwh"], found["energy"]["days_told"], found["energy"]["coverage"]) == (50.0, 1, 0.5)


def litres(value, take, coverage=1.0):
    return {"litres_l": value, "give_or_take_l": take, "coverage": None if value is None else coverage}


def balance(feed, gained, drunk):
    terms = [{"side": "in", "name": "feed water", **feed}, {"side": "gained", "name": "reservoir", **gained}]
    parts = {"drunk": drunk, "condensate": litres(10.0, 0.2), "drunk_less_condensate": drunk}
    return [{"terms": terms, **parts, "unknown": [], "assumed": ["nothing is drained"]}]


def test_water_is_summed_and_of_a_levels_change_only_both_ends_are_uncertain():
    days = whole(
        sheet(1, water_balance=balance(litres(40.0, 0.8), litres(2.0, 3.0), litres(38.0, 3.1))),
        sheet(2, water_balance=balance(litres(50.0, 1.0), litres(-1.0, 3.4), litres(51.0, 3.5))),
    )
    [found] = merged(days, 48 * H)["water_balance"]
    feed, gained = found["terms"]
    assert (feed["litres_l"], feed["give_or_take_l"], feed["coverage"], feed["days_told"]) == (90.0, 1.8, 1.0, 2)
    assert (gained["litres_l"], gained["give_or_take_l"]) == (1.0, 3.4)
    drunk = found["drunk"]
    assert (drunk["litres_l"], drunk["coverage"], drunk["days_told"]) == (89.0, 1.0, 2)
    assert drunk["give_or_take_l"] == pytest.approx((1.8**2 + 3.4**2) ** 0.5)
    rest = found["drunk_less_condensate"]
    assert rest["give_or_take_l"] == pytest.approx((1.8**2 + 3.4**2 + 0.4**2) ** 0.5)
    assert found["assumed"] == ["nothing is drained"]


def test_with_a_day_between_or_unknown_the_give_or_take_is_an_upper_bound():
    first = sheet(1, water_balance=balance(litres(40.0, 0.8), litres(2.0, 3.0), litres(38.0, 3.1)))
    third = sheet(3, water_balance=balance(litres(50.0, 1.0), litres(-1.0, 3.4), litres(51.0, 3.5)))
    [found] = merged(whole(first, third), 72 * H)["water_balance"]
    assert found["terms"][1]["give_or_take_l"] == pytest.approx(6.4)
    unknown = sheet(2, water_balance=balance(litres(50.0, 1.0), litres(None, None), litres(None, None)))
    [found] = merged(whole(first, unknown), 48 * H)["water_balance"]
    drunk = found["drunk"]
    assert (drunk["litres_l"], drunk["give_or_take_l"], drunk["coverage"], drunk["days_told"]) == (38.0, 3.1, 0.5, 1)


def reservoir(start, end, drunk, closes, drift, hours):
    water = {
        "start_l": start,
        "start_give_or_take_l": 2.0,
        "drunk_l": drunk,
        "drunk_give_or_take_l": 1.5,
        "end_l": end,
        "end_give_or_take_l": 2.0,
        "closes": closes,
        "covered_h": 24.0,
        "steps": [1],
        "written": [],
    }
    drifts = [
        {
            "key": "reservoir/solution_ph",
            "unit": "pH/d",
            "per_day": drift,
            "give_or_take": 0.1,
            "covered_h": hours,
            "stretches": 3,
        }
    ]
    stock = {"stock": "a", "label": "Stock A", "used_ml": 400.0, "remaining_ml": start}
    return [
        {
            "zone": "reservoir",
            "label": "Reservoir",
            "drift": drifts,
            "doses": [1, 2],
            "response": None,
            "ph_response": [],
            "water": water,
            "salt": None,
            "uptake": None,
            "stocks": [stock],
            "caution": None,
        }
    ]


def test_a_reservoirs_budget_runs_from_the_first_start_to_the_last_end():
    days = whole(
        sheet(1, root_zone=reservoir(200.0, 210.0, 45.0, True, 1.0, 24.0)),
        sheet(2, root_zone=reservoir(210.0, 190.0, 47.0, False, 0.4, 8.0)),
    )
    [found] = merged(days, 48 * H)["root_zone"]
    water = found["water"]
    assert (water["start_l"], water["end_l"], water["drunk_l"], water["covered_h"]) == (200.0, 190.0, 92.0, 48.0)
    assert (water["start_give_or_take_l"], water["drunk_give_or_take_l"], water["closes"]) == (2.0, 3.0, False)
    assert found["drift"][0]["per_day"] == pytest.approx((24 * 1.0 + 8 * 0.4) / 32)
    assert (found["stocks"][0]["used_ml"], found["stocks"][0]["remaining_ml"]) == (800.0, 210.0)


def test_an_excursion_over_midnight_is_one_and_told_as_it_ended():
    at = {"id": "x", "series": "room/air_temperature", "onset": "2026-03-01T22:00:00Z"}
    days = whole(
        sheet(1, excursions=[{**at, "end": None, "dose": 1.0}]),
        sheet(2, excursions=[{**at, "end": "2026-03-02T03:00:00Z", "dose": 4.0}, {**at, "id": "y", "end": None}]),
    )
    found = merged(days, 48 * H)["excursions"]
    assert [(one["id"], one["end"]) for one in found] == [("x", "2026-03-02T03:00:00Z"), ("y", None)]
    assert found[0]["dose"] == 4.0


def exposed(ppm, standing):
    one = {"ppm": ppm, "limit_ppm": 5000.0, "give_or_take_ppm": 50.0, "coverage": 1.0, "standing": standing}
    return [
        {
            "key": "room/co2_mole_fraction",
            "read_its_end": standing == "unknown",
            "lit": None,
            "highest": one,
            "average_8h": one,
            "average_15min": one,
            "enrichment": None,
            "caution": None,
        }
    ]


@pytest.mark.parametrize(
    ("standings", "gravest"),
    [(("below", "unknown"), "unknown"), (("near", "below"), "near"), (("above", "near"), "above")],
)
def test_exposure_keeps_the_gravest_standing_beside_the_highest_value(standings, gravest):
    days = whole(
        sheet(1, carbon_dioxide=exposed(900.0, standings[0])), sheet(2, carbon_dioxide=exposed(None, standings[1]))
    )
    [found] = merged(days, 48 * H)["carbon_dioxide"]
    assert (found["average_8h"]["ppm"], found["average_8h"]["standing"]) == (900.0, gravest)


def doubt(count, suspect, missing, gap_s):
    return {
        "series": [
            {
                "key": "room/air_temperature",
                "label": "A",
                "unit": "degC",
                "count": count,
                "good_count": count - suspect,
                "suspect_count": suspect,
                "fail_count": 0,
                "not_evaluated_count": 0,
                "missing_count": missing,
                "expected_count": count + missing,
                "gap_count": int(gap_s > 0),
                "longest_gap_s": gap_s,
                "gaps_s": gap_s,
                "siblings": None,
                "drift": None,
            }
        ],
        "impossible": [],
    }


def test_doubts_are_counted_and_their_share_is_of_all_expected_readings():
    days = whole(sheet(1, quality=doubt(100, 10, 0, 0.0)), sheet(2, quality=doubt(20, 0, 280, 900.0)))
    [found] = merged(days, 48 * H)["quality"]["series"]
    assert (found["count"], found["expected_count"], found["suspect_count"], found["missing_count"]) == (
        120,
        400,
        10,
        280,
    )
    assert found["suspect_share"] == pytest.approx(0.025)  # 10 of 400; the days' shares are 0.1 and 0
    assert (found["gap_count"], found["longest_gap_s"]) == (1, 900.0)


def test_a_sensor_that_drifted_on_any_day_is_doubted_for_the_week():
    days = whole(*(sheet(day, quality=doubt(100, 0, 0, 0.0)) for day in (1, 2, 3)))
    for day, drifts in zip(days, (False, True, False), strict=True):
        day.sheet["quality"]["series"][0]["drift"] = {"drifts": drifts, "shift": 1.0}
    [found] = merged(days, 72 * H)["quality"]["series"]
    assert found["drift"]["drifts"] is True
