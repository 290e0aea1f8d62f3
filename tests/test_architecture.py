"""Who may import whom: the house's rule, held by reading every file's imports."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]

# A folder may import only what stands here beside it.
MAY_IMPORT = {
    "farm": set(),
    "store": {"farm"},
    "analytics": {"farm"},
    "ingest": {"farm", "store"},
    "watch": {"farm", "store", "analytics"},
    "handover": {"farm", "store", "analytics", "watch"},
    "api": {"farm", "store", "analytics", "watch", "handover"},
    "simulator": {"farm"},
    "leafweather": {"farm", "store", "analytics", "ingest", "watch", "handover", "api", "simulator"},
}

# Outside libraries that belong to one place each.
ONLY_IN = {
    "paho": {"ingest/subscriber.py", "leafweather/checkup_of_broker.py", "simulator/publish.py"},
    "amqtt": {"leafweather/embedded_broker.py"},
    "fastapi": {"api/"},
    "starlette": {"api/"},
    "uvicorn": {"leafweather/listening.py"},
    "h11": {"leafweather/listening.py"},
    "limits": {"api/rate.py"},
    "sqlite3": {"store/"},
    "sqlalchemy": {"store/"},
    "alembic": {"store/"},
    "typer": {
        "leafweather/alarm_commands.py",
        "leafweather/asking.py",
        "leafweather/cli.py",
        "leafweather/copy_command.py",
        "leafweather/doctor_command.py",
        "leafweather/dose_command.py",
        "leafweather/explain_command.py",
        "leafweather/export_command.py",
        "leafweather/ingest_commands.py",
        "leafweather/log_commands.py",
        "leafweather/notice_commands.py",
        "leafweather/report_commands.py",
        "leafweather/simulate_command.py",
        "leafweather/store_commands.py",
        "leafweather/token_commands.py",
    },
    "prometheus_client": {"api/metrics.py"},
    "babel": {"farm/description.py", "handover/reports/telling.py"},
    "reportlab": {"handover/reports/paper.py"},
    "cbor2": {"ingest/senml.py"},
    "netCDF4": {"handover/netcdf.py"},
    "numba": {"simulator/compiled.py"},
    "tomli_w": {"simulator/farms.py"},
    "influxdb_client": {"store/influx_server.py"},
    "urllib3": {"store/influx_server.py"},
    "smtplib": {"watch/mail.py"},
    "apprise": {"watch/other_channels.py"},
}


def imports(file: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(file.read_text())):
        if isinstance(node, ast.Import):
            found |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            found.add(str(node.module).split(".")[0])
    return found


def sources() -> list[Path]:
    return [file for folder in MAY_IMPORT for file in sorted((ROOT / folder).rglob("*.py"))]


def test_every_folder_with_code_is_in_the_table():
    folders = {file.relative_to(ROOT).parts[0] for file in ROOT.glob("*/__init__.py")}
    assert folders <= MAY_IMPORT.keys()
    assert len(sources()) > 30


@pytest.mark.parametrize("file", sources(), ids=lambda file: str(file.relative_to(ROOT)))
def test_imports_go_one_way(file):
    place = file.relative_to(ROOT).as_posix()
    folder = place.split("/")[0]
    found = imports(file)
    assert (found & MAY_IMPORT.keys()) - {folder} <= MAY_IMPORT[folder], "a folder reaches where it may not"
    for library, places in ONLY_IN.items():
        if library in found:
            assert any(place.startswith(allowed) for allowed in places), f"{library} does not belong in {place}"


def test_analytics_knows_no_clock_and_no_files():
    for file in (ROOT / "analytics").rglob("*.py"):
        assert not imports(file) & {"time", "os", "pathlib", "io", "random", "socket", "threading"}, file
