"""The application behind the real server, for tests that ask it over HTTP."""

from __future__ import annotations

import threading
import time

from leafweather.listening import listening_socket, server_of
from leafweather.settings import Settings


class Served:
    """The application behind the server that the service uses, on loopback, which can be stopped.

    ``port`` is one that an earlier one had, so that who asked that finds this one.
    """

    def __init__(self, house, port: int = 0) -> None:
        self.socket = listening_socket("127.0.0.1", port)
        self.port = self.socket.getsockname()[1]
        self.url = f"http://127.0.0.1:{self.port}/"
        self.server = server_of(house, Settings(log_level="warning"))
        self.thread = threading.Thread(target=self.server.run, args=([self.socket],))
        self.thread.start()
        deadline = time.monotonic() + 20
        while not self.server.started and time.monotonic() < deadline:
            time.sleep(0.02)
        assert self.server.started

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(20)
        self.socket.close()
        assert not self.thread.is_alive()
