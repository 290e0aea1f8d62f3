"""What the interface serves from: one farm with its store, its journal and its clock."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from ipaddress import IPv4Network, IPv6Network
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request

from api.problems import Problem
from farm.description import Farm
from farm.readings import Series
from store.contract import Known
from store.journal import Journal
from watch.judged import JudgedReadings


@dataclass(frozen=True)
class Access:
    """Whether everybody has to sign in, whether every connection is encrypted, and how often one may ask.

    ``trusted_proxies`` are believed when they say whose request it is; nobody else is.
    """

    required: bool = False
    secure: bool = False
    requests_per_minute: int | None = None
    trusted_proxies: tuple[IPv4Network | IPv6Network, ...] = ()


@dataclass(frozen=True)
class House:
    """One farm and where its readings and journal are.

    ``store`` gives readings as they are judged, its ``as_arrived`` as they came; ``clock`` tells now in
    microseconds UTC, ``topics`` what came on each topic since the start. ``scratch`` is a folder with room for data
    sets that are being made; the system's own by default. ``access`` says who may ask; without a sign-in only this
    machine may.
    """

    farm: Farm
    description_hash: str
    store: JudgedReadings
    journal: Journal
    health: Callable[[], dict[str, Any]]
    clock: Callable[[], int]
    topics: Callable[[], list[dict[str, Any]]] = list
    scratch: Path | None = None
    access: Access = Access()

    def known(self) -> dict[str, Known]:
        """Return every series that holds readings, under its key."""
        return {one.series.key: one for one in self.store.known(self.farm.name)}

    def series_named(self, key: str) -> Series:
        """Return the series that a request names.

        Raises
        ------
        Problem
            404 with close matches, if it is neither described nor holds readings.
        """
        described = {series.key: series for series in self.farm.described}
        if key in described:
            return described[key]
        known = self.known()
        if key in known:
            return known[key].series
        raise not_found("series", key, described.keys() | known.keys(), "/api/v1/series lists every series")

    def zone_named(self, zone: str) -> str:
        """Return the zone that a request names.

        Raises
        ------
        Problem
            404 with close matches, if the farm has no such zone.
        """
        if zone in self.farm.zones:
            return zone
        raise not_found("zone", zone, self.farm.zones, "/api/v1/zones lists every zone")


def not_found(what: str, found: str, allowed: Iterable[str], remedy: str) -> Problem:
    """Return the problem of something that does not exist, with the closest names that do."""
    close = difflib.get_close_matches(found, sorted(allowed), n=3, cutoff=0.5)
    hint = f"Did you mean {' or '.join(close)}? " if close else ""
    return Problem(404, f"This farm has no {what} {found[:200]!r}. {hint}{remedy}.", close_matches=close)


def house_of(request: Request) -> House:
    """Return the house that this application serves."""
    house: House = request.app.state.house
    return house


TheHouse = Annotated[House, Depends(house_of)]
