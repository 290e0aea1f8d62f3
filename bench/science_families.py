"""What bench/science.py measures beside dew point and VPD: each family of the science, each with its own baseline.

A baseline is plain NumPy arithmetic over the same number of values that the work cannot do without; where the
reference library has the same function, a second one is that library in a loop.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, NamedTuple

import numpy as np
import psychrolib

from analytics.air_change import Doubt, air_change_rate_with_source
from analytics.air_states import AirState
from analytics.carbon_dioxide_exposure import eight_hour_average
from analytics.coil import coil_heat
from analytics.conductivity import ec_at_25
from analytics.counters import increments
from analytics.cycling import cycling
from analytics.degree_hours import degree_hours
from analytics.demand import peak_demand
from analytics.drift import cumulative_sums
from analytics.events import counted_events
from analytics.excursions import Rule, excursions
from analytics.hourly import hourly_means
from analytics.humidity import humidity_ratio
from analytics.irrigation import irrigation_cycles
from analytics.lamps import settled_light
from analytics.light import light_integral
from analytics.lines import lines_between
from analytics.moisture import moisture_removal_rate_uncertainty
from analytics.mould import mould_index, surface_relative_humidity
from analytics.outliers import hampel_outliers
from analytics.oxygen import saturated_dissolved_oxygen
from analytics.photoperiod import photoperiod
from analytics.psychrometrics import enthalpy
from analytics.quality import QualityLimits, verdicts
from analytics.saturation import saturation_vapour_pressure
from analytics.siblings import difference_from_siblings
from analytics.steps import steps_found
from analytics.tracer_decays import Switch, decays
from analytics.uncertainty import air_vapour_pressure_deficit_uncertainty, dew_point_temperature_uncertainty
from analytics.water_volumes import litres_from_flow
from analytics.wet_hours import wet_time

MINUTE_US = 60_000_000
DAY_US = 1440 * MINUTE_US
YEAR = 525_600  # minutes
GAP_US = 3 * MINUTE_US
AFEW = 2_000  # values for the scalar library, which is slow
PRESSURE = 99.2  # kPa


class Family(NamedTuple):
    """What is measured: its figure's name, how many values it takes, the work, and the baseline's name."""

    figure: str
    size: int
    work: Callable[[], Any]
    baseline: str


class Baseline(NamedTuple):
    """Arithmetic to compare with: how many values, and the work."""

    size: int
    work: Callable[[], Any]


class Room:
    """An invented year, one value a minute, with everything switching and drifting as it does on a farm."""

    def __init__(self) -> None:
        draw = np.random.default_rng(20_260_101)
        self.minute = np.arange(YEAR)
        self.time = self.minute.astype(np.int64) * MINUTE_US
        self.end = int(self.time[-1])
        clock = self.minute % 1440
        self.lit = (clock < 960).astype(float)
        noise = draw.normal(0, 0.1, YEAR)
        self.air = 21 + 2.5 * self.lit + noise
        self.warm_noon = self.air + 3.0 * ((clock >= 720) & (clock < 780))
        self.humidity = np.clip(68 - 8 * self.lit + 10 * noise, 5, 100)
        self.ppfd = 250.0 * self.lit * (1 + 0.01 * noise)
        self.pump = (self.minute % 26 < 5).astype(float)
        self.flow = 10.7 * self.pump
        self.compressor = (self.minute % 7 < 4).astype(float)
        # CO2 is kept near 1000 ppm in the light and decays in the dark, plants giving off some.
        self.co2 = np.where(clock < 960, 1000.0, 560 + 440 * np.exp(-(clock - 960) / 250)) + 5 * noise
        # A dose every 12 h lifts EC by 0.08 mS/cm, and it drifts down as much in between.
        self.ec = 1.8 - 0.08 * (self.minute % 720) / 720 + 0.002 * noise
        self.dosed = np.floor(self.minute / 720) * 20.0
        self.power = 500 + 4000 * self.lit + 1400 * self.compressor
        self.margin = 4 + 2 * np.cos(2 * np.pi * clock / 1440) + noise
        self.doses = [(at, at + 2 * MINUTE_US) for at in range(0, self.end, 720 * MINUTE_US)]
        hour = np.arange(8760)
        self.wall = 16 + 3 * np.cos(2 * np.pi * hour / 8760)
        self.wall_humidity = 88 + 8 * np.sin(2 * np.pi * hour / 168)
        self.rows = self.air + draw.normal(0, 0.2, (5, YEAR))


def days(year: Room, level: np.ndarray, of_day: Callable[..., Any]) -> list[Any]:
    """Return what a function of (time, level, start, end) says of each day, handed no more than that day."""
    return [
        of_day(year.time[at : at + 1440], level[at : at + 1440], int(year.time[at]), int(year.time[at]) + DAY_US)
        for at in range(0, YEAR, 1440)
    ]


def air_changes(year: Room, lamps: Switch) -> list[Any]:
    """Return the air-change rate of every decay in the year."""
    found = decays(year.time, year.co2, 425.0, [lamps], GAP_US)
    return [
        air_change_rate_with_source(year.time[one.first : one.last + 1], year.co2[one.first : one.last + 1])
        for one in found
    ]


def baselines(air: np.ndarray, humidity: np.ndarray, year: Room) -> dict[str, Baseline]:
    """Return the arithmetic that families are compared with, by name."""
    few = list(zip(air[:AFEW].tolist(), (humidity[:AFEW] / 100).tolist(), strict=True))
    ratios = [psychrolib.GetHumRatioFromRelHum(t, share, PRESSURE * 1000) for t, share in few]
    hours = np.exp(year.wall / 10)
    sevens = np.lib.stride_tricks.sliding_window_view(year.air, 7)
    dark = [slice(at + 960, at + 1440) for at in range(0, YEAR, 1440)]
    nights = [(np.stack([np.ones(480), year.minute[one] % 1440], axis=1), year.co2[one]) for one in dark]

    def a_loop_of(function: Callable[..., float], inputs: Iterable[tuple[float, ...]]) -> Baseline:
        rows = list(inputs)
        return Baseline(len(rows), lambda: [function(*row) for row in rows])

    return {
        # A window's sum: how long each sample holds, times its value, summed.
        "held sum": Baseline(YEAR, lambda: np.sum(np.diff(year.time, append=year.end) * year.air)),
        # A rolling window: one running sum, subtracted from itself some samples later.
        "running sum": Baseline(YEAR, lambda: np.subtract(*(lambda s: (s[480:], s[:-480]))(np.cumsum(year.co2)))),
        # Changes: each sample less the one before, against a limit; five tests need five of them.
        "differences": Baseline(YEAR, lambda: np.abs(np.diff(year.air)) > 1.0),
        "five differences": Baseline(YEAR, lambda: [np.abs(np.diff(year.air)) > limit for limit in range(5)]),
        # A median in each window of seven, and one of the distances from it.
        "two sorts of sevens": Baseline(YEAR, lambda: [np.sort(sevens, axis=1) for _ in range(2)]),
        # A decay to an unknown end: no fewer than a straight line through each night.
        "a line a night": Baseline(YEAR, lambda: [np.linalg.lstsq(one, two, rcond=None) for one, two in nights]),
        # An index that each hour hands to the next: the arithmetic of all its hours at once.
        "np.exp of hours": Baseline(hours.size, lambda: np.exp(hours)),
        "sort of 5 rows": Baseline(5 * YEAR, lambda: np.sort(year.rows, axis=0)),
        "PsychroLib saturation": a_loop_of(psychrolib.GetSatVapPres, ((t,) for t, _ in few)),
        "PsychroLib humidity ratio": a_loop_of(
            psychrolib.GetHumRatioFromRelHum, ((t, share, PRESSURE * 1000) for t, share in few)
        ),
        "PsychroLib enthalpy": a_loop_of(
            psychrolib.GetMoistAirEnthalpy, ((t, w) for (t, _), w in zip(few, ratios, strict=True))
        ),
        "PsychroLib wet bulb": a_loop_of(
            psychrolib.GetTWetBulbFromRelHum, ((t, share, PRESSURE * 1000) for t, share in few[: AFEW // 20])
        ),
    }


# Name of a family or of one in bench/science.py -> the PsychroLib loop of the same function.
SAME_IN_PSYCHROLIB = {
    "saturation pressure": "PsychroLib saturation",
    "humidity ratio": "PsychroLib humidity ratio",
    "enthalpy": "PsychroLib enthalpy",
    "wet bulb": "PsychroLib wet bulb",
}


def families(air: np.ndarray, humidity: np.ndarray, year: Room) -> dict[str, Family]:
    """Return everything that is measured, by name; formulas over many values, and years at one a minute."""
    count = air.size
    returned, supplied = AirState(air, humidity, 0.2, 2.0), AirState(air - 8.0, humidity + 20.0, 0.3, 3.0)
    limits = QualityLimits(
        gap_s=180, fail_low=-40, fail_high=60, suspect_low=0, suspect_high=45, spike_suspect=2, spike_fail=5,
        rate_suspect_per_s=0.02, rate_fail_per_s=0.1, flat_line_tolerance=0.01, flat_line_suspect_s=3600,
        flat_line_fail_s=7200,
    )  # fmt: skip
    lamps = Switch(year.time, year.lit, GAP_US, Doubt.LIT, Doubt.LIT_UNKNOWN)
    rule = Rule(on_delay_us=20 * MINUTE_US, off_delay_us=5 * MINUTE_US, deadband=0.1, max_gap_us=GAP_US)
    windows = year.time[::26], year.time[::26] + 5 * MINUTE_US
    formulas: dict[str, tuple[str, Callable[[], Any]]] = {
        "saturation pressure": ("saturation", lambda: saturation_vapour_pressure(air)),
        "humidity ratio": ("humidity_ratio", lambda: humidity_ratio(air, humidity, PRESSURE)),
        "enthalpy": ("enthalpy", lambda: enthalpy(air, humidity, PRESSURE)),
        "dew point's give or take": (
            "dew_point_uncertainty", lambda: dew_point_temperature_uncertainty(air, humidity, 0.2, 2.0),
        ),
        "air VPD's give or take": (
            "vpd_uncertainty", lambda: air_vapour_pressure_deficit_uncertainty(air, humidity, 0.2, 2.0),
        ),
        "humidity at a surface": (
            "surface_humidity", lambda: surface_relative_humidity(air - 2.0, air, humidity),
        ),
        "coil heat": ("coil_heat", lambda: coil_heat(returned, supplied, 690.0, PRESSURE)),
        "water removed, its give or take": (
            "moisture_uncertainty",
            lambda: moisture_removal_rate_uncertainty(returned, supplied, 690.0, PRESSURE, 35.0),
        ),
        "oxygen saturation": ("oxygen_saturation", lambda: saturated_dissolved_oxygen(air, PRESSURE)),
        "EC at 25 degC": ("ec_at_25", lambda: ec_at_25(humidity, air)),
    }  # fmt: skip
    series: dict[str, tuple[str, str, Callable[[], Any]]] = {
        "rolling 8-h average": ("average_8h", "running sum", lambda: eight_hour_average(year.time, year.co2, GAP_US)),
        "highest 15-min demand": (
            "peak_demand", "running sum",
            lambda: peak_demand(year.time, year.power, 0, year.end, 15 * MINUTE_US, GAP_US),
        ),
        "QARTOD verdicts, five tests": ("verdicts", "five differences", lambda: verdicts(year.time, year.air, limits)),
        "cumulative sums (CUSUM)": ("cusum", "running sum", lambda: cumulative_sums(year.air, 22.6, 0.5)),
        "Hampel outliers, 7 wide": ("hampel", "two sorts of sevens", lambda: hampel_outliers(year.air, 3)),
        "light integral, day by day": (
            "light_days", "held sum",
            lambda: days(year, year.ppfd, lambda *day: light_integral(*day, GAP_US)),
        ),
        "photoperiod, day by day": (
            "photoperiods", "held sum", lambda: days(year, year.lit, lambda *day: photoperiod(*day, GAP_US)),
        ),
        "settled light": (
            "settled_light", "differences",
            lambda: settled_light(year.time, year.ppfd, year.lit, GAP_US, 10 * MINUTE_US),
        ),
        "degree-hours": (
            "degree_hours", "held sum", lambda: degree_hours(year.time, year.air, 4.0, 0, year.end, GAP_US, 30.0),
        ),
        "hourly means": (
            "hourly_means", "held sum", lambda: hourly_means(year.time, year.air, 0, 365 * DAY_US, GAP_US),
        ),
        "wet hours": (
            "wet_time", "held sum",
            lambda: wet_time(year.time, year.margin, np.full(YEAR, 0.6), 0, year.end, GAP_US),
        ),
        "cycling of a compressor": (
            "cycling", "held sum", lambda: cycling(year.time, year.compressor, 0, year.end, GAP_US, 120.0),
        ),
        "irrigation cycles": (
            "irrigation_cycles", "differences",
            lambda: irrigation_cycles(year.time, year.flow, 5.0, year.end, GAP_US),
        ),
        "litres of each cycle": (
            "litres", "held sum", lambda: litres_from_flow(year.time, year.flow, *windows, GAP_US),
        ),
        "increments of a counter": ("increments", "differences", lambda: increments(year.dosed)),
        "doses from a counter": (
            "counted_events", "differences", lambda: counted_events(year.time, year.dosed, 30 * MINUTE_US),
        ),
        "steps found": (
            "steps_found", "running sum",
            lambda: steps_found(year.time, year.ec, 30 * MINUTE_US, 0.04, GAP_US),
        ),
        "lines between doses": (
            "lines_between", "running sum",
            lambda: lines_between(year.time, year.ec, year.doses, 10 * MINUTE_US, GAP_US),
        ),
        "air changes of each decay": ("air_changes", "a line a night", lambda: air_changes(year, lamps)),
        "excursions, outside 1 h a day": (
            "excursions", "differences", lambda: excursions(year.time, year.warm_noon, 18.0, 25.0, rule),
        ),
        "excursions, outside 16 h a day": (
            "excursions_mostly_outside", "differences", lambda: excursions(year.time, year.air, 18.0, 22.5, rule),
        ),
    }  # fmt: skip
    found = {name: Family(figure, count, work, "np.exp") for name, (figure, work) in formulas.items()}
    found |= {name: Family(figure, YEAR, work, baseline) for name, (figure, baseline, work) in series.items()}
    found["mould index, hourly"] = Family(
        "mould_hours", 8760, lambda: mould_index(year.wall, year.wall_humidity, "sensitive", 0.25), "np.exp of hours"
    )
    found["difference from 5 siblings"] = Family(
        "siblings", 5 * YEAR, lambda: difference_from_siblings(year.rows), "sort of 5 rows"
    )
    return found
