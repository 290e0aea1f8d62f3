"""Signing in and out, who wrote what, and the open door of this machine alone."""

from __future__ import annotations

import logging
import secrets

import pytest

from api.auditing import STRANGERS_A_MINUTE
from api.house import Access
from farm.alarm_words import Priority
from farm.roles import Role
from store.alarm_entries import AlarmEntry
from store.contract import StoreUnavailable
from store.journal import Journal
from store.journal_audit import JournalAudit
from store.notice_entries import Link
from tests.api.conftest import HOUR_US, NOW_US, Client, assert_problem

DAY_US = 24 * HOUR_US
ALARM = AlarmEntry("testfarm", "out_of_band/room/air_temperature/high", NOW_US - HOUR_US, NOW_US - HOUR_US, None,
                   Priority.HIGH, "heat", detail={"text": "Too warm."})  # fmt: skip
ACKNOWLEDGE = f"/api/v1/alarms/{ALARM.identity}/acknowledge"


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as opened:
        opened.alarms.replace("testfarm", ALARM.condition, 0, [ALARM])
        yield opened


@pytest.fixture
def client(house, journal):
    return Client(house, journal=journal, access=Access(required=True, secure=True))


def made(journal, role=Role.TECHNICIAN, label="Ada's phone", **more):
    return journal.tokens.make("testfarm", label, role, 1, "kim", **more)


class Browser:
    """Keeps a cookie and what goes with it, as a browser with our page does."""

    def __init__(self, client, text):
        self.client = client
        answer = client("/api/v1/session", "POST", json={"token": text})
        assert answer.status_code == 200, answer.text
        self.set_cookie, self.session = answer.headers["set-cookie"], answer.json()
        self.headers = {"Cookie": self.set_cookie.partition(";")[0], "X-CSRF-Token": self.session["csrf"]}

    def __call__(self, path, method="GET", headers=(), **more):
        return self.client(path, method, headers=self.headers | dict(headers), **more)


def written(journal):
    return [(one.who, one.role, one.what, one.outcome) for one in reversed(journal.audit.page("testfarm"))]


def test_signing_in_gives_a_cookie_that_scripts_and_other_sites_cannot_use(client, journal):
    token, text = made(journal)
    browser = Browser(client, text)
    cookie, *attributes = browser.set_cookie.split("; ")
    # __Host- needs Secure, Path=/ and no Domain (RFC 6265bis, section 4.1.3.2)
    assert cookie.startswith("__Host-leafweather-testfarm=")
    assert {one.lower() for one in attributes} == {"httponly", "secure", "samesite=strict", "path=/", "max-age=2592000"}
    assert text not in browser.set_cookie
    assert token.identity not in browser.set_cookie
    assert browser.session | {"csrf": None} == {
        "sign_in_needed": True, "signed_in": True, "who": "Ada's phone", "role": "technician",
        "until": "2026-04-01T12:00:00Z", "csrf": None,
    }  # fmt: skip
    assert len(browser.session["csrf"]) == 64
    assert browser.session["csrf"] not in cookie
    assert browser("/api/v1/session").json() == browser.session
    assert browser("/api/v1/farm").status_code == 200


def test_on_this_machine_the_cookie_goes_without_tls_and_each_farm_has_its_own(house, journal):
    plain = Browser(Client(house, journal=journal, access=Access(required=True)), made(journal)[1])
    assert plain.set_cookie.startswith("leafweather-testfarm=")
    assert "secure" not in plain.set_cookie.lower()
    assert "httponly" in plain.set_cookie.lower()


def test_a_session_ends_with_its_token_and_not_later(client, journal):
    _, text = made(journal, expires_us=NOW_US + HOUR_US)
    browser = Browser(client, text)
    assert "max-age=3600" in browser.set_cookie.lower()
    later = Client(client.app.state.house, clock=lambda: NOW_US + HOUR_US)
    assert_problem(later("/api/v1/farm", headers=browser.headers), 401)
    token, text = made(journal, label="other")
    browser = Browser(client, text)
    journal.tokens.revoke("testfarm", token.identity, NOW_US, "kim")
    assert_problem(browser("/api/v1/farm"), 401)
    assert browser("/api/v1/session").json()["signed_in"] is False


def test_signing_out_ends_the_session_for_everybody_who_has_the_cookie(client, journal):
    browser = Browser(client, made(journal)[1])
    refused = client("/api/v1/session", "DELETE", headers={"Cookie": browser.headers["Cookie"]})
    assert "X-CSRF-Token" in assert_problem(refused, 403)["detail"]
    assert browser("/api/v1/farm").status_code == 200
    gone = browser("/api/v1/session", "DELETE")
    assert gone.json() == {
        "sign_in_needed": True,
        "signed_in": False,
        "who": None,
        "role": None,
        "until": None,
        "csrf": None,
    }
    assert 'leafweather-testfarm=""' in gone.headers["set-cookie"]
    assert_problem(browser("/api/v1/farm"), 401)
    assert browser("/api/v1/session", "DELETE").status_code == 200


def test_signing_in_again_ends_the_session_of_before_and_never_takes_over_a_given_cookie(client, journal):
    _, text = made(journal)
    first = Browser(client, text)
    again = first("/api/v1/session", "POST", json={"token": text})
    assert again.json()["csrf"] != first.session["csrf"]
    assert_problem(first("/api/v1/farm"), 401)
    given = client(
        "/api/v1/session", "POST", json={"token": text}, headers={"Cookie": "__Host-leafweather-testfarm=mine"}
    )
    assert "mine" not in given.headers["set-cookie"]


@pytest.mark.parametrize("token", ["", "x" * 201, 5, None, ["x"]])
def test_what_is_no_token_is_refused_without_saying_it_again_in_the_log(client, journal, token, caplog):
    caplog.set_level(logging.DEBUG)
    assert_problem(client("/api/v1/session", "POST", json={"token": token}), 422)
    assert_problem(client("/api/v1/session", "POST", json={"token": "lw_secret_secret"}), 401)
    assert "secret_secret" not in caplog.text


def test_a_page_of_another_site_can_neither_sign_in_nor_act(client, journal):
    _, text = made(journal)
    browser = Browser(client, text)
    for headers in ({"Origin": "https://evil.test"}, {"Sec-Fetch-Site": "cross-site"}, {"Origin": "null"}):
        assert_problem(client("/api/v1/session", "POST", json={"token": text}, headers=headers), 403)
        assert_problem(browser(ACKNOWLEDGE, "POST", headers, json={"who": "kim"}), 403)
        assert_problem(browser("/api/v1/session", "DELETE", headers), 403)
    form = {"Content-Type": "application/x-www-form-urlencoded"}
    assert browser(ACKNOWLEDGE, "POST", form, content=b'{"who": "kim"}').status_code in (415, 422)
    assert journal.alarms.acts("testfarm") == []
    preflight = client(ACKNOWLEDGE, "OPTIONS", headers={"Origin": "https://evil.test"})
    assert not [name for name in preflight.headers if name.startswith("access-control")]


def test_who_did_something_cannot_be_hidden_behind_another_name(client, journal):
    _, text = made(journal)
    browser = Browser(client, text)
    for name in ("Ada's phone", "Kim"):
        assert browser(ACKNOWLEDGE, "POST", json={"who": name}).status_code == 200
    assert [act.who for act in journal.alarms.acts("testfarm")] == ["Ada's phone", "Kim (token Ada's phone)"]
    assert [who for who, *_ in written(journal)][1:] == ["Ada's phone", "Kim (token Ada's phone)"]


def test_every_try_to_change_something_is_noted_with_who_and_what_came_of_it(client, journal):
    token, text = made(journal)
    bearer = {"Authorization": f"Bearer {text}"}
    client(ACKNOWLEDGE, "POST", json={"who": "kim"})
    client(ACKNOWLEDGE.replace("acknowledge", "shelve"), "POST", json={"who": "Ada's phone"}, headers=bearer)
    client(ACKNOWLEDGE, "POST", json={"who": "Ada's phone"}, headers=bearer)
    client("/api/v1/alarms/none/acknowledge", "POST", json={"who": "Ada's phone"}, headers=bearer)
    client("/api/v1/session", "POST", json={"token": "lw_x_secret"})
    client("/api/v1/session", "POST", json={"token": text})
    client("/api/v1/farm", headers=bearer)  # reading is not noted
    client("/nothing", "POST", json={})  # nor what has no address
    ada = ("Ada's phone", "technician")
    shelve = ACKNOWLEDGE.replace("acknowledge", "shelve")
    assert written(journal) == [
        ("", None, f"POST {ACKNOWLEDGE}", "401"),
        (*ada, f"POST {shelve}", "403"),
        (*ada, f"POST {ACKNOWLEDGE}", "200"),
        (*ada, "POST /api/v1/alarms/none/acknowledge", "404"),
        ("", None, "POST /api/v1/session", "401"),
        (*ada, "POST /api/v1/session", "200"),
    ]
    assert {one.token for one in journal.audit.page("testfarm")} == {None, token.identity}
    assert {one.at_us for one in journal.audit.page("testfarm")} == {NOW_US}
    keeper = {"Authorization": f"Bearer {made(journal, Role.KEEPER)[1]}"}
    first = client("/api/v1/audit?limit=4", headers=keeper).json()
    rest = client(f"/api/v1/audit?limit=4&before={first['next']}", headers=keeper).json()
    assert [one["outcome"] for one in first["written"] + rest["written"]] == ["200", "401", "404", "200", "403", "401"]
    assert rest["next"] is None
    for bad in ("x", "-1", "1e3", "9" * 30):
        assert_problem(client(f"/api/v1/audit?before={bad}", headers=keeper), 422)


def test_the_audit_log_is_written_before_the_answer_goes_out_and_its_failure_is_loud(
    client, journal, monkeypatch, caplog
):
    def full(self, entry):
        raise StoreUnavailable("the disk is full")

    monkeypatch.setattr(JournalAudit, "add", full)
    bearer = {"Authorization": f"Bearer {made(journal)[1]}"}
    assert client(ACKNOWLEDGE, "POST", json={"who": "kim"}, headers=bearer).status_code == 200
    assert "not noted in the audit log (the disk is full)" in caplog.text
    assert "Ada's phone" in caplog.text


def test_strangers_who_try_often_do_not_keep_the_disk_busy_and_hide_nobody_else(client, journal, caplog):
    for _ in range(STRANGERS_A_MINUTE + 10):
        assert client("/api/v1/session", "POST", json={"token": "x"}).status_code == 401
    assert len(written(journal)) == STRANGERS_A_MINUTE
    assert caplog.text.count("strangers try often") == 1
    bearer = {"Authorization": f"Bearer {made(journal)[1]}"}
    assert client(ACKNOWLEDGE, "POST", json={"who": "kim"}, headers=bearer).status_code == 200
    assert written(journal)[-1][2:] == (f"POST {ACKNOWLEDGE}", "200")
    later = Client(client.app.state.house, clock=lambda: NOW_US + 60_000_000)
    later("/api/v1/session", "POST", json={"token": "x"})
    assert written(journal)[-1][2:] == ("POST /api/v1/session", "401")


def test_a_notices_link_works_without_a_sign_in_and_its_secret_is_not_noted(client, journal):
    link = Link("testfarm", "ada", "n", "heat", (ALARM.identity,), NOW_US + HOUR_US)
    secret = secrets.token_urlsafe(32)
    journal.links.keep(link, secret)
    assert client(f"/acknowledge/{secret}").status_code == 200
    assert "Acknowledged by ada" in client(f"/acknowledge/{secret}", "POST", data={"alarm": [ALARM.identity]}).text
    assert [act.who for act in journal.alarms.acts("testfarm")] == ["ada"]
    assert written(journal) == [("ada, by a notice's link", "technician", "POST /acknowledge/...", "200")]
    assert client(f"/acknowledge/{secret}", "POST").status_code == 410
    assert written(journal)[1:] == [("", None, "POST /acknowledge/...", "410")]


def test_on_this_machine_everything_may_be_done_without_a_sign_in(house, journal):
    here = Client(house, journal=journal)
    answer = here("/api/v1/session").json()
    assert (answer["sign_in_needed"], answer["signed_in"], answer["role"], answer["csrf"]) == (
        False,
        False,
        "keeper",
        None,
    )
    assert here(ACKNOWLEDGE, "POST", json={"who": "kim"}).status_code == 200
    assert here("/api/v1/audit").json()["written"][0]["who"] == "kim"
    browser = Browser(here, made(journal, Role.VIEWER)[1])  # who signs in all the same has the token's role
    assert_problem(browser("/api/v1/audit"), 403)


@pytest.mark.parametrize(
    "host", ["localhost", "127.0.0.1:8800", "localhost:8801", "[::1]:8800", "127.1.2.3", "farm.localhost"]
)
def test_the_open_door_answers_to_this_machines_names(house, host):
    assert Client(house)("/api/v1/farm", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize(
    "host",
    [
        "evil.test",
        "evil.test:8800",
        "127.0.0.1.evil.test",
        "localhost.evil.test",
        "192.168.1.5",
        "0.0.0.0",
        "",
        "[::ffff:1.2.3.4]",
        "127.0.0.1@evil.test:80",
        "evil.test#127.0.0.1",
    ],
)
def test_the_open_door_is_shut_to_a_name_that_leads_here_by_a_trick(house, journal, host):
    """DNS rebinding: a page of somebody else's whose name was made to lead to 127.0.0.1."""
    here = Client(house, journal=journal)
    assert "--behind-proxy" in assert_problem(here("/api/v1/farm", headers={"Host": host}), 403)["detail"]
    headers = {"Host": host, "Origin": f"http://{host}"}
    assert_problem(here(ACKNOWLEDGE, "POST", json={"who": "kim"}, headers=headers), 403)
    assert journal.alarms.acts("testfarm") == []


@pytest.mark.parametrize("name", ["Forwarded", "Via", "X-Forwarded-For", "X-Forwarded-Host", "X-Real-IP"])
def test_the_open_door_is_shut_to_what_came_through_a_proxy(house, name):
    refused = assert_problem(Client(house)("/api/v1/farm", headers={name: "192.0.2.7"}), 403)
    assert "--behind-proxy" in refused["detail"]


def test_what_anybody_may_ask_tells_nothing_of_the_farm(client):
    for path in ("/", "/api/v1/alive", "/api/v1/session", "/api/v1/openapi.json"):
        answer = client(path)
        assert answer.status_code == 200
        assert "Test farm" not in answer.text
    assert client("/api/v1/alive").json() == {"status": "ok"}
    degraded = Client(client.app.state.house, health=lambda: {"status": "degraded", "troubles": ["secret"]})
    assert (degraded("/api/v1/alive").status_code, degraded("/api/v1/alive").json()) == (503, {"status": "degraded"})


def test_the_openapi_document_says_how_to_sign_in(client):
    schemes = client("/api/v1/openapi.json").json()["components"]["securitySchemes"]
    assert schemes["token"]["scheme"] == "bearer"
    assert schemes["session"]["name"] == "__Host-leafweather-testfarm"
