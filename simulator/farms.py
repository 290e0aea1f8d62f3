"""Invented farms, each different and each made of one seed: nothing in them is real.

Sizes are drawn so that a farm can do its work: the air conditioner copes with the lamps, the
lamps reach the crop plan's light, the emitters give more than the plants drink. Every range is our
choice, no source.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import NamedTuple

import tomli_w

from farm.description import Farm
from simulator.building import Building, Climate, Machines, Planting, Settings, Walls
from simulator.farm_draft import CropOf, Site, described_farm
from simulator.sensors import generator

DRAWN = 20  # purpose of random numbers


class InventedFarm(NamedTuple):
    """A farm that exists nowhere, with its building, its weather and the season it begins in."""

    farm: Farm
    text: str
    building: Building
    climate: Climate
    start: datetime


# Kinds of places with roughly their winters (invented: not the climate of any real town).
SITES = (
    Site("America/Yellowknife", 62.0, -114.0, 200.0, -4.0, 22.0, "CAD", 240.0),
    Site("Europe/Oslo", 60.0, 10.0, 150.0, 5.0, 12.0, "EUR", 230.0),
    Site("Europe/Helsinki", 65.0, 27.0, 80.0, 2.0, 15.0, "EUR", 230.0),
    Site("America/Anchorage", 61.0, -150.0, 40.0, 2.0, 14.0, "USD", 240.0),
    Site("Asia/Ulaanbaatar", 48.0, 107.0, 1300.0, -1.0, 22.0, "USD", 230.0),
    Site("America/Denver", 40.0, -105.0, 1600.0, 9.0, 13.0, "USD", 240.0),
    Site("America/Halifax", 45.0, -63.0, 30.0, 7.0, 12.0, "CAD", 240.0),
    Site("Europe/Berlin", 52.0, 13.0, 50.0, 10.0, 10.0, "EUR", 230.0),
    Site("Australia/Hobart", -43.0, 147.0, 60.0, 12.0, 5.0, "AUD", 230.0),
    Site("Asia/Dubai", 25.0, 55.0, 10.0, 28.0, 8.0, "USD", 230.0),
)


CROPS = (
    CropOf("lettuce", "Lettuce", 245.0, 16, 22.5, 20.0, 66.0, 70.0, 2.0),
    CropOf("rocket", "Rocket", 230.0, 15, 21.5, 19.5, 67.0, 71.0, 1.8),
    CropOf("basil", "Basil", 280.0, 16, 24.0, 21.5, 66.0, 70.0, 2.2),
    CropOf("pak-choi", "Pak choi", 220.0, 14, 21.0, 18.5, 68.0, 72.0, 2.4),
)


def invented_farm(seed: int) -> InventedFarm:
    """Return the farm of a seed: the same one every time."""
    random = generator(seed, "invented farm", DRAWN)
    site = SITES[int(random.integers(len(SITES)))]
    crop = CROPS[int(random.integers(len(CROPS)))]
    rows, shelves = int(random.integers(2, 8)), int(random.integers(0, 3))
    volume_m3 = round(float(random.uniform(11.0, 20.0)) * (rows + 0.5 * shelves) + 15.0)
    row_area_m2 = round(float(random.uniform(3.5, 6.0)), 1)
    r_value = round(float(random.uniform(2.8, 6.0)), 1)
    lamp_w = round(crop.ppfd * row_area_m2 / float(random.uniform(1.9, 2.4)))
    heat_w = lamp_w * rows + 130.0 * shelves + 600.0
    cooling_w = round(heat_w * float(random.uniform(1.45, 1.9)), -2)
    area_m2 = round(6.0 * volume_m3**0.66 * float(random.uniform(1.1, 1.35)))
    building = Building(
        walls=Walls(
            air_volume_m3=float(volume_m3),
            area_m2=float(area_m2),
            r_value_m2k_w=r_value,
            bridge_m2=round(area_m2 * float(random.uniform(0.01, 0.04)), 1),
            roof_m2=round(volume_m3 / 2.5, 1),
            floor_m2=round(volume_m3 / 3.0, 1),
            mass_j_k=round(20_000.0 * volume_m3 * float(random.uniform(0.8, 1.3)), -4),
            mass_w_k=round(5.0 * volume_m3),
            air_changes=round(float(random.uniform(0.12, 0.4)), 2),
        ),
        machines=Machines(
            heater_w=round(cooling_w * float(random.uniform(0.6, 0.9)) + 40.0 * area_m2 / r_value, -2),
            fan_w=round(float(random.uniform(25.0, 60.0))),
            co2_valve_mol_s=round(0.0030 * volume_m3 / 70.0, 5),
        ),
        settings=Settings(
            temperature_lit_c=crop.temperature_lit_c,
            temperature_dark_c=crop.temperature_dark_c,
            humidity_lit=crop.humidity_lit,
            humidity_dark=crop.humidity_dark,
        ),
        planting=Planting(
            row_area_m2=row_area_m2,
            row_leaf_area_index=round(crop.leaf_area_index * float(random.uniform(0.85, 1.15)), 2),
            shelf_area_m2=round(float(random.uniform(1.0, 2.0)), 1),
        ),
    )
    climate = Climate(
        mean_c=site.mean_c + round(float(random.uniform(-1.5, 1.5)), 1),
        year_swing_k=site.year_swing_k + round(float(random.uniform(-1.5, 1.5)), 1),
        coldest_day=20.0 if site.latitude_deg > 0.0 else 203.0,
        latitude_deg=site.latitude_deg,
        longitude_deg=site.longitude_deg,
        feed_mean_c=round(min(24.0, max(4.0, site.mean_c + 4.0)), 1),
    )
    start = datetime(2025, 1, 1, tzinfo=UTC) + timedelta(days=int(random.integers(365)))
    raw = described_farm(seed, random, site, crop, rows, shelves, building, lamp_w, cooling_w)
    text = (
        f"# The description of an invented farm, made of the seed {seed}: nothing in it is real.\n\n"
        + tomli_w.dumps(raw)
    )
    return InventedFarm(Farm.model_validate(raw), text, building, climate, start)
