"""Doses that were given to reservoirs, as the day sheets tell them."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, datetime, timedelta
from typing import Any

from fastapi import APIRouter

from api import examples, schemas
from api.house import House, TheHouse
from api.problems import bad_parameter
from api.spans import DAY_US, AskedSpan, Span
from farm.readings import instant, iso_time, microseconds

LONGEST_DAYS = 400  # of doses in one answer; our choice, no source: a year and a little

router = APIRouter(tags=["journal"])


@router.get("/doses", responses=examples.of("doses"))
def doses(house: TheHouse, span: AskedSpan) -> schemas.DosesAnswer:
    """Tell the doses given in a range, oldest first; those of days that have no sheet yet are not told."""
    if span.end_us - span.start_us > LONGEST_DAYS * DAY_US:
        raise bad_parameter("start", iso_time(span.start_us), f"Doses are told for at most {LONGEST_DAYS}d at once.")
    stocks = {one.name: one.label for one in house.farm.equipment.stocks}
    rows = [_given(stocks, reservoir, one) for reservoir, one in _told(house, span)]
    inside = [one for one in rows if one.start < instant(span.end_us) and one.end > instant(span.start_us)]
    return schemas.DosesAnswer(doses=sorted(inside, key=lambda one: one.start))


def _told(house: House, span: Span) -> Iterator[tuple[dict[str, Any], dict[str, Any]]]:
    """Yield each reservoir and dose of the sheets of all days that a range touches."""
    zone = house.farm.farm.zone_info
    day, last = (instant(one_us).astimezone(zone).date() for one_us in (span.start_us, span.end_us - 1))
    days: list[date] = []
    while day <= last:
        days.append(day)
        day += timedelta(days=1)
    for (reservoirs,) in house.journal.day_sheet_parts(house.farm.name, days, ("root_zone",)).values():
        for reservoir in reservoirs or ():
            for one in reservoir.get("doses", ()):
                yield reservoir, one


def _given(stocks: dict[str, str], reservoir: dict[str, Any], one: dict[str, Any]) -> schemas.DoseGiven:
    start = datetime.fromisoformat(one["start"])
    end = instant(max(microseconds(datetime.fromisoformat(one["end"])), microseconds(start) + 1))
    volumes = [
        schemas.StockGiven(stock=name, label=stocks.get(name, name), volume_ml=volume)
        for name, volume in one["volumes_ml"].items()
    ]
    return schemas.DoseGiven(
        zone=reservoir["zone"],
        zone_label=reservoir["label"],
        start=start,
        end=end,
        source=one["source"],
        stocks=volumes,
        ec_step_ms_cm=one.get("ec_step_ms_cm"),
        ph_step_ph=one.get("ph_step_ph"),
    )
