"""Notices by mail: SMTP with TLS, one recipient a message, and a Message-ID that stays the same at every try."""

from __future__ import annotations

import smtplib
import ssl
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from email.headerregistry import Address
from email.message import EmailMessage
from email.policy import SMTP
from pathlib import Path
from typing import Literal

from farm.alarm_words import Priority
from farm.notices import Notices, on_this_machine
from farm.readings import instant
from store.notice_entries import Outcome
from watch.channels import Answer, Channel, Message, harmless
from watch.told import at_least

PATIENCE_S = 20.0  # for each answer of the server; our choice, no source
Security = Literal["starttls", "implicit", "none"]


@dataclass(frozen=True, slots=True)
class MailServer:
    """Where mail is handed in, and in whose name."""

    host: str
    port: int
    security: Security
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    ca_file: Path | None = None
    patience_s: float = PATIENCE_S

    def __post_init__(self) -> None:
        if self.security == "none" and not on_this_machine(self.host):
            raise ValueError("mail without TLS goes to this machine alone: use starttls or implicit")


class Mail:
    """The sort of channel that is mail; without a server its notices wait."""

    def __init__(self, server: MailServer | None) -> None:
        self._server = server

    def channels(self, notices: Notices, person: str) -> Iterator[tuple[str, Channel]]:
        """Yield a person's mail addresses."""
        described = notices.people[person]
        for number, address in enumerate(described.mail, 1):
            yield f"mail {number}", MailChannel(self._server, address)


class MailChannel:
    """One mail address."""

    def __init__(self, server: MailServer | None, address: str) -> None:
        self._server, self._address = server, address

    def send(self, message: Message) -> Answer:
        """Hand one message in.

        A server that refuses for now (4xx), is away, or lets nobody in is tried again; one that refuses the message for
        good (5xx) is not. Where the link breaks after the message was handed over, whether it was taken is not known.
        """
        server = self._server
        if server is None:
            return Answer(Outcome.LATER, "no mail server is set: LEAFWEATHER_SMTP_HOST")
        content = mail_of(message, server.sender, self._address).as_bytes()
        try:
            smtp = _connected(server)
        except (OSError, smtplib.SMTPException) as error:
            return Answer(Outcome.LATER, self._said("the mail server cannot be used", error))
        try:
            return self._hand_in(smtp, server.sender, content)
        finally:
            smtp.close()

    def _hand_in(self, smtp: smtplib.SMTP, sender: str, content: bytes) -> Answer:
        try:
            code, words = smtp.mail(sender)
            if code == 250:
                code, words = smtp.rcpt(self._address)
            if code not in (250, 251):
                return self._answered(code, words)
        except (OSError, smtplib.SMTPException) as error:
            return Answer(Outcome.LATER, self._said("the mail server broke off", error))
        try:
            code, words = smtp.data(content)
        except smtplib.SMTPDataError as error:  # refused before the message itself
            return self._answered(error.smtp_code, error.smtp_error)
        except (OSError, smtplib.SMTPException) as error:
            return Answer(Outcome.UNSURE, self._said("the mail server broke off after the message", error))
        answer = self._answered(code, words)
        with suppress(OSError, smtplib.SMTPException):  # it was taken
            smtp.quit()
        return answer

    def _answered(self, code: int, words: bytes | str) -> Answer:
        text = words.decode("utf-8", "replace") if isinstance(words, bytes) else words
        outcome = Outcome.TAKEN if 200 <= code < 300 else Outcome.REFUSED if 500 <= code < 600 else Outcome.LATER
        return Answer(outcome, self._clean(f"{code} {text}"))

    def _said(self, what: str, error: Exception) -> str:
        if isinstance(error, smtplib.SMTPResponseException):
            words = error.smtp_error
            text = words.decode("utf-8", "replace") if isinstance(words, bytes) else str(words)
            return self._clean(f"{what}: {error.smtp_code} {text}")
        if isinstance(error, ssl.SSLCertVerificationError):
            return f"{what}: its certificate cannot be trusted ({error.verify_message})"
        return self._clean(f"{what}: {error.strerror if isinstance(error, OSError) and error.strerror else error}")

    def _clean(self, text: str) -> str:
        server = self._server
        return harmless(text, (self._address, *((server.password or "", server.user or "") if server else ())))


def _connected(server: MailServer) -> smtplib.SMTP:
    """Return a link to the server on which mail may be handed in."""
    context = ssl.create_default_context(cafile=None if server.ca_file is None else str(server.ca_file))
    smtp: smtplib.SMTP
    if server.security == "implicit":
        smtp = smtplib.SMTP_SSL(server.host, server.port, timeout=server.patience_s, context=context)
    else:
        smtp = smtplib.SMTP(server.host, server.port, timeout=server.patience_s)
    try:
        if server.security == "starttls":
            smtp.starttls(context=context)
        smtp.ehlo_or_helo_if_needed()
        if server.user is not None and server.password is not None:
            smtp.login(server.user, server.password)
    except BaseException:
        smtp.close()
        raise
    return smtp


def mail_of(message: Message, sender: str, address: str) -> EmailMessage:
    """Return a notice as a mail of plain text."""
    notice = message.notice
    domain = sender.rpartition("@")[2]
    mail = EmailMessage(policy=SMTP)
    mail["From"] = Address(f"Leafweather, {message.farm_title}", addr_spec=sender)
    mail["To"] = Address(addr_spec=address)
    mail["Subject"] = notice.subject
    mail["Date"] = instant(notice.made_us)
    mail["Message-ID"] = f"<{notice.identity}.notice@{domain}>"
    if notice.group:  # what is of one group stands together in the reader's mail program
        mail["References"] = f"<{notice.farm}.{_plain(notice.group)}.group@{domain}>"
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: no answer by a machine
    if at_least(notice.priority, Priority.HIGH):
        mail["Importance"] = "high"  # RFC 4021
    mail.set_content(message.text, charset="utf-8", cte="quoted-printable")
    return mail


def _plain(name: str) -> str:
    return "".join(character if character.isascii() and character.isalnum() else "-" for character in name)[:60]
