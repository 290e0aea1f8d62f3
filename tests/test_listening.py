"""Listening elsewhere than on this machine: refused without tokens and TLS, and what a slow client can hold."""

from __future__ import annotations

import ssl
import time
from pathlib import Path

import httpx
import pytest
import trustme

from farm.check import read_description
from farm.roles import Role
from leafweather.listening import access_of
from leafweather.run import Service, now_us
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from store.journal import Journal
from tests.conftest import SMALL_FARM, free_port

OFF = {"host": "0.0.0.0"}


@pytest.fixture(scope="module")
def certificate(tmp_path_factory):
    folder = tmp_path_factory.mktemp("certificate")
    authority = trustme.CA()
    issued = authority.issue_cert("127.0.0.1", "localhost")
    issued.private_key_pem.write_to_path(folder / "key.pem")
    for blob in issued.cert_chain_pems:
        blob.write_to_path(folder / "cert.pem", append=True)
    authority.issue_cert("localhost").private_key_pem.write_to_path(folder / "other.pem")
    authority.cert_pem.write_to_path(folder / "ca.pem")
    (folder / "none.pem").write_text("no certificate")
    return folder


def tls(folder, cert="cert.pem", key="key.pem"):
    return {"tls_cert": folder / cert, "tls_key": folder / key}


def test_who_has_to_sign_in_and_how_cookies_travel(certificate):
    def told(**settings):
        access = access_of(Settings(**settings))
        return access.required, access.secure

    for host in ("127.0.0.1", "localhost", "::1"):
        assert told(host=host) == (False, False)
    assert told(require_token=True) == (True, False)
    assert told(behind_proxy=True) == (True, True)
    assert told(**OFF, behind_proxy=True) == (True, True)
    assert told(**OFF, **tls(certificate)) == (True, True)
    assert told(host="farm.example", **tls(certificate)) == (True, True)
    assert told(**tls(certificate)) == (False, True)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.168.1.5", "farm.example", "127.0.0.1.example", ""])
def test_other_computers_are_not_let_in_without_tls(host):
    with pytest.raises(CannotStart, match="unencrypted") as refused:
        access_of(Settings(host=host, require_token=True))
    for remedy in ("--tls-cert", "--tls-key", "--behind-proxy", "127.0.0.1"):
        assert remedy in str(refused.value)


@pytest.mark.parametrize(
    ("cert", "key", "said"),
    [
        ("cert.pem", "gone.pem", "--tls-key .*gone.pem cannot be read"),
        ("gone.pem", "key.pem", "--tls-cert .*gone.pem cannot be read"),
        ("none.pem", "key.pem", "cannot be used for TLS"),
        ("cert.pem", "other.pem", "cannot be used for TLS"),
        ("cert.pem", "cert.pem", "cannot be used for TLS"),
    ],
)
def test_a_certificate_that_cannot_be_used_is_told_before_anything_is_opened(certificate, cert, key, said):
    with pytest.raises(CannotStart, match=said):
        access_of(Settings(**OFF, **tls(certificate, cert, key)))


def test_a_certificate_and_its_key_go_together(certificate):
    with pytest.raises(CannotStart, match="LEAFWEATHER_TLS_KEY"):
        access_of(Settings(tls_cert=certificate / "cert.pem"))
    with pytest.raises(CannotStart, match="LEAFWEATHER_TLS_CERT"):
        access_of(Settings(tls_key=certificate / "key.pem"))


@pytest.fixture
def described(tmp_path):
    (tmp_path / "farm.toml").write_text(SMALL_FARM)
    return read_description(tmp_path / "farm.toml")


def settings(tmp_path: Path, **more) -> Settings:
    return Settings(data=tmp_path / "data", port=0, mqtt_port=free_port(), **more)


@pytest.mark.parametrize("given", [OFF, {"require_token": True}, {"behind_proxy": True}])
def test_where_everybody_has_to_sign_in_and_nobody_could_it_does_not_start(tmp_path, described, certificate, given):
    here = settings(tmp_path, **given, **tls(certificate))
    with pytest.raises(CannotStart, match="there is no token yet") as refused:
        Service(described, here)
    assert "leafweather token make farm.toml --role keeper" in str(refused.value)
    with Journal(f"sqlite:///{tmp_path / 'data' / 'journal.sqlite'}") as journal:
        journal.tokens.make("north", "another farm's", Role.KEEPER, 1, "kim")
        journal.tokens.make("testfarm", "expired", Role.KEEPER, 1, "kim", 2)
        token, _ = journal.tokens.make("testfarm", "revoked", Role.KEEPER, 1, "kim")
        journal.tokens.revoke("testfarm", token.identity, 2, "kim")
    with pytest.raises(CannotStart, match="each of its 2 tokens is revoked or expired"):
        Service(described, here)


def test_with_a_token_and_a_certificate_it_serves_over_tls_and_in_the_clear_not_at_all(
    tmp_path, described, certificate
):
    (tmp_path / "data").mkdir()
    with Journal(f"sqlite:///{tmp_path / 'data' / 'journal.sqlite'}") as journal:
        _, text = journal.tokens.make("testfarm", "ada", Role.VIEWER, now_us(), "kim")
    trusted = ssl.create_default_context(cafile=certificate / "ca.pem")
    with Service(described, settings(tmp_path, **OFF, **tls(certificate))) as service:
        assert service.address.startswith("https://0.0.0.0:")
        url = service.address.replace("0.0.0.0", "127.0.0.1")
        with httpx.Client(base_url=url, verify=trusted) as client:
            answered(client)
            assert client.get("api/v1/farm").status_code == 401
            answer = client.get("api/v1/farm", headers={"Authorization": f"Bearer {text}"})
            assert answer.json()["title"] == "Test farm"
            assert "server" not in answer.headers
            cookie = client.post("api/v1/session", json={"token": text}).headers["set-cookie"]
            assert cookie.startswith("__Host-leafweather-testfarm=")
            assert "Secure" in cookie
        with pytest.raises(httpx.TransportError):
            httpx.get(url.replace("https", "http") + "api/v1/alive")
        old = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
        old.load_verify_locations(certificate / "ca.pem")
        old.set_ciphers("DEFAULT:@SECLEVEL=0")
        with pytest.warns(DeprecationWarning, match="TLSv1_1"):
            old.minimum_version = old.maximum_version = ssl.TLSVersion.TLSv1_1
        with pytest.raises(httpx.TransportError):
            httpx.get(url + "api/v1/alive", verify=old)


def answered(client):
    deadline = time.monotonic() + 10
    while True:
        try:
            return client.get("api/v1/alive")
        except httpx.ConnectError:
            assert time.monotonic() < deadline
            time.sleep(0.02)
