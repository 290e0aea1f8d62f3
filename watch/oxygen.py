"""Dissolved oxygen as a share of what the solution could hold."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analytics.oxygen import dissolved_oxygen_saturation
from analytics.psychrometrics import air_pressure_at
from farm.description import Farm
from farm.readings import Series
from watch.derivation import Derivation, Values, partner
from watch.pressure import pressure_series


def oxygen(farm: Farm) -> list[Derivation]:
    """Return the oxygen saturation of every zone that has dissolved oxygen and the solution's temperature.

    At the air pressure that the farm measures; while none is known, at that of its elevation.
    """
    made = []
    for zone in farm.zones:
        pressure = pressure_series(farm, zone)
        for dissolved in farm.series_of(zone, "dissolved_oxygen"):
            temperature = partner(dissolved, farm.series_of(zone, "solution_temperature"))
            if temperature is not None:
                output: Series = dissolved._replace(quantity="dissolved_oxygen_saturation")
                formula = _at_elevation(farm.farm.elevation_m)
                inputs = (dissolved, temperature) if pressure is None else (dissolved, temperature, pressure)
                made.append(Derivation(output, inputs, formula))
    return made


def _at_elevation(elevation_m: float) -> Callable[..., Values]:
    usual = float(air_pressure_at(elevation_m))

    def formula(dissolved: Values, temperature: Values, pressure: Values | None = None) -> Values:
        known = usual if pressure is None else np.where(np.isnan(pressure), usual, pressure)
        return dissolved_oxygen_saturation(dissolved, temperature, known)

    return formula
