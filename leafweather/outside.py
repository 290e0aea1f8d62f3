"""What leaves the house to reach people: channels, secrets and the heartbeat, made from the settings."""

from __future__ import annotations

import logging
import tomllib
from pathlib import Path
from urllib.parse import urlsplit

from farm.notices import Notices, on_this_machine
from farm.readings import MICROSECONDS_PER_SECOND
from leafweather.settings import Settings
from watch.channels import Channels
from watch.heartbeat import Pulse
from watch.mail import Mail, MailServer
from watch.other_channels import Others
from watch.webhook import Webhooks

_log = logging.getLogger(__name__)
SMTP_PASSWORD = "smtp_password"  # noqa: S105  # its name in the file of secrets


class BadOutside(ValueError):
    """Settings for what leaves the house that cannot be used; the message says which and why."""


def channels_of(notices: Notices, settings: Settings) -> Channels:
    """Return everybody's channels.

    Raises
    ------
    BadOutside
        If a setting cannot be used.
    """
    secrets = secrets_of(settings.secrets_file)
    _readable(settings.ca_file, "LEAFWEATHER_CA_FILE")
    return Channels(
        notices,
        [Mail(mail_server(settings, secrets)), Webhooks(secrets, settings.ca_file), Others(secrets)],
    )


def secrets_of(path: Path | None) -> dict[str, str]:
    """Return secrets by name from a TOML file of texts; none without a file."""
    if path is None:
        return {}
    _readable(path, "LEAFWEATHER_SECRETS_FILE")
    try:
        found = tomllib.loads(path.read_text(encoding="utf-8"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        where = str(error).rpartition("(")[2].rstrip(")") if isinstance(error, tomllib.TOMLDecodeError) else "encoding"
        raise BadOutside(f'LEAFWEATHER_SECRETS_FILE: {path} is no TOML ({where}): write name = "secret"') from None
    for name, value in found.items():
        if not isinstance(value, str) or not value:
            raise BadOutside(f'LEAFWEATHER_SECRETS_FILE: {path}: {name} is no text: write {name} = "secret"')
    if path.stat().st_mode & 0o077:
        _log.warning("%s holds secrets and can be read by others on this machine: chmod 600", path)
    return found


def _readable(path: Path | None, name: str) -> None:
    if path is None:
        return
    try:
        path.open("rb").close()
    except OSError as error:
        raise BadOutside(f"{name}: {path} cannot be read ({error.strerror})") from None


def mail_server(settings: Settings, secrets: dict[str, str]) -> MailServer | None:
    """Return where mail is handed in; None where no server is set."""
    if settings.smtp_host is None:
        return None
    if settings.smtp_from is None or "@" not in settings.smtp_from:
        raise BadOutside("LEAFWEATHER_SMTP_FROM: needed with LEAFWEATHER_SMTP_HOST, as in leafweather@farm.example")
    given = settings.smtp_password
    password = given.get_secret_value() if given is not None else secrets.get(SMTP_PASSWORD)
    if settings.smtp_user is not None and password is None:
        raise BadOutside(
            f"LEAFWEATHER_SMTP_USER needs a password: LEAFWEATHER_SMTP_PASSWORD, or {SMTP_PASSWORD} in "
            "LEAFWEATHER_SECRETS_FILE"
        )
    try:
        return MailServer(
            settings.smtp_host,
            settings.smtp_port,
            settings.smtp_security,
            settings.smtp_from,
            settings.smtp_user,
            password,
            settings.ca_file,
        )
    except ValueError as error:
        raise BadOutside(f"LEAFWEATHER_SMTP_SECURITY: {error}") from error


def pulse_of(settings: Settings) -> Pulse | None:
    """Return where signs of life go; None where nowhere."""
    if settings.heartbeat_url is None:
        return None
    url = settings.heartbeat_url.get_secret_value()
    parts = urlsplit(url)
    if parts.scheme != "https" and not (parts.scheme == "http" and on_this_machine(parts.hostname)):
        raise BadOutside("LEAFWEATHER_HEARTBEAT_URL: found another beginning; it must begin with https://")
    every_us = int(settings.heartbeat_minutes * 60 * MICROSECONDS_PER_SECOND)
    return Pulse(url, every_us, settings.heartbeat_method == "POST", settings.ca_file)
