"""What is in the bottles and in the feed water: recipes, invented, scaled to the description's nameplates.

No guide to mixing or dosing anything: acids and bases burn, and stocks react with each other.
"""

from __future__ import annotations

import numpy as np

from farm.description import Farm, Stock
from simulator.alkalinity import acidity
from simulator.compiled import Floats
from simulator.ions import IONS, NAMES, POTASSIUM, conductivity

EC_AT_WORK_MS_CM = 1.8  # at which stocks are rated; our choice
USUAL_EC_PER_ML_L = 0.11  # where the description says nothing; our choice
NOTHING = np.zeros(IONS)


def solution(**moles: float) -> Floats:
    """Return an array of totals from amounts by ion name."""
    totals = np.zeros(IONS)
    for name, amount in moles.items():
        totals[NAMES.index(name)] = amount
    return totals


# mol per litre of finished solution; proportions of a leafy crop's recipe, our choice
CALCIUM_STOCK = solution(calcium=2.8e-3, nitrate=6.8e-3, ammonium=0.6e-3, potassium=0.6e-3)
PHOSPHATE_STOCK = solution(phosphorus=1.3e-3, magnesium=0.9e-3, sulphate=1.1e-3, potassium=5.4e-3, nitrate=3.7e-3)
# mol per litre of bottle
ACID_STOCK = solution(nitrate=0.42, phosphorus=0.08)  # nitric with some phosphoric acid
BASE_STOCK = solution(potassium=0.50, carbon=0.10)  # potassium hydroxide with some hydrogen carbonate
# mol per litre of what comes to the farm: a rather hard water
RAW_WATER = solution(
    calcium=1.5e-3, magnesium=0.4e-3, sodium=0.8e-3, potassium=0.05e-3, chloride=0.6e-3, sulphate=0.4e-3,
    nitrate=0.1e-3, carbon=3.2e-3,
)  # fmt: skip
FREE_CO2_MOL_L = 0.25e-3  # of feed water: membranes let the gas through
ALKALINE_SALTS = solution(sodium=1.5e-3, calcium=0.75e-3, carbon=3.0e-3)  # what alkaline feed brings besides


def electrical_conductivity(totals: Floats) -> float:
    """Return the EC of a solution at 25 degC [mS/cm] from its concentrations [mol/L]."""
    _, strength, parts = acidity(totals, 25.0, 6.5)
    return conductivity(totals, parts, strength, 25.0)


def scale_for(recipe: Floats, wanted_ec: float, over: Floats = NOTHING) -> float:
    """Return how much of a recipe, added to ``over``, makes an EC [mS/cm]; 0 where none is wanted."""
    if wanted_ec <= 0.0:
        return 0.0
    low, high = 0.0, 1.0
    while electrical_conductivity(over + recipe * high) < wanted_ec:
        high *= 2.0
    for _ in range(60):
        middle = 0.5 * (low + high)
        if electrical_conductivity(over + recipe * middle) < wanted_ec:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def bottled(stocks: list[Stock]) -> Floats:
    """Return what a litre of each bottle holds, one row a stock [mol/L].

    Of several nutrient stocks the first is the calcium and the second the phosphate recipe; a further one, or a single
    one, is both in one. They share the rise of EC as their nameplates do, and 1 mL of each in 1 L of solution at the
    working EC raises it by the sum of these: as a keeper measures it, who doses into a tank.
    """
    contents = np.zeros((len(stocks), IONS))
    nutrients = [index for index, stock in enumerate(stocks) if stock.role == "nutrient"]
    rates = {index: stocks[index].ec_per_ml_l or USUAL_EC_PER_ML_L for index in nutrients}
    dose_ml_l = EC_AT_WORK_MS_CM / sum(rates.values()) if nutrients else 0.0
    both = CALCIUM_STOCK + PHOSPHATE_STOCK
    for turn, index in enumerate(nutrients):
        recipe = (CALCIUM_STOCK, PHOSPHATE_STOCK)[turn] if len(nutrients) > 1 and turn < 2 else both
        contents[index] = recipe * scale_for(recipe, dose_ml_l * rates[index]) / (dose_ml_l / 1000.0)
    if nutrients:
        recipe = contents.sum(axis=0) / 1000.0
        at_work = recipe * scale_for(recipe, EC_AT_WORK_MS_CM)
        contents *= scale_for(recipe, EC_AT_WORK_MS_CM + sum(rates.values()), at_work)
    for index, stock in enumerate(stocks):
        if stock.role == "acid":
            contents[index] = ACID_STOCK
        elif stock.role == "base":
            contents[index] = BASE_STOCK
    return contents


def feed_passage(farm: Farm) -> float:
    """Return the share of the raw water's salt that reaches the tank, from the described EC of the feed."""
    tank = farm.equipment.reservoir
    return scale_for(RAW_WATER, tank.feed_ec_ms_cm if tank is not None else 0.0)


def first_fill(contents: Floats, stocks: list[Stock], feed: Floats, ec: float, ph: float) -> Floats:
    """Return a new solution [mol/L]: feed water with nutrient stocks to an EC, and potassium more or less to a pH.

    Parameters
    ----------
    contents : numpy.ndarray
        What :func:`bottled` returns.
    stocks : list of Stock
        The bottles.
    feed : numpy.ndarray
        Feed water. [mol/L]
    ec, ph : float
        What to make. [mS/cm, pH]
    """
    nutrients = [index for index, stock in enumerate(stocks) if stock.role == "nutrient"]
    recipe = contents[nutrients].sum(axis=0) if nutrients else CALCIUM_STOCK + PHOSPHATE_STOCK
    mixed = feed + recipe * scale_for(recipe, ec - electrical_conductivity(feed))
    low, high = -0.5 * mixed[POTASSIUM], mixed[POTASSIUM]
    for _ in range(60):
        trial = mixed.copy()
        trial[POTASSIUM] += 0.5 * (low + high)
        if acidity(trial, 20.0, ph)[0] < ph:
            low = 0.5 * (low + high)
        else:
            high = 0.5 * (low + high)
    mixed[POTASSIUM] += 0.5 * (low + high)
    return mixed
