"""What every part of a farm's description has in common."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from farm.readings import NAME_PATTERN


class Described(BaseModel):
    """A part of ``farm.toml``: unknown keys are mistakes, and nothing changes after reading."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=True)


Name = Annotated[str, Field(pattern=f"^{NAME_PATTERN}$", max_length=64)]
ZoneName = Annotated[Name, Field(description="a zone of this farm")]
