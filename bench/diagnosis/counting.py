"""Counts how often each level came under each cause, and makes the table that is shipped."""

from __future__ import annotations

from collections import defaultdict

import numpy as np

from analytics.findings.deviation import NOT_KNOWN
from analytics.findings.indicator import SPECS
from analytics.findings.model import LEVEL_NAMES, USUALLY, Table
from analytics.findings.weighing import Hypothesis, places, weighed
from bench.diagnosis.levels import farm_of
from farm.causes import BY_NAME, Place

FAST_HOURS = (2, 3, 4, 6, 9, 12, 16, 20, 24, 30)  # after a fast fault's start
SLOW_HOURS = (-24, 0, 6, 12, 18, 24, 36)  # after a slow fault has fully set in
SIGNS_WEIGH = 4.0  # runs that the signs of physics stand for; our choice
USUAL_WEIGHS = 300.0  # hours that the expected usual scatter stands for; our choice
LEAST_SHARE = 0.004  # of any level under a cause, unless it is rarer still where nothing is wrong
NEVER = 0.01  # a sign's share below this says: not to this side
TOLD_FROM = 0.05  # divergence from the usual, in nats, below which a feature is left out of a cause
# What wrong dates and silence leave in other indicators is chance: a share of an hour of which minutes came.
OF_DATA = ("link_cut", "clock_jump")
LEAST_FARMS = 10  # in which a side effect that physics did not name was seen


def tallied(signs, runs):
    """Return what each run with a fault showed, with its farm: in the runs' order."""
    found, farm, key = [], None, None
    for run in runs:
        if not run.kind:
            continue
        if (run.seed, run.drawn) != key:
            key = run.seed, run.drawn
            farm = farm_of(*key)
        found.append((run.seed, (run.kind, run.part), run_counts(farm, run, signs)))
    return found


def table_of(signs, tallies, months, prior, temper):
    """Return the table of signs, of what runs showed and of healthy months."""
    usual = counted_usual(months)
    counts = defaultdict(lambda: defaultdict(lambda: np.zeros(len(LEVEL_NAMES))))
    farms = defaultdict(lambda: defaultdict(set))
    for seed, kind, shown in tallies:
        for feature, row in shown.items():
            counts[kind][feature] += row
            if row.sum() > 0 and row[4] < 0.5 * row.sum():
                farms[kind][feature].add(seed)
    table = {}
    for kind in signs:
        features = {}
        for feature in {*signs[kind], *counts[kind]}:
            said = signs[kind].get(feature)
            own = counts[kind].get(feature, np.zeros(len(LEVEL_NAMES)))
            normal = np.array(usual.get(feature, USUALLY))
            if said is None and (kind[0] in OF_DATA or len(farms[kind][feature]) < LEAST_FARMS):
                continue
            base = np.array(said) if said is not None else normal
            base = np.where(base < NEVER, np.minimum(base, normal), base)  # the wrong side speaks against, never for
            together = (SIGNS_WEIGH * base + own) / (SIGNS_WEIGH + own.sum())
            together = np.maximum(together, np.minimum(LEAST_SHARE, normal))
            together = together / together.sum()
            if ((together - normal) * np.log(together / normal)).sum() / 2 < TOLD_FROM:
                continue
            features[feature] = tuple(together.tolist())
        table[kind] = features
    return Table(usual, table, prior, temper)


def run_counts(farm, run, signs):
    """Return, by feature, the levels that one run showed where its cause looks; each known run adds up to about 1."""
    if (run.kind, run.part) not in signs:
        raise ValueError(f"signs.toml has no {run.kind} {run.part}")
    weighing = weighed(farm, Table({}, {}, 1e-3, 0.5), run.found())
    cause = BY_NAME[run.kind]
    place = run.target if cause.place is not Place.FARM and run.part != "all" else ""
    if cause.place is Place.SERIES and not place:
        place = places(farm, cause, run.part)[0]
    hypothesis = Hypothesis(run.kind, run.part, place)
    base = run.full_h if run.slow else run.fault_h
    hours = [base + one for one in (SLOW_HOURS if run.slow else FAST_HOURS)]
    hours = [one for one in hours if run.fault_h < one < run.hours]
    found = {}
    for feature in {name for name, _ in run.names}:
        spec = SPECS[feature.split("@")[0]]
        if spec.place is Place.SERIES and cause.place is not Place.SERIES:
            continue
        if feature.split("@")[0] == "series_own" and run.kind != "sensor_offset":
            continue  # any change of what it measures moves a sensor's own value
        seen = weighing.places_seen(feature, hypothesis)
        if not seen:
            continue
        row = np.zeros(len(LEVEL_NAMES))
        for one in seen:
            levels = weighing.found[feature, one].level[hours]
            levels = levels[levels != NOT_KNOWN]
            row += np.bincount(levels, minlength=len(LEVEL_NAMES))[: len(LEVEL_NAMES)]
        if row.sum():
            found[feature] = row / (len(hours) * len(seen))
    return found


def counted_usual(months):
    """Return how often each level comes where nothing is wrong, by feature over all places and hours."""
    counts = defaultdict(lambda: np.zeros(len(LEVEL_NAMES)))
    for month in months:
        for (feature, _), row in zip(month.names, month.level, strict=True):
            known = row[row != NOT_KNOWN]
            counts[feature] += np.bincount(known, minlength=len(LEVEL_NAMES))[: len(LEVEL_NAMES)]
    usual = {}
    for feature, own in counts.items():
        expected = USUAL_WEIGHS * np.array(USUALLY)
        shares = (own + expected) / (own.sum() + USUAL_WEIGHS)
        usual[feature] = tuple(np.maximum(shares, 2e-6).tolist())
    return usual
