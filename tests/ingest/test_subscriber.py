"""Through a real broker: every form of message, every topic the description names, and what is unknown."""

from __future__ import annotations

import cbor2

from tests.conftest import SMALL_FARM

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
