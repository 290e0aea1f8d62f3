"""The application behind a real server, for tests that ask it over HTTP."""

from __future__ import annotations

import threading
import time

import uvicorn

from api.app import create_app
from tests.conftest import free_port


class Served:
    """The application behind a real server on loopback, which can be stopped."""

    def __init__(self, house) -> None:
        port = free_port()
        self.url = f"http://127.0.0.1:{port}/"
        config = uvicorn.Config(create_app(house), host="127.0.0.1", port=port, log_level="warning", ws="none")
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run)
        self.thread.start()
        deadline = time.monotonic() + 20
        while not self.server.started and time.monotonic() < deadline:
            time.sleep(0.02)
        assert self.server.started

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(20)
        assert not self.thread.is_alive()
