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
KPA_PER_INCH_OF_MERCURY = 3.386389  # conventional, 0 degC; NIST SP 811, appendix B.8
METRES_PER_FOOT = 0.3048  # exact
METRES_PER_MILE = 1609.344  # exact
WATTS_PER_BTU_PER_HOUR = 1055.05585262 / 3600  # International Table unit, exact; NIST SP 811, appendix B.8


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
    "%": {"%RH": SAME, "%EL": SAME, "/": Conversion(100.0), "/100": SAME, "/1000": Conversion(0.1)},
    "kPa": {
        "Pa": Conversion(1e-3),
        "hPa": Conversion(0.1),
        "mbar": Conversion(0.1),
        "bar": Conversion(100.0),
        "MPa": Conversion(1000.0),
        "inHg": Conversion(KPA_PER_INCH_OF_MERCURY),
        "[in_i'Hg]": Conversion(KPA_PER_INCH_OF_MERCURY),
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
    "m/s": {
        "km/h": Conversion(1 / 3.6),
        "mph": Conversion(METRES_PER_MILE / 3600),
        "ft/min": Conversion(METRES_PER_FOOT / 60),
        "fpm": Conversion(METRES_PER_FOOT / 60),
    },
    "mS/cm": {
        "S/m": Conversion(10.0),
        "dS/m": SAME,
        "uS/cm": Conversion(1e-3),
        "µS/cm": Conversion(1e-3),
        "uS.cm-1": Conversion(1e-3),
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
    "mL": {
        "ml": SAME,
        "L": Conversion(1000.0),
        "l": Conversion(1000.0),
        "gal": Conversion(1000 * LITRES_PER_US_GALLON),
    },
    "L/min": {
        "l/min": SAME,
        "l/s": Conversion(60.0),
        "L/h": Conversion(1 / 60),
        "m3/s": Conversion(60_000.0),
        "m3/h": Conversion(1000 / 60),
        "gpm": Conversion(LITRES_PER_US_GALLON),
        "gph": Conversion(LITRES_PER_US_GALLON / 60),
        "[gal_us]/min": Conversion(LITRES_PER_US_GALLON),
    },
    "W": {
        "kW": Conversion(1000.0),
        "Btu/h": Conversion(WATTS_PER_BTU_PER_HOUR),
        "[Btu_IT]/h": Conversion(WATTS_PER_BTU_PER_HOUR),
    },
    "kWh": {
        "Wh": Conversion(1e-3),
        "MWh": Conversion(1000.0),
        "MJ": Conversion(1 / 3.6),
        "kW.h": SAME,
        "J": Conversion(1 / 3.6e6),
        "W.s": Conversion(1 / 3.6e6),
        "kW.s": Conversion(1 / 3600),
    },
    "1": {"/": SAME, "": SAME, ON_OFF: SAME},
    "h": {"min": Conversion(1 / 60)},
    "g/m3": {},
    "1/h": {},
    "kg/kg": {},
    "kg/h": {"kg/s": Conversion(3600.0)},
    "mol m-2 d-1": {"mol.m-2.d-1": SAME},
}

LIGHT_UNIT, PPFD_UNIT = "lx", "umol m-2 s-1"
COUNT_UNITS = ("1", "count", "pulse", "{pulse}", "{count}")  # of a meter's pulses; UCUM's are in braces


def ppfd_from_illuminance(lux_per_ppfd: float) -> dict[str, Conversion]:
    """Return how illuminance becomes PPFD under light of one spectrum, by spelling on the wire.

    ``lux_per_ppfd`` is lux per umol m-2 s-1. It hangs on the spectrum alone: about 54 for sunlight, 74 for
    cool white fluorescent and 82 for high-pressure sodium lamps (Thimijan and Heins 1983, HortScience 18:818,
    from secondary copies; other sources differ by up to 8 %). Red and blue light is nearly invisible to a
    lux meter: no factor holds for it.
    """
    spellings = {LIGHT_UNIT: SAME, **WIRE_UNITS[LIGHT_UNIT]}
    return {spelling: Conversion(to_lux.scale / lux_per_ppfd) for spelling, to_lux in spellings.items()}


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
