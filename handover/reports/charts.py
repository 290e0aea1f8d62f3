"""Charts of levels over time, with their bands, the dark hours and the excursions."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from itertools import pairwise
from typing import Any, NamedTuple

import numpy as np

from farm.crops import Phase
from farm.quantities import QUANTITIES, Kind
from farm.readings import ESTIMATED, MICROSECONDS_PER_SECOND, Series, iso_time
from handover.reports.axes import (
    ALERT,
    BAND,
    BAND_EDGE,
    BOTTOM,
    COLOURS,
    DARK,
    DASHES,
    FRAME,
    LEFT,
    RIGHT,
    TOP,
    WIDTH,
    Plane,
    day_axis,
    frame,
    hour_axis,
    steps_between,
    value_axis,
)
from handover.reports.document import Chart
from handover.reports.drawing import Box, Dot, Drawing, Line, Mark, Words
from handover.reports.telling import Telling
from store.contract import ReadingStore
from watch.bands import DARK as IS_DARK
from watch.bands import limits_at, longest_hold_us, may_have_band, phase_stretches
from watch.derived import derived_series

Row = dict[str, Any]
HEIGHT = 120.0
MOST_LINES = len(COLOURS)
SAMPLE, LETTER = 34.0, 4.1  # points: a line's sample with its gaps, and a usual letter
DAY_US = 86_400 * MICROSECONDS_PER_SECOND
TEN_MINUTES_US, HOUR_US = 600 * MICROSECONDS_PER_SECOND, 3600 * MICROSECONDS_PER_SECOND
CELLS = {TEN_MINUTES_US: "10 min", HOUR_US: "hour", DAY_US: "UTC day"}  # length of a mean -> in words
LONGEST_BY_HOUR_US = 45 * DAY_US  # beyond it a line has a mean a day; our choice, no source
SHADE_US = 300 * MICROSECONDS_PER_SECOND  # the clock's steps at which bands and lights are looked at


class Curve(NamedTuple):
    """Means of one series, and the lowest and highest reading with their cells."""

    series: Series
    time_us: Any
    mean: Any
    low: Any
    high: Any


def level_charts(
    tell: Telling,
    store: ReadingStore,
    start_us: int,
    end_us: int,
    excursions: Sequence[Row],
    zones: Collection[str] | None = None,
) -> list[Chart]:
    """Return a chart for each quantity and phase of the plan that has readings; only of some zones if told so."""
    farm = tell.farm
    known = {one.series for one in store.known(farm.name)}
    groups: dict[tuple[str, int], list[Series]] = {}
    for series in (*farm.described, *derived_series(farm)):
        if zones is not None and series.zone not in zones:
            continue
        if series in known and series.registered.kind is Kind.LEVEL and may_have_band(farm, series):
            phase = _phase(tell, series.zone, start_us, end_us)
            if phase is not None and series.quantity in phase.bands and series.sensor != ESTIMATED:
                groups.setdefault((series.quantity, id(phase)), []).append(series)
    order = list(QUANTITIES)
    names = {id(phase): name for crop in farm.crops.values() for name, phase in crop.phases.items()}
    length_us = end_us - start_us
    cell_us = TEN_MINUTES_US if length_us <= 26 * HOUR_US else HOUR_US if length_us <= LONGEST_BY_HOUR_US else DAY_US
    charts = []
    for (_, phase_id), several in sorted(groups.items(), key=lambda one: order.index(one[0][0])):
        curves = [curve for one in several if (curve := _curve(store, one, start_us, end_us, cell_us)) is not None]
        if curves:
            charts.append(_level_chart(tell, store, curves, (start_us, end_us), cell_us, excursions, names[phase_id]))
    return charts


def _phase(tell: Telling, zone: str, start_us: int, end_us: int) -> Phase | None:
    """Return the phase that held last in a stretch."""
    return next((phase for _, _, phase in reversed(phase_stretches(tell.farm, zone, start_us, end_us)) if phase), None)


def _curve(store: ReadingStore, series: Series, start_us: int, end_us: int, cell_us: int) -> Curve | None:
    cells = store.aggregate(series, start_us, end_us, cell_us)
    told = cells.count > 0
    if not told.any():
        return None
    return Curve(series, cells.time_us[told], cells.mean[told], cells.low[told], cells.high[told])


def _level_chart(
    tell: Telling,
    store: ReadingStore,
    curves: list[Curve],
    span: tuple[int, int],
    cell_us: int,
    excursions: Sequence[Row],
    phase: str,
) -> Chart:
    start_us, end_us = span
    quantity = curves[0].series.registered
    at_us = np.arange(start_us, end_us, SHADE_US)
    limits = limits_at(tell.farm, store, curves[0].series, at_us)
    edges = [*limits.low[np.isfinite(limits.low)], *limits.high[np.isfinite(limits.high)]]
    shown = np.concatenate([one.mean for one in curves])
    ticks = steps_between(float(min([shown.min(), *edges])), float(max([shown.max(), *edges])))
    plane = Plane(start_us, end_us, ticks[0], ticks[-1], HEIGHT)
    marks: list[Mark] = [*_dark(plane, at_us, limits.lit), *_bands(plane, at_us, limits.low, limits.high)]
    marks += value_axis(plane, ticks, [tell.number(one, decimals_of(ticks)) for one in ticks])
    marks += hour_axis(tell.farm, plane, 3) if cell_us == TEN_MINUTES_US else day_axis(tell.farm, plane)
    keys = {one.series.key for one in curves}
    outside = [one for one in excursions if one["series"] in keys]
    told_until_us = max(int(one.time_us[-1]) for one in curves) + cell_us
    marks += _outside(plane, outside, told_until_us)
    for place, curve in enumerate(curves[:MOST_LINES]):
        gap_us = cell_us + max(cell_us, longest_hold_us(tell.farm, curve.series))
        marks += _lines(plane, curve, cell_us, gap_us, COLOURS[place], DASHES[place])
    marks += [frame(plane), *_legend([_place(tell, one.series, curves) for one in curves[:MOST_LINES]], bool(outside))]
    unit = f", {quantity.display_unit}" if quantity.display_unit else ""
    caption = f"{quantity.label}{unit}, {phase}: mean of each {CELLS[cell_us]}"
    more = len(curves) - MOST_LINES
    caption += f"; {more} more series are in the table" if more > 0 else ""
    return Chart(caption, _words(tell, curves, outside), Drawing(WIDTH, HEIGHT, tuple(marks)))


def _place(tell: Telling, series: Series, curves: Sequence[Curve]) -> str:
    """Return a curve's name: the zone, and its sensor where a zone has several."""
    if sum(one.series.zone == series.zone for one in curves) == 1:
        return tell.farm.zone_label(series.zone)
    name = tell.farm.label_of(series).removeprefix(f"{series.registered.label}, ")
    together = len({one.series.zone for one in curves}) == 1
    return name if together else f"{tell.farm.zone_label(series.zone)}, {name}"


def decimals_of(ticks: Sequence[float]) -> int:
    """Return how many decimals tell ticks apart."""
    step = ticks[1] - ticks[0]
    return max(0, -math.floor(math.log10(step) + 1e-9))


def _runs(keys: Sequence[Any]) -> Iterator[tuple[int, int]]:
    """Yield where equal neighbours begin and end."""
    cuts = [0, *(place for place, (one, other) in enumerate(pairwise(keys), 1) if one != other), len(keys)]
    yield from pairwise(cuts)


def _dark(plane: Plane, at_us: Any, lit: Any) -> Iterator[Mark]:  # noqa: ANN401  # arrays
    for first, last in _runs(lit.tolist()):
        if lit[first] == IS_DARK:
            x = plane.x(at_us[first])
            end = plane.x(at_us[last] if last < len(at_us) else plane.end_us)
            yield Box(x, TOP, end - x, plane.height - TOP - BOTTOM, DARK)


def _bands(plane: Plane, at_us: Any, low: Any, high: Any) -> Iterator[Mark]:  # noqa: ANN401  # arrays
    pairs = [
        tuple(None if math.isnan(one) else one for one in pair)
        for pair in zip(low.tolist(), high.tolist(), strict=True)
    ]
    for first, last in _runs(pairs):
        below, above = pairs[first]
        if below is not None and above is not None:
            x = plane.x(at_us[first])
            end = plane.x(at_us[last] if last < len(at_us) else plane.end_us)
            top, foot = plane.y(min(above, plane.high)), plane.y(max(below, plane.low))
            yield Box(x, top, end - x, foot - top, BAND)
            for limit, y in ((below, foot), (above, top)):
                if math.isfinite(limit):
                    yield Line(((x, y), (end, y)), BAND_EDGE, 0.8, (2, 1.5))


def _outside(plane: Plane, excursions: Sequence[Row], told_until_us: int) -> Iterator[Mark]:
    from handover.reports.happened import instant_us

    for one in excursions:
        x = plane.x(instant_us(one["onset"]))
        end = told_until_us if one["end"] is None else instant_us(one["end"])
        yield Box(x, plane.height - BOTTOM - 4, max(1.5, plane.x(end) - x), 4, ALERT)


def _lines(
    plane: Plane, curve: Curve, cell_us: int, gap_us: int, colour: str, dash: tuple[float, ...]
) -> Iterator[Mark]:
    middle = curve.time_us + cell_us // 2
    cuts = [0, *(np.flatnonzero(np.diff(curve.time_us) > gap_us) + 1).tolist(), len(middle)]
    for first, last in pairwise(cuts):
        points = tuple(
            (plane.x(at), plane.y(value))
            for at, value in zip(middle[first:last].tolist(), curve.mean[first:last].tolist(), strict=True)
        )
        if len(points) > 1:
            yield Line(points, colour, 1.2, dash)
        else:
            yield Dot(*points[0], 1.3, colour)


def names_of_lines(names: Sequence[str], room: float) -> tuple[list[Mark], float]:
    """Return what names the lines, and where it ends; names that would not fit are cut."""
    x = LEFT
    marks: list[Mark] = []
    most = int((room / max(1, len(names)) - SAMPLE) / LETTER)
    for place, name in enumerate(names):
        text = name if len(name) <= most else f"{name[: most - 1]}…"
        marks.append(Line(((x, 8), (x + 20, 8)), COLOURS[place], 1.6, DASHES[place]))
        marks.append(Words(x + 24, 10.6, text))
        x += SAMPLE + LETTER * len(text)
    return marks, x


def _legend(names: Sequence[str], outside: bool) -> Iterator[Mark]:
    marks, x = names_of_lines(names, WIDTH - LEFT - RIGHT - 165)
    yield from marks
    yield Box(x, 4.5, 12, 7, BAND, BAND_EDGE)
    yield Words(x + 16, 10.6, "band")
    yield Box(x + 42, 4.5, 12, 7, DARK, FRAME)
    yield Words(x + 58, 10.6, "lights off")
    if outside:
        yield Box(x + 104, 6, 12, 4, ALERT)
        yield Words(x + 120, 10.6, "excursion")


def _words(tell: Telling, curves: Sequence[Curve], outside: Sequence[Row]) -> str:
    """Return in words what a chart shows."""
    told = []
    for one in curves:
        decimals, unit = one.series.registered.decimals, one.series.registered.display_unit
        low, high = int(np.argmin(one.low)), int(np.argmax(one.high))
        ends = [
            f"{tell.amount(float(value), decimals, unit)} about {tell.day_and_clock(iso_time(int(at_us)))}"
            for value, at_us in ((one.low[low], one.time_us[low]), (one.high[high], one.time_us[high]))
        ]
        told.append(f"{tell.series(one.series.key)}: from {ends[0]} to {ends[1]}")
    count = f"{len(outside)} excursions" if len(outside) != 1 else "1 excursion"
    return f"{'; '.join(told)}. {count}."
