"""A message -> readings, each checked on arrival, or the reason why not."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple, TypeAlias

from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, iso_time
from ingest.names import Names
from ingest.payloads import Form, decode_number, form_of, stated_form
from ingest.records import Decoded, Fault, Record
from ingest.rules import Recipe, Rules, decode_by_rule
from ingest.senml import decode_senml, decode_senml_cbor
from store.entries import Reason

NOT_EVALUATED = int(Flag.NOT_EVALUATED)
LATEST_US = 7_258_118_400 * MICROSECONDS_PER_SECOND  # 2200-01-01: a later time is no time
LARGEST_PAYLOAD = 1024 * 1024  # bytes; a SenML pack of 20,000 records still fits


class Arrived(NamedTuple):
    """What one message holds: readings that may be stored, and the faults of the rest."""

    readings: list[Reading]
    faults: list[Fault]


class BareNumber(NamedTuple):
    """The message is one number, of the series with this wire name."""

    name: str


Source: TypeAlias = Form | Recipe | BareNumber


class Arrival:
    """Turns a farm's messages into readings, by the farm's description."""

    def __init__(self, farm: Farm) -> None:
        self.names = Names(farm)
        self._by_topic: dict[str, str] = {one.topic: one.wire_name for one in farm.series if one.topic}
        self._rules = Rules(farm.wire.rules)
        self._future_us = int(farm.wire.future_tolerance_s * MICROSECONDS_PER_SECOND)
        self._oldest_us = int(farm.wire.oldest_days * 86_400 * MICROSECONDS_PER_SECOND)

    def read(self, topic: str, payload: bytes, arrived_us: int, content_type: str | None = None) -> Arrived:
        """Return the readings of one message, and a fault for everything in it that cannot be one."""
        records, faults = self.decoded(topic, payload, arrived_us, content_type)
        readings: list[Reading] = []
        routes, earliest_us, latest_us = self.names.undated, arrived_us - self._oldest_us, arrived_us + self._future_us
        for record in records:
            # What nearly every record is comes first and without a call: it takes half the time that way.
            name, time_us, value, unit = record
            route = routes.get((name, unit))
            if route is not None:
                series, scale, offset, low, high, _ = route
                value = value * scale + offset
                if time_us is None:
                    time_us = arrived_us
                if low <= value <= high and earliest_us <= time_us <= latest_us:
                    readings.append(Reading(series, time_us, value, NOT_EVALUATED))
                    continue
            checked = self.checked(record, arrived_us)
            if isinstance(checked, Reading):
                readings.append(checked)
            else:
                faults.append(checked)
        return Arrived(readings, faults)

    def source_of(self, topic: str, payload: bytes, content_type: str | None = None) -> Source:
        """Return what a message is taken for: SenML by its content type, else by its topic, else by its bytes."""
        if content_type and (stated := stated_form(content_type)) is not None:
            return stated
        name = self._by_topic.get(topic)
        if name is not None:
            return BareNumber(name)
        return self._rules.recipe_for(topic) or form_of(payload)

    def decoded(self, topic: str, payload: bytes, arrived_us: int, content_type: str | None = None) -> Decoded:
        """Return what a message holds, before names, units, ranges and times are looked at."""
        if len(payload) > LARGEST_PAYLOAD:
            detail = f"{len(payload):,} bytes: send packs of at most {LARGEST_PAYLOAD:,} bytes"
            return [], [Fault(Reason.TOO_LARGE, "", detail)]
        source = self.source_of(topic, payload, content_type)
        if source is Form.SENML_JSON:
            return decode_senml(payload, arrived_us)
        if source is Form.SENML_CBOR:
            return decode_senml_cbor(payload, arrived_us)
        if isinstance(source, Recipe):
            return decode_by_rule(source, payload)
        if isinstance(source, BareNumber):
            return decode_number(payload, source.name)
        if source is Form.BARE_NUMBER:
            detail = f"a bare number on a topic that no series names: add topic = {topic!r} to its series in farm.toml"
            return [], [Fault(Reason.UNKNOWN_TOPIC, "", detail, float(payload))]
        if source is Form.JSON_OBJECT:
            detail = "a JSON object: send a list of SenML records, [{…}], or add a [[wire.rules]] for its topic"
            return [], [Fault(Reason.MALFORMED, "", detail)]
        return decode_senml(payload, arrived_us)  # it says what is wrong

    def checked(self, record: Record, arrived_us: int) -> Reading | Fault:
        """Return the reading that a record becomes, or why it becomes none."""
        name, time_us, value, unit = record
        route = self.names.route(name, unit, arrived_us if time_us is None else time_us)
        if isinstance(route, Fault):
            return replace(route, value=value, unit=unit)
        value = value * route.scale + route.offset
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
        elif not 0 <= time_us < LATEST_US:
            detail = f"time {time_us / MICROSECONDS_PER_SECOND:g} s: send seconds since 1970 UTC"
            return Fault(Reason.MALFORMED, name, detail)
        elif time_us > arrived_us + self._future_us:
            return Fault(Reason.FUTURE, name, f"time {iso_time(time_us)} is ahead of ours: set the device's clock")
        elif time_us < arrived_us - self._oldest_us:
            return Fault(
                Reason.TOO_OLD,
                name,
                f"time {iso_time(time_us)}: set the device's clock, or raise oldest_days under [wire] in farm.toml",
            )
        return Reading(route.series, time_us, value, NOT_EVALUATED)
