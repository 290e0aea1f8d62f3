"""The whole physical farm: room, crop, equipment and reservoir acting on each other."""

from __future__ import annotations

from datetime import datetime

from farm.description import Farm, ZoneKind
from simulator import equipment
from simulator.acting import Active
from simulator.crop import BOUNDARY_RESISTANCE_S_M, Stand, absorbed_light, co2_uptake, stomatal_resistance, water_kept
from simulator.equipment import CarbonDioxide, Climate, Irrigation, Lamps
from simulator.fault_kinds import FaultKind
from simulator.moist_air import AIR_HEAT_J_KG_K, humidity_ratio, saturation_pressure, standard_pressure
from simulator.reservoir import SOLUTION_W_K, Bottle, Reservoir
from simulator.room import Drive, Room
from simulator.weather import Weather

STEP_S = 60.0
YEAR_S = 365.25 * 86_400.0
AIR_DENSITY_KG_M3 = 1.2  # around leaves, for their sensible heat

# Plants of the demonstration, by kind of zone (invented): growing area [m2] and leaf area index.
STANDS = {ZoneKind.GROWING_ROW: (5.0, 2.0), ZoneKind.SEEDLING_SHELF: (1.5, 1.0)}
DEFAULT_LIGHT_DAY = (6 * 60, 16 * 60)  # minute of day, lit minutes: where the crop plan says nothing


class FarmModel:
    """State of everything physical, moved on a minute at a time."""

    def __init__(self, farm: Farm, seed: int, start: datetime) -> None:
        self.farm = farm
        self._start = start
        self._zone_info = farm.farm.zone_info
        self.weather = Weather(start, seed)
        self.stands = [Stand(name, *STANDS[zone.kind]) for name, zone in farm.zones.items() if zone.kind in STANDS]
        self.lamps = self._lamps(farm, start)
        self.lamp_of = {zone: lamps for lamps in self.lamps for zone in lamps.group.zones}
        nameplates = farm.equipment
        if nameplates.air_conditioner is None or nameplates.reservoir is None or not self.lamps:
            raise ValueError(
                f"farm {farm.name!r} cannot be simulated: describe [equipment.air_conditioner], "
                "[equipment.reservoir] and at least one [[equipment.lamp_groups]]"
            )
        walls = [one.r_value_m2k_w for one in farm.surfaces if one.r_value_m2k_w is not None]
        self.pressure = standard_pressure(farm.farm.elevation_m)
        self.room = Room(
            self.pressure,
            max(walls, default=3.9),
            temperature=equipment.TEMPERATURE_LIT_C,
            relative_humidity=equipment.HUMIDITY_LIT,
            co2=equipment.CO2_CLOSE_ABOVE,
        )
        self.climate = Climate(nameplates.air_conditioner)
        self.carbon_dioxide = CarbonDioxide()
        self.irrigation = Irrigation(sum(row.emitters * row.emitter_flow_l_h for row in nameplates.drip_rows) / 60.0)
        self.reservoir = Reservoir(
            nameplates.reservoir.volume_l,
            self.pressure / 101_325.0,
            [Bottle(stock, 0.6 * stock.bottle_l * 1000.0) for stock in nameplates.stocks],
        )
        self.energy_j = 0.0
        self.visitor_door_open = False
        self.lit = False
        self.outdoors = self.weather.at(start)
        self._years = 0.0
        self._air_heat = 0.0
        self.act(Active())
        self.control(start)

    @staticmethod
    def _lamps(farm: Farm, start: datetime) -> list[Lamps]:
        """Lamp groups with the light day of their first zone's phase."""
        lamps = []
        for group in farm.equipment.lamp_groups:
            on_minute, lit_minutes = DEFAULT_LIGHT_DAY
            phase = farm.phase_at(group.zones[0], start)
            if phase is not None and phase.photoperiod_h is not None:
                lit_minutes = round(phase.photoperiod_h * 60)
            if phase is not None and phase.lights_on_at is not None:
                on_minute = phase.lights_on_at.hour * 60 + phase.lights_on_at.minute
            lamps.append(Lamps(group, on_minute, lit_minutes))
        return lamps

    def ppfd(self, zone: str) -> float:
        """Light on a zone's plants [umol m-2 s-1]."""
        lamps = self.lamp_of.get(zone)
        return lamps.group.commissioning_ppfd * lamps.output(self._years, self._lost(lamps)) if lamps else 0.0

    @property
    def electrical_power(self) -> float:
        """Everything the mains feed [W]."""
        compressor = self.climate.unit.power_w if self.climate.compressor_on else 0.0
        pump = equipment.PUMP_W if self.irrigation.pump_on else 0.0
        return self._air_heat + compressor + pump

    def act(self, active: Active) -> None:
        """Make these faults the ones that act from now on."""
        self.active = active
        self._empty_share = {
            bottle.stock.name: active.severity(FaultKind.NUTRIENT_STOCK_EMPTY, bottle.stock.name)
            for bottle in self.reservoir.bottles
        }

    def advance(self) -> None:
        """Move everything on by one minute under the controls' last decisions."""
        room, reservoir = self.room, self.reservoir
        uptake = kept = 0.0
        leaves = []
        co2, temperature = room.co2, room.temperature
        for stand in self.stands:
            ppfd = self.ppfd(stand.zone)
            taken = co2_uptake(stand, ppfd, co2, temperature)
            uptake += taken
            kept += water_kept(taken)
            leaf_area = stand.area_m2 * stand.leaf_area_index
            leaves.append(
                (
                    absorbed_light(stand, ppfd),
                    leaf_area * AIR_DENSITY_KG_M3 * AIR_HEAT_J_KG_K / BOUNDARY_RESISTANCE_S_M,
                    leaf_area / (stomatal_resistance(ppfd) + BOUNDARY_RESISTANCE_S_M),
                )
            )
        outdoor_pressure = saturation_pressure(self.outdoors.temperature) * self.outdoors.relative_humidity / 100.0
        changes = equipment.AIR_CHANGES + equipment.AIR_CHANGES_DOOR_OPEN * self.door_opening
        dose = equipment.CO2_VALVE_MOL_S * (1.0 - self.active.severity(FaultKind.CO2_BOTTLE_EMPTY))
        drive = Drive(
            outdoor_temperature=self.outdoors.temperature,
            outdoor_humidity_ratio=humidity_ratio(outdoor_pressure, self.pressure),
            infiltration=changes / 3600.0 * room.air_kg,
            electric_heat=self._air_heat,
            cooling=self.climate.compressor_on,
            coil_temperature=equipment.COIL_C,
            drain_blocked=self.active.severity(FaultKind.DRYING_LOST),
            cooling_capacity=self.climate.unit.cooling_w,
            leaves=leaves,
            co2_uptake=uptake,
            co2_dose=dose if self.carbon_dioxide.valve_open else 0.0,
            solution_temperature=reservoir.temperature,
            solution_conductance=SOLUTION_W_K,
        )
        self.energy_j += self.electrical_power * STEP_S
        transpired, given_to_solution = room.ledger.transpiration, room.ledger.solution
        room.advance(STEP_S, drive)
        transpired = room.ledger.transpiration - transpired
        given_to_solution -= room.ledger.solution
        pumping = self.irrigation.pump_on
        reservoir.advance(
            STEP_S,
            drunk_l=transpired + kept * STEP_S,  # a litre of solution is taken as a kilogram
            heat_from_air=given_to_solution / STEP_S,
            pump_heat=equipment.PUMP_W if pumping else 0.0,  # submersible: all of it ends in the water
            pumping=pumping,
        )
        self.irrigation.advance(STEP_S)

    def control(self, now: datetime) -> None:
        """Let every control decide for the minute that begins ``now``."""
        local = now.astimezone(self._zone_info)
        minute_of_day = local.hour * 60 + local.minute
        self._years = (now - self._start).total_seconds() / YEAR_S
        self.outdoors = self.weather.at(now)
        for lamps in self.lamps:
            lamps.control(minute_of_day)
        self.lit = any(lamps.commanded for lamps in self.lamps if self._lights_rows(lamps))
        self.visitor_door_open = equipment.door_open(minute_of_day)
        room = self.room
        self.climate.control(room.temperature, room.relative_humidity, self.lit)
        self.carbon_dioxide.control(room.co2, self.lit)
        self.irrigation.control(minute_of_day, local.weekday(), self.lit)
        self.reservoir.control(self._empty_share)
        self._air_heat = (
            sum(lamps.power(self._lost(lamps)) for lamps in self.lamps)
            + (equipment.HEATER_W if self.climate.heating else 0.0)
            + equipment.AIR_HANDLER_W
            + equipment.CIRCULATION_W
            + equipment.CONTROLLER_W
        )

    @property
    def door_opening(self) -> float:
        """How far the door stands open, 0 to 1."""
        return max(float(self.visitor_door_open), self.active.severity(FaultKind.OUTSIDE_AIR, "door"))

    def _lost(self, lamps: Lamps) -> float:
        """Share of a group's lamps that stay dark."""
        return self.active.severity(FaultKind.LAMP_GROUP_LOST, lamps.group.name)

    def _lights_rows(self, lamps: Lamps) -> bool:
        """Whether a group lights a growing row."""
        return any(self.farm.zones[zone].kind == ZoneKind.GROWING_ROW for zone in lamps.group.zones)
