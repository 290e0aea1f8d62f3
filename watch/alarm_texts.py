"""What an alarm says: the detail that notices, page and API show."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from farm.alarm_words import AlarmKind
from farm.alarms import ChangeLimit
from farm.description import Farm
from farm.quantities import Quantity
from farm.readings import Series, iso_time
from watch import cautions
from watch.first_checks import look_first
from watch.telling import listed, spoken_duration, with_unit

CAUTIONS = {
    "co2_mole_fraction": cautions.CO2,
    "co2_average_8h": cautions.CO2,
    "co2_average_15min": cautions.CO2,
    "solution_ph": cautions.ACID_AND_BASE,
    "solution_ec": cautions.ACID_AND_BASE,  # its first look goes to bottles and the doser's lines, acid's among them
    "ppfd": cautions.MAINS,
    "flow_rate": cautions.MAINS,
    "power_present": cautions.MAINS,
}
LEAVE = "Leave now and ventilate from outside; a certified gas detector tells when it is safe to enter."


def detail_of(
    farm: Farm,
    kind: AlarmKind,
    onset_us: int,
    text: str,
    *,
    series: Series | None = None,
    zone: str = "",
    what: str = "",
    limit: float | None = None,
    worst: float | None = None,
    first_step: str = "",
    caution: str = "",
    **more: Any,  # noqa: ANN401  # whatever JSON holds
) -> dict[str, Any]:
    """Return the detail of an alarm, with every key that a reader may rely on."""
    quantity = series.registered if series is not None else None
    zone = series.zone if series is not None else zone
    return {
        "kind": str(kind),
        "what": what or (farm.label_of(series) if series is not None else ""),
        "where": farm.zone_label(zone) if zone else farm.farm.title,
        "zone": zone,
        "series": series.key if series is not None else None,
        "unit": quantity.display_unit if quantity is not None else "",
        "limit": limit,
        "worst": worst,
        "since": iso_time(onset_us),
        "likely": [],
        "first_step": first_step,
        "caution": caution,
        "text": text,
        **more,
    }


def band_text(farm: Farm, series: Series, side: str, worst: float, limit: float, times: int) -> tuple[str, str]:
    """Return the sentence and the first step of a quantity outside its band."""
    quantity = series.registered
    low = side == "low"
    where = farm.zone_label(series.zone)
    text = f"{farm.label_of(series)} in {where} is too {side}"
    if quantity.name == "condensation_margin" and worst <= 0:
        text = f"Water has condensed on a surface in {where}. {farm.label_of(series)}"
    text += (
        f": {with_unit(worst, quantity)} at worst, {'at least' if low else 'at most'} "
        f"{with_unit(limit, quantity)} wanted.{_comes_and_goes(times)}"
    )
    return text, look_first(quantity.name, side)


def change_text(farm: Farm, series: Series, side: str, worst: float, limit: ChangeLimit) -> tuple[str, str]:
    """Return the sentence and the first step of a quantity that changes too fast."""
    quantity = series.registered
    verb = "rises" if side == "high" else "falls"
    allowed = (limit.rise if side == "high" else limit.fall) or 0.0
    within = spoken_duration(int(limit.within_s * 1_000_000))
    text = (
        f"{farm.label_of(series)} in {farm.zone_label(series.zone)} {verb} fast: by {_amount(worst, quantity)} within "
        f"{within}, at most {_amount(allowed, quantity)} expected."
    )
    return text, look_first(quantity.name, side)


def co2_text(farm: Farm, series: Series, worst: float, limit: float) -> str:
    """Return the sentence on CO2 at an occupational limit."""
    where = farm.zone_label(series.zone)
    over = {"co2_average_8h": "on average over 8 hours", "co2_average_15min": "on average over 15 minutes"}
    how = over.get(series.quantity)
    limit_of = "an 8-hour average" if series.quantity != "co2_average_15min" else "15 minutes"
    reached = "above" if worst > limit else "within the sensor's give or take of"
    said = f"was {worst:,.0f} ppm {how}" if how else f"reads {worst:,.0f} ppm"
    return f"CO2 in {where} {said}, {reached} {limit:,.0f} ppm, the occupational limit for {limit_of}. {LEAVE}"


def _amount(value: float, quantity: Quantity) -> str:
    unit = "K" if quantity.unit == "degC" else quantity.display_unit
    return f"{abs(value):,.{quantity.decimals}f} {unit}".rstrip()


def _comes_and_goes(times: int) -> str:
    return f" It comes and goes: {times} times so far." if times > 1 else ""


def sentence(detail: Mapping[str, Any]) -> str:
    """Return what an alarm says, with the other places in which the same is so."""
    also = detail.get("also")
    return f"{detail.get('text', '')} Also in {listed(also)}." if also else str(detail.get("text", ""))
