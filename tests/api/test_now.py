import psychrolib
import pytest

from store.contract import StoreUnavailable, StoreUnusable
from tests.api.conftest import HUMIDITY, NOW_US, OPEN, Client, assert_problem

psychrolib.SetUnitSystem(psychrolib.SI)


def test_the_farm_says_what_it_is_and_that_it_is_invented(client):
    farm = client.json("farm")
    assert farm["name"] == "testfarm"
    assert farm["timezone"] == "Europe/Oslo"
    assert farm["locale"] == "en-GB"  # the default of farm.toml
    assert farm["elevation_m"] == 120
    assert farm["invented"] is True
    assert farm["description_hash"] == "feedfacecafe"
    assert farm["time"] == "2026-03-02T12:00:00Z"
    assert farm["days"] == ["2026-03-01"]
    assert "not a life-safety device" in " ".join(farm["cautions"])
    assert "certified gas detector" in " ".join(farm["cautions"])


def test_zones_tell_each_series_against_its_band(client):
    answer = client.json("zones")
    assert [zone["zone"] for zone in answer["zones"]] == ["room", "row", "outdoors"]
    room = answer["zones"][0]
    assert (room["crop"], room["phase"], room["lit"]) == ("Cress", "growing", True)
    rows = {row["key"]: row for row in room["series"]}
    humidity = rows["room/relative_humidity"]
    assert (humidity["value"], humidity["standing"]) == (82.0, "high")
    assert (humidity["low"], humidity["high"]) == (50.0, 75.0)
    assert humidity["age_s"] == 60.0
    assert humidity["excursion"] == OPEN.identity
    assert (humidity["unit"], humidity["display_unit"], humidity["decimals"]) == ("%", "%", 1)
    air = rows["room/air_temperature"]
    assert (air["standing"], air["low"], air["high"], air["excursion"]) == ("inside", 20.0, 24.0, None)
    assert rows["room/co2_mole_fraction"]["standing"] == "silent"
    state = room["air"]
    temperature, share = air["value"], humidity["value"] / 100
    pressure = psychrolib.GetStandardAtmPressure(120.0)
    ratio = psychrolib.GetHumRatioFromRelHum(temperature, share, pressure)
    assert state["air_pressure_kpa"] == pytest.approx(pressure / 1000)
    assert state["enthalpy_kj_kg"] == pytest.approx(psychrolib.GetMoistAirEnthalpy(temperature, ratio) / 1000)
    assert state["wet_bulb_degc"] == pytest.approx(
        psychrolib.GetTWetBulbFromRelHum(temperature, share, pressure), abs=1e-3
    )
    assert state["density_kg_m3"] == pytest.approx(psychrolib.GetMoistAirDensity(temperature, ratio, pressure))
    assert (state["time"], answer["zones"][1]["air"]) == ("2026-03-02T11:59:00Z", None)
    outdoors = answer["zones"][2]["series"][0]
    assert outdoors["value"] is None
    assert outdoors["time"] is None
    assert outdoors["age_s"] is None
    assert outdoors["standing"] == "silent"


def test_an_open_side_of_a_band_is_null(house):
    text = house.farm.model_dump()
    text["crops"]["cress"]["phases"]["growing"]["bands"]["relative_humidity"]["always"] = (50.0, float("inf"))
    open_above = type(house.farm).model_validate(text)
    rows = {row["key"]: row for row in Client(house, farm=open_above).json("zones")["zones"][0]["series"]}
    assert rows["room/relative_humidity"]["low"] == 50.0
    assert rows["room/relative_humidity"]["high"] is None


def test_needs_are_sentences_with_their_series(client):
    needs = client.json("needs")["needs"]
    humid = next(need for need in needs if need["excursion"] == OPEN.identity)
    assert humid["series"] == [HUMIDITY.key]
    assert humid["since"] == "2026-03-02T10:00:00Z"
    assert humid["zone"] == "room"
    assert humid["sentence"].endswith(".")


def test_series_lists_described_and_known_ones(client):
    rows = {row["key"]: row for row in client.json("series")["series"]}
    air = rows["room/air_temperature"]
    assert (air["origin"], air["described"], air["cadence_s"]) == ("measured", True, 60.0)
    assert (air["first"], air["last"]) == ("2026-03-01T00:00:00Z", "2026-03-02T11:59:00Z")
    vpd = rows["room/vapour_pressure_deficit"]
    assert (vpd["origin"], vpd["described"], vpd["cadence_s"]) == ("derived", False, None)
    outdoors = rows["outdoors/air_temperature"]
    assert (outdoors["first"], outdoors["last"], outdoors["zone_label"]) == (None, None, "Outdoors")


def test_latest_is_filtered_by_zone_and_series(client):
    everything = client.json("latest")["latest"]
    assert {row["key"] for row in everything} >= {"room/air_temperature", "row/ppfd"}
    assert {row["key"] for row in client.json("latest?zone=row")["latest"]} == {"row/lights_on", "row/ppfd"}
    picked = client.json("latest?series=row/ppfd&series=room/air_temperature")["latest"]
    assert [row["key"] for row in picked] == ["room/air_temperature", "row/ppfd"]
    assert picked[1] == {
        "key": "row/ppfd",
        "time": "2026-03-02T11:59:00Z",
        "value": 250.0,
        "uncertainty": 15.0,
        "unit": "umol m-2 s-1",
        "flag": 1,
        "age_s": 60.0,
    }


@pytest.mark.parametrize("query", ["zone=attic", "series=room/air_temprature", "series=nonsense"])
def test_latest_of_what_does_not_exist_is_a_problem(client, query):
    assert_problem(client(f"/api/v1/latest?{query}"), 404)


def test_health_is_200_only_when_ok(house):
    good = Client(house)("/api/v1/health")
    assert (good.status_code, good.json()) == (200, {"status": "ok", "watch": "up"})
    bad = Client(house, health=lambda: {"status": "broker lost"})("/api/v1/health")
    assert (bad.status_code, bad.json()) == (503, {"status": "broker lost"})


class FailingStore:
    """Stands for a store whose disk is full, or that has a fault nobody foresaw."""

    def __init__(self, error: Exception) -> None:
        self.error = error

    def __getattr__(self, name: str):
        def fail(*_args: object, **_kwargs: object) -> None:
            raise self.error

        return fail


def test_a_store_that_cannot_serve_asks_to_come_back(house):
    response = Client(house, store=FailingStore(StoreUnavailable("/secret/path: disk full")))("/api/v1/latest")
    body = assert_problem(response, 503)
    assert int(response.headers["retry-after"]) > 0
    assert "secret" not in body["detail"]


def test_damaged_readings_are_told_without_asking_to_come_back(house):
    response = Client(house, store=FailingStore(StoreUnusable("/secret/path: damaged")))("/api/v1/latest")
    body = assert_problem(response, 503)
    assert "retry-after" not in response.headers
    assert "secret" not in body["detail"]
    assert "store verify" in body["detail"]


def test_an_unforeseen_fault_is_logged_and_tells_nothing_of_our_insides(house, caplog):
    response = Client(house, store=FailingStore(RuntimeError("secret inside")))("/api/v1/latest")
    assert_problem(response, 500)
    assert "secret" not in response.text
    assert "content-security-policy" in response.headers
    assert "secret inside" in caplog.text


def test_now_is_asked_of_the_clock(house):
    later = Client(house, clock=lambda: NOW_US + 3_600_000_000)
    assert later.json("latest?series=row/ppfd")["latest"][0]["age_s"] == 3660.0
