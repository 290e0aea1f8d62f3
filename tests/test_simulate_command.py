"""``leafweather simulate`` as a person calls it."""

from __future__ import annotations

import csv
import json
import threading

import paho.mqtt.client as mqtt
import pyarrow.parquet as pq
import pytest
from paho.mqtt.enums import CallbackAPIVersion
from typer.testing import CliRunner

from leafweather.cli import app

SCENARIO = """\
seed = 3
days = 0.25
[farm]
invented = 2
[[faults]]
kind = "drying_lost"
after_h = 2
lasts_h = 3
"""


@pytest.fixture
def call(tmp_path):
    file = tmp_path / "scenario.toml"

    def run(*options, text=SCENARIO):
        file.write_text(text)
        return CliRunner().invoke(app, ["simulate", str(file), "--to", str(tmp_path / "out"), *options])

    return run


def test_it_writes_farms_readings_and_labels(call, tmp_path):
    result = call()
    assert result.exit_code == 0, result.stderr
    assert "2 farms" in result.stdout
    for seed in (3, 4):
        table = pq.read_table(tmp_path / "out" / f"invented-{seed}" / "readings.parquet")
        assert len(table) > 360 * 10
    rows = list(csv.DictReader((tmp_path / "out" / "labels.csv").read_text().splitlines()))
    assert [(row["farm"], row["kind"]) for row in rows] == [
        ("invented-3", "drying_lost"),
        ("invented-4", "drying_lost"),
    ]


def test_the_command_line_sets_farms_and_seed(call, tmp_path):
    assert call("--farms", "1", "--seed", "9", "--check").stdout.startswith("Farm 9 (invented)")
    assert not (tmp_path / "out").exists()


def test_check_lists_what_goes_wrong(call):
    result = call("--check")
    assert result.exit_code == 0
    assert "drying_lost, size 0.8" in result.stdout


@pytest.mark.parametrize(
    ("options", "text", "code", "complaint"),
    [
        (["--check"], "days = 0\n[farm]\ndemo = true\n", 1, "line 1: days: found 0; allowed: greater than 0"),
        ([], "days = 0\n[farm]\ndemo = true\n", 2, "line 1: days: found 0; allowed: greater than 0"),
        (["--live"], SCENARIO, 2, "give --mqtt-host too"),
        (["--live", "--mqtt-host", "127.0.0.1", "--speed", "2"], SCENARIO, 2, "either --speed or --live"),
        (
            ["--live", "--mqtt-host", "127.0.0.1"],
            "start = 2026-01-01T00:00:00Z\n[farm]\ndemo = true\n",
            2,
            "leave start out for --live",
        ),
        (["--farms", "3"], "[farm]\ndemo = true\n", 2, "write invented = NUMBER under"),
        ([], '[farm]\ndescription = "none.toml"\n', 2, "no readable file"),
        (["--mqtt-host", "127.0.0.1", "--mqtt-port", "1"], SCENARIO, 2, "no MQTT broker answers at 127.0.0.1:1"),
    ],
)
def test_a_bad_call_gets_one_clear_message(call, options, text, code, complaint):
    result = call(*options, text=text)
    assert result.exit_code == code
    assert complaint in result.stderr
    assert "Traceback" not in result.stderr


def test_it_publishes_every_farm(call, mosquitto, tmp_path):
    counts, subscribed = {}, threading.Event()

    def take(_client, _data, message):
        counts[message.topic] = counts.get(message.topic, 0) + len(json.loads(message.payload))

    client = mqtt.Client(CallbackAPIVersion.VERSION2)
    client.on_connect = lambda client, *_: client.subscribe("leafweather/#", qos=1)
    client.on_subscribe = lambda *_: subscribed.set()
    client.on_message = take
    client.connect("127.0.0.1", mosquitto.port)
    client.loop_start()
    assert subscribed.wait(10)
    result = call("--mqtt-host", "127.0.0.1", "--mqtt-port", str(mosquitto.port))
    client.loop_stop()
    assert result.exit_code == 0, result.stderr
    assert set(counts) == {"leafweather/invented-3/sensors", "leafweather/invented-4/sensors"}
    assert (tmp_path / "out" / "invented-3" / "farm.toml").exists()
    assert not (tmp_path / "out" / "invented-3" / "readings.parquet").exists()
