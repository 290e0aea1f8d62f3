"""The command ``leafweather simulate``."""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from farm.check import DescriptionError

if TYPE_CHECKING:
    from simulator.cases import Case
    from simulator.scenario import Scenario

DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2


def simulate(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="the scenario, e.g. scenario.toml")],
    to: Annotated[Path, typer.Option(help="folder for each farm's farm.toml and readings, and for labels.csv")] = Path(
        "simulated"
    ),
    mqtt_host: Annotated[str | None, typer.Option(help="publish to this broker instead of writing Parquet")] = None,
    mqtt_port: Annotated[int, typer.Option(min=1, max=65535, help="the broker's port")] = 1883,
    speed: Annotated[
        float | None,
        typer.Option(min=0.01, help="publish at so many times true time; without it, at once"),
    ] = None,
    live: Annotated[bool, typer.Option("--live", help="after the history, go on with the clock until stopped")] = False,
    farms: Annotated[int | None, typer.Option(min=1, help="number of invented farms, over the scenario's")] = None,
    seed: Annotated[int | None, typer.Option(min=0, help="seed, over the scenario's")] = None,
    check: Annotated[bool, typer.Option("--check", help="only explain mistakes and list what goes wrong when")] = False,
) -> None:
    """Run a simulated farm, or many, with the faults of a scenario.

    Readings go to Parquet files or over MQTT; what was wrong, where and when goes to labels.csv, which
    no service ever reads. The same scenario gives the same bytes. docs/simulate.md describes the file.
    """
    try:
        from simulator.cases import cases
        from simulator.scenario import read_scenario
    except ModuleNotFoundError as error:
        _stop(f"the simulator needs {error.name}, which is not installed: pip install 'leafweather[demo]'")
    if (speed is not None or live) and mqtt_host is None:
        _stop("--speed and --live publish: give --mqtt-host too")
    if speed is not None and live:
        _stop("either --speed or --live: live goes with the clock")
    try:
        scenario = _changed(read_scenario(file), farms, seed)
        if live and scenario.start is not None:
            _stop(f"{file}: leave start out for --live: its history then ends now")
        cast = list(cases(scenario, file.parent, datetime.now(UTC)))
        if live:
            cast = _ending_now(cast)
    except DescriptionError as error:
        for mistake in error.mistakes:
            typer.echo(f"{error.path}: {mistake}", err=True)
        raise typer.Exit(FOUND_SOMETHING if check else BAD_CALL) from error
    except ValueError as error:
        typer.echo(f"{file}: {error}", err=True)
        raise typer.Exit(FOUND_SOMETHING if check else BAD_CALL) from error
    if check:
        _tell(cast)
        return
    try:
        _run(cast, to, mqtt_host, mqtt_port, speed, live=live)
    except OSError as error:
        _stop(f"{to}: {error.strerror or error}: give another folder with --to")


def _run(cast: list[Case], to: Path, host: str | None, port: int, speed: float | None, *, live: bool) -> None:
    """Write or publish every farm."""
    from simulator.faults import write_labels
    from simulator.files import LABELS, write_farm

    begin = time.monotonic()
    to.mkdir(parents=True, exist_ok=True)
    # Going on with the clock has no end yet, and neither has a fault that nobody mends.
    write_labels(to / LABELS, [(case.farm.name, case.faults if live else case.labels) for case in cast])
    count = 0
    with _shown(cast) as show:
        for case in cast:
            count += write_farm(case, to / case.farm.name, show, with_readings=host is None)
    if host is not None:
        _publish(cast, host, port, speed, live=live)
        return
    typer.echo(
        f"{len(cast)} farm{'s' if len(cast) > 1 else ''}, {count} readings, "
        f"{sum(len(one.labels) for one in cast)} faults in {time.monotonic() - begin:.1f} s: {to}"
    )


def _publish(cast: list[Case], host: str, port: int, speed: float | None, *, live: bool) -> None:
    """Publish all farms over one connection."""
    from simulator.publish import Publisher, PublishError
    from simulator.source import Source

    stopping = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stopping.set())
    began = datetime.now(UTC) if speed is not None else None
    sources = [
        Source(case.simulation(), until=None if live else case.end, speed=speed or 1.0, began=began) for case in cast
    ]
    end = max(case.end for case in cast)
    try:
        with Publisher(host, port, cast[0].farm.name) as publisher:
            if speed is not None:
                publisher.live(sources, stopping)
            else:
                with _shown(cast) as show:
                    publisher.backfill(sources, datetime.now(UTC) if live else end, show, stopping)
                if live and not stopping.is_set():
                    typer.echo("Live now, with the clock. Ctrl-C stops.")
                    publisher.live(sources, stopping)
            if publisher.dropped:
                typer.echo(f"{publisher.dropped} snapshots were dropped while the broker was away.", err=True)
    except PublishError as error:
        _stop(str(error))
    typer.echo("Stopped." if stopping.is_set() else f"Published {len(cast)} farms up to {end:%Y-%m-%d %H:%M} UTC.")


def _ending_now(cast: list[Case]) -> list[Case]:
    """Return farms shifted so that each one's history ends now: invented farms have seasons of their own."""
    from dataclasses import replace

    now = datetime.now(UTC).replace(second=0, microsecond=0)

    def shifted(case: Case) -> Case:
        by: timedelta = now - case.end
        faults = tuple(
            replace(one, start=one.start + by, end=None if one.end is None else one.end + by) for one in case.faults
        )
        return replace(case, start=case.start + by, end=now, faults=faults)

    return [shifted(case) for case in cast]


def _changed(scenario: Scenario, farms: int | None, seed: int | None) -> Scenario:
    """Return a scenario with what the command line sets."""
    if farms is not None:
        if scenario.farm.invented is None:
            raise ValueError("--farms: the scenario names one farm; write invented = NUMBER under [farm] for many")
        scenario = scenario.model_copy(update={"farm": scenario.farm.model_copy(update={"invented": farms})})
    return scenario if seed is None else scenario.model_copy(update={"seed": seed})


@contextmanager
def _shown(cast: list[Case]) -> Iterator[Callable[[datetime], None]]:
    """Show on standard error how far it is, where somebody looks."""
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.fields[at]}"), TimeElapsedColumn())
    with Progress(*columns, console=console, disable=not console.is_terminal, transient=True) as progress:
        bar = progress.add_task("Simulating", total=None, at="")
        yield lambda at: progress.update(bar, at=f"{at:%Y-%m-%d %H:%M} UTC")


def _tell(cast: list[Case]) -> None:
    """List what goes wrong when."""
    for case in cast:
        span = f"{case.start:%Y-%m-%d %H:%M} to {case.end:%Y-%m-%d %H:%M} UTC"
        typer.echo(f"{case.farm.farm.title}: {len(case.farm.series)} series, {span}")
        for fault in case.labels:
            end = f"{fault.end:%Y-%m-%d %H:%M}" if fault.end else "the end"
            where = f" of {fault.target}" if fault.target else ""
            typer.echo(f"  {fault.kind}{where}, size {fault.size:g}: {fault.start:%Y-%m-%d %H:%M} to {end}")


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)
