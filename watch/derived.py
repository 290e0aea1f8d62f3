"""Which series are derived from which, and how: dew point, deficits and humidity ratio of the air; and all others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from analytics.humidity import humidity_ratio
from analytics.psychrometrics import air_pressure_at, dew_point_temperature
from analytics.saturation import Phase
from analytics.uncertainty import (
    air_vapour_pressure_deficit_uncertainty,
    dew_point_temperature_uncertainty,
    leaf_vapour_pressure_deficit_uncertainty,
)
from analytics.vapour_pressure_deficit import air_vapour_pressure_deficit, leaf_vapour_pressure_deficit
from farm.description import Farm
from farm.readings import Series
from watch.air_change import air_changes
from watch.air_conditioner import moisture_removal
from watch.carbon_dioxide import co2_averages
from watch.daily import dailies
from watch.derivation import Derivation, Derived, Values, accuracy, accuracy_at, partner, phase_of
from watch.estimated_light import estimated_light
from watch.oxygen import oxygen
from watch.pressure import pressure_series
from watch.rates import rates
from watch.surfaces import surfaces
from watch.water import filter_drops, normalised_outputs

__all__ = ["MAKERS", "Derivation", "Derived", "derivations", "derived_series"]


def derivations(farm: Farm) -> list[Derived]:
    """Return every derived series that a farm's description allows, in the order in which they can be worked out."""
    return [one for maker in MAKERS for one in maker(farm)]


def derived_series(farm: Farm) -> list[Series]:
    """Return every series that the watch derives for a farm, those of light days included."""
    daily = [one.output for zone in dailies(farm) for one in zone.series]
    return [*(derivation.output for derivation in derivations(farm)), *daily]


def _air(farm: Farm) -> list[Derived]:
    """Return dew point, deficits and humidity ratio of every zone that has the air's temperature and humidity."""
    made: list[Derived] = []
    for zone in farm.zones:
        humidities = farm.series_of(zone, "relative_humidity")
        for temperature in farm.series_of(zone, "air_temperature"):
            humidity = partner(temperature, humidities)
            if humidity is not None:
                made += [*_of_air(farm, temperature, humidity), *_leaf(farm, temperature, humidity)]
    return made


def _of_air(farm: Farm, temperature: Series, humidity: Series) -> list[Derivation]:
    air, phase = (temperature, humidity), phase_of(farm, humidity)
    of_air = accuracy(farm, temperature)

    def of_dew_point(inside: Values, rh: Values) -> Values:
        return dew_point_temperature_uncertainty(inside, rh, of_air, accuracy_at(farm, humidity, rh), phase)

    def of_deficit(inside: Values, rh: Values) -> Values:
        of_humidity = accuracy_at(farm, humidity, rh)
        return air_vapour_pressure_deficit_uncertainty(inside, rh, of_air, of_humidity, phase)

    pressure = pressure_series(farm, temperature.zone)
    return [
        Derivation(
            temperature._replace(quantity="dew_point_temperature"),
            air,
            partial(dew_point_temperature, phase=phase),
            of_dew_point,
        ),
        Derivation(
            temperature._replace(quantity="vapour_pressure_deficit"),
            air,
            partial(air_vapour_pressure_deficit, phase=phase),
            of_deficit,
        ),
        Derivation(
            temperature._replace(quantity="humidity_ratio"),
            air if pressure is None else (*air, pressure),
            partial(_humidity_ratio, float(air_pressure_at(farm.farm.elevation_m)), phase),
        ),
    ]


def _humidity_ratio(
    usual_pressure: float, phase: Phase, air: Values, humidity: Values, pressure: Values | None = None
) -> Values:
    """Return the humidity ratio at the measured pressure; where there is none, at that of the farm's elevation."""
    measured = np.nan if pressure is None else pressure
    return humidity_ratio(air, humidity, np.where(np.isnan(measured), usual_pressure, measured), phase)


def _leaf(farm: Farm, temperature: Series, humidity: Series) -> list[Derivation]:
    """Return the deficit that leaves meet, by a sensor of theirs or by the offset that the description states."""
    output = temperature._replace(quantity="leaf_vapour_pressure_deficit")
    of_air = accuracy(farm, temperature)
    if leaves := farm.series_of(temperature.zone, "leaf_temperature"):
        leaf = partner(temperature, leaves) or leaves[0]
        of_leaf = accuracy(farm, leaf)

        def by_sensor(air: Values, rh: Values, leaf: Values) -> Values:
            of_humidity = accuracy_at(farm, humidity, rh)
            return leaf_vapour_pressure_deficit_uncertainty(air, rh, leaf, of_air, of_humidity, of_leaf)

        return [Derivation(output, (temperature, humidity, leaf), leaf_vapour_pressure_deficit, by_sensor)]
    offset_k = farm.zones[temperature.zone].leaf_offset_k
    if offset_k is None:
        return []

    def deficit(air: Values, rh: Values) -> Values:
        return leaf_vapour_pressure_deficit(air, rh, air + offset_k)

    def by_offset(air: Values, rh: Values) -> Values:
        of_humidity = accuracy_at(farm, humidity, rh)
        return leaf_vapour_pressure_deficit_uncertainty(air, rh, air + offset_k, of_air, of_humidity, 0.0, 1.0)

    return [Derivation(output, (temperature, humidity), deficit, by_offset)]


# Each returns derived series that a description allows; one that rests on others stands below them.
MAKERS: tuple[Callable[[Farm], Sequence[Derived]], ...] = (
    rates,
    _air,
    surfaces,
    moisture_removal,
    oxygen,
    estimated_light,
    co2_averages,
    air_changes,
    filter_drops,
    normalised_outputs,
)
