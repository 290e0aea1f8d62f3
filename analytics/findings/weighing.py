"""Which causes a farm could have, and how likely each is at every hour, given what differs from its usual."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import Floats
from analytics.findings.deviation import DAY_H, NOT_KNOWN, NOW, NOW_DAYS, Deviation
from analytics.findings.indicator import SPECS
from analytics.findings.model import USUALLY, Kind, Table
from farm.causes import BY_NAME, NORMAL, SOMETHING_ELSE, Cause, Nature, Place
from farm.description import Farm, ZoneKind
from farm.quantities import Kind as QuantityKind

SURPRISE = 0.1  # of deviations that nothing in the table explains: the share that is spread evenly; our choice
SHARED = 0.05  # of that evidence, since one fault moves several indicators; our choice, no source
TOLD_AT = 0.95  # probability from which something unusual is told, a second fault too: see bench/README.md
SECOND_ON = 2  # indicators that a second fault is told on, where so many are known; our choice, no source
OWN_H = 3  # an indicator over no more hours tells of the newest by itself; our choice, no source
ELSE_RARER = 0.03  # how much rarer something that no cause covers is than any one cause; our choice, no source
# Outdoors any weather looks like these: rain wets every sensor.
HIDDEN_BY_WEATHER = ("humidity_sensor_wet", "humidity_sensor_drift", "sensor_offset")


class Hypothesis(NamedTuple):
    """A cause at a place; ``part`` says which kind of place where that matters."""

    cause: str
    part: str
    place: str

    @property
    def kind(self) -> Kind:
        """Its row of the table."""
        return self.cause, self.part


class Answer(NamedTuple):
    """A cause with its probability at an hour, and the likeliest places."""

    cause: str
    probability: float
    places: tuple[Hypothesis, ...]


@dataclass(frozen=True)
class Weighing:
    """Deviations of one farm, weighed by a table: log odds against "as usual" by hypothesis and hour."""

    farm: Farm
    table: Table
    found: Mapping[tuple[str, str], Deviation]

    @cached_property
    def hours(self) -> int:
        """How many hours there are."""
        return len(next(iter(self.found.values())).value) if self.found else 0

    @cached_property
    def hypotheses(self) -> list[Hypothesis]:
        """Every cause at every place that it could have on this farm."""
        return [
            Hypothesis(cause, part, place)
            for cause, part in self.table.kinds
            for place in places(self.farm, BY_NAME[cause], part)
        ]

    @cached_property
    def _places_of(self) -> dict[str, list[str]]:
        by_name: dict[str, list[str]] = {}
        for feature, place in self.found:
            by_name.setdefault(feature, []).append(place)
        return by_name

    def places_seen(self, feature: str, hypothesis: Hypothesis) -> list[str]:
        """Return at which places a feature speaks for or against a hypothesis."""
        known = self._places_of.get(feature, [])
        own = SPECS[feature.split("@")[0]].place
        if own is Place.FARM or not hypothesis.place:
            return known
        kind = BY_NAME[hypothesis.cause].place
        if own is kind:
            return [hypothesis.place] if hypothesis.place in known else []
        if own is Place.ROW and kind is Place.LAMP_GROUP:
            below = [
                zone for one in self.farm.equipment.lamp_groups if one.name == hypothesis.place for zone in one.zones
            ]
            return [zone for zone in below if zone in known]
        if kind is not Place.SERIES:
            return []
        zone = hypothesis.place.split("/")[0]  # a sensor stands in a row, and under a lamp group
        around = [zone] if own is Place.ROW else [one.name for one in self.farm.lamps_over(zone)]
        return [one for one in around if one in known]

    @cached_property
    def _places_a_cause(self) -> dict[str, int]:
        counted: dict[str, int] = {}
        for one in self.hypotheses:
            counted[one.cause] = counted.get(one.cause, 0) + 1
        return counted

    def prior_of(self, hypothesis: Hypothesis) -> float:
        """Return how likely a hypothesis is before anything is seen, against "as usual".

        All places that a cause could have share its prior: many do not make it likelier.
        """
        return self.table.prior_of(hypothesis.kind) / self._places_a_cause[hypothesis.cause]

    @cached_property
    def log_odds(self) -> Floats:
        """Log odds of each hypothesis (rows, in order) and of something else (last row) at each hour."""
        scores = np.zeros((len(self.hypotheses) + 1, self.hours))
        for score, hypothesis in zip(scores, self.hypotheses, strict=False):
            for one in self.evidence(hypothesis).values():
                score += one
            score += math.log(self.prior_of(hypothesis))
        scores[-1] = self._unexplained() + math.log(self.table.prior * ELSE_RARER)
        return scores

    def evidence(self, hypothesis: Hypothesis) -> dict[str, Floats]:
        """Return what each feature speaks for a hypothesis at each hour, in log odds."""
        told: dict[str, Floats] = {}
        for feature, ratio in self.table.telling(hypothesis.kind).items():
            seen = self.places_seen(feature, hypothesis)
            if seen:
                one = sum((ratio[self.found[feature, place].level] for place in seen), start=np.zeros(self.hours))
                told[feature] = one / math.sqrt(len(seen))
        return told

    def evidence_of_hours(self, hypothesis: Hypothesis) -> Floats:
        """Return what each hour's own readings speak for a hypothesis, in log odds.

        Without weeks, windows of many hours and what stands as it was seen last: those look back.
        """
        total = np.zeros(self.hours)
        for feature, ratio in self.table.telling(hypothesis.kind).items():
            indicator, horizon = feature.split("@")
            seen = self.places_seen(feature, hypothesis)
            spec = SPECS[indicator]
            if horizon != NOW or spec.hours > OWN_H or spec.of_a_day or not seen:
                continue
            several = [self.found[feature, place] for place in seen]
            told = [np.where(False if one.last is None else one.last, 0.0, ratio[one.level]) for one in several]
            total += sum(told, start=np.zeros(self.hours)) / math.sqrt(len(seen))
        return total

    def _unexplained(self) -> Floats:
        """Return the log ratio of "something that no cause covers": any indicator may stand anywhere."""
        total = np.zeros(self.hours)
        for feature, seen in self._places_of.items():
            if SPECS[feature.split("@")[0]].place is Place.SERIES:
                continue  # what one sensor does alone is covered by the causes at a sensor
            usual = self.table.usual.get(feature, USUALLY)
            ratio = np.array(
                [max(0.0, math.log((1 - SURPRISE) + SURPRISE / len(usual) / one)) for one in usual] + [0.0]
            )
            told = sum(ratio[self.found[feature, place].level] for place in seen)
            total += told / math.sqrt(len(seen))
        return SHARED * total

    def probabilities(self, over_hours: int = 1) -> Floats:
        """Return the probability of each hypothesis, of something else and, last, of "as usual", at each hour.

        ``over_hours`` takes the mean of the log odds over that many newest hours.
        """
        odds = self.log_odds
        if over_hours > 1 and self.hours:
            total = np.concatenate([np.zeros((len(odds), 1)), np.cumsum(odds, axis=1)], axis=1)
            at = np.arange(1, self.hours + 1)
            first = np.maximum(at - over_hours, 0)
            odds = (total[:, at] - total[:, first]) / (at - first)
        with_usual = np.vstack([odds, np.zeros(self.hours)])
        with_usual = np.exp(with_usual - with_usual.max(axis=0))
        summed: Floats = with_usual / with_usual.sum(axis=0)
        return summed

    def answers(self, probability: Floats) -> list[Answer]:
        """Return the causes of one hour in order of probability, "as usual" and "something else" among them."""
        by_cause: dict[str, list[tuple[float, Hypothesis]]] = {}
        for hypothesis, one in zip(self.hypotheses, probability, strict=False):
            by_cause.setdefault(hypothesis.cause, []).append((float(one), hypothesis))
        found = [
            Answer(cause, sum(one for one, _ in several), _likeliest(several)) for cause, several in by_cause.items()
        ]
        found.append(Answer(SOMETHING_ELSE, float(probability[-2]), ()))
        found.append(Answer(NORMAL, float(probability[-1]), ()))
        return sorted(found, key=lambda one: -one.probability)

    def told(self, hypothesis: Hypothesis, hour: int) -> list[tuple[float, Deviation]]:
        """Return what speaks for (above 0) and against a hypothesis at an hour, the strongest first."""
        weights = []
        for feature, ratio in self.table.log_ratios(hypothesis.kind).items():
            for place in self.places_seen(feature, hypothesis):
                one = self.found[feature, place]
                if one.level[hour] != NOT_KNOWN:
                    weights.append((float(ratio[one.level[hour]]), one))
        return sorted(weights, key=lambda pair: -abs(pair[0]))

    def told_of(self, first: Hypothesis, hypothesis: Hypothesis) -> frozenset[tuple[str, str]]:
        """Return the indicators and places that ``first`` says something of, as far as they bear on another cause.

        What the whole farm does to a row is told of all rows alike: one row may have a fault of its own beside it.
        """
        told = self._speaks_of(first)
        if hypothesis.place and not first.place:
            return frozenset(one for one in told if SPECS[one[0]].place is Place.FARM)
        return told

    def _speaks_of(self, hypothesis: Hypothesis) -> frozenset[tuple[str, str]]:
        if hypothesis not in self._spoken_of:
            self._spoken_of[hypothesis] = frozenset(
                (feature.split("@")[0], place)
                for feature in self.table.of[hypothesis.kind]
                for place in self.places_seen(feature, hypothesis)
            )
        return self._spoken_of[hypothesis]

    @cached_property
    def _spoken_of(self) -> dict[Hypothesis, frozenset[tuple[str, str]]]:
        return {}

    def beside(self, first: Hypothesis, hour: int) -> list[tuple[float, Hypothesis]]:
        """Return what else is sure at an hour on evidence that ``first`` says nothing of: a second fault.

        With its log odds against there being none, the likeliest first; only those at least as sure as what is told
        as unusual, and on two indicators at least where two are known.
        """
        least = math.log(TOLD_AT / (1.0 - TOLD_AT))
        found = []
        for hypothesis in self.hypotheses:
            if hypothesis.cause == first.cause:
                continue
            taken = self.told_of(first, hypothesis)
            spoken: dict[str, float] = {}  # by indicator; of one that the first says something of nothing counts
            for feature, ratio in self.table.telling(hypothesis.kind).items():
                indicator = feature.split("@")[0]
                at = self.places_seen(feature, hypothesis)
                if all(self.found[feature, place].level[hour] == NOT_KNOWN for place in at):
                    continue
                own = [place for place in at if (indicator, place) not in taken]
                one = sum(float(ratio[self.found[feature, place].level[hour]]) for place in own)
                spoken[indicator] = spoken.get(indicator, 0.0) + one / math.sqrt(max(len(own), 1))
            total = math.log(self.prior_of(hypothesis)) + sum(spoken.values())
            if total >= least and sum(one > 0.0 for one in spoken.values()) >= min(SECOND_ON, len(spoken)):
                found.append((total, hypothesis))
        return sorted(found, reverse=True)

    def echoes(self, hypothesis: Hypothesis, hour: int) -> bool:
        """Whether a slow cause is but what a fast one left, that was clearer within a day on the same indicators.

        What looks back on a day still shows a fault that is over.
        """
        if not BY_NAME[hypothesis.cause].slow:
            return False
        own = self._speaks_of(hypothesis)
        fast = [
            at
            for at, one in enumerate(self.hypotheses)
            if not BY_NAME[one.cause].slow and BY_NAME[one.cause].nature is not Nature.NORMAL
            if own & self._speaks_of(one)
        ]
        day = self.log_odds[fast, max(hour - DAY_H + 1, 0) : hour + 1]
        return bool(day.max(initial=-math.inf) > self.log_odds[self.hypotheses.index(hypothesis), hour])

    def days_known(self, hour: int) -> int:
        """Return on how many of the days that an hour is held against anything is known at the same hour."""
        learnt = [one for one in self.found.values() if SPECS[one.indicator].reference is None]
        before = [hour - day * DAY_H for day in NOW_DAYS if hour >= day * DAY_H]
        return sum(any(not math.isnan(one.value[at]) for one in learnt) for at in before)

    @cached_property
    def known_counts(self) -> NDArray[np.int64]:
        """How many features are known at each hour, at any place."""
        total = np.zeros(self.hours, np.int64)
        for feature, seen in self._places_of.items():
            total += np.any([self.found[feature, place].level != NOT_KNOWN for place in seen], axis=0)
        return total

    def known(self, hour: int) -> set[str]:
        """Return the features that are known at an hour, at any place."""
        return {feature for (feature, _), one in self.found.items() if one.level[hour] != NOT_KNOWN}


def weighed(farm: Farm, table: Table, found: Iterable[Deviation]) -> Weighing:
    """Return deviations weighed by a table."""
    return Weighing(farm, table, {(one.name, one.place): one for one in found})


def places(farm: Farm, cause: Cause, part: str) -> Sequence[str]:
    """Return the places that a cause could have on a farm; one empty name for the farm as a whole."""
    if cause.place is Place.FARM or part == "all":
        return [""]
    if cause.place is Place.ROW:
        return [name for name, zone in farm.zones.items() if zone.kind is ZoneKind.GROWING_ROW]
    if cause.place is Place.LAMP_GROUP:
        return [one.name for one in farm.equipment.lamp_groups]
    if cause.place is Place.STOCK:
        role = part if part in ("acid", "base") else "nutrient"
        return [one.name for one in farm.equipment.stocks if one.role == role]
    tank = farm.equipment.reservoir
    return [
        one.key
        for one in farm.series
        if not (cause.name in HIDDEN_BY_WEATHER and farm.zones[one.zone].kind is ZoneKind.OUTDOORS)
        and (one.quantity in cause.quantities if cause.quantities else one.registered.kind is QuantityKind.LEVEL)
        and not (
            cause.quantities and one.quantity.startswith("solution_") and tank is not None and one.zone != tank.zone
        )
    ]


def _likeliest(several: list[tuple[float, Hypothesis]]) -> tuple[Hypothesis, ...]:
    """Return the hypotheses of one cause that hold nine tenths of its probability, the likeliest first."""
    ordered = sorted(several, key=lambda pair: -pair[0])
    total = sum(one for one, _ in ordered)
    kept, so_far = [], 0.0
    for one, hypothesis in ordered:
        kept.append(hypothesis)
        so_far += one
        if so_far >= 0.9 * total:
            break
    return tuple(kept)
