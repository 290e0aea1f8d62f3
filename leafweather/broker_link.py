"""The link to the broker as the settings say it: with TLS, or without on this machine and where that is said."""

from __future__ import annotations

import ssl

from ingest.subscriber import Broker
from leafweather.settings import Settings, on_this_machine
from leafweather.starting import CannotStart


def broker_of(settings: Settings, farm: str) -> Broker:
    """Return where a farm's messages come from.

    Raises
    ------
    CannotStart
        If the link would be open to others without anybody saying so, or its certificates cannot be used.
    """
    password = settings.mqtt_password
    return Broker(
        host=settings.mqtt_host,
        port=settings.mqtt_port,
        client_id=settings.mqtt_client_id or f"leafweather-{farm}",
        username=settings.mqtt_username,
        password=password.get_secret_value() if password else None,
        protocol_5=settings.mqtt_protocol == "5",
        tls=link_tls(settings),
    )


def link_tls(settings: Settings) -> ssl.SSLContext | None:
    """Return by what the broker proves itself, and we to it; None for a link without TLS.

    Raises
    ------
    CannotStart
        As `broker_of`.
    """
    files = {
        "LEAFWEATHER_MQTT_CA_FILE": settings.mqtt_ca_file,
        "LEAFWEATHER_MQTT_CERT": settings.mqtt_cert,
        "LEAFWEATHER_MQTT_KEY": settings.mqtt_key,
    }
    if not settings.mqtt_tls:
        if given := [name for name, file in files.items() if file is not None]:
            raise CannotStart(f"{given[0]} is given without LEAFWEATHER_MQTT_TLS=true: set it, or leave the file out")
        if not on_this_machine(settings.mqtt_host) and not settings.mqtt_plain:
            raise CannotStart(
                f"the broker {settings.mqtt_host} is not on this machine, and the link to it would not be encrypted: "
                "set LEAFWEATHER_MQTT_TLS=true, or LEAFWEATHER_MQTT_PLAIN=true where nobody else can reach the link"
            )
        return None
    if (settings.mqtt_cert is None) != (settings.mqtt_key is None):
        raise CannotStart("LEAFWEATHER_MQTT_CERT and LEAFWEATHER_MQTT_KEY go together: give both, or neither")
    name = "LEAFWEATHER_MQTT_CA_FILE"
    try:
        context = ssl.create_default_context(cafile=settings.mqtt_ca_file)
        if settings.mqtt_cert is not None:
            name = "LEAFWEATHER_MQTT_CERT and LEAFWEATHER_MQTT_KEY"
            context.load_cert_chain(settings.mqtt_cert, settings.mqtt_key, _no_password)
    except (OSError, ValueError) as error:  # ssl.SSLError is an OSError
        raise CannotStart(f"{name}: what is there cannot be used ({error}): give PEM files that we may read") from error
    return context


def _no_password() -> str:
    raise ValueError("the key asks for a password, which nobody can type here")
