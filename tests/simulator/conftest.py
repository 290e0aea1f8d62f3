"""Runs of the demonstration farm, as columns."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import pytest

from farm.readings import instant
from simulator.demo import demo_farm
from simulator.faults import Fault
from simulator.simulation import Simulation


@dataclass
class Run:
    """A run's times and, by key, its readings."""

    start: datetime
    times: list[datetime]
    columns: dict[str, np.ndarray]

    def __getitem__(self, key: str) -> np.ndarray:
        return self.columns[key]

    def during(self, start: datetime, end: datetime) -> slice:
        """Where the run's times lie in [start, end)."""
        indices = [index for index, when in enumerate(self.times) if start <= when < end]
        return slice(indices[0], indices[-1] + 1)

    def outside(self, zone: str, quantity: str, values: np.ndarray) -> tuple[np.ndarray, float] | None:
        """Where values lie outside the plan's band, by the zone's lights, and its delay; None without a band."""
        farm = demo_farm()
        phase = farm.phase_at(zone, self.start)
        band = phase.bands.get(quantity) if phase else None
        if band is None:
            return None
        lights = farm.zones[zone].lights
        lit = self[lights] > 0 if lights else np.zeros(len(values), bool)
        mask = np.zeros(len(values), bool)
        for when, limits in ((lit, band.limits(True)), (~lit, band.limits(False))):
            if limits is not None:
                mask |= when & ((values < limits[0]) | (values > limits[1]))
        return mask, band.on_delay_s

    def vapour_pressure_deficit(self, zone: str) -> np.ndarray:
        """FAO-56 equation 11 [kPa]: neither the simulator's formula nor the analytics'."""
        temperature, humidity = self[f"{zone}/air_temperature"], self[f"{zone}/relative_humidity"]
        return 0.6108 * np.exp(17.27 * temperature / (temperature + 237.3)) * (1 - humidity / 100)

    def dew_point_temperature(self, zone: str) -> np.ndarray:
        """FAO-56 equation 11 turned round [degC]."""
        temperature, humidity = self[f"{zone}/air_temperature"], self[f"{zone}/relative_humidity"]
        logarithm = 17.27 * temperature / (temperature + 237.3) + np.log(humidity / 100)
        return 237.3 * logarithm / (17.27 - logarithm)


def run_demo(start: datetime, days: float, faults: Sequence[Fault] = (), seed: int = 1) -> Run:
    simulation = Simulation(demo_farm(), seed=seed, start=start, faults=faults)
    readings = simulation.run(round(days * 1440))
    assert readings.came.all()
    columns = dict(zip(readings.keys, readings.value, strict=True))
    return Run(start, [instant(time_us) for time_us in readings.time_us.tolist()], columns)


@pytest.fixture(scope="session")
def demo_run():
    return run_demo
