"""Which series are derived from which, and how: dew point, VPD, condensation margins."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
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
from farm.readings import Columns, Series
from store.contract import ReadingStore
from watch.bands import FLAG_OF_RANK, FLAG_RANK, max_age_us, usable
from watch.rates import rates

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Derivation:
    """How one derived series follows from measured ones.

    ``formula`` takes one array a series of ``inputs``, aligned in time, and returns the values. A
    value is made at every time at which any input has a reading, from the newest reading of each
    input that is not older than three of its cadences.
    """

    output: Series
    inputs: tuple[Series, ...]
    formula: Callable[..., Values]

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return for how long a reading of an input is held: three of its cadences."""
        return max_age_us(farm, series)

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``; they depend on nothing but the inputs' readings.

        The flag is the worst of the inputs'. Where an input is missing there is no reading.
        """
        ages = [max_age_us(farm, series) for series in self.inputs]
        read = [store.read(series, start_us - age, end_us) for series, age in zip(self.inputs, ages, strict=True)]
        at_us = np.unique(np.concatenate([columns.time_us for columns in read]))
        at_us = at_us[at_us >= start_us]
        if len(at_us) == 0:
            return Columns.empty()
        held = [
            hold_as_of(columns.time_us, usable(columns), at_us, age) for columns, age in zip(read, ages, strict=True)
        ]
        value = self.formula(*(one.value for one in held))
        rank = np.zeros(len(at_us), np.uint8)
        for one, columns in zip(held, read, strict=True):
            found = one.position >= 0
            rank[found] = np.maximum(rank[found], FLAG_RANK[columns.flag[one.position[found]]])
        known = np.isfinite(value)
        return Columns(at_us[known], value[known], FLAG_OF_RANK[rank[known]])


class Derived(Protocol):
    """A series that follows from others: what it rests on, and its readings over a range."""

    @property
    def output(self) -> Series:
        """The derived series."""

    @property
    def inputs(self) -> tuple[Series, ...]:
        """The series that it rests on."""

    def reach_us(self, farm: Farm, series: Series) -> int:
        """Return how far after a reading of one of ``inputs`` there are derived readings that rest on it."""

    def columns(self, farm: Farm, store: ReadingStore, start_us: int, end_us: int) -> Columns:
        """Return the derived readings of ``[start_us, end_us)``."""


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
            humidity = _partner(temperature, humidities)
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
                    Derivation(leaf, (*air, _partner(temperature, leaves) or leaves[0]), leaf_vapour_pressure_deficit)
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


def _partner(one: Series, others: Sequence[Series]) -> Series | None:
    """Return the series of the same sensor, or the only one there is; None where that leaves a choice."""
    same = [other for other in others if other.sensor == one.sensor]
    return same[0] if same else others[0] if len(others) == 1 else None


def _leaf_by_offset(offset_k: float) -> Callable[[Values, Values], Values]:
    def formula(air_temperature: Values, relative_humidity: Values) -> Values:
        return leaf_vapour_pressure_deficit(air_temperature, relative_humidity, air_temperature + offset_k)

    return formula


def _surface(farm: Farm, surface: Surface) -> list[Derivation]:
    """Return a surface's condensation margin, and its temperature where no probe measures it."""
    pairs = [
        (temperature, humidity)
        for temperature in farm.series_of(surface.zone, "air_temperature")
        if (humidity := _partner(temperature, farm.series_of(surface.zone, "relative_humidity")))
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
MAKERS: tuple[Callable[[Farm], Sequence[Derived]], ...] = (rates, _air, _surfaces)
