"""A finding as it is kept and shown: plain words and numbers, in the shape of the API."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Any

from analytics.findings.deviation import LEAST_DAYS
from analytics.findings.explaining import Candidate, Evidence, Explanation
from farm.causes import ACID_CAUTION, BY_NAME, CO2_CAUTION, MAINS_CAUTION, NORMAL, SOMETHING_ELSE, Nature, Place
from farm.description import Farm
from farm.readings import Series
from store.entries import ExcursionEntry, FindingEntry
from watch import cautions

IfUsual = Callable[[ExcursionEntry], str]

CAUTIONED_FROM = 0.1  # probability from which a cause's caution stands beside a finding; our choice, no source
MOST_TOLD = 0.99  # of a probability: a model's is no certainty; our choice, no source
_CAUTIONS = {
    CO2_CAUTION: cautions.CO2,
    ACID_CAUTION: cautions.ACID_AND_BASE,
    MAINS_CAUTION: cautions.MAINS,
}
CANNOT_TELL = "cannot_tell"
LEADS_SINCE = "leads_since"  # of something unusual: since when its first cause, or one like it, is the likeliest
LAST_SEEN = "last_seen"  # of something unusual that is over: when the last hour ended whose own readings show its cause
EMPTY = {"nutrient": "nutrient_stock_empty", "acid": "acid_empty", "base": "base_empty"}  # a bottle's cause, by role
UNUSUAL = "unusual"  # the subject of a finding that no excursion led to


def detail(farm: Farm, found: Explanation, headline: str = "") -> dict[str, Any]:
    """Return an explanation as JSON holds it."""
    causes = [_cause(farm, one) for one in found.candidates]
    return {
        "headline": headline or _headline(farm, found),
        "causes": causes,
        "also": [_cause(farm, one) for one in found.also],
        "cannot_tell_apart": list(found.not_apart),
        "next_check": found.check or None,
        "next_check_shows": found.check_shows,
        "urgent": any(
            one.cause == "co2_valve_stuck_open" and one.probability >= CAUTIONED_FROM for one in found.candidates
        ),
        "cautions": _cautions(found),
    }


def of_excursion(farm: Farm, one: ExcursionEntry, at_us: int, found: Explanation, if_usual: IfUsual) -> FindingEntry:
    """Return the finding of an excursion, as of an instant; ``if_usual`` gives its headline where nothing differs."""
    headline = if_usual(one) if found.first.cause == NORMAL else ""
    asked = {"series": one.series.key, "side": str(one.side)}
    return FindingEntry(farm.name, one.identity, one.onset_us, one.end_us, at_us, detail(farm, found, headline) | asked)


def _headline(farm: Farm, found: Explanation) -> str:
    first = found.first
    if found.too_few_days is not None:
        return (
            f"Too few days are known yet to tell what is usual on this farm: {found.too_few_days} before it, "
            f"and {LEAST_DAYS} are needed."
        )
    if first.cause == NORMAL:
        return "Nothing differs from this farm's usual beyond its scatter."
    if first.cause == SOMETHING_ELSE:
        return "Something is unusual, and it fits none of the causes that are known here."
    percent = f"{100 * min(first.probability, MOST_TOLD):.0f} %"
    if found.not_apart:
        labels = " or: ".join(BY_NAME[one].label for one in found.not_apart)
        return f"Cannot tell with these sensors: {labels}."
    return f"{_with_places(farm, first)} ({percent})."


def _with_places(farm: Farm, one: Candidate) -> str:
    places = [place_label(farm, one.cause, place) for place in one.places]
    if not places:
        return one.label
    shown = "; ".join(places[:3]) + (f" and {len(places) - 3} more" if len(places) > 3 else "")
    return f"{one.label}: {shown}"


def cause_label(cause: Mapping[str, Any]) -> str:
    """Return a cause of a finding's detail with its places, as people call them."""
    places = cause.get("place_labels") or []
    return f"{cause['label']}: {'; '.join(places)}" if places else str(cause["label"])


def place_label(farm: Farm, cause: str, place: str) -> str:
    """Return a place of a cause as people call it."""
    kind = BY_NAME[cause].place
    if kind is Place.SERIES:
        series = Series.parse(farm.name, place)
        return f"{farm.zone_label(series.zone)}, {farm.label_of(series)}"
    if kind is Place.STOCK:
        return next((one.label for one in farm.equipment.stocks if one.name == place), place)
    return farm.zone_label(place)


def _cause(farm: Farm, one: Candidate) -> dict[str, Any]:
    known = BY_NAME.get(one.cause)
    return {
        "cause": one.cause,
        "part": one.part or None,
        "label": one.label,
        "nature": str(known.nature if known is not None else Nature.NORMAL if one.cause == NORMAL else "unknown"),
        "probability": None if math.isnan(one.probability) else round(min(one.probability, MOST_TOLD), 4),
        "places": list(one.places),
        "place_labels": [place_label(farm, one.cause, place) for place in one.places],
        "for": [_evidence(piece) for piece in one.speaks_for],
        "against": [_evidence(piece) for piece in one.against],
        "check": known.check if known is not None else None,
    }


def _evidence(piece: Evidence) -> dict[str, Any]:
    return {
        "sentence": piece.sentence,
        "indicator": piece.indicator,
        "place": piece.place,
        "value": _finite(piece.value),
        "usual": _finite(piece.usual),
        "give_or_take": _finite(piece.give_or_take),
        "unit": piece.unit,
        "weight": round(piece.weight, 3),
    }


def _finite(value: float) -> float | None:
    return float(f"{value:.6g}") if math.isfinite(value) else None


def _cautions(found: Explanation) -> list[str]:
    """Return the cautions of what is likely, each once."""
    likely = [one for one in found.candidates if one.probability >= CAUTIONED_FROM]
    kinds = [_caution(one) for one in (*likely, *found.also) if one.cause in BY_NAME]
    return [_CAUTIONS[kind] for kind in dict.fromkeys(kinds) if kind in _CAUTIONS]


def _caution(one: Candidate) -> str:
    """Return the kind of caution of a cause; of CO2 too where its sensor may not tell the truth."""
    at_gas = any("/co2_" in place for place in one.places)
    return CO2_CAUTION if at_gas else BY_NAME[one.cause].caution
