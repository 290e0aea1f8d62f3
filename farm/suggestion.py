"""A first draft of a [[series]] for a wire name that nobody has described yet."""

from __future__ import annotations

import json
import re
from difflib import SequenceMatcher, get_close_matches

from farm.description import Farm
from farm.quantities import QUANTITIES, Quantity
from farm.units import conversion_to

LEAST_LIKENESS = 0.75  # of a word to a quantity's name; our choice, no source
CHOOSE = "CHOOSE"  # no quantity has this name: `farm check` then lists those there are

# What devices of the trade commonly call it (common practice, no source) -> quantity.
_COMMON = {
    "temp": "air_temperature", "temperature": "air_temperature", "rh": "relative_humidity", "hum": "relative_humidity",
    "humidity": "relative_humidity", "co2": "co2_mole_fraction", "pressure": "air_pressure", "par": "ppfd",
    "ppfd": "ppfd", "lux": "illuminance", "ec": "solution_ec", "ph": "solution_ph", "do": "dissolved_oxygen",
    "level": "solution_level", "flow": "flow_rate", "power": "electrical_power", "energy": "electrical_energy",
    "kwh": "electrical_energy", "lights": "lights_on", "light": "lights_on", "pump": "pump_on", "fan": "fan_on",
    "door": "door_open", "leaf": "leaf_temperature",
}  # fmt: skip


def suggested_series(farm: Farm, name: str, topic: str, unit: str | None) -> str:
    """Return a [[series]] block for farm.toml; what could not be told is marked in a comment.

    ``name`` is the wire name, empty for a bare number, which only its ``topic`` names.
    """
    text = name or topic
    quantity = _quantity(text, unit)
    zone = _zone(farm, text)
    lines = ["[[series]]", f'zone = "{zone}"' + ("" if zone in text.split("/") else _one_of(list(farm.zones)))]
    key = f"{zone}/{quantity.name}" if quantity is not None else ""
    if quantity is None:
        fitting = [one.name for one in _candidates(unit)]
        lines.append(f'quantity = "{CHOOSE}"' + _one_of(fitting))
    else:
        lines.append(f'quantity = "{quantity.name}"')
        if key in {one.key for one in farm.series}:
            sensor = re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:64].strip("-") or "second"
            lines.append(f'sensor = "{sensor}"')
            key += f"/{sensor}"
    if name == "":
        lines.append(f"topic = {json.dumps(topic)}")
    elif name != key:
        lines.append(f"wire = {json.dumps(name)}")
    if unit is None and quantity is not None:
        lines.append(f'unit = "{quantity.unit}"  # if that is what it sends')
    elif unit is not None and quantity is not None and conversion_to(quantity.unit, unit) is None:
        lines.append(f"# it sends {unit!r}, which is no unit of {quantity.label}")
    return "\n".join(lines) + "\n"


def _candidates(unit: str | None) -> list[Quantity]:
    """Return the measured quantities that a unit fits; all of them where there is no unit."""
    measured = [one for one in QUANTITIES.values() if not one.derived]
    return [one for one in measured if unit is None or conversion_to(one.unit, unit) is not None]


def _quantity(text: str, unit: str | None) -> Quantity | None:
    fitting = _candidates(unit) or _candidates(None)
    words = re.findall(r"[a-z]+[0-9]*", text.lower().replace("_", " ")) + text.lower().split("/")
    best: tuple[float, Quantity] | None = None
    for one in fitting:
        for word in words:
            likeness = max(_likeness(word, one.name), 0.9 * _likeness_to_common(word, one.name))
            if likeness >= LEAST_LIKENESS and (best is None or likeness > best[0]):
                best = (likeness, one)
    if best is not None:
        return best[1]
    return fitting[0] if unit is not None and len(fitting) == 1 else None


def _likeness(word: str, name: str) -> float:
    return SequenceMatcher(None, word, name).ratio()


def _likeness_to_common(word: str, quantity: str) -> float:
    """Return how much a word is like what a quantity is commonly called; short words must be the same."""
    common = [name for name, meant in _COMMON.items() if meant == quantity]
    return max((float(word == name) if len(name) < 5 else _likeness(word, name) for name in common), default=0.0)


def _zone(farm: Farm, text: str) -> str:
    parts = text.split("/")
    for part in parts:
        if part in farm.zones:
            return part
    close = [match for part in parts for match in get_close_matches(part, list(farm.zones), n=1)]
    return close[0] if close else next(iter(farm.zones))


def _one_of(names: list[str]) -> str:
    return f"  # one of {', '.join(names)}"
