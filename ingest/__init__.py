"""From an MQTT message to a durable reading: decode, name, check, commit, acknowledge."""
