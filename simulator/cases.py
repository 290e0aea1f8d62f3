"""The farms of a scenario, each ready to run: with its building, weather, faults and seed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from farm.check import read_description
from farm.description import Farm
from farm.readings import Columns, Series
from simulator.building import Building, Climate
from simulator.demo import demo_farm, demo_farm_text
from simulator.farms import invented_farm
from simulator.fault_kinds import HOUR_S, NATURES, FaultKind
from simulator.faults import Fault, aimed, labels
from simulator.readings import columns_by_series
from simulator.scenario import ANY, LEVELS, DrawnFaults, FaultOf, Scenario
from simulator.sensors import USUAL, Habits, generator
from simulator.simulation import BUILDING, CLIMATE, Simulation
from simulator.targets import lacks, targets, usual_size

TARGETS_DRAWN, FAULTS_DRAWN = 10, 11  # purposes of random numbers


@dataclass(frozen=True)
class Case:
    """One farm of a scenario.

    ``text`` is its description as TOML; ``faults`` are its ground truth.
    """

    farm: Farm
    text: str
    seed: int
    start: datetime
    end: datetime
    faults: tuple[Fault, ...] = ()
    habits: Habits = USUAL
    building: Building = BUILDING
    climate: Climate = CLIMATE

    def simulation(self) -> Simulation:
        """Return the farm at its start."""
        return Simulation(
            self.farm, seed=self.seed, start=self.start, faults=self.faults, habits=self.habits,
            building=self.building, climate=self.climate,
        )  # fmt: skip

    @property
    def labels(self) -> list[Fault]:
        """What is wrong during the run."""
        return labels(self.faults, self.start, self.end)


def simulated(case: Case) -> dict[Series, Columns]:
    """Return all readings of a case, in memory."""
    return columns_by_series(case.farm.name, list(case.simulation().until(case.end)))


def cases(scenario: Scenario, folder: Path, now: datetime) -> Iterator[Case]:
    """Yield the farms of a scenario, each made when it is asked for.

    Parameters
    ----------
    scenario : Scenario
        What its file says.
    folder : Path
        The scenario's own: paths in it start here.
    now : datetime
        Where neither the scenario nor an invented farm says when to begin, the run ends now.

    Raises
    ------
    ValueError
        If a fault does not fit a farm; the message says which and why.
    DescriptionError
        If the farm's description has mistakes.
    """
    span = timedelta(minutes=round(scenario.days * 1440))
    whole_now = now.replace(second=0, microsecond=0)
    wanted = scenario.farm
    for number in range(wanted.invented or 1):
        seed = scenario.seed + number
        building, climate, start = BUILDING, CLIMATE, scenario.start or whole_now - span
        if wanted.invented is not None:
            made = invented_farm(seed)
            farm, text, building, climate = made.farm, made.text, made.building, made.climate
            start = scenario.start or made.start
        elif wanted.demo:
            farm, text = demo_farm(), demo_farm_text()
        else:
            description = read_description(folder / str(wanted.description))
            farm, text = description.farm, description.text
        end = start + span
        faults = [_fault(one, index, farm, start, seed) for index, one in enumerate(scenario.faults)]
        if scenario.drawn_faults is not None:
            faults += drawn(scenario.drawn_faults, farm, start, end, seed)
        yield Case(
            farm, text, seed, start, end, aimed(farm, faults), Habits(**scenario.sensors.model_dump()),
            _changed(building, scenario), replace(climate, **scenario.weather.model_dump(exclude_unset=True)),
        )  # fmt: skip


def _changed(building: Building, scenario: Scenario) -> Building:
    """Return a building with what the scenario sets."""
    parts = ("walls", "machines", "settings", "planting", "lamps", "visits")
    changes = {part: getattr(scenario, part).model_dump(exclude_unset=True) for part in parts}
    return replace(
        building, **{part: replace(getattr(building, part), **change) for part, change in changes.items() if change}
    )


def _fault(one: FaultOf, index: int, farm: Farm, start: datetime, seed: int) -> Fault:
    """Return a fault of the scenario on a farm."""
    try:
        target = one.target
        if target == ANY:
            known = targets(farm, one.kind)
            random = generator(seed, f"{index}/{one.kind}", TARGETS_DRAWN)
            target = known[int(random.integers(len(known)))] if known else ""
        level = LEVELS.index(one.level)
        size = NATURES[one.kind].sizes[level] if one.size is None else one.size
        [fault] = aimed(farm, [one.made(start, target, size)])
        if one.size is None:
            fault = replace(fault, size=usual_size(farm, one.kind, fault.target, level))
    except ValueError as error:
        raise ValueError(f"faults[{index}]: {error}") from error
    return fault


def drawn(wanted: DrawnFaults, farm: Farm, start: datetime, end: datetime, seed: int) -> list[Fault]:
    """Return faults that a farm's seed draws: kind, target, level, onset and how long, one after another.

    Raises
    ------
    ValueError
        If the farm has nothing that any of the kinds could act on.
    """
    random = generator(seed, farm.name, FAULTS_DRAWN)
    kinds = [kind for kind in wanted.kinds if not lacks(farm, kind)]
    if not kinds:
        raise ValueError(f"drawn_faults: the farm {farm.name!r} has nothing that any of these kinds could act on")
    first = start + timedelta(days=wanted.from_day)
    share = (end - first) / wanted.per_farm
    return [
        drawn_fault(random, kinds, farm, first + number * share, first + (number + 1) * share, wanted)
        for number in range(wanted.per_farm)
    ]


def drawn_fault(
    random: np.random.Generator,
    kinds: list[FaultKind],
    farm: Farm,
    first: datetime,
    last: datetime,
    wanted: DrawnFaults,
) -> Fault:
    """Return one drawn fault that begins and ends between two instants."""
    kind = kinds[int(random.integers(len(kinds)))]
    level = LEVELS.index(wanted.levels[int(random.integers(len(wanted.levels)))])
    known = targets(farm, kind)
    target = known[int(random.integers(len(known)))] if known else ""
    ramp_s = NATURES[kind].ramp_s
    least, most = wanted.lasts_h
    lasts_s = max((least + (most - least) * float(random.random())) * HOUR_S, 2.0 * ramp_s)
    room_s = (last - first).total_seconds()
    if lasts_s > room_s:
        ramp_s, lasts_s = ramp_s * room_s / lasts_s, room_s
    begin = first + timedelta(minutes=int((room_s - lasts_s) * float(random.random()) / 60.0))
    return Fault(
        kind,
        begin,
        begin + timedelta(minutes=max(1, int(lasts_s / 60.0))),
        usual_size(farm, kind, target, level),
        target,
        ramp_s,
    )
