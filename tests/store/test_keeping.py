"""The service keeps its store by itself: old days are sealed, and it says so when they cannot be."""

from __future__ import annotations

import time

import pytest

from farm.check import read_description
from farm.readings import Series
from leafweather.run import Service
from leafweather.settings import Settings
from tests.conftest import SMALL_FARM, eventually, free_port
from tests.store.words import DAY, reading

AIR = Series("testfarm", "room", "air_temperature")


@pytest.fixture
def service(tmp_path, monkeypatch):
    monkeypatch.setattr("leafweather.run.KEEPING_S", 0.05)
    (tmp_path / "farm.toml").write_text(SMALL_FARM)
    settings = Settings(data=tmp_path / "data", port=0, mqtt_port=free_port())
    with Service(read_description(tmp_path / "farm.toml"), settings) as running:
        yield running


def troubles(service):
    return [text for text in service.health()["troubles"] if "sealed" in text]


def test_days_long_over_are_sealed_and_the_last_ones_stay_hot(service):
    eventually(lambda: service._keeping.is_alive())
    today = time.time_ns() // 1000 // DAY
    service.store.append([reading((today - days) * DAY + 1, series=AIR) for days in (5, 4, 3, 2, 1)])
    service._sealed_on = None
    (status,) = eventually(lambda: [one for one in service.store.status() if one.files == 3])
    assert status.hot_readings == 2
    assert troubles(service) == []


def test_a_broken_manifest_is_told_and_readings_are_kept(service, tmp_path):
    today = time.time_ns() // 1000 // DAY
    folder = tmp_path / "data" / "sealed" / "testfarm"
    folder.mkdir(parents=True)
    (folder / "manifest.txt").write_text("not a manifest\n")
    service._sealed_on = None
    told = eventually(lambda: troubles(service))
    assert "old days are not sealed" in told[0]
    assert "the chain breaks in line 1" in told[0]
    assert service.store.append([reading((today - 5) * DAY, series=AIR)]).stored == 1
    (folder / "manifest.txt").unlink()
    eventually(lambda: not troubles(service) and service.store.status()[0].files == 1)
