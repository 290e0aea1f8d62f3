"""The room: one well-mixed volume of air with its walls, its leaves, its coil and its leaks.

States are kept as energy, vapour and CO2; temperature and humidity follow from them. Every flow is
summed up in a ledger, so that a check can hold what came and went against what is there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from simulator.moist_air import (
    CELSIUS_ZERO_K,
    DRY_AIR_GAS_CONSTANT,
    DRY_AIR_MOLAR_MASS,
    EVAPORATION_HEAT_J_KG,
    MAGNUS_OFFSET_C,
    MAGNUS_SLOPE,
    VAPOUR_GAS_CONSTANT,
    VAPOUR_HEAT_J_KG_K,
    WATER_HEAT_J_KG_K,
    enthalpy,
    humidity_ratio,
    saturation_pressure,
    temperature_from_enthalpy,
    vapour_pressure,
)

INNER_STEP_S = 15.0  # the air's own time constant is about a minute

# An insulated 12 m container (invented demo figures).
VOLUME_M3 = 70.0
ENVELOPE_M2 = 135.0
INSIDE_FILM_M2K_W = 0.13  # ISO 6946, horizontal heat flow
OUTSIDE_FILM_M2K_W = 0.04  # ISO 6946
THERMAL_MASS_J_K = 1.5e6  # racks, channels, floor; our choice
THERMAL_MASS_W_K = 350.0  # between air and thermal mass; our choice
WALL_VAPOUR_M_S = 0.0025  # vapour transfer to a wet wall, about 3 W m-2 K-1 by Lewis' relation
MIST_SETTLES_S = 60.0  # what the air cannot hold wets the surfaces
COIL_AIR_KG_S = 0.22
COIL_CONTACT = 0.85  # share of the air that meets the coil (1 minus bypass)
COIL_LAG_S = 90.0
OUTDOOR_CO2_PPM = 425.0


@dataclass(slots=True)
class Drive:
    """What acts on the room during one outer step; rates stay constant within it.

    ``electric_heat`` [W] is every electrical input that ends as heat in the air. Each of ``leaves`` is
    (absorbed light [W], sensible conductance [W/K], vapour conductance [m3/s]).
    """

    outdoor_temperature: float
    outdoor_humidity_ratio: float
    infiltration: float  # [kg dry air/s]
    electric_heat: float
    cooling: bool
    coil_temperature: float  # what the coil tends to while cooling [degC]
    drain_blocked: float  # share of the condensate that evaporates again, 0 to 1
    cooling_capacity: float  # [W]
    leaves: Sequence[tuple[float, float, float]]
    co2_uptake: float  # [mol/s]
    co2_dose: float  # [mol/s]
    solution_temperature: float
    solution_conductance: float  # between air and reservoir [W/K]


@dataclass(slots=True)
class Ledger:
    """Sums since the start, each positive into the room's air (J, kg, mol), except where it says."""

    electric: float = 0.0
    envelope: float = 0.0
    infiltration: float = 0.0
    solution: float = 0.0
    transpired_water: float = 0.0  # enthalpy that leaf water brought
    coil: float = 0.0  # negative: heat taken by the refrigerant
    condensate_heat: float = 0.0  # negative: enthalpy that condensate took
    wall_water_heat: float = 0.0  # negative: enthalpy that wall water took
    transpiration: float = 0.0  # [kg]
    condensate: float = 0.0  # [kg], out of the air
    wall_water: float = 0.0  # [kg], out of the air
    infiltrated_vapour: float = 0.0  # [kg]
    co2_dosed: float = 0.0  # [mol]
    co2_taken_up: float = 0.0  # [mol], out of the air
    co2_infiltrated: float = 0.0  # [mol]


class Room:
    """State of the room's air and the mass it touches."""

    __slots__ = (
        "air_kg",
        "air_mol",
        "co2_mol",
        "coil_temperature",
        "envelope_w_k",
        "heat",
        "ledger",
        "mass_temperature",
        "pressure",
        "supply_humidity_ratio",
        "supply_temperature",
        "temperature",
        "vapour",
        "wall_film_share",
    )  # fmt: skip

    def __init__(
        self, pressure: float, wall_r: float, temperature: float, relative_humidity: float, co2: float
    ) -> None:
        self.pressure = pressure
        self.air_kg = pressure * VOLUME_M3 / (DRY_AIR_GAS_CONSTANT * (CELSIUS_ZERO_K + 21.0))
        self.air_mol = self.air_kg / DRY_AIR_MOLAR_MASS
        resistance = INSIDE_FILM_M2K_W + wall_r + OUTSIDE_FILM_M2K_W
        self.envelope_w_k = ENVELOPE_M2 / resistance
        self.wall_film_share = INSIDE_FILM_M2K_W / resistance
        ratio = humidity_ratio(saturation_pressure(temperature) * relative_humidity / 100.0, pressure)
        self.temperature = temperature
        self.vapour = ratio * self.air_kg
        self.heat = self.air_kg * enthalpy(temperature, ratio)
        self.mass_temperature = temperature
        self.co2_mol = co2 * 1e-6 * self.air_mol
        self.coil_temperature = temperature
        self.supply_temperature = temperature
        self.supply_humidity_ratio = ratio
        self.ledger = Ledger()

    @property
    def humidity_ratio(self) -> float:
        """Humidity ratio of the air [kg/kg]."""
        return self.vapour / self.air_kg

    @property
    def vapour_pressure(self) -> float:
        """Vapour pressure of the air [Pa]."""
        return vapour_pressure(self.vapour / self.air_kg, self.pressure)

    @property
    def relative_humidity(self) -> float:
        """Relative humidity over water [%]."""
        return 100.0 * self.vapour_pressure / saturation_pressure(self.temperature)

    @property
    def co2(self) -> float:
        """CO2 mole fraction [umol mol-1]."""
        return self.co2_mol / self.air_mol * 1e6

    def surface_temperature(self, u_value: float, outdoor_temperature: float) -> float:
        """Return the inner surface temperature [degC] of a part with a U-value [W m-2 K-1], by ISO 13788."""
        return self.temperature - (self.temperature - outdoor_temperature) * u_value * INSIDE_FILM_M2K_W

    def advance(self, seconds: float, drive: Drive) -> None:
        """Move the room on by an outer step of ``seconds``, a multiple of INNER_STEP_S."""
        for _ in range(round(seconds / INNER_STEP_S)):
            self._inner(INNER_STEP_S, drive)
        infiltrated = drive.infiltration / DRY_AIR_MOLAR_MASS * (OUTDOOR_CO2_PPM - self.co2) * 1e-6
        self.co2_mol += seconds * (drive.co2_dose - drive.co2_uptake + infiltrated)
        self.ledger.co2_dosed += seconds * drive.co2_dose
        self.ledger.co2_taken_up += seconds * drive.co2_uptake
        self.ledger.co2_infiltrated += seconds * infiltrated

    def _inner(self, seconds: float, drive: Drive) -> None:
        """Move air, vapour and thermal mass on by one inner step."""
        air = self.temperature
        ratio = self.vapour / self.air_kg
        saturation = saturation_pressure(air)
        transpired = self._transpiration(air, ratio, saturation, drive.leaves)
        coil_heat, condensed = self._coil(air, ratio, drive, seconds)
        wall = air - (air - drive.outdoor_temperature) * self.wall_film_share
        wall_ratio = humidity_ratio(saturation_pressure(wall), self.pressure)
        wall_water = self.air_kg * (
            max(0.0, ratio - wall_ratio) * WALL_VAPOUR_M_S * ENVELOPE_M2 / VOLUME_M3
            + max(0.0, ratio - humidity_ratio(saturation, self.pressure)) / MIST_SETTLES_S
        )
        outdoors = enthalpy(drive.outdoor_temperature, drive.outdoor_humidity_ratio)

        envelope = self.envelope_w_k * (drive.outdoor_temperature - air)
        infiltration = drive.infiltration * (outdoors - self.heat / self.air_kg)
        to_mass = THERMAL_MASS_W_K * (air - self.mass_temperature)
        to_solution = drive.solution_conductance * (air - drive.solution_temperature)
        transpired_water = transpired * WATER_HEAT_J_KG_K * drive.solution_temperature
        condensate_heat = condensed * WATER_HEAT_J_KG_K * self.coil_temperature
        wall_water_heat = wall_water * WATER_HEAT_J_KG_K * wall
        infiltrated = drive.infiltration * (drive.outdoor_humidity_ratio - ratio)

        self.heat += seconds * (
            drive.electric_heat + envelope + infiltration - to_mass - to_solution
            + transpired_water - coil_heat - condensate_heat - wall_water_heat
        )  # fmt: skip
        self.vapour += seconds * (transpired - condensed - wall_water + infiltrated)
        self.mass_temperature += seconds * to_mass / THERMAL_MASS_J_K
        self.temperature = temperature_from_enthalpy(self.heat / self.air_kg, self.vapour / self.air_kg)

        ledger = self.ledger
        ledger.electric += seconds * drive.electric_heat
        ledger.envelope += seconds * envelope
        ledger.infiltration += seconds * infiltration
        ledger.solution -= seconds * to_solution
        ledger.transpired_water += seconds * transpired_water
        ledger.coil -= seconds * coil_heat
        ledger.condensate_heat -= seconds * condensate_heat
        ledger.wall_water_heat -= seconds * wall_water_heat
        ledger.transpiration += seconds * transpired
        ledger.condensate += seconds * condensed
        ledger.wall_water += seconds * wall_water
        ledger.infiltrated_vapour += seconds * infiltrated

    def _transpiration(
        self, air: float, ratio: float, saturation: float, leaves: Sequence[tuple[float, float, float]]
    ) -> float:
        """Vapour that all leaves give [kg/s]: each stand's energy balance, linear about air temperature."""
        density = 1.0 / (VAPOUR_GAS_CONSTANT * (CELSIUS_ZERO_K + air))  # vapour density per pascal
        slope = saturation * MAGNUS_SLOPE * MAGNUS_OFFSET_C / (MAGNUS_OFFSET_C + air) ** 2 * density
        deficit = (saturation - vapour_pressure(ratio, self.pressure)) * density
        latent = EVAPORATION_HEAT_J_KG + (VAPOUR_HEAT_J_KG_K - WATER_HEAT_J_KG_K) * air
        total = 0.0
        for light, to_air, to_vapour in leaves:
            leaf_above_air = (light - latent * to_vapour * deficit) / (to_air + latent * to_vapour * slope)
            total += max(0.0, to_vapour * (deficit + slope * leaf_above_air))
        return total

    def _coil(self, air: float, ratio: float, drive: Drive, seconds: float) -> tuple[float, float]:
        """Heat that the coil takes [W] and condensate that drains away [kg/s]."""
        target = drive.coil_temperature if drive.cooling else air
        self.coil_temperature += (target - self.coil_temperature) * seconds / COIL_LAG_S
        coil = self.coil_temperature
        dry_by = max(0.0, ratio - humidity_ratio(saturation_pressure(coil), self.pressure))
        contact = COIL_CONTACT
        while True:
            supply = air - contact * (air - coil)
            supply_ratio = ratio - contact * dry_by
            condensed = COIL_AIR_KG_S * (ratio - supply_ratio)
            taken = COIL_AIR_KG_S * (enthalpy(air, ratio) - enthalpy(supply, supply_ratio))
            taken -= condensed * WATER_HEAT_J_KG_K * coil
            if taken <= drive.cooling_capacity * 1.0001:
                break
            contact *= drive.cooling_capacity / taken
        # Water that does not drain evaporates again: part of it within the duct, up to saturation.
        again = condensed * drive.drain_blocked
        saturated = humidity_ratio(saturation_pressure(supply), self.pressure)
        self.supply_temperature = supply
        self.supply_humidity_ratio = min(saturated, supply_ratio + again / COIL_AIR_KG_S)
        return taken, condensed - again
