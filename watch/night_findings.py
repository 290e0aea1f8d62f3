"""Findings about the night to come: how likely water condenses on each surface, told from noon on."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

from farm.description import Farm
from farm.readings import instant, microseconds
from store.contract import ReadingStore
from store.entries import FindingEntry
from watch.nights import Past, expected_margin, wet_probability
from watch.surfaces import surface_air
from watch.surfaces_of_day import NIGHT_BEGINS, NIGHT_ENDS

NIGHT = "night/"  # the subject's beginning; the surface's name follows
TOLD_FROM = 0.05  # probability from which a night is told; our choice, no source
TOLD_AFTER = time(12)  # local
CHECK = "Wipe the surface dry in the evening, see that the drying runs, and look at it in the morning."


def night_findings(farm: Farm, store: ReadingStore, now_us: int) -> list[FindingEntry]:
    """Return a finding for each surface that may get wet in the coming night, seen from an instant after noon."""
    local = instant(now_us).astimezone(farm.farm.zone_info)
    evening = local.date() if local.time() >= TOLD_AFTER else local.date() - timedelta(days=1)
    begins_us = _moment(farm, evening, NIGHT_BEGINS)
    ends_us = _moment(farm, evening + timedelta(days=1), NIGHT_ENDS)
    if now_us >= ends_us:
        return []
    past, found = Past(farm, store, now_us), []
    for surface in farm.surfaces:
        air = surface_air(farm, surface)
        expected = expected_margin(past, air, max(begins_us, now_us), ends_us) if air is not None else None
        if expected is None:
            continue
        margin = expected.margin
        wet = wet_probability(margin.value, margin.give_or_take)
        if not wet >= TOLD_FROM:
            continue
        sentence = (
            f"{surface.label} may come to {_signed(margin.value)} K above the dew point, give or take "
            f"{margin.give_or_take:.1f} K, with {_signed(expected.coldest.value)} °C outdoors at the coldest, "
            f"seen from {margin.nights} nights."
        )
        found.append(
            FindingEntry(
                farm.name, f"{NIGHT}{surface.name}", begins_us, ends_us, now_us,
                {
                    "headline": f"Water may condense on {surface.label} in the coming night: {100 * wet:.0f} %.",
                    "surface": surface.name,
                    "causes": [_cause("condensation_ahead", "The surface falls below the dew point", wet, sentence),
                               _cause("as_usual", "It stays dry", 1.0 - wet, sentence)],
                    "also": [], "cannot_tell_apart": [], "next_check": CHECK, "next_check_shows": {}, "urgent": False,
                    "cautions": [],
                },
            )
        )  # fmt: skip
    return found


def _cause(cause: str, label: str, probability: float, sentence: str) -> dict[str, object]:
    evidence = {"sentence": sentence, "indicator": "condensation_margin", "place": "", "value": None, "usual": None,
                "give_or_take": None, "unit": "K", "weight": 0.0}  # fmt: skip
    return {
        "cause": cause, "part": None, "label": label, "nature": "outside" if cause != "as_usual" else "normal",
        "probability": round(probability, 4), "places": [], "place_labels": [],
        "for": [evidence] if cause != "as_usual" else [], "against": [], "check": None,
    }  # fmt: skip


def _signed(value: float) -> str:
    return f"{value:z.1f}".replace("-", "−")


def _moment(farm: Farm, day: date, at: time) -> int:
    moment = datetime.combine(day, at, farm.farm.zone_info)
    return microseconds(moment.astimezone(UTC))
