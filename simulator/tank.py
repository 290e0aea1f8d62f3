"""The nutrient tank itself: volume, ions, heat, oxygen and carbon dioxide.

References
----------
.. [1] Weiss, R. F., "The solubility of nitrogen, oxygen and argon in water and seawater," Deep-Sea
   Research 17, 1970, equation for oxygen from moist air at 1 atm; coefficients from memory.
"""

from __future__ import annotations

from math import exp, log
from typing import NamedTuple

import numpy as np

from simulator.alkalinity import acidity, carbon_dioxide_solubility
from simulator.compiled import Floats, compiled
from simulator.ions import CARBON, IONS, conductivity
from simulator.water_books import FROM_AIR, Books

ATMOSPHERE_KPA = 101.325
OXYGEN_MG_ML = 1.42903  # at 0 degC and 1 atm
RENEWAL_STILL_S = 1.5e-4  # share of the gas deficit made up in a second; our choice
RENEWAL_PUMPING_S = 6.0e-4
CO2_RENEWAL_SHARE = 0.9  # carbon dioxide is a little slower than oxygen; from memory
BREATHED_MG_L_S = 1.5e-4  # oxygen, by roots; our choice
OXYGEN_MG_MOL = 31_998.8
USUAL_C = 20.0


class TankState(NamedTuple):
    """The tank; arrays of one, but for the ions."""

    volume_l: Floats
    ions_mol: Floats  # by ion
    temperature: Floats  # degC, of all solution: tank, lines, rows and sump are taken as one
    oxygen_mg_l: Floats
    ph: Floats
    ec: Floats  # mS/cm at 25 degC
    conductivity: Floats  # mS/cm at its own temperature
    free_co2_mol_l: Floats


def tank_state(volume_l: float, concentrations: Floats) -> TankState:
    """Return a tank that holds a solution [mol/L]."""
    state = TankState(
        np.array([volume_l]),
        concentrations * volume_l,
        np.array([USUAL_C]),
        np.array([8.0]),
        np.array([6.0]),
        np.zeros(1),
        np.zeros(1),
        np.zeros(1),
    )
    settle(state)
    return state


@compiled
def oxygen_saturation(temperature: float) -> float:
    """Return dissolved oxygen of fresh water in balance with moist air at 1 atm [mg/L]."""
    hundreds = (temperature + 273.15) / 100.0
    millilitres = exp(-173.4292 + 249.6339 / hundreds + 143.3483 * log(hundreds) - 21.8492 * hundreds)
    return float(OXYGEN_MG_ML * millilitres)


@compiled
def settle(state: TankState) -> None:
    """Let the tank's chemistry come to rest: pH, EC and free carbon dioxide from what it holds."""
    concentrations = np.empty(IONS)
    for ion in range(IONS):
        concentrations[ion] = max(0.0, state.ions_mol[ion]) / state.volume_l[0]
    temperature = state.temperature[0]
    ph, strength, parts = acidity(concentrations, temperature, state.ph[0])
    state.ph[0] = ph
    state.conductivity[0] = conductivity(concentrations, parts, strength, temperature)
    state.ec[0] = conductivity(concentrations, parts, strength, 25.0)
    state.free_co2_mol_l[0] = concentrations[CARBON] - parts[1] - parts[2]


@compiled
def exchange_gases(
    state: TankState, books: Books, co2_ppm: float, air_pressure_kpa: float, pumping: float, seconds: float
) -> float:
    """Let oxygen and carbon dioxide pass between tank and air; return the CO2 given to the air [mol].

    What roots breathe out comes from sugars that leaves made: it enters the tank's carbon, and the
    books, as coming from air.
    """
    renewal = seconds * (RENEWAL_PUMPING_S if pumping > 0.5 else RENEWAL_STILL_S)
    saturation = oxygen_saturation(state.temperature[0]) * air_pressure_kpa / ATMOSPHERE_KPA
    breathed = min(BREATHED_MG_L_S * seconds, state.oxygen_mg_l[0])
    state.oxygen_mg_l[0] += renewal * (saturation - state.oxygen_mg_l[0]) - breathed
    pressure_atm = co2_ppm * 1e-6 * air_pressure_kpa / ATMOSPHERE_KPA
    held = carbon_dioxide_solubility(state.temperature[0]) * pressure_atm
    dissolved = CO2_RENEWAL_SHARE * renewal * (held - state.free_co2_mol_l[0]) * state.volume_l[0]
    exhaled = breathed / OXYGEN_MG_MOL * state.volume_l[0]
    state.ions_mol[CARBON] += dissolved + exhaled
    books.ions_mol[FROM_AIR, CARBON] += dissolved + exhaled
    return float(-dissolved)
