"""Several days side by side, out of their day sheets."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Query

from api import day_by_day_schemas as schemas
from api import examples
from api.house import TheHouse
from farm.moments import Day
from watch.day_by_day import balances, light_by_row, newest_days, probe_history, root_zones, stocks_now

router = APIRouter(tags=["days"])

MOST_DAYS = 92


def asked_days(
    house: TheHouse,
    days: Annotated[int, Query(description="how many of the newest days that have a sheet", ge=1, le=MOST_DAYS)] = 14,
    last: Annotated[Day | None, Query(description="up to this local day, as in 2026-03-01")] = None,
) -> list[date]:
    """Return the local days that a request asks for."""
    return newest_days(house.journal, house.farm.name, days, last)


AskedDays = Annotated[list[date], Depends(asked_days)]


@router.get("/light-days", response_model=schemas.LightDaysAnswer, responses=examples.of("light_days"))
def light_days(house: TheHouse, days: AskedDays) -> dict[str, Any]:
    """Tell each zone's light integral, light day by light day, against the plan's target."""
    return {"days": days, "zones": light_by_row(house.farm, house.journal, days)}


@router.get("/root-zone", response_model=schemas.RootZoneAnswer, responses=examples.of("root_zone"))
def root_zone(house: TheHouse, days: AskedDays) -> dict[str, Any]:
    """Tell each reservoir day by day: solution, doses, top-ups and uptake; and the history of its probes."""
    return {
        "days": days,
        "reservoirs": root_zones(house.farm, house.journal, days),
        "probes": probe_history(house.farm, house.journal),
    }


@router.get("/balances", response_model=schemas.BalancesAnswer, responses=examples.of("balances"))
def day_balances(house: TheHouse, days: AskedDays) -> dict[str, Any]:
    """Tell what went in and out, day by day: water, stocks, energy, CO2; and what is left of the stocks."""
    return {
        "currency": house.farm.farm.currency,
        "days": balances(house.farm, house.journal, days),
        "stocks": stocks_now(house.journal, house.farm.name, days),
    }
