"""What the InfluxDB engine does when the server fails in the documented ways, and when it is killed."""

from __future__ import annotations

import random
import subprocess
import sys
import time

import pytest

from store.contract import Appended, StoreUnavailable, StoreUnusable
from tests.store.influx_stand_in import BUCKET, ORG, TOKEN, Fault, StandIn
from tests.store.test_embedded_crash import batch
from tests.store.words import AIR, HOUR, HUMIDITY, ROOT, VPD, columns, everything, reading, windows

WRITE, QUERY, DELETE = "/api/v2/write", "/api/v2/query", "/api/v2/delete"


@pytest.fixture(autouse=True)
def short_waits(monkeypatch):
    """Waits that double from a tenth of their usual length on, so that the tests are not spent waiting."""
    monkeypatch.setattr("store.influx_server.FIRST_WAIT_S", 0.02)


@pytest.fixture
def influx_store(influx_opened):
    with influx_opened(patience_s=0.1) as opened:
        yield opened


@pytest.mark.parametrize(
    "fault",
    [
        Fault(status=503, headers=(("Retry-After", "0"),)),
        Fault(status=429, headers=(("Retry-After", "0"),)),
        Fault(status=503),
        Fault(status=500),
        Fault(status=502),
        Fault(reset=True),
        Fault(reset=True, applied=True),
        Fault(status=504, applied=True),
        Fault(path=QUERY, status=429),
        Fault(path=QUERY, reset=True),
        Fault(path=QUERY, cut=True),
    ],
    ids=str,
)
def test_what_passes_is_sent_again_and_nothing_is_doubled(influx_server, influx_opened, fault):
    with influx_opened(patience_s=5) as store:
        store.append([reading(7)])
        influx_server.faults += [fault, fault]
        assert store.append([reading(1), reading(2), reading(7)]) == Appended(2, 1, ())
        assert everything(store, AIR) == [(1, 20.0, 1), (2, 20.0, 1), (7, 20.0, 1)]
        assert influx_server.faults == []


# From the documentation page "Annotated CSV", section "Errors": an error that shows after the answer began.
ERROR_TABLE = (
    "#datatype,string,long\r\n#group,true,true\r\n#default,,\r\n,error,reference\r\n,Failed to parse query,897\r\n"
)


@pytest.mark.parametrize(
    ("answer", "kind", "message"),
    [
        (ERROR_TABLE, StoreUnavailable, "it gave up on a query: Failed to parse query"),
        ("<html>Welcome</html>\r\n", StoreUnusable, "its answer is not annotated CSV: is it InfluxDB 2"),
    ],
)
def test_an_answer_that_is_an_error_is_told(influx_server, influx_store, answer, kind, message):
    influx_store.append([reading(1)])
    influx_server.faults.append(Fault(QUERY, csv=answer))
    with pytest.raises(kind, match=message):
        everything(influx_store, AIR)
    assert everything(influx_store, AIR) == [(1, 20.0, 1)]


def test_a_delete_is_sent_again_too(influx_server, influx_opened):
    with influx_opened(patience_s=5) as store:
        store.replace(VPD, 0, 10, columns((1, 1.0, 1), (2, 1.0, 1)))
        influx_server.faults += [Fault(DELETE, 503), Fault(DELETE, reset=True, applied=True)]
        store.replace(VPD, 0, 10, columns((2, 1.0, 1)))
        assert everything(store, VPD) == [(2, 1.0, 1)]


def test_retry_after_is_kept_to(influx_server, influx_opened):
    with influx_opened(patience_s=5) as store:
        influx_server.faults.append(Fault(status=429, headers=(("Retry-After", "1"),)))
        begin = time.monotonic()
        store.append([reading(1)])
        assert time.monotonic() - begin >= 1.0


def test_a_wait_longer_than_patience_is_told_at_once(influx_server, influx_store):
    influx_server.faults.append(Fault(status=429, headers=(("Retry-After", "3600"),)))
    begin = time.monotonic()
    with pytest.raises(
        StoreUnavailable, match=r"cannot serve now: try again \(429 told to fail\), and asks to wait 3600 s"
    ):
        influx_store.append([reading(1)])
    assert time.monotonic() - begin < 1.0
    assert influx_store.append([reading(1)]).stored == 1


@pytest.mark.parametrize(
    ("fault", "kind", "message"),
    [
        (Fault(status=401, message="unauthorized access"), StoreUnavailable, "check LEAFWEATHER_INFLUX_TOKEN"),
        (Fault(status=403), StoreUnavailable, "give it the right to read and write the bucket"),
        (Fault(status=404), StoreUnavailable, "no such organisation or bucket"),
        (
            Fault(status=400, message="unable to parse 'x'"),
            StoreUnusable,
            r"is it InfluxDB 2\? \(400 unable to parse 'x'\)",
        ),
        (Fault(status=413), StoreUnusable, "too large for it: raise the limit"),
        (Fault(status=422, message="partial write: dropped=4"), StoreUnusable, r"rejected the rest: .* dropped=4\)"),
    ],
    ids=lambda one: getattr(one, "status", None),
)
def test_what_does_not_pass_is_told_at_once_with_the_remedy_and_without_the_token(
    influx_server, influx_store, fault, kind, message
):
    influx_server.faults.append(fault)
    del influx_server.seen[:]
    with pytest.raises(kind, match=message) as told:
        influx_store.append([reading(1)])
    assert len(influx_server.requests(WRITE)) == 1
    assert TOKEN not in str(told.value)
    assert influx_store.append([reading(1)]) == Appended(1, 0, ())


def test_a_server_that_is_gone_is_told_and_comes_back():
    with StandIn() as stand_in:
        url = stand_in.url
    from store.influx import InfluxStore

    with pytest.raises(StoreUnavailable, match=f"{url}/{ORG}/{BUCKET}: it does not answer"):
        InfluxStore(url, ORG, BUCKET, TOKEN, patience_s=0.1)


def test_a_wrong_token_or_bucket_is_told_at_opening(influx_server):
    from store.influx import InfluxStore

    with pytest.raises(StoreUnavailable, match="check LEAFWEATHER_INFLUX_TOKEN"):
        InfluxStore(influx_server.url, ORG, BUCKET, "wrong")
    with pytest.raises(StoreUnavailable, match="no such organisation or bucket"):
        InfluxStore(influx_server.url, ORG, "nowhere", TOKEN)


def test_a_partial_write_is_told_and_completes_once_mended(influx_server, influx_store):
    foreign = ("reading", (("farm", "north"), ("flag", "1"), ("series", HUMIDITY.key)), "value")
    influx_server.points[foreign] = {5_000_000_000_000: "text"}
    mixed = [reading(1), reading(1, series=HUMIDITY), reading(2)]
    with pytest.raises(StoreUnusable, match=r"kept a part of the points .* partial write: field type conflict"):
        influx_store.append(mixed)
    assert everything(influx_store, AIR) == [(1, 20.0, 1), (2, 20.0, 1)]
    del influx_server.points[foreign]
    assert influx_store.append(mixed) == Appended(1, 2, ())
    assert sorted(windows(influx_store)) == sorted([(AIR, 1, 2), (HUMIDITY, 1, 1)])


def test_a_closed_store_says_so(influx_store):
    influx_store.close()
    for call in (lambda: influx_store.append([reading(2)]), lambda: everything(influx_store, AIR)):
        with pytest.raises(StoreUnavailable, match=f"/{BUCKET} is closed: open it again"):
            call()


class TestNotesOutliveFailures:
    """Whatever fails between the notes and the readings, what gets stored is noted."""

    def test_notes_stand_before_readings(self, influx_server, influx_store):
        influx_store.append([reading(9 * HOUR)])
        influx_server.faults += self.second_write_fails()
        with pytest.raises(StoreUnavailable):
            influx_store.append([reading(1), reading(2)])
        influx_server.faults.clear()
        assert (AIR, 1, 2) in windows(influx_store)
        assert everything(influx_store, AIR) == [(9 * HOUR, 20.0, 1)]

    def test_a_settled_note_comes_back_with_the_repeat(self, influx_server, influx_store):
        influx_server.faults += self.second_write_fails()
        with pytest.raises(StoreUnavailable):
            influx_store.append([reading(1)])
        influx_server.faults.clear()
        influx_store.settle(influx_store.touched("north", 10))  # worked off, and nothing was there
        assert influx_store.append([reading(1)]).stored == 1
        assert windows(influx_store) == [(AIR, 1, 1)]

    def test_a_request_given_up_but_carried_out_late_is_noted_by_the_repeat(self, influx_server, influx_store):
        influx_server.faults += self.second_write_fails()
        with pytest.raises(StoreUnavailable):
            influx_store.append([reading(1)])
        influx_server.faults.clear()
        influx_store.settle(influx_store.touched("north", 10))
        assert windows(influx_store) == []
        late = ("reading", (("farm", "north"), ("flag", "1"), ("series", AIR.key)), "value")
        influx_server.points.setdefault(late, {})[1000] = 20.0  # only now does the server carry it out
        assert influx_store.append([reading(1)]) == Appended(0, 1, ())
        assert windows(influx_store) == [(AIR, 1, 1)]
        influx_store.settle(influx_store.touched("north", 10))
        assert influx_store.append([reading(1)]) == Appended(0, 1, ())
        assert windows(influx_store) == []  # once is enough

    def test_another_append_notes_them_as_well(self, influx_server, influx_store):
        influx_server.faults += self.second_write_fails()
        with pytest.raises(StoreUnavailable):
            influx_store.append([reading(1)])
        influx_server.faults.clear()
        influx_store.settle(influx_store.touched("north", 10))
        influx_store.append([reading(50 * HOUR)])
        assert sorted(windows(influx_store)) == [(AIR, 1, 1), (AIR, 50 * HOUR, 50 * HOUR)]

    @staticmethod
    def second_write_fails():
        """Return faults that let one write through, the notes', and fail what follows."""
        return [Fault(status=204, applied=True), *[Fault(status=503)] * 50]


def test_a_replacement_cut_off_before_the_deletion_is_mended_by_the_repeat(influx_server, influx_store):
    influx_store.replace(VPD, 0, 10, columns((1, 1.0, 1), (2, 1.0, 1)))
    influx_server.faults += [Fault(DELETE, 403)]
    with pytest.raises(StoreUnavailable):
        influx_store.replace(VPD, 0, 10, columns((1, 5.0, 3)))
    assert everything(influx_store, VPD) == [(1, 5.0, 3), (2, 1.0, 1)]  # at 1, both flags: the worse one stands
    influx_store.replace(VPD, 0, 10, columns((1, 5.0, 3)))
    assert everything(influx_store, VPD) == [(1, 5.0, 3)]


WRITER = """
import sys
from store.influx import InfluxStore
from tests.store.test_embedded_crash import batch
with InfluxStore(*sys.argv[1:5]) as store:
    for number in range(int(sys.argv[5]), 1_000_000):
        store.append(batch(number))
        print(number, flush=True)
"""


def test_nothing_acknowledged_is_lost_doubled_or_unnoted_by_kill_9(influx_server, influx_opened):
    chance = random.Random()  # a new moment each time: what is checked holds at any of them
    expected, first = {}, 0
    for _ in range(2):
        command = [sys.executable, "-c", WRITER, influx_server.url, ORG, BUCKET, TOKEN, str(first)]
        with subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True) as writer:
            said = [writer.stdout.readline()]
            time.sleep(chance.uniform(0.0, 0.3))
            writer.kill()
            said += writer.stdout.read().splitlines(keepends=True)
        done = [int(line) for line in said if line.endswith("\n")]
        assert done == list(range(first, first + len(done)))
        assert done, "nothing was acknowledged, so nothing was tried"
        time.sleep(0.1)  # the stand-in may still be carrying out the last request
        for number in done:
            expected |= {(one.series, one.time_us): one for one in batch(number)}
        after = {(one.series, one.time_us): one for one in batch(done[-1] + 1)}
        with influx_opened(page=500) as store:
            held = {
                (series, row[0]): reading(*row, series=series)
                for series in (AIR, HUMIDITY)
                for row in everything(store, series)
            }
            assert expected.items() <= held.items() <= (expected | after).items()
            noted = store.touched("north", 10**6)
            for series, time_us in held:
                assert any(note.series == series and note.first_us <= time_us <= note.last_us for note in noted)
            repeated = store.append(batch(done[-1] + 1))
            assert repeated.conflicting == ()
            assert repeated.stored == len((expected | after).keys() - held.keys())
            expected |= after
        first = done[-1] + 2
