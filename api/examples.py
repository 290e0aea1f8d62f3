"""One realistic answer for each address, from an invented farm; a test holds each to its schema."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

_EXCURSION: dict[str, Any] = {
    "id": "3f9c1a7be0",
    "series": "row-1/relative_humidity",
    "label": "Relative humidity",
    "zone": "row-1",
    "zone_label": "Row 1",
    "side": "high",
    "onset": "2026-03-01T02:10:00Z",
    "end": None,
    "last": "2026-03-01T04:42:00Z",
    "duration_s": 9120.0,
    "extreme": 88.4,
    "extreme_time": "2026-03-01T03:51:00Z",
    "limit": 80.0,
    "onset_limit": 75.0,
    "unit": "%",
    "display_unit": "%",
    "decimals": 1,
    "dose": 13.7,
    "dose_unit": "% h",
}

_ENTRY: dict[str, Any] = {
    "id": "3f9c1a7be0",
    "kind": "ph_calibration",
    "time": "2026-02-20T09:00:00Z",
    "author": "kim",
    "written": "2026-02-20T09:12:40Z",
    "version": 1,
    "withdrawn": False,
    "detail": {
        "kind": "ph_calibration",
        "series": "reservoir/solution_ph",
        "buffers": [7.0, 4.01],
        "readings": [6.96, 4.09],
        "reading_unit": "pH",
        "temperature_c": 25.0,
        "adjusted": False,
        "note": "",
    },
}

_NOTICE: dict[str, Any] = {
    "id": "5b0d3e9a7c2f41d68e17",
    "kind": "raised",
    "person": "kim",
    "person_label": "Kim",
    "channel": "mail 1",
    "priority": "high",
    "group": "row-1/humid",
    "alarms": ["3f9c1a7be0"],
    "subject": "Row 1: Relative humidity 88.4 %",
    "made": "2026-03-01T02:20:04Z",
    "state": "sent",
    "tries": 2,
    "next_try": None,
    "sent": "2026-03-01T02:20:15Z",
}

_FINDING: dict[str, Any] = {
    "id": "9b1d0c44e2",
    "subject": "excursion",
    "excursion": "3f9c1a7be0",
    "series": "row-1/relative_humidity",
    "surface": None,
    "onset": "2026-03-01T02:10:00Z",
    "end": None,
    "at": "2026-03-01T04:00:00Z",
    "headline": "The coil's water does not leave the room (drain blocked, blown off the coil, or frozen on it) (91 %).",
    "causes": [
        {
            "cause": "drying_lost",
            "part": None,
            "label": "The coil's water does not leave the room (drain blocked, blown off the coil, or frozen on it)",
            "nature": "equipment",
            "probability": 0.91,
            "places": [],
            "place_labels": [],
            "for": [
                {
                    "sentence": "Condensate 0.00 L/h, usually 2.00 L/h give or take 0.33 L/h.",
                    "indicator": "condensate@now",
                    "place": "",
                    "value": 0.0,
                    "usual": 2.0,
                    "give_or_take": 0.33,
                    "unit": "L/h",
                    "weight": 2.55,
                }
            ],
            "against": [],
            "check": "Look at the coil's drain while the compressor runs: does water come?",
        },
        {
            "cause": "as_usual",
            "part": None,
            "label": "As usual on this farm at this hour: no indicator differs beyond its usual scatter",
            "nature": "normal",
            "probability": 0.02,
            "places": [],
            "place_labels": [],
            "for": [],
            "against": [],
            "check": None,
        },
    ],
    "also": [],
    "cannot_tell_apart": [],
    "first_check": "Look at the coil's drain while the compressor runs: does water come?",
    "next_check": "Look at the coil, its drain and its pan while the compressor runs.",
    "next_check_shows": {},
    "found_before": [
        {"id": "51c2a90f7d", "onset": "2026-02-20T14:00:00Z", "end": "2026-02-20T19:00:00Z", "place_labels": []}
    ],
    "shown_in": [["room/flow_rate/condensate"]],
    "urgent": False,
    "cautions": [],
}

EXAMPLES: dict[str, dict[str, Any]] = {
    "farm": {
        "name": "demo",
        "title": "Demonstration farm",
        "timezone": "Europe/Oslo",
        "locale": "nb-NO",
        "elevation_m": 35.0,
        "invented": True,
        "description_hash": "5b1f0c9a2d7e",
        "software_version": "0.1.0",
        "time": "2026-03-01T04:43:10Z",
        "days": ["2026-02-27", "2026-02-28"],
        "cautions": ["Leafweather advises and records. It controls nothing and is not a life-safety device."],
    },
    "zones": {
        "time": "2026-03-01T04:43:10Z",
        "zones": [
            {
                "zone": "row-1",
                "label": "Row 1",
                "kind": "growing_row",
                "crop": "Lettuce",
                "phase": "growing_on",
                "lit": False,
                "air": {
                    "time": "2026-03-01T04:42:00Z",
                    "air_pressure_kpa": 101.3,
                    "wet_bulb_degc": 19.3,
                    "absolute_humidity_g_m3": 15.8,
                    "enthalpy_kj_kg": 55.0,
                    "density_kg_m3": 1.19,
                },
                "series": [
                    {
                        "key": "row-1/relative_humidity",
                        "label": "Relative humidity",
                        "quantity": "relative_humidity",
                        "kind": "level",
                        "unit": "%",
                        "display_unit": "%",
                        "decimals": 1,
                        "value": 87.2,
                        "time": "2026-03-01T04:42:00Z",
                        "age_s": 70.0,
                        "flag": 1,
                        "standing": "high",
                        "low": 55.0,
                        "high": 80.0,
                        "excursion": "3f9c1a7be0",
                    }
                ],
            }
        ],
    },
    "needs": {
        "time": "2026-03-01T04:43:10Z",
        "needs": [
            {
                "urgency": "today",
                "sentence": "Relative humidity in Row 1 has been above 80 % for 2 h 32 min; it is 87.2 % now.",
                "since": "2026-03-01T02:10:00Z",
                "zone": "row-1",
                "series": ["row-1/relative_humidity"],
                "excursion": "3f9c1a7be0",
                "caution": None,
                "alarm": "0c5e8d21fa",
                "state": "unacknowledged",
                "finding": "9a77d0c1e2",
                "refused": False,
            }
        ],
    },
    "series": {
        "series": [
            {
                "key": "row-1/relative_humidity",
                "label": "Relative humidity",
                "zone": "row-1",
                "zone_label": "Row 1",
                "quantity": "relative_humidity",
                "kind": "level",
                "unit": "%",
                "display_unit": "%",
                "decimals": 1,
                "origin": "measured",
                "first": "2026-02-27T00:00:00Z",
                "last": "2026-03-01T04:42:00Z",
                "cadence_s": 60.0,
                "silent_after_s": 180.0,
                "silent": False,
                "described": True,
            }
        ]
    },
    "latest": {
        "time": "2026-03-01T04:43:10Z",
        "latest": [
            {
                "key": "row-1/relative_humidity",
                "time": "2026-03-01T04:42:00Z",
                "value": 87.2,
                "unit": "%",
                "uncertainty": 2.0,
                "flag": 1,
                "age_s": 70.0,
            }
        ],
    },
    "readings": {
        "series": "row-1/relative_humidity",
        "unit": "%",
        "start": "2026-03-01T04:00:00Z",
        "end": "2026-03-01T04:10:00Z",
        "every_s": 300.0,
        "time": ["2026-03-01T04:00:00Z", "2026-03-01T04:05:00Z"],
        "value": [86.9, None],
        "low": [86.5, None],
        "high": [87.4, None],
        "count": [5, 0],
        "flag": [1, 4],
    },
    "gaps": {
        "series": "row-1/relative_humidity",
        "start": "2026-02-28T04:00:00Z",
        "end": "2026-03-01T04:00:00Z",
        "cadence_s": 60.0,
        "silent_after_s": 180.0,
        "last": "2026-03-01T04:42:00Z",
        "count": 1,
        "silent_s": 540.0,
        "gaps": [
            {
                "start": "2026-02-28T22:01:00Z",
                "end": "2026-02-28T22:10:00Z",
                "duration_s": 540.0,
                "missed": 9,
                "open": False,
            }
        ],
    },
    "bands": {
        "series": "row-1/relative_humidity",
        "unit": "%",
        "start": "2026-02-28T20:00:00Z",
        "end": "2026-03-01T04:00:00Z",
        "bands": [
            {"start": "2026-02-28T20:00:00Z", "end": "2026-02-28T22:00:00Z", "lit": True, "low": 55.0, "high": 75.0},
            {"start": "2026-02-28T22:00:00Z", "end": "2026-03-01T04:00:00Z", "lit": False, "low": 55.0, "high": 80.0},
        ],
    },
    "excursions": {"excursions": [_EXCURSION], "next": None},
    "air_chart": {
        "zone": "room",
        "label": "Room",
        "start": "2026-02-28T12:00:00Z",
        "end": "2026-02-28T14:00:00Z",
        "temperature": "room/air_temperature",
        "humidity": "room/relative_humidity",
        "crop": "Lettuce",
        "phase": "growing_on",
        "air_pressure_kpa": 99.18,
        "air_pressure_measured": False,
        "temperature_window_degc": [18.0, 27.0],
        "humidity_ratio_window_g_kg": [6.0, 17.0],
        "saturation": {"level": 100.0, "temperature_degc": [18.0, 18.5], "humidity_ratio_g_kg": [13.22, 13.65]},
        "relative_humidity": [{"level": 60.0, "temperature_degc": [18.0, 18.5], "humidity_ratio_g_kg": [7.86, 8.11]}],
        "vapour_pressure_deficit": [
            {"level": 0.8, "temperature_degc": [18.0, 18.5], "humidity_ratio_g_kg": [8.04, 8.47]}
        ],
        "hours": {
            "time": ["2026-02-28T12:00:00Z", "2026-02-28T13:00:00Z"],
            "temperature_degc": [23.4, 23.6],
            "humidity_ratio_g_kg": [11.9, 12.1],
            "relative_humidity_percent": [64.9, 65.2],
            "vpd_kpa": [1.01, 1.02],
            "lit": [True, True],
        },
        "bands": [
            {
                "lit": True,
                "temperature_degc": [20.0, 25.0],
                "relative_humidity_percent": [52.0, 80.0],
                "vpd_kpa": [0.5, None],
                "outline": {
                    "level": None,
                    "temperature_degc": [20.0, 25.0, 25.0, 20.0],
                    "humidity_ratio_g_kg": [11.8, 16.4, 10.5, 7.7],
                },
            }
        ],
        "surfaces": [
            {
                "surface": "north_wall",
                "label": "North wall",
                "zone": "room",
                "measured": False,
                "give_or_take_k": 0.2,
                "coldest_degc": 18.8,
                "coldest_hour": "2026-02-28T13:00:00Z",
                "coldest_g_kg": 13.9,
                "now_degc": 19.4,
                "now_g_kg": 14.5,
                "tonight_degc": 17.9,
                "tonight_give_or_take_k": 0.1,
                "tonight_g_kg": 13.1,
            }
        ],
        "now": {"time": "2026-02-28T14:00:00Z", "temperature_degc": 23.6, "humidity_ratio_g_kg": 12.1},
    },
    "excursion": _EXCURSION,
    "findings": {"findings": [_FINDING], "next": None},
    "finding": _FINDING,
    "days": {"days": ["2026-02-27", "2026-02-28"]},
    "day": json.loads((Path(__file__).parent / "example_day.json").read_text("utf-8")),
    "light_days": {
        "days": ["2026-02-27", "2026-02-28"],
        "zones": [
            {
                "zone": "row-1",
                "label": "Row 1",
                "days": [
                    {
                        "day": "2026-02-27",
                        "start": "2026-02-27T04:00:00Z",
                        "mol": 14.3,
                        "mol_plus_or_minus": 0.6,
                        "coverage": 1.0,
                        "complete": True,
                        "estimated": False,
                        "lit_h": 16.0,
                        "target_low": 12.5,
                        "target_high": 16.0,
                        "standing": "inside",
                    }
                ],
            }
        ],
    },
    "root_zone": {
        "days": ["2026-02-28"],
        "reservoirs": [
            {
                "zone": "reservoir",
                "label": "Reservoir",
                "bands": [{"quantity": "solution_ec", "low": 1.6, "high": 2.05}],
                "stocks": {"nutrient-a": "nutrient", "acid": "acid"},
                "days": [
                    {
                        "day": "2026-02-28",
                        "complete": True,
                        "solution": [
                            {
                                "quantity": "solution_ec",
                                "key": "reservoir/solution_ec",
                                "label": "EC at 25 °C",
                                "unit": "mS/cm",
                                "mean": 1.8,
                                "low": 1.74,
                                "high": 1.86,
                            }
                        ],
                        "doses": [
                            {
                                "start": "2026-02-28T05:03:00Z",
                                "end": "2026-02-28T05:09:00Z",
                                "volumes_ml": {"nutrient-a": 60.0},
                                "ec_step_ms_cm": 0.061,
                                "ec_expected_ms_cm": 0.06,
                            }
                        ],
                        "top_ups": [{"start": "2026-02-28T04:25:00Z", "end": "2026-02-28T04:51:00Z", "volume_l": 8.5}],
                        "topped_up_l": 35.1,
                        "topped_up_give_or_take_l": 5.4,
                        "drunk_l": 39.9,
                        "drunk_give_or_take_l": 1.5,
                        "uptake_ms_cm": 2.17,
                        "uptake_give_or_take_ms_cm": 0.18,
                        "ec_drift_ms_cm_d": 0.06,
                        "ph_drift_d": 0.22,
                    }
                ],
            }
        ],
        "probes": [
            {
                "key": "reservoir/solution_ph",
                "label": "pH",
                "calibrations": [
                    {
                        "id": "3f9c1a7be0",
                        "time": "2026-02-28T07:10:00Z",
                        "author": "kim",
                        "scale": 1.008,
                        "offset": -0.079,
                        "slope_percent": 97.6,
                        "offset_mv": -2.6,
                        "constant_percent": None,
                        "condition": "good",
                    }
                ],
            }
        ],
    },
    "balances": {
        "currency": "EUR",
        "days": [
            {
                "day": "2026-02-28",
                "complete": True,
                "feed_water_l": 39.0,
                "drained_l": None,
                "gained_l": 2.5,
                "drunk_l": 40.8,
                "drunk_give_or_take_l": 3.5,
                "condensate_l": 27.0,
                "stocks": [{"stock": "nutrient-a", "label": "Stock A", "used_ml": 812.0}],
                "energy_kwh": 122.2,
                "energy_coverage": 0.999,
                "energy_cost": 19.55,
                "lamps_kwh": 40.4,
                "co2_dosed_g": 633.0,
                "co2_leaked_g": 500.0,
            }
        ],
        "stocks": [
            {
                "stock": "nutrient-a",
                "label": "Stock A",
                "used_ml_per_day": 812.0,
                "refilled": "2026-02-20T09:00:00Z",
                "remaining_ml": 13500.0,
                "days_left": 16.6,
                "days_left_soonest": 13.0,
                "days_left_latest": 22.0,
                "full_bottle_lasts_days": 24.6,
            }
        ],
    },
    "batches": {
        "batches": [{"batch": "lettuce-12", "crop": "lettuce", "sown": "2026-01-20", "zones": ["shelf", "row-1"]}]
    },
    "batch": {
        "batch": "lettuce-12",
        "crop": "lettuce",
        "crop_label": "Lettuce",
        "sown": "2026-01-20",
        "plants": 240,
        "harvest_kg": None,
        "base_temperature_c": 4.0,
        "cap_temperature_c": 30.0,
        "stays": [
            {
                "zone": "row-1",
                "label": "Row 1",
                "phase": "growing_on",
                "start": "2026-02-08T23:00:00Z",
                "end": "2026-03-01T04:43:10Z",
                "complete": False,
                "hours": 485.7,
                "light": {
                    "mol": 296.4,
                    "covered_h": 483.2,
                    "estimated": False,
                    "series": ["row-1/ppfd"],
                },
                "warmth": {
                    "degree_hours_k_h": 8404.0,
                    "below_base_h": 0.0,
                    "above_cap_h": 0.0,
                    "covered_h": 484.0,
                    "series": ["row-1/air_temperature"],
                },
                "bands": [
                    {
                        "key": "row-1/relative_humidity",
                        "quantity": "relative_humidity",
                        "label": "Relative humidity",
                        "unit": "%",
                        "inside_h": 460.1,
                        "below_h": 2.0,
                        "above_h": 21.9,
                        "covered_h": 484.0,
                    }
                ],
            }
        ],
        "total": {
            "hours": 485.7,
            "mol": 296.4,
            "mol_coverage": 0.995,
            "mol_estimated": False,
            "degree_hours_k_h": 8404.0,
            "degree_hours_coverage": 0.996,
            "bands": [
                {
                    "quantity": "relative_humidity",
                    "unit": "%",
                    "inside_h": 460.1,
                    "below_h": 2.0,
                    "above_h": 21.9,
                    "covered_h": 484.0,
                    "coverage": 0.996,
                }
            ],
        },
        "energy": {
            "kwh": 612.4,
            "kwh_per_kg": None,
            "coverage": 0.998,
            "convention": "by plants and time; our convention, no source",
        },
        "use": {
            "water_l": 212.0,
            "water_coverage": 1.0,
            "co2_g": 3150.0,
            "co2_coverage": 1.0,
            "stocks": [{"stock": "nutrient-a", "label": "Stock A", "used_ml": 4060.0, "coverage": 1.0}],
            "convention": "each day's sheet, by plants and time; our convention, no source",
        },
    },
    "rejects": {
        "counts": {"unknown_name": 412},
        "rejects": [
            {
                "reason": "unknown_name",
                "topic": "leafweather/demo/row-1",
                "name": "row-1/humidity",
                "detail": "The description has no series with this wire name. Correct the sensor's name, or add it.",
                "raw": '[{"n":"row-1/humidity","u":"%RH","v":87.2}]',
                "first": "2026-02-27T08:00:00Z",
                "last": "2026-03-01T04:42:00Z",
                "count": 412,
            }
        ],
    },
    "unknown": {
        "unknown": [
            {
                "name": "row-1/humidity",
                "topic": "leafweather/demo/row-1",
                "value": 87.2,
                "unit": "%RH",
                "first": "2026-02-27T08:00:00Z",
                "last": "2026-03-01T04:42:00Z",
                "count": 412,
                "suggestion": '[[series]]\nzone = "row-1"\nquantity = "relative_humidity"\nwire = "row-1/humidity"\n',
            }
        ]
    },
    "clocks": {
        "clocks": [
            {
                "device": "leafweather/demo/row-1",
                "fault": "behind",
                "detail": "its times are steadily 3600 s behind: whole hours; does it send local time for UTC?",
                "behind_s": 3600.4,
                "first": "2026-02-27T08:00:00Z",
                "last": "2026-03-01T04:42:00Z",
                "readings": 4120,
            }
        ]
    },
    "quality": {
        "series": "reservoir/solution_ph",
        "start": "2026-02-28T04:43:10Z",
        "end": "2026-03-01T04:43:10Z",
        "doubts": [
            {
                "test": "spike",
                "flag": 4,
                "first": "2026-02-28T11:20:00Z",
                "last": "2026-02-28T11:20:00Z",
                "readings": 1,
            }
        ],
        "corrections": [{"since": "2026-02-20T09:00:00Z", "scale": 1.0417, "offset": -0.2542}],
    },
    "log": {"entries": [_ENTRY], "next": None},
    "log_entry": _ENTRY,
    "log_versions": {"versions": [_ENTRY]},
    "doses": {
        "doses": [
            {
                "zone": "reservoir",
                "zone_label": "Reservoir",
                "start": "2026-02-28T01:21:00Z",
                "end": "2026-02-28T01:22:00Z",
                "source": "counter",
                "stocks": [{"stock": "acid", "label": "pH down", "volume_ml": 6.0}],
                "ec_step_ms_cm": None,
                "ph_step_ph": -0.01831,
            }
        ]
    },
    "dose": {
        "add": "stock",
        "added_l": 1.222,
        "added_give_or_take_l": 0.061,
        "each_l": 1.222,
        "first_l": 0.611,
        "final_volume_l": 201.222,
        "advice": "Add half of it first, let the solution mix, measure, and work out the rest from what you then read.",
        "caution": "Acids and bases burn. Wear eye protection and gloves.",
    },
    "notices": {"notices": [_NOTICE], "next": None},
    "notice": {
        **_NOTICE,
        "text": "Relative humidity in Row 1 is too high: 88.4 % at worst, at most 80.0 % wanted.\n",
        "log": [
            {
                "number": 1,
                "began": "2026-03-01T02:20:04Z",
                "ended": "2026-03-01T02:20:05Z",
                "outcome": "later",
                "answer": "451 4.3.0 try again",
            },
            {
                "number": 2,
                "began": "2026-03-01T02:20:14Z",
                "ended": "2026-03-01T02:20:15Z",
                "outcome": "taken",
                "answer": "250 2.0.0 taken",
            },
        ],
    },
    "health": {"status": "ok"},
    "data_set_plan": {
        "start": "2026-02-28T23:00:00Z",
        "end": "2026-03-31T22:00:00Z",
        "form": "cleaned",
        "cells": 4458,
        "readings_about": 133740,
        "series": [
            {
                "key": "row-1/air_temperature",
                "label": "Row 1, Air temperature",
                "column": "row_1__air_temperature",
                "unit": "degC",
            }
        ],
        "nothing_stored": ["row-1/leaf_temperature"],
        "formats": ["parquet", "csv", "netcdf"],
    },
}


_ALARM: dict[str, Any] = {
    "id": "0c5e8d21fa",
    "condition": "out_of_band/row-1/relative_humidity/high",
    "kind": "out_of_band",
    "priority": "medium",
    "state": "unacknowledged",
    "what": "Relative humidity",
    "where": "Row 1",
    "zone": "row-1",
    "series": "row-1/relative_humidity",
    "onset": "2026-03-01T02:10:00Z",
    "raised": "2026-03-01T02:30:00Z",
    "returned": None,
    "unit": "%",
    "worst": 88.4,
    "limit": 80.0,
    "text": "Relative humidity in Row 1 is too high: 88.4 % at worst, at most 80.0 % wanted. Also in Row 2.",
    "also": ["Row 2"],
    "likely": [{"cause": "drying_lost", "label": "The coil's water does not leave the room", "probability": 0.91}],
    "first_step": "Look at the coil's drain while the compressor runs.",
    "caution": "",
    "group": "out_of_band/row-1/relative_humidity/high@1772331000000000",
    "suppressed_by": None,
    "shelved_until": None,
    "revision": 1,
}
EXAMPLES["alarms"] = {"time": "2026-03-01T04:43:10Z", "alarms": [_ALARM], "next": None}
EXAMPLES["alarm"] = {
    "time": "2026-03-01T04:43:10Z",
    "alarm": _ALARM | {"state": "acknowledged"},
    "revisions": [
        {
            "number": 1,
            "written": "2026-03-01T03:00:04Z",
            "changed": {"onset_us": [1772331300000000, 1772331000000000]},
            "gone": False,
        }
    ],
    "acts": [{"act": "acknowledge", "time": "2026-03-01T04:40:00Z", "who": "kim", "why": "", "until": None}],
}
EXAMPLES["performance"] = {
    "start": "2026-02-01T00:00:00Z",
    "end": "2026-03-01T00:00:00Z",
    "alarms": 12,
    "suppressed": 41,
    "per_day": 0.43,
    "per_hour": 0.018,
    "most_in_ten_minutes": 2,
    "most_in_an_hour": 3,
    "time_in_flood": 0.0,
    "floods": [],
    "chattering": [
        {"condition": "silence/row-4/ppfd", "text": "PPFD, Row 4", "times": 9, "share": None},
    ],
    "stale": [{"condition": "silence/row-4/ppfd", "text": "PPFD, Row 4", "hours": 31.5}],
    "most_frequent": [
        {"condition": "silence/row-4/ppfd", "text": "PPFD, Row 4", "times": 3, "share": 0.25},
    ],
    "by_priority": {"high": 2, "medium": 5, "low": 5},
    "benchmarks": {
        "acceptable_per_day": 144,
        "manageable_per_day": 288,
        "acceptable_per_hour": 6,
        "manageable_per_hour": 12,
        "most_time_in_flood": 0.01,
        "share_highest": 0.05,
        "share_high": 0.15,
        "share_rest": 0.8,
    },
}
EXAMPLES["session"] = {
    "sign_in_needed": True,
    "signed_in": True,
    "who": "Ada's phone",
    "role": "technician",
    "until": "2026-03-31T04:43:10Z",
    "csrf": "5d3c1f0e9a7b4c2d8e6f1a0b3c5d7e9f5d3c1f0e9a7b4c2d8e6f1a0b3c5d7e9f",
}
EXAMPLES["audit"] = {
    "written": [
        {
            "number": 2,
            "time": "2026-03-01T04:40:00Z",
            "who": "Ada's phone",
            "token": "0a1b2c3d4e",
            "role": "technician",
            "what": "POST /api/v1/alarms/0c5e8d21fa/acknowledge",
            "outcome": "200",
        },
        {
            "number": 1,
            "time": "2026-03-01T04:12:31Z",
            "who": "",
            "token": None,
            "role": None,
            "what": "POST /api/v1/session",
            "outcome": "401",
        },
    ],
    "next": None,
}
EXAMPLES["alive"] = {"status": "ok"}
EXAMPLES["events"] = {
    "time": "2026-03-01T04:43:10Z",
    "newest": {"row-1/air_temperature": "2026-03-01T04:43:00Z", "row-1/relative_humidity": "2026-03-01T04:43:00Z"},
}


def of(address: str, *others: str) -> dict[int | str, dict[str, Any]]:
    """Return the documented answer of one address, with its example; it may come as other media types too."""
    other = {one: {"schema": {"type": "string", "format": "binary"}} for one in others}
    return {200: {"content": {"application/json": {"example": EXAMPLES[address]}, **other}}}
