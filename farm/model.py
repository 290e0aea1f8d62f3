"""What every part of a farm's description has in common."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from farm.readings import NAME_PATTERN


class Described(BaseModel):
    """A part of ``farm.toml``: unknown keys are mistakes, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


Name = Annotated[str, Field(pattern=f"^{NAME_PATTERN}$", max_length=64)]
WireName = Annotated[str, Field(min_length=1, max_length=200)]
ZoneName = Annotated[Name, Field(description="a zone of this farm")]
