"""Settings of the service, from the environment; the command line overrides them."""

from __future__ import annotations

import ipaddress
from pathlib import Path
from typing import Literal

from pydantic import Field, SecretStr
from pydantic_settings import BaseSettings, SettingsConfigDict


class Settings(BaseSettings):
    """Every setting, each from the environment variable ``LEAFWEATHER_`` and its name in capitals."""

    model_config = SettingsConfigDict(env_prefix="LEAFWEATHER_", extra="ignore")

    data: Path = Field(Path("leafweather-data"), description="folder for readings and journal")
    store: str | None = Field(None, description="URL of another store for the readings than the data folder")
    pace_s: float = Field(2.0, ge=0, le=300, description="seconds between rounds of work that does not press")
    keep_measured_days: int | None = Field(None, ge=1, description="days measured readings are kept")
    keep_derived_days: int | None = Field(None, ge=1, description="days derived readings are kept")
    keep_rollup_days: int | None = Field(None, ge=1, description="days the sums of minutes and hours are kept")
    host: str = Field("127.0.0.1", description="address the page and API listen on")
    port: int = Field(8800, ge=0, le=65535, description="port the page and API listen on")
    require_token: bool = Field(False, description="ask for a sign-in on this machine too")
    tls_cert: Path | None = Field(None, description="certificate of the page and API, with its chain; PEM")
    tls_key: Path | None = Field(None, description="its key; PEM")
    behind_proxy: bool = Field(False, description="a proxy in front of us does TLS")
    trusted_proxies: str | None = Field(
        None, description="addresses or networks, with commas between, whose X-Forwarded-For is believed"
    )
    requests_per_minute: int | None = Field(None, ge=0, description="requests one may make in a minute; 0 for no limit")
    mqtt_host: str = Field("127.0.0.1", description="the broker's address")
    mqtt_port: int = Field(1883, ge=1, le=65535, description="the broker's port")
    mqtt_tls: bool = Field(False, description="TLS on the link to the broker")
    mqtt_ca_file: Path | None = Field(
        None, description="whose certificates the broker may have, else the system's; PEM"
    )
    mqtt_cert: Path | None = Field(None, description="our certificate at the broker; PEM")
    mqtt_key: Path | None = Field(None, description="its key; PEM")
    mqtt_plain: bool = Field(False, description="nobody else can reach the link to another machine's broker")
    mqtt_username: str | None = Field(None, description="name at the broker")
    mqtt_password: SecretStr | None = Field(None, description="password at the broker")
    mqtt_client_id: str | None = Field(None, description="our name at the broker; the session hangs on it")
    mqtt_protocol: Literal["5", "3.1.1"] = Field("5", description="MQTT version the broker speaks")
    page_url: str | None = Field(None, pattern="^https?://", description="where people reach the page, for links")
    smtp_host: str | None = Field(None, description="mail server that takes our notices")
    smtp_port: int = Field(587, ge=1, le=65535, description="its port: 587 with starttls, 465 with implicit")
    smtp_security: Literal["starttls", "implicit", "none"] = Field(
        "starttls", description="TLS after STARTTLS, TLS from the first byte on, or none on this machine alone"
    )
    smtp_from: str | None = Field(None, description="address that notices are sent from")
    smtp_user: str | None = Field(None, description="name at the mail server")
    smtp_password: SecretStr | None = Field(None, description="password at the mail server")
    secrets_file: Path | None = Field(None, description="TOML file of secrets by name")
    ca_file: Path | None = Field(None, description="certificates to trust in place of the system's")
    heartbeat_url: SecretStr | None = Field(None, description="outside address that gets a sign of life")
    heartbeat_minutes: float = Field(5.0, gt=0, le=1440, description="minutes between signs of life")
    heartbeat_method: Literal["GET", "POST"] = Field("GET", description="how they are sent")
    log_level: Literal["debug", "info", "warning", "error"] = Field("info", description="how much is logged")

    @property
    def loopback_only(self) -> bool:
        """Whether only this machine can reach the page and API."""
        return on_this_machine(self.host)


def on_this_machine(host: str) -> bool:
    """Return whether a host's name or address is that of this machine alone."""
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"
