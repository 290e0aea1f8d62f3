"""Water on its way through the air: what evaporates, what a coil takes out, what leaks away, what stays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.air_states import AirState, MoistAir
from analytics.amounts import Amount, sum_of_amounts
from analytics.saturation import Floats, broadcast

# FAO Irrigation and Drainage Paper 56 (1998), annex 3, eq. 3-1 (from memory): MJ/kg at 0 degC, and per kelvin.
LATENT_HEAT_AT_ZERO, LATENT_HEAT_PER_KELVIN = 2.501, -0.002361
LATENT_HEAT_RANGE = (0.0, 40.0)  # degC; within 0.0006 MJ/kg of IAPWS-95 there
MJ_PER_KWH = 3.6


def latent_heat_of_vaporisation(temperature: ArrayLike) -> Floats:
    """Return the heat that evaporating a kilogram of water takes.

    Parameters
    ----------
    temperature : array_like
        Temperature of the water, 0..40. [degC]

    Returns
    -------
    latent_heat : numpy.ndarray
        NaN where the temperature is NaN or outside 0..40 degC. [MJ/kg]

    Notes
    -----
    ``2.501 - 0.002361 T``. Within 0.0004 MJ/kg of the IAPWS-95 equation of state from 0 to 30 degC, 0.0006 to 40.

    References
    ----------
    .. [1] R. G. Allen et al., FAO Irrigation and Drainage Paper 56, 1998, annex 3, eq. 3-1 (from memory).

    Examples
    --------
    >>> float(latent_heat_of_vaporisation(22.0).round(3))
    2.449
    """
    water = np.asarray(temperature, dtype=float)
    inside = (water >= LATENT_HEAT_RANGE[0]) & (water <= LATENT_HEAT_RANGE[1])
    return LATENT_HEAT_AT_ZERO + LATENT_HEAT_PER_KELVIN * np.where(inside, water, np.nan)


def latent_energy(water_kg: ArrayLike, temperature: ArrayLike) -> Floats:
    """Return the energy that evaporating water takes from the air, and condensing it gives to a coil.

    Parameters
    ----------
    water_kg : array_like
        Water; where it is a rate per hour, the energy is one too: kW. [kg]
    temperature : array_like
        Temperature of the water, 0..40. [degC]

    Returns
    -------
    energy : numpy.ndarray
        NaN where an input is NaN or the temperature out of range. [kWh]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Examples
    --------
    >>> float(latent_energy(1.0, 22.0).round(2))
    0.68
    """
    water, at = broadcast(water_kg, temperature)
    return water * latent_heat_of_vaporisation(at) / MJ_PER_KWH


def moisture_removal_rate(
    return_air: AirState, supply_air: AirState, air_flow_m3_h: ArrayLike, air_pressure: ArrayLike
) -> Floats:
    """Return the water that a coil takes out of the air that flows through it.

    Parameters
    ----------
    return_air, supply_air : AirState
        Air before and behind the coil. [degC], [%]
    air_flow_m3_h : array_like
        Volume flow of the return air, 0 or more. [m3/h]
    air_pressure : array_like
        [kPa]

    Returns
    -------
    moisture_removal_rate : numpy.ndarray
        Negative where the air leaves moister than it came: a stopped coil gives its water back. 0 where no air
        flows. NaN where an input is NaN or out of range, or the flow is negative. [kg/h]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    ``V / v(return) (W(return) - W(supply))``: the water balance across the coil. Real air holds about 0.45 % more
    water than the ideal gas of ``humidity_ratio``.

    See Also
    --------
    moisture_removal_rate_uncertainty : Its give or take, seldom small.

    Examples
    --------
    >>> float(moisture_removal_rate(AirState(24.0, 65.0), AirState(10.0, 100.0), 500.0, 101.325).round(3))
    2.629
    """
    return _removal(MoistAir(return_air, air_pressure), MoistAir(supply_air, air_pressure), air_flow_m3_h)


def _removal(before: MoistAir, behind: MoistAir, air_flow_m3_h: ArrayLike) -> Floats:
    mass, entering, leaving = broadcast(before.dry_mass(air_flow_m3_h), before.ratio, behind.ratio)
    return mass * (entering - leaving)


def moisture_removal_rate_uncertainty(
    return_air: AirState,
    supply_air: AirState,
    air_flow_m3_h: ArrayLike,
    air_pressure: ArrayLike,
    air_flow_accuracy: ArrayLike,
) -> Floats:
    """Return the give or take of a moisture removal rate from the accuracies of its five inputs.

    Parameters
    ----------
    return_air, supply_air : AirState
        With accuracies, all at the same confidence.
    air_flow_m3_h, air_pressure : array_like
        As for ``moisture_removal_rate``. [m3/h], [kPa]
    air_flow_accuracy : array_like
        Plus or minus of the flow, at that confidence. [m3/h]

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at that same confidence; NaN where an input is NaN or out of range. [kg/h]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    First-order propagation for independent errors, JCGM 100:2008 (GUM), 5.1.2:
    ``u2 = (m uW1)2 + (m uW2)2 + (m (W1 - W2) uV/V)2`` with m the flow of dry air. The error that the return
    air's sensors make in m itself (0.1 % for 0.3 K) is left out. Accuracies of sensors are mostly offsets: over a
    day they do not average out, so sum the uncertainties up as they are.

    Examples
    --------
    >>> room, duct = AirState(24.0, 65.0, 0.3, 2.0), AirState(10.0, 97.0, 0.3, 3.0)
    >>> float(moisture_removal_rate_uncertainty(room, duct, 500.0, 101.325, 50.0).round(2))
    0.41
    """
    before, behind = MoistAir(return_air, air_pressure), MoistAir(supply_air, air_pressure)
    mass, rate = before.dry_mass(air_flow_m3_h), _removal(before, behind, air_flow_m3_h)
    of_return, of_supply = before.ratio_uncertainty, behind.ratio_uncertainty
    flow, of_flow = broadcast(air_flow_m3_h, air_flow_accuracy)
    mass, rate, of_return, of_supply, flow, of_flow = broadcast(mass, rate, of_return, of_supply, flow, of_flow)
    by_flow = rate * of_flow / np.where(flow > 0.0, flow, np.inf)
    return np.sqrt((mass * of_return) ** 2 + (mass * of_supply) ** 2 + by_flow**2)


def ventilation_moisture_loss(
    inside_air: AirState, outside_air: AirState, air_flow_m3_h: ArrayLike, air_pressure: ArrayLike
) -> Floats:
    """Return the water that a room loses as its air is exchanged for outdoor air.

    Parameters
    ----------
    inside_air, outside_air : AirState
        Room air and outdoor air. Below 0.01 degC relative humidity counts over ice. [degC], [%]
    air_flow_m3_h : array_like
        Volume of room air that leaves, 0 or more: air changes per hour times the room's volume. [m3/h]
    air_pressure : array_like
        [kPa]

    Returns
    -------
    moisture_loss : numpy.ndarray
        Negative where outdoor air brings water in. NaN as for ``moisture_removal_rate``. [kg/h]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    The same balance as ``moisture_removal_rate``. Counted over supercooled water, -20 degC and 80 % holds 0.1 g/kg
    more than over ice: about 1 % of the loss of a warm room.

    Examples
    --------
    >>> float(ventilation_moisture_loss(AirState(22.0, 65.0), AirState(-20.0, 80.0), 6.0, 101.325).round(4))
    0.0721
    """
    return moisture_removal_rate(inside_air, outside_air, air_flow_m3_h, air_pressure)


def moisture_stored(
    air_volume_m3: ArrayLike, start_air: AirState, end_air: AirState, air_pressure: ArrayLike
) -> Floats:
    """Return how much more water a room's air holds at the end than at the start.

    Parameters
    ----------
    air_volume_m3 : array_like
        Volume of air in the room. [m3]
    start_air, end_air : AirState
        Room air at both ends. [degC], [%]
    air_pressure : array_like
        [kPa]

    Returns
    -------
    moisture_stored : numpy.ndarray
        Negative where the air has become drier. NaN as for ``moisture_removal_rate``. [kg]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    The mass of dry air at the start times the rise of the humidity ratio. Water that wet surfaces and the crop
    hold is not seen.

    Examples
    --------
    >>> float(moisture_stored(70.0, AirState(20.0, 60.0), AirState(22.0, 60.0), 101.325).round(2))
    0.1
    """
    return -moisture_removal_rate(start_air, end_air, air_volume_m3, air_pressure)


def inferred_transpiration(removed: Amount, vented: Amount, stored: Amount) -> Amount:
    """Return the water that plants and wet surfaces gave to a room's air, from where it went.

    Parameters
    ----------
    removed : Amount
        Taken out by the coil: condensate, or ``moisture_removal_rate`` over time. [kg]
    vented : Amount
        ``ventilation_moisture_loss`` over the same time. [kg]
    stored : Amount
        ``moisture_stored`` between its ends. [kg]

    Returns
    -------
    transpiration : Amount
        Their sum, with its give or take; its coverage is the least of the three. NaN where one is unknown. [kg]

    Notes
    -----
    The vapour balance of the room's air, ``m dW/dt = E - ventilation - coil``, summed up over time. Whatever
    evaporates counts: leaves, but also open troughs and wet floors; what condenses on walls is missing from it.

    Examples
    --------
    >>> inferred_transpiration(Amount(20.0, 1.2), Amount(1.75, 0.5), Amount(-0.25, 0.0))
    Amount(value=21.5, give_or_take=1.3, coverage=1.0)
    """
    return sum_of_amounts(removed, vented, stored)
