"""The command ``leafweather``."""

from __future__ import annotations

import json
import logging
import signal
import sys
import threading
import tomllib
from pathlib import Path
from typing import Annotated, Any, NoReturn

import typer
from pydantic import ValidationError
from rich.logging import RichHandler

from farm.check import Description, DescriptionError, read_description
from leafweather import __version__, copy_command
from leafweather.alarm_commands import alarms_app
from leafweather.doctor_command import doctor
from leafweather.dose_command import dose
from leafweather.explain_command import explain
from leafweather.export_command import export
from leafweather.ingest_commands import ingest_app
from leafweather.log_commands import log_app
from leafweather.notice_commands import notice_app
from leafweather.report_commands import report_app
from leafweather.settings import Settings
from leafweather.simulate_command import simulate
from leafweather.store_commands import app as store_app
from leafweather.token_commands import token_app

DEMO_DATA = Path("demo-data")
DONE, FOUND_SOMETHING, BAD_CALL = 0, 1, 2

app = typer.Typer(
    name="leafweather",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="An independent record of what a container farm's crop had, and help reading it. It controls nothing.",
)
farm_app = typer.Typer(no_args_is_help=True, help="The farm's own description, farm.toml.")
app.add_typer(alarms_app, name="alarms")
app.add_typer(farm_app, name="farm")
app.add_typer(ingest_app, name="ingest")
app.add_typer(log_app, name="log")
app.add_typer(notice_app, name="notice")
app.add_typer(report_app, name="report")
copy_command.register(store_app)
app.add_typer(store_app, name="store")
app.add_typer(token_app, name="token")
app.command(epilog="Example: leafweather dose --from 1.2 --to 1.8 --volume-l 200 --stock-ms-cm 100")(dose)
app.command(epilog="Example: leafweather simulate scenario.toml --to simulated")(simulate)
app.command(epilog="Example: leafweather doctor farm.toml --data /var/lib/leafweather")(doctor)
app.command(epilog="Example: leafweather explain 3f9c1a7be0 --data demo-data")(explain)
app.command(
    epilog="Example: leafweather export farm.toml lettuce-in-march --start 2026-03-01 --end 2026-04-01 --zone row-1 "
    "--cleaned --every 10m --format csv --licence CC-BY-4.0"
)(export)

FarmFile = Annotated[Path, typer.Argument(metavar="FILE", help="the farm's description, e.g. farm.toml")]


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"leafweather {__version__}")
        raise typer.Exit(DONE)


@app.callback()
def _main(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="print the version")
    ] = False,
) -> None:
    pass


@farm_app.command("check", epilog="Example: leafweather farm check farm.toml")
def farm_check(file: FarmFile) -> None:
    """Explain every mistake in a farm.toml: line, key, what was found and what is allowed."""
    try:
        farm = read_description(file).farm
    except DescriptionError as error:
        for mistake in error.mistakes:
            typer.echo(f"{file}: {mistake}", err=True)
        unreadable = not file.is_file()
        raise typer.Exit(BAD_CALL if unreadable else FOUND_SOMETHING) from error
    typer.echo(
        f"{file}: good. {farm.farm.title}: {_some(len(farm.zones), 'zone')}, {len(farm.series)} series, "
        f"{_some(len(farm.surfaces), 'surface')}, {_some(len(farm.crops), 'crop')}."
    )


@farm_app.command("schema", epilog="Example: leafweather farm schema > farm.schema.json")
def farm_schema() -> None:
    """Print the JSON Schema of farm.toml, for completion in an editor."""
    from farm.description import Farm

    schema = Farm.model_json_schema()
    typer.echo(json.dumps({"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}, indent=2))


@farm_app.command("crops", epilog="Example: leafweather farm crops lettuce >> farm.toml")
def farm_crops(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="a crop of the list; without it, the list")] = None,
) -> None:
    """List crops with published starting bands, or print one's block for farm.toml with its sources."""
    from farm.published_plans import published_plan, published_plans

    if name is None:
        for one in published_plans():
            crop = tomllib.loads(published_plan(one))["crops"][one]
            typer.echo(f"{one:14} {crop['label']}: {crop['source']}")
        return
    try:
        typer.echo(published_plan(name), nl=False)
    except ValueError as error:
        _stop(str(error))


@app.command(epilog="Example: leafweather serve farm.toml --data /var/lib/leafweather --mqtt-host 192.0.2.10")
def serve(
    file: FarmFile,
    data: Annotated[Path | None, typer.Option(help="folder for readings and journal")] = None,
    host: Annotated[str | None, typer.Option(help="address the page listens on")] = None,
    port: Annotated[int | None, typer.Option(help="port the page listens on; 0 takes a free one")] = None,
    mqtt_host: Annotated[str | None, typer.Option(help="the broker's address")] = None,
    mqtt_port: Annotated[int | None, typer.Option(help="the broker's port")] = None,
    require_token: Annotated[
        bool | None, typer.Option("--require-token", help="ask for a sign-in on this machine too")
    ] = None,
    tls_cert: Annotated[Path | None, typer.Option(help="certificate of the page and API, with its chain; PEM")] = None,
    tls_key: Annotated[Path | None, typer.Option(help="its key; PEM")] = None,
    behind_proxy: Annotated[
        bool | None, typer.Option("--behind-proxy", help="a proxy in front of us does TLS; see docs/security.md")
    ] = None,
) -> None:
    """Receive, store and watch a farm's readings, and serve its page and API, until stopped.

    Other computers are let in with a token and TLS alone: see leafweather token make, --tls-cert and --behind-proxy.

    Settings not given here come from the environment: LEAFWEATHER_DATA, LEAFWEATHER_HOST, LEAFWEATHER_PORT,
    LEAFWEATHER_MQTT_HOST, LEAFWEATHER_MQTT_PORT, LEAFWEATHER_MQTT_USERNAME, LEAFWEATHER_MQTT_PASSWORD ...
    """
    from leafweather.run import Service
    from leafweather.starting import CannotStart
    from store.contract import StoreUnavailable, StoreUnusable

    settings = _settings(
        data=data, host=host, port=port, mqtt_host=mqtt_host, mqtt_port=mqtt_port, require_token=require_token,
        tls_cert=tls_cert, tls_key=tls_key, behind_proxy=behind_proxy,
    )  # fmt: skip
    description = _description(file)
    _log(settings.log_level)
    stopping = threading.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: stopping.set())
    try:
        with Service(description, settings) as service:
            typer.echo(f"{description.farm.farm.title}: {service.address}  (Ctrl-C stops)")
            stopping.wait()
    except (CannotStart, StoreUnavailable, StoreUnusable) as error:
        _stop(str(error))


@app.command(epilog="Example: leafweather demo --days 2 --port 8801 --exit-when-ready")
def demo(
    days: Annotated[int, typer.Option(min=2, max=366, help="days of history to back-fill on a first run")] = 30,
    port: Annotated[int, typer.Option(min=0, max=65535, help="port the page listens on; 0 takes a free one")] = 8800,
    mqtt_port: Annotated[
        int, typer.Option(min=0, max=65535, help="port of the demo's own broker; 0 takes a free one")
    ] = 18830,
    data: Annotated[Path, typer.Option(help="folder for the demo's data; a second run goes on with it")] = Path(
        "demo-data"
    ),
    embedded_broker: Annotated[
        bool, typer.Option("--embedded-broker", help="do not use Mosquitto even if it is installed")
    ] = False,
    exit_when_ready: Annotated[
        bool, typer.Option("--exit-when-ready", help="stop as soon as all is shown to work")
    ] = False,
) -> None:
    """Run an invented farm: broker, simulator and service, with some days of history and then live."""
    try:
        from leafweather.demo import run_demo
    except ModuleNotFoundError as error:
        _stop(f"the demonstration needs {error.name}, which is not installed: pip install 'leafweather[demo]'")
    from leafweather.starting import CannotStart
    from store.contract import StoreUnavailable, StoreUnusable

    _log("warning")
    try:
        run_demo(
            days=days,
            port=port,
            mqtt_port=mqtt_port,
            folder=data,
            embedded_broker=embedded_broker,
            exit_when_ready=exit_when_ready,
        )
    except (CannotStart, StoreUnavailable, StoreUnusable, DescriptionError) as error:
        _stop(str(error))


def _some(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _settings(**given: Any) -> Settings:  # noqa: ANN401  # one of several settings' types
    """Return the settings of the environment with those given on the command line over them."""
    try:
        return Settings(**{name: value for name, value in given.items() if value is not None})
    except ValidationError as error:
        lines = [
            f"setting LEAFWEATHER_{'_'.join(map(str, one['loc'])).upper()}: found {one['input']!r}; {one['msg']}"
            for one in error.errors()
        ]
        _stop("\n".join(lines))


def _description(file: Path) -> Description:
    try:
        return read_description(file)
    except DescriptionError as error:
        _stop(str(error))


def _stop(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(BAD_CALL)


def _log(level: str) -> None:
    """Log to standard error: coloured for a person, one plain line a message for a log file."""
    if sys.stderr.isatty():
        logging.basicConfig(format="%(message)s", handlers=[RichHandler(show_path=False, omit_repeated_times=False)])
    else:
        logging.basicConfig(format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    logging.getLogger().setLevel(level.upper())
    for chatty in ("alembic", "uvicorn.error", "urllib3", "requests"):  # the last two would log addresses
        logging.getLogger(chatty).setLevel(max(logging.WARNING, logging.getLogger().level))


def main() -> None:
    """Run the command line."""
    app()
