"""A house with a day and a half of readings whose every number can be worked out by hand."""

from __future__ import annotations

import asyncio
from collections.abc import Iterator
from dataclasses import replace
from datetime import date
from typing import Any

import httpx
import pytest

from api.app import House, create_app
from api.examples import EXAMPLES
from farm.alarm_words import Priority
from farm.description import Farm
from farm.readings import Columns, Reading, Series
from store.embedded import EmbeddedStore
from store.entries import ClockFault, DaySheetEntry, ExcursionEntry, Reason, Reject, Side, UnknownName
from store.journal import Journal
from store.notice_entries import Notice, NoticeKind, NoticeState, Outcome, Try
from tests.serving import Served
from watch.judged import JudgedReadings

T0_US = 1_772_323_200_000_000  # 2026-03-01T00:00:00Z
MINUTE_US = 60_000_000
HOUR_US = 60 * MINUTE_US
MINUTES = 36 * 60
NOW_US = T0_US + MINUTES * MINUTE_US  # 2026-03-02T12:00:00Z

AIR = Series("testfarm", "room", "air_temperature")
HUMIDITY = Series("testfarm", "room", "relative_humidity")
CO2 = Series("testfarm", "room", "co2_mole_fraction")
LIGHTS = Series("testfarm", "row", "lights_on")
PPFD = Series("testfarm", "row", "ppfd")
VPD = Series("testfarm", "room", "vapour_pressure_deficit")
RATIO = Series("testfarm", "room", "humidity_ratio")

OPEN = ExcursionEntry(
    HUMIDITY, Side.HIGH, NOW_US - 2 * HOUR_US, None, NOW_US - MINUTE_US, 82.0, NOW_US - HOUR_US, 75.0, 11.5, 70.0
)
ENDED = ExcursionEntry(AIR, Side.LOW, T0_US + HOUR_US, T0_US + 3 * HOUR_US, T0_US + 3 * HOUR_US, 14.0, T0_US, 16.0, 2.5)

SHEET: dict[str, Any] = {
    "farm": "testfarm",
    "day": "2026-03-01",
    "start": "2026-02-28T23:00:00Z",
    "end": "2026-03-01T23:00:00Z",
    "complete": True,
    "zones": [
        {
            "zone": "room",
            "label": "Room",
            "series": [
                {
                    "key": "room/air_temperature",
                    "label": "Air temperature",
                    "unit": "degC",
                    "mean": 21.45,
                    "low": 21.0,
                    "high": 21.9,
                    "count": 1380,
                    "coverage": 0.958,
                    "band": {"inside_h": 16.0, "below_h": 0.0, "above_h": 7.0, "covered_h": 23.0},
                },
                {
                    "key": "room/vapour_pressure_deficit",
                    "label": "Air VPD",
                    "unit": "kPa",
                    "mean": None,
                    "low": None,
                    "high": None,
                    "count": 0,
                    "coverage": 0.0,
                    "band": None,
                },
            ],
        }
    ],
    "light_days": [
        {
            "zone": "row",
            "label": "Row",
            "start": "2026-03-01T05:00:00Z",
            "end": "2026-03-02T05:00:00Z",
            "mol": 14.4,
            "coverage": 1.0,
            "lit_h": 16.0,
            "target": [12.0, 17.0],
            "complete": True,
        }
    ],
    "excursions": [
        {
            "id": ENDED.identity,
            "series": "room/air_temperature",
            "side": "low",
            "onset": "2026-03-01T01:00:00Z",
            "end": "2026-03-01T03:00:00Z",
            "extreme": 14.0,
            "limit": 16.0,
            "dose": 2.5,
            "dose_unit": "degC h",
        }
    ],
    "totals": [{"key": "room/electrical_energy", "label": "Energy", "unit": "kWh", "total": 12.5}],
    "cautions": ["An invented caution."],
}
SHEET = {**EXAMPLES["day"], **SHEET}  # the science is that of the documented example


def is_lit(minute: int) -> bool:
    """06:00 to 22:00 in Oslo, which is UTC+1 then."""
    return 5 <= minute // 60 % 24 < 21


def readings() -> list[Reading]:
    rows = []
    for minute in range(MINUTES):
        at = T0_US + minute * MINUTE_US
        rows.append(Reading(AIR, at, round(21 + 0.1 * (minute % 10), 1), 1))
        if not 600 <= minute < 660:  # an hour is missing
            rows.append(Reading(HUMIDITY, at, 60.0 if minute < MINUTES - 120 else 82.0, 1))
        rows.append(Reading(LIGHTS, at, float(is_lit(minute)), 1))
        rows.append(Reading(PPFD, at, 250.0 if is_lit(minute) else 0.0, 1))
    rows += [Reading(CO2, NOW_US - 3 * HOUR_US + n * MINUTE_US, 900.0 + n, 1 if n else 4) for n in range(10)]
    return rows


def fill(store: EmbeddedStore, journal: Journal) -> None:
    store.append(readings())
    vpd = Columns.from_rows([(T0_US, 1.0, 1), (T0_US + MINUTE_US, float("nan"), 9), (T0_US + 2 * MINUTE_US, 1.2, 1)])
    store.replace(VPD, T0_US, T0_US + HOUR_US, vpd)
    ratio = Columns.from_rows([(T0_US + n * MINUTE_US, 0.01, 1) for n in range(MINUTES) if not 600 <= n < 660])
    store.replace(RATIO, T0_US, NOW_US, ratio)
    journal.replace_excursions("testfarm", HUMIDITY, T0_US, [OPEN])
    journal.replace_excursions("testfarm", AIR, T0_US, [ENDED])
    journal.save_day_sheet("testfarm", DaySheetEntry(date(2026, 3, 1), NOW_US, "feedfacecafe", SHEET))
    journal.add_rejects(
        "testfarm",
        [
            Reject(Reason.UNKNOWN_NAME, "leafweather/x", "room/humidty", "No such name.", b'{"n":1}', T0_US, NOW_US, 7),
            Reject(Reason.MALFORMED, "leafweather/y", "", "Not JSON.", b"<b>\\\xff\x00\n</b>", T0_US, T0_US, 2),
        ],
    )


UNKNOWN = [
    UnknownName("room/humidty", "leafweather/x", 61.0, "%RH", T0_US, NOW_US, 7),
    UnknownName("yard-1", "leafweather/x", 3.0, None, T0_US, NOW_US, 9),  # described since
    UnknownName("", "", float("1e300"), None, T0_US, NOW_US, 2),
]


def notice(number: int, **changes: Any) -> Notice:
    """Return one of the notices that the journal holds: one a minute."""
    one = Notice(
        "testfarm", NoticeKind.RAISED, "ada", "mail 1", f"group {number}", 0, Priority.HIGH, (),
        NOW_US - number * MINUTE_US, f"Room: Relative humidity <{number}>", "Too humid.\n", next_us=NOW_US,
    )  # fmt: skip
    return replace(one, **changes)


def tell(journal: Journal) -> None:
    """Put ten notices into the journal, one of them tried twice."""
    journal.outbox.add([notice(number) for number in range(1, 11)])
    name = notice(1).identity
    for number, (outcome, answer) in enumerate([(Outcome.LATER, "451 later <b>"), (Outcome.TAKEN, "250 taken")], 1):
        journal.outbox.begin("testfarm", name, NOW_US - 10)
        state = NoticeState.SENT if outcome is Outcome.TAKEN else NoticeState.WAITING
        journal.outbox.end("testfarm", Try(name, number, NOW_US - 10, NOW_US - 5, outcome, answer), state, NOW_US)


@pytest.fixture(scope="session")
def house(small_farm: Farm, tmp_path_factory: pytest.TempPathFactory):
    folder = tmp_path_factory.mktemp("house")
    farm = small_farm.model_copy(update={"farm": small_farm.farm.model_copy(update={"invented": True})})
    with EmbeddedStore(folder) as store, Journal(f"sqlite:///{folder}/journal.sqlite") as journal:
        fill(store, journal)
        journal.add_unknown_names("testfarm", UNKNOWN)
        journal.add_clock_faults("testfarm", [ClockFault("t/a", "ahead", "set its clock", -150.0, T0_US, NOW_US, 12)])
        tell(journal)
        judged = JudgedReadings("testfarm", store, journal)
        yield House(farm, "feedfacecafe", judged, journal, lambda: {"status": "ok", "watch": "up"}, lambda: NOW_US)


class Client:
    """Asks an application in this process, as a browser would."""

    def __init__(self, house: House, **changes: Any) -> None:
        self.app = create_app(replace(house, **changes))

    def __call__(self, path: str, method: str = "GET", **more: Any) -> httpx.Response:
        if path == "/api/v1/events":
            path += "?listen_s=0"  # it has no end of its own

        async def ask() -> httpx.Response:
            transport = httpx.ASGITransport(self.app)
            async with httpx.AsyncClient(transport=transport, base_url="http://127.0.0.1") as client:
                return await client.request(method, path, **more)

        return asyncio.run(ask())

    def json(self, path: str) -> Any:
        response = self(f"/api/v1/{path}")
        assert response.status_code == 200, response.text
        return response.json()


@pytest.fixture(scope="session")
def client(house: House) -> Client:
    return Client(house)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    from tests.browsing import launched  # for those who ask for it: all else runs without

    with launched() as browser:
        yield browser


@pytest.fixture
def served(house: House) -> Iterator[Served]:
    served = Served(house)
    yield served
    served.stop()


@pytest.fixture
def tabs(browser: Any, served: Served) -> Iterator[Any]:
    """Open pages; afterwards nothing may stand on a console or have left this machine that was not taken out."""
    from tests.browsing import Tabs

    tabs = Tabs(browser, served.url)
    yield tabs
    tabs.close()


def assert_problem(response: httpx.Response, status: int) -> dict[str, Any]:
    """The one shape of an error (RFC 9457, section 3.1)."""
    assert response.status_code == status, response.text
    assert response.headers["content-type"] == "application/problem+json"
    body = response.json()
    assert body["type"] == "about:blank"
    assert body["status"] == status
    assert body["title"]
    assert len(body["detail"]) > 10
    assert body["instance"] == response.request.url.path
    assert "Traceback" not in response.text
    return body
