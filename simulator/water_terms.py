"""What the water side of the model is told, what it keeps, and what can go wrong with it.

The water side is four parts that share one state: the tank (:mod:`simulator.tank`), the doser
(:mod:`simulator.doser`), the feed water (:mod:`simulator.feed_water`) and the lines to the plants
(:mod:`simulator.lines`); :mod:`simulator.water` moves them on together and is all that others call.

A *place* is where roots drink: every drip row, then every flood-and-drain shelf, in the
description's order; :func:`place_zones` names them. The sump is the place behind the last.

How the whole model calls it (all compiled but the first two, so that it can be called in the loop)::

    parameters = simulator.water.water_parameters(farm)
    state = simulator.water.water_state(farm, parameters)
    simulator.water.control(state, parameters, minute_of_day, lit, fault, powered)   # decides for a minute
    simulator.water.advance(state, parameters, minute, fault, seconds)               # moves it on
    simulator.water.record(state, parameters, columns)   # writes one row of truth: 1-D, len(water_columns(farm))
    simulator.water.supply(state, parameters, place)     # 0 to 1: multiply a stand's transpiration by it

``fault`` is a 1-D array of severities in the order of :func:`water_fault_slots`. A stand's demand is
known before the water moves, so ``supply`` is of the state before ``advance``. After ``advance``,
``state.heat_to_air_w[0]`` and ``state.electrical_power_w[0]`` hold for the step that has passed.

The columns ``*_at_probe`` and ``*_at_sensor`` are what the probe in the tank makes of the truth, its
own faults included, because the doser and the top-up valve act on them: a sensor that reports EC, pH
or level reads these columns and adds only noise, lag and resolution.
"""

from __future__ import annotations

from typing import NamedTuple

from farm.description import Farm
from simulator.compiled import Floats

# Faults that are one for the whole farm, in the order of their slots.
WHOLE = (
    "salt_uptake_high",
    "feed_water_bad",
    "dilution_leak",
    "ec_probe_fouled",
    "ec_probe_drift",
    "ec_compensation_wrong",
    "acid_empty",
    "base_empty",
    "ph_uptake_drift",
    "alkaline_feed",
    "ph_probe_aged",
    "ph_probe_dry",
    "ph_probe_unplugged",
    "pump_off",
    "filter_loading",
    "valve_left_to_drain",
    "sump_return_lost",
    "ro_membrane_tired",
    "ro_feed_cold",
    "level_sensor_stuck",
)
(
    SALT_UPTAKE_HIGH,
    FEED_WATER_BAD,
    DILUTION_LEAK,
    EC_PROBE_FOULED,
    EC_PROBE_DRIFT,
    EC_COMPENSATION_WRONG,
    ACID_EMPTY,
    BASE_EMPTY,
    PH_UPTAKE_DRIFT,
    ALKALINE_FEED,
    PH_PROBE_AGED,
    PH_PROBE_DRY,
    PH_PROBE_UNPLUGGED,
    PUMP_OFF,
    FILTER_LOADING,
    VALVE_LEFT_TO_DRAIN,
    SUMP_RETURN_LOST,
    RO_MEMBRANE_TIRED,
    RO_FEED_COLD,
    LEVEL_SENSOR_STUCK,
) = range(len(WHOLE))
FIRST_OF_STOCKS = len(WHOLE)
PER_STOCK = ("nutrient_stock_empty", "doser_line_air", "doser_overdosing")  # three slots a stock
STOCK_EMPTY, LINE_AIR, OVERDOSING = range(len(PER_STOCK))


class WaterMinute(NamedTuple):
    """What the rest of the farm tells the water side about one step."""

    transpired_kg: Floats  # by place: water that leaves leaves as vapour
    kept_kg: Floats  # by place: water that plants keep as growth
    air_temperature: float  # degC, around the tank
    co2_ppm: float  # umol mol-1, around the tank
    air_pressure_kpa: float
    feed_temperature: float  # degC, of the water that comes to the farm
    condensate_kg: float  # what the air conditioner's drain gave; used where the description returns it
    leaked_l: float  # solution lost to the floor, e.g. to a leak that later evaporates
    clean_filter: float  # 1 where the keeper cleans the line filter in this step
    change_bottles: float  # 1 where the keeper changes every bottle that is nearly empty
    powered: float  # 1 where the water equipment has mains, else 0


def place_zones(farm: Farm) -> tuple[str, ...]:
    """Return the zones of the places where roots drink: drip rows, then flood shelves."""
    equipment = farm.equipment
    return (*(row.zone for row in equipment.drip_rows), *(shelf.zone for shelf in equipment.flood_shelves))


def water_fault_slots(farm: Farm) -> tuple[tuple[str, str], ...]:
    """Return (kind, target) of every slot of the fault array that the water side reads, in order.

    Sizes mean what the kinds of fault say, 0 where all is sound: mostly the share of the function that is lost. A
    fault without a target on something that has several belongs into each of its slots.
    """
    equipment = farm.equipment
    return (
        *((kind, "") for kind in WHOLE),
        *((kind, stock.name) for stock in equipment.stocks for kind in PER_STOCK),
        *(("emitters_clogged", row.zone) for row in equipment.drip_rows),
        *(("flood_tray_not_draining", shelf.zone) for shelf in equipment.flood_shelves),
    )


def water_columns(farm: Farm) -> tuple[str, ...]:
    """Return the names of the truth columns that :func:`simulator.water.record` writes, in order."""
    equipment = farm.equipment
    return (
        *COLUMNS,
        *(f"water.dosed_ml.{stock.name}" for stock in equipment.stocks),  # by the pump's turns, as a doser counts
        *(f"water.given_ml.{stock.name}" for stock in equipment.stocks),  # what really came
        *(f"water.bottle_left_ml.{stock.name}" for stock in equipment.stocks),
        *(f"water.flow_l_min.{zone}" for zone in place_zones(farm)),  # into each row and shelf
        *(f"water.held_l.{zone}" for zone in place_zones(farm)),
        *(f"water.supply.{zone}" for zone in place_zones(farm)),  # 0 to 1: share of its demand a stand can drink
        *(f"water.tray_level.{shelf.zone}" for shelf in equipment.flood_shelves),  # %
        *(f"water.tray_wet.{shelf.zone}" for shelf in equipment.flood_shelves),  # float switch
    )


COLUMNS = (
    "water.ec",  # mS/cm at 25 degC, true
    "water.ph",  # true
    "water.temperature",
    "water.oxygen",  # mg/L
    "water.level",  # %
    "water.volume",  # L
    "water.ec_at_probe",  # what the probe makes of it, faults of the probe included; before noise and lag
    "water.ph_at_probe",
    "water.level_at_sensor",
    "water.pump_on",
    "water.flow",  # L/min, to the drip rows
    "water.pressure_before",  # kPa
    "water.pressure_after",
    "water.return_flow",  # L/min, from the sump
    "water.doser_on",
    "water.flood_pump_on",
    "water.filling",  # top-up valve open
    "water.feed_made",  # L, meter of the feed water
    "water.feed_rate",  # L/min
    "water.feed_ec",  # mS/cm, of what the unit makes
    "water.feed_temperature",
    "water.drained",  # L, to the drain: valve, overflow, lost return
    "water.electrical_power",  # W
    "water.heat_to_air",  # W, from the solution to the room's air
)
