"""Mistakes in ``[alarms]`` that no single key shows: names of quantities and kinds that there are not."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from farm.alarm_words import AlarmKind
from farm.positions import Location
from farm.quantities import QUANTITIES, Kind
from farm.references import LooseEnd, named, table

SIDED = ("priority_low", "priority_high", "deadband")
WITH_SIDES = (AlarmKind.OUT_OF_BAND, AlarmKind.CHANGE)
WEAKENING = ("priority", "on_delay_s", "off")  # of dangerous CO2: people's safety hangs on it


def alarm_loose_ends(raw: dict[str, Any]) -> Iterator[LooseEnd]:
    """Yield every name in ``[alarms]`` that nothing defines, and keys that say nothing where they stand."""
    alarms = table(raw, "alarms")
    levels = [one.name for one in QUANTITIES.values() if one.kind is Kind.LEVEL]
    for part in ("quantities", "change"):
        for name in table(alarms, part):
            names = levels if part == "change" else list(QUANTITIES)
            yield from named(("alarms", part, name), name, names, "quantity that an alarm can be about")
    for name, rule in table(alarms, "kinds").items():
        at: Location = ("alarms", "kinds", name)
        yield from named(at, name, [str(kind) for kind in AlarmKind], "kind of alarm")
        if isinstance(rule, dict) and name in list(AlarmKind) and name not in WITH_SIDES:
            for key in rule.keys() & {*SIDED}:
                yield (*at, key), f"a key for {name}", "priority, on_delay_s, off_delay_s, off: this kind has no sides"
        if name == AlarmKind.CO2_DANGER and isinstance(rule, dict):
            for key in rule.keys() & {*WEAKENING}:
                allowed = "off_delay_s alone: dangerous CO2 is always told at once, as highest"
                yield (*at, key), f"a key for {name}", allowed
