"""Which corrections the journal's calibrations make, and what changes when one is written."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import astuple

from analytics.probes import Calibration, Correction, EcCalibration, TwoPointCalibration, corrections
from farm.description import Farm
from farm.readings import Series
from store import log_entries
from store.journal import Journal
from store.log_entries import LogEntry

KINDS = ("ph_calibration", "ec_calibration")


def corrections_in_force(farm: Farm, journal: Journal) -> dict[Series, list[Correction]]:
    """Return the corrections of every described series that has been calibrated."""
    by_series: dict[Series, list[Calibration]] = {}
    for entry in journal.log.entries(farm.name, kinds=KINDS):
        series, calibration = _calibration(farm, entry)
        if series in farm.described:
            by_series.setdefault(series, []).append(calibration)
    return {series: corrections(several) for series, several in by_series.items()}


def _calibration(farm: Farm, entry: LogEntry) -> tuple[Series, Calibration]:
    detail = entry.detail
    match detail:
        case log_entries.PhCalibration():
            return Series.parse(farm.name, detail.series), TwoPointCalibration(
                entry.at_us,
                detail.buffers,
                detail.readings,
                detail.reading_unit,
                detail.temperature_c,
                detail.adjusted,
            )
        case log_entries.EcCalibration():
            return Series.parse(farm.name, detail.series), EcCalibration(
                entry.at_us, detail.standard_ms_cm, detail.reading_ms_cm, detail.temperature_c, detail.adjusted
            )
        case _:
            raise ValueError(f"the entry {entry.identity} is no calibration but a {detail.kind}")


def as_text(several: Sequence[Correction]) -> str:
    """Return corrections as a text from which they come back to the bit: their version."""
    return json.dumps([astuple(one) for one in several])


def differ_from_us(before: Mapping[str, str], now: Mapping[Series, Sequence[Correction]]) -> dict[str, int]:
    """Return from when on corrections differ from those of earlier texts, by the key of each series that does."""
    texts = {series.key: as_text(several) for series, several in now.items()}
    found = {}
    for key in before.keys() | texts.keys():
        old, new = ([tuple(one) for one in json.loads(several.get(key, "[]"))] for several in (before, texts))
        if old != new:
            found[key] = min(one[0] for one in {*old} ^ {*new})
    return found
