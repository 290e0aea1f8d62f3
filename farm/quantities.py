"""The registry of quantities: what is measured, in which one unit, and how it is named outside."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from farm.units import WIRE_UNITS


class Kind(StrEnum):
    """How a quantity behaves in time."""

    LEVEL = "level"  # a value that holds at an instant: temperature, EC
    STATE = "state"  # on (1) or off (0), holding until the next reading
    COUNTER = "counter"  # a running total that only grows, until it is reset


@dataclass(frozen=True, slots=True)
class Quantity:
    """One entry of the registry.

    ``low`` and ``high`` bound what is physically plausible in or around a farm, in ``unit``; a
    sensor's own range, given in the farm's description, may be narrower. ``accuracy`` is what a
    sensor of the trade usually achieves (common practice, no source), plus or minus at 95 %, in ``unit``.
    ``cf_name`` is the CF standard name, where one exists; ``senml_unit`` the unit we expect on the
    wire (RFC 8428 and RFC 8798; the UCUM code where those registries have none).
    """

    name: str
    label: str
    unit: str
    ucum: str
    senml_unit: str
    low: float
    high: float
    decimals: int
    accuracy: float | None = None
    cf_name: str | None = None
    kind: Kind = Kind.LEVEL
    derived: bool = False

    @property
    def cf_unit(self) -> str:
        """The unit as UDUNITS reads it, which is what CF asks for; pH is a bare number there."""
        return {"pH": "1", "kWh": "kW h", "1/h": "h-1"}.get(self.unit, self.unit)

    @property
    def display_unit(self) -> str:
        """The unit as people read it; empty for a state or a bare number."""
        return {"1": "", "degC": "°C", "umol mol-1": "ppm", "umol m-2 s-1": "µmol m⁻² s⁻¹",
                "mol m-2 d-1": "mol m⁻² d⁻¹", "g/m3": "g m⁻³", "pH": ""}.get(self.unit, self.unit)  # fmt: skip


def _state(name: str, label: str) -> Quantity:
    return Quantity(name, label, "1", "1", "/", 0.0, 1.0, 0, kind=Kind.STATE)


_ALL = (
    # Air
    Quantity("air_temperature", "Air temperature", "degC", "Cel", "Cel", -60, 70, 1, 0.3, "air_temperature"),
    Quantity("relative_humidity", "Relative humidity", "%", "%", "%RH", 0, 105, 1, 2.0, "relative_humidity"),
    Quantity("co2_mole_fraction", "CO2", "umol mol-1", "umol/mol", "ppm", 0, 100_000, 0, 50.0,
             "mole_fraction_of_carbon_dioxide_in_air"),
    Quantity("air_pressure", "Air pressure", "kPa", "kPa", "hPa", 50, 110, 2, 0.1, "air_pressure"),
    Quantity("air_speed", "Air speed", "m/s", "m/s", "m/s", 0, 30, 2, 0.1),
    Quantity("leaf_temperature", "Leaf temperature", "degC", "Cel", "Cel", -20, 60, 1, 0.5),
    Quantity("surface_temperature", "Surface temperature", "degC", "Cel", "Cel", -60, 80, 1, 0.3),
    # Light
    Quantity("ppfd", "PPFD", "umol m-2 s-1", "umol.m-2.s-1", "umol.m-2.s-1", 0, 3000, 0, 15.0,
             "surface_downwelling_photosynthetic_photon_flux_in_air"),
    Quantity("illuminance", "Illuminance", "lx", "lx", "lx", 0, 200_000, 0, 500.0),
    # Root zone
    Quantity("solution_ec", "EC at 25 °C", "mS/cm", "mS/cm", "mS/cm", 0, 20, 2, 0.05),
    Quantity("solution_ph", "pH", "pH", "[pH]", "pH", 0, 14, 2, 0.1),
    Quantity("solution_temperature", "Solution temperature", "degC", "Cel", "Cel", -5, 60, 1, 0.3),
    Quantity("dissolved_oxygen", "Dissolved oxygen", "mg/L", "mg/L", "mg/L", 0, 40, 1, 0.3),
    Quantity("solution_level", "Reservoir level", "%", "%", "%EL", 0, 110, 0, 2.0),
    Quantity("solution_volume", "Reservoir volume", "L", "L", "l", 0, 20_000, 0, 2.0),
    # Water
    Quantity("flow_rate", "Flow", "L/min", "L/min", "l/min", 0, 1000, 2, 0.2),
    Quantity("line_pressure_before_filter", "Line pressure before the filter", "kPa", "kPa", "Pa", -100, 2000, 0, 5.0),
    Quantity("line_pressure_after_filter", "Line pressure after the filter", "kPa", "kPa", "Pa", -100, 2000, 0, 5.0),
    Quantity("metered_volume", "Water meter", "L", "L", "l", 0, 1e9, 1, kind=Kind.COUNTER),
    Quantity("dosed_volume", "Dosed volume", "mL", "mL", "mL", 0, 1e9, 0, kind=Kind.COUNTER),
    Quantity("condensate_volume", "Condensate", "L", "L", "l", 0, 1e9, 1, kind=Kind.COUNTER),
    # Power
    Quantity("electrical_power", "Power", "W", "W", "W", 0, 200_000, 0, 20.0),
    Quantity("electrical_energy", "Energy", "kWh", "kW.h", "kWh", 0, 1e9, 1, kind=Kind.COUNTER),
    # On and off
    _state("lights_on", "Lights"),
    _state("pump_on", "Pump"),
    _state("fan_on", "Fan"),
    _state("compressor_on", "Compressor"),
    _state("purge_on", "Purge fan"),
    _state("doser_on", "Doser"),
    _state("co2_valve_open", "CO2 valve"),
    _state("door_open", "Door"),
    _state("power_present", "Mains power"),
    _state("float_switch_closed", "Float switch"),
    # Derived
    Quantity("vapour_pressure_deficit", "Air VPD", "kPa", "kPa", "kPa", -5, 20, 2,
             cf_name="water_vapor_saturation_deficit_in_air", derived=True),
    Quantity("leaf_vapour_pressure_deficit", "Leaf VPD", "kPa", "kPa", "kPa", -5, 20, 2, derived=True),
    Quantity("dew_point_temperature", "Dew point", "degC", "Cel", "Cel", -110, 70, 1,
             cf_name="dew_point_temperature", derived=True),
    Quantity("humidity_ratio", "Humidity ratio", "kg/kg", "kg/kg", "kg/kg", 0, 1, 5, cf_name="humidity_mixing_ratio",
             derived=True),
    Quantity("condensation_margin", "Condensation margin", "K", "K", "K", -100, 100, 1, derived=True),
    Quantity("surface_relative_humidity", "Humidity at the surface", "%", "%", "%RH", 0, 100, 1, derived=True),
    Quantity("mould_index", "Mould index", "1", "1", "/", 0, 6, 2, derived=True),
    Quantity("moisture_removal_rate", "Water removed by the coil", "kg/h", "kg/h", "kg/h", -100, 1000, 2, derived=True),
    Quantity("co2_average_8h", "CO2, average of 8 h", "umol mol-1", "umol/mol", "ppm", 0, 1_000_000, 0, derived=True),
    Quantity("co2_average_15min", "CO2, average of 15 min", "umol mol-1", "umol/mol", "ppm", 0, 1_000_000, 0, derived=True),
    Quantity("air_change_rate", "Air changes by leakage", "1/h", "/h", "/h", 0, 100, 2, derived=True),
    Quantity("daily_light_integral", "Daily light integral", "mol m-2 d-1", "mol.m-2.d-1", "mol.m-2.d-1", 0, 100, 1,
             derived=True),
    Quantity("dissolved_oxygen_saturation", "Oxygen saturation", "%", "%", "%", 0, 400, 0, derived=True),
    Quantity("photoperiod", "Photoperiod", "h", "h", "h", 0, 36, 1, derived=True),
    Quantity("lamp_output", "Lamp output", "%", "%", "%", 0, 200, 1, derived=True),
    Quantity("filter_pressure_drop", "Filter pressure drop", "kPa", "kPa", "kPa", -100, 2000, 1, derived=True),
    Quantity("normalised_output", "Feed water output at 25 °C", "%", "%", "/100", 0, 1000, 1, derived=True),
)  # fmt: skip

QUANTITIES: dict[str, Quantity] = {quantity.name: quantity for quantity in _ALL}

# Quantity -> levels and the usual accuracy there, straight lines between: what holds near 1000 ppm or 65 % RH says too
# much elsewhere. 5 % of a gas or light reading, 2 % of the others, 4 % RH near saturation: common practice, no source.
ACCURACY_BY_LEVEL: dict[str, tuple[tuple[float, float], ...]] = {
    "relative_humidity": ((0, 4.0), (20, 2.0), (80, 2.0), (100, 4.0)),
    "co2_mole_fraction": ((1000, 50.0), (100_000, 5000.0)),
    "ppfd": ((300, 15.0), (3000, 150.0)),
    "illuminance": ((10_000, 500.0), (200_000, 10_000.0)),
    "solution_ec": ((2.5, 0.05), (20, 0.4)),
    "solution_volume": ((100, 2.0), (20_000, 400.0)),
    "flow_rate": ((10, 0.2), (1000, 20.0)),
    "electrical_power": ((1000, 20.0), (200_000, 4000.0)),
}

if unknown := {quantity.unit for quantity in _ALL} - WIRE_UNITS.keys():
    raise RuntimeError(f"quantities use units that farm.units does not know: {sorted(unknown)}")
