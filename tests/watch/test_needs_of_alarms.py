"""What the first screen takes from an alarm: how urgent, the likely cause, and the first thing to check."""

import pytest

from farm.alarm_words import AlarmState, Priority
from store.alarm_entries import AlarmEntry
from watch.needs_of_alarms import of_alarm
from watch.outlook import Urgency

LIKELY = {"cause": "nutrient_stock_empty", "label": "A nutrient bottle is empty: Stock A"}


def entry(probability, priority=Priority.MEDIUM, kind="out_of_band"):
    likely = [] if probability is None else [LIKELY | {"probability": probability}]
    detail = {"kind": kind, "likely": likely, "first_step": "Is stock in them?", "caution": "Acids burn."}
    return AlarmEntry("f", "out_of_band/reservoir/solution_ec/low", 0, 60, None, priority, "g", detail=detail)


def test_a_likely_cause_is_named_with_its_check():
    one = of_alarm(entry(0.85), AlarmState.UNACKNOWLEDGED)
    assert one.leads == "Likely (85 %): A nutrient bottle is empty: Stock A. Is stock in them?"
    assert (one.urgency, one.caution) == (Urgency.TODAY, "Acids burn.")


@pytest.mark.parametrize("probability", [None, 0.49])
def test_a_cause_that_is_none_too_likely_leads_nowhere(probability):
    assert of_alarm(entry(probability), AlarmState.UNACKNOWLEDGED).leads == ""


def test_a_finding_of_its_own_names_its_cause_once():
    assert of_alarm(entry(0.95, kind="finding"), AlarmState.UNACKNOWLEDGED).leads == "Is stock in them?"


def test_urgency_follows_priority():
    found = [of_alarm(entry(None, priority), AlarmState.UNACKNOWLEDGED).urgency for priority in Priority]
    assert found == [Urgency.NOW, Urgency.NOW, Urgency.TODAY, Urgency.WHEN_CONVENIENT]
