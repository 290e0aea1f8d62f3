"""Names and arrival checks: a record from the wire -> a reading of a series, or the reason why not."""

from __future__ import annotations

from collections import OrderedDict
from difflib import get_close_matches
from typing import NamedTuple

from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series, iso_time
from farm.units import SAME, Conversion, accepted_units, conversion_to
from ingest.payloads import Form, decode_number, form_of
from ingest.records import Decoded, Fault, Record
from ingest.senml import decode_senml, decode_senml_cbor
from store.entries import Reason

LARGEST_PAYLOAD = 1024 * 1024  # bytes; a SenML pack of 20,000 records still fits
_CACHED_NAMES = 50_000


class Arrived(NamedTuple):
    """What one message holds: readings that may be stored, and the faults of the rest."""

    readings: list[Reading]
    faults: list[Fault]


class _Route(NamedTuple):
    """How records of one wire name and unit become readings."""

    series: Series
    conversion: Conversion
    low: float
    high: float


class Arrival:
    """Turns a farm's messages into readings, by the farm's description."""

    def __init__(self, farm: Farm) -> None:
        self._farm = farm
        self._by_wire: dict[str, Series] = {one.wire or one.key: series for series, one in farm.described.items()}
        self._by_topic: dict[str, str] = {one.topic: one.wire or one.key for one in farm.series if one.topic}
        self._routes: OrderedDict[tuple[str, str | None], _Route | Fault] = OrderedDict()
        self._future_us = int(farm.wire.future_tolerance_s * MICROSECONDS_PER_SECOND)
        self._oldest_us = int(farm.wire.oldest_days * 86_400 * MICROSECONDS_PER_SECOND)

    def read(self, topic: str, payload: bytes, arrived_us: int, content_type: str | None = None) -> Arrived:
        """Return the readings of one message, and a fault for everything in it that cannot be one."""
        if len(payload) > LARGEST_PAYLOAD:
            return Arrived([], [Fault(
                Reason.TOO_LARGE, "", f"{len(payload):,} bytes: send packs of at most {LARGEST_PAYLOAD:,} bytes"
            )])  # fmt: skip
        records, faults = self._decoded(topic, payload, arrived_us, content_type)
        readings: list[Reading] = []
        for record in records:
            checked = self._checked(record, arrived_us)
            if isinstance(checked, Reading):
                readings.append(checked)
            else:
                faults.append(checked)
        return Arrived(readings, faults)

    def _decoded(self, topic: str, payload: bytes, arrived_us: int, content_type: str | None) -> Decoded:
        name = self._by_topic.get(topic)
        if name is not None:
            return decode_number(payload, name)
        form = form_of(payload, content_type)
        if form is Form.SENML_CBOR:
            return decode_senml_cbor(payload, arrived_us)
        if form is Form.BARE_NUMBER:
            return [], [Fault(
                Reason.UNKNOWN_TOPIC, "",
                f"a bare number on a topic that no series names: add topic = {topic!r} to its series in farm.toml",
            )]  # fmt: skip
        return decode_senml(payload, arrived_us)

    def _checked(self, record: Record, arrived_us: int) -> Reading | Fault:
        name, time_us, value, unit = record
        route = self._routes.get((name, unit))
        if route is None:
            route = self._routes[name, unit] = self._route(name, unit)
            if len(self._routes) > _CACHED_NAMES:
                self._routes.popitem(last=False)
        if isinstance(route, Fault):
            return route
        value = value * route.conversion.scale + route.conversion.offset
        if not route.low <= value <= route.high:
            inside = route.series.registered.unit
            return Fault(
                Reason.OUT_OF_RANGE,
                name,
                f"{value:g} {inside}: outside {route.low:g} to {route.high:g}; "
                "mend the sensor or its unit, or widen range in farm.toml",
            )
        if time_us is None:
            time_us = arrived_us
        elif time_us > arrived_us + self._future_us:
            return Fault(Reason.FUTURE, name, f"time {iso_time(time_us)} is ahead of ours: set the device's clock")
        elif time_us < arrived_us - self._oldest_us:
            return Fault(
                Reason.TOO_OLD,
                name,
                f"time {iso_time(time_us)}: set the device's clock, or raise oldest_days under [wire] in farm.toml",
            )
        return Reading(route.series, time_us, value, Flag.NOT_EVALUATED)

    def _route(self, name: str, unit: str | None) -> _Route | Fault:
        series = self._by_wire.get(name)
        if series is None:
            close = get_close_matches(name, self._by_wire, n=1)
            meant = f"did you mean {close[0]}? Else " if close else ""
            return Fault(Reason.UNKNOWN_NAME, name, f"{meant}describe it under [[series]] in farm.toml")
        described = self._farm.described[series]
        unit = unit if unit is not None else described.unit
        conversion = SAME if unit is None else conversion_to(series.registered.unit, unit)
        if conversion is None:
            accepted = ", ".join(accepted_units(series.registered.unit))
            return Fault(Reason.WRONG_UNIT, name, f"unit {unit!r}: send one of {accepted}")
        return _Route(series, conversion, *described.limits)
