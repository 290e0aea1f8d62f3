"""Bayes' rule worked by hand on a table of two causes; what is left out, what cannot be told apart, two at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from analytics.findings.deviation import NOT_KNOWN, Deviation
from analytics.findings.episodes import Episode, episodes, last_seen, led_since, wrong
from analytics.findings.explaining import explained
from analytics.findings.model import Table
from analytics.findings.weighing import Hypothesis, weighed
from farm.causes import NORMAL, SOMETHING_ELSE
from farm.description import ZoneKind
from farm.readings import Series
from simulator.demo import demo_farm

USUAL = (0.01, 0.01, 0.01, 0.01, 0.92, 0.01, 0.01, 0.01, 0.01)
RARE = (0.0005, 0.002, 0.01, 0.01, 0.955, 0.01, 0.01, 0.002, 0.0005)  # the same of what is hardly ever far away
LOWER = (0.50, 0.20, 0.18, 0.01, 0.07, 0.01, 0.01, 0.01, 0.01)
HIGHER = LOWER[::-1]
FEATURES = ("condensate@now", "supply_above_dew_point@now", "ec@now", "row_flow@now")
DRYING, WARM_COIL, LEAK, CLOGGED = (
    ("drying_lost", ""),
    ("cooling_at_dew_point", ""),
    ("dilution_leak", ""),
    ("emitters_clogged", ""),
)
TABLE = Table(
    dict.fromkeys(FEATURES, USUAL),
    {
        DRYING: {"condensate@now": LOWER},
        WARM_COIL: {"condensate@now": LOWER, "supply_above_dew_point@now": HIGHER},
        LEAK: {"ec@now": LOWER},
        CLOGGED: {"row_flow@now": LOWER},
    },
    prior=0.01,
    temper=1.0,
)  # fmt: skip


def seen(**levels):
    """Return deviations of one hour by feature (``__`` before the place), with stand-in values."""
    found = []
    for name, level in levels.items():
        feature, _, place = name.partition("__")
        one, usual = np.array([float(level) - 4.0]), np.zeros(1)
        found.append(Deviation(f"{feature}@now", place, one, usual, np.full(1, 0.5), np.array([level], np.int8)))
    return found


def weigh(farm, **levels):
    weighing = weighed(farm, TABLE, seen(**levels))
    return weighing, {one.cause: one for one in weighing.answers(weighing.probabilities()[:, 0])}


def test_bayes_by_hand(small_farm):
    _, answers = weigh(small_farm, condensate=0, supply_above_dew_point=4)
    # Odds against "as usual": prior times the ratio of likelihoods at each feature.
    drying, warm = 0.01 * 0.50 / 0.01, 0.01 * (0.50 / 0.01) * (0.07 / 0.92)
    leak = clogged = 0.01  # nothing of theirs was seen
    else_ = 0.01 * 0.03 * ((0.9 + 0.1 / 9 / 0.01) ** 0.05)
    total = 1.0 + drying + warm + leak + clogged + else_
    assert answers["drying_lost"].probability == pytest.approx(drying / total, rel=1e-6)
    assert answers["cooling_at_dew_point"].probability == pytest.approx(warm / total, rel=1e-6)
    assert answers[NORMAL].probability == pytest.approx(1.0 / total, rel=1e-6)
    assert answers[SOMETHING_ELSE].probability == pytest.approx(else_ / total, rel=1e-6)
    assert sum(one.probability for one in answers.values()) == pytest.approx(1.0)


def test_a_feature_that_is_not_known_says_nothing(small_farm):
    _, missing = weigh(small_farm, condensate=0)
    _, unknown = weigh(small_farm, condensate=0, supply_above_dew_point=9)
    for cause in ("drying_lost", "cooling_at_dew_point"):
        assert missing[cause].probability == pytest.approx(unknown[cause].probability)
    assert missing["drying_lost"].probability == pytest.approx(missing["cooling_at_dew_point"].probability)


def test_a_cause_at_a_place_is_weighed_by_what_is_seen_there(small_farm):
    weighing, answers = weigh(small_farm, row_flow__row=0)
    assert weighing.places_seen("row_flow@now", Hypothesis("emitters_clogged", "", "row")) == ["row"]
    assert answers["emitters_clogged"].places[0].place == "row"
    assert answers["emitters_clogged"].probability > 0.2


def test_what_a_row_shows_speaks_of_the_lamps_above_it():
    farm = demo_farm()
    group = farm.equipment.lamp_groups[0]
    levels = [
        Deviation("row_vapour@now", zone, *np.zeros((3, 1)), np.array([4], np.int8))
        for zone, one in farm.zones.items()
        if one.kind is ZoneKind.GROWING_ROW
    ]
    weighing = weighed(farm, TABLE, levels)
    seen_there = weighing.places_seen("row_vapour@now", Hypothesis("lamps_out_of_place", "", group.name))
    assert seen_there == [zone for zone in group.zones if farm.zones[zone].kind is ZoneKind.GROWING_ROW]


def test_a_cause_with_many_places_is_no_likelier_for_it():
    weighing = weighed(demo_farm(), TABLE, seen(condensate=4))
    drying = [weighing.prior_of(one) for one in weighing.hypotheses if one.cause == "drying_lost"]
    clogged = [weighing.prior_of(one) for one in weighing.hypotheses if one.cause == "emitters_clogged"]
    assert len(clogged) > 1
    assert sum(clogged) == pytest.approx(sum(drying)) == pytest.approx(TABLE.prior)


def test_causes_that_the_sensors_do_not_tell_apart_are_told_so(small_farm):
    weighing, _ = weigh(small_farm, condensate=0)
    found = explained(weighing, 0, weighing.probabilities()[:, 0])
    assert set(found.not_apart) == {"drying_lost", "cooling_at_dew_point"}
    assert found.check_shows.keys() == {"drying_lost", "cooling_at_dew_point"}
    assert len(set(found.check_shows.values())) == 2


def test_with_the_sensor_that_tells_them_apart_they_are_named(small_farm):
    weighing, _ = weigh(small_farm, condensate=0, supply_above_dew_point=8)
    found = explained(weighing, 0, weighing.probabilities()[:, 0])
    assert found.first.cause == "cooling_at_dew_point"
    assert found.not_apart == ()
    assert {piece.indicator for piece in found.first.speaks_for} == {"condensate@now", "supply_above_dew_point@now"}
    drying = next(one for one in found.candidates if one.cause == "drying_lost")
    assert [piece.indicator for piece in drying.speaks_for] == ["condensate@now"]


def test_what_speaks_against_a_cause_is_told_with_its_numbers(small_farm):
    weighing, _ = weigh(small_farm, condensate=0, supply_above_dew_point=4)
    found = explained(weighing, 0, weighing.probabilities()[:, 0])
    warm = next(one for one in found.candidates if one.cause == "cooling_at_dew_point")
    [against] = warm.against
    assert against.indicator == "supply_above_dew_point@now"
    assert "0.0 K, usually 0.0 K give or take 1.0 K" in against.sentence


def test_a_second_fault_that_is_sure_on_other_evidence_is_told_beside_the_first(small_farm):
    def also(usual, prior):
        table = Table(usual, TABLE.of, prior, 1.0)
        weighing = weighed(small_farm, table, seen(condensate=0, supply_above_dew_point=8, ec=0))
        found = explained(weighing, 0, weighing.probabilities()[:, 0])
        assert found.first.cause == "cooling_at_dew_point"
        return [one.cause for one in found.also]

    assert also(TABLE.usual, prior=0.1) == []  # 0.1 * 0.5 / 0.01: five to one, which is likely and not sure
    assert also(dict.fromkeys(FEATURES, RARE), prior=0.1) == ["dilution_leak"]  # 0.1 * 0.5 / 0.0005: a hundred to one


def test_no_second_fault_shows_while_the_mains_are_lost(small_farm):
    table = Table(
        dict.fromkeys([*FEATURES, "power@now"], RARE),
        {**TABLE.of, ("mains_lost", ""): {"power@now": LOWER}},
        prior=0.1,
        temper=1.0,
    )

    def also(first):
        weighing = weighed(small_farm, table, seen(condensate=0, ec=0, power=0))
        at = [float(one.cause == first) for one in weighing.hypotheses]
        return [one.cause for one in explained(weighing, 0, np.array([*at, 0.0, 0.0])).also]

    assert also("mains_lost") == []
    assert also("dilution_leak") == ["mains_lost", "drying_lost"]


def test_a_second_fault_stands_on_two_indicators_where_two_are_known(small_farm):
    both = {"ec@now": LOWER, "level@now": HIGHER}
    table = Table(dict.fromkeys([*both, "condensate@now"], RARE), {DRYING: TABLE.of[DRYING], LEAK: both}, 0.2, 1.0)

    def also(**levels):
        weighing = weighed(small_farm, table, seen(condensate=0, **levels))
        return [one.cause for one in explained(weighing, 0, np.array([0.9, 0.1, 0.0, 0.0])).also]

    assert also(ec=0, level=8) == ["dilution_leak"]
    assert also(ec=0) == ["dilution_leak"]  # the farm has no level
    assert also(ec=0, level=NOT_KNOWN) == ["dilution_leak"]
    assert also(ec=0, level=4) == []


def test_a_second_fault_is_told_with_evidence_of_its_own_only(small_farm):
    three = {"ec@now": LOWER, "level@now": HIGHER, "condensate@now": LOWER}
    table = Table(dict.fromkeys(three, RARE), {DRYING: TABLE.of[DRYING], LEAK: three}, 0.05, 1.0)

    def also(**levels):
        weighing = weighed(small_farm, table, seen(condensate=0, **levels))
        return explained(weighing, 0, np.array([0.9, 0.1, 0.0, 0.0])).also

    [leak] = also(ec=0, level=8)
    assert {one.indicator for one in leak.speaks_for} == {"ec@now", "level@now"}
    assert also(ec=0) == ()  # one of its own, while the other is what the first does


def test_what_a_fast_fault_left_in_the_day_is_no_second_fault():
    farm = demo_farm()
    fade, lost = ("lamp_fade", ""), ("lamp_group_lost", "")
    table = Table(
        dict.fromkeys(["light_output@now", "light_output@weeks", "condensate@now"], RARE),
        {DRYING: TABLE.of[DRYING], fade: {"light_output@weeks": LOWER}, lost: {"light_output@now": LOWER}},
        prior=1.0,
        temper=1.0,
    )

    def levels(feature, place, several):
        zero = np.zeros(len(several))
        return Deviation(feature, place, zero, zero, zero + 0.5, np.array(several, np.int8))

    def also(now, hour=29):
        group = farm.equipment.lamp_groups[0].name
        weighing = weighed(
            farm,
            table,
            [
                levels("light_output@now", group, now),
                levels("light_output@weeks", group, [1] * 30),
                levels("condensate@now", "", [0] * 30),
            ],
        )
        only = [one.cause == "drying_lost" for one in weighing.hypotheses]
        return [one.cause for one in explained(weighing, hour, np.array([*only, 0.0, 0.0], float)).also]

    assert also([4] * 30) == ["lamp_fade"]
    assert also([4] * 8 + [0] * 4 + [4] * 18) == []  # dark 18 to 22 hours ago
    assert also([0] * 4 + [4] * 26) == ["lamp_fade"]  # more than a day ago


def test_a_cause_leads_since_something_of_its_kind_was_the_likeliest(small_farm):
    def levels(feature, several):
        zero = np.zeros(len(several))
        return Deviation(feature, "", zero, zero, zero + 0.5, np.array(several, np.int8))

    of = {DRYING: {"condensate@now": LOWER}, LEAK: {"ec@now": LOWER}}
    table = Table(dict.fromkeys(["condensate@now", "ec@now"], RARE), of, 0.1, 1.0)
    weighing = weighed(small_farm, table, [
        levels("condensate@now", [4, 0, 0, 0, 4, 4, 4, 4]), levels("ec@now", [4, 4, 4, 4, 1, 0, 0, 0]),
    ])  # fmt: skip
    something = np.array([0.0, 1, 1, 1, 0.9, 1, 1, 1])
    one = Episode(1, 1, None)
    assert led_since(one, 7, something, weighing) == 5  # hour 4 was not sure yet
    assert led_since(one, 3, something, weighing) == 1
    assert led_since(Episode(5, 5, None), 7, something, weighing) == 5


def test_what_is_over_was_seen_last_in_an_hour_whose_own_readings_show_it(small_farm):
    """Not in weeks, in windows of many hours, or in what stands as it was seen last."""
    features = ["coil_drying@now", "coil_drying@weeks", "condensate_per_run@now", "ec@now"]
    of = {DRYING: dict.fromkeys(features[:3], LOWER), LEAK: {"ec@now": LOWER}}
    table = Table(dict.fromkeys(features, RARE), of, 0.1, 1.0)

    def levels(feature, several, last=()):
        zero = np.zeros(60)
        level = np.full(60, 4, np.int8)
        level[list(several)] = 0
        stands = np.zeros(60, bool)
        stands[list(last)] = True
        return Deviation(feature, "", zero, zero, zero + 0.5, level, stands)

    def seen(end, *, since=2, leaks=(), sure=60, told=(DRYING,)):
        weighing = weighed(small_farm, table, [
            levels("coil_drying@now", [2, 3, 4, 5, 6], [5, 6]), levels("coil_drying@weeks", range(3, 30)),
            levels("condensate_per_run@now", range(2, 9)), levels("ec@now", leaks),
        ])  # fmt: skip
        hypotheses = [one for one in weighing.hypotheses if one.kind in told]
        something = np.where(np.arange(60) < sure, 1.0, 0.5)
        return last_seen(Episode(2, 2, end), since, hypotheses, something, weighing)

    assert seen(30) == 4
    assert seen(52) == 4
    assert seen(53) is None  # a slow cause, that showed in an hour long ago
    assert seen(30, since=5) is None  # it leads only since then
    assert seen(30, told=(LEAK, DRYING)) == 4
    assert seen(30, told=()) is None  # something else that no cause covers
    assert seen(45, leaks=[35, 37, 38]) is None  # another cause leads later
    assert seen(45, leaks=[35, 38]) == 4  # but not where that is short,
    assert seen(45, leaks=[35, 37, 38], sure=38) == 4  # where nothing was sure,
    assert seen(45, leaks=[2, 3, 4, 35]) == 4  # or at the same time


def test_what_dark_lamps_do_to_their_row_is_no_second_fault_of_the_row():
    fan, lamps = ("circulation_fan_dead", ""), ("lamp_group_lost", "")
    three = {"row_temperature@now": LOWER, "row_swing@now": LOWER, "row_vapour@now": HIGHER}
    table = Table(
        dict.fromkeys(["light_output@now", *three], RARE),
        {lamps: {"light_output@now": LOWER, "row_temperature@now": LOWER}, fan: three},
        prior=0.1,
        temper=1.0,
    )
    dark = Hypothesis(*lamps, "bars-2")
    farm = demo_farm()
    groups = [one.model_copy(update={"name": one.name.replace("row", "bars")}) for one in farm.equipment.lamp_groups]
    farm = farm.model_copy(update={"equipment": farm.equipment.model_copy(update={"lamp_groups": groups})})

    def beside(**levels):
        weighing = weighed(farm, table, seen(**({"light_output__bars-2": 0} | levels)))
        return [(one.cause, one.place) for _, one in weighing.beside(dark, 0)]

    assert beside(**{"row_temperature__row-2": 0}) == []  # colder, as under dark lamps
    own = {"row_swing__row-2": 0, "row_vapour__row-2": 8}
    assert beside(**{"row_temperature__row-2": 0} | own) == [("circulation_fan_dead", "row-2")]
    assert beside(**{"row_temperature__row-3": 0}) == [("circulation_fan_dead", "row-3")]  # not under them


def test_what_a_fault_of_the_whole_farm_does_to_rows_is_no_second_fault_of_the_whole_farm():
    table = Table(
        dict.fromkeys(["condensate@now", "row_temperature@now", "row_swing@now", "row_vapour@now"], RARE),
        {
            ("drying_lost", ""): {"condensate@now": LOWER, "row_temperature@now": LOWER},
            ("heater_stuck", ""): {"row_temperature@now": LOWER},
            ("cooling_lost", ""): {
                "row_temperature@now": LOWER,
                "row_swing@now": LOWER,
                "row_vapour@now": HIGHER,
            },
            ("circulation_fan_dead", ""): {"row_temperature@now": LOWER},
        },
        prior=0.1,
        temper=1.0,
    )

    def beside(**levels):
        weighing = weighed(demo_farm(), table, seen(condensate=0, **levels))
        return {(one.cause, one.place) for _, one in weighing.beside(Hypothesis("drying_lost", "", ""), 0)}

    colder = {f"row_temperature__row-{row}": 0 for row in (1, 2, 3)}
    one_row = {("circulation_fan_dead", f"row-{row}") for row in (1, 2, 3)}
    assert beside(**colder) == one_row  # each row may have a fault of its own
    of_its_own = {"row_swing__row-1": 0, "row_vapour__row-1": 8}
    assert beside(**colder, **of_its_own) == one_row | {("cooling_lost", "")}


@pytest.mark.parametrize(("bottles", "label"), [
    (4, "The nutrient bottles are all empty"), (1, "A nutrient bottle is empty"),
])  # fmt: skip
def test_a_cause_at_all_of_several_places_is_named_for_all(bottles, label):
    farm = demo_farm()
    kept = farm.equipment.model_copy(update={"stocks": farm.equipment.stocks[:bottles]})
    table = Table(dict.fromkeys(["ec@now"], USUAL), {("nutrient_stock_empty", "all"): {"ec@now": LOWER}}, 0.1, 1.0)
    weighing = weighed(farm.model_copy(update={"equipment": kept}), table, seen(ec=0))
    assert explained(weighing, 0, weighing.probabilities()[:, 0]).first.label == label


def test_an_excursion_is_explained_by_causes_of_its_own_side_only(small_farm):
    weighing, _ = weigh(small_farm, condensate=0, ec=0)
    humid = Series.parse("testfarm", "room/relative_humidity")
    found = explained(weighing, 0, weighing.probabilities()[:, 0], humid, "high")
    assert {one.cause for one in found.candidates} <= {"drying_lost", "cooling_at_dew_point", NORMAL, SOMETHING_ELSE}
    assert sum(one.probability for one in found.candidates) == pytest.approx(1.0, abs=0.02)


def test_only_evidence_that_physics_names_is_told(small_farm):
    # Acid that is dosed was counted to differ under a blocked drain on some farms: it weighs, and convinces nobody.
    counted = replace(TABLE, usual=TABLE.usual | {"acid_ml@now": USUAL}, of=dict(TABLE.of) | {
        DRYING: {"condensate@now": LOWER, "acid_ml@now": LOWER}})  # fmt: skip
    weighing = weighed(small_farm, counted, seen(condensate=0, acid_ml=0))
    first = explained(weighing, 0, weighing.probabilities()[:, 0], days_known=7).first
    assert first.cause == "drying_lost"
    assert [one.indicator for one in first.speaks_for] == ["condensate@now"]
    without = weighed(small_farm, counted, seen(condensate=0, acid_ml=4))
    assert weighing.log_odds[0, 0] > without.log_odds[0, 0]


def test_a_third_fault_needs_evidence_of_its_own(small_farm):
    of = dict(TABLE.of) | {("salt_uptake_high", ""): {"ec@now": LOWER}}
    strong = Table(dict.fromkeys(FEATURES, RARE), of, prior=0.05, temper=1.0)
    weighing = weighed(small_farm, strong, seen(condensate=0, supply_above_dew_point=8, ec=0))
    found = explained(weighing, 0, weighing.probabilities()[:, 0])
    assert found.first.cause == "cooling_at_dew_point"
    [second] = found.also  # one low EC is one fault
    assert second.cause in ("dilution_leak", "salt_uptake_high")


def test_nothing_unusual_is_an_answer(small_farm):
    weighing, _ = weigh(small_farm, condensate=4, supply_above_dew_point=4, ec=4)
    found = explained(weighing, 0, weighing.probabilities()[:, 0])
    assert found.first.cause == NORMAL
    assert found.first.probability > 0.9


def test_episodes_begin_after_two_sure_hours_or_one_that_is_very_sure_and_end_after_six_quiet_ones():
    assert episodes(np.array([0.0, 0.95, 0.2, 0.95, 0.95, 0.5])) == [Episode(3, 4, None)]
    assert episodes(np.array([0.0, 0.9995, 0.5])) == [Episode(1, 1, None)]
    quiet = np.array([0.0, 0.95, 0.95, *[0.1] * 5, 0.95, *[0.1] * 6, 0.0])
    assert episodes(quiet) == [Episode(1, 2, 14)]


def test_how_likely_anything_is_wrong_begins_even_however_many_causes_there_are(small_farm):
    """By hand, with a prior of 2 for each cause: what is as usual is not wrong; before anything is known it is 0."""
    levels = np.array([[NOT_KNOWN, 4, 0, NOT_KNOWN], [NOT_KNOWN, 4, 8, NOT_KNOWN]], np.int8)
    found = [
        Deviation(f"{name}@now", "", np.zeros(4), np.zeros(4), np.ones(4), level)
        for name, level in zip(("condensate", "supply_above_dew_point"), levels, strict=True)
    ]
    weighing = weighed(small_farm, replace(TABLE, prior=2.0), found)
    probability = weighing.probabilities()
    causes = len(weighing.hypotheses)
    drying, warm, others = 2 * (0.07 / 0.92), 2 * (0.07 / 0.92) ** 2, 2 * (causes - 2)
    something_else = float(probability[-2, 1] / probability[-1, 1])
    even = (drying + warm + others + something_else) / (2 * causes)
    before, usual, odd, silent = wrong(weighing, probability).tolist()
    assert usual == pytest.approx(even / (1 + even))
    assert usual < 1 - probability[-1, 1] - 0.3
    assert odd > 0.9
    assert (before, silent) == (0.0, pytest.approx(0.5, abs=0.01))


def test_what_hours_and_weeks_say_alike_is_told_once_and_what_they_say_apart_twice(small_farm):
    table = Table(dict.fromkeys(["ec@now", "ec@weeks"], USUAL), {LEAK: {"ec@now": LOWER, "ec@weeks": LOWER}}, 0.1, 1.0)

    def told(now, weeks):
        hour, week = seen(ec=now)[0], seen(ec=weeks)[0]._replace(name="ec@weeks")
        weighing = weighed(small_farm, table, [hour, week])
        leak = explained(weighing, 0, np.array([1.0, 0.0, 0.0])).first
        return [one.indicator for one in leak.speaks_for], [one.indicator for one in leak.against]

    assert told(1, 0) == (["ec@weeks"], [])
    assert told(0, 1) == (["ec@now"], [])
    assert told(0, 4) == (["ec@now"], ["ec@weeks"])


def test_evidence_that_looks_back_on_hours_says_on_how_many(small_farm):
    features = {"condensate_per_run@now": LOWER, "coil_drying@now": LOWER}
    weighing = weighed(
        small_farm,
        Table(dict.fromkeys(features, USUAL), {DRYING: features}, 0.1, 1.0),
        seen(condensate_per_run=0, coil_drying=0),
    )
    told = explained(weighing, 0, np.array([1.0, 0.0, 0.0])).first.speaks_for
    said = {one.indicator: one.sentence for one in told}
    assert said["condensate_per_run@now"].endswith(" L/h, over the last 4 h.")
    assert said["coil_drying@now"].endswith(" g/kg.")


def test_evidence_that_stands_as_it_was_seen_last_says_how_long_before(small_farm):
    feature = "condensate@now"
    table = Table({feature: USUAL}, {DRYING: {feature: LOWER}}, 0.1, 1.0)
    stands = Deviation(feature, "", *np.zeros((3, 4)), np.zeros(4, np.int8), np.array([False, True, True, True]))
    weighing = weighed(small_farm, table, [stands])

    def told(hour):
        [one] = explained(weighing, hour, np.array([1.0, 0.0, 0.0])).first.speaks_for
        return one.sentence

    assert told(2).endswith(", as it was seen last, 2 h before.")
    assert "seen last" not in told(0)


def test_what_each_hour_works_out_from_a_day_is_no_hours_own_reading(small_farm):
    features = ["ec_response@now", "coil_drying@now"]
    table = Table(dict.fromkeys(features, RARE), {DRYING: dict.fromkeys(features, LOWER)}, 0.1, 1.0)

    def own(lower):
        several = [
            Deviation(name, "", *np.zeros((3, 4)), np.full(4, 0 if name == lower else 4, np.int8)) for name in features
        ]
        weighing = weighed(small_farm, table, several)
        return weighing.evidence_of_hours(weighing.hypotheses[0])

    assert (own("coil_drying@now") > own("ec_response@now")).all()
    assert (own("ec_response@now") == own("")).all()
