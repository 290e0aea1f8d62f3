"""pH as the balance of charges: carbonate, phosphate and ammonium against everything that is fully dissociated.

References
----------
.. [1] Plummer, L. N., Busenberg, E., "The solubilities of calcite, aragonite and vaterite in CO2-H2O
   solutions between 0 and 90 degC," Geochimica et Cosmochimica Acta 46, 1982: carbonic acid, the
   solubility of CO2, and Debye-Hueckel's A.
.. [2] Bates, R. G., J. Research National Bureau of Standards 47, 1951 (first), and Bates, R. G., Acree,
   S. F., 34, 1945 (second dissociation of phosphoric acid); from memory. The third, 12.35, from memory.
.. [3] Emerson, K. et al., J. Fisheries Research Board of Canada 32, 1975: ammonium; from memory.
.. [4] Stumm, W., Morgan, J. J., "Aquatic Chemistry," 1996: ion product of water; secondary copies.
.. [5] Davies, C. W., "Ion Association," 1962: activity coefficients, good to an ionic strength of 0.5.
"""

from __future__ import annotations

from math import log, log10, sqrt

from simulator.compiled import Floats, compiled
from simulator.ions import (
    AMMONIUM,
    CALCIUM,
    CARBON,
    CHLORIDE,
    MAGNESIUM,
    NITRATE,
    PHOSPHORUS,
    POTASSIUM,
    SODIUM,
    SULPHATE,
)

ZERO_C_K = 273.15
LOWEST_PH, HIGHEST_PH = 0.0, 14.0
CLOSE_ENOUGH_PH = 1e-9
LN10 = log(10.0)


@compiled
def strong_charge(totals: Floats) -> float:
    """Return the charge of what is fully dissociated [mol/L]."""
    return float(
        totals[POTASSIUM]
        + totals[SODIUM]
        + 2.0 * (totals[CALCIUM] + totals[MAGNESIUM] - totals[SULPHATE])
        - totals[NITRATE]
        - totals[CHLORIDE]
    )


@compiled
def equilibria(temperature: float) -> tuple[float, float, float, float, float, float, float, float]:
    """Return the equilibrium constants at a temperature [degC].

    Carbonic acid's first and second; phosphoric acid's first, second and third; ammonium's; the ion
    product of water; and Debye-Hueckel's A.
    """
    kelvin = temperature + ZERO_C_K
    log_kelvin = log10(kelvin)
    first = -356.3094 - 0.06091964 * kelvin + 21834.37 / kelvin + 126.8339 * log_kelvin - 1684915.0 / kelvin**2
    second = -107.8871 - 0.03252849 * kelvin + 5151.79 / kelvin + 38.92561 * log_kelvin - 563713.9 / kelvin**2
    phosphoric_1 = -(799.31 / kelvin - 4.5535 + 0.013486 * kelvin)
    phosphoric_2 = -(1979.5 / kelvin - 5.3541 + 0.01984 * kelvin)
    ammonium = -(0.09018 + 2729.92 / kelvin)
    water = 6.0875 - 0.01706 * kelvin - 4470.99 / kelvin
    return (
        10.0**first,
        10.0**second,
        10.0**phosphoric_1,
        10.0**phosphoric_2,
        10.0**-12.35,
        10.0**ammonium,
        10.0**water,
        0.4883 + 8.074e-4 * temperature,
    )


@compiled
def carbon_dioxide_solubility(temperature: float) -> float:
    """Return the CO2 that water holds under 1 atm of it [mol/L]."""
    kelvin = temperature + ZERO_C_K
    power = 108.3865 + 0.01985076 * kelvin - 6919.53 / kelvin - 40.45154 * log10(kelvin) + 669365.0 / kelvin**2
    return float(10.0**power)


@compiled
def activity(ionic_strength: float, debye: float) -> float:
    """Return the activity coefficient of an ion of one charge (Davies); n charges have its n^2-th power."""
    root = sqrt(ionic_strength)
    return float(10.0 ** (-debye * (root / (1.0 + root) - 0.3 * ionic_strength)))


@compiled
def species(
    totals: Floats,
    ph: float,
    gamma: float,
    constants: tuple[float, float, float, float, float, float, float, float],
) -> tuple[float, float, float, float, float, float, float, float]:
    """Return what the totals are made of at a pH [mol/L].

    Ammonium, hydrogen carbonate, carbonate, dihydrogen phosphate, hydrogen phosphate, phosphate, hydrogen, hydroxide.
    ``gamma`` is the activity coefficient of an ion of one charge.
    """
    c1, c2, p1, p2, p3, n, w, _ = constants
    a = 10.0**-ph
    g3 = gamma * gamma * gamma
    g5 = g3 * gamma * gamma
    bicarbonate = c1 / (a * gamma)  # over free CO2
    carbonate = bicarbonate * c2 / (a * g3)
    carbon = totals[CARBON] / (1.0 + bicarbonate + carbonate)
    dihydrogen = p1 / (a * gamma)  # over phosphoric acid
    hydrogen_phosphate = dihydrogen * p2 / (a * g3)
    phosphate = hydrogen_phosphate * p3 / (a * g5)
    phosphorus = totals[PHOSPHORUS] / (1.0 + dihydrogen + hydrogen_phosphate + phosphate)
    ammonium = totals[AMMONIUM] / (1.0 + n * gamma / a)
    return (
        ammonium,
        carbon * bicarbonate,
        carbon * carbonate,
        phosphorus * dihydrogen,
        phosphorus * hydrogen_phosphate,
        phosphorus * phosphate,
        a / gamma,
        w / (a * gamma),
    )


@compiled
def ionic_strength(totals: Floats, parts: tuple[float, float, float, float, float, float, float, float]) -> float:
    """Return half the sum of concentration times charge squared [mol/L]."""
    ammonium, bicarbonate, carbonate, dihydrogen, hydrogen_phosphate, phosphate, hydrogen, hydroxide = parts
    singly = totals[NITRATE] + totals[POTASSIUM] + totals[SODIUM] + totals[CHLORIDE]
    singly += ammonium + bicarbonate + dihydrogen + hydrogen + hydroxide
    doubly = totals[CALCIUM] + totals[MAGNESIUM] + totals[SULPHATE] + carbonate + hydrogen_phosphate
    return float(0.5 * singly + 2.0 * doubly + 4.5 * phosphate)


@compiled
def balance(
    totals: Floats,
    strong: float,
    ph: float,
    gamma: float,
    constants: tuple[float, float, float, float, float, float, float, float],
) -> tuple[float, float]:
    """Return the charge left over at a pH [mol/L] and its slope [mol/L per pH]."""
    ammonium, bicarbonate, carbonate, h2po4, hpo4, po4, hydrogen, hydroxide = species(totals, ph, gamma, constants)
    left = strong + ammonium + hydrogen - hydroxide - bicarbonate - 2.0 * carbonate - h2po4 - 2.0 * hpo4 - 3.0 * po4
    # An acid's mean charge falls with pH by ln 10 times the spread of its species' charges.
    spread = hydrogen + hydroxide
    if totals[CARBON] > 0.0:
        mean = (bicarbonate + 2.0 * carbonate) / totals[CARBON]
        spread += bicarbonate + 4.0 * carbonate - totals[CARBON] * mean * mean
    if totals[PHOSPHORUS] > 0.0:
        mean = (h2po4 + 2.0 * hpo4 + 3.0 * po4) / totals[PHOSPHORUS]
        spread += h2po4 + 4.0 * hpo4 + 9.0 * po4 - totals[PHOSPHORUS] * mean * mean
    if totals[AMMONIUM] > 0.0:
        spread += ammonium * (1.0 - ammonium / totals[AMMONIUM])
    return left, -LN10 * spread


@compiled
def solved_ph(
    totals: Floats,
    gamma: float,
    constants: tuple[float, float, float, float, float, float, float, float],
    guess: float,
) -> float:
    """Return the pH at which a solution is neutral in charge: Newton's steps, kept between brackets."""
    strong = strong_charge(totals)
    low, high = LOWEST_PH, HIGHEST_PH
    ph = guess
    for _ in range(200):
        left, slope = balance(totals, strong, ph, gamma, constants)
        if left > 0.0:
            low = ph
        else:
            high = ph
        step = -left / slope
        if ph + step <= low or ph + step >= high:
            step = 0.5 * (low + high) - ph
        ph += step
        if abs(step) < CLOSE_ENOUGH_PH:
            break
    return ph


@compiled
def acidity(
    totals: Floats, temperature: float, guess: float
) -> tuple[float, float, tuple[float, float, float, float, float, float, float, float]]:
    """Return pH, ionic strength [mol/L] and species [mol/L] of a solution.

    Parameters
    ----------
    totals : numpy.ndarray
        Concentrations by total. [mol/L]
    temperature : float
        0 to 50. [degC]
    guess : float
        A pH to begin with: the last one.

    Notes
    -----
    pH is of activity, as a glass electrode sees it. The ionic strength needs the species and the
    species need it; the second pass is within 0.001 of the limit for solutions below 0.2 mol/L.
    """
    constants = equilibria(temperature)
    parts = species(totals, guess, 1.0, constants)
    strength = ionic_strength(totals, parts)
    ph = guess
    for _ in range(2):
        gamma = activity(strength, constants[7])
        ph = solved_ph(totals, gamma, constants, ph)
        parts = species(totals, ph, gamma, constants)
        strength = ionic_strength(totals, parts)
    return ph, strength, parts
