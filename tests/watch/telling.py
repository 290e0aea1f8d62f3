"""A farm with people, and alarms in its journal, for tests of telling."""

from __future__ import annotations

import sys
from pathlib import Path

from farm.alarm_words import Priority
from farm.check import check_text
from farm.description import Farm
from store.alarm_entries import AlarmEntry
from store.journal import Journal
from tests.conftest import MINUTE_US, SMALL_FARM, T0_US
from watch.channels import Channels
from watch.mail import Mail, MailServer
from watch.notifying import Notifier
from watch.webhook import Webhooks

NOW_US = T0_US + 12 * 60 * MINUTE_US  # noon
DETAIL = {
    "kind": "out_of_band", "what": "Air temperature", "where": "Room", "zone": "room",
    "series": "room/air_temperature", "unit": "°C", "limit": 24.0, "worst": 31.26, "since": "",
    "likely": [{"cause": "a", "label": "the air conditioner does not cool", "probability": 0.72},
               {"cause": "b", "label": "lamps on too long", "probability": 0.1}],
    "first_step": "Look at the air conditioner's display.", "caution": "Mains voltage kills.",
    "text": "Air temperature in Room is too high: 31.3 °C at worst, at most 24.0 °C wanted.",
}  # fmt: skip


def alarm(name="air_temperature", *, group="heat", priority="high", minutes_ago=5, over=False, **detail) -> AlarmEntry:
    alarm_us = NOW_US - minutes_ago * MINUTE_US
    return AlarmEntry(
        "testfarm", f"out_of_band/room/{name}/high", alarm_us - 10 * MINUTE_US, alarm_us, NOW_US if over else None,
        Priority(priority), group, detail=DETAIL | detail,
    )  # fmt: skip


def farm_with(port: int, url: str, more: str = "", ways: str = "mail webhook") -> Farm:
    mail = 'mail = ["ada@farm.example"]' if "mail" in ways else ""
    webhooks = f'webhooks = [{{ url = "{url}", secret = "bo" }}]' if "webhook" in ways else ""
    people = f'[notices.people.ada]\nlabel = "Ada"\n{mail}\n{webhooks}\n'
    farm, mistakes = check_text(SMALL_FARM + people + more)
    assert farm is not None, mistakes
    return farm


def raise_alarms(journal: Journal, *alarms: AlarmEntry) -> None:
    for one in alarms:
        journal.alarms.replace("testfarm", one.condition, one.onset_us, [one], NOW_US)


def notifier_of(
    farm: Farm, journal: Journal, port: int, clock=lambda: NOW_US, page_url="https://farm.example/", link_key=None
):
    server = MailServer("127.0.0.1", port, "none", "leafweather@farm.example", patience_s=3.0)
    channels = Channels(farm.notices, [Mail(server), Webhooks({"bo": "secret"}, patience_s=3.0)])
    return Notifier(farm, journal, channels, clock, page_url, link_key=link_key)


def one_round(folder: Path, port: int, url: str, ways: str = "mail webhook") -> None:
    """Decide and send once, as a program of its own that a test may kill within."""
    farm = farm_with(port, url, ways=ways)
    with Journal(f"sqlite:///{folder / 'journal.sqlite'}") as journal:
        notifier = notifier_of(farm, journal, port)
        notifier.decide()
        notifier.sender.send_due()
        notifier.sender.settle()


if __name__ == "__main__":
    import os
    import signal

    from store import fault_points

    folder, port, url, deadly, ways = sys.argv[1:]

    def passed(point: str) -> None:
        if point == deadly:
            os.kill(os.getpid(), signal.SIGKILL)

    fault_points.hook = passed
    one_round(Path(folder), int(port), url, ways)
