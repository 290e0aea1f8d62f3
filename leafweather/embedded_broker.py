"""The embedded demo broker: ``python -m leafweather.embedded_broker PORT``.

For the demonstration only: it speaks MQTT 3.1.1 on loopback, and unlike a real broker it does not
send unacknowledged messages again.
"""

from __future__ import annotations

import asyncio
import signal
import sys

from amqtt.broker import Broker


async def _run(port: int) -> None:
    broker = Broker(
        {
            "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
            "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
        }
    )
    await broker.start()
    stopping = asyncio.Event()
    for number in (signal.SIGTERM, signal.SIGINT):
        asyncio.get_running_loop().add_signal_handler(number, stopping.set)
    await stopping.wait()
    await broker.shutdown()


if __name__ == "__main__":
    asyncio.run(_run(int(sys.argv[1])))
