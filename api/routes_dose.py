"""Dose arithmetic: how much stock or water brings a reservoir's EC to a target."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, Query

from analytics.dosing import check_dosable, ec_dose
from api import examples, schemas
from api.problems import Problem
from watch import cautions

router = APIRouter(tags=["advice"])


@router.get("/dose", responses=examples.of("dose"))
def dose(
    from_ms_cm: Annotated[float, Query(description="EC now, mS/cm at 25 degC")],
    to_ms_cm: Annotated[float, Query(description="EC wanted")],
    volume_l: Annotated[float, Query(description="solution in the reservoir now, L")],
    stock_ms_cm: Annotated[float | None, Query(description="strength of the stock, as the EC it would have")] = None,
    ec_per_ml_l: Annotated[float | None, Query(description="or: mS/cm that 1 mL of it adds to 1 L")] = None,
    water_ms_cm: Annotated[float | None, Query(description="or: EC of the water that dilutes; 0 for pure")] = None,
    bottles: Annotated[int, Query(description="stocks of that strength given in equal volumes", ge=1, le=20)] = 1,
    quantity: Annotated[
        Literal["solution_ec", "solution_ph"], Query(description="solution_ph is refused, with what to do instead")
    ] = "solution_ec",
) -> schemas.DoseAnswer:
    """Work out how much stock or water brings a reservoir's EC to a target. Nothing is dosed by it."""
    caution = None if water_ms_cm is not None else cautions.ACID_AND_BASE
    try:
        check_dosable(quantity)
        found = ec_dose(
            from_ms_cm,
            to_ms_cm,
            volume_l,
            stock_ms_cm=stock_ms_cm,
            ec_per_ml_l=ec_per_ml_l,
            water_ms_cm=water_ms_cm,
            bottles=bottles,
        )
    except ValueError as error:
        extra: dict[str, object] = {"caution": cautions.ACID_AND_BASE} if quantity == "solution_ph" else {}
        raise Problem(422, f"{str(error).rstrip('.')}.", headers=None, **extra) from error
    return schemas.DoseAnswer(
        add="stock" if water_ms_cm is None else "water",
        added_l=found.added_l,
        added_give_or_take_l=found.plus_or_minus_l,
        each_l=found.each_l,
        first_l=found.first_l,
        final_volume_l=found.final_volume_l,
        advice=found.advice,
        caution=caution,
    )
