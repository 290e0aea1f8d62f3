"""What a client may hold of the real server: slow heads, slow and long bodies, heads without end."""

from __future__ import annotations

import socket
import threading
import time

import httpx
import pytest

from leafweather import listening
from leafweather.listening import listening_socket, server_of
from leafweather.settings import Settings
from tests.conftest import eventually
from tests.serving import Served


@pytest.fixture
def service(house, monkeypatch):
    """The house behind the server that the service uses, with less patience than it has."""
    monkeypatch.setattr(listening, "HEAD_S", 0.4)
    monkeypatch.setattr("api.guard.PATIENCE_S", 0.4)
    here, server = listening_socket("127.0.0.1", 0), server_of(house, Settings())
    thread = threading.Thread(target=server.run, args=([here],))
    thread.start()
    eventually(lambda: server.started)
    yield here.getsockname()[1]
    server.should_exit = True
    thread.join(20)
    here.close()
    assert not thread.is_alive()


def connected(service: int) -> socket.socket:
    one = socket.create_connection(("127.0.0.1", service), timeout=5)
    one.settimeout(5)
    return one


def rest(one: socket.socket) -> bytes:
    found = b""
    while piece := one.recv(65_536):
        found += piece
    return found


def hung_up_on(one: socket.socket, pieces: list[bytes], pause_s: float) -> bool:
    try:
        for piece in pieces:
            one.sendall(piece)
            time.sleep(pause_s)
    except OSError:
        return True
    return False


@pytest.mark.parametrize("begun", [b"", b"GET /api/v1/alive HTTP/1.1\r\n", b"G"])
def test_a_head_that_does_not_come_is_not_waited_for(service, begun):
    with connected(service) as slow:
        slow.sendall(begun)
        began = time.monotonic()
        assert rest(slow) == b""
        assert 0.2 < time.monotonic() - began < 3


def test_a_head_that_drips_in_is_not_waited_for_either_on_a_connection_that_was_good_before(service):
    with connected(service) as slow:
        slow.sendall(b"GET /api/v1/alive HTTP/1.1\r\nHost: localhost\r\n\r\n")
        answer = b""
        while b'"status"' not in answer:
            answer += slow.recv(65_536)
        began = time.monotonic()
        assert hung_up_on(slow, [b"GET /api/v1/alive HTTP/1.1\r\n"] + [b"X: y\r\n"] * 50, 0.1)
        assert time.monotonic() - began < 3


def test_a_body_that_does_not_come_is_not_waited_for(service):
    with connected(service) as slow:
        slow.sendall(
            b"POST /api/v1/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
            b"Content-Length: 100\r\nConnection: close\r\n\r\n{"
        )
        assert b"HTTP/1.1 408 " in rest(slow)


def test_who_asks_in_time_is_not_hung_up_on(service):
    with httpx.Client(base_url=f"http://127.0.0.1:{service}") as client:
        for _ in range(3):
            assert client.get("/api/v1/alive").status_code == 200
            time.sleep(0.6)


def test_a_length_beside_chunks_lets_no_long_body_in(service):
    head = (
        b"POST /api/v1/session HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\nConnection: close\r\n"
        b"Content-Length: 2\r\nTransfer-Encoding: chunked\r\n\r\n"
    )
    with connected(service) as sly:
        sly.sendall(head + b"8000\r\n" + b" " * 0x8000 + b"\r\n0\r\n\r\n")
        answer = rest(sly)
    assert answer.split(b" ")[1] in (b"400", b"411")


def test_a_head_without_end_is_refused(service):
    with connected(service) as long:
        long.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n" + (b"X: " + b"y" * 1000 + b"\r\n") * 20)
        assert b"HTTP/1.1 400 " in rest(long)


def test_who_reads_nothing_is_let_go_of_when_the_service_stops(house):
    served = Served(house)
    with socket.socket() as deaf:
        deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
        deaf.connect(("127.0.0.1", served.port))
        deaf.sendall(b"GET /api/v1/openapi.json HTTP/1.1\r\nHost: localhost\r\n\r\n" * 60)  # more than the kernel holds
        eventually(lambda: any(one.flow.write_paused for one in served.server.server_state.connections))
        served.stop()
        assert not served.server.server_state.connections
