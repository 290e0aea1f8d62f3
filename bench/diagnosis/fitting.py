"""Chooses how much each indicator's evidence counts: features repeat one another, and Bayes' rule counts them all."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix, vstack

from analytics.findings.deviation import NOT_KNOWN, NOW, SLOW, USUAL
from analytics.findings.indicator import SPECS
from analytics.findings.weighing import weighed
from bench.diagnosis.counting import table_of, tallied
from bench.diagnosis.levels import farm_of

FOLDS = 5  # farms of one are weighed by a table that was counted on the others
FAST_HOURS = (2, 4, 10, 24)  # after a fast fault's start
SLOW_HOURS = (0, 12, 24)  # after a slow fault has fully set in
HEALTHY_HOURS = 24  # between hours of a healthy month that are looked at
HEALTHY_WEIGHS = 0.4  # of all that is fitted to; our choice
MOST = 1.5  # highest weight; our choice
EARLY_WEIGHS = 0.3  # of a run, what shows of it where a farm has no past to be held against yet; our choice
PULL = 2e-3  # how strongly a feature's mean weight is drawn to that of all; our choice
PULL_OWN = 5e-3  # how strongly its weight for one cause is drawn to its mean weight; our choice
FEATURES = tuple(
    f"{name}@{horizon}"
    for name, spec in SPECS.items()
    for horizon in (NOW, SLOW)
    if horizon == NOW or (spec.slow and spec.reference is None)
)
NUMBER = {feature: number for number, feature in enumerate(FEATURES)}
PULL_PRIOR = 3e-3  # how strongly a cause's prior is drawn to that of all; our choice
LEAST_WEIGHT = 0.03  # below which a feature weighs nothing for a cause; our choice
PRIOR = 0.1


class Examples:
    """Hours of runs whose cause is known: the evidence of each hypothesis, ready for weighing."""

    def __init__(self):
        self.kinds, self.parts = [], []
        self.offset, self.kind, self.of, self.true, self.weight = [], [], [], [], []
        self.count = 0

    def add(self, farm, run, table, hours, weight):
        """Take some hours of a run."""
        weighing = weighed(farm, table, run._replace(level=run.level[:, hours]).found())
        hypotheses = weighing.hypotheses
        self.kinds = table.kinds
        shown = np.zeros((len(hypotheses), len(hours), len(FEATURES)), np.float32)
        kind = np.array([table.kinds.index(one.kind) for one in hypotheses])
        for number, hypothesis in enumerate(hypotheses):
            for feature, one in weighing.evidence(hypothesis).items():
                shown[number, :, NUMBER[feature]] = one
        number, hour, feature = np.nonzero(shown)
        at = (number * len(hours) + hour, kind[number] * len(FEATURES) + feature)
        shape = len(hypotheses) * len(hours), len(table.kinds) * len(FEATURES)
        self.parts.append(csr_matrix((shown[number, hour, feature], at), shape))
        self.kind.append(np.repeat(kind, len(hours)))
        offset = np.log([weighing.prior_of(one) / table.prior for one in hypotheses])
        self.offset.append(np.repeat(offset, len(hours)))
        self.true.append(np.repeat([one.cause == run.kind for one in hypotheses], len(hours)))
        self.of.append(np.tile(np.arange(self.count, self.count + len(hours)), len(hypotheses)))
        self.weight += [weight] * len(hours)
        self.count += len(hours)

    def fitted(self, pull_own=PULL_OWN, pull_prior=PULL_PRIOR, iterations=120):
        """Return the weights, kinds by features, and the priors under which the true causes are likeliest."""
        evidence = vstack(self.parts, "csr")
        evidence.data = evidence.data.astype(np.float64)
        transposed = evidence.T.tocsr()
        of, true, offset, kind = (np.concatenate(one) for one in (self.of, self.true, self.offset, self.kind))
        weight = np.array(self.weight) / np.sum(self.weight)
        healthy = np.bincount(of, true, len(weight)) == 0
        shape = len(self.kinds), len(FEATURES)
        seen = (np.asarray(abs(transposed).sum(axis=1)).ravel() > 0).reshape(shape)
        number = np.maximum(seen.sum(axis=0), 1)

        def loss(parameters):
            own, priors = parameters[: seen.size].reshape(shape), parameters[seen.size :]
            score = evidence @ parameters[: seen.size] + offset + priors[kind]
            value, slope = _told(score, of, true, healthy, weight)
            mean = (own * seen).sum(axis=0) / number
            apart, priors_apart = (own - mean) * seen, priors - priors.mean()
            spread = (mean - mean[seen.any(axis=0)].mean()) * seen.any(axis=0)
            pulled = 2 * pull_own * apart + 2 * PULL * spread / number * seen
            for_priors = np.bincount(kind, slope, len(priors)) + 2 * pull_prior * priors_apart
            value += pull_own * (apart**2).sum() + PULL * (spread**2).sum() + pull_prior * (priors_apart**2).sum()
            return value, np.concatenate([transposed @ slope + pulled.ravel(), for_priors])

        begin = np.concatenate([np.full(seen.size, 0.4), np.full(shape[0], np.log(PRIOR))])
        bounds = [(0.0, MOST)] * seen.size + [(-12.0, 3.0)] * shape[0]
        found = minimize(loss, begin, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": iterations})
        own = found.x[: seen.size].reshape(shape)
        mean = (own * seen).sum(axis=0) / number
        return np.where(seen, own, np.where(seen.any(axis=0), mean, 1.0)), np.exp(found.x[seen.size :])

    def told(self, weights, priors):
        """Return the mean log probability of the true causes under some weights and priors."""
        of, true, kind = np.concatenate(self.of), np.concatenate(self.true), np.concatenate(self.kind)
        score = vstack(self.parts, "csr") @ weights.ravel() + np.concatenate(self.offset) + np.log(priors)[kind]
        weight = np.array(self.weight) / np.sum(self.weight)
        return -_told(score, of, true, np.bincount(of, true, len(weight)) == 0, weight)[0]


def _told(score, of, true, healthy, weight):
    """Return the mean surprise at the true causes, and its slope by score."""
    top = np.maximum(0.0, _most(score, of, len(weight)))
    likely, usual = np.exp(score - top[of]), np.exp(-top)
    total = np.bincount(of, likely, len(weight)) + usual
    right = np.bincount(of, likely * true, len(weight)) + usual * healthy
    right = np.maximum(right, 1e-300)
    value = -(weight * np.log(np.maximum(right / total, 1e-12))).sum()
    return value, weight[of] * likely * (1.0 / total[of] - true / right[of])


def _most(score, of, count):
    most = np.full(count, -np.inf)
    np.maximum.at(most, of, score)
    return most


def fitted(signs, runs):
    """Return the table of some runs with weights: each farm weighed by a table that was counted on the others."""
    with_fault = [one for one in runs if one.kind]
    months = [one for one in runs if not one.kind]
    tallies = tallied(signs, runs)
    seeds = sorted({one.seed for one in runs})
    kinds = {kind: sum(one.kind == kind for one in with_fault) for kind in {one.kind for one in with_fault}}
    examples = Examples()
    for fold in range(FOLDS):
        out = set(seeds[fold::FOLDS])
        others = [one for one in tallies if one[0] not in out]
        table = table_of(signs, others, [one for one in months if one.seed not in out], PRIOR, 1.0)
        for run in [one for one in runs if one.seed in out]:
            hours = looked_at(run)
            share = 1.0 / kinds[run.kind] if run.kind else HEALTHY_WEIGHS * len(kinds) / len(months)
            farm = farm_of(run.seed, run.drawn)
            examples.add(farm, run, table, hours, share / len(hours))
            early = of_first_days(run)
            told = [hour for hour in hours if shows(early, hour)]
            if told:
                examples.add(farm, early, table, told, EARLY_WEIGHS * share / len(told))
    weights, priors = examples.fitted()
    print(f"fitted to {examples.count} hours: {examples.told(weights, priors):.3f} a cause")
    return weighted(table_of(signs, tallies, months, PRIOR, 1.0), weights, priors)


def weighted(table, weights, priors):
    """Return a table with weights and priors; what weighs next to nothing weighs nothing."""
    by_feature = {
        kind: {
            one: round(float(own[NUMBER[one]]), 2) if own[NUMBER[one]] >= LEAST_WEIGHT else 0.0
            for one in table.of[kind]
        }
        for kind, own in zip(table.kinds, weights, strict=True)
    }
    own = dict(zip(table.kinds, priors.tolist(), strict=True))
    return replace(table, weights=by_feature, prior=float(np.exp(np.log(priors).mean())), priors=own)


def of_first_days(run):
    """Return a run as it shows on a farm without a past: only by what is held against what it should be."""
    level = run.level.copy()
    level[[SPECS[name.split("@")[0]].reference is None for name, _ in run.names]] = NOT_KNOWN
    return run._replace(level=level)


def shows(run, hour):
    """Whether anything that is known at an hour differs."""
    return bool(((run.level[:, hour] != USUAL) & (run.level[:, hour] != NOT_KNOWN)).any())


def looked_at(run):
    """Return the hours of a run that weights are fitted to."""
    if not run.kind:
        return np.arange(HEALTHY_HOURS, run.hours, HEALTHY_HOURS)
    base, after = (run.full_h, SLOW_HOURS) if run.slow else (run.fault_h, FAST_HOURS)
    hours = {min(base + one, run.hours - 1) for one in after} | {min(run.read_h, run.hours - 1)}
    return np.array(sorted(hours))
