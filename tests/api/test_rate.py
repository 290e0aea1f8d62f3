"""How often one may ask: by token and by address, told when to come again, and never the others' fault."""

from __future__ import annotations

import time
from dataclasses import replace

import httpx
import pytest
from fastapi import Request

from api import rate
from api.house import Access
from api.rate import RequestRate
from farm.roles import Role
from leafweather.listening import REQUESTS_A_MINUTE, access_of
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from store.journal import Journal
from tests.api.conftest import Client, assert_problem
from tests.serving import Served

OFTEN = 5


@pytest.fixture
def journal(tmp_path):
    with Journal(f"sqlite:///{tmp_path}/journal.sqlite") as opened:
        yield opened


@pytest.fixture
def client(house, journal):
    return Client(house, journal=journal, access=Access(required=True, requests_per_minute=OFTEN))


def bearer(journal, label="Ada"):
    return {"Authorization": f"Bearer {journal.tokens.make('testfarm', label, Role.TECHNICIAN, 1, 'kim')[1]}"}


def test_who_asks_too_often_is_told_when_to_come_again_and_others_are_not(client, journal):
    ada, kim = bearer(journal), bearer(journal, "Kim")
    assert [client("/api/v1/farm", headers=ada).status_code for _ in range(OFTEN)] == [200] * OFTEN
    refused = client("/api/v1/zones", headers=ada)
    assert "requests a minute" in assert_problem(refused, 429)["detail"]
    assert 1 <= int(refused.headers["retry-after"]) <= 60
    assert client("/api/v1/farm", headers=kim).status_code == 200


def test_tokens_that_do_not_work_are_counted_by_address_and_do_not_count_for_those_that_do(client, journal):
    ada = bearer(journal)
    guesses = [client("/api/v1/farm", headers={"Authorization": f"Bearer lw_{n:010x}_x"}) for n in range(OFTEN + 3)]
    assert [one.status_code for one in guesses] == [401] * OFTEN + [429] * 3
    signing_in = client("/api/v1/session", "POST", json={"token": "x"})
    assert signing_in.status_code == 429
    assert client("/api/v1/farm", headers=ada).status_code == 200, "a guess that is right too, as docs/security.md says"


def test_changes_that_are_refused_for_that_fill_no_audit_log(house, journal, client):
    ada = bearer(journal)
    for _ in range(OFTEN):
        client("/api/v1/farm", headers=ada)
    for _ in range(80):
        assert client("/api/v1/log", "POST", headers=ada, json={"who": "kim"}).status_code == 429
    assert len(journal.audit.page("testfarm", most=1000)) <= 60 + 2


def test_after_a_minute_one_may_ask_again(monkeypatch):
    now, passed = [1_000_000.0], [0.0]
    monkeypatch.setattr(time, "time", lambda: now[0] + passed[0])
    monkeypatch.setattr(time, "monotonic", lambda: passed[0])
    counting = RequestRate(2)
    for _ in range(2):
        counting.count("ada")
    with pytest.raises(rate.Problem) as refused:
        counting.count("ada")
    assert refused.value.headers == {"Retry-After": "60"}
    passed[0] += 61
    counting.count("ada")


def test_a_clock_that_is_set_back_keeps_nobody_out(monkeypatch):
    now = [1_000_000.0]
    monkeypatch.setattr(time, "time", lambda: now[0])
    monkeypatch.setattr(time, "monotonic", lambda: 5.0)
    counting = RequestRate(1)
    counting.count("ada")
    now[0] -= 86_400
    counting.count("ada")
    with pytest.raises(rate.Problem):
        counting.count("ada")


@pytest.mark.parametrize(
    ("address", "whose"),
    [
        ("192.0.2.7", "address 192.0.2.7"),
        ("2001:db8:1:2:3:4:5:6", "address 2001:db8:1:2::/64"),
        ("fe80::1%eth0", "address fe80::/64"),
        ("::ffff:192.0.2.7", "address 192.0.2.7"),
        ("", "address "),
    ],
)
def test_addresses_are_told_apart_as_networks_are_given_out(address, whose):
    class Request:
        class client:
            host = address

    assert rate.address_of(Request) == whose


@pytest.mark.parametrize(
    ("client", "forwarded", "trusted", "whose"),
    [
        ("192.0.2.7", "198.51.100.1", "", "192.0.2.7"),
        ("192.0.2.7", "198.51.100.1", "127.0.0.1", "192.0.2.7"),
        ("127.0.0.1", "198.51.100.1", "", "127.0.0.1"),
        ("127.0.0.1", "198.51.100.1", "127.0.0.1", "198.51.100.1"),
        ("127.0.0.1", "203.0.113.9, 198.51.100.1", "127.0.0.1", "198.51.100.1"),
        ("127.0.0.1", "198.51.100.1, 10.0.0.5", "127.0.0.1, 10.0.0.0/8", "198.51.100.1"),
        ("127.0.0.1", "198.51.100.1, made up", "127.0.0.1", "127.0.0.1"),
        ("127.0.0.1", None, "127.0.0.1", "127.0.0.1"),
        ("127.0.0.1", "10.0.0.5", "127.0.0.1, 10.0.0.0/8", "10.0.0.5"),
        ("::ffff:127.0.0.1", "203.0.113.9, ::ffff:198.51.100.1", "127.0.0.1", "198.51.100.1"),
        ("127.0.0.1", "198.51.100.1, 2001:db8:1:2::7", "127.0.0.1", "2001:db8:1:2::/64"),
        ("127.0.0.1", "198.51.100.1", "::ffff:127.0.0.1", "198.51.100.1"),
        ("::ffff:10.0.0.5", "198.51.100.1", "::ffff:10.0.0.0/104", "198.51.100.1"),
        ("2001:db8::7", "198.51.100.1", "2001:db8::/64", "198.51.100.1"),
    ],
)
def test_only_a_trusted_proxy_says_whose_request_it_is(client, forwarded, trusted, whose):
    headers = [] if forwarded is None else [(b"x-forwarded-for", forwarded.encode())]
    request = Request({"type": "http", "client": (client, 1), "headers": headers})
    networks = access_of(Settings(trusted_proxies=trusted)).trusted_proxies
    assert rate.address_of(request, networks) == f"address {whose}"


def test_strangers_behind_a_trusted_proxy_are_counted_each_for_themselves(house, journal):
    trusted = access_of(Settings(trusted_proxies="127.0.0.1")).trusted_proxies
    for known, found in ((trusted, [401] * 10), ((), [401] * OFTEN + [429] * (10 - OFTEN))):
        served = Served(replace(house, journal=journal, access=Access(True, False, OFTEN, known)))
        try:
            asked = [
                httpx.get(f"{served.url}api/v1/farm", headers={"X-Forwarded-For": f"192.0.2.{n}"}) for n in range(10)
            ]
            assert [one.status_code for one in asked] == found
        finally:
            served.stop()


def test_a_trusted_proxy_that_is_no_address_is_told():
    with pytest.raises(CannotStart, match=r"LEAFWEATHER_TRUSTED_PROXIES: .*'proxy\.example'.*192\.0\.2\.0/28"):
        access_of(Settings(trusted_proxies="proxy.example"))


@pytest.mark.parametrize(
    ("settings", "often"),
    [
        ({}, None),
        ({"requests_per_minute": 7}, 7),
        ({"require_token": True}, REQUESTS_A_MINUTE),
        ({"behind_proxy": True, "requests_per_minute": 0}, None),
        ({"require_token": True, "requests_per_minute": 30}, 30),
    ],
)
def test_there_is_a_limit_where_people_sign_in_and_elsewhere_if_asked_for(settings, often):
    assert access_of(Settings(**settings)).requests_per_minute == often


def test_the_service_itself_counts_by_the_address_of_the_connection(house, journal):
    served = Served(replace(house, journal=journal, access=Access(requests_per_minute=OFTEN)))
    try:
        found = [
            httpx.get(f"{served.url}api/v1/farm", headers={"X-Real-IP": f"192.0.2.{n}"} if n > 3 else {}).status_code
            for n in range(OFTEN + 2)
        ]
        assert found == [200] * 4 + [403] + [429] * 2  # what a header claims is no address
    finally:
        served.stop()
