"""When a condition is an alarm on this farm, and how urgent: what ``[alarms]`` of farm.toml may say."""

from __future__ import annotations

from typing import Annotated, Self

from pydantic import Field, model_validator

from farm.alarm_words import Priority
from farm.model import Described, Name

Delay = Annotated[float, Field(ge=0, le=7 * 86_400)]


class AlarmRule(Described):
    """How one quantity's alarms, or one kind's, differ from the usual ones; what is left out stays as usual."""

    priority: Priority | None = Field(None, description="how soon a person has to act")
    priority_low: Priority | None = Field(None, description="the same, where a value is too low or falls")
    priority_high: Priority | None = Field(None, description="the same, where a value is too high or rises")
    on_delay_s: Delay | None = Field(
        None, description="it must last so long before it is an alarm; a band's own on-delay holds as well"
    )
    off_delay_s: Delay | None = Field(
        None, description="it must be normal so long before the alarm returns; a band's own off-delay holds as well"
    )
    deadband: float | None = Field(
        None, ge=0, description="how far inside a limit counts as back, in the quantity's unit; a band's own goes first"
    )
    off: bool = Field(False, description="true: recorded, and never an alarm")


class ChangeLimit(Described):
    """How much a quantity may change within a time before that is an alarm."""

    rise: float | None = Field(None, gt=0, description="in the quantity's unit; a rise is never an alarm if left out")
    fall: float | None = Field(None, gt=0, description="in the quantity's unit; a fall is never an alarm if left out")
    within_s: float = Field(1800.0, ge=60, le=86_400, description="the time in which it may change so much")

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.rise is None and self.fall is None:
            raise ValueError("rise or fall, or both")
        return self


class Alarms(Described):
    """What differs from the usual alarms; docs/alarms.md has the table of those."""

    quantities: dict[Name, AlarmRule] = Field(
        default_factory=dict, description="quantity -> how alarms about its value differ"
    )
    kinds: dict[Name, AlarmRule] = Field(
        default_factory=dict, description="kind of alarm -> how it differs; a quantity's own rule goes before it"
    )
    change: dict[Name, ChangeLimit] = Field(
        default_factory=dict, description="quantity -> how much it may change; in place of the usual limits"
    )
    stock_lasts_h: float = Field(
        36.0, gt=0, le=31 * 24, description="a stock that lasts no longer is an alarm; the next working day by default"
    )
    tank_lasts_h: float = Field(
        12.0, gt=0, le=31 * 24, description="a reservoir whose level falls so that it lasts no longer is an alarm"
    )
