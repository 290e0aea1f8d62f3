"""What the first screen takes from an alarm: how urgent, the likely cause, and the first thing to check."""

import pytest

from farm.alarm_words import AlarmState, Priority
from farm.quantities import QUANTITIES
from farm.readings import Series
from handover.reports.document import Listing
from handover.reports.happened import excursions
from handover.reports.telling import Telling
from leafweather.explain_command import lines
from store.alarm_entries import AlarmEntry
from store.entries import FindingEntry
from store.journal import Journal
from watch import cautions
from watch.alarm_findings import told_of
from watch.alarm_texts import CAUTIONS, band_text
from watch.day_sheet import finding_summary
from watch.first_checks import FIRST_CHECKS, first_check, look_first, steps
from watch.needs_of_alarms import of_alarm
from watch.outlook import Urgency
from watch.telling import with_unit

LIKELY = {"cause": "nutrient_stock_empty", "label": "A nutrient bottle is empty: Stock A"}


def entry(probability, priority=Priority.MEDIUM, kind="out_of_band"):
    likely = [] if probability is None else [LIKELY | {"probability": probability}]
    detail = {"kind": kind, "likely": likely, "first_step": "Is stock in them?", "caution": "Acids burn."}
    return AlarmEntry("f", "out_of_band/reservoir/solution_ec/low", 0, 60, None, priority, "g", detail=detail)


def test_a_likely_cause_is_named_with_its_check():
    one = of_alarm(entry(0.85), AlarmState.UNACKNOWLEDGED)
    assert one.leads == "Likely (85 %): A nutrient bottle is empty: Stock A. Is stock in them?"
    assert (one.urgency, one.caution) == (Urgency.TODAY, "Acids burn.")


@pytest.mark.parametrize(("probability", "also"), [(0.54, "; or (41 %): A dosing line is clogged"), (0.90, "")])
def test_beside_a_cause_that_is_not_sure_the_next_one_is_named(probability, also):
    one = entry(probability)
    one.detail["likely"].append({"cause": "doser_line_air", "label": "A dosing line is clogged", "probability": 0.41})
    named = f"Likely ({round(100 * probability)} %): A nutrient bottle is empty: Stock A{also}. Is stock in them?"
    assert of_alarm(one, AlarmState.UNACKNOWLEDGED).leads == named


@pytest.mark.parametrize("probability", [None, 0.49])
def test_a_cause_that_is_none_too_likely_leads_nowhere(probability):
    assert of_alarm(entry(probability), AlarmState.UNACKNOWLEDGED).leads == ""


def test_a_finding_of_its_own_names_its_cause_once():
    assert of_alarm(entry(0.95, kind="finding"), AlarmState.UNACKNOWLEDGED).leads == "Is stock in them?"


def test_urgency_follows_priority():
    found = [of_alarm(entry(None, priority), AlarmState.UNACKNOWLEDGED).urgency for priority in Priority]
    assert found == [Urgency.NOW, Urgency.NOW, Urgency.TODAY, Urgency.WHEN_CONVENIENT]


DRAIN, TELLS_APART = "Does water come from the drain?", "Compare both probes."


@pytest.mark.parametrize(
    ("probability", "first"),
    [
        (0.95, DRAIN),  # sure: go and see
        (0.7, TELLS_APART),  # likely: tell it from the next
        (0.3, "Look at the heating and its set point, then doors and louvres."),  # nothing leads
    ],
)
def test_an_alarm_and_the_finding_beside_it_name_the_same_first_check(small_farm, tmp_path, probability, first):
    causes = [
        {"cause": "drying_lost", "label": "No drying", "probability": probability, "check": DRAIN},
        {"cause": "as_usual", "label": "As usual", "probability": 1 - probability, "check": None},
    ]
    detail = {
        "headline": "",
        "causes": causes,
        "next_check": TELLS_APART,
        "series": "room/air_temperature",
        "side": "low",
    }
    found = FindingEntry("testfarm", "an-excursion", 0, None, 60, detail)
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        journal.findings.replace("testfarm", 0, [found])
        told = told_of(small_farm, journal, "an-excursion")
    _, step = band_text(small_farm, Series("testfarm", "room", "air_temperature"), "low", 10.0, 16.0, 1)
    alarm = {"kind": "out_of_band", "likely": [], "first_step": step, "caution": ""}
    alarm |= told.over(alarm)
    assert (alarm["first_step"], alarm["finding"]) == (first, found.identity)
    assert first_check(detail) == first
    then = [] if first == TELLS_APART else [("Then, to tell the causes apart", TELLS_APART)]
    assert steps(detail) == [("Check first", first), *then]  # as the page heads them


def test_a_finding_that_no_excursion_led_to_names_its_own_check():
    assert first_check({"causes": [], "next_check": "Shut the louvre."}) == "Shut the louvre."


def test_no_first_check_says_again_that_it_is_the_first():
    """What tells it heads it "Check first" or "What to do first"."""
    told = [look_first(quantity, side) for quantity, side in FIRST_CHECKS]
    assert [one for one in told if "first" in one or not one.startswith("Look at ")] == []


def test_a_look_that_leads_to_chemicals_gas_or_breakers_carries_its_caution():
    leads_to = {
        "acid": cautions.ACID_AND_BASE, "stock": cautions.ACID_AND_BASE, "doser": cautions.ACID_AND_BASE,
        "breaker": cautions.MAINS, "CO2": cautions.CO2,
    }  # fmt: skip
    met = {
        (quantity, caution) for (quantity, _), look in FIRST_CHECKS.items() for word, caution in leads_to.items()
        if word in look
    }  # fmt: skip
    assert len(met) >= 5
    assert {(quantity, CAUTIONS.get(quantity)) for quantity, _ in met} == met


def test_what_rounds_to_nothing_has_no_sign():
    told = [with_unit(value, QUANTITIES["air_temperature"]) for value in (-0.04, 0.04, -0.06, -1234.5)]
    assert told == ["0.0 °C", "0.0 °C", "\u22120.1 °C", "\u22121,234.5 °C"]


def test_a_finding_without_a_first_check_names_what_to_check_next_or_nothing():
    unknown = {"causes": [], "series": "room/air_pressure", "side": "high"}  # no look is known for air pressure
    assert steps(unknown | {"next_check": DRAIN}) == [("Check next", DRAIN)]
    assert steps(unknown | {"next_check": None}) == []


def test_the_command_and_reports_name_the_first_check_before_the_one_that_tells_causes_apart(small_farm):
    cause = {
        "cause": "drying_lost", "part": None, "label": "No drying", "nature": "equipment", "probability": 0.95,
        "places": [], "place_labels": ["Room, Power", "Door frame, inside"], "for": [], "against": [], "check": DRAIN,
    }  # fmt: skip
    fan = cause | {"cause": "circulation_fan_dead", "label": "A fan stands still", "probability": None,
                   "place_labels": ["Row 2"]}  # fmt: skip
    detail = {
        "headline": "No drying (95 %).", "causes": [cause], "also": [fan], "cannot_tell_apart": [], "cautions": [],
        "next_check": TELLS_APART, "next_check_shows": {"drying_lost": "they agree"},
        "series": "room/relative_humidity", "side": "high",
    }  # fmt: skip
    found = FindingEntry("testfarm", "an-excursion", 0, None, 60, detail)
    printed = lines(found, small_farm.farm.zone_info)
    first, then = f"Check first: {DRAIN}", f"Then, to tell the causes apart: {TELLS_APART}"
    assert printed[printed.index(first) :] == [first, "", then, "  they agree -> drying_lost"]
    assert "[Room, Power; Door frame, inside]" in "\n".join(printed)  # labels hold commas
    told = excursions(Telling(small_farm), {"excursions": [], "findings": [finding_summary(found)]})
    [causes] = [one for one in told if isinstance(one, Listing)]
    assert list(causes.entries[0].below)[-3:] == ["Beside it: A fan stands still: Row 2.", first, then]
