"""The day sheet's section on the climate equipment."""

from __future__ import annotations

from typing import Any

from watch.air_conditioner_of_day import air_conditioner, unit_day
from watch.day_data import DayData
from watch.evenness_of_day import evenness, recovery
from watch.vapour_balance_of_day import vapour_balance


def climate(data: DayData) -> dict[str, Any]:
    """Return what the climate equipment did in a day, and what the zones had of it."""
    described = data.farm.equipment.air_conditioner
    day = None if described is None else unit_day(data, described)
    unit = None if described is None or day is None else air_conditioner(data, described, day)
    return {
        "air_conditioners": [] if unit is None else [unit],
        "vapour_balance": vapour_balance(data, day),
        "recovery": recovery(data),
        "evenness": evenness(data),
    }
