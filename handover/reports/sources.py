"""What a report is made from, and what it rests on: software, description, sheets, and the evidence chain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from farm.check import check_text
from farm.description import Farm
from farm.readings import MICROSECONDS_PER_SECOND, instant
from handover.provenance import SOFTWARE, MadeBy, evidence_of
from handover.reports.document import Out
from handover.reports.merging import Day
from handover.reports.telling import Telling, listed
from store.entries import DaySheetEntry
from store.journal import Journal
from watch.day_data import day_range
from watch.judged import JudgedReadings


@dataclass(frozen=True)
class Sources:
    """One farm with its readings as they are judged, its journal and the time now."""

    farm: Farm
    store: JudgedReadings
    journal: Journal
    made_by: MadeBy
    now_us: int

    @property
    def today(self) -> date:
        """The farm's calendar day."""
        return instant(self.now_us).astimezone(self.farm.farm.zone_info).date()

    def described_then(self, description_hash: str) -> Farm:
        """Return the farm as a sheet's own description has it, so that old labels and bands stay with old figures."""
        if description_hash == self.made_by.description_sha256:
            return self.farm
        text = self.journal.description(self.farm.name, description_hash)
        farm = None if text is None else check_text(text)[0]
        return farm if farm is not None and farm.name == self.farm.name else self.farm


def length_s(farm: Farm, entry: DaySheetEntry) -> float:
    """Return how much of its day a sheet speaks of. [s]."""
    start_us, end_us = day_range(farm, entry.day)
    until_us = min(end_us, max(entry.computed_us, start_us + 1))
    return (until_us - start_us) / MICROSECONDS_PER_SECOND


def as_days(farm: Farm, entries: Sequence[DaySheetEntry]) -> list[Day]:
    """Return sheets with the length of what they speak of."""
    return [Day(one.sheet, length_s(farm, one)) for one in entries]


def origin(
    sources: Sources, tell: Telling, span: tuple[int, int], sheets: Sequence[DaySheetEntry], hashes: Sequence[str]
) -> list[tuple[str, str]]:
    """Return what a report rests on, row by row; ``hashes`` are of the descriptions that its figures go by."""
    lines = [("Made by", f"{SOFTWARE} {sources.made_by.version}")]
    lines += [("SHA-256 of the farm's description", one) for one in hashes]
    if sources.made_by.description_sha256 not in hashes:
        lines.append(("SHA-256 of the description in use now", sources.made_by.description_sha256))
    other = "SHA-256 of the description that day sheets went by"
    lines += [(other, one) for one in hashes_of(sheets) if one not in hashes]
    if len(sheets) == 1:
        lines.append(("Day sheet worked out", tell.moment(sheets[0].computed_us)))
    elif sheets:
        first, last = min(one.computed_us for one in sheets), max(one.computed_us for one in sheets)
        lines.append((f"{len(sheets)} day sheets worked out", f"from {tell.moment(first)} to {tell.moment(last)}"))
    lines += _evidence(sources, span)
    zone = sources.farm.farm.timezone
    lines.append(
        ("Times and numbers", f"clock of {zone}; numbers as in {sources.farm.farm.locale}; ± is a give or take at 95 %")
    )
    return lines


def _evidence(sources: Sources, span: tuple[int, int]) -> list[tuple[str, str]]:
    found = evidence_of(sources.store, sources.farm.name, *span)
    if found is None:
        return [("Evidence chain", "none: this store keeps none")]
    if found.broken:
        return [("Evidence chain", Out(f"does not hold: {found.broken}. leafweather store verify tells more."))]
    if not found.entry:
        return [
            (
                "Evidence chain",
                f"none of the {found.asked} UTC days of this time is sealed yet: ask again after sealing",
            )
        ]
    sealed = f"{found.days} of {found.asked} UTC days sealed, up to entry {found.entry}"
    return [("Evidence chain", sealed), ("Head of the chain there (SHA-256)", found.head)]


def hashes_of(sheets: Sequence[DaySheetEntry]) -> list[str]:
    """Return which descriptions sheets were worked out with."""
    return list(dict.fromkeys(one.description_hash for one in sheets))


def citation(sources: Sources, what: str, span: tuple[int, int], hashes: Sequence[str]) -> str:
    """Return a sentence that names a report for good."""
    found = evidence_of(sources.store, sources.farm.name, *span)
    chain = f"evidence chain entry {found.entry}, head {found.head[:16]}" if found and found.entry else "not sealed yet"
    place = sources.farm.farm
    invented = " (invented farm)" if place.invented and "invented" not in place.title else ""
    return (
        f"{sources.farm.farm.title}{invented}: {what}. {SOFTWARE} {sources.made_by.version}, description "
        f"{listed([one[:16] for one in hashes])}, {chain}."
    )
