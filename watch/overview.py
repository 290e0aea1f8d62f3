"""Now: each zone against its bands, and the sentences on what needs a person."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace

import numpy as np

from farm.description import SILENT_AFTER_CADENCES, Farm
from farm.flags import Flag
from farm.readings import MICROSECONDS_PER_SECOND, Reading, Series, instant
from store.contract import ReadingStore
from store.entries import ExcursionEntry, Reason, Side
from store.journal import Journal
from watch import cautions
from watch.alarm_acts import standing_alarms
from watch.alarm_texts import CAUTIONS
from watch.bands import UNKNOWN, limits_at, lit_at, longest_hold_us
from watch.carbon_dioxide import AVERAGES, co2_accuracy, co2_limit
from watch.derived import derived_series
from watch.first_checks import look_first
from watch.light_now import LIGHT_INTEGRAL, light_integral_now, short_of_light
from watch.needs_of_alarms import OfAlarm, danger_told, excursions_to_tell, needs_of_alarms, told_silent
from watch.outlook import Need, SeriesNow, Standing, Urgency, ZoneNow
from watch.resting import is_at_rest
from watch.telling import listed, spoken_duration, with_unit

HOUR_US = 3600 * MICROSECONDS_PER_SECOND
DAY_US = 24 * HOUR_US
_URGENCIES = list(Urgency)
# One value a light day, or one each time that a machine ran for long enough: they say nothing about now.
_IN_DAY_SHEETS = ("photoperiod", "lamp_output", "normalised_output")


def zones_now(farm: Farm, store: ReadingStore, journal: Journal, now_us: int) -> list[ZoneNow]:
    """Return every zone with all its series as they stand at ``now_us``, in the description's order."""
    latest = store.latest(farm.name)
    under_way = {one.series: one for one in journal.excursions(farm.name, open_only=True)}
    derived = [one for one in derived_series(farm) if one in latest and one.quantity not in _IN_DAY_SHEETS]
    shown = [*farm.described, *derived]
    zones = []
    for zone in farm.zones:
        phase_name, crop = _standing_phase(farm, zone, now_us)
        lit = int(lit_at(farm, store, zone, np.array([now_us]))[0])
        zones.append(
            ZoneNow(
                zone=zone,
                lit=None if lit == UNKNOWN else bool(lit),
                crop=crop,
                phase=phase_name,
                series=tuple(
                    _series_now(farm, store, series, latest.get(series), under_way.get(series), now_us)
                    for series in shown
                    if series.zone == zone
                ),
            )
        )
    return zones


def _standing_phase(farm: Farm, zone: str, now_us: int) -> tuple[str | None, str | None]:
    """Return the names of the phase and crop that hold in a zone."""
    phase = farm.phase_at(zone, instant(now_us))
    for crop, described in farm.crops.items():
        for name, one in described.phases.items():
            if one is phase:
                return name, crop
    return None, None


def _series_now(
    farm: Farm,
    store: ReadingStore,
    series: Series,
    newest: Reading | None,
    excursion: ExcursionEntry | None,
    now_us: int,
) -> SeriesNow:
    if series.quantity == LIGHT_INTEGRAL:
        return light_integral_now(farm, store, series, now_us)
    limits = limits_at(farm, store, series, np.array([now_us]))
    low, high = float(limits.low[0]), float(limits.high[0])
    return SeriesNow(
        series=series,
        standing=_standing(farm, store, series, newest, low, high, now_us),
        time_us=newest.time_us if newest else None,
        value=newest.value if newest else None,
        flag=newest.flag if newest else None,
        low=None if math.isnan(low) else low,
        high=None if math.isnan(high) else high,
        excursion=excursion.identity if excursion else None,
    )


def _standing(
    farm: Farm, store: ReadingStore, series: Series, newest: Reading | None, low: float, high: float, now_us: int
) -> Standing:
    if newest is None or now_us - newest.time_us > longest_hold_us(farm, series):
        newest_us = None if newest is None else newest.time_us
        return Standing.AT_REST if is_at_rest(farm, store, series, newest_us, now_us) else Standing.SILENT
    if math.isnan(low) or newest.flag in (Flag.FAIL, Flag.MISSING):
        return Standing.NO_BAND
    if newest.value < low:
        return Standing.LOW
    return Standing.HIGH if newest.value > high else Standing.INSIDE


def needs(farm: Farm, store: ReadingStore, journal: Journal, now_us: int) -> list[Need]:
    """Return what needs a person at ``now_us``, most urgent first and then the oldest first."""
    zones = zones_now(farm, store, journal, now_us)
    rows = [row for zone in zones for row in zone.series]
    standing = standing_alarms(journal, farm.name, now_us)
    whole, silent = told_silent(standing)
    quiet = [] if whole else _silent(farm, rows, silent, now_us)
    found = [
        *_dangerous_co2(farm, rows, danger_told(standing), now_us),
        *_excursion_needs(
            farm, excursions_to_tell(journal.excursions(farm.name, open_only=True), standing), rows, now_us
        ),
        *needs_of_alarms(farm, standing, now_us),
        *short_of_light(farm, journal, rows),
        *quiet,
        *_refused(farm, journal, now_us),
    ]
    return sorted(found, key=lambda need: (_URGENCIES.index(need.urgency), need.since_us or 0))


def _dangerous_co2(farm: Farm, rows: Iterable[SeriesNow], alarms: Mapping[str, OfAlarm], now_us: int) -> list[Need]:
    """Return a sentence on each CO2 reading at the 8-h limit or above, else on averages at theirs."""
    rows = list(rows)
    found = [
        need
        for row in rows
        if row.series.quantity == "co2_mole_fraction" and (need := _high_reading(farm, row, now_us))
    ]
    told = {need.zone for need in found}
    averages = [row for row in rows if row.series.quantity in AVERAGES and row.series.zone not in told]
    found += [need for row in averages if (need := _high_average(farm, row))]
    return [_with(one, alarms.get(one.zone or "")) for one in found]


def _with(need: Need, alarm: OfAlarm | None) -> Need:
    return need if alarm is None else replace(need, alarm=alarm.identity, state=alarm.state, finding=alarm.finding)


def _high_reading(farm: Farm, row: SeriesNow, now_us: int) -> Need | None:
    limit = farm.occupational_limits.eight_hours_ppm
    if row.value is None or row.time_us is None:
        return None
    value = row.value
    if not value + co2_accuracy(farm, row.series, value) > limit:
        return None
    reads = f"reads {value:,.0f} ppm"
    if row.standing is Standing.SILENT:
        reads = f"read {value:,.0f} ppm when last heard {spoken_duration(now_us - row.time_us)} ago"
    above = "above" if value > limit else "within its give or take of"
    sentence = (
        f"CO2 in {farm.zone_label(row.series.zone)} {reads}, {above} {limit:,.0f} ppm, "
        "the occupational limit for an 8-hour average. Leave and ventilate."
    )
    return Need(Urgency.NOW, sentence, row.time_us, row.series.zone, (row.series,), caution=cautions.CO2)


def _high_average(farm: Farm, row: SeriesNow) -> Need | None:
    limit = co2_limit(farm, row.series.quantity)
    measured = row.series._replace(quantity="co2_mole_fraction")
    if row.value is None or row.standing is Standing.SILENT:
        return None
    if row.value + co2_accuracy(farm, measured, row.value) < limit:
        return None
    span = "8 hours" if row.series.quantity == "co2_average_8h" else "15 minutes"
    above = "above" if row.value > limit else "within the give or take of"
    sentence = (
        f"CO2 in {farm.zone_label(row.series.zone)} was {row.value:,.0f} ppm on average over the last {span}, {above} "
        f"the occupational limit of {limit:,.0f} ppm. Leave and ventilate."
    )
    return Need(Urgency.NOW, sentence, row.time_us, row.series.zone, (row.series, measured), caution=cautions.CO2)


def _excursion_needs(
    farm: Farm,
    open_ones: Iterable[tuple[ExcursionEntry, OfAlarm | None]],
    rows: Iterable[SeriesNow],
    now_us: int,
) -> list[Need]:
    """Return one sentence on all open excursions of one quantity to one side, however many zones share it."""
    newest = {row.series: row.value for row in rows if row.standing not in (Standing.SILENT, Standing.AT_REST)}
    shared: defaultdict[tuple[str, Side], list[ExcursionEntry]] = defaultdict(list)
    alarms: dict[tuple[str, Side], OfAlarm] = {}
    for one, alarm in open_ones:
        shared[one.series.quantity, one.side].append(one)
        if alarm is not None:
            alarms.setdefault((one.series.quantity, one.side), alarm)
    return [
        _with(_excursion_need(farm, several, newest, alarms.get(what), now_us), alarms.get(what))
        for what, several in shared.items()
    ]


def _excursion_need(
    farm: Farm, together: list[ExcursionEntry], newest: dict[Series, float | None], alarm: OfAlarm | None, now_us: int
) -> Need:
    low = together[0].side is Side.LOW
    worst = max(together, key=lambda one: abs(one.extreme - one.limit))
    since_us = min(one.onset_us for one in together)
    quantity = worst.series.registered
    where = listed([farm.zone_label(one.series.zone) for one in together])
    name = farm.label_of(worst.series) if len(together) == 1 else quantity.label
    at_worst = f"{with_unit(worst.extreme, quantity)} at worst"
    if len({one.series.zone for one in together}) > 1:
        at_worst += f" ({farm.zone_label(worst.series.zone)})"
    elif (now_value := newest.get(worst.series)) is not None:
        at_worst = f"{with_unit(now_value, quantity)} now, {at_worst}"
    wet = quantity.name == "condensation_margin" and worst.extreme <= 0
    told = f"{name} in {where} is too {'low' if low else 'high'}"
    if wet:
        told = f"Water has condensed on a surface in {where}. {name}"
    step = (alarm.leads if alarm else "") or look_first(quantity.name, worst.side)
    urgency = Urgency.NOW if wet else Urgency.TODAY if alarm is None else alarm.urgency
    return Need(
        urgency=urgency,
        sentence=f"{told}: {at_worst}, {'at least' if low else 'at most'} {with_unit(worst.limit, quantity)} wanted, "
        f"for {spoken_duration(now_us - since_us)}. {step}".rstrip(),
        since_us=since_us,
        zone=worst.series.zone,
        series=tuple(one.series for one in together),
        excursion=worst.identity,
        caution=CAUTIONS.get(quantity.name) or (alarm.caution if alarm else "") or None,
    )


def _silent(farm: Farm, rows: Iterable[SeriesNow], told: Collection[str], now_us: int) -> list[Need]:
    """Return one sentence a zone on its silent sensors; only one for the farm if nothing arrives at all.

    ``told`` are the keys of the series whose silence an alarm tells.
    """
    described = [row for row in rows if row.series in farm.described]
    silent = [row for row in described if row.standing is Standing.SILENT]
    if not silent:
        return []
    if len(silent) == len(described):
        newest = max((row.time_us for row in silent if row.time_us is not None), default=None)
        ago = f"for {spoken_duration(now_us - newest)}" if newest is not None else "yet"
        text = f"No reading has arrived {ago}. Check the broker, the link and the farm's power."
        return [Need(Urgency.NOW, text, newest, series=tuple(row.series for row in silent[:1]))]
    found = []
    for zone in farm.zones:
        quiet = [row for row in silent if row.series.zone == zone and row.series.key not in told]
        if not quiet:
            continue
        names = listed([farm.label_of(row.series) for row in quiet])
        known = [row.time_us for row in quiet if row.time_us is not None]
        never = " (never heard from)" if not known else ""
        sentence = (
            f"{farm.zones[zone].label}: no reading from {names} for longer than "
            f"{SILENT_AFTER_CADENCES} cadences{never}. Check the sensor, its power and its name."
        )
        since = min(known, default=None)
        found.append(Need(Urgency.TODAY, sentence, since, zone, tuple(row.series for row in quiet)))
    return found


def _refused(farm: Farm, journal: Journal, now_us: int) -> list[Need]:
    """Return a sentence on what was refused in the last day."""
    recent = [one for one in journal.rejects(farm.name) if one.last_us > now_us - DAY_US]
    if not recent:
        return []
    kinds = sorted({_REASONS[one.reason] for one in recent})
    text = f"Some of what arrived was refused: {', '.join(kinds)}. See what was refused, and how to mend it."
    return [Need(Urgency.WHEN_CONVENIENT, text, min(one.first_us for one in recent), refused=True)]


_REASONS = {
    Reason.TOO_LARGE: "messages too large",
    Reason.MALFORMED: "messages that cannot be read",
    Reason.UNKNOWN_TOPIC: "unknown topics",
    Reason.UNKNOWN_NAME: "unknown names",
    Reason.WRONG_TYPE: "values of a wrong type",
    Reason.NOT_FINITE: "values that are no number",
    Reason.WRONG_UNIT: "wrong units",
    Reason.OUT_OF_RANGE: "values outside the sensor's range",
    Reason.FUTURE: "times in the future",
    Reason.TOO_OLD: "times too long ago",
    Reason.CONFLICT: "two values for one time",
}
