"""The shop's own prior: how runs are shared out among nothing wrong and causes before they are looked at."""

from __future__ import annotations

from pydantic import Field

from spoolwright.crafts.typefile.base import Record


class Shares(Record):
    """Shares of runs; together they make one."""

    healthy: float = Field(gt=0, lt=1, description="runs with nothing wrong")
    module: float = Field(ge=0, lt=1, description="runs with one cause in a module")
    reading: float = Field(ge=0, lt=1, description="runs with one wrong reading")
    pair: float = Field(ge=0, lt=1, description="runs with two at once")


class Weight(Record):
    """How often a cause is met against the others of its kind."""

    cause: str = Field(description="id of a cause in a module")
    weight: float = Field(gt=0, le=1000, description="1 is as often as the others")


class Priors(Record):
    """The shop's prior shares and weights."""

    format: int = Field(ge=1, le=1)
    basis: str = Field(min_length=1, max_length=300, description="where the figures come from")
    shares: Shares
    weight: tuple[Weight, ...] = ()
