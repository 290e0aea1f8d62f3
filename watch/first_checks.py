"""What to check first, for all who tell it: alarms, notices, the first screen, and a finding beside its evidence.

Where a finding's cause is likely enough, its check leads; else where to look first when a quantity is out of its
band, which knows the quantity and the side and nothing else: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from farm.causes import NORMAL
from store.entries import Side

LEADS_FROM = 0.5  # probability from which a cause's check is the first step; our choice, no source
SURE = 0.9  # from which a finding is an alarm of its own, and its cause is looked for; our choice, no source

FIRST_CHECKS: dict[tuple[str, Side], str] = {
    ("air_temperature", Side.HIGH): "the cooling and its set point, then doors and lamps",
    ("air_temperature", Side.LOW): "the heating and its set point, then doors and louvres",
    (
        "relative_humidity",
        Side.HIGH,
    ): "whether water is removed (compressor, coil, its drain), then fans, leaks and doors",
    ("relative_humidity", Side.LOW): "whether outside air comes in, then the cooling's set point",
    (
        "vapour_pressure_deficit",
        Side.LOW,
    ): "whether water is removed (compressor, coil, its drain), then fans and leaks",
    ("vapour_pressure_deficit", Side.HIGH): "whether the air is too warm or too dry, then outside air coming in",
    ("co2_mole_fraction", Side.LOW): "the bottle and its valve, then doors and louvres",
    ("co2_mole_fraction", Side.HIGH): "the CO2 valve, from outside",
    ("ppfd", Side.LOW): "that row's lamps, their plugs and breaker, then the sensor's place",
    ("ppfd", Side.HIGH): "the lamps' dimming and their distance, then the sensor's place",
    ("solution_ec", Side.LOW): "the stock bottles and the doser's lines, then how much water was topped up",
    ("solution_ec", Side.HIGH): "the doser, then whether water is topped up; check the probe with a grab sample",
    ("solution_ph", Side.LOW): "the acid doser, then the probe with a buffer",
    ("solution_ph", Side.HIGH): "the acid bottle and the doser's line, then the probe with a buffer",
    ("solution_temperature", Side.HIGH): "the room and the pump, then the reservoir's level",
    ("solution_temperature", Side.LOW): "the feed water and the room",
    ("dissolved_oxygen", Side.LOW): "the aeration and the pump, then the solution's temperature",
    ("solution_level", Side.LOW): "the drain valve and below the tank, then the feed water",
    ("solution_volume", Side.LOW): "the drain valve and below the tank, then the feed water",
    ("solution_level", Side.HIGH): "the top-up valve, and where unmetered water could come from",
    ("solution_volume", Side.HIGH): "the top-up valve, and where unmetered water could come from",
    ("flow_rate", Side.LOW): "the pump and its breaker, then the filter",
    ("condensation_margin", Side.LOW): "that surface, then why the air is humid",
}


def look_first(quantity: str, side: str) -> str:
    """Return where to look first when a quantity is too low or too high; empty where nothing is known.

    It names no order of its own: what tells it heads it "Check first" or "What to do first".

    Examples
    --------
    >>> look_first("solution_temperature", "low")
    'Look at the feed water and the room.'
    """
    look = FIRST_CHECKS.get((quantity, Side(side)))
    return f"Look at {look}." if look else ""


def leading_check(finding: Mapping[str, Any]) -> str:
    """Return the check that a finding's detail names: of a sure cause its own, else what tells two apart."""
    first: Mapping[str, Any] = (finding.get("causes") or [{}])[0]
    checks = [finding.get("next_check"), first.get("check")]
    if (first.get("probability") or 0.0) >= SURE:
        checks.reverse()  # nothing is left to be told apart: go and see
    return str(checks[0] or checks[1] or "")


def leads(finding: Mapping[str, Any]) -> bool:
    """Whether a finding's likeliest cause, other than that all is as usual, is likely enough to be looked for."""
    causes = [one for one in finding.get("causes") or [] if one.get("cause") != NORMAL]
    return bool(causes) and is_likely(causes[0].get("probability"))


def is_likely(probability: float | None) -> bool:
    """Whether a cause of a probability, as it is told, is likely enough to be looked for."""
    return round(probability or 0.0, 2) >= LEADS_FROM


def likely(causes: Sequence[Mapping[str, Any]]) -> str:
    """Return the likeliest cause as a sentence, with the next one where the first is not sure.

    Examples
    --------
    >>> likely([{"label": "The pump is off", "probability": 0.54}, {"label": "A circuit is off", "probability": 0.41}])
    'Likely (54 %): The pump is off; or (41 %): A circuit is off.'
    """
    first, *others = causes
    also = [one for one in others[:1] if first["probability"] < SURE]
    named = [f"({round(100 * one['probability'])} %): {one['label']}" for one in (first, *also)]
    return f"Likely {'; or '.join(named)}."


def first_check(finding: Mapping[str, Any]) -> str:
    """Return what to check first as a finding's detail stands: the same as an alarm says that the finding leads."""
    series = finding.get("series")
    if series is None or (leads(finding) and leading_check(finding)):
        return leading_check(finding)
    return look_first(str(series).split("/")[1], str(finding["side"]))


def steps(finding: Mapping[str, Any]) -> list[tuple[str, str]]:
    """Return what to check in its order, each with why, as the page, reports and `leafweather explain` head it."""
    first, apart = first_check(finding), str(finding.get("next_check") or "")
    told = [("Check first", first)] if first else []
    if apart and apart != first:
        told.append(("Then, to tell the causes apart" if first else "Check next", apart))
    return told
