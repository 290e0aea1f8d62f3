"""The air conditioner's series: which sensors see its compressor, its water and the air on both sides of its coil."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from analytics.air_states import AirState
from analytics.cycling import ON
from analytics.moisture import moisture_removal_rate
from analytics.psychrometrics import air_pressure_at
from farm.description import AirConditioner, Farm
from farm.readings import Series
from watch.derivation import Derivation, Values, accuracy, accuracy_at, partner
from watch.pressure import pressure_series

FLOW_ACCURACY = 0.1  # share of an air flow whose accuracy is not given; our choice, no source


class AirSensors(NamedTuple):
    """The two sensors of a zone's air."""

    temperature: Series
    humidity: Series

    def state(self, farm: Farm, temperature: Values, humidity: Values) -> AirState:
        """Return the air that their readings show, with their accuracies."""
        accuracies = accuracy(farm, self.temperature), accuracy_at(farm, self.humidity, humidity)
        return AirState(temperature, humidity, *accuracies)


@dataclass(frozen=True)
class Coil:
    """Where a coil draws its air and where it leaves it, and the flow [m3/h]; ``pressure`` where it is measured."""

    return_air: AirSensors
    supply_air: AirSensors
    pressure: Series | None
    flow: float
    flow_accuracy: float

    @property
    def inputs(self) -> tuple[Series, ...]:
        """The series that tell of it."""
        return (*self.return_air, *self.supply_air, *((self.pressure,) if self.pressure else ()))


@dataclass(frozen=True)
class Compressor:
    """The series that says that it runs, at ``threshold`` or above."""

    series: Series
    threshold: float

    @property
    def is_power(self) -> bool:
        """Whether the series is the unit's electrical power."""
        return self.series.quantity == "electrical_power"


def compressor_of(farm: Farm, unit: AirConditioner) -> Compressor | None:
    """Return what tells of a unit's compressor; None where nothing does."""
    if unit.compressor is None:
        return None
    return Compressor(Series.parse(farm.name, unit.compressor), unit.running_above_w or ON)


def coil_of(farm: Farm, unit: AirConditioner) -> Coil | None:
    """Return what tells of a unit's coil; None where the description does not say."""
    if unit.return_zone is None or unit.supply_zone is None or unit.air_flow_m3_h is None:
        return None
    return_air, supply_air = air_sensors(farm, unit.return_zone), air_sensors(farm, unit.supply_zone)
    if return_air is None or supply_air is None:
        return None
    accuracy = unit.air_flow_accuracy_m3_h
    return Coil(
        return_air,
        supply_air,
        pressure_series(farm, unit.return_zone),
        unit.air_flow_m3_h,
        unit.air_flow_m3_h * FLOW_ACCURACY if accuracy is None else accuracy,
    )


def air_pressure(farm: Farm, measured: Values | None) -> Values | float:
    """Return the air pressure: measured where it is, else that of the standard atmosphere at the farm. [kPa]."""
    standard = float(air_pressure_at(farm.farm.elevation_m))
    return standard if measured is None else np.where(np.isnan(measured), standard, measured)


def moisture_removal(farm: Farm) -> list[Derivation]:
    """Return the water that the air conditioner takes out of the air, where air states and air flow tell."""
    unit = farm.equipment.air_conditioner
    coil = coil_of(farm, unit) if unit else None
    if unit is None or coil is None:
        return []

    def formula(*held: Values) -> Values:
        pressure = air_pressure(farm, held[4] if coil.pressure else None)
        return moisture_removal_rate(AirState(*held[:2]), AirState(*held[2:4]), coil.flow, pressure)

    output = Series(farm.name, str(unit.supply_zone), "moisture_removal_rate")
    return [Derivation(output, coil.inputs, formula)]


def air_sensors(farm: Farm, zone: str) -> AirSensors | None:
    """Return the first temperature sensor of a zone's air that has a humidity sensor beside it."""
    humidities = farm.series_of(zone, "relative_humidity")
    pairs = ((one, partner(one, humidities)) for one in farm.series_of(zone, "air_temperature"))
    return next((AirSensors(one, other) for one, other in pairs if other), None)
