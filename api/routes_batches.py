"""Batches: which there are, and what one has had."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path

from api import examples, schemas
from api.house import TheHouse, not_found
from watch.batch_use import batch_use
from watch.batches import batch_record

router = APIRouter(tags=["batches"])


@router.get("/batches", responses=examples.of("batches"))
def batches(house: TheHouse) -> schemas.BatchesAnswer:
    """List the batches of the description, and where each stood."""
    return schemas.BatchesAnswer(
        batches=[
            schemas.BatchRow(
                batch=one.name,
                crop=one.crop,
                sown=one.sown.isoformat(),
                zones=list(dict.fromkeys(stay.zone for stay in one.stays)),
            )
            for one in house.farm.batches
        ]
    )


@router.get("/batches/{name}", response_model=schemas.BatchAnswer, responses=examples.of("batch"))
def batch(
    house: TheHouse, name: Annotated[str, Path(description="of the batch, as the batches tell it")]
) -> dict[str, Any]:
    """Tell what one batch has had: light, degree-hours and time in band, stay by stay and in all."""
    named = {one.name: one for one in house.farm.batches}
    if name not in named:
        raise not_found("batch", name, named, "/api/v1/batches lists every batch")
    one, now_us = named[name], house.clock()
    return batch_record(house.farm, house.store, one, now_us) | {
        "use": batch_use(house.farm, house.journal, one, now_us)
    }
