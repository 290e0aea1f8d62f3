"""How often findings are right, how soon, how sure, and how often they find what is not there."""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise
from typing import NamedTuple

import numpy as np

from analytics.findings.episodes import SMOOTH_H, episodes, wrong
from analytics.findings.weighing import weighed
from bench.diagnosis.levels import farm_of
from bench.diagnosis.looks import only_early, told_early
from farm.causes import NORMAL


class Scored(NamedTuple):
    """One run against the table."""

    kind: str
    severity: str
    answers: list[str]  # causes in order, at the hour of reading
    probability: float  # of the first
    of_truth: float
    right_after_h: float  # from the fault's start to the first open finding that names it first; inf for never
    found_after_h: float  # to the first finding of any kind
    slow: bool


def weighed_run(farm, run, table, without=()):
    """Return a run's weighing, some series left out."""
    found = [one for one in run.found() if not left_out(one, without)]
    return weighed(farm, table, found)


def left_out(one, without):
    """Whether a deviation belongs to an indicator that is left out."""
    return any(one.indicator == name or one.place.startswith(name) for name in without)


def scored(farm, run, table):
    """Return how a run with a fault was told."""
    weighing = weighed_run(farm, run, table)
    probability = weighing.probabilities(SMOOTH_H)
    hour = min(run.read_h, run.hours - 1)
    answers = weighing.answers(probability[:, hour])
    something = wrong(weighing, probability)
    right, found = np.inf, np.inf
    for one in episodes(something):
        last = one.last(run.hours)
        for at in range(max(one.opened, run.fault_h), last + 1):
            found = min(found, at + 1 - run.begin_h)
            if weighing.answers(probability[:, at])[0].cause == run.kind:
                right = at + 1 - run.begin_h
                break
        if np.isfinite(right):
            break
    for one in told_early(farm, run, table, episodes(something), weighing.known_counts.max(initial=0)):
        if one.at_h > run.begin_h:
            found = min(found, one.at_h - run.begin_h)
            if one.cause == run.kind:
                right = min(right, one.at_h - run.begin_h)
                break
    of_truth = next((one.probability for one in answers if one.cause == run.kind), 0.0)
    first = [one.cause for one in answers[:10]]
    return Scored(run.kind, run.severity, first, answers[0].probability, of_truth, right, found, run.slow)


def false_findings(farm, month, table):
    """Return the findings of a healthy month: their first causes and hours."""
    weighing = weighed_run(farm, month, table)
    probability = weighing.probabilities(SMOOTH_H)
    by_hours = episodes(wrong(weighing, probability))
    told = told_early(farm, month, table, by_hours, weighing.known_counts.max(initial=0))
    return [
        *((weighing.answers(probability[:, one.opened])[0].cause, one.opened) for one in by_hours),
        *only_early(told, by_hours),
    ]


def score_all(runs, table):
    """Return the scores of all runs with a fault, and the false findings of each healthy month."""
    results, months, farm, key = [], [], None, None
    for run in runs:
        if (run.seed, run.drawn) != key:
            key = run.seed, run.drawn
            farm = farm_of(*key)
        if run.kind:
            results.append(scored(farm, run, table))
        else:
            months.append((run.seed, false_findings(farm, run, table)))
    return results, months


def top(results, count):
    """Return the share of runs whose fault is among the first causes, by kind."""
    by_kind = defaultdict(list)
    for one in results:
        by_kind[one.kind].append(one.kind in one.answers[:count])
    return {kind: float(np.mean(several)) for kind, several in by_kind.items()}


def confusion(results):
    """Return how often each first answer came, by kind."""
    found = defaultdict(lambda: defaultdict(int))
    for one in results:
        found[one.kind][one.answers[0]] += 1
    return found


def brier(results):
    """Return the Brier score of the first answer's probability."""
    return float(np.mean([(one.probability - (one.answers[0] == one.kind)) ** 2 for one in results]))


def reliability(results, edges=(0.0, 0.3, 0.5, 0.7, 0.9, 0.99, 1.0001)):
    """Return rows of told probability, share that was right, and count."""
    rows = []
    for low, high in pairwise(edges):
        here = [one for one in results if low <= one.probability < high and one.answers[0] != NORMAL]
        if here:
            told = float(np.mean([one.probability for one in here]))
            right = float(np.mean([one.answers[0] == one.kind for one in here]))
            rows.append((low, min(high, 1.0), told, right, len(here)))
    return rows
