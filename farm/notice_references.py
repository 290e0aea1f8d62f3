"""Mistakes in who is told of alarms: nobody, somebody unknown, steps that go in a circle."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from farm.alarm_words import Priority
from farm.notices import URGENT, time_of_day
from farm.positions import Location
from farm.references import LooseEnd, named, rows, table

CHANNELS = ("mail", "webhooks", "others")
OUTDOORS = "outdoors"  # the kind of zone in which nothing urgent happens to people or plants
SAME_WITHIN_MIN = 15.0  # the default of same_within_min


def notice_loose_ends(raw: dict[str, Any], zones: list[str]) -> Iterator[LooseEnd]:
    """Yield what is wrong between people and routes."""
    if "notices" not in raw:
        return
    notices = table(raw, "notices")
    people = table(notices, "people")
    if not people:
        yield ("notices", "people"), "nobody", "at least one person, as in [notices.people.ada] with label and mail"
    for name, person in people.items():
        at: Location = ("notices", "people", name)
        if not isinstance(person, dict):
            continue
        if not any(person.get(channel) for channel in CHANNELS):
            yield at, "no address", "at least one of mail, webhooks and others"
        yield from _quiet((*at, "quiet"), table(person, "quiet"))
        for place, zone in enumerate(_list(person, "zones")):
            yield from named((*at, "zones", place), zone, zones, "zone of this farm")
    routes = rows(notices, "routes")
    yield from _priorities(routes)
    for index, route in enumerate(routes):
        yield from _route(("notices", "routes", index), route, list(people), notices)
    if routes:
        yield from _never_told(people, routes)
    indoors = [zone for zone in zones if table(table(raw, "zones"), zone).get("kind") != OUTDOORS]
    yield from _reaching_nobody(people, routes, indoors)


def _quiet(at: Location, quiet: dict[str, Any]) -> Iterator[LooseEnd]:
    if "let_through" in quiet and str(Priority.HIGHEST) not in _list(quiet, "let_through"):
        found = "quiet hours that hold back highest alarms"
        yield (*at, "let_through"), found, "highest, or highest and high: danger to people is told at any hour"
    try:
        begin, end = time_of_day(quiet.get("begin")), time_of_day(quiet.get("end"))
    except ValueError:
        return  # the types' own checks name it
    if begin == end:
        yield (*at, "end"), f"{end}, which is the begin too", "another time of day: nobody is left alone all day"


def _list(raw: dict[str, Any], key: str) -> list[Any]:
    value = raw.get(key)
    return value if isinstance(value, list) else []


def _priorities(routes: list[dict[str, Any]]) -> Iterator[LooseEnd]:
    seen: dict[str, int] = {}
    for index, route in enumerate(routes):
        for place, priority in enumerate(_list(route, "priorities")):
            if priority in seen:
                at = ("notices", "routes", index, "priorities", place)
                yield at, f"{priority!r} again (first in routes[{seen[priority]}])", "each priority in one route"
            elif isinstance(priority, str):
                seen[priority] = index
    if routes and (missing := [str(one) for one in URGENT if one not in seen]):
        yield ("notices", "routes"), f"no route for {' and '.join(missing)}", "a route for highest and for high alarms"


def _route(at: Location, route: dict[str, Any], people: list[str], notices: dict[str, Any]) -> Iterator[LooseEnd]:
    steps = rows(route, "then")
    told: dict[str, str] = {}
    last: Any = 0
    for here, step, place in [
        (at, route, "to"),
        *(((*at, "then", n), one, f"then[{n}]") for n, one in enumerate(steps)),
    ]:
        to = step.get("to")
        if to == []:
            yield (*here, "to"), "nobody", f"at least one of the people: {', '.join(people) or 'none is described yet'}"
        for number, name in enumerate(_list(step, "to")):
            where = (*here, "to", number)
            yield from named(where, name, people, "person of [notices.people]")
            if isinstance(name, str) and name in told:
                allowed = "people who have not been told before in this route: it must not go in a circle"
                yield where, f"{name!r} again (first in {told[name]})", allowed
            elif isinstance(name, str):
                told[name] = place
        after: Any = step.get("after_min")
        if step is not route and isinstance(after, int | float):
            if after <= last:
                yield (*here, "after_min"), str(after), f"more than {last}, as it counts from the first notice"
            last = after
    if route.get("digest") is True and (steps or "again_every_min" in route):
        yield (*at, "digest"), "a digest that escalates", "digest = true without then and again_every_min"
    if route.get("digest") is True and (urgent := [one for one in URGENT if one in _list(route, "priorities")]):
        yield (
            (*at, "digest"),
            f"{' and '.join(urgent)} in the digest",
            "medium and low alone: the others are told at once",
        )
    again: Any = route.get("again_every_min")
    within: Any = notices.get("same_within_min", SAME_WITHIN_MIN)
    if isinstance(again, int | float) and isinstance(within, int | float) and again < within:
        yield (*at, "again_every_min"), str(again), f"no less than same_within_min, {within}"


def _never_told(people: dict[str, Any], routes: list[dict[str, Any]]) -> Iterator[LooseEnd]:
    for name, person in people.items():
        reached = {
            str(priority)
            for route in routes
            if any(name in _list(one, "to") for one in (route, *rows(route, "then")))
            for priority in _list(route, "priorities")
        }
        wanted = _list(person, "priorities") if isinstance(person, dict) and "priorities" in person else [*Priority]
        at: Location = ("notices", "people", name)
        if not reached:
            yield at, "a person whom no route names", "a person of some route's to or then"
        elif not reached & {str(one) for one in wanted}:
            listed = ", ".join(sorted(reached))
            yield (*at, "priorities"), f"{wanted!r}, of which no route tells {name}", f"some of {listed}"


def _reaching_nobody(people: dict[str, Any], routes: list[dict[str, Any]], zones: list[str]) -> Iterator[LooseEnd]:
    """Yield urgent priorities that would reach nobody, everywhere or in some zones, since everybody excludes them."""
    for priority in map(str, URGENT):
        for index, route in enumerate(routes or [{"priorities": [priority], "to": list(people)}]):
            if priority not in _list(route, "priorities"):
                continue
            told = {
                name: person
                for one in (route, *rows(route, "then"))
                for name in _list(one, "to")
                if isinstance(name, str) and isinstance(person := people.get(name), dict)
            }
            wanting = {
                name: person
                for name, person in told.items()
                if not isinstance(person.get("priorities"), list) or priority in person["priorities"]
            }
            at: Location = ("notices", "routes", index) if routes else ("notices", "people")
            if told and not wanting:
                found = f"{priority} alarms, of which {_names(told)} not want to be told"
                yield at, found, f"somebody whose priorities hold {priority}, or are left out"
            elif wanting and all(_list(person, "zones") for person in wanting.values()):
                covered = {zone for person in wanting.values() for zone in _list(person, "zones")}
                if missing := [zone for zone in zones if zone not in covered]:
                    found = f"{priority} alarms in {', '.join(missing)}, of which nobody is told"
                    yield at, found, f"somebody whose zones hold {missing[0]}, or are left out"


def _names(people: Iterable[str]) -> str:
    listed = list(people)
    return f"{' and '.join(listed)} {'does' if len(listed) == 1 else 'do'}"
