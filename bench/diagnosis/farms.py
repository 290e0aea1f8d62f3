"""Farms, faults and their deviations for the bench of findings: drawn from seeds, run in the simulator."""

from __future__ import annotations

import copy
import tomllib
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from analytics.findings.deviation import Deviation, clock_of, deviations, indicators
from analytics.findings.indicator import Indicator
from analytics.findings.scene import HOUR_US, QUARTER_US, scene_of
from farm.description import Farm
from farm.readings import Columns, microseconds
from simulator.farms import invented_farm
from simulator.fault_kinds import NATURES, Aim, FaultKind
from simulator.faults import Fault, aimed
from simulator.readings import columns_by_series
from simulator.simulation import Simulation
from simulator.targets import lacks, targets, usual_size

HEALTHY_DAYS = 15  # before anything goes wrong
LEAD_H = 24  # that indicators look back on
LEVELS = ("mild", "usual", "severe")
SLOW_S = 12 * 3600.0  # a fault that takes longer to grow is a slow one
READ_AFTER_H = 24  # after a fault has fully set in, its finding is read
LONGEST_RAMP_D = 10
LOOKS_H = 12  # after a fault's beginning it is looked at between whole hours too
LATE_US = tuple(range(QUARTER_US, HOUR_US, QUARTER_US))
# Sensors that read too low or too high: all they show goes to one side or to the other
EITHER_WAY = ("ec_probe_drift", "humidity_sensor_drift", "co2_sensor_drift", "ph_probe_dry", "sensor_offset")


@dataclass
class Healthy:
    """A farm after some healthy days, ready to go on with a fault or without."""

    farm: Farm
    seed: int
    simulation: Simulation
    blocks: list
    indicators: list[Indicator]
    start_us: int
    late: tuple[list[Indicator], ...] = ()  # of hours that end a quarter, a half, three quarters after whole ones


@dataclass
class Run:
    """A farm with one fault (or none): its deviations at each hour from ``first_h`` on.

    Hours count from the last healthy one; ``fault_h`` is the hour in which the fault begins, at ``begin_h`` to the
    minute, ``full_h`` in which it has fully set in. ``looks`` are the deviations of hours that end a quarter, a half
    and three quarters of an hour later than the hour before, from hour ``looks_h`` on.
    """

    farm: Farm
    seed: int
    kind: str
    part: str
    target: str
    level: str
    deviations: list[Deviation]
    fault_h: int
    full_h: int
    hours: int
    begin_h: float = float("nan")
    looks: tuple[list[Deviation], ...] = ()
    looks_h: int = 0
    second: str = ""  # the kind of another fault that began the same day

    @property
    def slow(self) -> bool:
        return self.kind != "" and NATURES[FaultKind(self.kind)].ramp_s > SLOW_S

    @property
    def read_h(self) -> int:
        """The hour at which its finding is read."""
        return min(self.full_h + READ_AFTER_H, self.hours - 1)


def full_farm(seed):
    """Return the invented farm of a seed with every sensor that the simulator has a truth for, and its making."""
    made = invented_farm(seed)
    raw = tomllib.loads(made.text)
    zones, equipment = raw["zones"], raw["equipment"]
    have = {(one["zone"], one["quantity"], one.get("sensor", "")) for one in raw["series"]}

    def add(zone, quantity, sensor="", **more):
        if (zone, quantity, sensor) not in have:
            have.add((zone, quantity, sensor))
            raw["series"].append({"zone": zone, "quantity": quantity, **({"sensor": sensor} if sensor else {}), **more})

    rows = [name for name, zone in zones.items() if zone["kind"] == "growing_row"]
    shelves = [name for name, zone in zones.items() if zone["kind"] == "seedling_shelf"]
    zones.setdefault("feed", {"kind": "reservoir", "label": "Feed water"})
    for quantity in ("compressor_on", "purge_on", "door_open", "power_present", "condensate_volume",
                     "electrical_power", "electrical_energy", "co2_mole_fraction", "co2_valve_open"):  # fmt: skip
        add("room", quantity)
    for row in rows:
        for quantity in ("relative_humidity", "ppfd", "fan_on", "flow_rate"):
            add(row, quantity)
    for shelf in shelves:
        for quantity in ("relative_humidity", "ppfd", "float_switch_closed"):
            add(shelf, quantity)
    for zone in ("supply", "outdoors"):
        add(zone, "air_temperature")
        add(zone, "relative_humidity")
    for quantity in ("dissolved_oxygen", "solution_temperature", "solution_level", "flow_rate", "pump_on", "doser_on",
                     "line_pressure_before_filter", "line_pressure_after_filter"):  # fmt: skip
        add("reservoir", quantity)
    add("reservoir", "flow_rate", "return")
    for stock in equipment["stocks"]:
        add("reservoir", "dosed_volume", stock["name"])
    for quantity in ("metered_volume", "solution_temperature", "solution_ec"):
        add("feed", quantity)
    unit = equipment["air_conditioner"]
    unit |= {"compressor": "room/compressor_on", "condensate": "room/condensate_volume", "return_zone": "room",
             "supply_zone": "supply"}  # fmt: skip
    unit.setdefault("air_flow_m3_h", 140.0 * unit["cooling_w"] / 1000.0)
    for row in equipment["drip_rows"]:
        row |= {
            "flow": f"{row['zone']}/flow_rate",
            "pump": "reservoir/pump_on",
            "return_flow": "reservoir/flow_rate/return",
        }
    line = "reservoir/line_pressure"
    equipment["filters"] = [
        {"name": "line", "label": "Line filter", "before": f"{line}_before_filter", "after": f"{line}_after_filter",
         "flow": "reservoir/flow_rate", "limit_kpa": 25.0}
    ]  # fmt: skip
    equipment.setdefault("reverse_osmosis", {"rated_l_per_day": round(4.0 * equipment["reservoir"]["volume_l"])})
    equipment["reverse_osmosis"] |= {"output": "feed/metered_volume", "feed_temperature": "feed/solution_temperature"}
    equipment["reservoir"]["feed_ec_ms_cm"] = 0.03
    gas = {"zone": "room", "air_volume_m3": made.building.walls.air_volume_m3, "background_ppm": 425.0}
    equipment.setdefault("carbon_dioxide", gas)
    if shelves:
        equipment["flood_shelves"] = [{"zone": shelf, "water": f"{shelf}/float_switch_closed"} for shelf in shelves]
    return made, Farm.model_validate(raw)


def healthy(seed, *, drawn=False, without=(), days=HEALTHY_DAYS, looks=False):
    """Return a farm after some healthy days; ``drawn`` leaves its sensors as drawn, ``without`` drops some.

    With ``looks`` it is ready to be looked at between whole hours.

    ``without`` names quantities, or zones with their kind, as ``relative_humidity`` or ``supply``.
    """
    made, farm = (invented_farm(seed), None) if drawn else full_farm(seed)
    farm = made.farm if farm is None else farm
    simulation = Simulation(farm, seed=seed, start=made.start, building=made.building, climate=made.climate)
    blocks = [simulation.run(1440) for _ in range(days)]
    start_us = microseconds(made.start)
    seen = seen_by(farm, without)
    columns = columns_by_series(farm.name, blocks)
    length_us = days * 24 * HOUR_US
    found = [
        indicators(scene_of(seen, columns.items(), start_us + late_us, start_us + late_us + length_us))
        for late_us in (0, *(one - HOUR_US for one in LATE_US if looks))
    ]
    return Healthy(seen, seed, simulation, blocks[-2:], found[0], start_us, tuple(found[1:]))


def seen_by(farm, without):
    """Return the farm as its record knows it, with some sensors left out of the record."""
    if not without:
        return farm
    kept = [one for one in farm.series if not any(name in (one.zone, one.quantity, one.key) for name in without)]
    return farm.model_copy(update={"series": kept}, deep=False).model_copy()


def fault_of(seen, kind, level, begin, random):
    """Return a fault of a kind and level on a farm at a drawn place; None where the farm cannot have it."""
    farm, kind = seen, FaultKind(kind)
    if lacks(farm, kind):
        return None
    known = targets(farm, kind)
    if kind in (FaultKind.SENSOR_STUCK, FaultKind.SENSOR_OFFSET):
        known = [key for key in known if _moves(farm, key)]
    nature = NATURES[kind]
    if nature.aim is Aim.SERIES:
        known = [key for key in known if _told_by_others(farm, kind, key)]
    everywhere = not known or (nature.all and random.random() < 0.25)
    target = "" if everywhere else known[int(random.integers(len(known)))]
    sized = target or (known[0] if known else "")
    size = usual_size(farm, kind, sized, LEVELS.index(level))
    if nature.least < 0.0 and random.random() < 0.5 and kind is not FaultKind.CLOCK_JUMP:
        size = -size
    [fault] = aimed(farm, [Fault(kind, begin, None, size, target, nature.ramp_s)])
    return fault


def _moves(farm, key):
    """Whether a series is a level: a switch or a counter that stands still is often right to."""
    described = next(one for one in farm.series if one.key == key)
    return described.registered.kind == "level"


def _told_by_others(farm, kind, key):
    """Whether anything could tell: outdoors nothing does, and the tank's probes are those in the tank."""
    zone = key.split("/")[0]
    if str(kind).startswith(("ec_", "ph_")):
        return zone == farm.equipment.reservoir.zone
    return farm.zones[zone].kind != "outdoors"


def part_of(farm, fault):
    """Return the part of a cause that a fault belongs to, as signs.toml has them."""
    kind, target = str(fault.kind), fault.target
    if kind in ("outside_air", "circuit_lost"):
        return target
    if kind in ("lamp_fade", "timer_shift"):
        return "one" if target and len(farm.equipment.lamp_groups) > 1 else "all"
    if kind == "nutrient_stock_empty":
        nutrients = [one for one in farm.equipment.stocks if one.role == "nutrient"]
        return "one" if target and len(nutrients) > 1 else "all"
    if kind in ("doser_line_air", "doser_overdosing"):
        return next((one.role for one in farm.equipment.stocks if one.name == target), "all")
    if kind in EITHER_WAY:
        return "low" if fault.size < 0.0 else "high"
    return ""


def _drawn_fault(before, kind, level, number):
    """Return a fault that begins within a day of a farm's healthy time; None where it cannot."""
    random = np.random.default_rng([before.seed, number, sorted(FaultKind).index(FaultKind(kind)), LEVELS.index(level)])
    begin = before.simulation.now + timedelta(minutes=int(random.integers(30, 1440)))
    return fault_of(before.simulation.farm, kind, level, begin, random)


def with_two_faults(before, kinds, level):
    """Return the run of a farm with two fast faults that begin the same day; None where it cannot have both.

    Its ``kind`` is the first of ``kinds``, and it is read a day after the later one has fully set in.
    """
    faults = [_drawn_fault(before, kind, level, 0) for kind in kinds]
    if None in faults:
        return None
    days = int(np.ceil(2.2 + READ_AFTER_H / 24.0))
    simulation = before.simulation.branched(faults)
    blocks = [simulation.run(1440) for _ in range(days)]
    found = _gone_on(before, before.farm, _columns(before, before.farm, blocks, None), days, None)
    first_us = before.start_us + (len(before.indicators[0].value) - 1) * HOUR_US
    first, last = min(one.start for one in faults), max(one.start + timedelta(seconds=one.ramp_s) for one in faults)
    fault_h, full_h = ((microseconds(one) - first_us) // HOUR_US for one in (first, last))
    return Run(
        before.farm, before.seed, kinds[0], "", "", level, found, fault_h, full_h, len(found[0].value),
        (microseconds(first) - first_us) / HOUR_US, second=kinds[1],
    )  # fmt: skip


def with_fault(before, kind, level, number, seen=None):
    """Return the run of a farm with a fault that begins within a day of its healthy time; None where it cannot.

    ``number`` tells repetitions apart: each draws its own place, sign and hour.
    """
    fault = _drawn_fault(before, kind, level, number)
    if fault is None:
        return None
    begin = fault.start
    ramp_d = min(fault.ramp_s / 86_400.0, LONGEST_RAMP_D)
    days = int(np.ceil(ramp_d + 2.2 + READ_AFTER_H / 24.0))
    simulation = before.simulation.branched([fault])
    blocks = [simulation.run(1440) for _ in range(days)]
    farm = before.farm if seen is None else seen
    columns = _columns(before, farm, blocks, fault)
    found = _gone_on(before, farm, columns, days, fault)
    first_us = before.start_us + (len(before.indicators[0].value) - 1) * HOUR_US
    fault_h = (microseconds(begin) - first_us) // HOUR_US
    full_h = (microseconds(begin + timedelta(seconds=fault.ramp_s)) - first_us) // HOUR_US
    hours = len(found[0].value)
    looks = () if NATURES[fault.kind].ramp_s > SLOW_S else _looks(before, farm, columns, fault_h, LOOKS_H, fault)
    return Run(
        farm, before.seed, kind, part_of(simulation.farm, fault), fault.target, level, found, fault_h, full_h, hours,
        (microseconds(begin) - first_us) / HOUR_US, looks, fault_h,
    )  # fmt: skip


def without_fault(before, days):
    """Return the run of a farm that stays healthy."""
    simulation = copy.deepcopy(before.simulation)
    blocks = [simulation.run(1440) for _ in range(days)]
    columns = _columns(before, before.farm, blocks, None)
    found = _gone_on(before, before.farm, columns, days, None)
    looks = _looks(before, before.farm, columns, 1, days * 24 - 1, None)
    return Run(
        before.farm, before.seed, "", "", "", "", found, 10**9, 10**9, len(found[0].value), looks=looks, looks_h=1
    )


def _columns(before, farm, blocks, fault):
    """Return the readings of the last healthy days and of those that followed, as far as they came."""
    columns = columns_by_series(farm.name, [*before.blocks, *blocks])
    if fault is not None and fault.kind is FaultKind.LINK_CUT:
        columns = {series: _until(one, microseconds(fault.start)) for series, one in columns.items()}
    if fault is not None and fault.kind is FaultKind.CLOCK_JUMP and fault.size > farm.wire.future_tolerance_s:
        columns = {  # what is dated too far ahead is refused
            series: _until(one, microseconds(fault.start)) if fault.target in ("", series.zone) else one
            for series, one in columns.items()
        }
    return columns


def _gone_on(before, farm, columns, days, fault):
    """Return the deviations over the last healthy hour and the days that followed."""
    joined = _joined(before, before.indicators, farm, columns, 0, days * 24, fault)
    clock_h = clock_of(farm, before.start_us, len(joined[0].value))
    return list(deviations(joined, len(before.indicators[0].value) - 1, clock_h))


def _looks(before, farm, columns, first_h, hours, fault):
    """Return the deviations of hours that end later than hour ``first_h - 1``, by how much they do."""
    found = []
    for late_us, healthy_ones in zip(LATE_US, before.late, strict=False):
        joined = _joined(before, healthy_ones, farm, columns, late_us - HOUR_US, first_h + hours, fault)
        clock_h = clock_of(farm, before.start_us + late_us, len(joined[0].value))
        found.append(list(deviations(joined, len(healthy_ones[0].value) - 1 + first_h, clock_h)))
    return tuple(found)


def _joined(before, healthy_ones, farm, columns, late_us, hours, fault):
    """Return indicators of the healthy days and of some hours that followed, which begin late by some time."""
    now_us = before.start_us + late_us + len(healthy_ones[0].value) * HOUR_US
    scene = scene_of(farm, columns.items(), now_us - LEAD_H * HOUR_US, now_us + hours * HOUR_US)
    later = {(one.name, one.place): one for one in indicators(scene)}
    joined = []
    for one in healthy_ones:
        new = later.get((one.name, one.place))
        tail = new.value[LEAD_H:] if new is not None else np.full(hours, np.nan)
        joined.append(one._replace(value=np.concatenate([one.value, tail])))
    joined.append(_clock(farm, fault, before.start_us + late_us, len(joined[0].value)))
    return joined


def _until(columns, end_us):
    """Return readings before an instant: what came later was still held back when one looked."""
    here = columns.time_us < end_us
    return Columns(columns.time_us[here], columns.value[here], columns.flag[here])


def _clock(farm, fault, start_us, hours):
    """Return what the arrival check notes of a clock: wrong from the jump on, if it is past its tolerance."""
    value = np.zeros(hours)
    if fault is not None and fault.kind is FaultKind.CLOCK_JUMP and abs(fault.size) > farm.wire.clock_tolerance_s:
        value[(microseconds(fault.start) - start_us) // HOUR_US :] = 1.0
    return Indicator("clock_wrong", "", value)
