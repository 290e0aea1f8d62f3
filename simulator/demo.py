"""The invented demonstration farm, and what goes wrong on it."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from functools import cache
from importlib.resources import files

from farm.description import Farm
from simulator.faults import Fault, FaultKind

LOST_ROW = "row-3"
LAMPS_LOST_H = 10
LAMPS_BACK_BEFORE_H = 1  # or more: so that what they left is over
STOCK_EMPTY_BEFORE_H = 40
STOCK_CHANGED_AFTER_H = 8  # the keeper changes the bottles this long after the demonstration begins
DRYING_LOST_BEFORE_H = (24, 18)  # it ends so long before now or earlier, the first that a short history has room for
DRYING_LOST_H = 6
DRYING_LOST_SHARE = 0.95
SETTLING_H = 6  # after the start, before the first fault


def demo_farm_text() -> str:
    """Return the demonstration farm's description, as TOML."""
    return files("simulator").joinpath("demo_farm.toml").read_text("utf-8")


@cache
def demo_farm() -> Farm:
    """Return the demonstration farm's description."""
    return Farm.model_validate(tomllib.loads(demo_farm_text()))


def demo_farm_text_from(start: datetime, now: datetime) -> str:
    """Return the description with its batch moved in time: it goes from the shelf to its row midway of a history."""
    text, batches = demo_farm_text().split("[[batches]]", 1)
    planned = demo_farm().batches[0].stays[1].entered
    midway = (start + (now - start) / 2).astimezone(demo_farm().farm.zone_info).date()

    def moved(found: re.Match[str]) -> str:
        return (date.fromisoformat(found[0]) + (midway - planned)).isoformat()

    return f"{text}[[batches]]{re.sub(r'[0-9]{4}-[0-9]{2}-[0-9]{2}', moved, batches)}"


def demo_faults(start: datetime, now: datetime) -> list[Fault]:
    """Return what goes wrong on the demonstration farm between ``start`` and ``now``, in order of onset.

    Both nutrient bottles run empty 40 h before ``now`` and are changed only after it; drying is lost
    for 6 h of the light day before; one row's lamps stay dark for 10 h of the latest light day that has room for
    it. A history of a week or more holds earlier, mended cases too. Keep ``now`` when a run is
    continued later: other faults would be another history.

    Raises
    ------
    ValueError
        If there are less than 48 h between ``start`` and ``now``.
    """
    if now - start < timedelta(hours=48):
        raise ValueError(f"the demonstration needs at least 48 h of history, not {now - start}")
    hours = timedelta(hours=1)
    empty_from = now - STOCK_EMPTY_BEFORE_H * hours
    dry_lost_from = next(
        begin
        for earlier in DRYING_LOST_BEFORE_H
        if (begin := _hours_of_light(now - earlier * hours, DRYING_LOST_H)) >= start + SETTLING_H * hours
    )
    light_lost_from = _hours_of_light(now - LAMPS_BACK_BEFORE_H * hours, LAMPS_LOST_H)
    faults = [
        Fault(FaultKind.NUTRIENT_STOCK_EMPTY, empty_from, now + STOCK_CHANGED_AFTER_H * hours),
        Fault(FaultKind.DRYING_LOST, dry_lost_from, dry_lost_from + DRYING_LOST_H * hours, DRYING_LOST_SHARE),
        Fault(FaultKind.LAMP_GROUP_LOST, light_lost_from, light_lost_from + LAMPS_LOST_H * hours, target=LOST_ROW),
        *_earlier(now),
    ]
    return sorted((fault for fault in faults if fault.start >= start + SETTLING_H * hours), key=lambda one: one.start)


def _earlier(now: datetime) -> Iterator[Fault]:
    """Yield mended cases of the days and weeks before."""
    for days, kind, hours, target in (
        (5, FaultKind.DRYING_LOST, 5, ""),
        (9, FaultKind.NUTRIENT_STOCK_EMPTY, 36, ""),
        (13, FaultKind.LAMP_GROUP_LOST, 6, "row-1"),
        (20, FaultKind.DRYING_LOST, 4, ""),
    ):
        begin = now - timedelta(days=days)
        if kind in (FaultKind.LAMP_GROUP_LOST, FaultKind.DRYING_LOST):
            begin = _hours_of_light(begin, hours)
        yield Fault(kind, begin, begin + timedelta(hours=hours), target=target)


def _hours_of_light(now: datetime, hours: int) -> datetime:
    """Return when the latest ``hours`` of light before ``now`` began, an hour before that light day's end."""
    farm = demo_farm()
    phase = farm.phase_at(LOST_ROW, now)
    if phase is None or phase.lights_on_at is None or phase.photoperiod_h is None:
        raise ValueError(f"the demonstration farm's plan gives {LOST_ROW} no light day")
    local = now.astimezone(farm.farm.zone_info)
    for days_ago in range(3):
        day = local.date() - timedelta(days=days_ago)
        lit_from = datetime.combine(day, phase.lights_on_at, farm.farm.zone_info)
        lit_until = lit_from + timedelta(hours=phase.photoperiod_h)
        begin = min(lit_until - timedelta(hours=1), local) - timedelta(hours=hours)
        if begin >= lit_from:
            return begin.astimezone(now.tzinfo).replace(second=0, microsecond=0)
    raise ValueError(f"no light day of {LOST_ROW} has room for {hours} h")
