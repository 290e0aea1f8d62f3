"""The day sheet's light days: light integral and photoperiod of each, found and planned."""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

from analytics.light import DAY_US, UMOL_PER_MOL
from analytics.lux import LUX_FACTOR_ERROR, light_integral_uncertainty
from analytics.photoperiod import mean_time_of_day, shift_from_plan
from farm.crops import Phase
from farm.description import Farm
from farm.readings import ESTIMATED, Series, instant, iso_time
from watch.bands import phase_stretches
from watch.day_data import DayData
from watch.derivation import accuracy_at
from watch.estimated_light import light_series
from watch.light_days import ENOUGH_COVERAGE, LitDay, integrals_of_days, light_days
from watch.photoperiods import LitPart, light_source, photoperiods, planned_lights_on

SECONDS_PER_HOUR, SECONDS_PER_MINUTE = 3600, 60
USUAL_DAYS = 7  # light days before, whose mean lights-on is the usual one; our choice, no source


def light_days_of_day(data: DayData) -> list[dict[str, Any]]:
    """Return the light days that begin within the day, one row a PPFD series, measured or estimated."""
    rows = []
    for ppfd in light_series(data.farm):
        days = light_days(data.farm, data.store, ppfd.zone, data.start_us - USUAL_DAYS * DAY_US, data.end_us)
        starting = [day for day in days if data.start_us <= day.start_us < data.end_us]
        lit = integrals_of_days(data.farm, data.store, ppfd, starting)
        if lit:
            parts = photoperiods(data.farm, data.store, ppfd.zone, days)
            rows += [_row(data.farm, ppfd, one, parts) for one in lit]
    return rows


def _row(farm: Farm, ppfd: Series, lit: LitDay, parts: list[LitPart]) -> dict[str, Any]:
    day = lit.day
    [(_, _, phase)] = phase_stretches(farm, ppfd.zone, day.start_us, day.start_us + 1)
    part = next((one for one in parts if one.day == day), None)
    row = {
        "zone": ppfd.zone,
        "key": ppfd._replace(quantity="daily_light_integral").key,
        "label": farm.zones[ppfd.zone].label + (f", {ppfd.sensor}" if ppfd.sensor else ""),
        "start": iso_time(day.start_us),
        "end": iso_time(day.end_us),
        "complete": day.complete,
        "estimated": ppfd.sensor == ESTIMATED,
        "mol": known(lit.integral.mol),
        "mol_plus_or_minus": _give_or_take(farm, ppfd, lit, part),
        "coverage": lit.integral.coverage,
        "target": list(phase.daily_light_integral) if phase and phase.daily_light_integral else None,
    }
    return row | _found(farm, part, phase) | _usual(farm, day.start_us, parts)


def known(value: float) -> float | None:
    """Return a number, or None for one that is not known or not finite."""
    return value if math.isfinite(value) else None


def lux_error(farm: Farm, ppfd: Series) -> float:
    """Return the share by which a sensor's lux factor may be wrong; 0 for a quantum sensor."""
    described = farm.described.get(ppfd)
    return LUX_FACTOR_ERROR if described is not None and described.lux_per_ppfd is not None else 0.0


def _give_or_take(farm: Farm, ppfd: Series, lit: LitDay, part: LitPart | None) -> float | None:
    """Return the error of the sensor over the lit time; None for an estimate, whose error nobody knows."""
    described = farm.described.get(ppfd)
    if described is None or part is None:
        return None
    lit_s, mol = part.found.lit_s, lit.integral.mol
    level = mol * UMOL_PER_MOL / lit_s if lit_s else math.nan  # the mean while lit
    return known(light_integral_uncertainty(mol, lit_s, float(accuracy_at(farm, ppfd, level)), lux_error(farm, ppfd)))


def _found(farm: Farm, part: LitPart | None, phase: Phase | None) -> dict[str, Any]:
    """Return when it was lit, from what that is known, and how far from the plan."""
    row: dict[str, Any] = dict.fromkeys(
        ("lit_h", "lit_coverage", "lit_from", "lights_on", "lights_on_local", "lights_on_within_s", "lights_off")
    )
    row |= dict.fromkeys(("lights_off_local", "planned_h", "lights_on_shift_min", "length_shift_min"))
    row["planned_h"] = phase.photoperiod_h if phase else None
    if part is None or not part.found.covered_s:
        return row
    found, source = part.found, light_source(farm, part.zone)
    row |= {
        "lit_h": found.lit_s / SECONDS_PER_HOUR,
        "lit_coverage": found.coverage,
        "lit_from": source.series.quantity if source else None,
    }
    if found.on_us is not None:
        row["lights_on"], row["lights_on_local"] = iso_time(found.on_us), local_clock(farm, found.on_us)
        row["lights_on_within_s"] = found.on_within_s
        if phase:
            shift_s = shift_from_plan(found.on_us, planned_lights_on(farm, phase, found.on_us))
            row["lights_on_shift_min"] = known(shift_s / SECONDS_PER_MINUTE)
    if found.off_us is not None:
        row["lights_off"], row["lights_off_local"] = iso_time(found.off_us), local_clock(farm, found.off_us)
    if phase and phase.photoperiod_h is not None and part.day.complete and found.coverage >= ENOUGH_COVERAGE:
        row["length_shift_min"] = (found.lit_s - phase.photoperiod_h * SECONDS_PER_HOUR) / SECONDS_PER_MINUTE
    return row


def _usual(farm: Farm, start_us: int, parts: list[LitPart]) -> dict[str, Any]:
    """Return the mean lights-on, by the local clock, of the light days before."""
    before = [one.found.on_us for one in parts if one.day.start_us < start_us and one.found.on_us is not None]
    usual = mean_time_of_day([_second_of_day(farm, one) for one in before[-USUAL_DAYS:]])
    if math.isnan(usual.mean_s):
        return {"usual_lights_on_local": None, "usual_days": usual.count}
    minutes, seconds = divmod(round(usual.mean_s) % 86_400, 60)
    clock = f"{minutes // 60:02d}:{minutes % 60:02d}:{seconds:02d}"
    return {"usual_lights_on_local": clock, "usual_days": usual.count}


def _local(farm: Farm, at_us: int) -> datetime:
    return instant(at_us).astimezone(farm.farm.zone_info)


def local_clock(farm: Farm, at_us: int) -> str:
    """Return an instant as the farm's clock showed it, to the second."""
    return _local(farm, at_us).strftime("%H:%M:%S")


def _second_of_day(farm: Farm, at_us: int) -> float:
    at = _local(farm, at_us)
    return at.hour * 3600 + at.minute * 60 + at.second + at.microsecond / 1e6
