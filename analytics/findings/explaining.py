"""From probabilities to an answer a technician can follow: ranked causes, numbers for and against, the next check."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.alignment import Floats
from analytics.findings.checks import CIRCUITS, moved_by, next_check
from analytics.findings.deviation import LEAST_DAYS, NOT_KNOWN, NOW, SLOW, USUAL, Deviation
from analytics.findings.indicator import SPECS
from analytics.findings.model import named_by_physics
from analytics.findings.weighing import OWN_H, Answer, Hypothesis, Weighing, places
from farm.causes import ANY, BY_NAME, NORMAL, SOMETHING_ELSE, Place
from farm.description import Farm
from farm.readings import Series

MOST_CAUSES = 5
LEAST_PROBABILITY = 0.01
MOST_EVIDENCE = 5  # for a cause
MOST_AGAINST = 3
HIDE_OTHERS = ("mains_lost", "link_cut")  # nothing runs, or nothing is heard of: no second fault shows beside these
LEAST_WEIGHT = 0.1  # log odds of evidence that is told
NOT_APART_NATS = 1.0  # expected log odds between two causes below which sensors do not tell them apart; our choice
NEAR = 5.0  # a rival is told as not to be told apart only if it is at most so many times rarer; our choice


class Evidence(NamedTuple):
    """One number that speaks for (``weight`` above 0) or against a cause, in log odds, and its sentence."""

    sentence: str
    indicator: str
    place: str
    value: float
    usual: float
    give_or_take: float
    unit: str
    weight: float


@dataclass(frozen=True)
class Candidate:
    """A cause with its probability and what speaks for and against it."""

    cause: str
    label: str
    probability: float
    places: tuple[str, ...]
    part: str
    speaks_for: tuple[Evidence, ...] = ()
    against: tuple[Evidence, ...] = ()


@dataclass(frozen=True)
class Explanation:
    """Ranked causes at an hour, what cannot be told apart, what else may be wrong, and the next check.

    ``too_few_days`` says how many earlier days are known where nothing differs because too few are, else it is None.
    """

    candidates: tuple[Candidate, ...]
    not_apart: tuple[str, ...]
    also: tuple[Candidate, ...]
    check: str
    check_shows: dict[str, str]
    too_few_days: int | None = None

    @property
    def first(self) -> Candidate:
        """The likeliest."""
        return self.candidates[0]


def explained(
    weighing: Weighing,
    hour: int,
    probability: Floats,
    asked: Series | None = None,
    side: str = "",
    days_known: int | None = None,
) -> Explanation:
    """Return the explanation of an hour; of one series and side where an excursion is asked about.

    ``days_known`` says how many earlier days are known, where the weighing holds a day alone.
    """
    answers = weighing.answers(probability)
    if asked is not None:
        answers = _about(answers, weighing.farm, asked, side)
    shown = [one for one in answers[:MOST_CAUSES] if one.probability >= LEAST_PROBABILITY] or answers[:1]
    too_few = None
    if shown[0].cause == NORMAL:
        days_known = weighing.days_known(hour) if days_known is None else days_known
        too_few = days_known if days_known < LEAST_DAYS else None
    candidates = tuple(_candidate(weighing, one, hour, too_few) for one in shown)
    named = [one for one in shown if one.places]
    not_apart = _not_apart(weighing, named, hour)
    also: tuple[Candidate, ...] = ()
    if named and named[0] is shown[0]:
        also = tuple(
            _candidate(weighing, Answer(one.cause, float("nan"), (one,)), hour, beside=named[0].places[0])
            for one in second_faults(weighing, named[0].places[0], hour)
        )
    if not named:
        return Explanation(candidates, not_apart, also, "", {}, too_few)
    quantities = frozenset((asked.quantity,)) if asked is not None else _moved(weighing.farm, named[:2])
    what, shows = next_check([one.cause for one in named], quantities)
    return Explanation(candidates, not_apart, also, what, shows, too_few)


def _moved(farm: Farm, likeliest: list[Answer]) -> frozenset[str] | None:
    """Return the quantities that the likeliest causes can move, both if they share any, else the first."""
    moved = []
    for answer in likeliest:
        one = answer.places[0]
        at_series = BY_NAME[one.cause].place is Place.SERIES
        moved.append(moved_by(one.cause, one.part, Series.parse(farm.name, one.place).quantity if at_series else ""))
    if len(moved) < 2 or moved[0] is None or moved[1] is None:
        return moved[0] if moved[0] is not None else moved[-1]
    return moved[0] & moved[1] or moved[0]


def _about(answers: list[Answer], farm: Farm, asked: Series, side: str) -> list[Answer]:
    """Return the causes that can lie behind one excursion, their probabilities adding up to 1 again."""
    kept = []
    for one in answers:
        if one.cause not in (NORMAL, SOMETHING_ELSE):
            places = tuple(place for place in one.places if can_lie_behind(farm, place, asked, side))
            if not places:
                continue
            one = one._replace(places=places)
        kept.append(one)
    total = sum(one.probability for one in kept)
    return [one._replace(probability=one.probability / total) for one in kept] if total > 0 else kept


def can_lie_behind(farm: Farm, hypothesis: Hypothesis, asked: Series, side: str) -> bool:
    """Whether a cause at a place can move a series to a side."""
    cause = BY_NAME[hypothesis.cause]
    if cause.symptoms != ANY and f"{asked.quantity} {side}" not in cause.symptoms:
        return False
    if hypothesis.cause == "circuit_lost" and (hypothesis.part == "doser") != (asked.quantity in CIRCUITS["doser"]):
        return False  # nothing but the doser's moves the solution's salt and pH within hours, and it moves nothing else
    if cause.place is Place.SERIES:
        return _bears_on(farm, hypothesis.place, asked)
    return not (cause.place is Place.ROW and asked.zone in farm.zones) or hypothesis.place == asked.zone


def _bears_on(farm: Farm, key: str, asked: Series) -> bool:
    """Whether a sensor's fault can show in a series: its own, or one worked out from it."""
    series = Series.parse(farm.name, key)
    if series == asked:
        return True
    return asked.registered.derived and series.zone == asked.zone


def _candidate(
    weighing: Weighing, answer: Answer, hour: int, too_few_days: int | None = None, beside: Hypothesis | None = None
) -> Candidate:
    """Return an answer with its evidence; of a second fault only what the first, ``beside``, says nothing of."""
    if not answer.places:
        label = {
            NORMAL: "As usual on this farm at this hour: no indicator differs beyond its usual scatter"
            if too_few_days is None
            else "As usual, as far as the few days known can tell",
            SOMETHING_ELSE: "Something else: what is seen fits none of the known causes",
        }[answer.cause]
        return Candidate(answer.cause, label, answer.probability, (), "", tuple(_unusual(weighing, answer.cause, hour)))
    first = answer.places[0]
    told = weighing.told(first, hour)
    if beside is not None:
        of_first = weighing.told_of(beside, first)
        told = [(weight, one) for weight, one in told if (one.indicator, one.place) not in of_first]
    told = _once(_followed(first, told))
    return Candidate(
        answer.cause,
        _label(weighing.farm, first),
        answer.probability,
        tuple(dict.fromkeys(one.place for one in answer.places if one.place)),
        first.part,
        tuple(_evidence(weighing.farm, one, hour, weight) for weight, one in told if weight > LEAST_WEIGHT)[
            :MOST_EVIDENCE
        ],
        tuple(_evidence(weighing.farm, one, hour, weight) for weight, one in told if weight < -LEAST_WEIGHT)[
            :MOST_AGAINST
        ],
    )


def _label(farm: Farm, hypothesis: Hypothesis) -> str:
    cause = BY_NAME[hypothesis.cause]
    several = hypothesis.part == "all" and len(places(farm, cause, "one")) > 1
    return (several and cause.label_of_all) or cause.label


def _followed(hypothesis: Hypothesis, told: list[tuple[float, Deviation]]) -> list[tuple[float, Deviation]]:
    """Return the evidence that physics names for a cause: what else was counted weighs too, and convinces nobody."""
    named = named_by_physics().get(hypothesis.kind, frozenset())
    kept = [(weight, one) for weight, one in told if one.name in named]
    return kept if any(weight > LEAST_WEIGHT for weight, _ in kept) else told


def _once(told: list[tuple[float, Deviation]]) -> list[tuple[float, Deviation]]:
    """Return of each indicator and place the strongest evidence for, and against: weeks often repeat what hours say."""
    kept: dict[tuple[str, str, bool], tuple[float, Deviation]] = {}
    for weight, one in told:  # the strongest first
        kept.setdefault((one.indicator, one.place, weight > 0.0), (weight, one))
    return list(kept.values())


def _unusual(weighing: Weighing, cause: str, hour: int) -> list[Evidence]:
    """Return what differs most, for an answer that names no cause."""
    if cause == NORMAL:
        return []
    scored = [
        (abs(float(one.score()[hour])), one)
        for one in weighing.found.values()
        if one.level[hour] not in (USUAL, NOT_KNOWN)
    ]
    scored.sort(key=lambda pair: -pair[0])
    return [_evidence(weighing.farm, one, hour, 0.0) for _, one in scored[:MOST_EVIDENCE]]


def second_faults(weighing: Weighing, first: Hypothesis, hour: int) -> list[Hypothesis]:
    """Return what is sure at an hour on evidence that the first cause says nothing of: two more faults at most."""
    if first.cause in HIDE_OTHERS:
        return []
    beside = [
        one
        for _, one in weighing.beside(first, hour)
        if not _explained_by(first, one) and not weighing.echoes(one, hour)
    ]
    if not beside:
        return []
    second = beside[0]
    further = {one for _, one in weighing.beside(second, hour)}  # a third is none where the second's evidence makes it
    return [second, *[one for one in beside if one.cause != second.cause and one in further][:1]]


def _explained_by(first: Hypothesis, other: Hypothesis) -> bool:
    """Whether a sensor's cause only repeats what the first cause says of the same zone."""
    return BY_NAME[other.cause].place is Place.SERIES and BY_NAME[first.cause].place is not Place.SERIES


def _not_apart(weighing: Weighing, named: list[Answer], hour: int) -> tuple[str, ...]:
    """Return the causes, the likeliest first, that this farm's sensors would hardly tell apart from it."""
    if not named:
        return ()
    first = named[0].places[0]
    known = weighing.known(hour)
    alike = [
        one.cause
        for one in named[1:]
        if one.probability * NEAR >= named[0].probability
        and weighing.table.apart(first.kind, one.places[0].kind, known) < NOT_APART_NATS
    ]
    return (named[0].cause, *alike) if alike else ()


def _evidence(farm: Farm, one: Deviation, hour: int, weight: float) -> Evidence:
    spec = SPECS[one.indicator]
    value, usual, spread = float(one.value[hour]), float(one.usual[hour]), 2.0 * float(one.give_or_take[hour])
    label, unit, decimals = spec.label, spec.unit, spec.decimals
    if spec.place is Place.SERIES:
        series = Series.parse(farm.name, one.place)
        where = f"{farm.zone_label(series.zone)}, {farm.label_of(series)}"
        if not unit:
            unit, decimals = series.registered.display_unit, max(series.registered.decimals, 1)
        label = f"{where}: {label[0].lower()}{label[1:]}"
    elif one.place:
        label = f"{_place_label(farm, one.place)}: {label[0].lower()}{label[1:]}"
    text = (
        f"{label} {_number(value, unit, decimals)}, usually {_number(usual, unit, decimals)} "
        f"give or take {_number(spread, unit, decimals)}"
    )
    if spec.reference is not None:
        text = f"{label} {_number(value, unit, decimals)}, should be {_number(usual, unit, decimals)}"
    if one.name.endswith(NOW) and spec.hours > OWN_H:
        text += f", over the last {spec.hours} h"
    if one.last is not None and one.last[hour]:
        seen = np.flatnonzero(~one.last[: hour + 1])
        before = f", {hour - seen[-1]} h before" if len(seen) else ""
        text += f", as {'a day showed it' if spec.of_a_day else 'it was seen'} last{before}"
    if one.name.endswith(SLOW):
        text += ", over the last day against the weeks before"
    return Evidence(f"{text}.", one.name, one.place, value, usual, spread, unit, weight)


def _place_label(farm: Farm, place: str) -> str:
    for stock in farm.equipment.stocks:
        if stock.name == place:
            return stock.label
    return farm.zone_label(place)


def _number(value: float, unit: str, decimals: int) -> str:
    if unit == "1":
        return f"{100.0 * value:z.{max(decimals - 2, 0)}f} %".replace("-", "−")
    return f"{value:z,.{decimals}f} {unit}".rstrip().replace("-", "−")
