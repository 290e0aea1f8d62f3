"""The controller: what it switches on and off, once a minute, from the room's air.

It acts on the true state of the air, not on the farm's described sensors: the controller has its own.
"""

from __future__ import annotations

from typing import NamedTuple

from simulator.compiled import Floats, compiled

# What is switched, 0 or 1; minutes since the compressor and the dehumidifier were last switched; the share of its
# capacity at which the compressor runs; and the set point of the heater's own thermostat [degC].
SWITCHES = (
    "cooling", "drying", "heater_set", "compressor", "compressor_min", "defrosting", "dehumidifier", "dehumidifier_min",
    "share", "valve_open", "purging", "lit", "mains",
)  # fmt: skip
(
    COOLING, DRYING, HEATER_SET, COMPRESSOR, COMPRESSOR_MIN, DEFROSTING, DEHUMIDIFIER, DEHUMIDIFIER_MIN, SHARE,
    VALVE_OPEN, PURGING, LIT, MAINS,
) = range(len(SWITCHES))  # fmt: skip

HEATER_OFF_C = -100.0
DEFROSTED_C = 4.0  # coil temperature at which a defrost ends; our choice
VERY_HUMID = 2.5  # times ``dry_above``, from which the unit dries with all it has; our choice
GENTLE_K = 0.8  # from where it is too cold to dry: so far above it dries with all that it is to; our choice
LEAST_SHARE = 0.3  # of its capacity that a compressor can run at; our choice
COLDER_OUTDOORS_K = 3.0  # for purging against heat; our choice


class Limits(NamedTuple):
    """Set points, as ``building.Settings`` names them."""

    temperature_lit_c: float
    temperature_dark_c: float
    cool_above_k: float
    heat_below_k: float
    humidity_lit: float
    humidity_dark: float
    dry_above: float
    dry_below: float
    too_cold_to_dry_k: float
    dry_share: float
    least_run_min: float
    least_rest_min: float
    co2_open_below_ppm: float
    co2_close_above_ppm: float
    purge_above_ppm: float
    purge_until_ppm: float
    purge_hot_k: float
    frost_kg: float  # on the coil, beyond what hangs on it, at which it is defrosted
    has_dehumidifier: float
    has_valve: float


@compiled
def decide(
    switch: Floats, limits: Limits, temperature: float, humidity: float, co2: float, outdoors: float,
    coil_temperature: float, frost: float, lit: float, mains: float,
) -> None:  # fmt: skip
    """Decide for the next minute.

    Parameters
    ----------
    switch : array
        By SWITCHES, changed in place.
    limits : Limits
        What the controller is set to.
    temperature, humidity, co2 : float
        Of the room's air. [degC] [%] [umol mol-1]
    outdoors, coil_temperature : float
        [degC]
    frost : float
        On the coil. [kg]
    lit : float
        Whether the rows are lit by the plan.
    mains : float
        Whether there is power; without it everything is off.
    """
    switch[LIT] = lit
    switch[MAINS] = mains
    switch[COMPRESSOR_MIN] += 1.0
    switch[DEHUMIDIFIER_MIN] += 1.0
    if mains < 0.5:
        switch[HEATER_SET] = HEATER_OFF_C
        for each in (COOLING, DRYING, DEFROSTING, VALVE_OPEN, PURGING):
            switch[each] = 0.0
        for each in (COMPRESSOR, DEHUMIDIFIER):
            if switch[each] > 0.5:
                switch[each] = 0.0
                switch[each + 1] = 0.0
        return
    wanted = limits.temperature_lit_c if lit > 0.5 else limits.temperature_dark_c
    humid = limits.humidity_lit if lit > 0.5 else limits.humidity_dark

    cool_from = wanted + (0.0 if switch[COOLING] > 0.5 else limits.cool_above_k)
    dry_from = humid + (-limits.dry_below if switch[DRYING] > 0.5 else limits.dry_above)
    switch[COOLING] = 1.0 if temperature > cool_from else 0.0
    warm_enough = temperature > wanted - limits.too_cold_to_dry_k
    switch[DRYING] = 1.0 if humidity > dry_from and warm_enough else 0.0
    if switch[COOLING] > 0.5:
        switch[SHARE] = 1.0
    else:
        dries = 1.0 if humidity > humid + limits.dry_above * VERY_HUMID else limits.dry_share
        gentle = (temperature - (wanted - limits.too_cold_to_dry_k)) / GENTLE_K
        switch[SHARE] = max(LEAST_SHARE, dries * min(1.0, gentle))
    switch[HEATER_SET] = wanted - limits.heat_below_k

    if switch[DEFROSTING] > 0.5:
        switch[DEFROSTING] = 1.0 if coil_temperature < DEFROSTED_C else 0.0
    elif frost > limits.frost_kg:
        switch[DEFROSTING] = 1.0
    drier = limits.has_dehumidifier > 0.5
    run = switch[COOLING] > 0.5 or (switch[DRYING] > 0.5 and not drier)
    run = run and switch[DEFROSTING] < 0.5
    _switch(switch, COMPRESSOR, run, limits.least_run_min, limits.least_rest_min)
    if drier:
        _switch(switch, DEHUMIDIFIER, switch[DRYING] > 0.5, limits.least_run_min, limits.least_rest_min)

    open_below = limits.co2_close_above_ppm if switch[VALVE_OPEN] > 0.5 else limits.co2_open_below_ppm
    hot = temperature > wanted + limits.purge_hot_k and outdoors < temperature - COLDER_OUTDOORS_K
    stale = co2 > (limits.purge_until_ppm if switch[PURGING] > 0.5 else limits.purge_above_ppm)
    switch[PURGING] = 1.0 if hot or stale else 0.0
    wants_gas = lit > 0.5 and co2 < open_below and limits.has_valve > 0.5 and switch[PURGING] < 0.5
    switch[VALVE_OPEN] = 1.0 if wants_gas else 0.0


@compiled
def _switch(switch: Floats, which: int, run: bool, least_run: float, least_rest: float) -> None:
    """Switch a compressor, if it has run or rested for long enough; its minutes stand behind it."""
    running = switch[which] > 0.5
    if run != running and switch[which + 1] >= (least_run if running else least_rest):
        switch[which] = 1.0 if run else 0.0
        switch[which + 1] = 0.0
