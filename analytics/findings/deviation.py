"""How far each indicator stands from the farm's own healthy days: a number, and one of nine levels."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import Floats
from analytics.findings.air import air, carbon_dioxide, coil, states
from analytics.findings.indicator import SPECS, Indicator, Spec
from analytics.findings.light import light, power
from analytics.findings.root_zone import root_zone
from analytics.findings.scene import HOUR_US, Scene, median_over
from analytics.findings.sensors import sensors
from analytics.findings.water import water
from farm.description import Farm
from farm.readings import instant

DAY_H = 24
NOW_DAYS = (1, 2, 3, 4, 5, 6, 7)  # against the same hour of these days before
SLOW_DAYS = (6, 7, 8, 9, 10, 11, 12, 13, 14)  # a day's mean against those of these days before
ENOUGH_OF_A_DAY = 0.75  # of what is known of the day before; our choice, no source
CARRIED_H = 16  # that a deviation seen last holds where it cannot be seen; our choice, no source
LEAST_DAYS = 3  # known, of those
SCATTER_OF_MAD = 1.4826  # standard deviation over median absolute deviation, of normal scatter
LEVELS = (-15.0, -6.0, -2.5, -1.0, 1.0, 2.5, 6.0, 15.0)  # edges in standard deviations, from far lower to far higher
USUAL, NOT_KNOWN = 4, 9  # codes of a level
NOW, SLOW = "now", "weeks"

Levels = NDArray[np.int8]
Hours = NDArray[np.int64]


class Deviation(NamedTuple):
    """One feature at each hour: an indicator at a place over one horizon.

    ``value`` and ``usual`` are in the indicator's unit; ``give_or_take`` one standard deviation of their
    difference; ``level`` 0 far lower .. 4 as usual .. 8 far higher, 9 not known. ``last`` tells where it cannot be seen
    and stands as it was seen last.
    """

    name: str
    place: str
    value: Floats
    usual: Floats
    give_or_take: Floats
    level: Levels
    last: NDArray[np.bool_] | None = None

    @property
    def indicator(self) -> str:
        """The indicator's name, without the horizon."""
        return self.name.split("@")[0]

    def score(self) -> Floats:
        """Return the deviation in standard deviations."""
        apart = self.value - self.usual
        score: Floats = np.divide(
            apart, self.give_or_take, out=np.full(len(apart), np.nan), where=self.give_or_take > 0
        )
        return score


def indicators(scene: Scene) -> list[Indicator]:
    """Return every indicator that a farm's series allow."""
    makers = (air, coil, states, carbon_dioxide, light, power, root_zone, water, sensors)
    return [one for maker in makers for one in maker(scene)]


def deviations(found: Iterable[Indicator], since: int = 0, clock_h: Hours | None = None) -> Iterator[Deviation]:
    """Yield each indicator's deviation at each hour from ``since`` on, over hours and over weeks.

    ``clock_h`` is by how many whole hours the farm's clock is ahead of UTC at each hour (``clock_of``): lamps and pumps
    go by that clock, so an hour is held against the same hour of it on earlier days. None where it never changes.
    """
    for one in found:
        spec = SPECS[one.name]
        yield _now(one, spec, since, clock_h)
        if spec.slow and spec.reference is None:
            yield _slow(one, spec, since)


def clock_of(farm: Farm, start_us: int, hours: int) -> Hours | None:
    """Return by how many whole hours a farm's clock is ahead of UTC at each hour; None where it does not change."""
    zone = farm.farm.zone_info
    begin, end = instant(start_us).astimezone(zone), instant(start_us + hours * HOUR_US).astimezone(zone)
    if begin.utcoffset() == end.utcoffset():
        return None
    ahead = [instant(start_us + hour * HOUR_US).astimezone(zone).utcoffset() for hour in range(hours)]
    return np.array([round(one.total_seconds() / 3600.0) if one is not None else 0 for one in ahead])


def _now(one: Indicator, spec: Spec, since: int, clock_h: Hours | None) -> Deviation:
    begin = max(since - CARRIED_H, 0)
    value = REDUCE[spec.reduce](one.value, spec.hours)
    least = one.least if one.least is not None else spec.least
    if spec.reference is not None:
        value = value[begin:]
        usual = np.where(np.isnan(value), np.nan, spec.reference)
        spread = np.full(len(value), least)
    else:
        usual, scatter = _usual(value, NOW_DAYS, begin, clock_h)
        value = value[begin:]
        spread = np.hypot(scatter, least * (np.abs(usual) if spec.relative else 1.0))
    carried = (part[since - begin :] for part in _carried(value, usual, spread))
    made = _deviation(f"{one.name}@{NOW}", one.place, *carried)
    return made._replace(last=np.isnan(value + usual)[since - begin :] & (made.level != NOT_KNOWN))


def _slow(one: Indicator, spec: Spec, since: int) -> Deviation:
    value = _whole_days(one.value) if spec.reduce == "mean" else _trailing_least(one.value, DAY_H)
    usual, scatter = _usual(value, SLOW_DAYS, since)
    least = (one.least if one.least is not None else spec.least) * (np.abs(usual) if spec.relative else 1.0)
    return _deviation(f"{one.name}@{SLOW}", one.place, value[since:], usual, np.hypot(scatter, least))


def _deviation(name: str, place: str, value: Floats, usual: Floats, give_or_take: Floats) -> Deviation:
    one = Deviation(name, place, value, usual, give_or_take, np.empty(0, np.int8))
    return one._replace(level=levels_at(one.score()))


def levels_at(score: Floats) -> Levels:
    """Return the levels of deviations in standard deviations; "not known" where they are NaN."""
    level = np.searchsorted(LEVELS, np.nan_to_num(score), side="right").astype(np.int8)
    level[np.isnan(score)] = NOT_KNOWN
    return level


def _carried(value: Floats, usual: Floats, spread: Floats) -> tuple[Floats, Floats, Floats]:
    """Return a deviation with its last known hour standing for those after it in which it cannot be seen.

    In the dark nothing is known of a lamp's output: what was seen last still holds, for `CARRIED_H`.
    """
    known = ~np.isnan(value + usual)
    at = np.arange(len(value))
    last = np.maximum.accumulate(np.where(known, at, -1))
    source = np.where((last >= 0) & (at - last <= CARRIED_H), last, at)
    return value[source], usual[source], spread[source]


def _trailing_mean(value: Floats, hours: int) -> Floats:
    """Return the mean of the known values of the last hours, at each hour; NaN with none."""
    known = ~np.isnan(value)
    total = np.concatenate([[0.0], np.cumsum(np.where(known, value, 0.0))])
    count = np.concatenate([[0], np.cumsum(known)])
    at = np.arange(1, len(value) + 1)
    first = np.maximum(at - hours, 0)
    n = count[at] - count[first]
    return np.where(n > 0, (total[at] - total[first]) / np.maximum(n, 1), np.nan)


def _trailing_largest(value: Floats, hours: int) -> Floats:
    """Return the value of the last hours that is farthest from 0, with its sign; NaN with none."""
    padded = np.concatenate([np.full(hours - 1, np.nan), value])
    inside = np.lib.stride_tricks.sliding_window_view(padded, hours)
    size = np.where(np.isnan(inside), -1.0, np.abs(inside))
    found: Floats = np.take_along_axis(inside, size.argmax(axis=1)[:, None], axis=1)[:, 0]
    return found


def _trailing_least(value: Floats, hours: int) -> Floats:
    """Return the least value of the last hours; NaN with none."""
    padded = np.concatenate([np.full(hours - 1, np.inf), np.where(np.isnan(value), np.inf, value)])
    least = np.lib.stride_tricks.sliding_window_view(padded, hours).min(axis=1)
    return np.where(np.isinf(least), np.nan, least)


REDUCE = {"mean": _trailing_mean, "largest": _trailing_largest, "least": _trailing_least}


def _whole_days(value: Floats) -> Floats:
    """Return the mean over the last day, at each hour; NaN where less of it is known than of the day before."""
    known = np.concatenate([[0], np.cumsum(~np.isnan(value))])
    at = np.arange(1, len(value) + 1)
    count = known[at] - known[np.maximum(at - DAY_H, 0)]
    before = np.concatenate([np.zeros(DAY_H, int), count])[: len(count)]
    return np.where(count >= ENOUGH_OF_A_DAY * np.maximum(before, 1), _trailing_mean(value, DAY_H), np.nan)


def _usual(value: Floats, days: tuple[int, ...], begin: int, clock_h: Hours | None = None) -> tuple[Floats, Floats]:
    """Return the median at the same hour of earlier days, and the scatter about it: the hour's own or the day's.

    From hour ``begin`` on; by the farm's clock where ``clock_h`` says how far it is ahead.
    """
    first = max(begin - DAY_H, 0)
    at = np.arange(first, len(value))
    shifted = np.full((len(days), len(at)), np.nan)
    for row, day in zip(shifted, days, strict=True):
        before = at - day * DAY_H
        if clock_h is not None:
            before += clock_h[at] - clock_h[np.maximum(before, 0)]
        skip = int(np.searchsorted(before, 0))
        row[skip:] = value[before[skip:]]
    enough = (~np.isnan(shifted)).sum(axis=0) >= LEAST_DAYS
    usual = median_over(shifted)
    own = SCATTER_OF_MAD * median_over(np.abs(shifted - usual))
    usual[~enough] = np.nan
    around = _trailing_mean(np.where(enough, own, np.nan), DAY_H)
    skip = begin - first
    return usual[skip:], np.fmax(own, around)[skip:]
