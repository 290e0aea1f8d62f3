"""The words of alarms, from IEC 62682 / ISA-18.2: priorities, states, and what people do about them."""

from __future__ import annotations

from enum import StrEnum


class Priority(StrEnum):
    """How soon a person has to act, from consequence and time to respond; most urgent first."""

    HIGHEST = "highest"
    HIGH = "high"
    MEDIUM = "medium"
    LOW = "low"


class AlarmState(StrEnum):
    """ISA-18.2's alarm states, under our own spelling of its terms."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned_unacknowledged"
    SHELVED = "shelved"
    SUPPRESSED_BY_DESIGN = "suppressed_by_design"
    OUT_OF_SERVICE = "out_of_service"


class ActKind(StrEnum):
    """What a person can do about an alarm or a condition."""

    ACKNOWLEDGE = "acknowledge"
    SHELVE = "shelve"
    UNSHELVE = "unshelve"
    OUT_OF_SERVICE = "out_of_service"
    IN_SERVICE = "in_service"


class AlarmKind(StrEnum):
    """What sort of condition an alarm tells of: the first part of its name."""

    OUT_OF_BAND = "out_of_band"
    CHANGE = "change"
    SILENCE = "silence"
    NO_DATA = "no_data"
    CO2_DANGER = "co2_danger"
    MAINS_LOST = "mains_lost"
    DOOR_OPEN = "door_open"
    NO_WATER = "no_water"
    RUNNING_OUT = "running_out"
    CONDENSATION_TONIGHT = "condensation_tonight"
    SENSOR_FAULT = "sensor_fault"
    FINDING = "finding"
