"""What the physics needs of a farm and its description does not say: walls, machines, set points, crop.

Every default is invented for the demonstration (our choice, no source) unless a comment says more. Dosing CO2
can kill, and a heater can burn: the figures here are no guide to installing anything.
"""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass(frozen=True)
class Walls:
    """The envelope and what stands within it: a 12 m container with insulated panels."""

    air_volume_m3: float = 70.0  # where [equipment.carbon_dioxide] does not say
    area_m2: float = 135.0
    r_value_m2k_w: float = 3.9  # without films; where no surface of the description says
    bridge_m2: float = 3.0  # thermal bridges: frames, corners
    bridge_u_w_m2k: float = 0.9  # with films
    roof_m2: float = 29.0
    roof_absorptance: float = 0.5  # of sunlight
    floor_m2: float = 24.0  # free, where water can stand
    mass_j_k: float = 2.0e6  # racks, channels, floor
    mass_w_k: float = 1200.0  # between air and that mass
    air_changes: float = 0.25  # by leakage with everything shut, room volumes an hour
    air_changes_door: float = 6.0  # more, with the door wide open
    air_changes_louvre: float = 5.0  # more, with the louvre wide open


@dataclass(frozen=True)
class Machines:
    """What moves, heats, cools and doses; the rest is in the description's [equipment]."""

    coil_contact: float = 0.85  # share of the air that meets the coil (1 minus bypass)
    coil_air_kg_s_w: float = 0.22 / 5000.0  # dry air over the coil a watt of capacity; 150 m3/h a kW, from memory
    dry_share: float = 0.75  # of its capacity that the unit uses to dry without need to cool
    duct_share: float = 0.5  # of the supply air that the ducts bring to the rows
    duct_falls: float = 0.3  # by which the last row gets less of it than the first
    air_handler_w: float = 150.0
    heater_w: float = 3500.0
    dehumidifier_l_day: float = 0.0  # rated at 27 degC and 60 % RH; 0 is none
    dehumidifier_w_l_day: float = 20.0  # electrical input a rated litre a day; about 2 L/kWh, from memory
    fan_w: float = 40.0  # circulation fan of a row
    fan_volumes_h: float = 110.0  # volumes of a row's own air that its fan exchanges with the room in an hour
    still_share: float = 0.05  # of that, without the fan: by buoyancy
    row_air_share: float = 0.12  # a row's share of the room's air; shelves by their growing area
    air_speed_m_s: float = 0.5  # over the leaves, with the fan
    still_air_speed_m_s: float = 0.06  # without
    purge_m3_h: float = 400.0
    purge_w: float = 60.0
    co2_valve_mol_s: float = 0.0030  # where the description gives no valve flow
    co2_bottle_kg: float = 30.0
    controller_w: float = 40.0


@dataclass(frozen=True)
class Settings:
    """What the controller is set to."""

    temperature_lit_c: float = 22.5
    temperature_dark_c: float = 20.5
    cool_above_k: float = 0.6  # the compressor starts this far above the set point and stops at it
    heat_below_k: float = 0.0  # the heater gives half its power 0.5 K below that
    humidity_lit: float = 66.0
    humidity_dark: float = 70.0
    dry_above: float = 3.0
    dry_below: float = 3.0
    too_cold_to_dry_k: float = 1.5  # below the set point, drying waits for the heater
    least_run_min: int = 2
    co2_open_below_ppm: float = 965.0  # while lit
    co2_close_above_ppm: float = 1015.0
    purge_above_ppm: float = 2500.0
    purge_until_ppm: float = 1500.0
    purge_hot_k: float = 6.0  # above the set point, if it is colder outdoors


@dataclass(frozen=True)
class Planting:
    """Plants of one kind of zone: growing area, what a young plant brings, and the usual size of a mixed stand.

    ``by_batches``: stands follow the description's batches; else plants of all ages stand together, and what
    exceeds the usual leaf area is harvested every day.
    """

    row_area_m2: float = 5.0
    row_leaf_area_index: float = 2.0
    shelf_area_m2: float = 1.5
    shelf_leaf_area_index: float = 1.0
    young_leaf_area_index: float = 0.25
    by_batches: bool = False


@dataclass(frozen=True)
class Lamps:
    """Lamps in general; each group's light and power are in the description."""

    output_at_start: float = 0.98  # of commissioning
    fade_a_year: float = 0.04


@dataclass(frozen=True)
class Visits:
    """The keeper's day: minutes of the local day at which the door opens, each for a minute, and what is done."""

    door_at: tuple[int, ...] = (9 * 60 + 30, 9 * 60 + 55)
    people: int = 1  # inside between the first and the last
    bottles_at: int = 9 * 60 + 35
    filter_at: int = 9 * 60 + 40
    filter_weekday: int = 0
    harvest_at: int = 9 * 60 + 45


@dataclass(frozen=True)
class Building:
    """All of it, for one farm."""

    walls: Walls = field(default_factory=Walls)
    machines: Machines = field(default_factory=Machines)
    settings: Settings = field(default_factory=Settings)
    planting: Planting = field(default_factory=Planting)
    lamps: Lamps = field(default_factory=Lamps)
    visits: Visits = field(default_factory=Visits)


@dataclass(frozen=True)
class Climate:
    """The site's weather (invented): ``simulator.weather`` makes minutes of it."""

    mean_c: float = 4.0
    year_swing_k: float = 12.0
    coldest_day: float = 20.0  # of the year
    day_swing_k: float = 2.5
    coldest_hour: float = 6.0  # by the sun's time
    slow_noise_k: float = 3.5
    noise_days: float = 2.5  # memory of the slow changes
    mean_humidity: float = 78.0
    humidity_noise: float = 8.0
    humidity_per_k: float = 3.0  # it falls as the day warms
    latitude_deg: float = 60.0
    longitude_deg: float = 10.0  # east; the sun's time
    clear_share: float = 0.5  # of the clear sky's sunlight that comes through, on average
    co2_ppm: float = 425.0
    feed_mean_c: float = 14.0  # raw water
    feed_swing_k: float = 2.0
