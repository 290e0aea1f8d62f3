"""What the searches for broken references in a description share."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from difflib import get_close_matches
from typing import Any

from farm.positions import Location
from farm.quantities import Quantity
from farm.units import COUNT_UNITS, LIGHT_UNIT, PPFD_UNIT, accepted_units

LONGEST_LIST = 12  # names that one message lists

LooseEnd = tuple[Location, str, str]  # where, what was found, what is allowed


def table(raw: Any, key: str) -> dict[str, Any]:  # noqa: ANN401  # any TOML value
    """Return a table of a table; empty where there is none."""
    value = raw.get(key) if isinstance(raw, dict) else None
    return value if isinstance(value, dict) else {}


def rows(raw: Any, key: str) -> list[dict[str, Any]]:  # noqa: ANN401
    """Return an array of tables; entries of the wrong type as empty tables, so that indices hold."""
    value = raw.get(key) if isinstance(raw, dict) else None
    return [row if isinstance(row, dict) else {} for row in value] if isinstance(value, list) else []


def named(location: Location, found: object, names: list[str], what: str) -> Iterator[LooseEnd]:
    """Yield a loose end if ``found`` is a text that is none of ``names``."""
    if isinstance(found, str) and found not in names:
        yield location, f"{found!r}, which is no {what}", one_of(found, names)


def one_of(found: str, names: Iterable[str]) -> str:
    """Return a sentence's worth of allowed names, the one closest to what was found first."""
    names = list(names)
    close = get_close_matches(found, names, n=1)
    meant = f"did you mean {close[0]}? " if close else ""
    more = f" and {len(names) - LONGEST_LIST} more" if len(names) > LONGEST_LIST else ""
    return meant + ("one of " + ", ".join(names[:LONGEST_LIST]) + more if names else "none is described yet")


def key_of(row: dict[str, Any]) -> str:
    """Return the key that a row of ``series`` describes, as far as it is there."""
    return "/".join(str(row[part]) for part in ("zone", "quantity", "sensor") if row.get(part))


def units_of(row: dict[str, Any], quantity: Quantity) -> list[str]:
    """Return every unit that a row of ``series`` may have on the wire."""
    units = accepted_units(quantity.unit)
    if "lux_per_ppfd" in row and quantity.unit == PPFD_UNIT:
        units += accepted_units(LIGHT_UNIT)
    return units + list(COUNT_UNITS if "per_count" in row else ())
