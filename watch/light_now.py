"""The light of the day that runs, the last whole light day, and the sentence on one that was short of light."""

from __future__ import annotations

import math
from collections.abc import Iterable

from farm.causes import NORMAL
from farm.description import Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Series, instant
from store.contract import ReadingStore
from store.entries import FindingEntry
from store.journal import Journal
from watch.alarm_texts import CAUTIONS
from watch.first_checks import leading_check, leads, likely, look_first
from watch.light_days import ENOUGH_COVERAGE, LitDay, lit_days
from watch.outlook import LastLightDay, Need, SeriesNow, Standing, Urgency
from watch.telling import with_unit

DAY_US = 24 * 3600 * MICROSECONDS_PER_SECOND
LIGHT_INTEGRAL = "daily_light_integral"  # told by light days, not by the newest reading


def light_integral_now(farm: Farm, store: ReadingStore, series: Series, now_us: int) -> SeriesNow:
    """Return the light of the day that runs against its target, with the last whole light day beside it.

    A sum over a day that is not over says nothing of that day before its end, but one: it never falls again,
    so that what is above the target stays above it.
    """
    days = lit_days(farm, store, series._replace(quantity="ppfd"), now_us - 3 * DAY_US, now_us + 1)
    last = next((_whole_day(farm, series, one) for one in reversed(days) if one.day.complete), None)
    running = days[-1] if days and not days[-1].day.complete else None
    low, high = _target(farm, series, running.day.start_us if running else now_us)
    standing = Standing.NO_BAND if low is None else Standing.SO_FAR
    if running is None or math.isnan(running.integral.mol):
        return SeriesNow(series, standing, None, None, None, low, high, None, last)
    mol = running.integral.mol
    if high is not None and mol > high:
        standing = Standing.HIGH
    flag = Flag.GOOD if running.integral.coverage >= ENOUGH_COVERAGE else Flag.SUSPECT
    return SeriesNow(series, standing, running.day.end_us - 1, mol, int(flag), low, high, None, last)


def short_of_light(farm: Farm, journal: Journal, rows: Iterable[SeriesNow]) -> list[Need]:
    """Return a sentence on each zone whose last whole light day had too little light, or too much.

    With the likely cause where the light itself was too low or too high meanwhile and a finding says why.
    """
    found = []
    for row in rows:
        last = row.last_day
        if last is None or last.standing not in (Standing.LOW, Standing.HIGH) or last.mol is None:
            continue
        low = last.standing is Standing.LOW
        limit = last.low if low else last.high
        begun = instant(last.start_us).astimezone(farm.farm.zone_info)
        quantity = row.series.registered
        light = row.series._replace(quantity="ppfd")
        why = _finding(farm, journal, light, last)
        found.append(
            Need(
                urgency=Urgency.TODAY,
                sentence=f"{farm.zone_label(row.series.zone)} had too {'little' if low else 'much'} light "
                f"in the light day that began on {begun:%d %b} at {begun:%H:%M}: "
                f"{with_unit(last.mol, quantity)}, "
                f"{'at least' if low else 'at most'} {with_unit(limit or 0.0, quantity)} wanted. "
                f"{look_first('ppfd', last.standing) if why is None else _likely(farm, why)}",
                since_us=last.start_us if why is None else why.onset_us,
                zone=row.series.zone,
                series=(light, row.series),
                caution=CAUTIONS["ppfd"],
                finding=None if why is None else why.identity,
            )
        )
    return found


def _finding(farm: Farm, journal: Journal, light: Series, day: LastLightDay) -> FindingEntry | None:
    """Return what tells why the light was out of its band for longest in a light day; None where nothing does."""
    told = [
        one
        for one in journal.findings.between(farm.name, day.start_us, day.end_us)
        if (one.detail.get("series"), one.detail.get("side")) == (light.key, str(day.standing)) and leads(one.detail)
    ]
    return max(told, key=lambda one: (one.end_us or day.end_us) - one.onset_us, default=None)


def _likely(farm: Farm, why: FindingEntry) -> str:
    over = ""
    if why.end_us is not None:
        ended = instant(why.end_us).astimezone(farm.farm.zone_info)
        over = f" It is over since {ended:%d %b} at {ended:%H:%M}."
    causes = [one for one in why.detail["causes"] if one["cause"] != NORMAL]
    return f"{likely(causes)}{over} {leading_check(why.detail)}".rstrip()


def _target(farm: Farm, series: Series, at_us: int) -> tuple[float | None, float | None]:
    phase = farm.phase_at(series.zone, instant(at_us))
    return phase.daily_light_integral if phase and phase.daily_light_integral else (None, None)


def _whole_day(farm: Farm, series: Series, one: LitDay) -> LastLightDay:
    low, high = _target(farm, series, one.day.start_us)
    mol: float | None = None if math.isnan(one.integral.mol) else one.integral.mol
    if low is None or high is None or mol is None or one.integral.coverage < ENOUGH_COVERAGE:
        standing = Standing.NO_BAND
    else:
        standing = Standing.LOW if mol < low else Standing.HIGH if mol > high else Standing.INSIDE
    return LastLightDay(one.day.start_us, one.day.end_us, mol, int(one.flag), low, high, standing)
