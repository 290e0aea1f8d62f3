"""What a batch makes of many messages: merged by kind, everything counted."""

from __future__ import annotations

from ingest.arrival import Arrival
from ingest.batch import Batch, Message
from store.entries import Reason
from store.journal import MAX_UNKNOWN, Journal

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z


def batch_of(farm, *messages):
    arrival, batch = Arrival(farm), Batch()
    for n, (topic, payload) in enumerate(messages):
        message = Message(1, n, 1, topic, payload, NOW_US + n, None, kept=False)
        batch.add(message, *arrival.read(topic, payload, message.arrived_us))
    return batch


def test_unknown_names_are_collected_with_count_last_value_and_unit(small_farm, tmp_path):
    batch = batch_of(
        small_farm,
        (
            "leafweather/a",
            b'[{"n":"zzz","u":"Cel","v":20},{"n":"zzz","u":"Cel","v":21},{"n":"room/air_temperature","v":9}]',
        ),
        ("leafweather/a", b'[{"n":"zzz","u":"K","v":294}]'),
        ("leafweather/bare", b"812"),
        ("leafweather/a", b'[{"n":"room/air_temperature","u":"V","v":1}]'),
    )
    assert len(batch.readings) == 1
    with Journal(f"sqlite:///{tmp_path}/j.sqlite") as journal:
        for _ in range(2):
            journal.add_unknown_names("testfarm", batch.unknown_names)
        found = [(one.name, one.topic, one.value, one.unit, one.count) for one in journal.unknown_names("testfarm")]
        assert found == [("zzz", "leafweather/a", 294.0, "K", 6), ("", "leafweather/bare", 812.0, None, 2)]
        assert journal.unknown_names("elsewhere") == []
        [first, _] = journal.unknown_names("testfarm")
        assert (first.first_us, first.last_us) == (NOW_US, NOW_US + 1)
    assert {reject.reason: reject.count for reject in batch.rejects} == {
        Reason.UNKNOWN_NAME: 3, Reason.UNKNOWN_TOPIC: 1, Reason.WRONG_UNIT: 1
    }  # fmt: skip


def test_a_flood_of_different_names_is_bounded_and_all_of_it_counted(small_farm, tmp_path):
    many = MAX_UNKNOWN + 500
    batch = batch_of(small_farm, *(("t", f'[{{"n":"x{n}","v":{n}}}]'.encode()) for n in range(many)))
    with Journal(f"sqlite:///{tmp_path}/j.sqlite") as journal:
        journal.add_unknown_names("testfarm", batch.unknown_names)
        journal.add_unknown_names("testfarm", batch.unknown_names[:3])
        found = journal.unknown_names("testfarm")
    assert len(found) <= MAX_UNKNOWN + 1
    assert sum(one.count for one in found) == many + 3
    assert (found[0].name, found[0].topic, found[0].count) == ("", "", 500)
