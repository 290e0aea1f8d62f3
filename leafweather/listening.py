"""Where and how the page and API are listened for, and when that is refused: nobody is let in by accident."""

from __future__ import annotations

import asyncio
import ipaddress
import socket
import ssl

import h11
import uvicorn
from uvicorn.protocols.http.h11_impl import H11Protocol

from api.app import create_app
from api.changes import Changes
from api.house import Access, House
from api.rate import Network
from leafweather.settings import Settings
from leafweather.starting import CannotStart
from store.access_entries import Standing
from store.journal import Journal

HEAD_S = 10.0  # until a request's head has arrived; our choice, no source
IDLE_S = 15  # between requests of one connection; likewise
LONGEST_HEAD = 16_384  # bytes; likewise
REQUESTS_A_MINUTE = 1200  # where people sign in; likewise: a page asks some 30, a busy program many more
MOST_CONNECTIONS = 200  # beyond them requests are told to come again; likewise


def access_of(settings: Settings) -> Access:
    """Return who may come in by these settings.

    Raises
    ------
    CannotStart
        If other computers could come in and what they send would not be encrypted; if a certificate or a trusted
        proxy's address cannot be used.
    """
    if (settings.tls_cert is None) != (settings.tls_key is None):
        missing = "--tls-key (LEAFWEATHER_TLS_KEY)" if settings.tls_key is None else "--tls-cert (LEAFWEATHER_TLS_CERT)"
        raise CannotStart(f"a certificate and its key go together: give {missing} too")
    encrypted = settings.tls_cert is not None
    if not settings.loopback_only and not encrypted and not settings.behind_proxy:
        raise CannotStart(
            f"the page would be open to other computers on {settings.host}, and passwords and tokens would travel "
            "unencrypted: give a certificate with --tls-cert and --tls-key; or put a proxy that does TLS in front and "
            "say so with --behind-proxy; or listen on 127.0.0.1"
        )
    if encrypted:
        _tried(settings)
    required = settings.require_token or settings.behind_proxy or not settings.loopback_only
    often = settings.requests_per_minute
    if often is None:
        often = REQUESTS_A_MINUTE if required else 0
    secure = encrypted or settings.behind_proxy
    return Access(required, secure, often or None, _trusted(settings.trusted_proxies or ""))


def _trusted(text: str) -> tuple[Network, ...]:
    """Return the addresses and networks of a setting."""
    try:
        return tuple(_plain(ipaddress.ip_network(one.strip())) for one in text.split(",") if one.strip())
    except ValueError as error:
        raise CannotStart(
            f"LEAFWEATHER_TRUSTED_PROXIES: {error}: write addresses or networks of proxies with commas between, as in "
            "127.0.0.1, 192.0.2.0/28"
        ) from error


def _plain(network: Network) -> Network:
    """Return of a network of IPv4 that is written as IPv6 that one: addresses are held against it as such."""
    mapped = network.network_address.ipv4_mapped if isinstance(network, ipaddress.IPv6Network) else None
    return network if mapped is None else ipaddress.ip_network((mapped, network.prefixlen - 96))


def _tried(settings: Settings) -> None:
    """Refuse a certificate that cannot be used, before anything is opened."""
    for file, option in ((settings.tls_cert, "--tls-cert"), (settings.tls_key, "--tls-key")):
        try:
            with open(str(file), "rb"):  # noqa: PTH123 - only whether it can be read
                pass
        except OSError as error:
            raise CannotStart(f"{option} {file} cannot be read ({error.strerror}): name a PEM file of ours") from error
    try:
        ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER).load_cert_chain(str(settings.tls_cert), settings.tls_key, _no_password)
    except (ssl.SSLError, ValueError) as error:
        raise CannotStart(
            f"{settings.tls_cert} and {settings.tls_key} cannot be used for TLS ({error}): both must be PEM, the key "
            "without a password and that of the certificate, with the chain after the certificate"
        ) from error


def _no_password() -> str:
    raise ValueError("the key has a password")


def somebody_may_come_in(access: Access, journal: Journal, farm: str, now_us: int) -> None:
    """Refuse to start where everybody has to sign in and nobody can.

    Raises
    ------
    CannotStart
        If no token of this farm lets anybody in.
    """
    tokens = journal.tokens.all(farm)
    if access.required and not any(one.standing(now_us) is Standing.USABLE for one in tokens):
        gone = f"each of its {len(tokens)} tokens is revoked or expired" if tokens else "there is no token yet"
        raise CannotStart(
            f"everybody has to sign in to {farm}, and nobody could: {gone}. Make one, on this machine and with the "
            "same --data: leafweather token make farm.toml --role keeper --label 'your name'"
        )


def listening_socket(host: str, port: int) -> socket.socket:
    """Return a socket that listens on an address; the address is ours from here on."""
    try:
        family, kind, protocol, _, address = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0]
        listening = socket.socket(family, kind, protocol)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listening.bind(address)
    except OSError as error:
        raise CannotStart(
            f"cannot listen on {host} port {port} ({error.strerror}): stop the program that uses it, "
            "or choose another with --port"
        ) from error
    return listening


class Impatient(H11Protocol):
    """HTTP that hangs up on who is too slow with a request's head, and so holds a connection for nothing."""

    _waiting: asyncio.TimerHandle | None = None

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Begin to wait for the first request."""
        super().connection_made(transport)
        self._waiting = self.loop.call_later(HEAD_S, self.transport.close)

    def data_received(self, data: bytes) -> None:
        """Take what came; wait on while a head is under way."""
        super().data_received(data)
        if self.conn.their_state is not h11.IDLE:
            self._no_more_waiting()
        elif self._waiting is None:
            self._waiting = self.loop.call_later(HEAD_S, self.transport.close)

    def connection_lost(self, exc: Exception | None) -> None:
        """Wait no more."""
        self._no_more_waiting()
        super().connection_lost(exc)

    def _no_more_waiting(self) -> None:
        if self._waiting is not None:
            self._waiting.cancel()
            self._waiting = None


class Ending(uvicorn.Server):
    """A server that lets go of everybody as it stops; those who listen to changes first: their streams have no end."""

    def __init__(self, config: uvicorn.Config, streams: Changes) -> None:
        super().__init__(config)
        self._streams = streams

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """Stop."""
        self._streams.close()
        await super().shutdown(sockets)
        for one in list(self.server_state.connections):  # who reads nothing, or came in meanwhile
            one.transport.abort()
        await asyncio.sleep(0)  # the loop lets go of them


def server_of(house: House, settings: Settings) -> uvicorn.Server:
    """Return the server of a house, with limits on what a client may hold of it."""
    app = create_app(house)
    return Ending(
        uvicorn.Config(
            app,
            http=Impatient,
            ws="none",
            proxy_headers=False,  # nothing that a client sends says who it is
            server_header=False,
            log_config=None,
            access_log=False,
            timeout_graceful_shutdown=3,
            timeout_keep_alive=IDLE_S,
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=LONGEST_HEAD,
            ssl_certfile=settings.tls_cert,
            ssl_keyfile=settings.tls_key,
        ),
        app.state.changes,
    )
