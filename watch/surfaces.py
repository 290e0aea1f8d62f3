"""What a surface's temperature and the air beside it give: margin, the humidity at its face, mould index."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from analytics.condensation import (
    condensation_margin,
    condensation_margin_uncertainty,
    r_value_from_u_value,
    surface_film_resistance,
    surface_temperature_by_factor,
    temperature_factor,
)
from analytics.mould import surface_relative_humidity
from analytics.saturation import Phase
from farm.description import Farm, Surface
from farm.readings import Series
from watch.derivation import Derivation, Derived, Values, accuracy, accuracy_at, partner, phase_of
from watch.mould_hours import MouldIndex


@dataclass(frozen=True)
class SurfaceAir:
    """What a surface's figures rest on: the air beside it, and a probe on it or the air on its cold side.

    ``factor`` is the temperature factor that the description gives; None where only a probe tells.
    """

    surface: Surface
    temperature: Series
    humidity: Series
    phase: Phase
    probe: Series | None
    outdoors: Series | None
    factor: float | None

    @property
    def inputs(self) -> tuple[Series, Series, Series]:
        """The series that a surface's figures follow from: air, humidity, and probe or outdoors."""
        third = self.probe or self.outdoors
        assert third is not None  # noqa: S101  # surface_air gives none without
        return self.temperature, self.humidity, third

    def at(self, quantity: str) -> Series:
        """Return the derived series of a quantity at this surface."""
        return Series(self.temperature.farm, self.surface.zone, quantity, self.surface.name)


def surface_air(farm: Farm, surface: Surface) -> SurfaceAir | None:
    """Return what a surface's figures rest on; None where its zone or its outside lacks a sensor."""
    humidities = farm.series_of(surface.zone, "relative_humidity")
    pairs = [
        (temperature, humidity)
        for temperature in farm.series_of(surface.zone, "air_temperature")
        if (humidity := partner(temperature, humidities))
    ]
    probe = Series.parse(farm.name, surface.probe) if surface.probe else None
    outside = farm.series_of(surface.outside, "air_temperature") if surface.outside else []
    if not pairs or (probe is None and not outside):
        return None
    temperature, humidity = pairs[0]
    outdoors = outside[0] if outside else None
    return SurfaceAir(
        surface, temperature, humidity, phase_of(farm, humidity), probe, outdoors, described_factor(surface)
    )


def described_factor(surface: Surface) -> float | None:
    """Return a surface's temperature factor as described or from its resistance; None where neither is stated."""
    if surface.temperature_factor is not None:
        return surface.temperature_factor
    bare = surface_film_resistance(surface.heat_flow)
    r_value = surface.r_value_m2k_w
    if r_value is None and surface.u_value_w_m2k is not None:
        r_value = float(r_value_from_u_value(surface.u_value_w_m2k, bare))  # transmittances are stated for bare faces
    film = bare if surface.internal_film_m2k_w is None else surface.internal_film_m2k_w
    return None if r_value is None else float(temperature_factor(r_value, film))


def margin_of(farm: Farm, air: SurfaceAir) -> Derivation:
    """Return how a surface's condensation margin follows, with its give or take."""
    third = air.inputs[2]
    if air.probe is not None:
        own, shared = accuracy(farm, third), 0.0
    else:
        shared = air.factor or 0.0
        own = (1.0 - shared) * accuracy(farm, third)

    def margin(inside: Values, rh: Values, other: Values) -> Values:
        return condensation_margin(_face(air, inside, other), inside, rh, air.phase)

    def of_margin(inside: Values, rh: Values, other: Values) -> Values:
        known = np.where(np.isnan(other), np.nan, inside)
        accuracies = accuracy(farm, air.temperature), accuracy_at(farm, air.humidity, rh), own
        return condensation_margin_uncertainty(known, rh, *accuracies, shared, air.phase)

    return Derivation(air.at("condensation_margin"), air.inputs, margin, of_margin)


def _face(air: SurfaceAir, inside: Values, other: Values) -> Values:
    """Return a surface's temperature from its probe, else from the air on both sides."""
    if air.probe is not None:
        return other
    return surface_temperature_by_factor(inside, other, air.factor if air.factor is not None else float("nan"))


def surfaces(farm: Farm) -> list[Derived]:
    """Return every derived series of every surface."""
    return [one for surface in farm.surfaces if (air := surface_air(farm, surface)) for one in _surface(farm, air)]


def _surface(farm: Farm, air: SurfaceAir) -> list[Derived]:
    def at_face(inside: Values, rh: Values, other: Values) -> Values:
        return surface_relative_humidity(_face(air, inside, other), inside, rh, air.phase)

    made: list[Derived] = []
    face = air.probe
    if face is None:
        inside, _, outside = air.inputs
        face = air.at("surface_temperature")
        made.append(Derivation(face, (inside, outside), partial(_face, air), partial(_face_uncertainty, farm, air)))
    humidity = Derivation(air.at("surface_relative_humidity"), air.inputs, at_face)
    surface = air.surface
    mould = MouldIndex(air.at("mould_index"), (face, humidity.output), surface.mould_class, surface.mould_decline)
    return [*made, margin_of(farm, air), humidity, mould]


def _face_uncertainty(farm: Farm, air: SurfaceAir, inside: Values, outside: Values) -> Values:
    factor = air.factor if air.factor is not None else float("nan")
    by_inside, by_outside = factor * accuracy(farm, air.temperature), (1.0 - factor) * accuracy(farm, air.inputs[2])
    return np.where(np.isnan(inside + outside), np.nan, np.hypot(by_inside, by_outside))
