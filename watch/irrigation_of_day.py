"""Irrigation on the day sheet: each line's cycles and litres against what is usual, rated and planned."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

from analytics.irrigation import CycleFault, Cycles, FaultyCycle, UsualCycle, cycle_faults, usual_cycle
from analytics.irrigation_times import DAY_S, FEWEST_DAYS, missed_starts, usual_starts
from analytics.return_flow import return_lag
from analytics.row_comparison import sibling_ratios
from farm.readings import MICROSECONDS_PER_SECOND, Series, iso_time
from watch.bands import max_age_us
from watch.day_data import DayData, day_range
from watch.derivation import accuracy_at
from watch.figures import known_or_none
from watch.irrigation_lines import SECONDS_PER_MINUTE, Course, Line, clock_seconds, course, instant_of_clock, lines_of
from watch.water import litres_of, meter_share

EARLIER_DAYS = 7  # from which is learned what is usual; our choice, no source
ENOUGH_COVERAGE = 0.9  # of a day, or of a stretch that is said to be idle; our choice, no source
WIDEST_TOLERANCE_S = 600.0  # a cycle this far from its usual time still is that cycle; our choice, no source
LONGEST_LAG_US = 30 * 60 * MICROSECONDS_PER_SECOND  # of the return flow; our choice, no source


@dataclass(frozen=True)
class _Habit:
    """What a line usually does, and when."""

    usual: UsualCycle
    starts_s: NDArray[np.float64]
    tolerance_s: float


def irrigation(data: DayData) -> list[dict[str, Any]]:
    """Return what each line's cycles brought on a day; lines are compared by their litres for a plant, else emitter."""
    lines = lines_of(data.farm)
    rows = [_line(data, line) for line in lines]
    by_plant = all(line.plant_sites for line in lines)
    each = [
        row["litres_l"] / ((by_plant and line.plant_sites) or sum(one.emitters for one in line.rows))
        if row["litres_l"] is not None and row["litres_coverage"] >= ENOUGH_COVERAGE
        else math.nan
        for row, line in zip(rows, lines, strict=True)
    ]
    siblings = sibling_ratios(each)
    for row, ratio, differs in zip(rows, siblings.ratio.tolist(), siblings.differs.tolist(), strict=True):
        row["ratio_to_siblings"] = known_or_none(ratio)
        row["differs_from_siblings"] = differs
    return rows


def _line(data: DayData, line: Line) -> dict[str, Any]:
    farm, until_us = data.farm, data.until_us
    first_day = data.day - timedelta(days=EARLIER_DAYS)
    ran = course(farm, data.store, line.found_from, day_range(farm, first_day)[0], until_us)
    cycles = ran.cycles(line.threshold, until_us)
    today = cycles.begun_in(data.start_us, until_us)
    habit = _habit(data, line, ran, cycles)
    running = ran.running(line.threshold, data.start_us, until_us)
    missed, unjudged = _missed(data, line, ran, cycles, habit)
    litres, plus_or_minus, coverage = _litres(data, line, running.inside_s)
    rated_l = line.rated_l_min * running.inside_s / SECONDS_PER_MINUTE
    sites = line.plant_sites
    return {
        "rows": [row.zone for row in line.rows],
        "label": ", ".join(dict.fromkeys(farm.zone_label(row.zone) for row in line.rows)),
        "found_from": line.found_from.key,
        "unit": line.unit,
        "cycles": len(today) if running.covered_s else None,
        "coverage": known_or_none(running.coverage),
        "running_min": running.inside_s / SECONDS_PER_MINUTE if running.covered_s else None,
        "mean": float(np.average(today.mean, weights=today.duration_s)) if len(today) else None,
        "litres_l": litres,
        "litres_give_or_take_l": plus_or_minus,
        "litres_coverage": coverage,
        "plant_sites": sites,
        "per_plant_site_l": litres / sites if litres is not None and sites else None,
        "rated_l": rated_l if running.covered_s else None,
        "share_of_rating": litres / rated_l if litres is not None and rated_l > 0 else None,
        "planned_cycles": line.plan.cycles_a_day,
        "fewer_than_planned": _fewer(data, line, len(today), running.coverage),
        "planned_min": line.plan.minutes,
        "usual_cycles": known_or_none(habit.usual.cycles_per_day),
        "usual_min": known_or_none(habit.usual.duration_s / SECONDS_PER_MINUTE),
        "usual_mean": known_or_none(habit.usual.mean),
        "usual_from_days": habit.usual.days,
        "missed": missed,
        "starts_not_judged": unjudged,
        "faults": _faults(data, line, cycles, habit.usual),
        **_return(data, line),
    }


def _fewer(data: DayData, line: Line, begun: int, coverage: float) -> int | None:
    """Return how many planned cycles a whole day lacks; None where there is no plan, or the day cannot be judged."""
    if line.plan.cycles_a_day is None or data.until_us < data.end_us or not coverage >= ENOUGH_COVERAGE:
        return None
    return max(0, line.plan.cycles_a_day - begun)


def _resolution_s(data: DayData, series: Series) -> float:
    return data.farm.described[series].cadence_s


def _habit(data: DayData, line: Line, ran: Course, cycles: Cycles) -> _Habit:
    """Return what the line did on earlier days that samples cover well enough."""
    days: list[tuple[date, Cycles]] = []
    for before in range(EARLIER_DAYS, 0, -1):
        day = data.day - timedelta(days=before)
        start_us, end_us = day_range(data.farm, day)
        if ran.running(line.threshold, start_us, end_us).coverage >= ENOUGH_COVERAGE:
            days.append((day, cycles.begun_in(start_us, end_us)))
    if len(days) < FEWEST_DAYS:
        return _Habit(usual_cycle([]), np.empty(0), WIDEST_TOLERANCE_S)
    usual = usual_cycle([of_day for _, of_day in days])
    pauses_s = np.diff(cycles.start_us) / MICROSECONDS_PER_SECOND
    short_s = float(np.percentile(pauses_s, 10)) if len(pauses_s) else DAY_S
    tolerance_s = max(min(short_s / 4.0, WIDEST_TOLERANCE_S), _resolution_s(data, line.found_from))
    starts = [clock_seconds(data.farm, day, _around(data, day, cycles, tolerance_s).start_us) for day, _ in days]
    return _Habit(usual, usual_starts(starts, tolerance_s), tolerance_s)


def _around(data: DayData, day: date, cycles: Cycles, tolerance_s: float) -> Cycles:
    """Return the cycles that began on a day or a little before or after it."""
    start_us, end_us = day_range(data.farm, day)
    tolerance_us = int(tolerance_s * MICROSECONDS_PER_SECOND)
    return cycles.begun_in(start_us - tolerance_us, end_us + tolerance_us)


def _missed(data: DayData, line: Line, ran: Course, cycles: Cycles, habit: _Habit) -> tuple[list[dict[str, Any]], int]:
    """Return the usual starts at which nothing began, each with its reason, and how many nobody can judge."""
    farm = data.farm
    starts = clock_seconds(farm, data.day, _around(data, data.day, cycles, habit.tolerance_s).start_us)
    tolerance_us = int(habit.tolerance_s * MICROSECONDS_PER_SECOND)
    found, unjudged = [], 0
    for missed in missed_starts(habit.starts_s, starts, habit.tolerance_s).tolist():
        at_us = instant_of_clock(farm, data.day, missed)
        if at_us is None or at_us + tolerance_us > data.until_us:
            continue  # the clocks skip it, or it may still come
        window = (at_us - tolerance_us, at_us + tolerance_us)
        held = ran.running(line.threshold, *window)
        if held.coverage < ENOUGH_COVERAGE or held.inside_s > 0:
            unjudged += 1  # a gap, or a cycle that began before runs on
            continue
        minutes = habit.tolerance_s / 60.0
        reason = f"nothing began within {minutes:.0f} min of the usual time"
        if line.pump is not None and line.pump != line.found_from:
            reason += _pump_reason(data, line.pump, *window)
        found.append({"at": iso_time(at_us), "reason": reason})
    return found, unjudged


def _pump_reason(data: DayData, pump: Series, start_us: int, end_us: int) -> str:
    if pump.quantity != "pump_on":
        return ""
    state = course(data.farm, data.store, pump, start_us, end_us).running(0.5, start_us, end_us)
    if state.coverage < ENOUGH_COVERAGE:
        return ""
    return "; the pump ran" if state.inside_s > 0 else "; the pump did not run"


def _faults(data: DayData, line: Line, cycles: Cycles, usual: UsualCycle) -> list[dict[str, Any]]:
    """Return what is wrong with the cycles that ended on the day or still run."""
    usual_s = usual.duration_s if line.plan.minutes is None else line.plan.minutes * 60.0
    rated = line.rated_l_min if line.flow else math.nan
    usual_mean = usual.mean if math.isfinite(usual.mean) else rated
    known = math.isfinite(usual_mean) and data.farm.described[line.found_from].plus_or_minus is not None
    accuracy = float(accuracy_at(data.farm, line.found_from, usual_mean)) if known else 0.0
    longest_s = math.inf if line.plan.longest_minutes is None else line.plan.longest_minutes * 60.0
    resolution_s = _resolution_s(data, line.found_from)
    found = cycle_faults(cycles, usual_s, usual_mean, resolution_s, accuracy, longest_s)
    rows = []
    for one in found:
        end_us = int(cycles.end_us[one.position])
        cut = end_us == data.until_us and not cycles.end_seen[one.position]
        if end_us <= data.start_us or (cut and one.fault is CycleFault.WEAK):
            continue  # another day's, or to be judged when it is over
        rows.append(_fault(line, cycles, one, usual_s, usual_mean))
    return rows


def _fault(line: Line, cycles: Cycles, one: FaultyCycle, usual_s: float, usual_mean: float) -> dict[str, Any]:
    if one.fault is CycleFault.WEAK:
        found, limit, usual, unit = one.found, one.limit, usual_mean, line.unit
    else:
        found, limit, usual, unit = one.found / 60.0, one.limit / 60.0, usual_s / 60.0, "min"
    side = "above" if one.fault is CycleFault.STUCK else "below"
    ended = "" if cycles.end_seen[one.position] else " so far" if one.fault is CycleFault.STUCK else ""
    told = f"; {usual:.1f} {unit} is usual or planned" if math.isfinite(usual) else ""
    return {
        "at": iso_time(int(cycles.start_us[one.position])),
        "fault": str(one.fault),
        "found": found,
        "limit": limit,
        "unit": unit,
        "reason": f"{found:.1f} {unit}{ended}, {side} {limit:.1f} {unit}{told}",
    }


def _litres(data: DayData, line: Line, running_s: float) -> tuple[float | None, float | None, float | None]:
    """Return the day's litres, give or take, and coverage; None where no flow is measured."""
    if line.flow is None:
        return None, None, None
    gap_us = max_age_us(data.farm, line.flow)
    read = data.store.read(line.flow, data.start_us - gap_us, data.until_us + gap_us)
    through = litres_of(data.farm, line.flow, read, [data.start_us], [data.until_us])
    litres = float(through.litres[0])
    if math.isnan(litres):
        return None, None, 0.0
    share = meter_share(data.farm, line.flow, litres / running_s * SECONDS_PER_MINUTE if running_s else math.nan)
    return litres, known_or_none(share * litres), float(through.covered_s[0] / through.span_s[0])


def _return(data: DayData, line: Line) -> dict[str, Any]:
    """Return by how much the return flow follows, where both are measured."""
    lag: dict[str, Any] = {"return_lag_s": None, "return_lag_give_or_take_s": None, "return_correlation": None}
    if line.return_flow is None or line.flow is None:
        return lag
    sent = course(data.farm, data.store, line.flow, data.start_us, data.until_us)
    came = course(data.farm, data.store, line.return_flow, data.start_us, data.until_us)
    step_s = max(_resolution_s(data, line.flow), _resolution_s(data, line.return_flow))
    found = return_lag(
        sent.time_us,
        sent.value,
        came.time_us,
        came.value,
        int(step_s * MICROSECONDS_PER_SECOND),
        LONGEST_LAG_US,
        max(sent.gap_us, came.gap_us),
    )
    if math.isfinite(found.lag_s):
        lag = {
            "return_lag_s": found.lag_s,
            "return_lag_give_or_take_s": found.resolution_s / 2.0,
            "return_correlation": found.correlation,
        }
    return lag
