"""Values, durations and lists as people say them."""

from __future__ import annotations

from collections.abc import Iterable

from farm.quantities import Kind, Quantity
from farm.readings import MICROSECONDS_PER_SECOND


def listed(names: Iterable[str]) -> str:
    """Return names as a sentence lists them, at most four: ``A, B and 3 more``."""
    names = list(dict.fromkeys(names))
    if len(names) > 4:
        names = [*names[:3], f"{len(names) - 3} more"]
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)


def with_unit(value: float, quantity: Quantity) -> str:
    """Return a value as people read it, e.g. ``84.2 %``, ``on``."""
    if quantity.kind is Kind.STATE:
        return "on" if value >= 0.5 else "off"
    number = f"{value:z,.{quantity.decimals}f}".replace("-", "−")
    return f"{number} {quantity.display_unit}".rstrip()


def spoken_duration(duration_us: int) -> str:
    """Return a duration as people say it: ``45 min``, ``5 h 10 min``, ``3 days``."""
    minutes = max(0, duration_us) // (60 * MICROSECONDS_PER_SECOND)
    if minutes < 60:
        return f"{minutes} min"
    hours, rest = divmod(minutes, 60)
    if hours < 48:
        return f"{hours} h {rest} min" if rest else f"{hours} h"
    return f"{hours // 24} days"
