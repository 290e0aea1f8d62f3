"""Which series are derived from which, and how: dew point, VPD, condensation margins."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from analytics.condensation import (
    EXTERNAL_FILM,
    condensation_margin,
    r_value_from_u_value,
    surface_film_resistance,
    wall_surface_temperature,
)
from analytics.psychrometrics import dew_point_temperature
from analytics.vapour_pressure_deficit import air_vapour_pressure_deficit, leaf_vapour_pressure_deficit
from farm.description import Farm, Surface
from farm.readings import Series
from watch.derivation import Derivation, Derived, Values, partner
from watch.rates import rates
from watch.water import filter_drops, normalised_outputs


def derivations(farm: Farm) -> list[Derived]:
    """Return every derived series that a farm's description allows, in the order in which they can be worked out."""
    return [one for maker in MAKERS for one in maker(farm)]


def _air(farm: Farm) -> list[Derived]:
    """Return dew point and deficits of every zone that has the air's temperature and humidity."""
    made: list[Derived] = []
    for zone, described in farm.zones.items():
        humidities = farm.series_of(zone, "relative_humidity")
        leaves = farm.series_of(zone, "leaf_temperature")
        for temperature in farm.series_of(zone, "air_temperature"):
            humidity = partner(temperature, humidities)
            if humidity is None:
                continue

            def output(quantity: str, beside: Series = temperature) -> Series:
                return beside._replace(quantity=quantity)

            air = (temperature, humidity)
            made.append(Derivation(output("dew_point_temperature"), air, dew_point_temperature))
            made.append(Derivation(output("vapour_pressure_deficit"), air, air_vapour_pressure_deficit))
            leaf = output("leaf_vapour_pressure_deficit")
            if leaves:
                made.append(
                    Derivation(leaf, (*air, partner(temperature, leaves) or leaves[0]), leaf_vapour_pressure_deficit)
                )
            elif described.leaf_offset_k is not None:
                made.append(Derivation(leaf, air, _leaf_by_offset(described.leaf_offset_k)))
    return made


def _surfaces(farm: Farm) -> list[Derived]:
    return [one for surface in farm.surfaces for one in _surface(farm, surface)]


def derived_series(farm: Farm) -> list[Series]:
    """Return every series that the watch derives for a farm, light integrals included."""
    integrals = [one._replace(quantity="daily_light_integral") for one in farm.described if one.quantity == "ppfd"]
    return [*(derivation.output for derivation in derivations(farm)), *integrals]


def _leaf_by_offset(offset_k: float) -> Callable[[Values, Values], Values]:
    def formula(air_temperature: Values, relative_humidity: Values) -> Values:
        return leaf_vapour_pressure_deficit(air_temperature, relative_humidity, air_temperature + offset_k)

    return formula


def _surface(farm: Farm, surface: Surface) -> list[Derivation]:
    """Return a surface's condensation margin, and its temperature where no probe measures it."""
    pairs = [
        (temperature, humidity)
        for temperature in farm.series_of(surface.zone, "air_temperature")
        if (humidity := partner(temperature, farm.series_of(surface.zone, "relative_humidity")))
    ]
    if not pairs:
        return []
    temperature, humidity = pairs[0]
    margin = Series(farm.name, surface.zone, "condensation_margin", surface.name)
    if surface.probe is not None:
        probe = Series.parse(farm.name, surface.probe)
        return [
            Derivation(margin, (temperature, humidity, probe), lambda air, rh, wall: condensation_margin(wall, air, rh))
        ]
    outdoors = farm.series_of(str(surface.outside), "air_temperature")
    if not outdoors:
        return []
    film = surface_film_resistance(surface.heat_flow)
    r_value: float | Values = surface.r_value_m2k_w or r_value_from_u_value(surface.u_value_w_m2k or 0.0, film)

    def wall_temperature(inside: Values, outside: Values) -> Values:
        return wall_surface_temperature(inside, outside, r_value, film, EXTERNAL_FILM)

    computed = Series(farm.name, surface.zone, "surface_temperature", surface.name)
    return [
        Derivation(computed, (temperature, outdoors[0]), wall_temperature),
        Derivation(
            margin,
            (temperature, humidity, outdoors[0]),
            lambda air, rh, outside: condensation_margin(wall_temperature(air, outside), air, rh),
        ),
    ]


# Each returns derived series that a description allows; one that rests on others stands below them.
MAKERS: tuple[Callable[[Farm], Sequence[Derived]], ...] = (rates, _air, _surfaces, filter_drops, normalised_outputs)
