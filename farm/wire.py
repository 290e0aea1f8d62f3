"""How messages reach a farm and become records: the [wire] part of its description."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from farm.json_paths import steps_of
from farm.model import Described
from farm.topics import checked_pattern

DEFAULT_CLOCK_TOLERANCE_S = 120.0  # our choice, no source
DEFAULT_MOST_PER_MINUTE = 6000  # messages a topic, 100 a second; our choice, no source


def _path(text: str) -> str:
    steps_of(text)
    return text


def _not_zero(scale: float) -> float:
    if scale == 0:
        raise ValueError("a number other than 0")
    return scale


Path = Annotated[str, AfterValidator(_path)]
Pattern = Annotated[str, Field(min_length=1), AfterValidator(checked_pattern)]


def _filter(topic: str) -> str:
    if "{" in topic or "}" in topic:
        raise ValueError("a topic filter, without {names}")
    return checked_pattern(topic)


Filter = Annotated[str, AfterValidator(_filter)]


class RuleValue(Described):
    """One value that a rule takes out of a message."""

    path: Path = Field("$", description='where it stands, e.g. "data.probes[0].temp"; "$" is the whole message')
    name: str = Field(min_length=1, description="wire name of its series; {part} stands for a named level of the topic")
    unit: str | None = Field(None, description="unit the device sends; else the series' own")
    scale: Annotated[float, AfterValidator(_not_zero)] = Field(1.0, description="what is sent, times this ...")
    offset: float = Field(0.0, description="... and this added, is the value in that unit")


class Rule(Described):
    """How the JSON messages of one pattern of topics become records."""

    topic: Pattern = Field(description='e.g. "boxes/{device}/state"; named levels may be used in names')
    time: Path | None = Field(None, description="where the reading's time stands; the time of arrival if left out")
    time_format: Literal["s", "ms", "iso8601"] = Field(
        "s", description="s or ms since 1970 UTC, or ISO 8601 with its zone"
    )
    parts: dict[str, dict[str, str]] = Field(
        default_factory=dict, description="what stands for a named level in names: {device = {esp-7f3a = 'row-1'}}"
    )
    values: list[RuleValue] = Field(min_length=1)


class Wire(Described):
    """How readings reach us over MQTT."""

    topic: Filter = Field("leafweather/#", min_length=1, description="topic filter of this farm's messages")
    future_tolerance_s: float = Field(
        300.0, ge=0, le=366 * 86_400, description="a reading further ahead than this is refused"
    )
    oldest_days: float = Field(3660.0, gt=0, le=36_600, description="a reading older than this is refused")
    clock_tolerance_s: float = Field(
        DEFAULT_CLOCK_TOLERANCE_S,
        gt=0,
        description="a device whose times are steadily further off than this is told, its readings flagged",
    )
    most_messages_per_minute: int = Field(
        DEFAULT_MOST_PER_MINUTE, gt=0, description="a topic with more is told; its messages are stored all the same"
    )
    rules: list[Rule] = Field(default_factory=list, description="for devices that send JSON of their own form")
