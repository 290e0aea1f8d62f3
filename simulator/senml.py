"""Snapshots as SenML JSON packs (RFC 8428), in the units the registry expects on the wire."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

from farm.description import DescribedSeries, Farm
from farm.quantities import Kind
from farm.readings import MICROSECONDS_PER_SECOND
from farm.units import Conversion, conversion_to
from simulator.readings import Snapshot

SIGNIFICANT_DIGITS = 10  # more than any sensor has; drops what unit conversion leaves behind

Write = Callable[[float], str]


class Packer:
    """Turns snapshots of one farm into SenML packs.

    Records stand in order of arrival. The base time ``bt`` is given where the time changes and the base
    name ``bn`` where the zone does; both hold for the records that follow (RFC 8428, section 4.1).
    """

    def __init__(self, farm: Farm) -> None:
        self._heads: dict[str, tuple[str, str, Write]] = {}  # key -> base name, record's beginning, value's writer
        for one in farm.series:
            name = one.wire or one.key
            zone, slash, rest = name.partition("/")
            base, own = (zone + slash, rest) if rest else ("", name)
            unit = one.registered.senml_unit
            if one.registered.kind == Kind.STATE:
                self._heads[one.key] = base, f'"n":{json.dumps(own)},"vb":', _boolean
            else:
                head = f'"n":{json.dumps(own)},"u":{json.dumps(unit)},"v":'
                self._heads[one.key] = base, head, _number(_conversion(one, unit))

    def __len__(self) -> int:
        return len(self._heads)

    def pack(self, snapshots: Iterable[Snapshot]) -> bytes:
        """Return one pack of one or more snapshots."""
        records: list[str] = []
        last_base: str | None = None
        last_us: int | None = None
        for snapshot in snapshots:
            for number, (key, value) in enumerate(snapshot.values):
                base, head, write = self._heads[key]
                time_us = snapshot.time_us if snapshot.stamps is None else snapshot.stamps[number]
                base_name = "" if base == last_base else f'"bn":{json.dumps(base)},'
                base_time = "" if time_us == last_us else f'"bt":{_seconds(time_us)},'
                records.append(f"{{{base_name}{base_time}{head}{write(value)}}}")
                last_base, last_us = base, time_us
        return f"[{','.join(records)}]".encode()


def _seconds(time_us: int) -> str:
    """Return whole seconds where they are whole, else with their fraction."""
    whole, rest = divmod(time_us, MICROSECONDS_PER_SECOND)
    return str(whole) if rest == 0 else f"{whole}.{rest:06d}"


def _conversion(one: DescribedSeries, unit: str) -> Conversion:
    """How a wire value becomes one inside."""
    conversion = conversion_to(one.registered.unit, unit)
    if conversion is None:
        raise ValueError(f"{one.key}: the registry's wire unit {unit!r} does not convert to {one.registered.unit!r}")
    return conversion


def _boolean(value: float) -> str:
    return "true" if value else "false"


def _number(conversion: Conversion) -> Write:
    """Return a writer from the unit inside to the unit on the wire."""
    scale, offset = conversion
    if conversion == (1.0, 0.0):
        return repr
    return lambda value: repr(float(f"{(value - offset) / scale:.{SIGNIFICANT_DIGITS}g}"))
