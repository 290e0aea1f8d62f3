"""The day sheet's section on the climate equipment."""

from __future__ import annotations

from typing import Any

from watch.air_conditioner_of_day import air_conditioner
from watch.day_data import DayData
from watch.evenness_of_day import evenness, recovery


def climate(data: DayData) -> dict[str, Any]:
    """Return what the climate equipment did in a day, and what the zones had of it."""
    unit = air_conditioner(data)
    return {
        "air_conditioners": [] if unit is None else [unit],
        "recovery": recovery(data),
        "evenness": evenness(data),
    }
