"""What is looked at before a farm is trusted to a service: nothing is changed, and each finding says how to mend it."""

from __future__ import annotations

import contextlib
import ctypes
import os
import shutil
import ssl
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import NamedTuple

from farm.check import Description
from farm.description import SILENT_AFTER_CADENCES
from farm.readings import MICROSECONDS_PER_SECOND, instant
from leafweather.listening import access_of, somebody_may_come_in
from leafweather.outside import BadOutside, channels_of, pulse_of
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from store.contract import StoreUnavailable, StoreUnusable
from store.embedded import FILE_NAME
from store.journal import Journal
from store.looking import Looked, journal_file, newest_times, readings_file

JOURNAL = "journal.sqlite"
# Our choices, no source:
LITTLE_SPACE, NO_SPACE = 2e9, 2e8  # bytes free
SLOW_SYNC_S = 0.1  # a reading is acknowledged after a sync
SOON_D = 21  # days until a certificate ends
AHEAD_S = 60.0  # a reading so far ahead of our clock: one of the two is wrong
NOT_SYNCHRONISED = 5  # what the kernel answers where nothing keeps its clock right


class Level(StrEnum):
    """How a check came out."""

    GOOD = "good"
    MIND = "mind"
    WRONG = "wrong"


class Check(NamedTuple):
    """What was looked at, how it came out, and what was found, with how to mend it."""

    what: str
    level: Level
    text: str


def checkup(description: Description, settings: Settings, now_us: int) -> Iterator[Check]:
    """Look at all that a farm's service rests on, but for the broker (`leafweather.checkup_of_broker`)."""
    farm, folder = description.farm, settings.data
    yield Check("description", Level.GOOD, f"{farm.farm.title}: {len(farm.zones)} zones, {len(farm.series)} series")
    yield from _folder(folder)
    if settings.store is None:
        yield _file(folder / FILE_NAME, "readings", readings_file)
        if (folder / FILE_NAME).is_file():
            yield from _arrivals(description, folder / FILE_NAME, now_us)
    yield _file(folder / JOURNAL, "journal", journal_file)
    yield _clock()
    yield _door(description, settings, now_us)
    if settings.tls_cert is not None:
        yield _certificate(settings, instant(now_us))
    try:
        channels_of(farm.notices, settings)
        pulse_of(settings)
    except BadOutside as error:
        yield Check("notices", Level.WRONG, str(error))
    else:
        people = len(farm.notices.people)
        told = f"{people} {'person' if people == 1 else 'people'} to tell; leafweather notice test sends one"
        yield Check(
            "notices",
            *((Level.GOOD, told) if people else (Level.MIND, "nobody is told of alarms: add [notices.people.NAME]")),
        )


def _folder(folder: Path) -> Iterator[Check]:
    """Yield whether the data folder can be written to, how much room there is, and how quick a sync is."""
    place = folder if folder.is_dir() else folder.absolute().parent
    if not place.is_dir():
        yield Check("data folder", Level.WRONG, f"{place} is not there: make it, or choose another with --data")
        return
    try:
        with tempfile.TemporaryFile(dir=place) as probe:
            probe.write(bytes(4096))
            began = time.perf_counter()
            os.fsync(probe.fileno())
            took_s = time.perf_counter() - began
    except OSError as error:
        yield Check("data folder", Level.WRONG, f"cannot write to {place} ({error.strerror}): mend its permissions, "
                    "or choose another with --data")  # fmt: skip
        return
    yield Check("data folder", Level.GOOD, str(folder.absolute()))
    free = shutil.disk_usage(place).free
    room = f"{free / 1e9:,.1f} GB free"
    if free < LITTLE_SPACE:
        level = Level.WRONG if free < NO_SPACE else Level.MIND
        yield Check("disk", level, f"{room}: make room, or keep readings for fewer days (LEAFWEATHER_KEEP_..._DAYS)")
    elif took_s > SLOW_SYNC_S:
        yield Check("disk", Level.MIND, f"{room}, but a sync took {1000 * took_s:.0f} ms: few readings a second fit")
    else:
        yield Check("disk", Level.GOOD, f"{room}, a sync takes {1000 * took_s:.1f} ms")


def _file(path: Path, what: str, look: Callable[[Path], Looked]) -> Check:
    """Return whether a database is whole and can be opened by this program."""
    if not path.is_file():
        return Check(what, Level.MIND, f"{path.name} is not there yet: the service makes it")
    try:
        found = look(path)
    except StoreUnusable as error:
        return Check(what, Level.WRONG, str(error))
    if found.damage:
        return Check(what, Level.WRONG, f"{path} is damaged ({found.damage}): put it back from a backup")
    if found.version > found.ours:
        formats = f"format {found.version}, ours {found.ours}"
        return Check(what, Level.WRONG, f"{path.name} is of a newer version ({formats}): update this program")
    if found.version < found.ours:
        return Check(what, Level.MIND, f"{path.name} is of an older version: the service brings it up to date when it "
                     "starts; make a backup before (leafweather store backup)")  # fmt: skip
    return Check(what, Level.GOOD, f"{path.name} is whole, {path.stat().st_size / 1e6:,.1f} MB")


def _arrivals(description: Description, path: Path, now_us: int) -> Iterator[Check]:
    """Yield which described series are silent, and whether any reading is of a time to come."""
    farm = description.farm
    try:
        newest_us = newest_times(path, farm.name)
    except StoreUnusable:
        return  # told already
    silent = []
    for series, one in farm.described.items():
        longest_us = SILENT_AFTER_CADENCES * one.cadence_s * MICROSECONDS_PER_SECOND
        if newest_us.get(series, -(1 << 62)) < now_us - longest_us:
            silent.append(series.key)
    of = f"{len(silent)} of {len(farm.described)} series"
    if silent:
        yield Check("readings come", Level.MIND, f"{of} are silent: {', '.join(silent[:5])}"
                    f"{' ...' if len(silent) > 5 else ''}; look at their devices, names and the broker")  # fmt: skip
    else:
        yield Check("readings come", Level.GOOD, f"each of {len(farm.described)} series has a fresh reading")
    ahead_s = (max(newest_us.values(), default=now_us) - now_us) / MICROSECONDS_PER_SECOND
    if ahead_s > AHEAD_S:
        yield Check("times", Level.WRONG, f"the newest reading is {ahead_s:,.0f} s ahead of this machine's clock: set "
                    "whichever of the two is wrong; the page names devices whose clocks are")  # fmt: skip


def _clock() -> Check:
    """Return whether something keeps this machine's clock right, as far as its kernel tells."""
    try:
        state = ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(512))  # with no mode set it only reads
    except (OSError, AttributeError):
        return Check("clock", Level.MIND, "this system does not tell whether its clock is kept right: see to it")
    if state == NOT_SYNCHRONISED:
        return Check("clock", Level.MIND, "nothing is known to keep this machine's clock right: run a time service "
                     "(systemd-timesyncd, chrony); a record hangs on it")  # fmt: skip
    return Check("clock", Level.GOOD, "the kernel says that it is synchronised")


def _door(description: Description, settings: Settings, now_us: int) -> Check:
    """Return whether the page may be served as it is meant to be."""
    farm, path = description.farm, settings.data / JOURNAL
    try:
        access = access_of(settings)
        if access.required and path.is_file():
            looked = journal_file(path)
            if looked.version == looked.ours:  # an older one would be brought up to date
                with Journal(f"sqlite:///{path.absolute()}") as journal:
                    somebody_may_come_in(access, journal, farm.name, now_us)
        elif access.required:
            raise CannotStart("everybody has to sign in, and there is no token yet: leafweather token make")
    except (CannotStart, StoreUnavailable, StoreUnusable) as error:
        return Check("page", Level.WRONG, str(error))
    who = "who has a token" if access.required else "whoever is on this machine, without a sign-in"
    return Check("page", Level.GOOD, f"{settings.host} port {settings.port} lets in {who}")


def _certificate(settings: Settings, now: datetime) -> Check:
    """Return until when the page's certificate is valid: asked by a handshake with ourselves, in memory."""
    path = settings.tls_cert
    server = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    client = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    client.check_hostname = False
    client.verify_flags |= ssl.VERIFY_X509_PARTIAL_CHAIN  # the certificate itself is what we trust here
    try:
        server.load_cert_chain(str(path), settings.tls_key)
        client.load_verify_locations(str(path))
        end = _handshake(server, client)
    except ssl.SSLCertVerificationError as error:
        return Check("certificate", Level.WRONG, f"{path}: {error.verify_message}: put a new one in its place")
    except (ssl.SSLError, OSError) as error:
        return Check("certificate", Level.WRONG, f"{path} cannot be used ({error}): both files must be PEM")
    left = end - now
    text = f"{path} is valid until {end:%Y-%m-%d}"
    if left < timedelta(days=SOON_D):
        return Check("certificate", Level.MIND, f"{text}, {left.days} days from now: renew it and start again")
    return Check("certificate", Level.GOOD, text)


def _handshake(server: ssl.SSLContext, client: ssl.SSLContext) -> datetime:
    """Return until when the server's certificate is valid, after the two have talked through memory."""
    there, back = ssl.MemoryBIO(), ssl.MemoryBIO()
    sides = [client.wrap_bio(back, there), server.wrap_bio(there, back, server_side=True)]
    for _ in range(4):  # flights of a handshake
        for side in sides:
            with contextlib.suppress(ssl.SSLWantReadError):
                side.do_handshake()
    found = sides[0].getpeercert() or {}
    return datetime.fromtimestamp(ssl.cert_time_to_seconds(str(found["notAfter"])), UTC)
