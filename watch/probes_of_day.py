"""The day sheet's section on probes: what calibrations and samples by hand say of them, and when they are due."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from analytics.due import days_until_due, days_until_limit
from analytics.grab_samples import grab_comparison
from analytics.probe_health import cell_condition, electrode_condition
from analytics.probes import Calibration, EcCalibration, GrabSample, TwoPointCalibration, cell_share, corrections
from farm.readings import MICROSECONDS_PER_SECOND, Columns, Series, iso_time
from store import log_entries
from watch.bands import max_age_us, usable
from watch.corrections import KINDS, calibration_of
from watch.day_data import DayData
from watch.root_zone_books import figure, number

SAMPLES_DAYS = 30  # samples by hand of so many days count; our choice, no source
DAY_US = 86_400 * MICROSECONDS_PER_SECOND


def probes(data: DayData) -> list[dict[str, Any]]:
    """Return one row a series that is calibrated, compared with samples by hand, or to be calibrated at an interval."""
    entries = data.journal.log.entries(data.farm.name, end_us=data.until_us, kinds=(*KINDS, "grab_sample"))
    calibrated: dict[Series, list[Calibration]] = {}
    sampled: dict[Series, list[GrabSample]] = {}
    for entry in entries:
        if isinstance(entry.detail, log_entries.GrabSample):
            if entry.at_us >= data.until_us - SAMPLES_DAYS * DAY_US:
                series = Series.parse(data.farm.name, entry.detail.series)
                accuracy = entry.detail.plus_or_minus or series.registered.accuracy or 0.0
                sampled.setdefault(series, []).append(GrabSample(entry.at_us, entry.detail.value, accuracy))
        else:
            series, calibration = calibration_of(data.farm, entry)
            calibrated.setdefault(series, []).append(calibration)
    return [
        _probe(data, series, calibrated.get(series, []), sampled.get(series, []))
        for series, described in data.farm.described.items()
        if series in calibrated or series in sampled or described.calibrate_every_days is not None
    ]


def _probe(data: DayData, series: Series, calibrations: list[Calibration], grabs: list[GrabSample]) -> dict[str, Any]:
    last = calibrations[-1] if calibrations else None
    made = corrections(calibrations)
    interval_days = data.farm.described[series].calibrate_every_days
    due = None
    if last is not None and interval_days is not None:
        due = days_until_due(last.at_us, data.until_us, interval_days)
    return {
        "key": series.key,
        "label": data.farm.label_of(series),
        "calibrated": None if last is None else iso_time(last.at_us),
        "calibrations": len(calibrations),
        "scale": made[-1].scale if made else None,
        "offset": made[-1].offset if made else None,
        "due_in_days": due,
        "electrode": _electrode(data, calibrations),
        "cell": _cell(data, calibrations),
        "samples": _samples(data, series, grabs),
    }


def _electrode(data: DayData, calibrations: list[Calibration]) -> dict[str, Any] | None:
    """Return a pH electrode's slope, offset and condition; None unless it was calibrated in mV."""
    in_mv = [one for one in calibrations if isinstance(one, TwoPointCalibration) and one.unit == "mV"]
    in_mv = list({one.at_us: one for one in in_mv}.values())
    if not in_mv:
        return None
    last = in_mv[-1]
    limits = data.farm.probe_limits.electrode
    limit = limits.maintain_percent
    at_us, slopes = [one.at_us for one in in_mv], [one.slope_percent for one in in_mv]
    left = days_until_limit(at_us, slopes, limit, data.until_us)
    return {
        "at": iso_time(last.at_us),
        "slope_percent": number(last.slope_percent),
        "offset_mv": number(last.offset_mv),
        "condition": str(electrode_condition(last.slope_percent, last.offset_mv, limits)),
        "limit_percent": limit,
        "days_to_limit": number(left.days),
        "days_to_limit_soonest": number(left.soonest),
        "days_to_limit_latest": number(left.latest),
    }


def _cell(data: DayData, calibrations: list[Calibration]) -> dict[str, Any] | None:
    """Return an EC probe's cell constant, of the one it began with, and its condition; None without calibrations."""
    in_standard = [one for one in calibrations if isinstance(one, EcCalibration)]
    in_standard = list({one.at_us: one for one in in_standard}.values())
    if not in_standard:
        return None
    share_percent = 100.0 * cell_share(in_standard)
    limits = data.farm.probe_limits.cell
    return {
        "at": iso_time(in_standard[-1].at_us),
        "constant_percent": number(share_percent),
        "condition": str(cell_condition(share_percent, limits)),
        "limit_percent": limits.maintain_percent,
    }


def _samples(data: DayData, series: Series, grabs: list[GrabSample]) -> dict[str, Any] | None:
    """Return how the readings compare with the samples by hand of the past month; None without samples."""
    if not grabs:
        return None
    age_us = max_age_us(data.farm, series)
    beside = _beside(data, series, grabs, age_us)
    accuracy = data.farm.described[series].plus_or_minus or 0.0
    found = grab_comparison(beside.time_us, usable(beside), grabs, accuracy, age_us)
    return {
        "count": sum(not math.isnan(one) for one in found.differences),
        **figure("bias", found.bias),
        "allowed": number(found.allowed),
        "unit": series.registered.unit,
        "verdict": str(found.verdict),
    }


def _beside(data: DayData, series: Series, grabs: list[GrabSample], age_us: int) -> Columns:
    """Return the readings near the samples."""
    read = [data.store.read(series, one.at_us - age_us, one.at_us + 1) for one in grabs]
    time_us, first = np.unique(np.concatenate([one.time_us for one in read]), return_index=True)
    value = np.concatenate([one.value for one in read])[first]
    return Columns(time_us, value, np.concatenate([one.flag for one in read])[first])
