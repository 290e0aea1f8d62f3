"""Air pressure of a zone, and which CO2 sensors are to be corrected for it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from analytics.alignment import hold_as_of
from analytics.carbon_dioxide import pressure_corrected_mole_fraction
from analytics.psychrometrics import air_pressure_at
from farm.description import Farm, ZoneKind
from farm.readings import Series
from store.contract import ReadingStore
from watch.bands import max_age_us, usable


@dataclass(frozen=True, slots=True)
class AirPressure:
    """Where a zone's air pressure is read, for how long a reading holds, and what it usually is. [kPa]."""

    series: Series | None
    age_us: int
    usual_kpa: float

    def at(self, store: ReadingStore, at_us: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the pressure at ascending instants: as measured, else as usual. [kPa]."""
        usual = np.full(len(at_us), self.usual_kpa)
        if self.series is None or len(at_us) == 0:
            return usual
        read = store.read(self.series, int(at_us[0]) - self.age_us, int(at_us[-1]) + 1)
        held = hold_as_of(read.time_us, usable(read), at_us, self.age_us).value
        return np.where(np.isnan(held), usual, held)


@dataclass(frozen=True, slots=True)
class PressureCorrection:
    """How a CO2 sensor's readings become right that knows no pressure but the one it was calibrated at. [kPa]."""

    pressure: AirPressure
    calibrated_at_kpa: float

    def corrected(
        self, store: ReadingStore, at_us: NDArray[np.int64], value: NDArray[np.float64]
    ) -> NDArray[np.float64]:
        """Return the readings of ascending instants made right. [umol mol-1]."""
        pressure = self.pressure.at(store, at_us)
        return pressure_corrected_mole_fraction(value, pressure, calibration_pressure=self.calibrated_at_kpa)


def pressure_series(farm: Farm, zone: str) -> Series | None:
    """Return what tells a zone's air pressure: its own sensor, else one indoors, else one outdoors; None without."""
    several = [one for one in farm.described if one.quantity == "air_pressure"]
    outdoors = ZoneKind.OUTDOORS
    return min(several, key=lambda one: (one.zone != zone, farm.zones[one.zone].kind is outdoors), default=None)


def air_pressure_of(farm: Farm, zone: str) -> AirPressure:
    """Return the pressure of a zone: of the farm's nearest sensor, else as usual at the farm's elevation."""
    series = pressure_series(farm, zone)
    age_us = 0 if series is None else max_age_us(farm, series)
    return AirPressure(series, age_us, float(air_pressure_at(farm.farm.elevation_m)))


def pressure_corrections(farm: Farm) -> dict[Series, PressureCorrection]:
    """Return the correction of each CO2 series whose description says at which pressure it was calibrated."""
    return {
        series: PressureCorrection(air_pressure_of(farm, series.zone), one.calibrated_at_kpa)
        for series, one in farm.described.items()
        if one.calibrated_at_kpa is not None
    }
