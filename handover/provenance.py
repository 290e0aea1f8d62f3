"""Where a data set comes from: what was asked, by which software and description, and what vouches for the readings."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from farm.readings import iso_time
from handover.asking import Format, Imprint
from handover.choosing import DAY_US, Choice
from store.contract import ReadingStore
from store.embedded import EmbeddedStore
from store.manifest import Deed, Manifest
from store.sealed_days import farm_folder
from watch.layer import Layer

SOFTWARE = "Leafweather"


class Evidence(NamedTuple):
    """How far a farm's evidence chain vouches for a range: up to the last line that stands for a day in it.

    Lines for other days that come later change nothing here. ``days`` of the ``asked`` ones are sealed. ``broken``
    is why the chain does not hold, where it does not.
    """

    entry: int
    head: str
    days: int
    asked: int
    broken: str | None = None


def evidence_of(store: ReadingStore, farm: str, start_us: int, end_us: int) -> Evidence | None:
    """Return the evidence for measured readings of a range; None where the store's engine keeps none."""
    while isinstance(store, Layer):
        store = store.beneath
    if not isinstance(store, EmbeddedStore):
        return None
    chain = Manifest(farm_folder(store.folder, farm), farm).chain()
    dates = {iso_time(day * DAY_US)[:10] for day in range(start_us // DAY_US, -(-end_us // DAY_US))}
    inside = [entry for entry in chain.entries if entry.day in dates]
    sealed = {entry.day for entry in inside if entry.deed is Deed.SEALED}
    broken = f"line {chain.broken.line}: {chain.broken.why}" if chain.broken else None
    entry = inside[-1].number if inside else 0
    return Evidence(entry, chain.head_after(entry) if entry else "", len(sealed), len(dates), broken)


@dataclass(frozen=True, slots=True)
class MadeBy:
    """Which software made a data set, by which description of the farm."""

    version: str
    description_sha256: str


def query_of(choice: Choice, formats: Sequence[Format], imprint: Imprint) -> dict[str, Any]:
    """Return the request in words, with what it left open filled in: asking for this again gives the same files."""
    asked, cleaning = choice.asked, choice.asked.cleaning
    light_days = None if asked.light_days is None else "/".join(map(str, asked.light_days))
    query: dict[str, Any] = {
        "start": None if light_days else iso_time(choice.start_us),
        "end": None if light_days else iso_time(choice.end_us),
        "series": list(asked.series) or "all",
        "zones": list(asked.zones) or "all",
        "batch": asked.batch,
        "light_days": light_days,
        "origin": str(asked.origins),
        "form": "raw" if cleaning is None else "cleaned",
    }
    if cleaning is not None:
        query |= {
            "every": cleaning.every,
            "aggregation": str(cleaning.aggregation),
            "flags": [flag.name.lower() for flag in cleaning.flags],
            "coverage": cleaning.least_coverage,
            "layout": str(cleaning.layout),
        }
    query |= {"formats": [str(one) for one in formats], "creator": imprint.creator, "licence": imprint.licence}
    return {name: value for name, value in query.items() if value is not None}


def identity_of(query: dict[str, Any], made_by: MadeBy, checksums: dict[str, str]) -> str:
    """Return a name for a data set by which it can be cited: it changes if a byte of its data or its request does."""
    text = json.dumps([query, made_by.version, made_by.description_sha256, sorted(checksums.items())], sort_keys=True)
    return hashlib.sha256(text.encode()).hexdigest()
