"""Figures as they stand in day sheets: None where nothing is known, since JSON has no NaN and no infinity."""

from __future__ import annotations

import math

from analytics.due import DaysLeft
from analytics.wear import Wear

FARTHEST_D = 3650.0  # a limit farther away than ten years is none in sight; our choice, no source


def known_or_none(value: float) -> float | None:
    """Return a figure, or None where it is NaN or infinite."""
    return value if math.isfinite(value) else None


def trend_columns(trend: Wear, unit: str) -> dict[str, float | None]:
    """Return a trend with its interval."""
    return {
        f"per_day_{unit}": known_or_none(trend.per_day),
        f"per_day_low_{unit}": known_or_none(trend.per_day_low),
        f"per_day_high_{unit}": known_or_none(trend.per_day_high),
    }


def due_columns(reached: DaysLeft | None) -> dict[str, float | None]:
    """Return in how many days a limit is reached; None for not in sight, for unknown, and without a limit."""
    days = () if reached is None else (reached.days, reached.soonest, reached.latest)
    seen = [one if one <= FARTHEST_D else None for one in days] or [None] * 3
    return dict(zip(("due_in_d", "due_earliest_d", "due_latest_d"), seen, strict=True))
