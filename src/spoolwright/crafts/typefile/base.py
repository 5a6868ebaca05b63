"""What every record of a type file is built from."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

Identifier = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]*$", max_length=40)]


class Record(BaseModel):
    """Frozen base: unknown fields are mistakes."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


class Amount(Record):
    """A value with its unit."""

    value: float
    unit: str


class Source(Record):
    """Where a figure was transcribed from."""

    document: str = Field(description="id of a [[document]]")
    paragraph: str = Field(min_length=1)


class Condition(Record):
    """A window in which something holds; both ends in `unit`."""

    channel: Identifier
    min: float | None = None
    max: float | None = None
    unit: str
