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
from watch.judged import JudgedReadings

KINDS = ("ph_calibration", "ec_calibration")
CORRECTION = "correction"  # the kind of basis in the journal


class CorrectionKeeper:
    """Keeps the corrections of readings true to the calibrations that people write."""

    def __init__(self, farm: Farm, readings: JudgedReadings, journal: Journal) -> None:
        self._farm, self._readings, self._journal = farm, readings, journal
        self._seen: tuple[int, int] | None = None
        self._waiting: dict[Series, int] = {}
        self._texts: dict[str, str] = {}
        self.follow()

    @property
    def log_state(self) -> tuple[int, int]:
        """The state of the log at the last look."""
        return self._seen if self._seen is not None else (0, 0)

    def follow(self) -> dict[Series, int]:
        """Take up what was written since the last look.

        Returns from when on, for each series, what follows from its readings has still to be worked out anew.
        """
        state = self._journal.log.state(self._farm.name)
        if state != self._seen:
            now = corrections_in_force(self._farm, self._journal)
            self._readings.correct_by(now)
            applied = self._journal.bases(self._farm.name, CORRECTION)
            self._texts = dict.fromkeys(applied, "[]") | {one.key: as_text(several) for one, several in now.items()}
            self._waiting = {
                series: since_us
                for key, since_us in differ_from_us(applied, self._texts).items()
                if (series := Series.parse(self._farm.name, key)) in self._farm.described
            }
            self._seen = state
        return self._waiting

    def settle(self) -> None:
        """Note that all that follows from the corrections of the last look is worked out."""
        if self._waiting:
            self._journal.note_bases(self._farm.name, CORRECTION, self._texts)
            self._waiting = {}


def corrections_in_force(farm: Farm, journal: Journal) -> dict[Series, list[Correction]]:
    """Return the corrections of every described series that has been calibrated."""
    by_series: dict[Series, list[Calibration]] = {}
    for entry in journal.log.entries(farm.name, kinds=KINDS):
        series, calibration = calibration_of(farm, entry)
        if series in farm.described:
            by_series.setdefault(series, []).append(calibration)
    return {series: corrections(several) for series, several in by_series.items()}


def calibration_of(farm: Farm, entry: LogEntry) -> tuple[Series, Calibration]:
    """Return what an entry of one of ``KINDS`` says, and of which series."""
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


def differ_from_us(before: Mapping[str, str], now: Mapping[str, str]) -> dict[str, int]:
    """Return from when on corrections differ from those of earlier texts, by the key of each series that does."""
    found = {}
    for key in before.keys() | now.keys():
        old, new = ({tuple(one) for one in json.loads(texts.get(key, "[]"))} for texts in (before, now))
        if old != new:
            found[key] = min(one[0] for one in old ^ new)
    return found
