"""How the alarms of a farm performed over a range: ISA-18.2's figures from the journal's history."""

from __future__ import annotations

from typing import NamedTuple

from analytics.alarm_performance import (
    ACCEPTABLE_A_DAY,
    ACCEPTABLE_AN_HOUR,
    MANAGEABLE_A_DAY,
    MANAGEABLE_AN_HOUR,
    MOST_TIME_IN_FLOOD,
    USUAL_SHARES,
    Performance,
    Raised,
    performance,
)
from store.journal import Journal

BENCHMARKS: dict[str, float] = {
    "acceptable_per_day": ACCEPTABLE_A_DAY,
    "manageable_per_day": MANAGEABLE_A_DAY,
    "acceptable_per_hour": ACCEPTABLE_AN_HOUR,
    "manageable_per_hour": MANAGEABLE_AN_HOUR,
    "most_time_in_flood": MOST_TIME_IN_FLOOD,
    **{f"share_{name}": share for name, share in USUAL_SHARES.items()},
}


class AlarmReport(NamedTuple):
    """The figures, a sentence for each condition, and how many alarms came and were suppressed by design."""

    figures: Performance
    texts: dict[str, str]
    suppressed: int


def alarm_report(journal: Journal, farm: str, start_us: int, end_us: int) -> AlarmReport:
    """Return how alarms performed in ``[start_us, end_us)``.

    What design suppressed never reached a person and counts in no figure; what was released counts from then on.
    """
    found = journal.alarms.between(farm, start_us, end_us)
    told = [one for one in found if one.suppressed_by is None]
    raised = [
        Raised(
            one.condition,
            max(one.alarm_us, int(one.detail.get("released_us", 0))),
            one.returned_us,
            str(one.priority),
            int(one.detail.get("times", 1)),
        )
        for one in told
    ]
    texts = {one.condition: f"{one.detail.get('what', '')}, {one.detail.get('where', '')}" for one in told}
    suppressed = sum(one.suppressed_by is not None and one.alarm_us >= start_us for one in found)
    return AlarmReport(performance(raised, start_us, end_us), texts, suppressed)
