"""The heat that a coil takes out of air, split into cooling and drying."""

from __future__ import annotations

from typing import Literal, NamedTuple, get_args

import numpy as np
from numpy.typing import ArrayLike

from analytics.air_states import ENTHALPY_OF_VAPOUR_AT_ZERO, AirState, MoistAir
from analytics.psychrometrics import DRY_AIR_HEAT_CAPACITY, VAPOUR_HEAT_CAPACITY
from analytics.saturation import Floats, broadcast

KJ_PER_KWH = 3600.0

Convention = Literal["entering_humidity", "leaving_humidity"]


class CoilHeat(NamedTuple):
    """Heat that a coil takes from the air: all of it, and its two parts. Negative where it gives. [kW]."""

    total: Floats
    sensible: Floats
    latent: Floats

    @property
    def sensible_heat_ratio(self) -> Floats:
        """The sensible share of the total; NaN where the coil takes no heat. [1]."""
        return self.sensible / np.where(self.total > 0.0, self.total, np.nan)


def coil_heat(
    return_air: AirState,
    supply_air: AirState,
    air_flow_m3_h: ArrayLike,
    air_pressure: ArrayLike,
    convention: Convention = "entering_humidity",
) -> CoilHeat:
    """Return the heat that a coil takes out of the air that flows through it, sensible and latent.

    Parameters
    ----------
    return_air, supply_air : AirState
        Air before and behind the coil. [degC], [%]
    air_flow_m3_h : array_like
        Volume flow of the return air, 0 or more. [m3/h]
    air_pressure : array_like
        [kPa]
    convention : {"entering_humidity", "leaving_humidity"}
        At which humidity ratio the air is taken to be cooled. "entering_humidity": cooled first, then dried at
        the supply temperature. "leaving_humidity": dried first, at the return temperature, then cooled. The total is
        the same, the ratio differs by less than 0.01.

    Returns
    -------
    coil_heat : CoilHeat
        NaN where an input is NaN or out of range, or the flow is negative; 0 where no air flows. [kW]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape, or ``convention`` is unknown.

    Notes
    -----
    With m the flow of dry air and ASHRAE's enthalpy (Fundamentals 2017, ch. 1, eq. 30): total ``m (h1 - h2)``;
    sensible ``m (1.006 + 1.86 W) (T1 - T2)`` with W of the entering (or leaving) air; latent
    ``m (W1 - W2) (2501 + 1.86 T)`` with T of the leaving (or entering) air. The heat that the condensate carries
    away (4.2 kJ/kg for each degC it has: at 12 degC 2 % of the latent part) is counted as the coil's.

    See Also
    --------
    coil_heat_uncertainty : The give or take of the total.

    Examples
    --------
    >>> heat = coil_heat(AirState(24.0, 65.0), AirState(12.0, 95.0), 1545.0, 101.325)
    >>> float(heat.total.round(1)), float(heat.sensible_heat_ratio.round(3))
    (11.0, 0.559)
    """
    if convention not in get_args(Convention):
        raise ValueError(f"convention is {convention!r}: give one of {', '.join(get_args(Convention))}")
    return _heat(MoistAir(return_air, air_pressure), MoistAir(supply_air, air_pressure), air_flow_m3_h, convention)


def _heat(before: MoistAir, behind: MoistAir, air_flow_m3_h: ArrayLike, convention: Convention) -> CoilHeat:
    warm, cold, mass, entering, leaving = broadcast(
        before.temperature, behind.temperature, before.dry_mass(air_flow_m3_h), before.ratio, behind.ratio
    )
    moist, at = (entering, cold) if convention == "entering_humidity" else (leaving, warm)
    sensible = mass * (DRY_AIR_HEAT_CAPACITY + VAPOUR_HEAT_CAPACITY * moist) * (warm - cold) / KJ_PER_KWH
    latent = mass * (entering - leaving) * (ENTHALPY_OF_VAPOUR_AT_ZERO + VAPOUR_HEAT_CAPACITY * at) / KJ_PER_KWH
    return CoilHeat(sensible + latent, sensible, latent)


def coil_heat_uncertainty(
    return_air: AirState,
    supply_air: AirState,
    air_flow_m3_h: ArrayLike,
    air_pressure: ArrayLike,
    air_flow_accuracy: ArrayLike,
) -> Floats:
    """Return the give or take of a coil's total heat from the accuracies of its five inputs.

    Parameters
    ----------
    return_air, supply_air, air_flow_m3_h, air_pressure, air_flow_accuracy
        As for ``moisture_removal_rate_uncertainty``. [m3/h], [kPa], [m3/h]

    Returns
    -------
    uncertainty : numpy.ndarray
        Plus or minus, at the accuracies' confidence; NaN where an input is NaN or out of range. [kW]

    Raises
    ------
    ValueError
        If the inputs do not broadcast to one shape.

    Notes
    -----
    First-order propagation for independent errors, JCGM 100:2008 (GUM), 5.1.2, as for the moisture removed, with
    enthalpy in place of the humidity ratio.

    Examples
    --------
    >>> room, duct = AirState(24.0, 65.0, 0.3, 2.0), AirState(12.0, 95.0, 0.3, 3.0)
    >>> float(coil_heat_uncertainty(room, duct, 1545.0, 101.325, 154.5).round(1))
    1.4
    """
    before, behind = MoistAir(return_air, air_pressure), MoistAir(supply_air, air_pressure)
    mass, total = before.dry_mass(air_flow_m3_h), _heat(before, behind, air_flow_m3_h, "entering_humidity").total
    of_return, of_supply = before.enthalpy_uncertainty, behind.enthalpy_uncertainty
    flow, of_flow = broadcast(air_flow_m3_h, air_flow_accuracy)
    mass, total, of_return, of_supply, flow, of_flow = broadcast(mass, total, of_return, of_supply, flow, of_flow)
    by_air = mass * np.hypot(of_return, of_supply) / KJ_PER_KWH
    return np.hypot(by_air, total * of_flow / np.where(flow > 0.0, flow, np.inf))
