"""Snapshots as SenML JSON packs (RFC 8428), in the units the registry expects on the wire."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

from farm.description import DescribedSeries, Farm
from farm.quantities import Kind
from farm.units import Conversion, conversion_to
from simulator.simulation import Snapshot

SIGNIFICANT_DIGITS = 10  # more than any sensor has; drops what unit conversion leaves behind

Write = Callable[[float], str]


class Packer:
    """Turns snapshots of one farm into SenML packs.

    Records stand in order of time. The base time ``bt`` is given once a snapshot and the base name
    ``bn`` once a zone; both hold for the records that follow (RFC 8428, section 4.1).
    """

    def __init__(self, farm: Farm) -> None:
        self._heads: list[tuple[str, str, Write]] = []  # base name, record's beginning, value's writer
        for one in farm.series:
            name = one.wire or one.key
            zone, slash, rest = name.partition("/")
            base, own = (zone + slash, rest) if rest else ("", name)
            unit = one.registered.senml_unit
            if one.registered.kind == Kind.STATE:
                self._heads.append((base, f'"n":{json.dumps(own)},"vb":', _boolean))
            else:
                head = f'"n":{json.dumps(own)},"u":{json.dumps(unit)},"v":'
                self._heads.append((base, head, _number(_conversion(one, unit))))

    def __len__(self) -> int:
        return len(self._heads)

    def pack(self, snapshots: Iterable[Snapshot]) -> bytes:
        """Return one pack of one or more snapshots."""
        records: list[str] = []
        last_base: str | None = None
        for snapshot in snapshots:
            base_time = f'"bt":{round(snapshot.time.timestamp())},'
            for (base, head, write), (_, value) in zip(self._heads, snapshot.values, strict=True):
                base_name = "" if base == last_base else f'"bn":{json.dumps(base)},'
                records.append(f"{{{base_name}{base_time}{head}{write(value)}}}")
                last_base, base_time = base, ""
        return f"[{','.join(records)}]".encode()


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
