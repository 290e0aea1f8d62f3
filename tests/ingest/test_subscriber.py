"""Through a real broker: every form of message, every topic the description names, and what is unknown."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing

import cbor2

from tests.conftest import SMALL_FARM, eventually

RULE = """
[[wire.rules]]
topic = "boxes/{zone}/state"
[[wire.rules.values]]
path = "t"
name = "{zone}/air_temperature"
[[wire.rules]]
topic = "leafweather/inside/{zone}"
[[wire.rules.values]]
path = "rh"
name = "{zone}/relative_humidity"
"""


def test_every_form_on_every_topic_arrives_once(receiving):
    farm = receiving(SMALL_FARM + RULE)
    farm.send("leafweather/a", b'[{"n":"row/ppfd","v":1}]', cbor2.dumps([{0: "row/ppfd", 2: 2}]))
    farm.send("leafweather/a", b" \n" + b'[{"n":"row/ppfd","v":3}]', content_type="application/senml+json")
    farm.send("leafweather/b", cbor2.dumps([{0: "row/ppfd", 2: 4}]), content_type="application/senml+cbor")
    farm.send("plain/co2", b"812")
    farm.send("boxes/room/state", b'{"t":21.5}')
    farm.send("leafweather/inside/room", b'{"rh":61}')
    farm.took(7)
    assert farm.values("row/ppfd") == [1, 2, 3, 4]
    assert farm.values("room/co2_mole_fraction") == [812]
    assert farm.values("room/air_temperature") == [21.5]
    assert farm.values("room/relative_humidity") == [61]
    assert farm.subscriber.counts.messages == 7
    assert farm.journal.rejects("testfarm") == []


def test_a_content_type_that_the_bytes_do_not_bear_out_is_refused(receiving):
    farm = receiving(SMALL_FARM)
    farm.send("leafweather/a", b'[{"n":"row/ppfd","v":1}]', content_type="application/senml+cbor")
    farm.took(1)
    [reject] = farm.journal.rejects("testfarm")
    assert "CBOR" in reject.detail


def test_unknown_names_are_in_the_journal_for_the_technician(receiving):
    farm = receiving(SMALL_FARM)
    farm.send("leafweather/a", *3 * [b'[{"n":"row/temp","u":"Cel","v":20.5},{"n":"row/ppfd","v":1}]'])
    farm.took(3)
    [one] = farm.journal.unknown_names("testfarm")
    assert (one.name, one.topic, one.value, one.unit, one.count) == ("row/temp", "leafweather/a", 20.5, "Cel", 3)


def test_big_messages_that_wait_for_the_store_do_not_fill_the_memory(receiving, tmp_path):
    """Beyond 64 MiB the broker keeps them: 1,000 of 4 MB each would else be 4 GB."""
    farm = receiving(SMALL_FARM)
    with closing(sqlite3.connect(tmp_path / "data-0" / "journal.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        farm.send("leafweather/a", *40 * [b"x" * 4_000_000])
        eventually(lambda: farm.subscriber.queued >= 17)
        time.sleep(1)
        assert farm.subscriber.queued <= 17 + 5  # 64 MiB wait, 16 MiB are in hand, and one more each
        other.execute("ROLLBACK")
    farm.took(40)
    assert farm.journal.reject_counts("testfarm") == {"too_large": 40}


def test_what_is_not_durable_is_not_acknowledged(receiving, tmp_path):
    """The service ends while the store is locked: the broker still has the messages."""
    farm = receiving(SMALL_FARM)
    with closing(sqlite3.connect(tmp_path / "data-0" / "readings.sqlite", isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        farm.send("leafweather/a", *(f'[{{"n":"row/ppfd","v":{value}}}]'.encode() for value in (1, 2, 3)))
        eventually(lambda: farm.subscriber.queued == 3)
        farm.subscriber.stop()
        other.execute("ROLLBACK")
    assert farm.values("row/ppfd") == []
    again = receiving(SMALL_FARM)
    again.took(3)
    assert again.values("row/ppfd") == [1, 2, 3]
