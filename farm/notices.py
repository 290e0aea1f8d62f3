"""Who is told of alarms, when and by which channel: the [notices] part of a farm's description."""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Collection
from datetime import time
from typing import Annotated, Literal
from urllib.parse import urlsplit

from pydantic import AfterValidator, BeforeValidator, Field

from farm.alarm_words import Priority
from farm.model import Described, Name, ZoneName

AT_ONCE = (Priority.HIGHEST, Priority.HIGH, Priority.MEDIUM)  # told at once where a farm has no routes; our choice
URGENT = (Priority.HIGHEST, Priority.HIGH)  # told in quiet hours too


def time_of_day(found: object) -> time:
    """Return a local time of day from TOML's own or its text; ValueError where it is none."""
    try:
        if isinstance(found, str):
            found = time.fromisoformat(found)
    except ValueError:
        found = None
    if not isinstance(found, time) or found.tzinfo is not None:
        raise ValueError("a local time of day such as 22:00:00")
    return found


def _mail(text: str) -> str:
    name, _, domain = text.partition("@")
    plain = re.fullmatch(r"[A-Za-z0-9.!#$%&'*+/=?^_`{|}~-]{1,64}@[A-Za-z0-9.-]{1,200}", text)
    if not plain or not all([*name.split("."), *domain.split(".")]):  # RFC 5322: dots only between others
        raise ValueError("one mail address such as ada@example.org, without a name or brackets")
    return text


def on_this_machine(host: str | None) -> bool:
    """Whether a host's name or address is this machine's own."""
    try:
        return ipaddress.ip_address(host or "").is_loopback
    except ValueError:
        return host == "localhost"


def _address(text: str) -> str:
    if not re.fullmatch(r"[!-~]+", text):
        raise ValueError("an address of plain ASCII without spaces: others percent-encoded, in a host as xn--")
    try:
        parts = urlsplit(text)
        known = bool(parts.hostname) and parts.port != 0
    except ValueError:
        known = False
    if not known or not (parts.scheme == "https" or (parts.scheme == "http" and on_this_machine(parts.hostname))):
        raise ValueError("an address that begins with https:// (http:// on this machine alone)")
    if parts.username or parts.password:
        raise ValueError("an address without a name or password in it")
    return text


def _other(text: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9+.-]*://\S+", text):
        raise ValueError("an address of the apprise library, such as ntfys://{topic}")
    if re.search(r"://[^/{}@]*:[^{}@]*@", text):
        raise ValueError("an address whose password stands as {name}, and in the file of secrets")
    return text


TimeOfDay = Annotated[time, BeforeValidator(time_of_day)]
Mail = Annotated[str, AfterValidator(_mail)]
Address = Annotated[str, AfterValidator(_address)]
Other = Annotated[str, AfterValidator(_other)]


class Webhook(Described):
    """A program that takes notices as signed JSON."""

    url: Address
    secret: Name = Field(description="name, not text, of the secret that signs them: docs/notices.md")


class Quiet(Described):
    """Hours of the farm's day in which a person is left alone, over midnight if they end before they begin."""

    begin: TimeOfDay = Field(description="local time, e.g. 22:00:00")
    end: TimeOfDay = Field(description="local time, e.g. 06:30:00")
    let_through: list[Literal["highest", "high"]] = Field(
        default=["highest", "high"], description="priorities told even then"
    )

    def holds(self, at: time) -> bool:
        """Whether a local time of day lies in these hours."""
        if self.begin < self.end:
            return self.begin <= at < self.end
        return at >= self.begin or at < self.end


class Person(Described):
    """Somebody who is told."""

    label: str = Field(min_length=1, max_length=80, description="name for people; acknowledgements stand under it")
    mail: list[Mail] = Field(default_factory=list, description="mail addresses")
    webhooks: list[Webhook] = Field(default_factory=list)
    others: list[Other] = Field(
        default_factory=list,
        description="addresses of other channels as the apprise library writes them; {name} stands for a secret",
    )
    priorities: list[Priority] = Field(
        default_factory=lambda: list(Priority), description="highest, high, medium, low; all if left out"
    )
    zones: list[ZoneName] = Field(
        default_factory=list, description="told of these alone, and of what is of no zone; all if left out"
    )
    quiet: Quiet | None = None
    language: Literal["en"] = Field("en", description="English alone, so far")


class Step(Described):
    """Who is told next while nobody acknowledges."""

    after_min: float = Field(gt=0, le=10_080, description="minutes since the first notice without acknowledgement")
    to: list[Name] = Field(description="people of [notices.people]")


class Route(Described):
    """Who is told of alarms of some priorities, and who next."""

    priorities: list[Priority] = Field(min_length=1, description="highest, high, medium, low")
    to: list[Name] = Field(description="people of [notices.people]")
    then: list[Step] = Field(default_factory=list)
    again_every_min: float | None = Field(
        None,
        gt=0,
        le=10_080,
        description="after the last step, all who were told are told again while none acknowledges",
    )
    digest: bool = Field(False, description="true: not at once, but together at digest_at")


class Notices(Described):
    """Who is told of alarms, when and by which channel."""

    people: dict[Name, Person] = Field(default_factory=dict)
    routes: list[Route] = Field(
        default_factory=list, description="if left out, everybody is told: of low priority in the digest, else at once"
    )
    digest_at: TimeOfDay = Field(time(7), description="local time of the digest")
    same_within_min: float = Field(
        15.0, ge=1, le=1440, description="the same is not told twice to one person by one channel within this"
    )
    storm_over: int = Field(
        5, ge=1, le=100, description="more new notices than this to one person within storm_min ..."
    )
    storm_min: float = Field(10.0, ge=1, le=120, description="... become one that says how many")
    link_hours: float = Field(24.0, gt=0, le=168, description="how long a link for acknowledging works")
    give_up_hours: float = Field(24.0, ge=1, le=168, description="a notice that cannot be sent is tried for so long")

    def route_of(self, priority: Priority) -> Route | None:
        """Return the route of a priority; None where nobody is told of it."""
        if self.routes:
            return next((route for route in self.routes if priority in route.priorities), None)
        if not self.people:
            return None
        return Route(priorities=[priority], to=list(self.people), digest=priority not in AT_ONCE)


def zone_of(condition: str, zones: Collection[str]) -> str | None:
    """Return the zone that an alarm's condition names; None for one of the whole farm.

    Examples
    --------
    >>> zone_of("out_of_band/row_1/air_temperature/high", ["room", "row_1"])
    'row_1'
    """
    return next((part for part in condition.split("/")[1:] if part in zones), None)
