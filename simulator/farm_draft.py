"""The description of an invented farm, as farm.toml would hold it."""

from __future__ import annotations

from datetime import time
from typing import Any, NamedTuple

import numpy as np

from simulator.building import Building
from simulator.farm_series import described_series

DRUNK_L_M2_DAY = 1.2  # about, by leaf area, lit 16 h
DAYS_IN_THE_TANK = (8.0, 12.0)  # of drinking: smaller ones swing faster than the doser keeps up with
EC_LOW, EC_HIGH, PH_LOW, PH_HIGH = 1.60, 2.05, 5.4, 6.4  # around what the simulated doser keeps


class Site(NamedTuple):
    """A kind of place."""

    timezone: str
    latitude_deg: float
    longitude_deg: float
    elevation_m: float
    mean_c: float
    year_swing_k: float
    currency: str
    voltage_v: float


class CropOf(NamedTuple):
    """An invented crop plan's middle values."""

    name: str
    label: str
    ppfd: float
    photoperiod_h: int
    temperature_lit_c: float
    temperature_dark_c: float
    humidity_lit: float
    humidity_dark: float
    leaf_area_index: float


def described_farm(
    seed: int,
    random: np.random.Generator,
    site: Site,
    crop: CropOf,
    rows: int,
    shelves: int,
    building: Building,
    lamp_w: float,
    cooling_w: float,
) -> dict[str, Any]:
    """Return farm.toml as a dictionary."""
    row_names = [f"row-{number}" for number in range(1, rows + 1)]
    shelf_names = ["shelf"] if shelves == 1 else [f"shelf-{number}" for number in range(1, shelves + 1)]
    on_at = int(random.integers(0, 9))
    offset_k = round(float(random.uniform(-1.2, -0.3)), 1)
    carbon_dioxide = float(random.random()) < 0.8
    stocks = [f"nutrient-{letter}" for letter in "abc"[: int(random.integers(1, 4))]]
    leaves_m2 = rows * building.planting.row_area_m2 * building.planting.row_leaf_area_index
    reservoir_l = round(float(random.uniform(*DAYS_IN_THE_TANK)) * DRUNK_L_M2_DAY * leaves_m2)
    emitters = round(building.planting.row_area_m2 * float(random.uniform(6.5, 9.0)))
    zones: dict[str, Any] = {
        "room": {
            "kind": "room_air",
            "label": "Room",
            "crop": crop.name,
            "phase": "growing-on",
            "lights": "row-1/lights_on",
        }
    }
    for names, kind, phase, word in (
        (row_names, "growing_row", "growing-on", "Row"),
        (shelf_names, "seedling_shelf", "seedling", "Shelf"),
    ):
        for number, name in enumerate(names, 1):
            zones[name] = {
                "kind": kind, "label": f"{word} {number}", "crop": crop.name, "phase": phase,
                "lights": f"{name}/lights_on", "leaf_offset_k": offset_k,
            }  # fmt: skip
    zones["supply"] = {"kind": "supply_duct", "label": "Supply duct"}
    zones["reservoir"] = {"kind": "reservoir", "label": "Reservoir", "crop": crop.name, "phase": "growing-on"}
    zones["feed"] = {"kind": "reservoir", "label": "Feed water"}
    zones["outdoors"] = {"kind": "outdoors", "label": "Outdoors"}
    series = described_series(random, row_names, shelf_names, [*stocks, "acid", "base"], gas=carbon_dioxide)
    keys = {"/".join(filter(None, (one["zone"], one["quantity"], one.get("sensor")))) for one in series}

    def where(key: str, name: str) -> dict[str, str]:
        """Return a reference to a series if the farm has it."""
        return {name: key} if key in keys else {}

    air_flow_m3_h = round(building.machines.coil_air_kg_s_w * cooling_w * 3600.0 / 1.18)
    equipment: dict[str, Any] = {
        "reservoir": {"zone": "reservoir", "volume_l": float(reservoir_l),
                      "feed_ec_ms_cm": 0.03},
        "air_conditioner": {
            "cooling_w": float(cooling_w), "power_w": round(cooling_w / float(random.uniform(3.0, 3.8))),
            **where("room/compressor_on", "compressor"), **where("room/condensate_volume", "condensate"),
        },
        "mains": {
            "voltage_v": site.voltage_v, "breaker_a": float(random.choice([63.0, 80.0, 100.0])),
            **where("room/electrical_energy", "meter"),
        },
        "stocks": [
            *({"name": name, "label": f"Stock {name[-1].upper()}", "role": "nutrient", "bottle_l": 20.0,
               "ec_per_ml_l": round(0.22 / len(stocks), 3)} for name in stocks),
            {"name": "acid", "label": "pH down", "role": "acid", "bottle_l": 5.0},
            {"name": "base", "label": "pH up", "role": "base", "bottle_l": 5.0},
        ],
        "drip_rows": [
            {"zone": name, "emitters": emitters, "emitter_flow_l_h": 4.0, "plant_sites": emitters * 3,
             **where("reservoir/flow_rate", "flow"), **where("reservoir/pump_on", "pump"),
             "irrigation": {"cycles_a_day": 2 * crop.photoperiod_h + 24, "minutes": 5.0, "longest_minutes": 15.0}}
            for name in row_names
        ],
        "lamp_groups": [
            {"name": name, "zones": [name], "commissioning_ppfd": round(crop.ppfd * float(random.uniform(0.97, 1.05))),
             "power_w": float(lamp_w)}
            for name in row_names
        ] + [
            {"name": name, "zones": [name], "commissioning_ppfd": round(0.6 * crop.ppfd), "power_w": 110.0}
            for name in shelf_names
        ],
    }  # fmt: skip
    unit = equipment["air_conditioner"]
    if "supply/air_temperature" in keys:
        unit |= {"return_zone": "room", "supply_zone": "supply", "air_flow_m3_h": air_flow_m3_h}
    if "compressor" in unit:
        unit["min_off_s"] = 120.0
    if carbon_dioxide:
        equipment["carbon_dioxide"] = {
            "zone": "room", "air_volume_m3": building.walls.air_volume_m3, "background_ppm": 425.0,
            "valve_flow_g_h": round(building.machines.co2_valve_mol_s * 44.01 * 3600.0),
        }  # fmt: skip
    if {"reservoir/line_pressure_before_filter", "reservoir/flow_rate"} <= keys:
        equipment["filters"] = [
            {"name": "line", "label": "Line filter", "before": "reservoir/line_pressure_before_filter",
             "after": "reservoir/line_pressure_after_filter", **where("reservoir/flow_rate", "flow"), "limit_kpa": 25.0}
        ]  # fmt: skip
    equipment["reverse_osmosis"] = {
        "rated_l_per_day": round(4.0 * reservoir_l), "output": "feed/metered_volume",
        **where("feed/solution_temperature", "feed_temperature"),
    }  # fmt: skip
    surfaces: list[dict[str, Any]] = [
        {"name": "wall", "label": "Wall, middle of a panel", "zone": "room", "outside": "outdoors",
         "r_value_m2k_w": building.walls.r_value_m2k_w}
    ]  # fmt: skip
    if "room/surface_temperature/door-frame" in keys:
        surfaces.append(
            {"name": "door-frame", "label": "Door frame (thermal bridge)", "zone": "room", "outside": "outdoors",
             "u_value_w_m2k": building.walls.bridge_u_w_m2k, "probe": "room/surface_temperature/door-frame"}
        )  # fmt: skip
    return {
        "farm": {
            "name": f"invented-{seed}", "title": f"Farm {seed} (invented)", "timezone": site.timezone,
            "elevation_m": site.elevation_m, "invented": True, "currency": site.currency,
        },
        "zones": zones,
        "series": series,
        "surfaces": surfaces,
        "equipment": equipment,
        "crops": {crop.name: _plan(crop, on_at, gas=carbon_dioxide, oxygen="reservoir/dissolved_oxygen" in keys)},
    }  # fmt: skip


def _plan(crop: CropOf, on_at: int, *, gas: bool, oxygen: bool) -> dict[str, Any]:
    """Return the crop plan: bands around what the controller is set to."""
    integral = crop.ppfd * crop.photoperiod_h * 3600.0 / 1e6
    air = {
        "air_temperature": {
            "lit": [crop.temperature_lit_c - 2.5, crop.temperature_lit_c + 3.0],
            "dark": [crop.temperature_dark_c - 2.5, crop.temperature_dark_c + 4.0], "on_delay_s": 1200.0,
        },
        "relative_humidity": {
            "lit": [crop.humidity_lit - 14.0, 80.0], "dark": [crop.humidity_dark - 15.0, 88.0], "on_delay_s": 1200.0,
        },
        "vapour_pressure_deficit": {"lit": [0.45, 1.45], "dark": [0.30, 1.25], "on_delay_s": 1200.0},
    }  # fmt: skip
    growing: dict[str, Any] = {
        **air,
        "ppfd": {"lit": [round(0.8 * crop.ppfd), round(1.2 * crop.ppfd)]},
        "condensation_margin": {"always": [0.0, float("inf")], "on_delay_s": 1800.0},
        "solution_ec": {"always": [EC_LOW, EC_HIGH], "on_delay_s": 1800.0},
        "solution_ph": {"always": [PH_LOW, PH_HIGH], "on_delay_s": 1800.0},
        "solution_temperature": {"always": [16.0, 26.0], "on_delay_s": 1800.0},
    }
    if gas:
        growing["co2_mole_fraction"] = {"lit": [800.0, 1200.0], "dark": [380.0, 1300.0], "on_delay_s": 2700.0}
    if oxygen:
        growing["dissolved_oxygen"] = {"always": [6.0, float("inf")], "on_delay_s": 1800.0}
    light_day = {"photoperiod_h": float(crop.photoperiod_h), "lights_on_at": time(on_at)}
    return {
        "label": crop.label,
        "source": "invented for simulation",
        "phases": {
            "growing-on": {
                **light_day, "daily_light_integral": [round(0.85 * integral, 1), round(1.15 * integral, 1)],
                "bands": growing,
            },
            "seedling": {
                **light_day, "daily_light_integral": [round(0.5 * integral, 1), round(0.7 * integral, 1)],
                "bands": {**air, "ppfd": {"lit": [round(0.45 * crop.ppfd), round(0.75 * crop.ppfd)]}},
            },
        },
    }  # fmt: skip
