"""From a reading over MQTT to what a person gets, the link they press, and a kill in between: all parts real."""

from __future__ import annotations

import re
import signal
import time

import httpx
import pytest

from tests.conftest import SMALL_FARM, eventually
from tests.test_end_to_end import Served, publish
from tests.watch.receivers import MailBox, hook

PEOPLE = """
[notices.people.ada]
label = "Ada"
mail = ["ada@farm.example"]
[notices.people.bo]
label = "Bo"
webhooks = [{{ url = "{url}", secret = "bo" }}]
quiet = {{ begin = 00:00:00, end = 23:59:59, let_through = ["highest"] }}
"""


@pytest.fixture
def told(mosquitto, tmp_path, monkeypatch):
    folder = tmp_path / "served"
    folder.mkdir()
    (folder / "secrets.toml").write_text('bo = "both know"\n')
    (folder / "secrets.toml").chmod(0o600)
    with MailBox(None) as box, hook() as ours, hook() as pulse:
        for name, value in {
            "SMTP_HOST": "127.0.0.1", "SMTP_PORT": box.port, "SMTP_SECURITY": "none", "SMTP_FROM": "lw@farm.example",
            "SECRETS_FILE": folder / "secrets.toml", "PAGE_URL": "https://farm.example",
            "HEARTBEAT_URL": pulse.url, "HEARTBEAT_MINUTES": "0.05", "LOG_LEVEL": "debug",
        }.items():  # fmt: skip
            monkeypatch.setenv(f"LEAFWEATHER_{name}", str(value))
        one = Served(folder, mosquitto.port)
        (folder / "farm.toml").write_text(SMALL_FARM + PEOPLE.format(url=ours.url))
        one.start()
        one.box, one.hook, one.pulse = box, ours, pulse
        yield one
        if one.process.poll() is None:
            one.end()
        one.http.close()


@pytest.mark.slow
def test_a_danger_is_told_within_5_s_acknowledged_by_its_link_and_a_kill_tells_nothing_twice(told):
    publish(told.mqtt_port, "plain/co2", b"900", b"6200")
    began = time.monotonic()
    (mail,) = eventually(lambda: told.box.taken, 10)
    assert time.monotonic() - began < 5
    assert mail["Subject"].startswith("CO2 DANGER, leave: Room")
    assert "certified gas detector" in mail.get_content()
    eventually(lambda: told.hook.got, 5)  # in quiet hours too
    path = re.search(r"https://farm\.example(/acknowledge/\S+)", mail.get_content())[1]
    address = f"http://127.0.0.1:{told.port}{path}"
    assert httpx.get(address).status_code == 200  # a program that scans mail
    standing = told.http.get("/notices").json()["notices"]
    assert {one["state"] for one in standing} == {"sent"}
    assert {one["kind"] for one in standing} == {"raised"}
    page = httpx.get(address).text
    shown = re.findall(r'name="alarm" value="(\w+)"', page)
    assert "Acknowledged by Ada" in httpx.post(address, data={"alarm": shown}).text
    assert httpx.post(address, data={"alarm": shown}).status_code == 410
    eventually(lambda: told.pulse.got, 15)
    health = told.http.get("/health").json()
    assert health["watch"]["keeps_up"]
    assert health["notices"]["people"] == 2
    assert not health["notices"]["stuck"]
    assert health["notices"]["heartbeat"]["last"]
    told.end(signal.SIGKILL)
    for _ in range(4):
        publish(told.mqtt_port, "plain/co2", b"900")
        time.sleep(0.3)
    told.start()
    log = [told.http.get(f"/notices/{one['id']}").json() for one in told.http.get("/notices").json()["notices"]]
    assert len(told.box.taken) == 1, "told once, although the program was killed since"
    assert all(len(one["log"]) == 1 for one in log if one["kind"] == "raised")
    for hidden in ("ada@", "both know", path.rpartition("/")[2], "/hook"):
        assert hidden not in told.log
        assert hidden not in str(log)
