"""Names on the wire -> series: the name a series has now, and those it had, each for its time."""

from __future__ import annotations

import math
from collections import OrderedDict, defaultdict
from difflib import get_close_matches
from typing import NamedTuple

from farm.description import DescribedSeries, Farm
from farm.quantities import QUANTITIES
from farm.readings import Series, iso_time, microseconds
from ingest.records import Fault
from store.entries import Reason

_CACHED_NAMES = 50_000
_MOST_HINTS = 2_000  # different unknown names for which a close one is looked for: it is slow, and a flood has no end


class Route(NamedTuple):
    """How records of one wire name and unit become readings of one series.

    The value inside is what was sent times ``scale`` plus ``offset``, and must lie between ``low`` and
    ``high``; ``sent_unit`` is the unit it is taken to have come in.
    """

    series: Series
    scale: float
    offset: float
    low: float
    high: float
    sent_unit: str


class Dated(NamedTuple):
    """What becomes of a wire name's records in ``[since_us, until_us)``."""

    since_us: float
    until_us: float
    answer: Route | Fault


class _Owner(NamedTuple):
    """A series that has, or had, a wire name."""

    series: Series
    described: DescribedSeries
    unit: str
    since_us: float
    until_us: float


class Names:
    """A farm's wire names."""

    def __init__(self, farm: Farm) -> None:
        self._owners: defaultdict[str, list[_Owner]] = defaultdict(list)
        for series, one in farm.described.items():
            for was in one.was:
                since = -math.inf if was.since is None else microseconds(farm.moment(was.since))
                until = math.inf if was.until is None else microseconds(farm.moment(was.until))
                unit = was.unit if was.unit is not None else one.sent_unit
                self._owners[was.wire].append(_Owner(series, one, unit, since, until))
        for series, one in farm.described.items():
            past = self._owners[one.wire_name]
            since = max((owner.until_us for owner in past), default=-math.inf)
            past.append(_Owner(series, one, one.sent_unit, since, math.inf))
        self.undated: dict[tuple[str, str | None], Route] = {}  # those met so far that hold at any time
        self._hints = 0
        self._routes: OrderedDict[tuple[str, str | None], Route | Fault | list[Dated]] = OrderedDict()

    def route(self, name: str, unit: str | None, time_us: int) -> Route | Fault:
        """Return how a record of a wire name and unit becomes a reading, or why it does not."""
        found = self.routes(name, unit)
        if isinstance(found, (Route, Fault)):
            return found
        return next(answer for since_us, until_us, answer in found if since_us <= time_us < until_us)

    def routes(self, name: str, unit: str | None) -> Route | Fault | list[Dated]:
        """Return what becomes of a wire name and unit at any time, or several answers, each for its time."""
        found = self._routes.get((name, unit))
        if found is None:
            found = self._routes[name, unit] = self._found(name, unit)
            if isinstance(found, Route):
                self.undated[name, unit] = found
            if len(self._routes) > _CACHED_NAMES:
                self._routes.popitem(last=False)
        return found

    def _found(self, name: str, unit: str | None) -> Route | Fault | list[Dated]:
        owners = self._owners.get(name, [])
        if not owners:
            if (quantity := QUANTITIES.get(name.split("/")[1] if "/" in name else name)) and quantity.derived:
                return Fault(
                    Reason.UNKNOWN_NAME, name, f"Leafweather works out {quantity.label} itself: do not send it"
                )
            close = get_close_matches(name, self._owners, n=1) if self._hints < _MOST_HINTS else []
            self._hints += 1
            meant = f"did you mean {close[0]}? Else " if close else ""
            return Fault(Reason.UNKNOWN_NAME, name, f"{meant}describe it under [[series]] in farm.toml")
        if len(owners) == 1 and (owners[0].since_us, owners[0].until_us) == (-math.inf, math.inf):
            return _route(name, unit, owners[0])
        spans = "; ".join(f"{owner.series.key} {_span(owner)}" for owner in owners)
        nobody = Fault(Reason.UNKNOWN_NAME, name, f"by farm.toml this name belongs to {spans}: mend was or its dates")
        answers = [Dated(owner.since_us, owner.until_us, _route(name, unit, owner)) for owner in owners]
        return [*answers, Dated(-math.inf, math.inf, nobody)]


def _route(name: str, unit: str | None, owner: _Owner) -> Route | Fault:
    sent = unit if unit is not None else owner.unit
    units = owner.described.wire_units
    if sent not in units:
        return Fault(Reason.WRONG_UNIT, name, f"unit {sent!r}: send one of {', '.join(filter(None, units))}")
    return Route(owner.series, *units[sent], *owner.described.limits, sent)


def _span(owner: _Owner) -> str:
    start = "" if owner.since_us == -math.inf else f"from {iso_time(int(owner.since_us))} "
    return start + ("on" if owner.until_us == math.inf else f"until {iso_time(int(owner.until_us))}")
