"""Whether the broker lets us in, and whether anything comes from it: asked beside a service, under another name."""

from __future__ import annotations

import ssl
import threading
from collections.abc import Sequence
from typing import Any

import paho.mqtt.client as mqtt
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion

from leafweather.broker_link import link_tls
from leafweather.checkup import Check, Level
from leafweather.settings import Settings
from leafweather.starting import CannotStart

ANSWER_S = 5.0  # until the broker has answered; our choice, no source


def broker(settings: Settings, topics: Sequence[str], listen_s: float) -> Check:
    """Connect, subscribe and listen for a while; a session of its own, so that the service loses no message by it."""
    where = f"{settings.mqtt_host} port {settings.mqtt_port}"
    answered, heard = threading.Event(), threading.Event()
    told: dict[str, Any] = {}
    version = MQTTProtocolVersion.MQTTv5 if settings.mqtt_protocol == "5" else MQTTProtocolVersion.MQTTv311
    client = mqtt.Client(CallbackAPIVersion.VERSION2, client_id="", protocol=version)

    def connected(*args: Any) -> None:  # noqa: ANN401  # as the library calls it
        told["connected"] = args[3]
        if args[3].is_failure:
            answered.set()
        else:
            client.subscribe([(topic, 0) for topic in topics])

    def subscribed(*args: Any) -> None:  # noqa: ANN401
        told["subscribed"] = args[3]
        answered.set()

    def received(*_args: Any) -> None:  # noqa: ANN401
        heard.set()

    client.on_connect, client.on_subscribe, client.on_message = connected, subscribed, received
    if settings.mqtt_username is not None:
        password = settings.mqtt_password
        client.username_pw_set(settings.mqtt_username, password.get_secret_value() if password else None)
    try:
        if tls := link_tls(settings):
            client.tls_set_context(tls)
        client.connect(settings.mqtt_host, settings.mqtt_port)
    except CannotStart as error:
        return Check("broker", Level.WRONG, str(error))
    except ssl.SSLCertVerificationError as error:
        return Check("broker", Level.WRONG, f"{where} proves itself by nothing that we trust ({error.verify_message}): "
                     "mend LEAFWEATHER_MQTT_CA_FILE, or the name in LEAFWEATHER_MQTT_HOST")  # fmt: skip
    except OSError as error:
        return Check("broker", Level.WRONG, f"{where} does not answer ({error.strerror or error}): start it, or mend "
                     "LEAFWEATHER_MQTT_HOST and LEAFWEATHER_MQTT_PORT")  # fmt: skip
    client.loop_start()
    try:
        if not answered.wait(ANSWER_S):
            return Check("broker", Level.WRONG, f"{where} took the connection and says nothing: is it a broker that "
                         f"speaks MQTT {settings.mqtt_protocol}?")  # fmt: skip
        if told["connected"].is_failure:
            return Check("broker", Level.WRONG, f"{where} does not let us in ({told['connected']}): mend "
                         "LEAFWEATHER_MQTT_USERNAME and LEAFWEATHER_MQTT_PASSWORD")  # fmt: skip
        refused = [topic for topic, code in zip(topics, told["subscribed"], strict=False) if code.is_failure]
        if refused:
            return Check("broker", Level.WRONG, f"{where} does not let us read {', '.join(refused)}: mend its rules of "
                         "access")  # fmt: skip
        if not heard.wait(listen_s):
            return Check("broker", Level.MIND, f"{where} lets us in; nothing came on {', '.join(topics)} within "
                         f"{listen_s:g} s")  # fmt: skip
    finally:
        client.disconnect()
        client.loop_stop()
    return Check("broker", Level.GOOD, f"{where} lets us in, and messages come")
