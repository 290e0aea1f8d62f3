"""A plane with axes to draw on: where values and times lie, ticks, and the frame of a chart."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta

from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, instant, microseconds
from handover.reports.drawing import Line, Mark, Words

WIDTH = 510.0  # points: what margins leave of A4
LEFT, RIGHT, TOP, BOTTOM = 44.0, 8.0, 20.0, 16.0
GRID, FRAME = "#d5d5d5", "#777777"
HOUR_US = 3600 * MICROSECONDS_PER_SECOND
# Colours of Okabe and Ito, "Color Universal Design," 2008: told apart by colour-blind people too; dashes help in grey.
COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#8a6d00")
DASHES: tuple[tuple[float, ...], ...] = ((), (5, 2), (1.5, 1.5), (7, 2, 1.5, 2), (3, 3))
BAND, BAND_EDGE, DARK, ALERT = "#d9ede4", "#5a9c80", "#e9e9ee", "#D55E00"


@dataclass(frozen=True, slots=True)
class Plane:
    """Times ``[start_us, end_us]`` across, values ``[low, high]`` up, on a sheet of some height."""

    start_us: int
    end_us: int
    low: float
    high: float
    height: float

    def x(self, at_us: float) -> float:
        """Return where a time lies."""
        share = (at_us - self.start_us) / (self.end_us - self.start_us)
        return round(LEFT + min(1.0, max(0.0, share)) * (WIDTH - LEFT - RIGHT), 2)

    def y(self, value: float) -> float:
        """Return where a value lies; what is off the plane lies on its edge."""
        share = (value - self.low) / (self.high - self.low)
        return round(self.height - BOTTOM - min(1.0, max(0.0, share)) * (self.height - TOP - BOTTOM), 2)


def steps_between(low: float, high: float, most: int = 5) -> list[float]:
    """Return round values that span a range: steps of 1, 2 or 5 times a power of ten.

    Examples
    --------
    >>> steps_between(18.3, 25.1)
    [18.0, 20.0, 22.0, 24.0, 26.0]
    """
    span = (high - low) or abs(high) or 1.0
    power = 10.0 ** math.floor(math.log10(span / most))
    step = next(power * one for one in (1, 2, 5, 10, 20) if span / (power * one) <= most)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(number * step, 10) for number in range(first, max(last, first + 1) + 1)]


def value_axis(plane: Plane, ticks: Sequence[float], texts: Sequence[str]) -> list[Mark]:
    """Return the lines across, with their values."""
    marks: list[Mark] = []
    for tick, text in zip(ticks, texts, strict=True):
        y = plane.y(tick)
        marks.append(Line(((LEFT, y), (WIDTH - RIGHT, y)), GRID, 0.5))
        marks.append(Words(LEFT - 4, y + 2.6, text, "end"))
    return marks


def hour_axis(farm: Farm, plane: Plane, every_h: int) -> list[Mark]:
    """Return the farm's hours along the lower edge."""
    marks: list[Mark] = []
    at = instant(plane.start_us).astimezone(farm.farm.zone_info)
    hour = 0
    while hour <= 24:
        day = at.date() + timedelta(days=hour // 24)
        moment = datetime.combine(day, time(hour % 24), farm.farm.zone_info)
        at_us = microseconds(moment.astimezone(UTC))
        if plane.start_us <= at_us <= plane.end_us:
            marks += _tick(plane, at_us, f"{hour:02d}:00")
        hour += every_h
    return marks


def day_axis(farm: Farm, plane: Plane, most: int = 8) -> list[Mark]:
    """Return the farm's midnights along the lower edge, with their dates."""
    marks: list[Mark] = []
    day = instant(plane.start_us).astimezone(farm.farm.zone_info).date()
    last = instant(plane.end_us).astimezone(farm.farm.zone_info).date()
    every = max(1, math.ceil(((last - day).days + 1) / most))
    while day <= last:
        at_us = microseconds(datetime.combine(day, time(), farm.farm.zone_info).astimezone(UTC))
        if plane.start_us <= at_us < plane.end_us:
            marks += _tick(
                plane, at_us, f"{day.day}.{day.month}." if most > 8 else f"{day:%a} {day.day} {day:%b}", "start"
            )
        day += timedelta(days=every)
    return marks


def _tick(plane: Plane, at_us: int, text: str, anchor: str = "middle") -> list[Mark]:
    x, foot = plane.x(at_us), plane.height - BOTTOM
    if anchor == "middle" and x > WIDTH - RIGHT - 12:
        anchor = "end"
    return [
        Line(((x, foot), (x, foot + 3)), FRAME, 0.7),
        Words(x + (1 if anchor == "start" else 0), foot + 11, text, anchor),  # type: ignore[arg-type]  # one of three
    ]


def frame(plane: Plane) -> Mark:
    """Return the two axes' lines."""
    foot = plane.height - BOTTOM
    return Line(((LEFT, TOP), (LEFT, foot), (WIDTH - RIGHT, foot)), FRAME, 0.8)
