"""The nutrient tank: water, salt, acidity, heat and oxygen, kept by a doser and a top-up valve.

EC is taken as proportional to salt at 25 degC, and pH as linear in added acid or base over the
narrow range in which the doser works: both are simplifications, good enough to show drift and
dosing steps. All chemical coefficients are invented for the demonstration and no guide to dosing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from farm.description import Stock
from simulator.moist_air import WATER_HEAT_J_KG_K

SALT_G_L_PER_MS_CM = 0.75  # common practice, no source
FEED_WATER_EC = 0.03  # mS/cm, what reverse osmosis leaves
FEED_WATER_C = 16.0
FEED_L_MIN = 0.5
UPTAKE_SHARE = 0.80  # EC of what plants drink over EC of the tank; our choice
LOW_LEVEL = 0.88
HIGH_LEVEL = 0.91
EC_LOW = 1.74  # the doser starts below, stops above
EC_HIGH = 1.82
PH_LOW = 5.75
PH_HIGH = 6.00
PH_MEAN = 5.88
PH_PER_LITRE_DRUNK = 0.006  # drift upward with nitrate uptake, for a 250 L tank; our choice
REFERENCE_L = 250.0
PH_PER_ML_L = 0.60  # by 1 mL of acid or base in 1 L; our choice
NUTRIENT_PULSE_ML = 20.0
CORRECTION_PULSE_ML = 6.0
MIXING_MIN = 10  # between pulses
SOLUTION_W_K = 25.0  # between tank and room air; our choice
REFILL_AT_SHARE = 0.05  # the keeper changes a bottle that is nearly empty
OXYGEN_PER_S_STILL = 1.5e-4  # surface renewal; our choice
OXYGEN_PER_S_PUMPING = 6.0e-4
OXYGEN_BREATHED_MG_L_S = 1.5e-4  # roots; our choice


def oxygen_saturation(temperature: float) -> float:
    """Return dissolved oxygen of fresh water at 1 atm [mg/L] in balance with air.

    Notes
    -----
    The cubic fit 14.652 - 0.41022 T + 0.007991 T^2 - 0.000077774 T^3, a common engineering form, from memory.
    """
    return 14.652 - 0.41022 * temperature + 0.007991 * temperature**2 - 7.7774e-5 * temperature**3


@dataclass(slots=True)
class Bottle:
    """A stock bottle and its pump; ``turned_ml`` counts pump turns, also while the bottle is empty."""

    stock: Stock
    left_ml: float
    turned_ml: float = 0.0
    given_ml: float = 0.0

    def give(self, wanted_ml: float, empty_share: float) -> float:
        """Turn the pump for a volume and return what really came; ``empty_share`` of it is air."""
        self.turned_ml += wanted_ml
        if self.left_ml < REFILL_AT_SHARE * self.stock.bottle_l * 1000.0:
            self.left_ml = self.stock.bottle_l * 1000.0
        came = wanted_ml * (1.0 - empty_share)
        self.left_ml -= came
        self.given_ml += came
        return came


@dataclass(slots=True)
class WaterLedger:
    """Sums since the start: litres of water, grams of salt, joules."""

    feed_l: float = 0.0
    dosed_l: float = 0.0
    drunk_l: float = 0.0
    feed_salt_g: float = 0.0
    dosed_salt_g: float = 0.0
    taken_salt_g: float = 0.0
    air_heat: float = 0.0
    pump_heat: float = 0.0
    water_heat: float = 0.0  # carried by feed and doses, less what was drunk


@dataclass(slots=True)
class Reservoir:
    """State of the tank."""

    capacity_l: float
    air_pressure_share: float  # of 1 atm
    bottles: list[Bottle]
    volume_l: float = 0.0
    salt_g: float = 0.0
    ph: float = PH_MEAN
    temperature: float = 20.0
    oxygen: float = 8.0
    filling: bool = False
    feeding: bool = False  # the doser raises EC
    doser_on: bool = False
    wait_min: int = 0
    ledger: WaterLedger = field(default_factory=WaterLedger)

    def __post_init__(self) -> None:
        self.volume_l = 0.90 * self.capacity_l
        self.salt_g = self.volume_l * EC_HIGH * SALT_G_L_PER_MS_CM

    @property
    def ec(self) -> float:
        """EC at 25 degC [mS/cm]."""
        return self.salt_g / self.volume_l / SALT_G_L_PER_MS_CM

    @property
    def level(self) -> float:
        """Filling [%]."""
        return 100.0 * self.volume_l / self.capacity_l

    def advance(self, seconds: float, drunk_l: float, heat_from_air: float, pump_heat: float, pumping: bool) -> None:
        """Move the tank on: plants drink, air and pump warm it [W], the top-up valve fills it."""
        ledger = self.ledger
        heat_j = WATER_HEAT_J_KG_K * self.volume_l * self.temperature
        taken = drunk_l * self.ec * SALT_G_L_PER_MS_CM * UPTAKE_SHARE
        feed = FEED_L_MIN * seconds / 60.0 if self.filling else 0.0
        feed_salt = feed * FEED_WATER_EC * SALT_G_L_PER_MS_CM
        carried = WATER_HEAT_J_KG_K * (feed * FEED_WATER_C - drunk_l * self.temperature)
        self.salt_g += feed_salt - taken
        self.volume_l += feed - drunk_l
        heat_j += seconds * (heat_from_air + pump_heat) + carried
        self.temperature = heat_j / (WATER_HEAT_J_KG_K * self.volume_l)
        self.ph += PH_PER_LITRE_DRUNK * drunk_l * REFERENCE_L / self.volume_l
        renewal = OXYGEN_PER_S_PUMPING if pumping else OXYGEN_PER_S_STILL
        saturation = oxygen_saturation(self.temperature) * self.air_pressure_share
        self.oxygen += seconds * (renewal * (saturation - self.oxygen) - OXYGEN_BREATHED_MG_L_S)
        ledger.feed_l += feed
        ledger.drunk_l += drunk_l
        ledger.feed_salt_g += feed_salt
        ledger.taken_salt_g += taken
        ledger.air_heat += seconds * heat_from_air
        ledger.pump_heat += seconds * pump_heat
        ledger.water_heat += carried

    def control(self, empty_share: dict[str, float]) -> None:
        """Decide filling and dosing for the next minute; ``empty_share`` by stock name, 1 is empty."""
        if self.volume_l < LOW_LEVEL * self.capacity_l:
            self.filling = True
        elif self.volume_l > HIGH_LEVEL * self.capacity_l:
            self.filling = False
        self.doser_on = False
        self.wait_min = max(0, self.wait_min - 1)
        if self.wait_min:
            return
        ec = self.ec
        self.feeding = ec < EC_LOW or (self.feeding and ec < EC_HIGH)
        if self.feeding:
            self._pulse("nutrient", NUTRIENT_PULSE_ML, empty_share)
        if self.ph > PH_HIGH:
            self._pulse("acid", CORRECTION_PULSE_ML, empty_share)
        elif self.ph < PH_LOW:
            self._pulse("base", CORRECTION_PULSE_ML, empty_share)

    def _pulse(self, role: str, volume_ml: float, empty_share: dict[str, float]) -> None:
        """Dose every stock of a role once, then leave time to mix."""
        self.doser_on = True
        self.wait_min = MIXING_MIN
        for bottle in self.bottles:
            if bottle.stock.role != role:
                continue
            came_ml = bottle.give(volume_ml, empty_share.get(bottle.stock.name, 0.0))
            salt = came_ml * (bottle.stock.ec_per_ml_l or 0.0) * SALT_G_L_PER_MS_CM
            turn = {"acid": -1.0, "base": 1.0}.get(role, 0.0)
            self.ph += turn * PH_PER_ML_L * came_ml / self.volume_l
            self.salt_g += salt
            self.volume_l += came_ml / 1000.0  # at the tank's own temperature
            self.ledger.dosed_l += came_ml / 1000.0
            self.ledger.dosed_salt_g += salt
            self.ledger.water_heat += WATER_HEAT_J_KG_K * came_ml / 1000.0 * self.temperature
