"""The charts that sum up: light by light days over the plan, and time below, inside and above bands."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any, NamedTuple

from farm.quantities import QUANTITIES
from handover.reports.against_plan import told_enough
from handover.reports.axes import (
    BAND,
    BAND_EDGE,
    COLOURS,
    DASHES,
    FRAME,
    LEFT,
    RIGHT,
    WIDTH,
    Plane,
    day_axis,
    frame,
    steps_between,
    value_axis,
)
from handover.reports.charts import DAY_US, HEIGHT, MOST_LINES, decimals_of, names_of_lines
from handover.reports.document import Chart
from handover.reports.drawing import Box, Dot, Drawing, Line, Mark, Words
from handover.reports.telling import NBSP, Telling, listed

Row = dict[str, Any]


class LightDay(NamedTuple):
    """One light day's integral in a zone, and what was planned."""

    zone: str
    start_us: int
    mol: float
    target: tuple[float, float] | None


def light_chart(tell: Telling, days: Sequence[LightDay], start_us: int, end_us: int) -> Chart | None:
    """Return a dot for each light day and zone, over the plan; None without any."""
    if not days:
        return None
    edges = [limit for one in days if one.target for limit in one.target if math.isfinite(limit)]
    values = [one.mol for one in days]
    ticks = steps_between(min(values + edges), max(values + edges))
    plane = Plane(start_us, end_us, ticks[0], ticks[-1], HEIGHT)
    zones = list(dict.fromkeys(one.zone for one in days))
    marks: list[Mark] = list(_targets(plane, days))
    marks += value_axis(plane, ticks, [tell.number(one, decimals_of(ticks)) for one in ticks])
    marks += day_axis(tell.farm, plane)
    for place, zone in enumerate(zones[:MOST_LINES]):
        own = [one for one in days if one.zone == zone]
        points = tuple((plane.x(one.start_us + DAY_US // 2), plane.y(one.mol)) for one in own)
        if len(points) > 1:
            marks.append(Line(points, COLOURS[place], 0.9, DASHES[place]))
        marks += [Dot(*point, 2.0, COLOURS[place]) for point in points]
    names = [tell.farm.zone_label(zone) for zone in zones]
    marks += [frame(plane), *_light_legend(names[:MOST_LINES])]
    unit = QUANTITIES["daily_light_integral"].display_unit
    more = f"; {len(zones) - MOST_LINES} more zones are in the table" if len(zones) > MOST_LINES else ""
    told = [
        f"{tell.farm.zone_label(zone)}: {tell.number(min(own_mol), 1)} to {tell.number(max(own_mol), 1)}"
        for zone in zones
        if (own_mol := [one.mol for one in days if one.zone == zone])
    ]
    text = f"Light integrals of light days, in {unit}, lowest to highest. {'; '.join(told)}."
    return Chart(
        f"Light of each light day that is over and covered, {unit}, over the plan{more}",
        text,
        Drawing(WIDTH, HEIGHT, tuple(marks)),
    )


def _light_legend(names: Sequence[str]) -> Iterator[Mark]:
    marks, x = names_of_lines(names, WIDTH - LEFT - RIGHT - 45)
    yield from marks
    yield Box(x, 4.5, 12, 7, BAND, BAND_EDGE)
    yield Words(x + 16, 10.6, "plan")


def _targets(plane: Plane, days: Sequence[LightDay]) -> Iterator[Mark]:
    """Yield the plan's limits of each light day, each pair once; where zones differ they lie over each other."""
    for start_us, low, high in sorted({(one.start_us, *one.target) for one in days if one.target}):
        x, end = plane.x(start_us), plane.x(start_us + DAY_US)
        top, foot = plane.y(min(high, plane.high)), plane.y(max(low, plane.low))
        yield Box(x, top, end - x, foot - top, BAND)
        for y in (top, foot):
            yield Line(((x, y), (end, y)), BAND_EDGE, 0.8, (2, 1.5))


PARTS = (("below", "#E69F00"), ("inside", "#8fc3ad"), ("above", "#CC79A7"), ("no band then, or not known", None))


def band_chart(tell: Telling, rows: Sequence[tuple[str, Row, float]]) -> Chart | None:
    """Return a bar a row of how long it was below, inside and above; rows are label, hours, hours of the whole."""
    rows = [one for one in rows if one[2] > 0]
    if not rows:
        return None
    left, step = 150.0, 15.0
    height = 22 + step * len(rows)
    marks: list[Mark] = list(_part_legend(left))
    told = []
    for place, (label, row, whole_h) in enumerate(rows):
        y, x = 20 + step * place, left
        marks.append(Words(left - 6, y + 8.4, label, "end"))
        hours = [row["below_h"], row["inside_h"], row["above_h"]]
        hours.append(max(0.0, whole_h - sum(hours)))
        for (_, colour), length in zip(PARTS, hours, strict=True):
            width = (WIDTH - left - RIGHT) * length / whole_h
            if width >= 0.3:
                marks.append(Box(round(x, 2), y, round(width, 2), step - 4, colour, FRAME))
            if width > 34:
                marks.append(Words(x + width / 2, y + 8.4, tell.share(length / whole_h).replace(NBSP, ""), "middle"))
            x += width
        shares = [f"{name} {tell.share(one / whole_h)}" for (name, _), one in zip(PARTS, hours, strict=True) if one > 0]
        told.append(f"{label}: {listed(shares)}")
    text = f"Share of the time. {'; '.join(told)}."
    return Chart(
        "Time below, inside and above the band, share of the whole time", text, Drawing(WIDTH, height, tuple(marks))
    )


def _part_legend(left: float) -> Iterator[Mark]:
    x = left
    for name, colour in PARTS:
        yield Box(x, 4.5, 12, 7, colour, FRAME)
        yield Words(x + 16, 10.6, name)
        x += 30 + 4.4 * len(name)


def light_days_of(rows: Sequence[Row]) -> list[LightDay]:
    """Return the light days of sheets that can be drawn."""
    from handover.reports.happened import instant_us

    return [
        LightDay(
            one["zone"], int(instant_us(one["start"])), one["mol"], tuple(one["target"]) if one.get("target") else None
        )
        for one in rows
        if told_enough(one)
    ]
