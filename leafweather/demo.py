"""The demonstration: an invented farm on a broker of its own, back-filled through MQTT and then live."""

from __future__ import annotations

import json
import multiprocessing
import os
import signal
import threading
import time
import urllib.error
import urllib.request
from contextlib import ExitStack, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Literal

from rich.console import Console
from rich.progress import BarColumn, Progress, SpinnerColumn, TextColumn, TimeElapsedColumn

from farm.check import read_description
from farm.readings import instant
from leafweather.broker import DemoBroker
from leafweather.run import Service, now_us
from leafweather.settings import Settings
from leafweather.starting import CannotStart, made_folder
from simulator.demo import demo_farm_text_from, demo_faults
from simulator.publish import Publisher
from simulator.simulation import Simulation
from simulator.source import Source
from watch.overview import needs

SEED = 20260301  # any number would do; a fixed one makes every demonstration alike
CONNECT_WITHIN_S = 30.0
STOP_WITHIN_S = 10.0

console = Console(highlight=False)


@dataclass(frozen=True)
class History:
    """When the demonstration's history begins, and the instant its faults were laid out around."""

    start: datetime
    laid_out: datetime

    @classmethod
    def of(cls, folder: Path, days: int) -> tuple[History, bool]:
        """Return the history in a folder, or a new one that is noted there; and whether it is new."""
        note = folder / "demo.json"
        if note.exists():
            try:
                kept = json.loads(note.read_text())
                return cls(datetime.fromisoformat(kept["start"]), datetime.fromisoformat(kept["laid_out"])), False
            except (ValueError, KeyError, TypeError) as error:
                raise CannotStart(
                    f"{note} cannot be read ({error}): delete the folder {folder} to begin anew"
                ) from error
        now = datetime.now(UTC).replace(second=0, microsecond=0)
        history = cls(now - timedelta(days=days), now)
        note.write_text(json.dumps({"start": history.start.isoformat(), "laid_out": history.laid_out.isoformat()}))
        return history, True


def run_demo(
    *, days: int, port: int, mqtt_port: int, folder: Path, embedded_broker: bool, exit_when_ready: bool
) -> None:
    """Run the demonstration until Ctrl-C, or until it is shown to work.

    Raises
    ------
    CannotStart
        If a port is taken, the folder cannot be written, or a part does not come up.
    """
    stopping = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stopping.set())
    folder = made_folder(folder)
    description_file = folder / "farm.toml"
    if not description_file.exists():
        now = datetime.now(UTC)
        description_file.write_text(demo_farm_text_from(now - timedelta(days=days), now), encoding="utf-8")
    description = read_description(description_file)
    broker = DemoBroker(folder, mqtt_port, embedded=embedded_broker)
    settings = Settings(
        data=folder, host="127.0.0.1", port=port, mqtt_host="127.0.0.1", mqtt_port=broker.port,
        mqtt_protocol=broker.protocol, mqtt_username=None, mqtt_password=None, mqtt_client_id=None,
    )  # fmt: skip
    console.print(
        f"[bold]{description.farm.farm.title}[/bold] – an invented farm, nothing in it is real.", soft_wrap=True
    )
    with ExitStack() as stack:
        service = Service(description, settings)
        stack.enter_context(broker)
        stack.enter_context(service)
        console.print(f"Broker: {broker.name}, 127.0.0.1 port {broker.port}")
        _wait_for_subscription(service, stopping)
        history, new = History.of(folder, days)
        if not new:
            console.print(f"Going on with the history in {folder}, which begins {history.start:%Y-%m-%d %H:%M} UTC.")
        feed = stack.enter_context(Feed(description_file, broker, history, _newest(service)))
        _back_fill(service, feed, stopping)
        _tell(service, stopping)
        if not exit_when_ready and not stopping.is_set():
            console.print("Live now, one reading a minute and series. Ctrl-C stops everything; run again to go on.")
            while not stopping.wait(1.0):
                feed.check()
        console.print("Stopping …")
    console.print("Stopped.")


class Feed:
    """The simulator in a process of its own: back-fills, then publishes live; a context manager."""

    def __init__(self, description_file: Path, broker: DemoBroker, history: History, after: datetime | None) -> None:
        context = multiprocessing.get_context("spawn")
        # Its closing says stop. An event of multiprocessing would wait for ever for a waiter that was killed.
        stop_end, self._stop = context.Pipe(duplex=False)
        self.progress, child_end = context.Pipe(duplex=False)
        self._process = context.Process(
            target=_feed,
            args=(description_file, broker.port, broker.protocol, history, after, child_end, stop_end),
            name="simulator",
        )

    def __enter__(self) -> Feed:
        self._process.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._stop.close()
        self._process.join(STOP_WITHIN_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join()

    def check(self) -> None:
        """Raise CannotStart if the simulator has died."""
        if not self._process.is_alive():
            raise CannotStart(f"the simulator stopped by itself (exit {self._process.exitcode}): see above")


def _feed(
    description_file: Path,
    port: int,
    protocol: Literal["5", "3.1.1"],
    history: History,
    after: datetime | None,
    progress: Connection,
    stop: Connection,
) -> None:
    """Simulate and publish, in the child process; sends the simulated time, and None once live."""
    for number in (signal.SIGINT, signal.SIGTERM):  # they reach the parent too, which stops us
        signal.signal(number, signal.SIG_IGN)
    stopping = threading.Event()
    threading.Thread(target=_pass_on, args=(stop, stopping), daemon=True).start()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    farm = read_description(description_file).farm
    faults = demo_faults(history.start, history.laid_out)
    simulation = Simulation(farm, seed=SEED, start=history.start, faults=faults)
    sources = [Source(simulation)]
    with Publisher("127.0.0.1", port, farm.name, protocol=protocol) as publisher:
        publisher.backfill(sources, datetime.now(UTC), progress.send, stopping, publish_after=after)
        progress.send(None)
        publisher.live(sources, stopping)


def _pass_on(stop: Connection, stopping: threading.Event) -> None:
    with suppress(EOFError):
        stop.recv()
    stopping.set()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _wait_for_subscription(service: Service, stopping: threading.Event) -> None:
    """Wait until the broker has our subscription: what is published before that would be lost."""
    deadline = time.monotonic() + CONNECT_WITHIN_S
    while not service.subscriber.connected and not stopping.wait(0.05):
        if time.monotonic() > deadline:
            raise CannotStart(f"the demo's broker does not take our subscription: {service.subscriber.trouble}")


def _newest(service: Service) -> datetime | None:
    """Return the instant up to which every series that has readings has them; None if nothing is stored."""
    latest = [
        reading.time_us
        for series, reading in service.store.latest(service.farm.name).items()
        if series in service.farm.described
    ]
    return instant(min(latest)) if latest else None


def _back_fill(service: Service, feed: Feed, stopping: threading.Event) -> None:
    """Show how far the history is published, stored and worked out, until all of it is."""
    columns = (SpinnerColumn(), TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[at]}"))
    with Progress(*columns, TimeElapsedColumn(), console=console) as bar:
        task = bar.add_task("Back-filling through MQTT", total=1.0, at="")
        first = last = None
        while not stopping.is_set():
            feed.check()
            if not feed.progress.poll(0.2):
                continue
            at = feed.progress.recv()
            if at is None:
                break
            first, last = first or at, at
            share = (at - first) / max(datetime.now(UTC) - first, timedelta(microseconds=1))
            bar.update(task, completed=share, at=f"{at:%Y-%m-%d %H:%M} UTC")
        if stopping.is_set():
            return
        bar.update(task, completed=1.0, description="Back-filled through MQTT")
        task = bar.add_task("Working out what follows from it", total=None, at="")
        while not stopping.wait(0.2):
            feed.check()
            newest = _newest(service)
            stored = last is None or (newest is not None and newest >= last - timedelta(minutes=1))
            if stored and service.caught_up:
                break
        if not stopping.is_set():
            bar.update(task, total=1.0, completed=1.0, description="Worked out what follows from it")


def _tell(service: Service, stopping: threading.Event) -> None:
    """Print what a person wants to know first: the page's address and what needs them."""
    if stopping.is_set():
        return
    health = f"{service.address}api/v1/health"
    try:
        with urllib.request.urlopen(health, timeout=10) as answer:  # noqa: S310  # our own page
            answer.read()
    except urllib.error.URLError as error:
        raise CannotStart(f"the page does not answer at {service.address} ({error})") from error
    known = service.store.known(service.farm.name)
    excursions = service.journal.excursions(service.farm.name)
    under_way = sum(one.end_us is None for one in excursions)
    console.print(f"{len(known)} series stored, {len(excursions)} excursions found, {under_way} of them still open.")
    for need in needs(service.farm, service.store, service.journal, now_us()):
        console.print(f"  {need.sentence}", markup=False, soft_wrap=True)
    console.print(f"\nPage: [bold]{service.address}[/bold]")
