"""Real receivers on loopback: a mail server with TLS and a webhook, which refuse, are slow or break off on demand."""

from __future__ import annotations

import asyncio
import email
import email.policy
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import trustme
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import AuthResult

from tests.conftest import free_port

USER, PASSWORD = "leafweather", "a-secret-of-the-mail-server"


class Trust:
    """An authority of certificates of our own, which nobody else trusts."""

    def __init__(self, folder: Path) -> None:
        self.ca_file = folder / "ca.pem"
        authority = trustme.CA()
        authority.cert_pem.write_to_path(self.ca_file)
        self.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert("127.0.0.1", "localhost").configure_cert(self.context)


class _Handler:
    def __init__(self) -> None:
        self.taken: list[email.message.EmailMessage] = []
        self.rcpt, self.data, self.slow_s, self.break_off = "250 OK", "250 taken", 0.0, False

    async def handle_RCPT(self, server, session, envelope, address, options):
        await asyncio.sleep(self.slow_s)
        if self.rcpt.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.rcpt.replace("ADDRESS", f"<{address}>")

    async def handle_DATA(self, server, session, envelope):
        if self.data.startswith("250"):
            self.taken.append(email.message_from_bytes(envelope.content, policy=email.policy.default))
        if self.break_off:
            server.transport.abort()
        return self.data


class MailBox:
    """A mail server that demands TLS and a password."""

    def __init__(self, trust: Trust | None, *, implicit: bool = False) -> None:
        self.handler, self.port = _Handler(), free_port()
        context = None if trust is None else trust.context

        def known(server, session, envelope, mechanism, data):
            good = (data.login, data.password) == (USER.encode(), PASSWORD.encode())
            return AuthResult(success=good, handled=False)

        more = {"auth_required": True, "authenticator": known} if trust is not None else {}
        if implicit:
            more |= {"ssl_context": context, "auth_require_tls": False}
        elif context is not None:
            more |= {"tls_context": context, "require_starttls": True}
        self._settings, self._controller = more, None

    @property
    def taken(self) -> list[email.message.EmailMessage]:
        return self.handler.taken

    def __enter__(self) -> MailBox:
        self._controller = Controller(self.handler, hostname="127.0.0.1", port=self.port, **self._settings)
        self._controller.start()
        return self

    def __exit__(self, *exc: object) -> None:
        self._controller.stop()


class Hook:
    """A webhook that answers with the statuses it is given, the last one for ever."""

    def __init__(self) -> None:
        self.statuses, self.slow_s, self.got, self.retry_after = [200], 0.0, [], None


@contextmanager
def hook(trust: Trust | None = None) -> Iterator[Hook]:
    """Serve a webhook on loopback at ``url``."""
    ours = Hook()

    class Answering(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers.get("Content-Length", 0)))
            status = ours.statuses.pop(0) if len(ours.statuses) > 1 else ours.statuses[0]
            ours.got.append((status, dict(self.headers), body))
            time.sleep(ours.slow_s)
            try:
                self.send_response(status)
                if ours.retry_after is not None:
                    self.send_header("Retry-After", ours.retry_after)
                if status == 302:
                    self.send_header("Location", "/elsewhere")
                self.send_header("Content-Length", "2")
                self.end_headers()
                self.wfile.write(b"ok")
            except OSError:
                pass  # who asked has gone

        do_GET = do_POST

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answering)
    if trust is not None:
        server.socket = trust.context.wrap_socket(server.socket, server_side=True)
    ours.port = server.server_address[1]
    ours.url = f"http{'s' if trust else ''}://127.0.0.1:{ours.port}/hook"
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        yield ours
    finally:
        server.shutdown()
        thread.join()
        server.server_close()
