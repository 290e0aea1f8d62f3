"""A farm's description and building, turned into the numbers that the compiled loop works with."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from farm.description import Farm, Surface, ZoneKind
from simulator.air import INSIDE_FILM_M2K_W, OUTSIDE_FILM_M2K_W, Rooms
from simulator.building import Building, Planting
from simulator.coil import coil_make
from simulator.compiled import Floats
from simulator.controls import Limits
from simulator.crop import CO2_G_MOL, structural_matter
from simulator.farm_parts import CropParts, FaultColumns, LampParts, MachineParts, Parts
from simulator.fault_kinds import FaultKind
from simulator.faults import FaultSlots
from simulator.frame import rows_of
from simulator.moist_air import CELSIUS_ZERO_K, DRY_AIR_GAS_CONSTANT, standard_pressure
from simulator.targets import DOOR, LOUVRE
from simulator.water import water_parameters
from simulator.water_terms import place_zones, water_fault_slots

YEAR_S = 365.25 * 86_400.0
USUAL_AIR_C = 21.0
MOST_ROW_AIR = 0.7  # of the room's air, in all rows together


def parts_of(farm: Farm, building: Building, start: datetime) -> Parts:
    """Return everything about a farm that does not change in a run.

    Raises
    ------
    ValueError
        If the description lacks an air conditioner, a reservoir, lamps or rows, or a surface its resistance.
    """
    nameplates, walls, machines = farm.equipment, building.walls, building.machines
    unit, gas = nameplates.air_conditioner, nameplates.carbon_dioxide
    rows = rows_of(farm)
    if unit is None or nameplates.reservoir is None or not nameplates.lamp_groups or not rows:
        raise ValueError(
            f"farm {farm.name!r} cannot be simulated: describe [equipment.air_conditioner], "
            "[equipment.reservoir], at least one [[equipment.lamp_groups]] and a growing_row or seedling_shelf zone"
        )
    pressure = standard_pressure(farm.farm.elevation_m)
    density = pressure / (DRY_AIR_GAS_CONSTANT * (CELSIUS_ZERO_K + USUAL_AIR_C))
    volume = walls.air_volume_m3 if gas is None else gas.air_volume_m3
    areas = np.array([_area(farm, row, building.planting) for row in rows])
    volumes = _volumes(volume, areas, building)
    air_kg = volumes * density
    flow = machines.coil_air_kg_s_w * unit.cooling_w
    if unit.air_flow_m3_h is not None:
        flow = unit.air_flow_m3_h / 3600.0 * density
    falls = areas * (1.0 + machines.duct_falls * np.linspace(0.5, -0.5, len(rows)))
    blown = np.concatenate(([1.0 - machines.duct_share], machines.duct_share * falls / falls.sum()))
    r_value = max((one.r_value_m2k_w for one in farm.surfaces if one.r_value_m2k_w), default=walls.r_value_m2k_w)
    resistance = INSIDE_FILM_M2K_W + r_value + OUTSIDE_FILM_M2K_W
    shares = volumes / volumes.sum()
    rooms = Rooms(
        air_pressure=pressure,
        air_kg=air_kg,
        wall_m2=walls.area_m2 * shares,
        wall_w_k=walls.area_m2 * shares / resistance,
        wall_film_share=INSIDE_FILM_M2K_W / resistance,
        bridge_m2=float(walls.bridge_m2),
        bridge_u=float(walls.bridge_u_w_m2k),
        mass_j_k=walls.mass_j_k * shares,
        mass_w_k=walls.mass_w_k * shares,
        supply_share=blown,
        coil=coil_make(flow, machines.coil_contact),
    )
    slots = FaultSlots(farm)
    index = {name: column for column, name in enumerate(slots.names)}
    groups = nameplates.lamp_groups
    lit = np.array([[float(row in group.zones) for row in rows] for group in groups])
    heat = np.column_stack((np.zeros(len(groups)), lit))
    heat[:, 0] = lit.sum(axis=1) == 0.0
    commissioned = [start if one.commissioned is None else farm.moment(one.commissioned) for one in groups]
    leads = [any(farm.zones[zone].kind == ZoneKind.GROWING_ROW for zone in group.zones) for group in groups]
    valve = machines.co2_valve_mol_s
    if gas is not None and gas.valve_flow_g_h is not None:
        valve = gas.valve_flow_g_h / 3600.0 / CO2_G_MOL
    settings = building.settings
    lit_h = max(
        (
            phase.photoperiod_h or 0.0
            for row in rows
            if farm.zones[row].kind == ZoneKind.GROWING_ROW and (phase := farm.phase_at(row, start)) is not None
        ),
        default=0.0,
    )
    names = list(rows)
    parts = Parts(
        rooms=rooms,
        limits=Limits(
            **{name: float(getattr(settings, name)) for name in settings.__dataclass_fields__},
            least_rest_min=max(float(settings.least_run_min), np.ceil((unit.min_off_s or 0.0) / 60.0)),
            dry_share=float(machines.dry_share),
            frost_kg=rooms.coil.frost_kg,
            has_dehumidifier=float(machines.dehumidifier_l_day > 0.0),
            has_valve=float(valve > 0.0),
        ),
        slots=_columns(farm, slots),
        lamps=LampParts(
            group_w=np.array([one.power_w for one in groups]),
            group_rows=lit,
            group_ppfd=np.array([one.commissioning_ppfd for one in groups]),
            group_heat=np.ascontiguousarray(heat / heat.sum(axis=1, keepdims=True)),
            group_years=np.array([max(0.0, (start - one).total_seconds()) / YEAR_S for one in commissioned]),
            group_leads=np.array(leads, dtype=np.float64),
            output_at_start=building.lamps.output_at_start,
            fade_a_year=building.lamps.fade_a_year,
            start_s=start.astimezone(UTC).timestamp(),
            circuit=index[FaultKind.CIRCUIT_LOST, "lights"],
            lost=_integers(index[FaultKind.LAMP_GROUP_LOST, one.name] for one in groups),
            fade=_integers(index[FaultKind.LAMP_FADE, one.name] for one in groups),
            astray=_integers(index[FaultKind.LAMPS_OUT_OF_PLACE, one.name] for one in groups),
        ),
        crop=CropParts(
            area_m2=areas,
            usual_g_m2=np.array([structural_matter(_leaf_area(farm, row, building.planting)) for row in rows]),
            young_g_m2=structural_matter(building.planting.young_leaf_area_index),
        ),
        machines=MachineParts(
            fan_w=np.full(len(rows), machines.fan_w),
            exchange_kg_s=machines.fan_volumes_h / 3600.0 * air_kg[1:],
            fan_dead=_integers(index.get((FaultKind.CIRCULATION_FAN_DEAD, row), -1) for row in rows),
            still_share=machines.still_share,
            air_speed=machines.air_speed_m_s,
            still_air_speed=machines.still_air_speed_m_s,
            coil_air_kg_s=flow,
            cooling_w=unit.cooling_w,
            compressor_w=unit.power_w,
            air_handler_w=machines.air_handler_w,
            heater_w=machines.heater_w,
            dehumidifier_kg_s=machines.dehumidifier_l_day / 86_400.0,
            dehumidifier_w=machines.dehumidifier_l_day * machines.dehumidifier_w_l_day,
            purge_kg_s=machines.purge_m3_h / 3600.0 * density,
            purge_w=machines.purge_w,
            controller_w=machines.controller_w,
            valve_mol_s=valve,
            bottle_kg=machines.co2_bottle_kg,
            air_changes=walls.air_changes,
            air_changes_door=walls.air_changes_door,
            air_changes_louvre=walls.air_changes_louvre,
            roof_gain_k=walls.roof_absorptance * OUTSIDE_FILM_M2K_W * walls.roof_m2 / walls.area_m2,
            floor_m2=walls.floor_m2,
        ),
        surface_place=np.array([_place(names, one) for one in farm.surfaces], dtype=np.int64),
        surface_share=np.array([_film_share(one) for one in farm.surfaces], dtype=np.float64),
        water=water_parameters(farm, lit_h) if lit_h else water_parameters(farm),
        place_row=_integers(names.index(zone) if zone in names else -1 for zone in place_zones(farm)),
        **_water_slots(farm, slots),
    )
    return parts._replace(
        lamps=_floats(parts.lamps, "circuit"), crop=_floats(parts.crop), machines=_floats(parts.machines)
    )


N = TypeVar("N", LampParts, CropParts, MachineParts)


def _floats(parts: N, *but: str) -> N:
    """Make whole numbers floats: with other types the loop would be compiled anew."""
    whole: dict[str, Any] = {
        name: float(value) for name, value in parts._asdict().items() if isinstance(value, int) and name not in but
    }
    return parts._replace(**whole)


def _integers(values: Iterable[int]) -> NDArray[np.int64]:
    return np.array(list(values), dtype=np.int64)


def _area(farm: Farm, row: str, planting: Planting) -> float:
    """Growing area of a row or shelf [m2]."""
    return planting.row_area_m2 if farm.zones[row].kind == ZoneKind.GROWING_ROW else planting.shelf_area_m2


def _leaf_area(farm: Farm, row: str, planting: Planting) -> float:
    """Usual leaf area index of a mixed stand in a row or shelf."""
    if farm.zones[row].kind == ZoneKind.GROWING_ROW:
        return planting.row_leaf_area_index
    return planting.shelf_leaf_area_index


def _volumes(volume: float, areas: Floats, building: Building) -> Floats:
    """Air of the room apart from its rows, and of each row [m3]."""
    shares = building.machines.row_air_share * areas / building.planting.row_area_m2
    shares *= min(1.0, MOST_ROW_AIR / shares.sum())
    return np.concatenate(([volume * (1.0 - shares.sum())], volume * shares))


def _place(rows: list[str], surface: Surface) -> int:
    """Volume on a surface's warm side."""
    return rows.index(surface.zone) + 1 if surface.zone in rows else 0


def _film_share(surface: Surface) -> float:
    """Share of the difference between inside and outside that a surface's inner film has (ISO 13788)."""
    film = surface.internal_film_m2k_w or INSIDE_FILM_M2K_W
    if surface.temperature_factor is not None:
        return 1.0 - surface.temperature_factor
    if surface.u_value_w_m2k is not None:
        return surface.u_value_w_m2k * INSIDE_FILM_M2K_W
    if surface.r_value_m2k_w is None:
        raise ValueError(f"surface {surface.name!r} needs r_value_m2k_w, u_value_w_m2k or temperature_factor")
    return film / (film + surface.r_value_m2k_w + OUTSIDE_FILM_M2K_W)


def _columns(farm: Farm, slots: FaultSlots) -> FaultColumns:
    """Where the air side's faults stand."""
    kind, index = FaultKind, {name: column for column, name in enumerate(slots.names)}

    def circuit(name: str) -> int:
        return index[kind.CIRCUIT_LOST, name]

    return FaultColumns(
        drying_lost=index[kind.DRYING_LOST, ""],
        coil_short_of_capacity=index[kind.COIL_SHORT_OF_CAPACITY, ""],
        free_water=index[kind.FREE_WATER, ""],
        louvre=index[kind.OUTSIDE_AIR, LOUVRE],
        door=index[kind.OUTSIDE_AIR, DOOR],
        cooling_at_dew_point=index[kind.COOLING_AT_DEW_POINT, ""],
        heater_stuck=index[kind.HEATER_STUCK, ""],
        humid_source_lost=index[kind.HUMID_SOURCE_LOST, ""],
        purge_running=index[kind.PURGE_RUNNING, ""],
        cooling_lost=index[kind.COOLING_LOST, ""],
        water_uptake_high=index[kind.WATER_UPTAKE_HIGH, ""],
        co2_bottle_empty=index[kind.CO2_BOTTLE_EMPTY, ""],
        co2_valve_stuck_open=index[kind.CO2_VALVE_STUCK_OPEN, ""],
        co2_leak=index[kind.CO2_LEAK, ""],
        mains_lost=index[kind.MAINS_LOST, ""],
        circuit_air_conditioner=circuit("air_conditioner"),
        circuit_heater=circuit("heater"),
        circuit_fans=circuit("fans"),
        circuit_pump=circuit("pump"),
        circuit_doser=circuit("doser"),
    )


def _water_slots(farm: Farm, slots: FaultSlots) -> dict[str, NDArray[np.int64]]:
    """Which of the farm's faults become which of the water side's: a probe's by its kind, whichever its series."""
    exact = {name: slot for slot, name in enumerate(water_fault_slots(farm))}
    pairs = []
    for column, (kind, target) in enumerate(slots.names):
        slot = exact.get((str(kind), target), exact.get((str(kind), "")))
        if slot is not None:
            pairs.append((column, slot))
    return {
        "water_from": _integers(column for column, _ in pairs),
        "water_to": _integers(slot for _, slot in pairs),
    }
