"""Units on the wire and how each becomes the one unit its quantity has inside.

The trade's form of a unit is its name here. Accepted spellings are the SenML registry's (RFC 8428,
RFC 8798), UCUM's, and what instruments of the trade commonly print. A unit that ends in ``.s`` is that of
a SenML sum: the value's unit times seconds.
"""

from __future__ import annotations

from typing import NamedTuple

FAHRENHEIT_PER_KELVIN = 1.8
LITRES_PER_US_GALLON = 3.785411784  # exact, by definition of the inch
KPA_PER_PSI = 6.894757293168361  # from the exact pound, inch and standard gravity


class Conversion(NamedTuple):
    """``inside = wire * scale + offset``."""

    scale: float
    offset: float = 0.0


SAME = Conversion(1.0)

ON_OFF = "on/off"  # what a true or false is taken to have been sent in: no unit of a number

# Unit inside -> spelling on the wire -> conversion. The unit's own name is always accepted.
WIRE_UNITS: dict[str, dict[str, Conversion]] = {
    "degC": {
        "Cel": SAME,
        "C": SAME,
        "K": Conversion(1.0, -273.15),
        "degF": Conversion(1 / FAHRENHEIT_PER_KELVIN, -32 / FAHRENHEIT_PER_KELVIN),
        "[degF]": Conversion(1 / FAHRENHEIT_PER_KELVIN, -32 / FAHRENHEIT_PER_KELVIN),
    },
    "K": {},
    "%": {"%RH": SAME, "%EL": SAME, "/": Conversion(100.0), "/100": SAME},
    "kPa": {
        "Pa": Conversion(1e-3),
        "hPa": Conversion(0.1),
        "mbar": Conversion(0.1),
        "bar": Conversion(100.0),
        "psi": Conversion(KPA_PER_PSI),
        "[psi]": Conversion(KPA_PER_PSI),
    },
    "umol mol-1": {
        "ppm": SAME,
        "[ppm]": SAME,
        "umol/mol": SAME,
        "/": Conversion(1e6),
        "/100": Conversion(1e4),
        "%": Conversion(1e4),
    },
    "umol m-2 s-1": {"umol/m2/s": SAME, "umol.m-2.s-1": SAME, "umol/(m2.s)": SAME},
    "lx": {"lux": SAME, "klx": Conversion(1000.0)},
    "m/s": {},
    "mS/cm": {
        "S/m": Conversion(10.0),
        "dS/m": SAME,
        "uS/cm": Conversion(1e-3),
        "mS.cm-1": SAME,
    },
    "pH": {"[pH]": SAME},
    "mg/L": {"mg/l": SAME, "kg/m3": Conversion(1000.0)},
    "L": {
        "l": SAME,
        "m3": Conversion(1000.0),
        "mL": Conversion(1e-3),
        "gal": Conversion(LITRES_PER_US_GALLON),
        "[gal_us]": Conversion(LITRES_PER_US_GALLON),
        "l/s.s": SAME,
        "l/min.s": Conversion(1 / 60),
        "L/min.s": Conversion(1 / 60),
        "m3/s.s": Conversion(1000.0),
    },
    "mL": {"ml": SAME, "L": Conversion(1000.0), "l": Conversion(1000.0)},
    "L/min": {
        "l/min": SAME,
        "l/s": Conversion(60.0),
        "L/h": Conversion(1 / 60),
        "m3/s": Conversion(60_000.0),
        "gpm": Conversion(LITRES_PER_US_GALLON),
        "[gal_us]/min": Conversion(LITRES_PER_US_GALLON),
    },
    "W": {"kW": Conversion(1000.0)},
    "kWh": {
        "Wh": Conversion(1e-3),
        "kW.h": SAME,
        "J": Conversion(1 / 3.6e6),
        "W.s": Conversion(1 / 3.6e6),
        "kW.s": Conversion(1 / 3600),
    },
    "1": {"/": SAME, "": SAME, ON_OFF: SAME},
    "g/m3": {},
    "kg/kg": {},
    "mol m-2 d-1": {"mol.m-2.d-1": SAME},
}


def conversion_to(unit: str, wire_unit: str) -> Conversion | None:
    """Return how a value in ``wire_unit`` becomes one in ``unit``; None when it cannot.

    Examples
    --------
    >>> conversion_to("mS/cm", "uS/cm")
    Conversion(scale=0.001, offset=0.0)
    """
    if wire_unit == unit:
        return SAME
    return WIRE_UNITS[unit].get(wire_unit)


def accepted_units(unit: str) -> list[str]:
    """Return every spelling that is accepted on the wire for a quantity kept in ``unit``."""
    return [unit, *(spelling for spelling in WIRE_UNITS[unit] if spelling)]
