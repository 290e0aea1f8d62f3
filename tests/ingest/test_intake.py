"""A store that does not take what is to be kept: nothing is acknowledged, nothing written twice, nothing lost."""

from __future__ import annotations

import threading

import pytest

from ingest import intake as module
from ingest.arrival import Arrival
from ingest.batch import Batch, Message
from ingest.intake import Intake, Stopped
from store.contract import StoreUnavailable
from store.embedded import EmbeddedStore
from store.journal import Journal

NOW_US = 1_772_366_400_000_000  # 2026-03-01T12:00:00Z
PACK = b'[{"n":"room/air_temperature","v":20},{"n":"zzz","v":1},{"n":"room/air_temperature","t":7e9,"v":20}]'


@pytest.fixture
def parts(small_farm, tmp_path, monkeypatch):
    monkeypatch.setattr(module, "RETRY_S", 0.01)
    with EmbeddedStore(tmp_path) as store, Journal(f"sqlite:///{tmp_path}/journal.sqlite") as journal:
        yield (
            Intake(Arrival(small_farm), "testfarm", store, journal, clock_tolerance_s=120, most_per_minute=10),
            journal,
        )


def batch_of(intake, *payloads):
    batch = Batch()
    for n, payload in enumerate(payloads):
        intake.read(Message(1, n, 1, "leafweather/a", payload, NOW_US + n, None), batch)
    return batch


@pytest.mark.parametrize("method", ["add_rejects", "add_unknown_names", "add_clock_faults"])
def test_a_journal_that_fails_for_a_while_is_written_once(parts, monkeypatch, method):
    intake, journal = parts
    works, failures = getattr(journal, method), iter([True, True])

    def at_times(*arguments):
        if next(failures, False):
            raise StoreUnavailable("disk full, for a while")
        return works(*arguments)

    monkeypatch.setattr(journal, method, at_times)
    assert intake.keep(batch_of(intake, PACK), threading.Event()) == 1
    assert {str(one.reason): one.count for one in journal.rejects("testfarm")} == {"unknown_name": 1, "future": 1}
    assert [one.count for one in journal.unknown_names("testfarm")] == [1]
    assert intake.counts.waiting_for_store is None
    assert (intake.counts.readings, intake.counts.rejected, intake.counts.committed) == (1, 2, 1)


def test_told_to_stop_it_gives_up_and_says_what_it_waited_for(parts, monkeypatch):
    intake, journal = parts

    def never(*_):
        raise StoreUnavailable("no permission")

    monkeypatch.setattr(journal, "add_rejects", never)
    stopping = threading.Event()
    stopping.set()
    with pytest.raises(Stopped):
        intake.keep(batch_of(intake, PACK), stopping)
    assert intake.counts.waiting_for_store == "no permission"
    assert intake.counts.committed == 0


def test_a_message_that_upsets_the_decoder_is_kept_as_a_reject(parts, monkeypatch):
    intake, journal = parts
    monkeypatch.setattr(intake._arrival, "read", lambda *_: 1 / 0)
    assert intake.keep(batch_of(intake, PACK), threading.Event()) == 0
    [reject] = journal.rejects("testfarm")
    assert (reject.raw, "please report it" in reject.detail) == (PACK, True)
