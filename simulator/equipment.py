"""Equipment: lamps, air conditioner, heater, CO2 valve, irrigation and the electricity meter.

Controls decide once a minute and hold until the next. Set points and sizes are invented for the
demonstration. Dosing CO2 can kill: the figures here are no guide to installing it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

from farm.description import AirConditioner, LampGroup

MINUTES_A_DAY = 1440

# Lamps
FADE_PER_YEAR = 0.04
OUTPUT_AT_START = 0.98  # of commissioning

# Climate
TEMPERATURE_LIT_C = 22.5
TEMPERATURE_DARK_C = 20.0
COOL_ABOVE_K = 0.6  # the compressor starts this far above the set point and stops at it
HEAT_BELOW_K = 0.6
HUMIDITY_LIT = 66.0
HUMIDITY_DARK = 70.0
DRY_ABOVE = 3.0
DRY_BELOW = 3.0
TOO_COLD_TO_DRY_K = 1.5  # below the set point, drying waits for the heater
LEAST_RUN_MIN = 2
COIL_C = 6.0
HEATER_W = 3500.0
AIR_HANDLER_W = 150.0
CIRCULATION_W = 200.0
CONTROLLER_W = 40.0

# CO2, while lit
CO2_OPEN_BELOW = 965.0
CO2_CLOSE_ABOVE = 1015.0
CO2_VALVE_MOL_S = 0.0030

# Air leaks, in room volumes an hour
AIR_CHANGES = 0.25
AIR_CHANGES_DOOR_OPEN = 6.0
VISITS = ((9 * 60 + 30, 1), (9 * 60 + 55, 1))  # the keeper's way in and out: minute of day, minutes open

# Irrigation
DRIP_MIN = 5
DRIP_EVERY_LIT_MIN = 20
DRIP_EVERY_DARK_MIN = 60
PUMP_W = 180.0
PUMP_KPA = 190.0
FILTER_CLEAN_KPA = 8.0
FILTER_LOADING_KPA_PER_L = 0.0006  # litres since cleaning
FILTER_CLEANED_AT_MIN = 9 * 60 + 40  # on Mondays, local time


@dataclass(slots=True)
class Lamps:
    """One lamp group with its light day in local minutes."""

    group: LampGroup
    on_minute: int
    lit_minutes: int
    commanded: bool = False

    def control(self, minute_of_day: int) -> None:
        """Switch by the local time of day."""
        self.commanded = (minute_of_day - self.on_minute) % MINUTES_A_DAY < self.lit_minutes

    def output(self, years: float, lost: float) -> float:
        """Return the share of the commissioning output that shines, after ``years`` of fading."""
        return (1.0 - lost) * OUTPUT_AT_START * (1.0 - FADE_PER_YEAR * years) if self.commanded else 0.0

    def power(self, lost: float) -> float:
        """Return the electrical input [W]."""
        return self.group.power_w * (1.0 - lost) if self.commanded else 0.0


@dataclass(slots=True)
class Climate:
    """Air conditioner that cools and dries, with an electric heater that keeps the room warm meanwhile."""

    unit: AirConditioner
    cooling: bool = False
    drying: bool = False
    heating: bool = False
    compressor_on: bool = False
    minutes: int = LEAST_RUN_MIN

    def control(self, temperature: float, relative_humidity: float, lit: bool) -> None:
        """Decide for the next minute from the room's air."""
        wanted = TEMPERATURE_LIT_C if lit else TEMPERATURE_DARK_C
        humid = HUMIDITY_LIT if lit else HUMIDITY_DARK
        self.cooling = temperature > wanted + (0.0 if self.cooling else COOL_ABOVE_K)
        self.drying = (
            relative_humidity > humid + (-DRY_BELOW if self.drying else DRY_ABOVE)
            and temperature > wanted - TOO_COLD_TO_DRY_K
        )
        self.heating = temperature < wanted - (0.0 if self.heating else HEAT_BELOW_K)
        self.minutes += 1
        run = self.cooling or self.drying
        if run != self.compressor_on and self.minutes >= LEAST_RUN_MIN:
            self.compressor_on = run
            self.minutes = 0


@dataclass(slots=True)
class CarbonDioxide:
    """The dosing valve."""

    valve_open: bool = False

    def control(self, co2: float, lit: bool) -> None:
        """Open while lit and short of CO2."""
        self.valve_open = lit and co2 < (CO2_CLOSE_ABOVE if self.valve_open else CO2_OPEN_BELOW)


@dataclass(slots=True)
class Irrigation:
    """The drip pump and its filter."""

    emitters_l_min: float
    pump_on: bool = False
    litres_since_cleaning: float = 0.0

    def control(self, minute_of_day: int, weekday: int, lit: bool) -> None:
        """Run by the local time of day; clean the filter on Mondays."""
        every = DRIP_EVERY_LIT_MIN if lit else DRIP_EVERY_DARK_MIN
        self.pump_on = minute_of_day % every < DRIP_MIN
        if weekday == 0 and minute_of_day == FILTER_CLEANED_AT_MIN:
            self.litres_since_cleaning = 0.0

    def advance(self, seconds: float) -> None:
        """Load the filter with what flowed."""
        self.litres_since_cleaning += self.flow * seconds / 60.0

    @property
    def pressure_before(self) -> float:
        """Gauge pressure before the filter [kPa]."""
        return PUMP_KPA if self.pump_on else 0.0

    @property
    def pressure_after(self) -> float:
        """Gauge pressure after the filter [kPa]."""
        loss = FILTER_CLEAN_KPA + FILTER_LOADING_KPA_PER_L * self.litres_since_cleaning
        return max(0.0, PUMP_KPA - loss) if self.pump_on else 0.0

    @property
    def flow(self) -> float:
        """Flow to the drip rows: emitters pass the square root of their pressure [L/min]."""
        return self.emitters_l_min * sqrt(self.pressure_after / (PUMP_KPA - FILTER_CLEAN_KPA))


def door_open(minute_of_day: int) -> bool:
    """Whether the keeper's daily visit has the door open at a local time of day."""
    return any(start <= minute_of_day < start + minutes for start, minutes in VISITS)
