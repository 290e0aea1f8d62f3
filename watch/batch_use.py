"""The water, stocks and CO2 that a batch bears, out of the day sheets."""

from __future__ import annotations

import math
from datetime import date, timedelta
from typing import Any

from farm.crops import Batch
from farm.description import Farm
from farm.readings import instant, microseconds
from store.journal import Journal
from watch.day_by_day import sum_of_known
from watch.day_data import day_range
from watch.meters import batch_shares

USE_CONVENTION = "each day's sheet, by plants and time; our convention, no source"


def batch_use(farm: Farm, journal: Journal, batch: Batch, until_us: int) -> dict[str, Any]:
    """Return what a batch bears of the farm's water, stocks and CO2, from its first stay until ``until_us``.

    As with energy, those that stand on the farm on a day bear that day's use by plants and time; who stands there
    alone bears all of it. Each amount comes with the share of the batch's days whose sheet tells of it: at less
    than 1 it is a lower bound. None where no day tells, or plants are not counted.
    """
    days = _days(farm, batch, until_us)
    parts = journal.day_sheet_parts(farm.name, days, ("water_balance",), ("root_zone",), ("carbon_dioxide",))
    shares = {day: share for day in days if (share := _share(farm, batch, day, until_us)) is not None}
    used = {day: _used(*parts[day]) for day in shares if day in parts}
    stocks = {one.name: one.label for one in farm.equipment.stocks}
    return {
        **_borne("water_l", "water", shares, used),
        **_borne("co2_g", "co2", shares, used),
        "stocks": [
            {"stock": name, "label": label, **_borne("used_ml", name, shares, used, "coverage")}
            for name, label in stocks.items()
        ],
        "convention": USE_CONVENTION,
    }


def _days(farm: Farm, batch: Batch, until_us: int) -> list[date]:
    """Return the local days on which a batch stood somewhere."""
    zone, found = farm.farm.zone_info, set()
    for stay in batch.stays:
        start_us = microseconds(farm.moment(stay.entered))
        end_us = until_us if stay.left is None else min(until_us, microseconds(farm.moment(stay.left)))
        day = instant(start_us).astimezone(zone).date()
        while start_us < end_us and day_range(farm, day)[0] < end_us:
            found.add(day)
            day += timedelta(days=1)
    return sorted(found)


def _share(farm: Farm, batch: Batch, day: date, until_us: int) -> float | None:
    start_us, end_us = day_range(farm, day)
    return batch_shares(farm, start_us, min(end_us, until_us)).get(batch.name)


Used = dict[str, float | None]


def _used(
    balances: list[dict[str, Any]] | None, roots: list[dict[str, Any]] | None, gases: list[dict[str, Any]] | None
) -> Used:
    """Return what the farm used in a day, by name: water drunk, CO2, and each stock, in all zones it is dosed to."""
    stocks: dict[str, list[float | None]] = {}
    for row in roots or []:
        for stock in row.get("stocks", []):
            stocks.setdefault(stock["stock"], []).append(stock["used_ml"])
    return {
        "water": sum_of_known(one["drunk"]["litres_l"] for one in balances or []),
        "co2": sum_of_known(one["enrichment"]["dosed_g"] for one in gases or [] if one.get("enrichment")),
        **{name: sum_of_known(used) for name, used in stocks.items()},
    }


def _borne(
    name: str, of: str, shares: dict[date, float], used: dict[date, Used], coverage: str | None = None
) -> dict[str, float | None]:
    """Return a batch's part of one amount, and of how many of its days that amount is known."""
    told = {day: amount for day, one in used.items() if (amount := one.get(of)) is not None}
    total = sum(shares[day] * amount for day, amount in told.items())
    known = bool(told) and math.isfinite(total)
    return {
        name: total if known else None,
        coverage or f"{name.split('_')[0]}_coverage": len(told) / len(shares) if shares else None,
    }
