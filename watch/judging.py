"""Readings judged as the running service judges them, for a program beside it that only reads."""

from __future__ import annotations

from farm.description import Farm
from store.contract import ReadingStore
from store.journal import Journal
from watch.corrections import corrections_in_force
from watch.judged import JudgedReadings
from watch.pressure import pressure_corrections
from watch.quality import QUALITY

ALL_NOTES = 1_000_000


def judged_readings(farm: Farm, store: ReadingStore, journal: Journal) -> JudgedReadings:
    """Return a farm's readings corrected and flagged by what the journal holds now; nothing is written.

    A reading counts as tested up to the first that the watch has still to look at.
    """
    readings = JudgedReadings(farm.name, store, journal, pressure_corrections(farm))
    readings.correct_by(corrections_in_force(farm, journal))
    waiting_us: dict[object, int] = {}
    for note in store.touched(farm.name, ALL_NOTES):
        waiting_us[note.series] = min(note.first_us, waiting_us.get(note.series, note.first_us))
    tested = journal.bases(farm.name, QUALITY)
    for known in store.known(farm.name):
        if tested.get(known.series.key):
            readings.note_judged(known.series, min(known.last_us, waiting_us.get(known.series, known.last_us + 1) - 1))
    return readings
