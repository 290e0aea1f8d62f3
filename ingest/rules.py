"""JSON of a device's own form -> records, by the rules of farm.toml."""

from __future__ import annotations

import json
import math
import re
from collections import OrderedDict
from collections.abc import Sequence
from datetime import datetime
from typing import Any, NamedTuple

import msgspec

from farm.json_paths import Steps, steps_of
from farm.readings import MICROSECONDS_PER_SECOND, microseconds
from farm.topics import matcher
from farm.wire import Rule
from ingest.payloads import number_of
from ingest.records import Decoded, Fault, Record
from ingest.senml import FURTHEST_S
from store.entries import Reason

_ABSENT = object()
_CACHED_TOPICS = 10_000
_PLACE = re.compile(r"\{([^{}]*)\}")
_PER_SECOND = {"s": MICROSECONDS_PER_SECOND, "ms": MICROSECONDS_PER_SECOND // 1000}


class Take(NamedTuple):
    """One value to take out of a message, everything that does not depend on the message worked out."""

    path: str
    steps: Steps
    name: str
    unit: str | None
    scale: float
    offset: float


class Recipe(NamedTuple):
    """A rule as it applies to one topic: ``number`` is its place in farm.toml, from 0."""

    number: int
    rule: Rule
    time_steps: Steps | None
    takes: tuple[Take, ...]

    def __str__(self) -> str:
        return f"wire.rules[{self.number}], topic {self.rule.topic!r}"


class Rules:
    """A farm's rules; the first whose pattern fits a topic is the one."""

    def __init__(self, rules: Sequence[Rule]) -> None:
        self._rules = [(number, rule, matcher(rule.topic)) for number, rule in enumerate(rules)]
        self._recipes: OrderedDict[str, Recipe | None] = OrderedDict()

    def recipe_for(self, topic: str) -> Recipe | None:
        """Return what to do with messages of a topic; None where no rule fits it."""
        if not self._rules:
            return None
        if topic not in self._recipes:
            self._recipes[topic] = self._found(topic)
            if len(self._recipes) > _CACHED_TOPICS:
                self._recipes.popitem(last=False)
        return self._recipes[topic]

    def _found(self, topic: str) -> Recipe | None:
        for number, rule, fits in self._rules:
            match = fits.fullmatch(topic)
            if match is not None:
                parts = {part: rule.parts.get(part, {}).get(text, text) for part, text in match.groupdict().items()}
                takes = tuple(
                    Take(
                        value.path,
                        steps_of(value.path),
                        _filled(value.name, parts),
                        value.unit,
                        value.scale,
                        value.offset,
                    )
                    for value in rule.values
                )
                return Recipe(number, rule, steps_of(rule.time) if rule.time else None, takes)
        return None


def _filled(name: str, parts: dict[str, str]) -> str:
    return _PLACE.sub(lambda place: parts[place[1]], name)


def decode_by_rule(recipe: Recipe, payload: bytes) -> Decoded:
    """Return the records that a rule takes out of a message, and a fault for each value that is none.

    A path that is absent, or null, is passed over: many devices send only what changed. A message in
    which no path is found is refused.
    """
    try:
        message = msgspec.json.decode(payload)
    except (msgspec.MsgspecError, UnicodeDecodeError):
        try:
            message = json.loads(payload)  # reads NaN and Infinity, which JSON proper has not
        except (ValueError, RecursionError) as error:
            return [], [Fault(Reason.MALFORMED, "", f"no valid JSON ({error}), which {recipe} asks for")]
    time_us: int | None = None
    if recipe.time_steps is not None:
        stated = _time_us(_at(message, recipe.time_steps), recipe)
        if isinstance(stated, Fault):
            return [], [stated]
        time_us = stated
    records: list[Record] = []
    faults: list[Fault] = []
    for take in recipe.takes:
        found = _at(message, take.steps)
        if found is _ABSENT or found is None:
            continue
        value = _number(found)
        if value is None:
            detail = f"{_shown(found)} at {take.path} is no number, of which {recipe} makes one"
            faults.append(Fault(Reason.WRONG_TYPE, take.name, detail))
        elif not math.isfinite(value):
            detail = f"value {value} at {take.path}: leave a missing value out"
            faults.append(Fault(Reason.NOT_FINITE, take.name, detail))
        else:
            records.append(Record(take.name, time_us, value * take.scale + take.offset, take.unit))
    if not records and not faults:
        paths = ", ".join(take.path for take in recipe.takes)
        faults.append(Fault(Reason.MALFORMED, "", f"none of {paths} is in the message, which {recipe} looks for"))
    return records, faults


def _at(message: Any, steps: Steps) -> Any:  # noqa: ANN401  # any JSON value
    here: Any = message
    for step in steps:
        if not isinstance(here, dict if isinstance(step, str) else list):
            return _ABSENT
        try:
            here = here[step]  # type: ignore[index]  # a list takes a number, an object a name
        except (KeyError, IndexError):
            return _ABSENT
    return here


def _number(found: object) -> float | None:
    """Return a JSON value as a number: also true and false, and a text that is one."""
    if isinstance(found, (bool, int, float)):
        try:
            return float(found)
        except OverflowError:
            return math.inf
    return number_of(found.encode("utf-8", "replace")) if isinstance(found, str) else None


def _time_us(found: object, recipe: Recipe) -> int | Fault:
    where, form = recipe.rule.time, recipe.rule.time_format
    if found is _ABSENT or found is None:
        return Fault(Reason.MALFORMED, "", f"no time at {where}, where {recipe} looks for it")
    if form == "iso8601":
        try:
            return microseconds(datetime.fromisoformat(str(found)))
        except ValueError:
            detail = f"time {_shown(found)} at {where}: send ISO 8601 with its zone, as in 2026-03-01T12:00:00Z"
            return Fault(Reason.MALFORMED, "", detail)
    number = None if isinstance(found, bool) else _number(found)
    seconds = math.nan if number is None else number * _PER_SECOND[form] / MICROSECONDS_PER_SECOND
    if number is None or not -FURTHEST_S < seconds < FURTHEST_S:
        detail = f"time {_shown(found)} at {where}: send {form} since 1970 UTC, or mend time_format in {recipe}"
        return Fault(Reason.MALFORMED, "", detail)
    return round(number * _PER_SECOND[form])


def _shown(found: object, most: int = 40) -> str:
    text = json.dumps(found, default=str)
    return text if len(text) <= most else text[: most - 1] + "…"
