"""What looks between whole hours tell of a run, by the same rule as in service (watch/quarter_looks.py).

But for echoes: in service no look names a slow cause that a clearer fast one left. Only fast faults are looked at here,
and none is named sooner or later by that.
"""

from __future__ import annotations

from typing import NamedTuple

from analytics.findings.episodes import AT_ONCE_AT, OPENS_AT, SMOOTH_H, wrong
from analytics.findings.weighing import weighed


class Early(NamedTuple):
    """A finding that stands between whole hours: from when, and what it names first.

    ``hour`` is the whole hour that is under way; ``alone`` where whole hours do not tell it yet; ``fresh`` where this
    very look is sure enough to tell it.
    """

    at_h: float
    hour: int
    cause: str
    alone: bool
    fresh: bool


def told_early(farm, run, table, by_hours, best_known):
    """Yield what stands after each look of a run, in order; ``by_hours`` are the episodes of whole hours."""
    looks = _looks(farm, run, table, best_known)
    for number, (at_h, hour, sure, cause) in enumerate(looks):
        standing = any(one.opened < hour and (one.end is None or one.end >= hour) for one in by_hours)
        if standing:
            if sure >= OPENS_AT:
                yield Early(at_h, hour, cause, False, False)
            continue
        window = [one for one in looks[: number + 1] if one[1] >= hour - 1]
        first = next((place for place, one in enumerate(window) if one[2] >= AT_ONCE_AT), None)
        if first is not None:
            told = [one for one in window[first:] if one[2] >= OPENS_AT][-1]
            yield Early(at_h, hour, told[3], True, sure >= AT_ONCE_AT)


def _looks(farm, run, table, best_known):
    """Return when each look ends, in which hour, how sure it is that anything is wrong, and the first cause."""
    found = []
    for number, deviations in enumerate(run.looked()):
        weighing = weighed(farm, table, deviations)
        probability = weighing.probabilities(SMOOTH_H)
        something = wrong(weighing, probability, best_known)
        for column in range(weighing.hours):
            hour = run.looks_h + column
            cause = weighing.answers(probability[:, column])[0].cause
            found.append((hour + (number + 1) / 4, hour, float(something[column]), cause))
    return sorted(found)


def only_early(told, by_hours):
    """Return what was told between whole hours and never by them: first causes and hours, once a stretch."""
    stretches = []
    for one in told:
        if one.alone and one.fresh:
            if stretches and one.hour <= stretches[-1][-1].hour + 1:
                stretches[-1].append(one)
            else:
                stretches.append([one])
    return [
        (several[0].cause, several[0].hour)
        for several in stretches
        if not any(several[0].hour <= one.opened <= several[-1].hour + 1 for one in by_hours)
    ]
